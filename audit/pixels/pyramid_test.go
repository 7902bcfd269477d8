package pixels

import (
	"math/rand/v2"
	"slices"
	"testing"
)

// TestSmooth: the binomial kernel, written out; a picture may be smoothed in its own place.
func TestSmooth(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for _, size := range [][2]int{{1, 1}, {5, 1}, {1, 7}, {2, 2}, {3, 3}, {37, 29}} {
		w, h := size[0], size[1]
		p := plane{w, h, make([]float32, w*h)}
		for i := range p.pix {
			p.pix[i] = 255 * rng.Float32()
		}
		along := func(x, y int) float32 {
			if x == 0 || x == w-1 {
				return p.pix[y*w+x]
			}
			return 0.25*p.pix[y*w+x-1] + 0.5*p.pix[y*w+x] + 0.25*p.pix[y*w+x+1]
		}
		var want []float32
		for y := range h {
			for x := range w {
				v := along(x, y)
				if y > 0 && y < h-1 {
					v = 0.25*along(x, y-1) + 0.5*v + 0.25*along(x, y+1)
				}
				want = append(want, v)
			}
		}
		before := slices.Clone(p.pix)
		if got := smooth(p); !slices.Equal(got.pix, want) || !slices.Equal(p.pix, before) {
			t.Errorf("%v: %v, want %v; the picture itself: %v, was %v", size, got.pix, want, p.pix, before)
		}
		if p.smoothed(p); !slices.Equal(p.pix, want) {
			t.Errorf("%v in its own place: %v, want %v", size, p.pix, want)
		}
	}
}
