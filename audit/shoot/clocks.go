package shoot

import (
	"math/rand/v2"
	"slices"
	"time"
)

// Two bodies on one set whose clocks differ by a steady amount are put on one clock, so
// that sessions and sequences come in the order in which they were shot. Most such clocks
// differ by quarter-hours: another zone, or summer time.
//
// A wrong alignment mixes two shoots, so that it takes evidence: modification times that one
// clock of a computer gave to the files of both bodies, recorded zones that differ, or
// sequences that take turns only once the clocks are aligned. Two bodies used one after the
// other show none of these.

// A ClockEvidence is what shows that a body's clock is ahead of another's, or behind.
type ClockEvidence uint8

// What shows how far clocks are apart. ClocksAlike means that nothing does.
const (
	ClocksAlike  ClockEvidence = iota
	ClockZones                 // the zones that the frames record, and sequences that take turns once these are heeded
	ClockWritten               // modification times of the files of both, by one clock
	ClockTurns                 // sequences that take turns once the clocks are aligned, and by no chance
)

// A ClockOffset is how far the clock of a body was ahead of another's.
type ClockOffset struct {
	Ahead time.Duration // negative where it was behind
	Of    *Body         // whose clock the times of both are given by; nil where the clocks were left alone
	By    ClockEvidence
}

const (
	quarterHour = 15 * time.Minute
	// Clocks are apart by 14 hours less -12 at most, as zones are.
	mostApart = 26 * time.Hour
	// Clocks are set by hand to the minute, drift by seconds a day, and files are written
	// some seconds late, noise reduction after long exposures included: common practice.
	// Clocks this near to each other count as alike.
	setByHand = time.Minute
	// Runs of two bodies that change over so often at least, and half as often as the body
	// with fewer has runs, take turns.
	turnsTaken = interleaved
	// Turns alone show nothing of bodies with fewer runs.
	turnsRuns = 5
	// So many orders of the pauses are tried to see whether turns come by chance.
	turnsShuffles = 1000
)

// A stretch is the time that a run took.
type stretch struct{ from, to time.Time }

// A clocked is a body with what shows its clock.
type clocked struct {
	body   *Body
	frames []*Frame  // timed
	runs   []stretch // in order of time
	zone   time.Duration
	zoned  bool // every frame records its zone
	// delay is how long after the end of the exposure, by its clock, the files were written;
	// known where it is steady.
	delay   time.Duration
	delayed bool
}

// alignClocks puts the bodies of runs on one clock, that of the body with the most frames,
// where something shows how far their clocks are apart.
func alignClocks(runs []*Run) {
	bodies := clockedBodies(runs)
	if len(bodies) < 2 {
		return
	}
	home := slices.MaxFunc(bodies, func(a, b *clocked) int { return len(a.frames) - len(b.frames) })
	for _, b := range bodies {
		if b == home {
			continue
		}
		ahead, by := clockAhead(home, b)
		if by == ClocksAlike {
			continue
		}
		b.body.Clock = ClockOffset{Ahead: ahead, Of: home.body, By: by}
		for _, f := range b.frames {
			f.Time = f.Time.Add(-ahead)
			if home.zoned && b.zoned {
				// Beyond the zones, the clock itself was wrong.
				f.clockError = ahead - (b.zone - home.zone)
			} else {
				f.clockError = ahead
			}
		}
	}
}

// clockedBodies gathers what shows the clock of each body.
func clockedBodies(runs []*Run) []*clocked {
	var bodies []*clocked
	of := map[*Body]*clocked{}
	for _, r := range runs {
		b := of[r.Body]
		if b == nil {
			b = &clocked{body: r.Body, zoned: true}
			of[r.Body] = b
			bodies = append(bodies, b)
		}
		var s stretch
		for _, f := range append(slices.Clone(r.Frames), r.Merged...) {
			if !f.Timed() {
				continue
			}
			b.frames = append(b.frames, f)
			end := f.Time.Add(time.Duration(f.ExposureSeconds() * float64(time.Second)))
			if s.from.IsZero() || f.Time.Before(s.from) {
				s.from = f.Time
			}
			if end.After(s.to) {
				s.to = end
			}
		}
		if !s.from.IsZero() {
			b.runs = append(b.runs, s)
		}
	}
	bodies = slices.DeleteFunc(bodies, func(b *clocked) bool { return len(b.runs) == 0 })
	for _, b := range bodies {
		slices.SortFunc(b.runs, func(x, y stretch) int { return x.from.Compare(y.from) })
		slices.SortStableFunc(b.frames, func(x, y *Frame) int { return x.Time.Compare(y.Time) })
		for i, f := range b.frames {
			zone, ok := f.zone()
			b.zoned = b.zoned && ok
			if i == 0 {
				b.zone = zone // all are given in that of the first
			}
		}
		var delays []time.Duration
		for _, f := range b.frames {
			if at := f.Files[0].Meta.Modified; !at.IsZero() {
				delays = append(delays, at.Sub(f.Time)-time.Duration(f.ExposureSeconds()*float64(time.Second)))
			}
		}
		b.delay, b.delayed = steadyDelay(delays)
	}
	return bodies
}

// clockAhead returns by how much the clock of b is ahead of that of home, and what shows it.
func clockAhead(home, b *clocked) (time.Duration, ClockEvidence) {
	// What two bodies took turns at as it was recorded, but for some seconds, needs no
	// other clock.
	inTurn := b.inTurn(home, 0)
	better := func(ahead time.Duration) bool { return !inTurn && b.inTurn(home, ahead) }
	zones := time.Duration(0)
	if home.zoned && b.zoned {
		zones = b.zone - home.zone
	}
	if ahead := (home.delay - b.delay).Round(time.Second); home.delayed && b.delayed && !inTurn && ahead.Abs() > setByHand {
		// Times that each camera wrote on its card agree with its own clock, and then differ
		// at most by a zone, as some file systems keep local time and others UTC. What is
		// neither was written by one clock; a zone takes another sign.
		alike := func(other time.Duration) bool { return (ahead - other).Abs() <= setByHand }
		if !alike(ahead.Round(quarterHour)) || zones != 0 && alike(zones) || better(ahead) {
			return ahead, ClockWritten
		}
	}
	if zones != 0 && better(zones) {
		return zones, ClockZones
	}
	if ahead, ok := turns(home, b, inTurn); ok {
		return ahead, ClockTurns
	}
	return 0, ClocksAlike
}

// inTurn reports whether one photographer may have used the two bodies in turn, with the
// clock ahead by so much, or by some seconds more or less.
func (b *clocked) inTurn(home *clocked, ahead time.Duration) bool {
	ahead, ok := freeOffset(home.runs, b.runs, ahead)
	return ok && changesBetween(home.runs, b.runs, ahead) >= max(turnsTaken, min(len(home.runs), len(b.runs))/2)
}

// changesBetween returns how often the runs change over from one body to the other, those of
// b earlier by ahead; both in order of time.
func changesBetween(a, b []stretch, ahead time.Duration) int {
	changes := 0
	i, j, last := 0, 0, 0 // 1 or 2: whose the last one was
	for i < len(a) || j < len(b) {
		of := 2
		if j == len(b) || i < len(a) && !b[j].from.Add(-ahead).Before(a[i].from) {
			of = 1
		}
		if of == 1 {
			i++
		} else {
			j++
		}
		if last != 0 && of != last {
			changes++
		}
		last = of
	}
	return changes
}

// turns returns by how much the clock of b must be ahead for the runs of both to take
// turns, where that is so for one number of quarter-hours only, and by no chance.
//
// One photographer who goes from body to body makes runs that never overlap and alternate.
// Where pauses are much alike, runs do so by chance on some clock or other. That is tried,
// as a permutation test does (R. A. Fisher, The Design of Experiments, 1935, chapter 3): were
// the pauses of b not made for the runs of home, any other order of them would fit as well.
func turns(home, b *clocked, inTurn bool) (time.Duration, bool) {
	if inTurn || min(len(home.runs), len(b.runs)) < turnsRuns {
		return 0, false
	}
	fits := turnsFit(home.runs, b.runs, min(len(home.runs), len(b.runs)))
	if len(fits) != 1 || fits[0].Abs() <= setByHand {
		return 0, false
	}
	changes := changesBetween(home.runs, b.runs, fits[0])
	r := rand.New(rand.NewPCG(1, 2)) // one folder, one report
	pauses := make([]time.Duration, len(b.runs)-1)
	for i := range pauses {
		pauses[i] = b.runs[i+1].from.Sub(b.runs[i].to)
	}
	other := make([]stretch, len(b.runs))
	for range turnsShuffles {
		r.Shuffle(len(pauses), func(i, j int) { pauses[i], pauses[j] = pauses[j], pauses[i] })
		other[0] = b.runs[0]
		for i, p := range pauses {
			from := other[i].to.Add(p)
			other[i+1] = stretch{from, from.Add(b.runs[i+1].to.Sub(b.runs[i+1].from))}
		}
		if len(turnsFit(home.runs, other, changes)) > 0 {
			return 0, false
		}
	}
	return fits[0], true
}

// turnsFit returns the offsets of the clock of b, one for each number of quarter-hours, at
// which its runs and those of a never overlap and change over so often at least.
func turnsFit(a, b []stretch, least int) []time.Duration {
	var fits []time.Duration
	// Only where the two take place at the same time can they take turns.
	first := max(-mostApart, b[0].from.Sub(a[len(a)-1].to)).Truncate(quarterHour) - quarterHour
	last := min(mostApart, b[len(b)-1].to.Sub(a[0].from)) + quarterHour
	for middle := first; middle <= last; middle += quarterHour {
		if ahead, ok := freeOffset(a, b, middle); ok && changesBetween(a, b, ahead) >= least {
			fits = append(fits, ahead)
		}
	}
	return fits
}

// freeOffset returns the offset nearest to one at which no runs overlap, within what
// clocks set by hand are off.
func freeOffset(a, b []stretch, middle time.Duration) (time.Duration, bool) {
	type bar struct{ from, to time.Duration } // offsets at which two runs overlap
	var bars []bar
	i := 0
	for _, s := range b {
		from, to := s.from.Add(-middle-setByHand), s.to.Add(-middle+setByHand)
		for i > 0 && a[i-1].to.After(from) {
			i--
		}
		for i < len(a) && !a[i].to.After(from) {
			i++
		}
		for k := i; k < len(a) && a[k].from.Before(to); k++ {
			bars = append(bars, bar{s.from.Sub(a[k].to), s.to.Sub(a[k].from)})
		}
	}
	free := func(d time.Duration) bool {
		return (d-middle).Abs() <= setByHand && !slices.ContainsFunc(bars, func(x bar) bool { return d > x.from && d < x.to })
	}
	if free(middle) {
		return middle, true
	}
	best, found := time.Duration(0), false
	for _, x := range bars {
		for _, d := range []time.Duration{x.from, x.to} {
			if free(d) && (!found || (d-middle).Abs() < (best-middle).Abs()) {
				best, found = d, true
			}
		}
	}
	return best, found
}
