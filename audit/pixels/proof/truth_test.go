package proof

import (
	"image"
	"math"
	"testing"

	"prestrike/audit/pixels"
)

// measured registers pictures and returns their judgement.
func measured(t testing.TB, list []image.Image) *pixels.Judgement {
	t.Helper()
	var s pixels.Sequence
	for _, img := range list {
		m, err := pixels.Measure(img)
		if err != nil {
			t.Fatal(err)
		}
		s.Add(m)
	}
	return s.Judge(pixels.DefaultThresholds(), nil)
}

func listed(list []image.Image) Pictures {
	return func(yield func(int, image.Image) bool) {
		for i, img := range list {
			if !yield(i, img) {
				return
			}
		}
	}
}

// psnr is the peak signal-to-noise ratio of the luma, dB, over the pixels asked for.
func psnr(a []uint8, as int, b *image.Gray, ask func(i int) bool) float64 {
	var sum, n float64
	w := b.Rect.Dx()
	for y := range b.Rect.Dy() {
		for x := range w {
			if ask != nil && !ask(y*w+x) {
				continue
			}
			d := float64(a[y*as+x]) - float64(b.Pix[y*b.Stride+x])
			sum += d * d
			n++
		}
	}
	return 10 * math.Log10(255*255*n/max(sum, 1e-9))
}

func grey(img image.Image) (pix []uint8, stride int) {
	switch p := img.(type) {
	case *image.Gray:
		return p.Pix, p.Stride
	case *image.YCbCr:
		return p.Y, p.YStride
	}
	panic("not grey")
}

// ssim is the mean structural similarity over windows of 8 x 8 pixels: Wang, Bovik, Sheikh
// and Simoncelli, "Image quality assessment", IEEE Transactions on Image Processing 13(4), 2004.
func ssim(a []uint8, as int, b *image.Gray) float64 {
	const side, step, n = 8, 4, 64
	const c1, c2 = (0.01 * 255) * (0.01 * 255), (0.03 * 255) * (0.03 * 255)
	sum, windows := 0.0, 0.0
	for y := 0; y+side <= b.Rect.Dy(); y += step {
		for x := 0; x+side <= b.Rect.Dx(); x += step {
			var p, q, pp, qq, pq float64
			for v := y; v < y+side; v++ {
				for u := x; u < x+side; u++ {
					f, g := float64(a[v*as+u]), float64(b.Pix[v*b.Stride+u])
					p, q, pp, qq, pq = p+f, q+g, pp+f*f, qq+g*g, pq+f*g
				}
			}
			p, q = p/n, q/n
			varP, varQ, both := pp/n-p*p, qq/n-q*q, pq/n-p*q
			sum += (2*p*q + c1) * (2*both + c2) / ((p*p + q*q + c1) * (varP + varQ + c2))
			windows++
		}
	}
	return sum / windows
}
