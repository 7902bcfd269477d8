package proof

import (
	"image"
	"math"
	"testing"

	"prestrike/audit/pixels/pixelstest"
)

// TestAlign holds the second registration to shifts and scales that were rendered: from a
// motion that is a tenth of a pixel wrong it finds them to a fortieth, as far as noise allows.
func TestAlign(t *testing.T) {
	b := pixelstest.Scene{Seed: 13, Width: 480, Height: 320, Shape: pixelstest.Relief, Depth: 4, Contrast: 1, PSF: 0.6, Electrons: 40000, Quality: 92}.Build()
	first := b.Picture(pixelstest.Shot{Focus: 0.5, Noise: 1})
	for _, c := range []struct{ x, y, focus float64 }{{0, 0, 0.5}, {0, 0, 0.55}, {0, 0.4, 0.5}, {0.4, 0, 0.5}, {0.25, -0.5, 0.55}, {0.85, 0.4, 0.55}, {-1.3, 3.2, 0.45}} {
		next := b.Picture(pixelstest.Shot{Focus: c.focus, ShiftX: c.x, ShiftY: c.y, Noise: 2})
		a := &aligner{}
		a.next(newSource(first, 1), affine{p: 1})
		got := a.next(newSource(next, 1), affine{p: 1, c: c.x + 0.07, d: c.y - 0.07})
		for _, at := range [][2]float64{{0, 0}, {480, 0}, {240, 160}, {480, 320}} {
			x, y := got.of(at[0], at[1])
			if d := math.Hypot(x-at[0]-c.x, y-at[1]-c.y); d > 0.025 {
				t.Errorf("shift %v, %v: %v lies %.3f px from where it is", c.x, c.y, at, d)
			}
		}
	}
	// Where nothing shows where the picture lies, and where it does not fit, what is known stands.
	known := affine{p: 1, c: 3}
	for name, img := range map[string]image.Image{"grey": image.NewGray(first.Bounds()), "another view": b.Picture(pixelstest.Shot{Focus: 0.5, ShiftX: 30, Noise: 3})} {
		a := &aligner{}
		a.next(newSource(first, 1), affine{p: 1})
		got := a.next(newSource(img, 1), known)
		if x, y := got.of(0, 0); math.Hypot(x-3, y) > 1.5 {
			t.Errorf("%s: the corner lies at %.2f, %.2f", name, x, y)
		}
	}
}

// TestHighlightsLeaveNoRims merges runs in which bright points are disks in all frames but
// the few in which they are in focus: around them the proof is as near to the scene as if the
// frame had been chosen by hand, beside steps of depth too.
func TestHighlightsLeaveNoRims(t *testing.T) {
	for _, c := range []struct {
		seed    uint64
		shape   pixelstest.Shape
		plain   float64
		atLeast float64 // dB
	}{
		{21, pixelstest.Dome, 0, 38},
		{22, pixelstest.Relief, 0.4, 38},
	} {
		scene := pixelstest.Scene{Seed: c.seed, Width: 400, Height: 272, Shape: c.shape, Depth: 16, Contrast: 0.8, Plain: c.plain, PSF: 0.6, Electrons: 40000, Quality: 92}
		without := scene.Build()
		scene.Highlights = 14
		b := scene.Build()
		shots := pixelstest.Run(4, 16, -0.1, 1.1, 0.03)
		var list []image.Image
		for _, s := range shots {
			list = append(list, b.Picture(s))
		}
		run := RunOf(measured(t, list))
		got := Focus(run, listed(list)).Picture
		truth, ground := b.Truth(shots[run.Reference], shots).Sharp, without.Truth(shots[run.Reference], shots).Sharp
		near := aroundPoints(truth, ground)
		around := psnr(got.Y, got.YStride, truth, func(i int) bool { return near[i] })
		beside := psnr(got.Y, got.YStride, truth, func(i int) bool { return !near[i] })
		t.Logf("%v: %.2f dB around highlights, %.2f beside", c.shape, around, beside)
		if around < c.atLeast {
			t.Errorf("%v: around highlights the proof is %.2f dB from the scene, want %v", c.shape, around, c.atLeast)
		}
	}
}

// aroundPoints marks the pixels around those that are brighter than the ground alone.
func aroundPoints(truth, ground *image.Gray) []bool {
	const reach = 14
	near := make([]bool, len(truth.Pix))
	for i, v := range truth.Pix {
		if int(v)-int(ground.Pix[i]) < 40 {
			continue
		}
		x, y := i%truth.Stride, i/truth.Stride
		for v := max(0, y-reach); v <= min(y+reach, truth.Rect.Dy()-1); v++ {
			for u := max(0, x-reach); u <= min(x+reach, truth.Rect.Dx()-1); u++ {
				near[v*truth.Stride+u] = true
			}
		}
	}
	return near
}

// TestDepthBesideHighlights holds which places take their frame from those around, and which
// from the highlight.
func TestDepthBesideHighlights(t *testing.T) {
	const frames, ground, other, dark, bright = 16, 2, 12, 100, 255
	// In focus 8 px wide, and 3 px wider for each frame beside that.
	disk := highlight{radius: 4, round: true, frame: ground, reach: 19, reachIn: ground + 10, least: 1000, most: 5000}
	behind := disk
	behind.frame, behind.reachIn = other-2, ground-2
	hair := disk
	hair.round, hair.frame = false, other-2
	white := disk
	white.most = 1100
	for _, c := range []struct {
		name  string
		light highlight
		far   float64 // px from the place to its middle
		luma  float32 // of the place in the frame with the greatest energy
		want  float32
		given bool
	}{
		{"the rim of a disk", disk, 20, dark, ground, true},
		{"inside a disk", disk, 10, bright, ground, true},
		{"a place that hides a disk", disk, 6, dark, other, false},
		{"beside all disks", disk, 32, dark, other, false},
		{"a point that is in focus with another ground", behind, 2, bright, other - 2, true},
		{"where it would be a disk if its frame were that of the ground", behind, 11, dark, other - 2, true},
		{"where it would not reach", behind, 30, dark, other, false},
		{"beside a bright hair before the ground", hair, 11, dark, other, false},
		{"a white ground", white, 20, dark, other, false},
	} {
		cover := newCoverage(320, 320, nil)
		for i := range cover.fine.at {
			cover.fine.at[i], cover.fine.best.pix[i], cover.fine.luma.pix[i] = ground, 100, dark
		}
		cover.order = make([]int, frames)
		x, y := cover.w/2, cover.h/2
		middle := y*cover.w + x
		for dy := -2; dy <= 2; dy++ {
			for dx := -2; dx <= 2; dx++ {
				cover.fine.at[middle+dy*cover.w+dx], cover.fine.luma.pix[middle+dy*cover.w+dx] = other, c.luma
			}
		}
		c.light.x, c.light.y = placeSide*float64(x)+middleOfPlace-c.far, placeSide*float64(y)+middleOfPlace
		cover.highlights.list = []highlight{c.light}
		d := cover.depth()
		if got := d.frame[middle]; d.given[middle] != c.given || got < c.want-0.3 || got > c.want+0.3 {
			t.Errorf("%s: the frame is %.2f, given %v, want %v, %v", c.name, got, d.given[middle], c.want, c.given)
		}
	}
}

// TestPicturesThatFailTheSecondTime holds that a picture which can be read only once takes
// nothing else away, and that the reference may be it.
func TestPicturesThatFailTheSecondTime(t *testing.T) {
	img := scene(120, 90)
	for _, lost := range []int{0, 1, 2} {
		for _, always := range []bool{false, true} {
			run := still(3, 120, 90)
			run.Reference = 1
			turn := 0
			got := Focus(run, func(yield func(int, image.Image) bool) {
				turn++
				for i := range 3 {
					if i == lost && (always || turn == 2) {
						continue
					}
					if !yield(i, img) {
						return
					}
				}
			}).Picture
			if d := psnr(got.Y, got.YStride, &image.Gray{Pix: img.Y, Stride: img.YStride, Rect: img.Rect}, nil); d < 45 {
				t.Errorf("without frame %d: %.1f dB", lost, d)
			}
		}
	}
}

// TestBorderThatFramesLose holds that places along the border which only some frames show are
// not called plain, as they are only because the frames that show them sharp do not show
// them at all.
func TestBorderThatFramesLose(t *testing.T) {
	b := pixelstest.Scene{Seed: 17, Width: 480, Height: 320, Shape: pixelstest.Plane, Depth: 24, Contrast: 1, PSF: 0.6, Breathing: 0.04, Electrons: 40000, Quality: 92}.Build()
	var list []image.Image
	for _, s := range pixelstest.Run(6, 14, -0.1, 1.1, 0.03) {
		list = append(list, b.Picture(s))
	}
	c := Focus(RunOf(measured(t, list)), listed(list)).Coverage
	border, plain := 0, 0
	for i, m := range c.Marks {
		if x, y := i%c.Width, i/c.Width; x == 0 || y == 0 || x == c.Width-1 || y == c.Height-1 {
			border++
			if m == Plain {
				plain++
			}
		}
	}
	t.Logf("%d of %d places along the border are plain", plain, border)
	if plain > border/50 {
		t.Errorf("%d of %d places along the border are plain, though all have texture", plain, border)
	}
}

// TestNoiseHidesFineTexture merges a run in which noise is stronger than fine texture: coarse
// texture still shows the frames in which places are sharp.
func TestNoiseHidesFineTexture(t *testing.T) {
	b := pixelstest.Scene{Seed: 29, Width: 480, Height: 320, Shape: pixelstest.Dome, Depth: 36, Contrast: 0.35, PSF: 0.7, Electrons: 1250, Quality: 90}.Build()
	shots := pixelstest.Run(8, 17, -0.1, 1.1, 0.05)
	var list []image.Image
	for _, s := range shots {
		list = append(list, b.Picture(s))
	}
	run := RunOf(measured(t, list))
	got, truth := Focus(run, listed(list)).Picture, b.Truth(shots[run.Reference], shots).Sharp
	near := psnr(got.Y, got.YStride, truth, nil)
	t.Logf("%.2f dB", near)
	if near < 42 {
		t.Errorf("the proof is %.2f dB from the scene, want 42", near)
	}
}
