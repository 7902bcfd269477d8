package pixels_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"prestrike/audit/pixels"
	"prestrike/audit/pixels/pixelstest"
)

// TestStillInRun holds the answer for single frames beside a focus sequence of their view, of a
// subject that no frame shows in focus as a whole.
func TestStillInRun(t *testing.T) {
	scene := pixelstest.Scene{
		Seed: 8, Width: 384, Height: 256, Shape: pixelstest.Dome, Depth: 14, Contrast: 1, PSF: 0.6, Breathing: 0.01, Electrons: 20000, Quality: 85,
	}
	soft, other := scene, scene
	soft.Contrast, other.Seed = 0.6, 9
	built := scene.Build()
	st := newStudio(built)
	run := st.judge(pixelstest.Run(3, 16, -0.15, 1.15, 0.02))
	standing := st.judge(pixelstest.Run(3, 8, 0.5, 0.5, 0))
	for _, c := range []struct {
		name   string
		of     *studio
		in     *pixels.Judgement
		shot   pixelstest.Shot
		want   pixels.Answer
		reason string
	}{
		{"in focus in the middle", st, run, pixelstest.Shot{Focus: 0.5, Noise: 2}, pixels.Fine, ""},
		{"in focus near one end", st, run, pixelstest.Shot{Focus: built.FocusAt(0.1), Noise: 2}, pixels.Fine, ""},
		{"in focus near the other end", st, run, pixelstest.Shot{Focus: built.FocusAt(0.9), Noise: 2}, pixels.Fine, ""},
		{"nudged", st, run, pixelstest.Shot{Focus: 0.5, Noise: 2, ShiftX: 2.5, ShiftY: -1.5}, pixels.Fine, ""},
		{"in softer light", newStudio(soft.Build()), run, pixelstest.Shot{Focus: 0.5, Noise: 2}, pixels.Fine, ""},
		{"shaken", st, run, pixelstest.Shot{Focus: 0.5, Noise: 2, Shake: 5, Angle: 0.6}, pixels.Found, ""},
		{"shaken and brighter", st, run, pixelstest.Shot{Focus: 0.5, Noise: 2, Shake: 5, Angle: 0.6, EV: 0.8}, pixels.Found, ""},
		{"in front of the subject", st, run, pixelstest.Shot{Focus: -3.5 / 14, Noise: 2}, pixels.Found, ""},
		{"behind the subject", st, run, pixelstest.Shot{Focus: 1 + 3.5/14, Noise: 2}, pixels.Found, ""},
		{"shaken and much darker", st, run, pixelstest.Shot{Focus: 0.5, Noise: 2, Shake: 5, EV: -2}, pixels.CannotTell, pixels.ReasonOtherLight},
		{"turned", newStudio(built.Yawed(10)), run, pixelstest.Shot{Focus: 0.5, Noise: 2}, pixels.CannotTell, pixels.ReasonOtherView},
		{"shaken and framed anew", st, run, pixelstest.Shot{Focus: 0.5, Noise: 2, Shake: 5, ShiftX: 32}, pixels.CannotTell, pixels.ReasonOtherView},
		{"another subject", newStudio(other.Build()), run, pixelstest.Shot{Focus: 0.5, Noise: 2}, pixels.CannotTell, pixels.ReasonOtherView},
		{"focus stands in the run", st, standing, pixelstest.Shot{Focus: 2, Noise: 2}, pixels.CannotTell, pixels.ReasonNoView},
	} {
		if x := c.of.single(c.shot).SofterThanRun(c.in); x.Answer != c.want || x.Reason != c.reason {
			t.Errorf("%s: %v %q, loss %.2f of %d tiles; want %v %q", c.name, x.Answer, x.Reason, x.Loss, x.Tiles, c.want, c.reason)
		}
	}
	// As may stand in a file.
	endless := *run
	endless.Layout.Places = []float64{-1e300, 1e300}
	if x := st.single(pixelstest.Shot{Focus: 0.5, Noise: 2}).SofterThanRun(&endless); x.Reason != pixels.ReasonNoView {
		t.Errorf("places without end: %v", x)
	}
}

// besides counts single frames beside a focus sequence of one drawn subject: in focus somewhere
// in it, and blurred.
func (ta *tally) besides(seed uint64) {
	rng := rand.New(rand.NewPCG(seed, 29))
	between := func(lo, hi float64) float64 { return lo + (hi-lo)*rng.Float64() }
	d := drawn(seed)
	d.Width, d.Height = 576, 576*d.Height/d.Width
	d.Frames = min(d.Frames, 24)
	d.Depth = d.CoC * max(4, float64(d.Frames-1)-2*d.Margin)
	built := d.Build()
	st := newStudio(built)
	run := st.judge(d.Shots())
	kept := built.Scene
	ask := func(row string, of *studio, s pixelstest.Shot) {
		s.Noise = 1000 + rng.Uint64N(1000)
		x := of.single(s).SofterThanRun(run)
		built.Scene = kept
		ta.count(row, x.Answer, x.Answer == pixels.Found)
		ta.count(row[:2]+"all", x.Answer, x.Answer == pixels.Found)
		if (row[0] == 'B') != (x.Answer == pixels.Found) {
			ta.note("seed %d (%v, %.1f px deep): %s: %v %s, loss %.2f of %d", seed, d.Shape, d.Depth, row, x.Answer, x.Reason, x.Loss, x.Tiles)
		}
	}
	// once renders what changes in the scene itself without keeping its measures.
	once := func(change func(s *pixelstest.Scene)) *studio {
		change(&built.Scene)
		return newStudio(built)
	}
	anew := func(change func(s *pixelstest.Scene)) *studio {
		s := built.Scene
		change(&s)
		return newStudio(s.Build())
	}
	somewhere := func() pixelstest.Shot { return pixelstest.Shot{Focus: built.FocusAt(between(0.03, 0.97))} }
	aside := func(s pixelstest.Shot, share float64) pixelstest.Shot {
		way := between(0, 2*math.Pi)
		s.ShiftX, s.ShiftY = share*float64(d.Width)*math.Cos(way), share*float64(d.Width)*math.Sin(way)
		return s
	}
	for range 3 {
		ask("A in focus somewhere", st, somewhere())
	}
	ask("A nudged by up to 1 %", st, aside(somewhere(), between(0.001, 0.01)))
	s := somewhere()
	s.EV = between(-1, 1)
	ask("A exposed up to 1 EV otherwise", st, s)
	s = somewhere()
	s.Turn = between(-0.5, 0.5) * math.Pi / 180
	ask("A rolled by up to 0.5°", st, s)
	s = somewhere()
	ask("A one stop more of ISO", once(func(s *pixelstest.Scene) { s.Electrons /= 2 }), s)
	s = somewhere()
	ask("A JPEG at quality 70", once(func(s *pixelstest.Scene) { s.Quality = 70 }), s)
	ask("A texture with 0.6 to 0.9 of its contrast", anew(func(s *pixelstest.Scene) { s.Contrast *= between(0.6, 0.9) }), somewhere())
	ask("A the lamp elsewhere", anew(func(s *pixelstest.Scene) { s.Lamp = between(-math.Pi/2, math.Pi/2) }), somewhere())
	for _, px := range [][2]float64{{2.5, 4}, {4, 8}} {
		size := fmt.Sprintf("%v to %v px", px[0], px[1])
		ask("B missed in front, "+size, st, pixelstest.Shot{Focus: -between(px[0], px[1]) / d.Depth})
		ask("B missed behind, "+size, st, pixelstest.Shot{Focus: 1 + between(px[0], px[1])/d.Depth})
		s = somewhere()
		s.Shake, s.Angle = between(px[0], px[1]), between(0, math.Pi)
		ask("D shake of "+size, st, s)
	}
	ask("C turned by 5°", newStudio(built.Yawed(5)), somewhere())
	ask("C turned by 10°", newStudio(built.Yawed(10)), somewhere())
	ask("C framed anew by 6 %", st, aside(somewhere(), 0.06))
	ask("C another subject", anew(func(s *pixelstest.Scene) { s.Seed += 5000 }), somewhere())
}

// TestSingleInRunRates fails where fewer than 80 % are found of the single frames that miss the
// subject by a blur of 2.5 px and more, beside a focus sequence of it, or more than 0.5 % of
// sound ones or of other views, as far as the interval of a count shows that.
//
//	go test ./audit/pixels -run TestSingleInRunRates -v -seeds 36 -first 66001 -timeout 60m
func TestSingleInRunRates(t *testing.T) {
	pixelstest.Long(t)
	overManyScenes(t)
	ta := newTally()
	overSeeds(ta.besides)
	ta.log(t)
	for name, r := range ta.rows {
		lo, hi := wilson(r.found, r.runs-r.cannot)
		switch {
		case (name == "A all" || name == "C all") && lo > 0.005: // each row is too short for one of 200
			miss(t, "%s: %d of %d are found soft", name, r.found, r.runs-r.cannot)
		case name[0] == 'B' && hi < 0.8:
			miss(t, "%s: only %d of %d found", name, r.found, r.runs-r.cannot)
		}
	}
}
