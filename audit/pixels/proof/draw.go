package proof

import "image"

// A Step is one lightness of the coverage map and the frames that it marks.
type Step struct {
	From, To int   // frames
	Grey     uint8 // code value
}

const (
	// mostSteps is how many lightnesses can be distinguished in print and named in a key.
	mostSteps = 6
	// Steps are evenly spread in code values, which are about even in lightness; neither
	// end is white or black, so that the hatches show.
	darkest, lightest = 64, 232
	// drawn is how many pixels a place has on the map.
	drawn = 2
)

// Steps returns the key of the map: the frames in order, in groups of about the same size,
// from dark to light.
func (c *Coverage) Steps() []Step {
	n := min(mostSteps, len(c.Used))
	out := make([]Step, n)
	for i := range out {
		grey := darkest
		if n > 1 {
			grey += i * (lightest - darkest) / (n - 1)
		}
		out[i] = Step{From: c.Used[i*len(c.Used)/n], To: c.Used[(i+1)*len(c.Used)/n-1], Grey: uint8(grey)}
	}
	return out
}

// Draw draws the map, two pixels to a place: the lightness of the frame's step, and over
// it for the first frame lines that rise to the right, for the last lines that fall, for a
// step too large both, and dots on white where there is no texture.
func (c *Coverage) Draw() *image.Gray {
	img := image.NewGray(image.Rect(0, 0, c.Width*drawn, c.Height*drawn))
	greys := map[int16]uint8{}
	for _, s := range c.Steps() {
		for f := s.From; f <= s.To; f++ {
			greys[int16(f)] = s.Grey
		}
	}
	for y := range img.Rect.Dy() {
		for x := range img.Rect.Dx() {
			i := y/drawn*c.Width + x/drawn
			grey := greys[c.Frame[i]]
			img.Pix[y*img.Stride+x] = hatched(c.Marks[i], grey, x, y)
		}
	}
	return img
}

// Hatch draws a sample of a mark's hatch, for the key.
func Hatch(m Mark, grey uint8, w, h int) *image.Gray {
	img := image.NewGray(image.Rect(0, 0, w, h))
	for i := range img.Pix {
		img.Pix[i] = hatched(m, grey, i%w, i/w)
	}
	return img
}

// hatched returns the code value of a pixel of the map.
func hatched(m Mark, grey uint8, x, y int) uint8 {
	const (
		period, line = 10, 2
		paper, ink   = 255, 0
	)
	on := ink // lines are black on light steps, and white on dark ones
	if grey < (darkest+lightest)/2 {
		on = paper
	}
	rises, falls := (x+y)%period < line, ((x-y)%period+period)%period < line
	switch {
	case m == First && rises, m == Last && falls, m == Between && (rises || falls):
		return uint8(on)
	case m == Plain && x%6 < line && y%6 < line:
		return ink
	case m == Plain:
		return paper
	}
	return grey
}
