package shoot

import (
	"math"
	"slices"
	"time"

	"prestrike/exifread"
)

// part is a piece of a run, and whether it is one cycle of a bracket.
type part struct {
	frames  []*Frame
	bracket bool
}

// cycles cuts a bracketing run into its complete cycles; a run without a
// bracket pattern stays whole.
func cycles(frames []*Frame, bracket bool) []part {
	n := len(frames)
	auto := 0
	for _, f := range frames {
		if mode, ok := f.meta.ExposureMode.Get(); ok && mode == exifread.ExposureBracket {
			auto++
		}
	}
	if n < 3 || !bracket && auto*2 < n {
		return []part{{frames: frames}}
	}
	ev := make([]float64, n)
	first := points(frames)
	for i := range frames {
		ev[i] = exposureChange(first[0].settings, first[i].settings)
	}
	p := period(ev)
	changes := func(e float64) bool { return math.Abs(e) >= SameSetting }
	if p == 0 && auto*2 < n && !slices.ContainsFunc(ev, changes) {
		return []part{{frames: frames}} // long exposures one right after the other
	}
	if p == 0 && auto*2 < n {
		if took := frames[n-1].Time.Sub(frames[0].Time); took < time.Duration(n-1)*slowBracket {
			return []part{{frames: frames}}
		}
		return apart(frames)
	}
	if turned := func(f *Frame) bool { return f.meta.Orientation != frames[0].meta.Orientation }; auto*2 < n && slices.ContainsFunc(frames, turned) {
		return apart(frames)
	}
	if p == 0 {
		p = n
	}
	var parts []part
	for at := 0; at < n; {
		to := min(at+p, n)
		if n-to < 2 && to < n {
			to = n // a stray frame stays with the last cycle
		}
		parts = append(parts, part{frames[at:to:to], true})
		at = to
	}
	return parts
}

// apart returns frames as single ones, which came at about the same pace by
// chance.
func apart(frames []*Frame) []part {
	var singles []part
	for i := range frames {
		singles = append(singles, part{frames: frames[i : i+1 : i+1]})
	}
	return singles
}

// slowBracket is the time per frame above which frames of different exposure
// without a pattern are taken for single ones.
const slowBracket = 2 * time.Second

// period returns the length of the exposure cycle in a run of exposures (EV,
// against any reference): the smallest of 3 to 9 whose cycles all hold the
// same distinct exposures in the same order, in even steps. 0 where there is
// none. An incomplete last cycle is allowed after a complete one.
func period(ev []float64) int {
	for p := 3; p <= 9 && p <= len(ev); p++ {
		if ladder(ev[:p]) && repeats(ev, p) {
			return p
		}
	}
	return 0
}

// ladder reports whether exposures are distinct and in even steps once sorted.
func ladder(ev []float64) bool {
	sorted := slices.Clone(ev)
	slices.Sort(sorted)
	step := (sorted[len(sorted)-1] - sorted[0]) / float64(len(sorted)-1)
	if step < SameSetting {
		return false
	}
	for i := 1; i < len(sorted); i++ {
		if d := sorted[i] - sorted[i-1]; math.Abs(d-step) > max(0.2, 0.25*step) || d < SameSetting {
			return false
		}
	}
	return true
}

func repeats(ev []float64, p int) bool {
	for i := p; i < len(ev); i++ {
		if math.Abs(ev[i]-ev[i-p]) > SameSetting {
			return false
		}
	}
	return true
}
