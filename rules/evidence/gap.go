package evidence

import (
	"math"
	"path"
	"slices"
	"time"

	"prestrike/audit"
	"prestrike/audit/shoot"
)

// CopiedOver reports whether two frames are one, by a fine clock and their size, and
// bear numbers that follow each other, in one folder: the camera gave them to two
// frames.
func CopiedOver(a, b *shoot.Frame) bool {
	const fine = 10 * time.Millisecond
	if !a.Timed() || !a.Time.Equal(b.Time) || a.Resolution > fine || a.Files[0].Size != b.Files[0].Size {
		return false
	}
	d := b.Number.N - a.Number.N
	return a.Number.Known && b.Number.Known && (d == 1 || d == -1) && path.Dir(a.Path()) == path.Dir(b.Path())
}

// A Reading is what the way from one timed frame to the next is.
type Reading uint8

const (
	Plain   Reading = iota // the next frame
	Missing                // numbers are missing, and the time agrees
	Jumped                 // numbers jump, by the time it is the next frame
	Paused                 // more time than the frames need
	Unclear                // not known
)

// A Gap is the way from one timed frame to the next. Frames without a time may
// be in between.
type Gap struct {
	From, To *shoot.Frame
	Elapsed  time.Duration // 0 where not known
	// Count is the step of the number, 0 where not known; holes are the
	// steps between frames in which numbers are left out.
	Count int
	Holes []shoot.Step
	// Ticks is the elapsed time in cadences, NaN where not known, and slack
	// its uncertainty. Frames without a time in between are taken out of
	// count and ticks.
	Ticks, slack float64

	Reading Reading
	Why     string // it is unclear
	// Jump is how many times as far as around it focus moves over the gap; 0
	// where it does not jump, or where that is not known. It may replace the time.
	Jump    float64
	ByFocus bool // missing by number and jump, where the time does not show it
}

// Agreement is shared by the rules on gaps, so it is read under the name of
// missing-frame by all of them.
var Agreement = audit.Param{
	Name: "agreement", Unit: "cadences",
	Doc:     "how far the time may differ from that of the missing frames; the scatter of the sequence is added",
	Default: 0.3, Min: 0.05, Max: 0.45,
}

// LeftOut and Pause are where time between frames is too long, in cadences.
var (
	LeftOut = audit.Param{
		Name: "gap", Unit: "cadences",
		Doc:     "from this time between two frames on, a frame was left out",
		Default: 1.5, Min: 1.2, Max: 10,
	}
	Pause = audit.Param{
		Name: "pause", Unit: "cadences",
		Doc:     "the shortest time between two frames that is a pause",
		Default: 3, Min: 1.5, Max: 100,
	}
	PauseEdge = audit.Param{
		Name: "edge", Unit: "steps",
		Doc:     "a pause this near to either end belongs to a test frame or a marker",
		Default: 4, Min: 0, Max: 1000,
	}
	ShortestPause = audit.Param{
		Name: "shortest", Unit: "s",
		Doc:     "a shorter pause is a full buffer or a flash that recycles",
		Default: 2, Min: 0, Max: 60,
	}
)

// Gaps are the ways from each timed frame of the sequence to the next. Sequences
// without a steady run have none.
var Gaps = audit.SequenceFact(readGaps)

func readGaps(v *audit.Review) []Gap {
	q := v.Sequence
	if q.Kind == shoot.Single || len(q.Frames) < 3 && q.Kind != shoot.Bracket {
		return nil
	}
	list := links(q)
	r := gapReader{
		bracket: q.Kind == shoot.Bracket, frames: q.Frames, list: list,
		limit: longGap(v), edge: int(v.ParamOf("cadence-break", PauseEdge)),
		agree: v.ParamOf("missing-frame", Agreement), spread: scatterOf(list),
		jumps: focusJumps(v),
	}
	for i := range list {
		r.read(i)
	}
	return list
}

// longGap returns from how many cadences on a gap is longer than it should be.
func longGap(v *audit.Review) float64 {
	if v.Sequence.Kind == shoot.TimeLapse {
		return v.ParamOf("interval-gap", LeftOut)
	}
	limit := v.ParamOf("cadence-break", Pause)
	if c, ok := v.Sequence.Cadence.Get(); ok {
		limit = max(limit, v.ParamOf("cadence-break", ShortestPause)/c.Seconds())
	}
	return limit
}

// A gapReader decides what each gap of a sequence is, beside its neighbours.
type gapReader struct {
	bracket bool
	frames  []*shoot.Frame
	list    []Gap
	limit   float64 // in cadences, of a time that is too long
	edge    int     // steps at either end where a pause is none of the run
	agree   float64
	spread  scatter
	jumps   jumps
}

func (r *gapReader) read(i int) {
	if r.beside(i, func(n *Gap) bool { return n.Count < 0 }) {
		return // out of order, not left out
	}
	g, first, last := &r.list[i], i == 0, i == len(r.list)-1
	slow := slower(r.list, i)
	// One slope for both sides of the gap, or none to refine by.
	if !r.bracket && slow < oneSlope && g.slack > coarseSlack && (g.Count > 1 || g.Ticks >= LeftOut.Min) {
		refine(r.list, i)
	}
	g.read(r.agree, r.limit*slow, r.spread)
	if g.Reading == Missing && !r.bracket && (first || last) {
		g.Reading, g.Why = Unclear, "file numbers are left out beside a single frame, which may be a test frame"
	}
	if g.Reading == Paused && (i < r.edge || i > len(r.list)-1-r.edge) {
		// The few frames beyond a pause may be test frames or a marker.
		g.Reading = Plain
	}
	// Between two frames that are left of a cycle every exposure may be missing.
	if r.bracket && g.Reading == Unclear && g.Count > 1 && (len(r.frames) == 2 || BracketLacks(r.frames, g.Count-1)) {
		g.Reading = Missing
	}
	if r.beside(i, func(n *Gap) bool { return CopiedOver(n.From, n.To) }) {
		g.Reading = Plain // it holds the frame that was copied over
		return
	}
	g.Jump = r.jumps.over(g.From, g.To)
	if g.Reading == Unclear && g.Jumps(float64(g.Count)) {
		g.Reading, g.ByFocus = Missing, true
	}
}

// beside reports whether a gap next to the i-th is of a kind.
func (r *gapReader) beside(i int, is func(*Gap) bool) bool {
	return i > 0 && is(&r.list[i-1]) || i < len(r.list)-1 && is(&r.list[i+1])
}

// Jumps reports whether focus moves as far over the gap as over a number of frames,
// more than one.
func (g *Gap) Jumps(frames float64) bool {
	const apart = 0.3 // of the way: uneven motors, and how well a jump is known
	return g.Jump > 0 && frames > 1 && math.Abs(g.Jump-frames) <= max(0.5, apart*max(frames, g.Jump))
}

// Skipped reports whether time and focus agree that frames lack in a gap
// whose numbers run on, or are not known: the camera did not fire, or files
// were renamed.
func (g *Gap) Skipped() bool {
	return g.Count <= 1 && g.Reading != Missing && !math.IsNaN(g.Ticks) && g.Ticks-g.slack >= LeftOut.Default && g.Jumps(g.Ticks)
}

// slower returns how much slower than its cadence the run goes just before or
// just behind a gap, 1 or more: where a buffer is full, frames come at longer
// steps from there on.
func slower(list []Gap, at int) float64 {
	const around = 6
	mean := func(from, to int) float64 {
		sum, n := 0.0, 0.0
		for i := max(0, from); i < min(len(list), to); i++ {
			if t := list[i].Ticks; !math.IsNaN(t) && list[i].Count <= 1 {
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
// no frame records a time, each step is judged by itself.
func links(q *shoot.Sequence) []Gap {
	timed := slices.ContainsFunc(q.Frames, (*shoot.Frame).Timed)
	list := make([]Gap, 0, len(q.Steps))
	var g Gap
	known, between := true, 0
	for i, s := range q.Steps {
		if between == 0 {
			g = Gap{From: s.From, Ticks: math.NaN()}
			known = true
		}
		n, ok := s.Count.Get()
		known = known && ok
		g.Count += n
		if n > 1 {
			g.Holes = append(g.Holes, s)
		}
		g.To = s.To
		if timed && !s.To.Timed() && i < len(q.Steps)-1 {
			between++
			continue
		}
		if !known {
			g.Count, g.Holes = 0, nil
		} else {
			g.Count -= between
		}
		if d, ok := s.Elapsed.Get(); ok && between == 0 {
			g.Elapsed = d
			if ticks, ok := s.Ticks.Get(); ok {
				g.Ticks, g.slack = ticks, s.Slack
			}
		} else if c, ok := q.Cadence.Get(); ok && g.From.Timed() && g.To.Timed() {
			g.Elapsed = g.To.Time.Sub(g.From.Time)
			g.Ticks = g.Elapsed.Seconds()/c.Seconds() - float64(between)
			g.slack = max(g.From.Resolution, g.To.Resolution).Seconds() / c.Seconds()
		}
		list = append(list, g)
		between = 0
	}
	return list
}

// read decides what the gap is. Missing frames need two signs: the number shows
// them, and the time fits that number of frames and not the next frame alone.
func (g *Gap) read(agree, limit float64, scatter scatter) {
	c := float64(g.Count)
	fit := agree + scatter.over(c)
	switch {
	case math.IsNaN(g.Ticks):
		if g.Count > 1 {
			g.Reading, g.Why = Unclear, "no capture time or no steady cadence to compare the file numbers with"
		}
	case g.Count > 1 && math.Abs(g.Ticks-c) <= fit+g.slack && g.Ticks-g.slack >= 1+agree:
		g.Reading = Missing
	case g.Count > 1 && math.Abs(g.Ticks-1) <= agree+g.slack && c-g.Ticks-g.slack > fit:
		g.Reading = Jumped
	case g.Count > 1 && g.Ticks-g.slack >= limit:
		g.Reading, g.Why = Unclear, "file numbers are left out in a pause that is longer or shorter than they would take"
	case g.Ticks-g.slack >= limit:
		g.Reading = Paused
	case g.Count > 1 && g.slack > agree:
		g.Reading, g.Why = Unclear, "the clock is too coarse for this cadence"
	case g.Count > 1:
		g.Reading, g.Why = Unclear, "file numbers are left out, but the time fits neither lost frames nor a jump"
	case g.Ticks >= limit && g.slack > agree:
		g.Reading, g.Why = Unclear, "the clock is too coarse for this cadence"
	}
}

// MissingNumbers names the numbers left out in a hole: "0020"; "0020", "0021"; "0020 to
// 0023".
func MissingNumbers(hole shoot.Step) []string {
	n, _ := hole.Count.Get()
	first, last := hole.From.Number, hole.To.Number
	first.N = next(first, 1)
	last.N, last.Digits = next(hole.From.Number, n-1), first.Digits
	switch n {
	case 2:
		return []string{first.Label()}
	case 3:
		return []string{first.Label(), last.Label()}
	}
	return []string{first.Label() + " to " + last.Label()}
}

// next returns the number that many frames on; after 9999 of a DCF name comes 1.
func next(n shoot.Number, by int) int {
	const lastDCF = 9999
	if n.Digits == 4 && n.N+by > lastDCF {
		return n.N + by - lastDCF
	}
	return n.N + by
}

// Ends returns the frames on both sides of the gaps, in order.
func Ends(list []Gap) []*shoot.Frame {
	var frames []*shoot.Frame
	for _, g := range list {
		if n := len(frames); n == 0 || frames[n-1] != g.From {
			frames = append(frames, g.From)
		}
		frames = append(frames, g.To)
	}
	return frames
}

// ReadAs returns the gaps of one reading.
func ReadAs(list []Gap, r Reading) []Gap {
	var out []Gap
	for _, g := range list {
		if g.Reading == r {
			out = append(out, g)
		}
	}
	return out
}

// Longest returns the gap with the most ticks.
func Longest(list []Gap) Gap {
	best := list[0]
	for _, g := range list {
		if g.Ticks > best.Ticks {
			best = g
		}
	}
	return best
}
