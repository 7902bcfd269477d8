package pixels_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"prestrike/audit/pixels"
	"prestrike/audit/pixels/pixelstest"
)

// A holding is a run with what held the camera, and what it went around.
type holding struct {
	name  string
	views []*pixelstest.Built // of each frame, or one of all
	shots []pixelstest.Shot
}

func (h *holding) judge(t *testing.T) *pixels.Judgement {
	t.Helper()
	var s pixels.Sequence
	for i, shot := range h.shots {
		s.Add(measure(t, h.views[min(i, len(h.views)-1)].Picture(shot)))
	}
	return s.Judge(pixels.DefaultThresholds(), nil)
}

// holdings are runs of a scene: of focus that walks and that stands, on a stand that is
// steady, knocked or trembles and in a hand, and of a camera that goes around the subject or a
// subject that turns, by the given degrees a frame, while focus stands on its middle.
func holdings(b *pixelstest.Built, d pixelstest.Draw) []holding {
	rng := rand.New(rand.NewPCG(d.Seed, 8))
	px := float64(d.Width) / 1600
	walk := d.Shots()
	if n := 12; len(walk) > n {
		from := rng.IntN(len(walk) - n + 1)
		walk = walk[from : from+n]
	}
	stand := pixelstest.Run(d.Seed+500, 10, 0.5, 0.5, 0)
	large, little := (1.5+6.5*rng.Float64())*px, (0.4+1.1*rng.Float64())*px
	one := []*pixelstest.Built{b}
	out := []holding{
		{"stand, focus walks", one, walk},
		{"stand, focus stands", one, stand},
		{"stand, knocked", one, pixelstest.Bump(walk, 6, len(walk), 5*px, 3*px)},
		{"stand, trembles by 0.4 px", one, pixelstest.Tremble(walk, d.Seed, 0.4*px)},
		{"stand, 4 frames", one, walk[:4]},
		{"hand, 1.5 to 8 px, focus walks", one, b.Hand(walk, d.Seed, large)},
		{"hand, 1.5 to 8 px, focus stands, 8 frames", one, b.Hand(stand[:8], d.Seed, large)},
		{"hand, 1.5 to 8 px, 4 frames", one, b.Hand(walk[:4], d.Seed+1, large)},
		{"hand, 0.4 to 1.5 px, 8 frames", one, b.Hand(stand[:8], d.Seed, little)},
		{"panorama, 10 % a frame", one, b.Pan(stand[:8], 0.10)},
	}
	yawed, went := kept(b.Yawed), kept(b.Around)
	const frames = 7
	for _, degrees := range []float64{2, 5, 10, 15} {
		var plate, around []*pixelstest.Built
		for k := range frames {
			plate = append(plate, yawed(degrees*float64(k-frames/2)))
			if degrees == 5 || degrees == 10 {
				around = append(around, went(degrees*float64(k-frames/2)))
			}
		}
		out = append(out, holding{fmt.Sprintf("turntable, %2.0f° a frame", degrees), plate, stand[:frames]})
		if around != nil {
			out = append(out, holding{fmt.Sprintf("around by hand, %2.0f° a frame", degrees), around, b.Hand(stand[:frames], d.Seed, 12*px)})
		}
	}
	return out
}

// kept makes each view once.
func kept(make func(degrees float64) *pixelstest.Built) func(degrees float64) *pixelstest.Built {
	views := map[float64]*pixelstest.Built{}
	return func(degrees float64) *pixelstest.Built {
		if views[degrees] == nil {
			views[degrees] = make(degrees)
		}
		return views[degrees]
	}
}

// TestHeldRates counts on rendered scenes what is found of how the camera was held, and how often
// focus is seen to walk while the view changes.
func TestHeldRates(t *testing.T) {
	overManyScenes(t) // TestHeld asks of one
	type count struct{ n, hand, stood, walks, views int }
	got := map[string]*count{}
	for i := range uint64(*seedCount) {
		d := drawn(*seedFirst + 2*i)
		d.Width, d.Height = 576, 384
		for _, h := range holdings(d.Build(), d) {
			j := h.judge(t)
			c := got[h.name]
			if c == nil {
				c = new(count)
				got[h.name] = c
			}
			c.n++
			switch j.Held.Answer {
			case pixels.Found:
				c.hand++
			case pixels.Fine:
				c.stood++
			}
			if j.Walk.Answer == pixels.Found {
				c.walks++
			}
			if j.Views.Answer == pixels.Found {
				c.views++
			}
			if *showAll {
				t.Logf("seed %d, %s: held %v %s %.2f px %.4f°, views %v %s %.2f, walk %v %s", d.Seed, h.name, j.Held.Answer, j.Held.Reason, j.Held.Shift, j.Held.Roll,
					j.Views.Answer, j.Views.Reason, j.Views.Apart, j.Walk.Answer, j.Walk.Reason)
			}
		}
	}
	var names []string
	for name := range got {
		names = append(names, name)
	}
	slices.Sort(names)
	sum := func(prefix string, of func(*count) int) (n, all int) {
		for name, c := range got {
			if strings.HasPrefix(name, prefix) {
				n, all = n+of(c), all+c.n
			}
		}
		return n, all
	}
	for _, name := range names {
		c := got[name]
		t.Logf("| %s | %d | %d | %d | %d | %d |", name, c.hand, c.stood, c.n-c.hand-c.stood, c.views, c.walks)
	}
	hold := func(what string, n, all int, least float64) {
		t.Helper()
		t.Logf("%s: %d of %d", what, n, all)
		if short(n, all, least) {
			miss(t, "%s: %d of %d", what, n, all)
		}
	}
	hand := func(c *count) int { return c.hand }
	stood := func(c *count) int { return c.stood }
	no := func(f func(*count) int) func(*count) int { return func(c *count) int { return c.n - f(c) } }
	n, all := sum("hand, 1.5 to 8 px, focus", hand)
	hold("a hand known", n, all, 0.95)
	n, all = sum("hand, 1.5 to 8 px, focus", no(stood))
	hold("a hand not taken for a stand", n, all, 0.98)
	n, all = sum("stand, ", no(hand))
	hold("a stand not taken for a hand", n, all, 0.98)
	n, all = sum("hand, 1.5 to 8 px, 4", hand)
	hold("a hand known in 4 frames", n, all, 0.85)
	var walks, rounds int
	for _, name := range []string{"panorama", "turntable", "around"} {
		w, a := sum(name, func(c *count) int { return c.walks })
		walks, rounds = walks+w, rounds+a
	}
	hold("no walk of focus while the view changes", rounds-walks, rounds, 0.95)
	byHand, of := sum("hand, 1.5 to 8 px, focus walks", func(c *count) int { return c.walks })
	onStand, _ := sum("stand, focus walks", func(c *count) int { return c.walks })
	hold("focus seen to walk in a hand, against on a stand", byHand, of, float64(onStand)/float64(of)-0.05)
}

// TestHeld asks of one scene what held the camera, and whether the view stood.
func TestHeld(t *testing.T) {
	pixelstest.Long(t)
	b := small(5, 0.03)
	d := pixelstest.Draw{Scene: b.Scene, Frames: 20, Jitter: 0.03, CoC: 24.0 / 16, Margin: 1.5}
	for _, h := range holdings(b, d) {
		j := h.judge(t)
		held, views := pixels.CannotTell, pixels.Fine
		switch {
		case strings.HasPrefix(h.name, "stand, "):
			held = pixels.Fine
		case strings.HasPrefix(h.name, "hand, 1.5"):
			held = pixels.Found
		case strings.HasPrefix(h.name, "hand, 0.4"):
			held = j.Held.Answer // either, or undecided
		case strings.HasPrefix(h.name, "panorama"):
			views = pixels.CannotTell
		default:
			views = pixels.Found
			switch {
			case strings.Contains(h.name, " 2°"): // hardly more than a stand
				held, views = j.Held.Answer, j.Views.Answer
			case strings.Contains(h.name, "15°") || strings.Contains(h.name, "10°"): // too far apart to be laid on each other
				views = j.Views.Answer
			}
		}
		if j.Held.Answer != held || j.Views.Answer != views || (held == pixels.CannotTell) != (j.Held.Reason != "") {
			t.Errorf("%s: held %v %q, %.2f px and %.4f°, views %v %q, %.2f; want %v, %v", h.name, j.Held.Answer, j.Held.Reason, j.Held.Shift, j.Held.Roll,
				j.Views.Answer, j.Views.Reason, j.Views.Apart, held, views)
		}
		if j.Views.Answer != pixels.Fine && j.Walk.Answer == pixels.Found {
			t.Errorf("%s: focus walks, views %v", h.name, j.Views.Answer)
		}
	}
	// Below 4 frames nothing is decided.
	few := holding{"", []*pixelstest.Built{b}, d.Shots()[:3]}
	if j := few.judge(t); j.Held.Answer != pixels.CannotTell || j.Held.Reason == "" || j.Views.Reason == "" {
		t.Errorf("3 frames: held %v %q", j.Held.Answer, j.Held.Reason)
	}
}
