package proof

import (
	"image"
	"math"
	"math/rand/v2"
	"testing"
)

// kernel is that of Burt and Adelson, for parameter a = 3/8.
var kernel = [5]float64{1.0 / 16, 4.0 / 16, 6.0 / 16, 4.0 / 16, 1.0 / 16}

// reducedAt is pixel x, y of the next level of a picture by the definition, whose border is
// continued by itself.
func reducedAt(w, h, x, y int, at func(x, y int) float64) (sum float64) {
	for j, b := range kernel {
		for i, a := range kernel {
			sum += a * b * at(min(max(2*x+i-2, 0), w-1), min(max(2*y+j-2, 0), h-1))
		}
	}
	return sum
}

// expandedAt is pixel x, y of the level below one of w x h pixels by the definition.
func expandedAt(w, h, x, y int, at func(x, y int) float64) (sum float64) {
	for j := -2; j <= 2; j++ {
		for i := -2; i <= 2; i++ {
			if (x+i)%2 == 0 && (y+j)%2 == 0 {
				sum += 4 * kernel[i+2] * kernel[j+2] * at(min(max((x+i)/2, 0), w-1), min(max((y+j)/2, 0), h-1))
			}
		}
	}
	return sum
}

// TestDetailIsThePyramids holds level 1 and the squares of band 0, which are computed several
// pixels at once, to their definitions, on sizes that leave pixels over.
func TestDetailIsThePyramids(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for _, size := range [][2]int{{64, 48}, {65, 49}, {71, 50}, {39, 17}, {7, 5}, {18, 3}, {2, 2}} {
		w, h := size[0], size[1]
		img := image.NewGray(image.Rect(0, 0, w, h))
		for i := range img.Pix {
			img.Pix[i] = uint8(rng.IntN(256))
			if i%7 < 3 {
				img.Pix[i] = 255 // so that sums come to their limit
			}
		}
		luma := func(x, y int) float64 { return float64(img.Pix[y*img.Stride+x]) }
		d := newDetail(w, h)
		d.measure(newSource(img, 1))
		level := func(x, y int) float64 { return reducedAt(w, h, x, y, luma) }
		band := func(x, y int) float64 {
			x, y = min(max(x, 0), w-1), min(max(y, 0), h-1)
			return luma(x, y) - expandedAt(d.w, d.h, x, y, level)
		}
		for y := range d.h {
			for x := range d.w {
				if got, want := float64(d.half[y*d.w+x])/(1<<fixedBits), level(x, y); math.Abs(got-want) > 0.51/(1<<fixedBits) {
					t.Fatalf("%d x %d: level 1 at %d, %d is %.3f, want %.3f", w, h, x, y, got, want)
				}
				want := 0.0
				for j, b := range [3]float64{0.25, 0.5, 0.25} {
					for i, a := range [3]float64{0.25, 0.5, 0.25} {
						v := band(2*x+i-1, 2*y+j-1)
						want += a * b * v * v
					}
				}
				if got := float64(d.first.row(y)[x]); math.Abs(got-want) > 0.02*want+0.5 {
					t.Fatalf("%d x %d: squares at %d, %d are %.2f, want %.2f", w, h, x, y, got, want)
				}
			}
		}
	}
}

// TestNearby holds that energies of the frames around the sharpest are kept, whenever that
// came, and of no others.
func TestNearby(t *testing.T) {
	const frames = 60
	rng := rand.New(rand.NewPCG(3, 4))
	const places = 200
	k := newNearby(places)
	var all [frames][places]float32
	at, best := make([]int16, places), make([]float32, places)
	for i := range at {
		at[i] = -1
	}
	for n := range all {
		for i := range places {
			switch e := float32(rng.Float64()); {
			case n < i%9: // not covered by the first frames
			case i%3 == 0:
				all[n][i] = e + float32(n) // rises with every frame
			default:
				all[n][i] = e * e * e * float32(1+i%5)
			}
			if all[n][i] > best[i] {
				at[i], best[i] = int16(n), all[n][i]
			}
		}
		for from := 0; from < places; from += 50 { // row by row
			k.add(int16(n), from, all[n][from:from+50], at[from:from+50])
		}
	}
	for i := range places {
		for n := range frames {
			want := all[n][i]
			if d := n - int(at[i]); d < -depthReach || d > depthReach {
				want = 0
			}
			if got := k.energy(i, n); got != want {
				t.Fatalf("place %d, sharpest in frame %d: %v in frame %d, want %v", i, at[i], got, n, want)
			}
		}
	}
}
