package scene

import (
	"image"
	"image/color"
	"math"
	"strings"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"
)

// A Slate is a printed card with the name of a view and its code.
type Slate struct {
	Name string
	Code [][]bool // its modules, row by row; true is dark
}

// The card as it is printed: its sides and what stands on it, in mm from its upper left
// corner.
const (
	cardWidth, cardHeight = 92, 130
	cardMargin            = 6
	cardLetters           = 12 // height of a line of the name
	cardQuiet             = 4  // modules of white around the code
	cardCode              = cardWidth - 2*cardMargin

	paper, ink = 0.62, 0.03 // linear brightness
)

// How the card is photographed.
const (
	cardInPicture = 0.94 // of the picture's height
	cardTilt      = 10   // degrees away from the camera
	cardRoll      = 4    // degrees at most
	cardDistance  = 6    // of the camera, in heights of the card
	cardBlur      = 0.3  // of a module
	cardFine      = 2    // points of the print along each side of a pixel
)

// hold draws the card of a view over its picture: tilted, rolled, and not quite sharp.
func (s *Scene) hold(picture *image.YCbCr, v *View) {
	scale := cardInPicture * float64(s.height) / cardHeight // pixels in a mm
	print := v.Slate.print(scale * cardFine)
	sinTilt, cosTilt := math.Sincos(cardTilt * math.Pi / 180)
	sinRoll, cosRoll := math.Sincos((2*unit(v.Serial) - 1) * cardRoll * math.Pi / 180)
	distance := cardDistance * cardHeight * scale

	light, cover := make([]float64, s.width*s.height), make([]float64, s.width*s.height)
	b := print.Bounds()
	for y := range s.height {
		for x := range s.width {
			i := y*s.width + x
			for sub := range cardFine * cardFine {
				px := float64(x) + (float64(sub%cardFine)+0.5)/cardFine - float64(s.width)/2
				py := float64(y) + (float64(sub/cardFine)+0.5)/cardFine - float64(s.height)/2
				px, py = cosRoll*px+sinRoll*py, cosRoll*py-sinRoll*px
				// The ray through the pixel meets the card, whose right side is farther away.
				far := distance / (distance*cosTilt - px*sinTilt)
				cx, cy := px*far, py*(1+px*far*sinTilt/distance)
				at := image.Pt(int(math.Floor(cx*cardFine))+b.Dx()/2, int(math.Floor(cy*cardFine))+b.Dy()/2)
				if at.In(b) {
					cover[i] += 1.0 / (cardFine * cardFine)
					light[i] += paper / (cardFine * cardFine) * (float64(print.GrayAt(at.X, at.Y).Y)/255*(1-ink/paper) + ink/paper)
				}
			}
		}
	}
	module := cardCode * scale / float64(len(v.Slate.Code)+2*cardQuiet)
	light, cover = s.disk(light, cardBlur*module), s.disk(cover, cardBlur*module)
	gain := math.Exp2(v.EV)
	for y := range s.height {
		noise := v.grain(y)
		for x := range s.width {
			c := cover[y*s.width+x]
			if c == 0 {
				continue
			}
			mixed := func(p *uint8, with float64) { *p = uint8(float64(*p)*(1-c) + with*c + 0.5) }
			shown := light[y*s.width+x]/c*gain + float64(noise.at(x))
			mixed(&picture.Y[picture.YOffset(x, y)], float64(level(float32(shown))))
			if x%2 == 0 && y%2 == 0 { // paper has no colour
				i := picture.COffset(x, y)
				mixed(&picture.Cb[i], 128)
				mixed(&picture.Cr[i], 128)
			}
		}
	}
}

// print draws the card flat, at a scale in pixels to the mm: 255 is paper, 0 is ink.
func (c *Slate) print(scale float64) *image.Gray {
	card := image.NewGray(image.Rect(0, 0, int(cardWidth*scale), int(cardHeight*scale)))
	for i := range card.Pix {
		card.Pix[i] = 255
	}
	module := cardCode * scale / float64(len(c.Code)+2*cardQuiet)
	left, top := cardMargin*scale+cardQuiet*module, (cardHeight-cardMargin-cardCode)*scale+cardQuiet*module
	for y := range card.Rect.Dy() {
		for x := range card.Rect.Dx() {
			i, j := int(math.Floor((float64(x)-left)/module)), int(math.Floor((float64(y)-top)/module))
			if i >= 0 && j >= 0 && j < len(c.Code) && i < len(c.Code[j]) && c.Code[j][i] {
				card.Pix[y*card.Stride+x] = 0
			}
		}
	}
	c.write(card, scale)
	return card
}

// write writes the name on the card, in as many lines as it takes.
func (c *Slate) write(card *image.Gray, scale float64) {
	parsed, err := opentype.Parse(gobold.TTF)
	if err != nil {
		panic(err) // it is part of the program
	}
	face, err := opentype.NewFace(parsed, &opentype.FaceOptions{Size: cardLetters * scale * 0.8, DPI: 72})
	if err != nil {
		panic(err)
	}
	defer face.Close()
	pen := font.Drawer{Dst: card, Src: image.NewUniform(color.Black), Face: face}
	line, baseline := "", cardMargin+cardLetters*0.8
	end := func() {
		pen.Dot = fixed.P(int(cardMargin*scale), int(baseline*scale))
		pen.DrawString(line)
		line, baseline = "", baseline+cardLetters
	}
	for _, word := range strings.Fields(c.Name) {
		longer := strings.TrimSpace(line + " " + word)
		if line != "" && pen.MeasureString(longer) > fixed.I(int(cardCode*scale)) {
			end()
			longer = word
		}
		line = longer
	}
	end()
}
