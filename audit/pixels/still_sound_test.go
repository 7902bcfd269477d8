package pixels_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"prestrike/audit/pixels"
	"prestrike/audit/pixels/pixelstest"
)

// sounds counts pairs of single frames of one drawn subject of which neither is blurred: each
// is compared with the other. The subject is as deep as 1 to 30 px of blur, and the frames
// are focused somewhere in it.
func (ta *tally) sounds(seed uint64) {
	rng := rand.New(rand.NewPCG(seed, 19))
	between := func(lo, hi float64) float64 { return lo + (hi-lo)*rng.Float64() }
	d := stoppedDown(drawn(seed), math.Exp(between(0, math.Log(30))))
	d.Width, d.Height, d.DriftX, d.DriftY = 576, 576*d.Height/d.Width, 0.75*d.DriftX, 0.75*d.DriftY
	built := d.Build()
	reference := pixelstest.Shot{Focus: built.FocusAt(between(0.1, 0.9)), Noise: 1}
	first := newStudio(built).single(reference)
	ask := func(kind string, change func(b *pixelstest.Built, s *pixelstest.Shot) *pixelstest.Built) {
		shot := reference
		shot.Noise = 2
		kept := built.Scene
		second := newStudio(change(built, &shot)).single(shot)
		built.Scene = kept
		for k, x := range []pixels.Softness{second.SofterThan(first), first.SofterThan(second)} {
			ta.count("A all", x.Answer, x.Answer == pixels.Found)
			ta.count("A "+kind, x.Answer, x.Answer == pixels.Found)
			if x.Answer != pixels.Fine {
				ta.note("seed %d (%v, %.1f px deep): %s, %d: %v %s, loss %.2f of %d", seed, d.Shape, d.Depth, kind, k, x.Answer, x.Reason, x.Loss, x.Tiles)
			}
		}
	}
	shot := func(kind string, change func(s *pixelstest.Shot)) {
		ask(kind, func(b *pixelstest.Built, s *pixelstest.Shot) *pixelstest.Built {
			change(s)
			return b
		})
	}
	shot("again", func(*pixelstest.Shot) {})
	shot("nudged by up to 1 %", func(s *pixelstest.Shot) {
		by, way := between(0.001, 0.01)*float64(d.Width), between(0, 2*math.Pi)
		s.ShiftX, s.ShiftY = by*math.Cos(way), by*math.Sin(way)
	})
	shot("rolled by up to 0.5°", func(s *pixelstest.Shot) { s.Turn = between(-0.5, 0.5) * math.Pi / 180 })
	shot("refocused, edges up to 1.15 times as wide", func(s *pixelstest.Shot) { s.Focus += between(-1, 1) * doubled(d) / 3 / d.Depth })
	shot("focused elsewhere in the subject", func(s *pixelstest.Shot) { s.Focus = built.FocusAt(between(0.05, 0.95)) })
	shot("exposed up to 1 EV otherwise", func(s *pixelstest.Shot) { s.EV = between(-1, 1) })
	shot("a shadow over a part", func(s *pixelstest.Shot) { s.Cloud, s.CloudAt = between(0.2, 0.7), between(0, 1) })
	ask("up to 1.5 % nearer", func(b *pixelstest.Built, s *pixelstest.Shot) *pixelstest.Built {
		if math.Abs(s.Focus-0.5) < 0.01 { // about which pictures breathe
			s.Focus = 0.51
		}
		b.Breathing = (between(0.985, 1.015)*(1+b.Breathing*(s.Focus-0.5)) - 1) / (s.Focus - 0.5)
		return b
	})
	ask("one stop more of ISO", func(b *pixelstest.Built, _ *pixelstest.Shot) *pixelstest.Built {
		b.Electrons /= 2
		return b
	})
	ask("JPEG at quality 70", func(b *pixelstest.Built, _ *pixelstest.Shot) *pixelstest.Built {
		b.Quality = 70
		return b
	})
	ask("texture with 0.6 to 0.9 of its contrast", func(b *pixelstest.Built, _ *pixelstest.Shot) *pixelstest.Built {
		s := b.Scene
		s.Contrast *= between(0.6, 0.9)
		return s.Build()
	})
	ask("the lamp elsewhere", func(b *pixelstest.Built, _ *pixelstest.Shot) *pixelstest.Built {
		s := b.Scene
		s.Lamp = between(-math.Pi/2, math.Pi/2)
		return s.Build()
	})
}

// TestStillInNoise: where noise hides the texture but for a few highlights, which give no more than white
// at one more EV, a frame as sharp is not taken for soft.
func TestStillInNoise(t *testing.T) {
	pixelstest.Long(t)
	rng := rand.New(rand.NewPCG(22028, 17))
	d := stoppedDown(pixelstest.Random(22028).Harder(), 1+7*rng.Float64())
	built := d.Build()
	st, shot := newStudio(built), pixelstest.Shot{Focus: built.FocusAt(0.2 + 0.6*rng.Float64()), Noise: 1}
	first := st.single(shot)
	shot.Noise, shot.EV = 2, 1
	if x := st.single(shot).SofterThan(first); x.Answer != pixels.CannotTell || x.Reason != pixels.ReasonTexture {
		t.Errorf("%v %q, loss %.2f of %d", x.Answer, x.Reason, x.Loss, x.Tiles)
	}
}

// TestSoundSingleRates fails where more than 0.5 % of the single frames that are as sharp as
// another one of the view are found soft, as far as the interval of a count shows that.
//
//	go test ./audit/pixels -run TestSoundSingleRates -v -seeds 50 -first 27001 -timeout 60m
func TestSoundSingleRates(t *testing.T) {
	pixelstest.Long(t)
	overManyScenes(t)
	ta := newTally()
	overSeeds(ta.sounds)
	ta.log(t)
	for name, r := range ta.rows {
		if lo, _ := wilson(r.found, r.runs-r.cannot); lo > 0.005 {
			miss(t, "%s: %d of %d are found soft", name, r.found, r.runs-r.cannot)
		}
	}
}
