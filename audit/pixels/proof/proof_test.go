package proof

import (
	"fmt"
	"image"
	"image/color"
	"math"
	"runtime"
	"slices"
	"testing"

	"prestrike/audit/pixels"
	"prestrike/audit/pixels/pixelstest"
)

// still is a run of frames that do not move.
func still(n, w, h int) Run {
	r := Run{Frames: n, Width: w, Height: h, Factor: 1, Places: make([]Place, n)}
	for i := range r.Places {
		r.Places[i].Fits = true
	}
	return r
}

// scene is a small textured picture, in colour, of an odd size.
func scene(w, h int) *image.YCbCr {
	out := image.NewYCbCr(image.Rect(0, 0, w, h), image.YCbCrSubsampleRatio420)
	for y := range h {
		for x := range w {
			out.Y[y*out.YStride+x] = uint8(128 + 60*math.Sin(float64(x*x+3*y)/97) + 40*math.Sin(float64(x-2*y)/5))
		}
	}
	for i := range out.Cb {
		out.Cb[i], out.Cr[i] = uint8(100+i%50), uint8(180-i%70)
	}
	return out
}

// TestOneFrameIsItself holds that merging takes nothing away: one frame, or the same one
// several times, comes out as it went in.
func TestOneFrameIsItself(t *testing.T) {
	img := scene(301, 203)
	for _, n := range []int{1, 3} {
		list := slices.Repeat([]image.Image{img}, n)
		for name, got := range map[string]*image.YCbCr{
			"focus":  Focus(still(n, 301, 203), listed(list)).Picture,
			"fusion": Fusion(still(n, 301, 203), listed(list)).Picture,
		} {
			for y := range 203 {
				for x := range 301 {
					a, b := got.YCbCrAt(x, y), img.YCbCrAt(x, y)
					for _, d := range []int{int(a.Y) - int(b.Y), int(a.Cb) - int(b.Cb), int(a.Cr) - int(b.Cr)} {
						if d < -1 || d > 1 {
							t.Fatalf("%s of %d: at %d, %d it is %v, the frame %v", name, n, x, y, a, b)
						}
					}
				}
			}
		}
	}
}

// TestPlaces holds that a frame which lies elsewhere is sampled where it lies: shifted,
// turned and scaled frames of a smooth function give the function back.
func TestPlaces(t *testing.T) {
	const w, h = 320, 240
	shade := func(x, y float64) float64 { return 128 + 50*math.Sin(x/9) + 40*math.Cos(y/7) }
	midX, midY := pixels.Middle(w, h)
	for _, p := range []Place{
		{ShiftX: 3.3, ShiftY: -2.6},
		{Scale: 0.03},
		{Rotation: 0.02, ShiftX: 1.5},
		{Scale: -0.02, Rotation: -0.05, ShiftX: 4, ShiftY: 2.2},
	} {
		p.Fits = true
		frame := image.NewGray(image.Rect(0, 0, w, h))
		for y := range h {
			for x := range w {
				// The inverse of the motion in pixels' docstring, from the middle of the picture.
				u, v := float64(x)+0.5-midX-p.ShiftX, float64(y)+0.5-midY-p.ShiftY
				n := (1+p.Scale)*(1+p.Scale) + p.Rotation*p.Rotation
				fx, fy := ((1+p.Scale)*u+p.Rotation*v)/n, ((1+p.Scale)*v-p.Rotation*u)/n
				frame.Pix[y*frame.Stride+x] = uint8(shade(fx+midX-0.5, fy+midY-0.5) + 0.5)
			}
		}
		run := still(2, w, h)
		run.Places[1] = p
		got := Focus(run, func(yield func(int, image.Image) bool) { yield(1, frame) }).Picture
		for y := 30; y < h-30; y++ {
			for x := 30; x < w-30; x++ {
				if d := float64(got.Y[y*got.YStride+x]) - shade(float64(x), float64(y)); math.Abs(d) > 2 {
					t.Fatalf("%+v: at %d, %d it is %.1f off", p, x, y, d)
				}
			}
		}
	}
}

// TestFusionKeepsBothEnds holds that a fused bracket shows the texture of dark and bright parts
// that single frames lose, and that the ends of the scale are counted.
func TestFusionKeepsBothEnds(t *testing.T) {
	const w, h = 256, 192
	var list []image.Image
	for _, ev := range []float64{-3, 0, 3} {
		img := image.NewGray(image.Rect(0, 0, w, h))
		for y := range h {
			for x := range w {
				light := 0.2 * (1 + 0.5*math.Sin(float64(x)/2)*math.Sin(float64(y)/2))
				switch {
				case x < w/3:
					light /= 64
				case x >= 2*w/3:
					light *= 24
				}
				img.Pix[y*img.Stride+x] = uint8(255*math.Pow(min(1, light*math.Exp2(ev)), 1/2.2) + 0.5)
			}
		}
		list = append(list, img)
	}
	f := Fusion(still(3, w, h), listed(list))
	contrast := func(pix []uint8, stride, x0, x1 int) float64 {
		sum, n := 0.0, 0.0
		for y := 20; y < h-20; y++ {
			for x := x0; x < x1; x++ {
				d := float64(pix[y*stride+x]) - float64(pix[y*stride+x+3])
				sum += d * d
				n++
			}
		}
		return math.Sqrt(sum / n)
	}
	for name, part := range map[string][2]int{"dark": {15, 70}, "middle": {100, 155}, "bright": {185, 240}} {
		best := 0.0
		for _, img := range list {
			best = max(best, contrast(img.(*image.Gray).Pix, w, part[0], part[1]))
		}
		if got := contrast(f.Picture.Y, f.Picture.YStride, part[0], part[1]); got < 0.5*best {
			t.Errorf("the %s part has a contrast of %.1f, the best frame %.1f", name, got, best)
		}
	}
	if f.Ends[2].High < 0.3 || f.Ends[2].High > 0.68 || f.Ends[0].High != 0 || f.Ends[2].Low != 0 {
		t.Errorf("the ends are %+v", f.Ends)
	}
	counted := image.NewGray(image.Rect(0, 0, 10, 10))
	copy(counted.Pix, []uint8{0, 5, 6, 249, 250, 255})
	for i := 6; i < 100; i++ {
		counted.Pix[i] = 128
	}
	if got := EndsOf(counted); got != (Ends{0.02, 0.02}) {
		t.Errorf("two of a hundred pixels at either end are %+v", got)
	}
}

// TestSpread holds that frames are spread from the first to the last.
func TestSpread(t *testing.T) {
	for _, c := range []struct {
		n, count int
		want     string
	}{{30, 4, "[0 9 19 29]"}, {3, 12, "[0 1 2]"}, {1, 12, "[0]"}, {0, 12, "[]"}} {
		if got := fmt.Sprint(Spread(c.n, c.count)); got != c.want {
			t.Errorf("%d of %d: %s, want %s", c.count, c.n, got, c.want)
		}
	}
}

// TestUpright holds turned pictures to where pixels.Box puts their parts.
func TestUpright(t *testing.T) {
	const w, h = 8, 4
	img := image.NewRGBA(image.Rect(0, 0, w, h))
	img.Set(1, 0, color.RGBA{255, 0, 0, 255})
	c := &Coverage{Width: w, Height: h, Frame: make([]int16, w*h), Marks: make([]Mark, w*h), Used: []int{0}}
	c.Marks[1] = First
	for o := range 10 {
		box := pixels.Box{X0: 1.0 / w, Y0: 0, X1: 2.0 / w, Y1: 1.0 / h}.Turned(o)
		got, cover := Upright(img, o), c.Upright(o)
		x, y := int(math.Round(box.X0*float64(got.Rect.Dx()))), int(math.Round(box.Y0*float64(got.Rect.Dy())))
		if r, _, _, _ := got.At(x, y).RGBA(); r == 0 {
			t.Errorf("orientation %d: the pixel is not at %d, %d", o, x, y)
		}
		if cover.Width != got.Rect.Dx() || cover.Marks[y*cover.Width+x] != First {
			t.Errorf("orientation %d: the mark is not at %d, %d", o, x, y)
		}
	}
}

// TestBest holds the order of a burst to the shake of its frames.
func TestBest(t *testing.T) {
	b := pixelstest.Scene{Seed: 3, Width: 480, Height: 320, Contrast: 1, PSF: 0.6, Electrons: 10000, Quality: 90, Highlights: 3}.Build()
	var list []image.Image
	for i, shake := range []float64{3, 1, 6, 0, 2} {
		list = append(list, b.Picture(pixelstest.Shot{Focus: 0.5, Shake: shake, Noise: uint64(i + 1)}))
	}
	list = append(list, image.NewGray(image.Rect(0, 0, 8, 8))) // too small to measure
	var order []int
	for _, r := range Best(listed(list)) {
		order = append(order, r.Frame)
	}
	if got := fmt.Sprint(order); got != "[3 1 4 0 2]" {
		t.Errorf("the order is %s", got)
	}
}

// TestHatchesDiffer holds that each mark is drawn in its own way on every step, without
// colour: samples differ in many pixels.
func TestHatchesDiffer(t *testing.T) {
	c := &Coverage{Used: make([]int, 20)}
	for i := range c.Used {
		c.Used[i] = i
	}
	steps := c.Steps()
	if len(steps) != mostSteps || steps[0].From != 0 || steps[len(steps)-1].To != 19 {
		t.Errorf("the steps are %+v", steps)
	}
	for i, s := range steps[1:] {
		if d := int(s.Grey) - int(steps[i].Grey); d < 30 {
			t.Errorf("steps %d and %d are %d code values apart", i, i+1, d)
		}
		if s.From != steps[i].To+1 {
			t.Errorf("step %d begins at %d, the one before ends at %d", i+1, s.From, steps[i].To)
		}
	}
	for _, s := range steps {
		for a := range marks {
			for b := range a {
				p, q := Hatch(a, s.Grey, 60, 60), Hatch(b, s.Grey, 60, 60)
				differ := 0
				for i := range p.Pix {
					if d := int(p.Pix[i]) - int(q.Pix[i]); d > 60 || d < -60 {
						differ++
					}
				}
				if differ < 60*60/10 {
					t.Errorf("on %d, marks %d and %d differ in %d pixels", s.Grey, a, b, differ)
				}
			}
		}
	}
}

// TestMemory holds that memory does not grow with the number of frames: two megapixels take
// 75 MB at most.
func TestMemory(t *testing.T) {
	const w, h, most = 1728, 1152, 75 << 20
	img := scene(w, h)
	var taken [2]uint64
	for i, n := range []int{2, 6} {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		for _, made := range []*image.YCbCr{
			Focus(still(n, w, h), listed(slices.Repeat([]image.Image{img}, n))).Picture,
		} {
			runtime.KeepAlive(made)
		}
		runtime.ReadMemStats(&after)
		taken[i] = after.TotalAlloc - before.TotalAlloc
	}
	t.Logf("%.1f and %.1f MB for 2 and 6 frames", float64(taken[0])/(1<<20), float64(taken[1])/(1<<20))
	if taken[1] > most || taken[1] > taken[0]+1<<20 {
		t.Errorf("%d and %d bytes for 2 and 6 frames, want %d at most and the same", taken[0], taken[1], most)
	}
}
