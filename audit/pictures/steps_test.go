package pictures

import (
	"context"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"prestrike/audit/audittest"
	"prestrike/audit/pictures/picturestest"
	"prestrike/audit/pixels"
	"prestrike/audit/pixels/pixelstest"
	"prestrike/audit/shoot"
)

// steppedBy is a run over the whole scene, 24 px of blur deep, by about as many px a frame.
func steppedBy(px float64) []pixelstest.Shot {
	return pixelstest.Run(3, 1+int(24*1.24/px+0.5), -0.12, 1.12, 0.02)
}

// decoded is how many pictures of the scene a measurer has decoded.
func decoded(p *Measurer) int {
	b := picturestest.Scene().Picture(pixelstest.Shot{}).Bounds()
	return int(p.memory.all / int64(b.Dx()*b.Dy())) // grey
}

// TestStepIsMeasuredAgain: where the pictures show the step to a factor of two, and that
// does not decide, some are inspected again; where it decides, none is.
func TestStepIsMeasuredAgain(t *testing.T) {
	for px, c := range map[float64]struct {
		answer pixels.Answer
		again  int
	}{
		1.2: {pixels.Fine, 0},
		3.7: {pixels.Found, 9},
	} {
		shots := steppedBy(px)
		p := &Measurer{}
		result := lookAt(t, p, picturestest.Camera{Every: 1300 * time.Millisecond}.Shoot(t, shots))
		s := result.Sessions[0].Sequences[0].Pictures.(*pixels.Seen).Judgement.Step
		truth := 24 * 1.24 / float64(len(shots)-1)
		if s.Answer != c.answer || s.Low > truth || s.High < truth {
			t.Errorf("%.2f px a frame: %+v, want %v", truth, s, c.answer)
		}
		if c.again > 0 && s.High/s.Low > 1.5 {
			t.Errorf("%.2f px a frame: known from %.2f to %.2f, no better than before", truth, s.Low, s.High)
		}
		if got := decoded(p) - len(shots); got != c.again {
			t.Errorf("%.2f px a frame: %d pictures were inspected again, want %d", truth, got, c.again)
		}
		told := slices.ContainsFunc(audittest.Told(result), func(s string) bool { return strings.HasPrefix(s, "check focus-gap: half-way between two frames") })
		if told != (c.answer == pixels.Found) {
			t.Errorf("%.2f px a frame: reported %v", truth, told)
		}
	}
}

// TestStepOfAGrowingFolder: in parts it comes to the same as at once, and what was
// inspected again is not a second time for frames that came later.
func TestStepOfAGrowingFolder(t *testing.T) {
	pixelstest.Long(t)
	shots := steppedBy(2)
	folder := picturestest.Camera{Every: 1300 * time.Millisecond}.Shoot(t, shots)
	want := stepIn(t, &Measurer{}, collect(t, folder))
	if want.Answer != pixels.Fine || want.High/want.Low > 1.5 {
		t.Errorf("%+v, want it fine and known better than before", want)
	}
	p := &Measurer{}
	files := collect(t, folder)
	for _, n := range []int{8, len(files) - stepsBack, len(files)} {
		if got := stepIn(t, p, files[:n]); n == len(files) && got != want {
			t.Errorf("in parts %+v, at once %+v", got, want)
		}
	}
	before := decoded(p)
	stepIn(t, p, files[:len(files)-stepsBack]) // goes back
	stepIn(t, p, files)
	if got := decoded(p) - before; got != stepsBack {
		t.Errorf("%d pictures more for %d frames that came again", got, stepsBack)
	}
}

// TestStepOfAnOpenRun: with each frame that comes, and the raw file that comes behind it, the
// step is what it is at once, and no frame is decoded a third time for it.
func TestStepOfAnOpenRun(t *testing.T) {
	shots := steppedBy(3.7)
	jpegs := collect(t, picturestest.Camera{Every: 1300 * time.Millisecond}.Shoot(t, shots))
	raws := withRaw(t, jpegs, 100) // with a preview that is worse
	p := &Measurer{}
	again := false
	for n := 4; n <= len(jpegs); n++ {
		once := &Measurer{Once: true}
		want := stepIn(t, once, jpegs[:n])
		again = again || decoded(once) > n
		for _, pairs := range []int{n - 1, n} {
			if got := stepIn(t, p, slices.Concat(jpegs[:n], raws[:pairs])); got != want {
				t.Errorf("behind frame %d, with %d raw files: %+v, at once %+v", n, pairs, got, want)
			}
		}
		if got := decoded(p); got > 2*n {
			t.Errorf("behind frame %d %d pictures were decoded", n, got)
		}
		if once.steps.last != nil {
			t.Errorf("behind frame %d what was measured of a run that cannot grow is kept", n)
		}
	}
	if !again {
		t.Fatal("no frame was inspected again")
	}
	if last := p.steps.last; last == nil || len(last.keys) != len(jpegs) {
		t.Fatalf("what was measured is not kept for the next frame: %+v", last)
	}
	stepIn(t, p, jpegs[5:]) // which is not the run that it was
	if last := p.steps.last; last != nil {
		t.Errorf("what was measured of a run that is gone is kept: %q", last.keys)
	}
}

// stepIn is the step that is measured in the only run of some files.
func stepIn(t *testing.T, p *Measurer, files []*shoot.File) pixels.Step {
	t.Helper()
	p.Memo = &memo
	seen, err := p.Measure(t.Context(), shoot.Runs(files, 0))
	if err != nil || len(seen) != 1 {
		t.Fatalf("%d runs, %v", len(seen), err)
	}
	if s, ok := seen[0].Evidence.(*pixels.Seen); ok {
		return s.Judgement.Step
	}
	return pixels.Step{}
}

// TestStepStopped: where the second inspection is stopped, nothing is known, and the next
// one goes on from there. Where its files are gone, what is known without it is not kept.
func TestStepStopped(t *testing.T) {
	shots := steppedBy(3.7)
	folder := picturestest.Camera{Every: 1300 * time.Millisecond}.Shoot(t, shots)
	files := collect(t, folder)
	p := &Measurer{Cache: &memory{values: map[string][]byte{}}}
	want := stepIn(t, p, files)
	if want.Answer != pixels.Found {
		t.Fatalf("the step is %+v, want it found", want)
	}
	runs := shoot.Runs(files, 0)
	again := func(ctx context.Context, before func()) *job {
		j := p.jobs(runs)[0]
		j.on, j.mayGrow = p.resume(j), true
		clear(j.on.growth)
		p.steps.last = nil
		before()
		j.judge(ctx, p.memory)
		p.open = append(p.open, j.on)
		return j
	}
	stopped, stop := context.WithCancel(t.Context())
	stop()
	if j := again(stopped, func() {}); j.found != nil || j.failed != nil || j.looked {
		t.Errorf("stopped: found %v, failed %v", j.found, j.failed)
	}
	if j := again(t.Context(), func() {}); len(j.found) != 1 || j.found[0].Judgement.Step != want || j.unread {
		t.Errorf("gone on: %+v, want %+v", j.found[0].Judgement.Step, want)
	}
	if p.memory.used != 0 {
		t.Errorf("%d bytes are not given back", p.memory.used)
	}
	gone := func() {
		if err := os.Remove(files[len(files)/2].Abs); err != nil {
			t.Fatal(err)
		}
	}
	if j := again(t.Context(), gone); len(j.found) != 1 || !j.unread {
		t.Errorf("a file that is gone: what was found is kept as if all had been read")
	}
}
