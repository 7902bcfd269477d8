package pixels

import (
	"image"
	"image/color"
	"math"
)

// A tint is the hue and chroma of a picture's mean colour at one lightness: a* and
// b* of CIE 1976 L*a*b* (ISO/CIE 11664-4).
type tint struct {
	a, b  float64
	known bool // not of grey pictures, nor where hardly anything is between black and white
}

// tintOf returns the tint of a picture. Its values are taken for sRGB (IEC
// 61966-2-1). Black and clipped pixels are left out: they keep no colour, whatever
// the white balance.
func tintOf(img image.Image, factor int) tint {
	row := colourRows(img, tintEvery*factor)
	if row == nil {
		return tint{}
	}
	b := img.Bounds()
	var sum [3]uint64
	used, all := 0, 0
	for y := b.Min.Y; y < b.Max.Y; y += tintEvery * factor {
		for _, c := range row(y) {
			all++
			if most := max(c[0], c[1], c[2]); most > tintWhite || most < tintBlack {
				continue
			}
			used++
			sum[0] += uint64(lightOf[c[0]])
			sum[1] += uint64(lightOf[c[1]])
			sum[2] += uint64(lightOf[c[2]])
		}
	}
	if float64(used) < tintShare*float64(all) {
		return tint{}
	}
	return atOneLightness([3]float64{float64(sum[0]), float64(sum[1]), float64(sum[2])})
}

// lightOf is lightTable at whole code values.
var lightOf = func() (t [256]uint16) {
	for v := range t {
		t[v] = lightTable[v*unit]
	}
	return t
}()

// colourRows returns a function that gives the code values of every so many pixels of a
// row, in a slice that is valid until the next call; nil for grey pictures.
func colourRows(img image.Image, step int) func(y int) [][3]uint8 {
	b := img.Bounds()
	row := make([][3]uint8, (b.Dx()+step-1)/step)
	switch p := img.(type) {
	case *image.Gray, *image.Gray16:
		return nil
	case *image.YCbCr:
		across := int32(4 / (p.COffset(4, 0) - p.COffset(0, 0))) // pixels that share a sample of colour
		return func(y int) [][3]uint8 {
			luma, chroma := p.YOffset(b.Min.X, y), p.COffset(0, y)
			x := b.Min.X
			for i := range row {
				c := chroma + int(int32(x)/across) // shorter numbers are divided faster
				row[i][0], row[i][1], row[i][2] = color.YCbCrToRGB(p.Y[luma], p.Cb[c], p.Cr[c])
				x, luma = x+step, luma+step
			}
			return row
		}
	}
	return func(y int) [][3]uint8 {
		for i := range row {
			red, green, blue, _ := img.At(b.Min.X+i*step, y).RGBA()
			row[i] = [3]uint8{uint8(red >> 8), uint8(green >> 8), uint8(blue >> 8)}
		}
		return row
	}
}

// atOneLightness returns the tint of linear sRGB values on any scale, brought to
// L* = 50. The matrix is that of IEC 61966-2-1, its rows divided by the white D65.
func atOneLightness(rgb [3]float64) tint {
	const middleGrey = 0.1842 // Y of L* = 50: ((50 + 16) / 116)³
	x := (0.4124*rgb[0] + 0.3576*rgb[1] + 0.1805*rgb[2]) / 0.9505
	y := 0.2126*rgb[0] + 0.7152*rgb[1] + 0.0722*rgb[2]
	z := (0.0193*rgb[0] + 0.1192*rgb[1] + 0.9505*rgb[2]) / 1.0890
	if y <= 0 {
		return tint{}
	}
	f := func(v float64) float64 {
		const dark = 6.0 / 29 // of the cube root, below which the curve is straight
		v *= middleGrey / y
		if v > dark*dark*dark {
			return math.Cbrt(v)
		}
		return v/(3*dark*dark) + 4.0/29
	}
	return tint{a: 500 * (f(x) - f(y)), b: 200 * (f(y) - f(z)), known: true}
}

// askColour asks whether the colour of the pictures stays as it is: how far the
// tints of any two frames that show the run lie apart.
func (e *evidence) askColour() Colour {
	var list []tint
	for i, f := range e.frames {
		switch {
		case e.outside[i]:
			continue
		case !f.tint.known:
			return Colour{Verdict: cannot(ReasonColour)}
		}
		list = append(list, f.tint)
	}
	if len(e.frames) < e.added || len(list) < fewFrames {
		return Colour{Verdict: cannot(ReasonColour)}
	}
	c := Colour{Shift: widest(list)}
	c.Verdict = decided(c.Shift > ColourShift)
	return c
}

// widest returns the largest distance of two tints, to within 0.2 %: the largest
// range over directions 7.5° apart, divided by cos 3.75° at most.
func widest(list []tint) float64 {
	const directions = 24
	most := 0.0
	for k := range directions {
		sin, cos := math.Sincos(math.Pi * float64(k) / directions)
		lo, hi := math.Inf(1), math.Inf(-1)
		for _, t := range list {
			at := t.a*cos + t.b*sin
			lo, hi = min(lo, at), max(hi, at)
		}
		most = max(most, hi-lo)
	}
	return most
}
