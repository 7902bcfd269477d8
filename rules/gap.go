package rules

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"prestrike/audit"
	"prestrike/audit/shoot"
)

// The four rules on what lies between frames (missing-frame, number-jump,
// interval-gap and cadence-break) read each step in one way, so that one step
// never gives two findings.

// A reading says what the way from one timed frame to the next is.
type reading uint8

const (
	plain   reading = iota // the next frame
	missing                // numbers are missing, and the time agrees
	jumped                 // numbers jump, the time says the next frame
	paused                 // more time than the frames need
	unclear                // cannot be told
)

// A gap is the way from one timed frame to the next; frames without a time may
// stand in between.
type gap struct {
	from, to *shoot.Frame
	elapsed  time.Duration // 0 where not known
	// count is the step of the number, 0 where not known; holes are the
	// steps between frames in which numbers are left out.
	count int
	holes []shoot.Step
	// ticks is the elapsed time in cadences, NaN where not known, and slack
	// its uncertainty. Frames without a time in between are taken out of
	// count and ticks.
	ticks, slack float64

	reading reading
	why     string // it is unclear
	// jump is how many times as far as around it focus moves over the gap; 0
	// where it does not jump, or nothing tells. It may stand in for the time.
	jump    float64
	byFocus bool // missing by number and jump, where the time does not tell
}

// agreement is shared by the rules on gaps, so it is read under the name of
// missing-frame by all of them.
var agreement = audit.Param{
	Name: "agreement", Unit: "cadences",
	Doc:     "how far the time may lie from that of the frames it should hold; more is allowed for the scatter of the run",
	Default: 0.3, Min: 0.05, Max: 0.45,
}

// leftOut and pause are where time between frames is too long, in cadences.
var (
	leftOut = audit.Param{
		Name: "ticks", Unit: "cadences",
		Doc:     "the shortest time between two frames that leaves a tick out",
		Default: 1.5, Min: 1.2, Max: 10,
	}
	pause = audit.Param{
		Name: "pause", Unit: "cadences",
		Doc:     "the shortest time between two frames that is a pause",
		Default: 3, Min: 1.5, Max: 100,
	}
	shortestPause = audit.Param{
		Name: "shortest", Unit: "s",
		Doc:     "a shorter pause is a full buffer or a flash that recycles",
		Default: 2, Min: 0, Max: 60,
	}
)

// gaps reads every step of the review's sequence. Sequences without a steady
// run have none.
func gaps(v *audit.Review) []gap {
	q := v.Sequence
	if q.Kind == shoot.Single || len(q.Frames) < 3 {
		return nil
	}
	list := links(q)
	limit := paramOf(v, "cadence-break", pause)
	shortest := paramOf(v, "cadence-break", shortestPause)
	if q.Kind == shoot.TimeLapse {
		limit, shortest = paramOf(v, "interval-gap", leftOut), 0
	}
	if c, ok := q.Cadence.Get(); ok {
		limit = max(limit, shortest/c.Seconds())
	}
	agree := paramOf(v, "missing-frame", agreement)
	spread := scatterOf(list)
	jumps := focusJumps(v)
	for i := range list {
		g := &list[i]
		if i > 0 && list[i-1].count < 0 || i < len(list)-1 && list[i+1].count < 0 {
			continue // out of order, not left out
		}
		slow := slower(list, i)
		// One slope for both sides of the gap, or none to refine by.
		if q.Kind != shoot.Bracket && slow < oneSlope && g.slack > coarseSlack && (g.count > 1 || g.ticks >= leftOut.Min) {
			refine(list, i)
		}
		g.read(agree, limit*slow, spread)
		if g.reading == missing && q.Kind != shoot.Bracket && (i == 0 || i == len(list)-1) {
			g.reading, g.why = unclear, "file numbers are left out beside a single frame, which may be a test frame"
		}
		if g.reading == paused && (i < edge || i > len(list)-1-edge) {
			// So few frames beyond a pause may be test frames or a marker.
			g.reading = plain
		}
		if q.Kind == shoot.Bracket && g.reading == unclear && g.count > 1 && bracketLacks(q.Frames, g.count-1) {
			g.reading = missing
		}
		if i > 0 && copiedOver(list[i-1].from, list[i-1].to) || i < len(list)-1 && copiedOver(list[i+1].from, list[i+1].to) {
			g.reading = plain // it holds the frame that was copied over
			continue
		}
		g.jump = jumps.over(g.from, g.to)
		if g.reading == unclear && g.jumps(float64(g.count)) {
			g.reading, g.byFocus = missing, true
		}
	}
	return list
}

// jumps reports whether focus moves as far over the gap as over so many frames,
// more than one.
func (g *gap) jumps(frames float64) bool {
	const apart = 0.3 // of the frames: uneven motors, and how well a jump is known
	return g.jump > 0 && frames > 1 && math.Abs(g.jump-frames) <= max(0.5, apart*frames)
}

// skipped reports whether time and focus agree that frames lack in a gap
// whose numbers run on, or are not known: the camera did not fire, or files
// were renamed.
func (g *gap) skipped() bool {
	return g.count <= 1 && g.reading != missing && !math.IsNaN(g.ticks) && g.ticks-g.slack >= leftOut.Default && g.jumps(g.ticks)
}

// edge is how many steps from its ends a run may pause without a word.
const edge = 4

// slower returns how much slower than its cadence the run goes just before or
// just behind a gap, 1 or more: where a buffer is full, frames come at longer
// steps from there on.
func slower(list []gap, at int) float64 {
	const around = 6
	mean := func(from, to int) float64 {
		sum, n := 0.0, 0.0
		for i := max(0, from); i < min(len(list), to); i++ {
			if t := list[i].ticks; !math.IsNaN(t) && list[i].count <= 1 {
				sum += t
				n++
			}
		}
		if n < around/2 {
			return 1
		}
		return sum / n
	}
	return max(1, mean(at-around, at), mean(at+1, at+1+around))
}

// links joins the steps of a sequence from timed frame to timed frame. Where
// no frame records a time, each step stands for itself.
func links(q *shoot.Sequence) []gap {
	timed := slices.ContainsFunc(q.Frames, (*shoot.Frame).Timed)
	var list []gap
	var g gap
	known, between := true, 0
	for i, s := range q.Steps {
		if between == 0 {
			g = gap{from: s.From, ticks: math.NaN()}
			known = true
		}
		n, ok := s.Count.Get()
		known = known && ok
		g.count += n
		if n > 1 {
			g.holes = append(g.holes, s)
		}
		g.to = s.To
		if timed && !s.To.Timed() && i < len(q.Steps)-1 {
			between++
			continue
		}
		if !known {
			g.count, g.holes = 0, nil
		} else {
			g.count -= between
		}
		if d, ok := s.Elapsed.Get(); ok && between == 0 {
			g.elapsed = d
			if ticks, ok := s.Ticks.Get(); ok {
				g.ticks, g.slack = ticks, s.Slack
			}
		} else if c, ok := q.Cadence.Get(); ok && g.from.Timed() && g.to.Timed() {
			g.elapsed = g.to.Time.Sub(g.from.Time)
			g.ticks = g.elapsed.Seconds()/c.Seconds() - float64(between)
			g.slack = max(g.from.Resolution, g.to.Resolution).Seconds() / c.Seconds()
		}
		list = append(list, g)
		between = 0
	}
	return list
}

// read decides what the gap is. Missing frames need two signs: the number says
// so, and the time fits that number of frames and not the next frame alone.
func (g *gap) read(agree, limit float64, scatter scatter) {
	c := float64(g.count)
	fit := agree + scatter.over(c)
	switch {
	case math.IsNaN(g.ticks):
		if g.count > 1 {
			g.reading, g.why = unclear, "no capture time or no steady cadence to compare the file numbers with"
		}
	case g.count > 1 && math.Abs(g.ticks-c) <= fit+g.slack && g.ticks-g.slack >= 1+agree:
		g.reading = missing
	case g.count > 1 && math.Abs(g.ticks-1) <= agree+g.slack && c-g.ticks-g.slack > fit:
		g.reading = jumped
	case g.count > 1 && g.ticks-g.slack >= limit:
		g.reading, g.why = unclear, "file numbers are left out in a pause that is longer or shorter than they would take"
	case g.ticks-g.slack >= limit:
		g.reading = paused
	case g.count > 1 && g.slack > agree:
		g.reading, g.why = unclear, "the clock is too coarse for this cadence"
	case g.count > 1:
		g.reading, g.why = unclear, "file numbers are left out, but the time fits neither lost frames nor a jump"
	case g.ticks >= limit && g.slack > agree:
		g.reading, g.why = unclear, "the clock is too coarse for this cadence"
	}
}

// A scatter is how unevenly the frames of a run come.
type scatter struct {
	deviation float64 // of single steps, in cadences
	steps     float64 // that it was taken from
}

// scatterOf measures the scatter by the median deviation of the steps from one
// cadence; 1.4826 makes it that of a normal distribution.
func scatterOf(list []gap) scatter {
	var off []float64
	for _, g := range list {
		if g.count <= 1 && !math.IsNaN(g.ticks) && g.slack <= coarseSlack {
			off = append(off, math.Abs(g.ticks-1))
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
	// A run that goes so many times slower on one side has no one cadence.
	oneSlope = 1.25
	// So many frames on either side help; more would not be the same run.
	mostAround = 40
	// How far the difference of the lines may be off.
	standardErrors = 3
	// The rounding of the clock must go through its whole step so many times.
	turns = 2
)

// refine finds how long a gap is on a coarse clock: two straight lines of time
// over frames with one slope, one before the gap and one behind it. How far
// they are apart is known better than any two readings of the clock
// (analysis of covariance; standard error of the adjusted difference).
func refine(list []gap, at int) {
	g := &list[at]
	quiet := func(i int) bool {
		n := &list[i]
		return (n.count == 1 || n.count == 0) && !math.IsNaN(n.ticks) && n.ticks-n.slack < leftOut.Min
	}
	from, to := at, at
	for from > 0 && at-from < mostAround && quiet(from-1) {
		from--
	}
	for to < len(list)-1 && to-at < mostAround && quiet(to+1) {
		to++
	}
	origin := list[from].from.Time
	var before, behind line
	x := 0.0
	before.add(x, 0)
	for i := from; i <= to; i++ {
		x++
		side := &before
		if i >= at {
			side = &behind
		}
		side.add(x, list[i].to.Time.Sub(origin).Seconds())
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
	q := max(g.from.Resolution, g.to.Resolution).Seconds()
	if !averages(slope/q, min(before.n, behind.n)) {
		return
	}
	residual := before.syy() + behind.syy() - slope*slope*sxx
	deviation := max(math.Sqrt(max(residual, 0)/(n-3)), q/math.Sqrt(12))
	apart := behind.x/behind.n - before.x/before.n
	err := deviation * math.Sqrt(1/before.n+1/behind.n+apart*apart/sxx)
	if slack := standardErrors * err / slope; slack < g.slack {
		// What the two readings themselves allow holds in any case.
		g.ticks = min(max(1+step/slope, g.ticks-g.slack), g.ticks+g.slack)
		g.slack = slack
	}
}

// averages reports whether the rounding of the clock averages out over so many
// frames at a cadence of so many clock steps. It does not where the cadence is
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

// bracketLacks reports whether the exposures of a bracket, of one or several
// cycles, lack just so many frames for even steps with equally many frames each.
func bracketLacks(frames []*shoot.Frame, lost int) bool {
	var levels []float64
	var counts []int
	for _, f := range frames {
		ev, ok := exposure(f.Meta())
		if !ok {
			return false
		}
		i := 0
		for i < len(levels) && levels[i] < ev-tolerance.Default {
			i++
		}
		if i < len(levels) && math.Abs(levels[i]-ev) < tolerance.Default {
			counts[i]++
			continue
		}
		if len(levels) == mostLevels {
			return false
		}
		levels = append(levels[:i], append([]float64{ev}, levels[i:]...)...)
		counts = append(counts[:i], append([]int{1}, counts[i:]...)...)
	}
	if len(levels) < 2 {
		return false
	}
	step, most := math.Inf(1), 0
	for i, n := range counts {
		most = max(most, n)
		if i > 0 {
			step = min(step, levels[i]-levels[i-1])
		}
	}
	lacks := 0
	for i, n := range counts {
		lacks += most - n
		if i > 0 {
			steps := (levels[i] - levels[i-1]) / step
			if math.Abs(steps-math.Round(steps)) > 0.25 {
				return false
			}
			lacks += most * (int(math.Round(steps)) - 1)
		}
	}
	return lacks == lost
}

// mostLevels is more exposures than any bracket has.
const mostLevels = 16

// missingNumbers names the numbers left out in a hole: "0020" or "0020 to 0023".
func missingNumbers(hole shoot.Step) string {
	n, _ := hole.Count.Get()
	first, last := hole.From.Number, hole.To.Number
	first.N = next(first, 1)
	last.N, last.Digits = next(hole.From.Number, n-1), first.Digits
	if n == 2 {
		return first.Label()
	}
	return first.Label() + " to " + last.Label()
}

// next returns the number so many frames on; after 9999 of a DCF name comes 1.
func next(n shoot.Number, by int) int {
	const lastDCF = 9999
	if n.Digits == 4 && n.N+by > lastDCF {
		return n.N + by - lastDCF
	}
	return n.N + by
}

// ends returns the frames on both sides of the gaps, in order.
func ends(list []gap) []*shoot.Frame {
	var frames []*shoot.Frame
	for _, g := range list {
		if n := len(frames); n == 0 || frames[n-1] != g.from {
			frames = append(frames, g.from)
		}
		frames = append(frames, g.to)
	}
	return frames
}

// readAs returns the gaps of one reading.
func readAs(list []gap, r reading) []gap {
	var out []gap
	for _, g := range list {
		if g.reading == r {
			out = append(out, g)
		}
	}
	return out
}

// longest returns the gap with the most ticks.
func longest(list []gap) gap {
	best := list[0]
	for _, g := range list {
		if g.ticks > best.ticks {
			best = g
		}
	}
	return best
}

// mostNamed is how many things a sentence names before it counts the rest.
const mostNamed = 3

// listed joins the first few words of a list: "a", "a and b", "a, b, c and 4 more".
func listed(words []string) string {
	n := len(words)
	switch {
	case n == 1:
		return words[0]
	case n <= mostNamed:
		return strings.Join(words[:n-1], ", ") + " and " + words[n-1]
	default:
		return strings.Join(words[:mostNamed], ", ") + fmt.Sprintf(" and %d more", n-mostNamed)
	}
}

// cadence writes the sequence's cadence.
func cadence(q *shoot.Sequence) string {
	c, ok := q.Cadence.Get()
	if !ok {
		return "at no steady cadence"
	}
	return "every " + shoot.FormatDuration(c)
}

// paramOf returns the value in force of another rule's parameter.
func paramOf(v *audit.Review, rule string, p audit.Param) float64 {
	if set, ok := v.Options.Params[rule][p.Name]; ok {
		return set
	}
	return p.Default
}
