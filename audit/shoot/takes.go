package shoot

import (
	"cmp"
	"math"
	"slices"
)

// Frames that go on after a pause, at the same cadence and settings, are the second
// part of a run that was interrupted, or another run: a second take, or the next place
// of a column or turntable. The time alone cannot show that. What shows it, first to last:
//
//   - recorded distances, which go on or start over;
//   - counts: runs of one set-up mostly have one count of frames, the planned one if any,
//     and either the part or both parts together have it;
//   - pauses that come back with the same length, as a motor makes them.
//
// Where nothing shows it, frames stay as they were cut by their times. Counts and times
// are alike by chance, too: a stack may be interrupted half-way. The part behind a pause is
// marked, so that the pictures, or a rule where they show nothing, can ask; but for distances
// that start over and the pauses of a motor.

const (
	// A longer pause is not inspected: whoever waits so long begins something new.
	longestPause = 75.0 // s
	// Views are set up in more time than this, in cadences; a run that is stopped and
	// goes on pauses for less.
	askedPause = 8.5
	// So many cadences without a frame are a pause.
	pauseTicks = 2.3
	// Shorter pauses may be a buffer that is full or a flash that recycles.
	waitPause = 2.0 // s
	// Cadences of runs that belong together differ by less.
	sameCadence = 0.15
	// The medians of two parts of one run differ by less.
	partCadence = 0.03
	// The scatter of two parts of one run differs by at most this many standard deviations;
	// no run counts as steadier than this share of its cadence.
	partScatter = 4.0
	steadiest   = 0.005
	// So few frames have no cadence of their own.
	strayFrames = 3
	// Pauses of a motor, at least this many, are alike to within motorScatter.
	motorPauses  = 3
	motorScatter = 0.10
	// Runs without a pause that show a count.
	soundSiblings = 2
	// Of the counts of one look the commonest are tried.
	triedCounts = 8
)

// A look is what runs of one set-up share.
type look struct {
	settings settingsKey
	setup    setupKey
}

// A piece is frames without a pause.
type piece struct{ from, to int }

// A joint is a pause between two pieces.
type joint struct {
	gap  float64 // s
	cut  bool    // two runs begin and end here; at first, by the times
	over bool    // recorded focus starts over
	asks bool    // only the pictures show whether the second piece belongs to the first
	// pause is what it is where they do not.
	pause Pause
}

// A chain is pieces of one look and cadence with joints in between.
type chain struct {
	from, to int // the spans it is made of
	cadence  float64
	pieces   []piece
	joints   []joint
}

// takes joins and cuts the runs of a body, in order, where more than the times shows it
// what a pause is. Planned is as for Runs.
func takes(frames []*Frame, ps []point, spans []span, planned int) []span {
	chains := findChains(frames, ps, spans)
	byLook := map[look][]*chain{}
	for _, c := range chains {
		c.followFocus(frames)
		p := &ps[c.pieces[0].from]
		key := look{p.settings, p.setup}
		byLook[key] = append(byLook[key], c)
	}
	for _, list := range byLook {
		count := usualCount(ps, list, planned)
		for _, c := range list {
			c.decide(ps, count)
		}
	}
	out := make([]span, 0, len(spans))
	at := 0
	for _, c := range chains {
		out = append(out, spans[at:c.from]...)
		out = append(out, c.spans()...)
		at = c.to
	}
	return append(out, spans[at:]...)
}

// spans returns the chain's runs.
func (c *chain) spans() []span {
	out := []span{{from: c.pieces[0].from, to: c.pieces[0].to}}
	for i, j := range c.joints {
		next := c.pieces[i+1]
		last := &out[len(out)-1]
		switch {
		case j.cut:
			out = append(out, span{from: next.from, to: next.to, asks: j.asks, pause: j.pause})
			continue
		case j.asks:
			last.parts = append(last.parts, next.from)
		}
		last.to = next.to
	}
	return out
}

// findChains gathers spans that may be parts of one run, and all other steady spans
// each for itself.
func findChains(frames []*Frame, ps []point, spans []span) []*chain {
	var chains []*chain
	for i := 0; i < len(spans); i++ {
		s := spans[i]
		pace := paceOf(ps, s)
		if s.bracket || s.to-s.from < fewFrames || pace <= 0 || pace < burstCadence && !manual(frames[s.from:s.to]) {
			continue
		}
		c := &chain{from: i, to: i + 1, cadence: pace}
		for c.to < len(spans) && c.goesOn(ps, spans) {
			c.to++
		}
		for stray(spans[c.to-1]) { // of no run behind it
			c.to--
		}
		c.split(ps, spans)
		chains = append(chains, c)
		i = c.to - 1
	}
	return chains
}

// stray reports whether a span is too short to have a cadence.
func stray(s span) bool { return !s.bracket && s.to-s.from <= strayFrames }

// paceOf returns the median time from frame to frame of a span, s; 0 where there is none.
func paceOf(ps []point, s span) float64 {
	var gaps []float64
	for i := s.from + 1; i < s.to; i++ {
		w := compare(&ps[i-1], &ps[i])
		gaps = append(gaps, w.gap/float64(w.steps()))
	}
	if len(gaps) == 0 {
		return 0
	}
	slices.Sort(gaps)
	return gaps[len(gaps)/2]
}

// steps returns by how many frames the number goes on, 1 where that is not known.
func (w *between) steps() int {
	if w.countKnown && w.count > 1 && w.count <= 200 {
		return w.count
	}
	return 1
}

// linked reports whether frame i may be of the same run as the frame before, but for
// the time between.
func linked(ps []point, i int) (between, bool) {
	w := compare(&ps[i-1], &ps[i])
	return w, !w.changed && !w.setup && w.gap >= 0 && w.gap <= longestPause && (!w.countKnown || w.count == 1)
}

// onBeat reports whether frame i is the next frame of a run of that pace.
func onBeat(ps []point, i int, pace float64) bool {
	w, ok := linked(ps, i)
	return ok && math.Abs(w.gap-pace) <= sameCadence*pace+w.q
}

// goesOn reports whether the next span may be part of the chain: it has its pace and
// comes after a pause, or it is a few frames that the times alone cut off.
func (c *chain) goesOn(ps []point, spans []span) bool {
	next := spans[c.to]
	w, ok := linked(ps, next.from)
	if !ok || next.bracket {
		return false
	}
	if stray(next) {
		return onBeat(ps, next.from, c.cadence) || c.to+1 < len(spans) && !spans[c.to+1].bracket && onBeat(ps, next.to, c.cadence)
	}
	pause := w.gap-w.q > pauseTicks*c.cadence
	return (pause || stray(spans[c.to-1])) && math.Abs(paceOf(ps, next)-c.cadence) <= sameCadence*c.cadence+w.q/float64(next.to-next.from)
}

// split finds the pieces of the chain.
func (c *chain) split(ps []point, spans []span) {
	begins := map[int]bool{}
	for _, s := range spans[c.from:c.to] {
		begins[s.from] = true
	}
	from, to := spans[c.from].from, spans[c.to-1].to
	c.pieces = []piece{{from, to}}
	for i := from + 1; i < to; i++ {
		w := compare(&ps[i-1], &ps[i])
		ticks := (w.gap-w.q)/c.cadence - float64(w.steps()-1)
		if ticks <= pauseTicks || w.changed || !begins[i] && c.leftOut(&w) {
			continue
		}
		c.pieces[len(c.pieces)-1].to = i
		c.pieces = append(c.pieces, piece{i, to})
		c.joints = append(c.joints, joint{gap: w.gap, cut: begins[i]})
	}
}

// leftOut reports whether a pause holds the beat of a timer, which left out a few ticks.
func (c *chain) leftOut(w *between) bool {
	off := math.Abs(c.cadence/timerStep - math.Round(c.cadence/timerStep))
	ticks := w.gap / c.cadence
	return c.cadence >= intervalCadence && off*timerStep <= timerDrift+w.q && ticks < restartTicks && math.Abs(ticks-math.Round(ticks))*c.cadence <= timerScatter+w.q
}

// followFocus joins the pieces over whose joint the recorded focus goes on, and cuts
// where it starts over.
func (c *chain) followFocus(frames []*Frame) {
	pieces, joints := c.pieces[:1], c.joints[:0]
	for i, j := range c.joints {
		last, next := &pieces[len(pieces)-1], c.pieces[i+1]
		switch focusOver(frames[last.from:last.to], frames[next.from]) {
		case focusGoesOn:
			last.to = next.to
			continue
		case focusStartsOver:
			j.cut, j.over = true, true
		}
		pieces, joints = append(pieces, next), append(joints, j)
	}
	c.pieces, c.joints = pieces, joints
}

const (
	focusUnknown = iota
	focusGoesOn
	focusStartsOver
)

// focusOver reports what the recorded distance does from some frames to the next one.
func focusOver(frames []*Frame, next *Frame) int {
	if outwards(append(slices.Clone(frames), next)) {
		return focusGoesOn
	}
	first, last := math.NaN(), math.NaN()
	moves := 0
	for _, f := range frames {
		d := f.focusDistance()
		if math.IsNaN(d) || math.IsInf(d, 1) {
			continue
		}
		if math.IsNaN(first) {
			first = d
		} else if d != last {
			moves++
		}
		last = d
	}
	d := next.focusDistance()
	if moves < 3 || math.IsNaN(d) || math.IsInf(d, 1) {
		return focusUnknown
	}
	walk, move := last-first, d-last
	switch near := 4 * math.Abs(walk) / float64(moves); {
	case walk == 0:
		return focusUnknown
	case move*walk < 0 && math.Abs(move) >= math.Abs(walk)/2:
		return focusStartsOver
	case move*walk > 0 && math.Abs(move) <= near:
		return focusGoesOn
	}
	return focusUnknown
}

// made returns how many frames were made from one piece to another, those with numbers
// missing in between included.
func made(ps []point, from, to piece) int {
	a, b := ps[from.from].number, ps[to.to-1].number
	if a.Known && b.Known && a.Series == b.Series && b.Count >= a.Count {
		return b.Count - a.Count + 1
	}
	return to.to - from.from
}

// A usual is the count of frames that most runs of a look have; the zero value where no
// two have one. Parts are joined only to a count that several runs have that nothing
// interrupted: two sums are alike by chance too often.
type usual struct {
	frames int
	join   bool
}

// usualCount finds the count of frames that explains most frames of a look: the planned
// one where any run has it.
func usualCount(ps []point, list []*chain, planned int) usual {
	if u := (usual{planned, true}); planned > 0 && slices.ContainsFunc(list, func(c *chain) bool {
		return slices.ContainsFunc(c.whole(ps, u), func(g int) bool { return g > 0 })
	}) {
		return u
	}
	tally := map[int]int{}
	for _, c := range list {
		for _, p := range c.pieces {
			if n := made(ps, p, p); n >= fewFrames {
				tally[n]++
			}
		}
	}
	counts := make([]int, 0, len(tally))
	for n := range tally {
		counts = append(counts, n)
	}
	slices.SortFunc(counts, func(a, b int) int { return cmp.Or(cmp.Compare(tally[b]*b, tally[a]*a), cmp.Compare(b, a)) })
	best, most := usual{}, 0
	for _, n := range counts[:min(len(counts), triedCounts)] {
		u := usual{n, tally[n] >= soundSiblings}
		runs, others := 0, map[int]int{}
		for _, c := range list {
			for i, g := range c.whole(ps, u) {
				if g > 0 {
					runs++
				} else if g == outside && len(c.pieces) > 1 {
					others[made(ps, c.pieces[i], c.pieces[i])]++
				}
			}
		}
		for _, times := range others {
			if times >= max(2, runs) { // another count as common
				runs = 0
			}
		}
		if runs >= 2 && (runs*n > most || runs*n == most && n > best.frames) {
			best, most = u, runs*n
		}
	}
	return best
}

// whole returns of each piece how many pieces from it on make a run of the usual count;
// 0 for those that are part of one that began before, and outside for others.
func (c *chain) whole(ps []point, u usual) []int {
	out := make([]int, len(c.pieces))
	for i := 0; i < len(c.pieces); {
		j := i
		for u.join && j+1 < len(c.pieces) && !c.joints[j].over && made(ps, c.pieces[i], c.pieces[j]) < u.frames {
			j++
		}
		if made(ps, c.pieces[i], c.pieces[j]) == u.frames {
			out[i] = j - i + 1
			i = j + 1
		} else {
			out[i] = outside
			i++
		}
	}
	return out
}

// outside marks a piece that is of no whole run.
const outside = -1

// decide sets for each joint whether it is a cut, where the runs of the look mostly
// have that count of frames.
func (c *chain) decide(ps []point, count usual) {
	if len(c.joints) == 0 {
		return
	}
	whole := c.whole(ps, count)
	rest := 0
	for _, g := range whole {
		if g == outside {
			rest++
		}
	}
	waits := slices.ContainsFunc(c.joints, func(j joint) bool { return j.gap < waitPause })
	told := rest < len(c.pieces) && !(waits && rest > 1)
	motor := c.motor()
	inside := 0
	for i := range c.joints {
		j := &c.joints[i]
		known := told && (whole[i] != outside || whole[i+1] != outside)
		switch {
		case known:
			j.cut = whole[i+1] != 0
		case motor:
			j.cut = true
		}
		switch {
		case !j.cut:
			j.pause = PauseInside
			inside++
		case known:
			j.pause = PauseBetween
		}
	}
	for i := range c.joints {
		j := &c.joints[i]
		j.asks = !j.over && j.gap <= askedPause*c.cadence && oneRun(ps, c.pieces[i], c.pieces[i+1])
		if j.cut {
			j.asks = j.asks && !motor
		} else {
			j.asks = j.asks && inside < motorPauses && seldom(j, ps, c.pieces[i+1])
		}
	}
}

// seldom reports whether a pause that times or counts take for one inside a run may lie between
// two: it is longer than those of a buffer or a flash, and no frame lacks.
func seldom(j *joint, ps []point, behind piece) bool {
	w := compare(&ps[behind.from-1], &ps[behind.from])
	return j.gap >= waitPause && w.countKnown && w.count == 1
}

// oneRun reports whether two pieces have one cadence and scatter alike, as the parts of a
// run have.
func oneRun(ps []point, a, b piece) bool {
	n := min(a.to-a.from, b.to-b.from)
	if n < fewFrames {
		return false
	}
	q := max(ps[a.from].q, ps[b.from].q)
	x, y := rhythmOf(ps, a), rhythmOf(ps, b)
	if math.Abs(x.pace-y.pace) > partCadence*x.pace+q/float64(n) {
		return false
	}
	// The logarithm of the ratio of two variances of n and m values scatters by
	// sqrt(2/(n-1) + 2/(m-1)) (M. S. Bartlett, D. G. Kendall, The statistical analysis of
	// variance-heterogeneity and the logarithmic transformation, 1946). A timer is not
	// interrupted and goes on by hand.
	scatter := math.Sqrt(2/float64(x.n-1) + 2/float64(y.n-1))
	return math.Abs(2*math.Log(x.scatter/y.scatter)) <= partScatter*scatter
}

// A rhythm is how the frames of a piece come.
type rhythm struct {
	pace, scatter float64 // s, from frame to frame; the scatter never 0
	n             int     // times that the scatter is taken from
}

// rhythmOf returns the rhythm of a piece. Of the scatter a tenth at either end does not
// count: a buffer that is full or a flash that recycles is of no other run.
func rhythmOf(ps []point, p piece) rhythm {
	var gaps []float64
	for i := p.from + 1; i < p.to; i++ {
		w := compare(&ps[i-1], &ps[i])
		gaps = append(gaps, w.gap/float64(w.steps()))
	}
	slices.Sort(gaps)
	r := rhythm{pace: gaps[len(gaps)/2]}
	if q := ps[p.from].q; q > partCadence*r.pace {
		// The median of readings by a coarse clock is a whole number of its steps.
		r.pace = (ps[p.to-1].t - ps[p.from].t) / float64(max(made(ps, p, p)-1, 1))
	}
	gaps = gaps[len(gaps)/10 : len(gaps)-len(gaps)/10]
	mean, squares := 0.0, 0.0
	for _, g := range gaps {
		mean += g / float64(len(gaps))
	}
	for _, g := range gaps {
		squares += (g - mean) * (g - mean) / float64(len(gaps))
	}
	r.n = len(gaps)
	r.scatter = max(math.Sqrt(squares), steadiest*r.pace)
	return r
}

// motor reports whether the pauses are as alike as those of a motor.
func (c *chain) motor() bool {
	if len(c.joints) < motorPauses {
		return false
	}
	shortest, longest := math.Inf(1), 0.0
	for _, j := range c.joints {
		shortest, longest = min(shortest, j.gap), max(longest, j.gap)
	}
	return shortest >= waitPause && longest <= (1+motorScatter)*shortest
}
