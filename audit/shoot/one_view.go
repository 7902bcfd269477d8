package shoot

import (
	"math"
	"slices"
	"time"
)

const (
	// OneViewWithin is how long apart two frames were made at most that are taken for two tries
	// at one view.
	OneViewWithin = 10 * time.Minute
	// MostSingles is how many runs of single frames are inspected at most, the last ones: what
	// was shot last can be shot again, and the time that a report takes stays bounded.
	MostSingles = 100
	// otherISO, EV, is by how much the ISO of two frames may differ: beyond it noise, and what
	// cameras do against it, changes what looks sharp.
	otherISO = 1
	// otherAperture, EV, is by how much the light of a picture may differ from what the exposure
	// time and the ISO explain, where no f-number is recorded: half a stop.
	otherAperture = 0.5
	// onEitherSide is how many of the runs before and behind a frame are tried, and amongRuns
	// how many are searched for them.
	onEitherSide, amongRuns = 3, 12
)

// MayShowOneView returns the runs of single frames that may show the same view as another
// frame made soon before or behind: the pictures decide. Of more than [MostSingles] it returns
// the last. Inspected reports which other runs have their pictures inspected.
func MayShowOneView(runs []*Run, inspected func(*Run) bool) map[*Run]bool {
	var may []*Run
	byBody := map[*Body][]*Run{}
	for _, r := range runs {
		if !r.Start().IsZero() {
			byBody[r.Body] = append(byBody[r.Body], r)
		}
	}
	for _, list := range byBody {
		for i, r := range list {
			other := func(o *Run) bool { return o.few() || inspected(o) }
			if r.few() && (len(r.Frames) > 1 || slices.ContainsFunc(Tries(list, i, -1), other) || slices.ContainsFunc(Tries(list, i, 1), other)) {
				may = append(may, r)
			}
		}
	}
	slices.SortStableFunc(may, func(a, b *Run) int { return a.Start().Compare(b.Start()) })
	list := map[*Run]bool{}
	for _, r := range may[max(0, len(may)-MostSingles):] {
		list[r] = true
	}
	return list
}

// few reports whether a run is of so few frames that each stands by itself.
func (r *Run) few() bool { return len(r.Frames) <= fewerFrames && r.kind(&Seen{}) == Single }

// Tries returns the runs of a list, those of one body by time, before (step -1) or behind
// (step 1) the one at place i, the nearest first, that may be other tries at its view: made
// soon before or behind, with the same lens, focal length, picture size, orientation and
// f-number, and nearly the same ISO. The exposure time may differ. There are three at most.
func Tries(list []*Run, i, step int) (tries []*Run) {
	r := list[i]
	for k := i + step; k >= 0 && k < len(list) && len(tries) < onEitherSide; k += step {
		o := list[k]
		apart := r.Start().Sub(o.End())
		if step > 0 {
			apart = o.Start().Sub(r.End())
		}
		if apart > OneViewWithin || (k-i)*step > amongRuns {
			break
		}
		if Comparable(r.Frames[0], o.Frames[0]) {
			tries = append(tries, o)
		}
	}
	return tries
}

// Comparable reports whether two frames can be compared in how sharp they are, as far as
// they record it.
func Comparable(a, b *Frame) bool {
	ps := points([]*Frame{a, b})
	x, y := ps[0].settings, ps[1].settings
	if compare(&ps[0], &ps[1]).setup || x.orientation != y.orientation {
		return false
	}
	if x.f != y.f && (x.f == 0 || y.f == 0 || math.Abs(2*math.Log2(x.f/y.f)) >= SameSetting) {
		return false
	}
	return !x.isoOK || !y.isoOK || x.iso == y.iso || x.iso > 0 && y.iso > 0 && math.Abs(math.Log2(float64(x.iso)/float64(y.iso))) <= otherISO
}

// SameAperture reports whether two comparable frames were made at one f-number. Where
// they record none, as with a lens without contacts, a picture of b that is brighter than that of a
// by as many EV as the exposure time and the ISO explain shows it. A lens that was stopped
// down on purpose makes a picture softer.
func SameAperture(a, b *Frame, brighter float64) bool {
	ps := points([]*Frame{a, b})
	x, y := ps[0].settings, ps[1].settings
	if x.f > 0 && y.f > 0 {
		return true
	}
	known := x.time > 0 && y.time > 0 && x.isoOK && y.isoOK && x.iso > 0 && y.iso > 0
	return known && math.Abs(brighter-exposureChange(x, y)) <= otherAperture
}
