package pixels_test

import (
	"fmt"
	"image"
	"image/draw"
	"slices"
	"testing"

	"prestrike/audit/pixels"
	"prestrike/audit/pixels/pixelstest"
)

// A shooting is pictures of a run.
type shooting struct {
	built *pixelstest.Built
	shots []pixelstest.Shot
	part  image.Rectangle // that is photographed; the zero value is all
	list  []*pixels.FrameMeasure
}

// backwards is the same shooting, its pictures in the opposite order.
func (s *shooting) backwards(t *testing.T) *shooting {
	t.Helper()
	out := &shooting{list: slices.Clone(s.measured(t))}
	slices.Reverse(out.list)
	return out
}

func (s *shooting) measured(t *testing.T) []*pixels.FrameMeasure {
	t.Helper()
	if s.list != nil {
		return s.list
	}
	s.list = make([]*pixels.FrameMeasure, len(s.shots))
	for i, shot := range s.shots {
		picture := s.built.Picture(shot)
		if !s.part.Empty() {
			cut := image.NewGray(image.Rectangle{Max: s.part.Size()})
			draw.Draw(cut, cut.Rect, picture, s.part.Min, draw.Src)
			picture = cut
		}
		s.list[i] = measure(t, picture)
	}
	return s.list
}

// An ordinary pair is a whole run and another behind it: joined they would be one, and may not be.
type ordinary struct {
	name          string
	first, second *shooting
}

// ordinaryPairs are runs of as many frames as they follow each other in ordinary work: shot
// again, of a turned subject or another side of it, or at the next place, half of which the
// first showed; from the front, or from behind, as a rail makes them on its way back.
func ordinaryPairs(t *testing.T, seed uint64) []ordinary {
	t.Helper()
	d := drawn(seed)
	d.Width, d.Height = 576, 576*d.Height/d.Width
	b, shots := d.Build(), d.Shots()
	again := later(shots, 0.3*d.CoC/d.Depth)
	back := slices.Clone(again)
	slices.Reverse(back)
	other := d
	other.Scene.Seed += 1000
	side := other.Build()
	wide := d
	wide.Width += d.Width / 2
	strip := wide.Build()
	left := image.Rect(0, 0, d.Width, d.Height)
	right := left.Add(image.Pt(d.Width/2, 0))
	whole, place := &shooting{built: b, shots: shots}, &shooting{built: strip, shots: shots, part: left}
	another, next := &shooting{built: side, shots: again}, &shooting{built: strip, shots: again, part: right}
	return []ordinary{
		{"again, nudged by 0.5 %", whole, &shooting{built: b, shots: pixelstest.Bump(again, 0, len(again), 0.005*float64(d.Width), 0)}},
		{"turned by 5°", whole, &shooting{built: b.Yawed(5), shots: again}},
		{"turned by 20°, from behind", whole, &shooting{built: b.Yawed(20), shots: back}},
		{"another side", whole, another},
		{"another side, from behind", whole, another.backwards(t)},
		{"the next place, half of it new", place, next},
		{"the next place, from behind", place, next.backwards(t)},
	}
}

// TestGoingOnWorkRates counts how often a whole run is taken for the second part of the whole
// run before it.
func TestGoingOnWorkRates(t *testing.T) {
	overManyScenes(t) // TestGoingOnToAnotherSide asks of one
	type count struct{ on, apart, unknown int }
	got := map[string]*count{}
	pairs, joined := 0, 0
	for i := range uint64(*seedCount) {
		seed := *seedFirst + 2*i
		known := map[*shooting]*pixels.Sequence{}
		for _, c := range ordinaryPairs(t, seed) {
			if known[c.first] == nil {
				known[c.first] = new(pixels.Sequence)
				for _, m := range c.first.measured(t) {
					known[c.first].Add(m)
				}
			}
			g := behindPause(known[c.first], c.second.measured(t))
			r := got[c.name]
			if r == nil {
				r = new(count)
				got[c.name] = r
			}
			pairs++
			switch g.Answer {
			case pixels.Found:
				r.on++
				joined++
			case pixels.Fine:
				r.apart++
			default:
				r.unknown++
			}
			if g.Answer == pixels.Found || *showAll {
				t.Logf("seed %d, %s: %v %q %s, %.1f steps, %d frames repeat", seed, c.name, g.Answer, g.Course, g.Reason, g.Steps, g.Repeats)
			}
		}
	}
	var rows []string
	for name, c := range got {
		rows = append(rows, fmt.Sprintf("| %s | %d | %d | %d |", name, c.on, c.apart, c.unknown))
	}
	slices.Sort(rows)
	for _, r := range rows {
		t.Log(r)
	}
	lo, hi := wilson(joined, pairs)
	t.Logf("joined %d of %d (%.1f to %.1f %%)", joined, pairs, 100*lo, 100*hi)
	if joined > 0 {
		miss(t, "joined %d of %d", joined, pairs)
	}
}

// TestGoingOnToAnotherSide: in these scenes places of another subject get sharp where the first
// run's stopped, one after the other, as if focus went on. No picture of the one lies on one of
// the other.
func TestGoingOnToAnotherSide(t *testing.T) {
	shots := pixelstest.Run(3, 12, -0.1, 1.1, 0.04)
	again := later(shots, 0.02)
	back := slices.Clone(again)
	slices.Reverse(back)
	for _, seed := range []uint64{10, 25} {
		scene := pixelstest.Scene{
			Seed: seed, Width: 288, Height: 192, Shape: pixelstest.Shape(seed % 5), Depth: 12, Contrast: 1, PSF: 0.6, Breathing: 0.0005, Quality: 90,
		}
		first := new(pixels.Sequence)
		for _, m := range shoot(t, scene.Build(), shots) {
			first.Add(m)
		}
		scene.Seed += 1000
		side := scene.Build()
		for _, second := range [][]pixelstest.Shot{again, back} {
			if g := behindPause(first, shoot(t, side, second)); g.Answer == pixels.Found {
				t.Errorf("seed %d: %v %q, want another run, or nothing", seed, g.Answer, g.Course)
			}
		}
	}
}

// behindPause asks whether frames go on from a sequence, which stays as it is.
func behindPause(first *pixels.Sequence, second []*pixels.FrameMeasure) pixels.GoingOn {
	th := pixels.DefaultThresholds()
	whole := first.Clone()
	own := whole.Pause()
	for _, m := range second {
		whole.Add(m)
		own.Add(m)
	}
	return whole.GoingOn(th, first.Judge(th, nil), own.Judge(th, nil))
}
