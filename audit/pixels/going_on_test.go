package pixels_test

import (
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"prestrike/audit/pixels"
	"prestrike/audit/pixels/pixelstest"
)

// A behind is a run and what was shot behind a pause.
type behind struct {
	name          string
	first, second []pixelstest.Shot
	other         *pixelstest.Built // of the second, where it is not the first's
	want          pixels.Course     // empty where nothing is promised
}

// later is the same shots made again, with a focus elsewhere by this much.
func later(s []pixelstest.Shot, by float64) []pixelstest.Shot {
	out := slices.Clone(s)
	for i := range out {
		out[i].Noise += 7777
		out[i].Focus += by
	}
	return out
}

// pauses are the runs of a scene that stop or end, and what comes behind.
func pauses(b *pixelstest.Built, d pixelstest.Draw) []behind {
	shots := d.Shots()
	n := len(shots)
	k := max(5, min(n-8, 6+rand.New(rand.NewPCG(d.Seed, 8)).IntN(n-11)))
	step := d.CoC / d.Depth
	again := later(shots, 0.3*step)
	back := slices.Clone(again)
	slices.Reverse(back)
	first := shots[:k]
	w := float64(d.Width)
	return []behind{
		{"goes on", first, shots[k:], nil, pixels.GoesOn},
		{"goes on, one frame missing", first, shots[k+1:], nil, pixels.GoesOn},
		{"goes on, two frames missing", first, shots[k+2:], nil, pixels.GoesOn},
		{"goes on, the last frame again", first, later(shots[k-1:], 0), nil, pixels.GoesOn},
		{"starts over", shots, again, nil, pixels.StartsOver},
		{"starts over, the first stopped", first, again, nil, pixels.StartsOver},
		{"starts over 3 frames farther", first, later(shots, 3*step), nil, pixels.StartsOver},
		{"starts over 3 frames nearer", first, later(shots, -3*step), nil, pixels.StartsOver},
		{"walks back", shots, back, nil, pixels.WalksBack},
		{"stops and walks back", first, back[n-k:], nil, pixels.WalksBack},
		{"turned by 10°, starts over", shots, again, b.Yawed(10), pixels.OtherView},
		{"shifted by 8 %, starts over", shots, pixelstest.Bump(again, 0, n, 0.08*w, 0), nil, pixels.OtherView},
		{"five frames missing", first, shots[min(n-5, k+5):], nil, ""},
		{"begins in the middle of the first", first, later(shots[k/2:], 0.3*step), nil, ""},
		{"stands", first, pixelstest.Run(d.Seed+900, 8, shots[k].Focus, shots[k].Focus, 0), nil, ""},
	}
}

// goingOn adds both runs of a pause and asks.
func goingOn(t *testing.T, st *studio, c *behind) pixels.GoingOn {
	t.Helper()
	var whole, second pixels.Sequence
	whole.UseMemo(st.memo)
	second.UseMemo(st.memo)
	th := pixels.DefaultThresholds()
	for _, sh := range c.first {
		whole.Add(st.measured(sh))
	}
	first := whole.Judge(th, nil)
	whole.Pause()
	for _, sh := range c.second {
		var m *pixels.FrameMeasure
		if c.other != nil {
			m = measure(t, c.other.Picture(sh))
		} else {
			m = st.measured(sh)
		}
		whole.Add(m)
		second.Add(m)
	}
	return whole.GoingOn(th, first, second.Judge(th, nil))
}

// TestGoingOnRates counts on rendered scenes how often what comes behind a pause is known
// to go on, or not to.
func TestGoingOnRates(t *testing.T) {
	overManyScenes(t) // TestGoingOn asks of one
	type count struct{ on, not, unknown int }
	got := map[string]*count{}
	promised, decided, wrong := 0, 0, 0
	for i := range uint64(*seedCount) {
		d := drawn(*seedFirst + 2*i)
		st := newStudio(d.Build())
		for _, c := range pauses(st.built, d) {
			g := goingOn(t, st, &c)
			r := got[c.name]
			if r == nil {
				r = new(count)
				got[c.name] = r
			}
			switch g.Answer {
			case pixels.Found:
				r.on++
			case pixels.Fine:
				r.not++
			default:
				r.unknown++
			}
			told := g.Answer != pixels.CannotTell
			bad := told && (g.Answer == pixels.Found) != (c.want == pixels.GoesOn || c.name == "five frames missing")
			if c.want != "" {
				promised++
				if told {
					decided++
				}
			}
			if bad {
				wrong++
			}
			if bad || *showAll {
				t.Logf("seed %d, %s: %v %q %s, %.1f steps, %d frames repeat", d.Seed, c.name, g.Answer, g.Course, g.Reason, g.Steps, g.Repeats)
			}
		}
	}
	var names []string
	for name := range got {
		names = append(names, name)
	}
	slices.Sort(names)
	for _, name := range names {
		c := got[name]
		t.Logf("| %s | %d | %d | %d |", name, c.on, c.not, c.unknown)
		if n := c.on + c.not + c.unknown; strings.HasPrefix(name, "goes on") && short(n-c.not, n, 0.95) {
			miss(t, "%s: taken for another run %d times", name, c.not)
		}
	}
	t.Logf("decided %d of %d, wrong %d", decided, promised, wrong)
	if short(decided, promised, 0.75) {
		miss(t, "decided %d of %d", decided, promised)
	}
	if short(promised-wrong, promised, 0.97) {
		miss(t, "wrong %d of %d", wrong, promised)
	}
}

// TestGoingOn asks of one scene what comes behind a pause.
func TestGoingOn(t *testing.T) {
	pixelstest.Long(t)
	b := small(5, 0.03)
	d := pixelstest.Draw{Scene: b.Scene, Frames: 20, Jitter: 0.03, CoC: 24.0 / 16, Margin: 1.5}
	st := newStudio(b)
	for _, c := range pauses(b, d) {
		g := goingOn(t, st, &c)
		switch {
		case c.name == "five frames missing":
		case c.want == pixels.OtherView: // whether it starts over may show as well
			if g.Answer != pixels.Fine {
				t.Errorf("%s: %v %s, want another run", c.name, g.Answer, g.Reason)
			}
		case c.want == "" && g.Answer != pixels.CannotTell:
			t.Errorf("%s: %v %q, want nothing", c.name, g.Answer, g.Course)
		case c.want != "" && strings.HasPrefix(c.name, "starts over 3") && g.Answer == pixels.CannotTell: // overlaps by half
		case c.want != "" && g.Course != c.want:
			t.Errorf("%s: %v %q %s, want %q; %.1f steps, %d frames repeat", c.name, g.Answer, g.Course, g.Reason, c.want, g.Steps, g.Repeats)
		}
	}
	// A pause in a time-lapse, and in what is too short, shows nothing.
	still := pixelstest.Run(4, 20, 0.4, 0.4, 0)
	for _, c := range []behind{
		{"stands throughout", still[:10], still[10:], nil, ""},
		{"four frames", d.Shots()[:4], d.Shots()[4:], nil, ""},
	} {
		if g := goingOn(t, st, &c); g.Answer != pixels.CannotTell || g.Reason == "" {
			t.Errorf("%s: %v %q", c.name, g.Answer, g.Course)
		}
	}
	var none pixels.Sequence
	none.Pause()
	if g := none.GoingOn(pixels.DefaultThresholds(), new(pixels.Judgement), new(pixels.Judgement)); g.Answer != pixels.CannotTell {
		t.Errorf("of nothing: %v", g.Answer)
	}
}
