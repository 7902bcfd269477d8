package pixels_test

import (
	"fmt"
	"image"
	"math"
	"math/rand/v2"
	"runtime"
	"testing"
	"weak"

	"prestrike/audit/pixels"
	"prestrike/audit/pixels/pixelstest"
)

// single is what is kept of a single frame.
func (st *studio) single(shot pixelstest.Shot) *pixels.Still {
	return &st.judge([]pixelstest.Shot{shot}).Stills[0]
}

// TestStill holds the answer for single frames of a flat subject to frames that are as sharp,
// shaken, out of focus, lit otherwise, moved, turned, and of pictures that show nothing.
func TestStill(t *testing.T) {
	scene := pixelstest.Scene{
		Seed: 8, Width: 384, Height: 256, Shape: pixelstest.Ammonite, Depth: 5, Contrast: 1, PSF: 0.6, Breathing: 0.004, Electrons: 20000, Quality: 85,
	}
	smooth, other := scene, scene
	smooth.Shape, smooth.Contrast, other.Seed = pixelstest.Dome, 0, 9
	soft := scene // as in softer light, or through haze
	soft.Contrast = 0.6
	small := scene
	small.Width, small.Height = 288, 192
	built := scene.Build()
	st, plain := newStudio(built), newStudio(smooth.Build())
	sharp := pixelstest.Shot{Focus: 0.5, Noise: 1}
	reference := st.single(sharp)
	for _, c := range []struct {
		name   string
		of     *studio
		shot   pixelstest.Shot
		want   pixels.Answer
		reason string
	}{
		{"again", st, pixelstest.Shot{Focus: 0.5, Noise: 2}, pixels.Fine, ""},
		{"nudged", st, pixelstest.Shot{Focus: 0.5, Noise: 2, ShiftX: 2.5, ShiftY: -1.5}, pixels.Fine, ""},
		{"hardly shaken", st, pixelstest.Shot{Focus: 0.5, Noise: 2, Shake: 1.2}, pixels.Fine, ""},
		{"shaken", st, pixelstest.Shot{Focus: 0.5, Noise: 2, Shake: 4, Angle: 0.6}, pixels.Found, ""},
		{"shaken and brighter", st, pixelstest.Shot{Focus: 0.5, Noise: 2, Shake: 4, Angle: 0.6, EV: 0.8}, pixels.Found, ""},
		{"out of focus", st, pixelstest.Shot{Focus: 2, Noise: 2}, pixels.Found, ""},
		{"in softer light", newStudio(soft.Build()), pixelstest.Shot{Focus: 0.5, Noise: 2}, pixels.Fine, ""},
		{"shaken and in softer light", newStudio(soft.Build()), pixelstest.Shot{Focus: 0.5, Noise: 2, Shake: 4, Angle: 0.6}, pixels.Found, ""},
		{"shaken and much darker", st, pixelstest.Shot{Focus: 0.5, Noise: 2, Shake: 4, EV: -2}, pixels.CannotTell, pixels.ReasonOtherLight},
		{"shaken and framed anew", st, pixelstest.Shot{Focus: 0.5, Noise: 2, Shake: 4, ShiftX: 32}, pixels.CannotTell, pixels.ReasonOtherView},
		{"shaken and turned", newStudio(built.Yawed(10)), pixelstest.Shot{Focus: 0.5, Noise: 2, Shake: 4}, pixels.CannotTell, pixels.ReasonOtherView},
		{"another subject", newStudio(other.Build()), pixelstest.Shot{Focus: 0.5, Noise: 2, Shake: 4}, pixels.CannotTell, pixels.ReasonOtherView},
		{"a picture of another size", newStudio(small.Build()), pixelstest.Shot{Focus: 0.5, Noise: 2, Shake: 4}, pixels.CannotTell, pixels.ReasonNoView},
	} {
		if x := c.of.single(c.shot).SofterThan(reference); x.Answer != c.want || x.Reason != c.reason {
			t.Errorf("%s: %v %q, loss %.2f of %d tiles; want %v %q", c.name, x.Answer, x.Reason, x.Loss, x.Tiles, c.want, c.reason)
		}
	}
	if x := plain.single(sharp).SofterThan(plain.single(pixelstest.Shot{Focus: 0.5, Noise: 2})); x.Answer != pixels.CannotTell {
		t.Errorf("without texture: %v", x)
	}
	if x := (&pixels.Still{}).SofterThan(reference); x.Reason != pixels.ReasonNoView {
		t.Errorf("nothing: %v", x)
	}
	// As may stand in a file: the product of the two is 0.
	endless := *reference
	endless.Cells.Cols, endless.Cells.Rows, endless.Sharpness = 1<<32, 1<<32, nil
	if x := endless.SofterThan(&endless); x.Reason != pixels.ReasonNoView {
		t.Errorf("a grid that is too large: %v", x)
	}
	run := st.judge(pixelstest.Run(3, 5, 0.5, 0.5, 0))
	if len(run.Stills) != 0 {
		t.Errorf("%d frames of a run of 5 are kept by themselves", len(run.Stills))
	}
}

// doubled is the diameter of a disc of blur, px, that doubles the width of an edge that the
// lens itself blurs: variances add up, and that of a disc is d²/16.
func doubled(d pixelstest.Draw) float64 { return 4 * math.Sqrt(3) * d.PSF }

// stoppedDown is the drawn subject as at a high f-number, or a flat one: from its nearest to
// its farthest point the disc of blur grows by so many px.
func stoppedDown(d pixelstest.Draw, blur float64) pixelstest.Draw {
	k := blur / d.Depth // breathing and drift go with the way of focus
	d.Width, d.Height = 768, 768*d.Height/d.Width
	d.Depth, d.Breathing, d.DriftX, d.DriftY = blur, k*d.Breathing, k*d.DriftX, k*d.DriftY
	return d
}

// singles counts pairs of single frames of one drawn subject: the second compared with the
// first.
func (ta *tally) singles(seed uint64) {
	rng := rand.New(rand.NewPCG(seed, 17))
	d := stoppedDown(drawn(seed), 1+7*rng.Float64())
	name := fmt.Sprintf("seed %d (%v, %.1f px deep)", seed, d.Shape, d.Depth)
	built := d.Build()
	st := newStudio(built)
	reference := pixelstest.Shot{Focus: built.FocusAt(0.2 + 0.6*rng.Float64()), Noise: 1}
	sharp := st.single(reference)
	ask := func(row string, st *studio, change func(s *pixelstest.Shot)) {
		s := reference
		s.Noise = 2
		change(&s)
		x := st.single(s).SofterThan(sharp)
		ta.count(row, x.Answer, x.Answer == pixels.Found)
		if (row[0] == 'B') != (x.Answer == pixels.Found) {
			ta.note("%s: %s: %v %s, loss %.2f of %d", name, row, x.Answer, x.Reason, x.Loss, x.Tiles)
		}
	}
	shake := func(px float64) func(s *pixelstest.Shot) {
		angle := math.Pi * rng.Float64()
		return func(s *pixelstest.Shot) { s.Shake, s.Angle = px, angle }
	}
	aside := func(share float64) func(s *pixelstest.Shot) {
		angle := 2 * math.Pi * rng.Float64()
		return func(s *pixelstest.Shot) {
			s.ShiftX, s.ShiftY = share*float64(d.Width)*math.Cos(angle), share*float64(d.Width)*math.Sin(angle)
		}
	}
	ask("A again", st, func(*pixelstest.Shot) {})
	ask("A 1 EV brighter", st, func(s *pixelstest.Shot) { s.EV = 1 })
	ask("A 1 EV darker", st, func(s *pixelstest.Shot) { s.EV = -1 })
	ask("A nudged by 0.5 %", st, aside(0.005))
	ask("A focus elsewhere in the subject", st, func(s *pixelstest.Shot) { s.Focus = built.FocusAt(0.05 + 0.9*rng.Float64()) })
	for _, times := range []float64{1, 2} {
		ask(fmt.Sprintf("B missed focus, edges %.0f times as wide", 1+times), st, func(s *pixelstest.Shot) {
			blur := doubled(d)
			if times > 1 {
				blur *= math.Sqrt(8.0 / 3) // three times the width is √8 times that of the lens added
			}
			s.Focus = 1 + blur/d.Depth
			if rng.IntN(2) == 0 {
				s.Focus = -blur / d.Depth
			}
		})
	}
	// A line of length L has a variance of L²/12.
	ask("B shake, edges twice as wide", st, shake(doubled(d)*math.Sqrt(12)/4))
	ask("B shake, edges 1.5 times as wide", st, shake(math.Sqrt(12*1.25)*d.PSF))
	ask("B shake, 1 EV brighter", st, func(s *pixelstest.Shot) { shake(6)(s); s.EV = 1 })
	ask("C shaken and framed anew by 6 %", st, func(s *pixelstest.Shot) { aside(0.06)(s); shake(5)(s) })
	other := d
	other.Seed += 5000
	ask("C shaken and turned by 5°", newStudio(built.Yawed(5)), shake(5))
	ask("C shaken and turned by 10°", newStudio(built.Yawed(10)), shake(5))
	ask("C another subject, shaken", newStudio(other.Build()), shake(5))

	deep := stoppedDown(drawn(seed), 15+15*rng.Float64())
	built = deep.Build()
	st = newStudio(built)
	reference.Focus = built.FocusAt(0.1 + 0.8*rng.Float64())
	sharp = st.single(reference)
	ask("A deep subject, again", st, func(*pixelstest.Shot) {})
	ask("A focus elsewhere in a deep subject", st, func(s *pixelstest.Shot) { s.Focus = built.FocusAt(0.05 + 0.9*rng.Float64()) })
	ask("B deep subject, shake, edges twice as wide", st, shake(doubled(d)*math.Sqrt(12)/4))
}

// TestSingleRates fails where fewer than 80 % are found of the single frames whose edges are
// twice as wide as those of another frame of the view, or more than 0.5 % of sound ones, as
// far as the interval of a count shows that; and where more than 5 % of other views are taken
// for the same.
//
//	go test ./audit/pixels -run TestSingleRates -v -seeds 20 -first 24201 -timeout 60m
func TestSingleRates(t *testing.T) {
	pixelstest.Long(t)
	overManyScenes(t)
	ta := newTally()
	overSeeds(ta.singles)
	ta.log(t)
	for name, r := range ta.rows {
		lo, hi := wilson(r.found, r.runs-r.cannot)
		other, _ := wilson(r.found, r.runs)
		switch {
		case name[0] == 'A' && lo > 0.005, name[0] == 'C' && other > 0.05:
			miss(t, "%s: %d of %d found", name, r.found, r.runs-r.cannot)
		case name[0] == 'B' && name != "B shake, edges 1.5 times as wide" && hi < 0.8:
			miss(t, "%s: only %d of %d found", name, r.found, r.runs-r.cannot)
		}
	}
}

// stillOf is what is kept of one picture.
func stillOf(t *testing.T, img image.Image) *pixels.Still {
	t.Helper()
	return &judgeAll([]*pixels.FrameMeasure{measure(t, img)}).Stills[0]
}

// TestRealSingles compares the frames of real series with each other as if each were single, and
// with what a shake makes of them. The file names of the microscope tiles state how far each is
// from best focus: none may be softer than one that is farther.
func TestRealSingles(t *testing.T) {
	overManyScenes(t)
	ta := newTally()
	for _, r := range realSeries(t) {
		var stills []*pixels.Still
		for i, f := range r.files {
			img := realFrameOf(t, f).grey()
			stills = append(stills, stillOf(t, img))
			px := 4.0 * float64(max(img.Bounds().Dx(), img.Bounds().Dy())) / 1600
			x := stillOf(t, pixelstest.Shaken(altered(img, 0, 1), px, float64(i))).SofterThan(stills[i])
			ta.count("B shaken by 4 px of 1,600, "+r.name, x.Answer, x.Answer == pixels.Found)
			x = stillOf(t, altered(img, 0, 0.75)).SofterThan(stills[i])
			ta.count("A darker, "+r.name, x.Answer, x.Answer == pixels.Found)
		}
		for i, a := range stills {
			for k, b := range stills {
				x := a.SofterThan(b)
				switch {
				case i == k:
				case r.offsets == nil:
					ta.count("another focus, "+r.name, x.Answer, x.Answer == pixels.Found)
				case math.Abs(r.offsets[i]) < math.Abs(r.offsets[k]):
					ta.count("A nearer to focus, "+r.name, x.Answer, x.Answer == pixels.Found)
				case math.Abs(r.offsets[i]) > math.Abs(r.offsets[k]):
					ta.count("farther from focus, "+r.name, x.Answer, x.Answer == pixels.Found)
				}
			}
		}
	}
	ta.log(t)
	for name, r := range ta.rows {
		if name[0] == 'A' && r.found > 0 {
			t.Errorf("%s: %d of %d are found soft", name, r.found, r.runs)
		}
	}
}

// BenchmarkSofter compares two frames of one view, of one and a half megapixels, and two of
// different views.
func BenchmarkSofter(b *testing.B) {
	scene := pixelstest.Scene{Seed: 8, Width: 1500, Height: 1000, Shape: pixelstest.Ammonite, Depth: 5, Contrast: 1, PSF: 0.6, Electrons: 20000, Quality: 85}
	other := scene
	other.Seed = 9
	st := newStudio(scene.Build())
	first, again, unlike := st.single(pixelstest.Shot{Noise: 1}), st.single(pixelstest.Shot{Noise: 2}), newStudio(other.Build()).single(pixelstest.Shot{Noise: 2})
	for name, o := range map[string]*pixels.Still{"one view": again, "two views": unlike} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				o.SofterThan(first)
			}
		})
	}
}

// What a frame was compared with is not kept for that: over a day of single frames each would
// hold those before it.
func TestSofterHoldsNothing(t *testing.T) {
	later := &pixels.Seen{Judgement: &pixels.Judgement{Stills: make([]pixels.Still, 1)}}
	earlier := &pixels.Seen{Judgement: &pixels.Judgement{Stills: make([]pixels.Still, 1)}}
	later.Softer(0, earlier, 0)
	held := weak.Make(earlier)
	earlier = nil
	runtime.GC()
	if held.Value() != nil {
		t.Error("the earlier frame is held")
	}
	runtime.KeepAlive(later)
}
