package proof

import (
	"image"
	"image/color"
)

// A source is one picture in the form that is merged: luma of the analysed picture, and
// chroma of half its size (JFIF's Y, Cb and Cr).
type source struct {
	w, h   int
	stride int
	luma   []uint8
	chroma [2]chroma // Cb, Cr
	grey   bool      // all chroma is 128
}

// chroma is one plane of colour.
type chroma struct {
	w, h   int
	stride int
	pix    []uint8
}

// newSource returns a picture reduced by a whole factor. What can be used as it is, is
// not copied.
func newSource(img image.Image, factor int) *source {
	b := img.Bounds()
	w, h := b.Dx()/factor, b.Dy()/factor
	s := &source{w: w, h: h, stride: w}
	cw, ch := half(w), half(h)
	switch p := img.(type) {
	case *image.Gray:
		s.grey = true
		s.luma, s.stride = reducedPlane(p.Pix[p.PixOffset(b.Min.X, b.Min.Y):], p.Stride, w, h, factor)
		return s
	case *image.YCbCr:
		s.luma, s.stride = reducedPlane(p.Y[p.YOffset(b.Min.X, b.Min.Y):], p.YStride, w, h, factor)
		at := p.COffset(b.Min.X, b.Min.Y)
		for i, c := range [2][]uint8{p.Cb, p.Cr} {
			if p.SubsampleRatio == image.YCbCrSubsampleRatio420 && b.Min.X%2 == 0 && b.Min.Y%2 == 0 && factor == 1 {
				s.chroma[i] = chroma{cw, ch, p.CStride, c[at:]}
				continue
			}
			s.chroma[i] = halvedChroma(p, c, cw, ch, factor)
		}
		return s
	}
	y := image.NewYCbCr(image.Rect(0, 0, w*factor, h*factor), image.YCbCrSubsampleRatio444)
	for v := range h * factor {
		for u := range w * factor {
			c := color.YCbCrModel.Convert(img.At(b.Min.X+u, b.Min.Y+v)).(color.YCbCr)
			i := v*y.YStride + u
			y.Y[i], y.Cb[i], y.Cr[i] = c.Y, c.Cb, c.Cr
		}
	}
	return newSource(y, factor)
}

// reducedPlane returns the means of factor x factor pixels.
func reducedPlane(pix []uint8, stride, w, h, factor int) ([]uint8, int) {
	if factor == 1 {
		return pix, stride
	}
	out := make([]uint8, w*h)
	sums := make([]uint32, w)
	area := uint32(factor * factor)
	for y := range h {
		clear(sums)
		for i := range factor {
			row := pix[(y*factor+i)*stride:]
			for x := range sums {
				for _, v := range row[x*factor : (x+1)*factor] {
					sums[x] += uint32(v)
				}
			}
		}
		for x, v := range sums {
			out[y*w+x] = uint8((v + area/2) / area)
		}
	}
	return out, w
}

// halvedChroma returns a plane of colour at half the size of the analysed picture, each
// value the mean of the pixels that it covers.
func halvedChroma(p *image.YCbCr, c []uint8, w, h, factor int) chroma {
	out := chroma{w, h, w, make([]uint8, w*h)}
	b := p.Rect
	for y := range h {
		for x := range w {
			var sum, n uint32
			for v := 2 * y * factor; v < 2*(y+1)*factor && v < b.Dy(); v++ {
				for u := 2 * x * factor; u < 2*(x+1)*factor && u < b.Dx(); u++ {
					sum += uint32(c[p.COffset(b.Min.X+u, b.Min.Y+v)])
					n++
				}
			}
			out.pix[y*w+x] = uint8((sum + n/2) / max(n, 1))
		}
	}
	return out
}
