package shoot

import (
	"cmp"
	"math"
	"slices"
)

// Exposures of one view follow a pattern that shows more than their times: a ladder that
// somebody climbs by hand, at any pace, or the same few exposures at each position of
// the focus. Both are found before the rest is cut into runs by its times.

const (
	// A ladder by hand has at least this many exposures: fewer may be single frames
	// whose exposures lie evenly by chance.
	ladderFrames = 5
	ladderMost   = 15
	// Whoever sets the exposure by hand takes no longer.
	ladderPause = 22.0 // s, from the end of an exposure to the start of the next
	// Focus positions of one run come sooner one after the other.
	positionPause = 4.0 // s, likewise
	// So many positions with the same exposures are a focus sequence; fewer where the
	// recorded focus walks. Brackets that follow at once are two to four.
	positions       = 6
	positionsWalked = 3
	// Exposures at each position.
	fewestExposures = 3
	mostExposures   = 9
	// A lost exposure is at most this many times the longest of those that are there: one
	// step of 2 EV, the widest that is common.
	lostExposure = 4.0
)

// patterns returns the spans of a body's frames that their exposures show, in order.
func patterns(frames []*Frame, ps []point) []span {
	var spans []span
	for from := 0; from < len(ps); {
		to := from + 1
		for to < len(ps) && sameView(&ps[to-1], &ps[to]) {
			to++
		}
		spans = append(spans, focusPositions(frames, ps, from, to)...)
		if free := len(spans) == 0 || spans[len(spans)-1].to <= from; free && byHand(ps, from, to) {
			first, end := withoutStrays(ps, from, to)
			spans = append(spans, span{from: first, to: end, bracket: true, whole: true})
		}
		from = to
	}
	for _, c := range brokenCycles(ps) {
		if !slices.ContainsFunc(spans, func(s span) bool { return s.from < c.to && c.from < s.to }) {
			spans = append(spans, c)
		}
	}
	slices.SortFunc(spans, func(a, b span) int { return cmp.Compare(a.from, b.from) })
	return spans
}

// brokenCycles returns the cycles of recorded automatic brackets in or beside which
// numbers are left out. Their times alone do not hold them together: the exposure that
// is lost takes a time of its own, and two frames are left of three.
func brokenCycles(ps []point) []span {
	var spans []span
	for from := 0; from < len(ps); {
		to, longest, holes := from+1, ps[from].e, holeBefore(ps, from)
		for ps[from].auto && to < len(ps) && sameCycle(&ps[to-1], &ps[to], max(longest, ps[to].e)) && newExposure(ps[from:to], &ps[to]) {
			holes = holes || holeBefore(ps, to)
			longest = max(longest, ps[to].e)
			to++
		}
		if holes = holes || holeBefore(ps, to); holes && to-from > 1 {
			spans = append(spans, span{from: from, to: to, bracket: true, whole: true})
		}
		from = to
	}
	return spans
}

// holeBefore reports whether a few numbers are left out between a frame and the one before.
func holeBefore(ps []point, i int) bool {
	if i <= 0 || i >= len(ps) {
		return false
	}
	w := compare(&ps[i-1], &ps[i])
	return w.countKnown && w.count > 1 && w.count <= mostExposures
}

// sameCycle reports whether b follows a in one cycle of an automatic bracket as soon as
// the camera can, and as the numbers left out between them take.
func sameCycle(a, b *point, longest float64) bool {
	w := compare(a, b)
	steps := float64(w.steps())
	return a.auto && b.auto && w.exposureToo && !w.setup && a.settings.orientation == b.settings.orientation &&
		w.countKnown && w.count >= 1 && w.count < mostExposures && w.gap >= a.e-w.q &&
		w.gap-a.e <= steps*positionPause+(steps-1)*lostExposure*longest+w.q
}

// newExposure reports whether no frame of a cycle has the exposure of the next.
func newExposure(cycle []point, next *point) bool {
	return !slices.ContainsFunc(cycle, func(p point) bool {
		return math.Abs(exposureChange(p.settings, next.settings)) < SameSetting
	})
}

// sameView reports whether two frames differ in nothing but the exposure time, and
// follow each other soon. Frames that record automatic bracketing (CIPA DC-008,
// ExposureMode 2) are of no view with frames that do not.
func sameView(a, b *point) bool {
	w := compare(a, b)
	x, y := a.settings, b.settings
	y.time, y.flash = x.time, x.flash
	alike := math.Abs(exposureChange(x, y)) < SameSetting && x.iso == y.iso && x.wb == y.wb && x.orientation == y.orientation
	return alike && !w.setup && !w.mode && w.exposureToo && (!w.countKnown || w.count >= 1 && w.count < mostExposures) &&
		w.gap >= a.e-w.q && w.gap-a.e <= ladderPause
}

// byHand reports whether the frames are a ladder of exposures: all distinct, in even
// steps, and farther from the frames around than from each other.
func byHand(ps []point, from, to int) bool {
	n := to - from
	if n < ladderFrames || n > ladderMost {
		return false
	}
	ev := make([]float64, n)
	widest := 0.0
	for i := range ev {
		ev[i] = exposureChange(ps[from].settings, ps[from+i].settings)
		if i > 0 {
			p := &ps[from+i-1]
			widest = max(widest, ps[from+i].t-p.t-p.e)
		}
	}
	apart := func(i int) bool { // the frame before i from i
		return i <= 0 || i >= len(ps) || ps[i].t-ps[i-1].t-ps[i-1].e > widest || compare(&ps[i-1], &ps[i]).setup
	}
	return ladder(ev) && apart(from) && apart(to)
}

// withoutStrays leaves out the first and the last frame of a ladder by hand where numbers
// are left out beside it and the rest is a ladder without it: an even ladder has no place
// for the frames that are not there, so what lies beyond them is a frame on its own, such
// as a test frame whose exposure happens to fit.
func withoutStrays(ps []point, from, to int) (first, end int) {
	if holeBefore(ps, from+1) && byHand(ps, from+1, to) {
		from++
	}
	if holeBefore(ps, to-1) && byHand(ps, from, to-1) {
		to--
	}
	return from, to
}

// focusPositions returns the spans of frames[from:to] in which the same exposures come
// in the same order at each of many positions.
func focusPositions(frames []*Frame, ps []point, from, to int) []span {
	var spans []span
	for at := from; at < to; {
		best, each := at, 0
		for p := fewestExposures; p <= mostExposures && at+p <= to; p++ {
			if end := periodic(ps, at, to, p); end > best && enough(frames, at, end, p) {
				best, each = end, p
			}
		}
		if each == 0 {
			at++
			continue
		}
		spans = append(spans, span{from: at, to: best, bracket: true, exposures: each})
		at = best
	}
	return spans
}

// periodic returns where the frames from at on, with p exposures in turn, end: at
// itself where they do not come in turn.
func periodic(ps []point, at, to, p int) int {
	ev := make([]float64, p)
	for i := range ev {
		ev[i] = exposureChange(ps[at].settings, ps[at+i].settings)
	}
	if !ladder(ev) {
		return at
	}
	place := 0
	for i := at + 1; i < to; i++ {
		w := compare(&ps[i-1], &ps[i])
		place += w.steps()
		late := w.gap - ps[i-1].e - float64(w.steps()-1)*positionPause
		if late > positionPause || math.Abs(exposureChange(ps[at].settings, ps[i].settings)-ev[place%p]) >= SameSetting {
			return i
		}
	}
	return to
}

// enough reports whether frames with p exposures in turn are a focus sequence.
func enough(frames []*Frame, at, end, p int) bool {
	if n := (end - at) / p; n >= positions || n < positionsWalked {
		return n >= positions
	}
	return (&Run{Frames: frames[at:end]}).distanceWalks()
}
