package evidence

import (
	"math"
	"slices"
)

// A scatter is how unevenly the frames of a run come.
type scatter struct {
	deviation float64 // of single steps, in cadences
	steps     float64 // that it was taken from
}

// scatterOf measures the scatter by the median deviation of the steps from one
// cadence; 1.4826 makes it that of a normal distribution.
func scatterOf(list []Gap) scatter {
	var off []float64
	for _, g := range list {
		if g.Count <= 1 && !math.IsNaN(g.Ticks) && g.slack <= coarseSlack {
			off = append(off, math.Abs(g.Ticks-1))
		}
	}
	if len(off) == 0 {
		return scatter{}
	}
	slices.Sort(off)
	return scatter{1.4826 * off[len(off)/2], float64(len(off))}
}

// over returns how far the time of n frames may be off for the scatter of its
// steps and of the cadence itself: two standard deviations.
func (s scatter) over(n float64) float64 {
	if s.steps == 0 {
		return 0
	}
	const medianError = 1.2533 // of a median against a mean, for a normal distribution
	return 2 * s.deviation * math.Sqrt(n+medianError*medianError*n*n/s.steps)
}

const (
	// A clock this coarse, in cadences, is helped by the frames around.
	coarseSlack = 0.15
	// A run that goes this many times slower on one side has no one cadence.
	oneSlope = 1.25
	// The most frames used on either side: more would not be the same run.
	mostAround = 40
	// How far the difference of the lines may be off.
	standardErrors = 3
	// The rounding of the clock must go through its whole step this many times.
	turns = 2
)

// refine finds how long a gap is on a coarse clock: two straight lines of time
// over frames with one slope, one before the gap and one behind it. How far
// they are apart is known better than any two readings of the clock
// (analysis of covariance; standard error of the adjusted difference).
func refine(list []Gap, at int) {
	g := &list[at]
	quiet := func(i int) bool {
		n := &list[i]
		return (n.Count == 1 || n.Count == 0) && !math.IsNaN(n.Ticks) && n.Ticks-n.slack < LeftOut.Min
	}
	from, to := at, at
	for from > 0 && at-from < mostAround && quiet(from-1) {
		from--
	}
	for to < len(list)-1 && to-at < mostAround && quiet(to+1) {
		to++
	}
	origin := list[from].From.Time
	var before, behind line
	x := 0.0
	before.add(x, 0)
	for i := from; i <= to; i++ {
		x++
		side := &before
		if i >= at {
			side = &behind
		}
		side.add(x, list[i].To.Time.Sub(origin).Seconds())
	}
	n := before.n + behind.n
	sxx := before.sxx() + behind.sxx()
	if n < 5 || sxx == 0 {
		return
	}
	slope := (before.sxy() + behind.sxy()) / sxx
	if slope <= 0 {
		return
	}
	step := behind.y/behind.n - before.y/before.n - slope*(behind.x/behind.n-before.x/before.n)
	q := max(g.From.Resolution, g.To.Resolution).Seconds()
	if !averages(slope/q, min(before.n, behind.n)) {
		return
	}
	residual := before.syy() + behind.syy() - slope*slope*sxx
	deviation := max(math.Sqrt(max(residual, 0)/(n-3)), q/math.Sqrt(12))
	apart := behind.x/behind.n - before.x/before.n
	err := deviation * math.Sqrt(1/before.n+1/behind.n+apart*apart/sxx)
	if slack := standardErrors * err / slope; slack < g.slack {
		// What the two readings themselves allow holds in any case.
		g.Ticks = min(max(1+step/slope, g.Ticks-g.slack), g.Ticks+g.slack)
		g.slack = slack
	}
}

// averages reports whether the rounding of the clock averages out over a number of
// frames at a cadence in clock steps. It does not where the cadence is
// a whole number of steps, or nearly so, or of halves or thirds: then many
// frames in a row are rounded alike.
func averages(cadence, frames float64) bool {
	for m := 1.0; m <= 3; m++ {
		if off := math.Abs(cadence*m - math.Round(cadence*m)); off*frames < turns {
			return false
		}
	}
	return true
}

// line gathers the sums of points (x, y).
type line struct{ n, x, y, xx, xy, yy float64 }

func (l *line) add(x, y float64) {
	l.n++
	l.x += x
	l.y += y
	l.xx += x * x
	l.xy += x * y
	l.yy += y * y
}

func (l *line) sxx() float64 { return l.xx - l.x*l.x/l.n }

func (l *line) sxy() float64 { return l.xy - l.x*l.y/l.n }

func (l *line) syy() float64 { return l.yy - l.y*l.y/l.n }
