package pixels_test

import (
	"strings"
	"testing"

	"prestrike/audit/pixels"
	"prestrike/audit/pixels/pixelstest"
)

// TestViewRates counts on rendered scenes how often a run shot again is known as the same
// view, and one of a turned, shifted or another subject is not.
func TestViewRates(t *testing.T) {
	overManyScenes(t) // TestPicturesOfRetake asks of one
	n := uint64(*seedCount)
	type count struct{ same, other, unknown int }
	got := map[string]*count{}
	for i := range n {
		seed := *seedFirst + 2*i
		d := drawn(seed)
		b := d.Build()
		shots := d.Shots()
		again := d
		again.Scene.Seed += 1000
		st := newStudio(b)
		whole := st.judge(shots).View
		noisy := make([]pixelstest.Shot, len(shots))
		for i, s := range shots {
			s.Noise += 7777
			s.Focus += 0.3 * d.CoC / d.Depth // the motor starts elsewhere
			noisy[i] = s
		}
		w := float64(d.Width)
		o := drawn(seed + 5000)
		o.Width, o.Height = d.Width, d.Height
		for _, c := range []struct {
			name string
			b    *pixelstest.Built
			s    []pixelstest.Shot
		}{
			{"same", b, noisy},
			{"same, nudged by 0.5 %", b, pixelstest.Bump(noisy, 0, len(noisy), 0.005*w, 0)},
			{"same, stopped after two thirds", b, noisy[:2*len(noisy)/3]},
			{"turned by 5°", b.Yawed(5), noisy},
			{"turned by 10°", b.Yawed(10), noisy},
			{"turned by 15°", b.Yawed(-15), noisy},
			{"shifted by 5 %", b, pixelstest.Bump(noisy, 0, len(noisy), 0.05*w, 0)},
			{"another subject", o.Build(), o.Shots()},
		} {
			of := st
			if c.b != b {
				of = newStudio(c.b)
			}
			v := of.judge(c.s).View
			l := whole.Same(&v)
			if got[c.name] == nil {
				got[c.name] = new(count)
			}
			switch l.Answer {
			case pixels.Found:
				got[c.name].same++
			case pixels.Fine:
				got[c.name].other++
			default:
				got[c.name].unknown++
			}
			t.Logf("seed %d %s: %v %s shift %.3f scale %.3f blocks %d apart %.3f %.3f unlike %.3f", seed, c.name, l.Answer, l.Reason, l.Shift, l.Scale, l.Blocks, l.Apart03, l.Apart05, l.Unlike)
		}
	}
	for name, c := range got {
		t.Logf("%-32s same %d, other %d, cannot tell %d", name, c.same, c.other, c.unknown)
		all := float64(n)
		// What decides must not be wrong: a fault would be settled by another view.
		if wrong := c.same; !strings.HasPrefix(name, "same") && float64(wrong) > 0.02*all {
			miss(t, "%s: %d of %d taken for the same view", name, wrong, n)
		}
		if strings.HasPrefix(name, "same") && float64(c.other) > 0.03*all {
			miss(t, "%s: %d of %d taken for another view", name, c.other, n)
		}
		if strings.HasPrefix(name, "same") && n >= statedScenes && float64(c.same) < 0.8*all {
			miss(t, "%s: known in %d of %d", name, c.same, n)
		}
	}
}

// A first picture of another size, as a smaller preview in place of a damaged one, takes
// part in nothing, and the others are judged.
func TestFirstPictureOfAnotherSize(t *testing.T) {
	d := pixelstest.Random(6)
	d.Width, d.Height = 480, 320
	b := d.Build()
	small := d
	small.Width, small.Height = 240, 160
	var s pixels.Sequence
	for i, sh := range d.Shots()[:12] {
		picture := b.Picture(sh)
		if i == 0 {
			picture = small.Build().Picture(sh)
		}
		m, err := pixels.Measure(picture)
		if err != nil {
			t.Fatal(err)
		}
		s.Add(m)
	}
	j := s.Judge(pixels.DefaultThresholds(), nil)
	if len(j.Unmeasured) != 1 || j.Unmeasured[0] != 0 || j.Width != 480 || j.Dark.Answer != pixels.Fine {
		t.Errorf("unmeasured %v, width %d, dark frames %v %s; want the first alone unmeasured", j.Unmeasured, j.Width, j.Dark.Answer, j.Dark.Reason)
	}
}
