package shoot

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"prestrike/exifread"
)

// Group pairs files into frames, orders them by body, cuts them into
// sequences and gathers these into sessions. No rule has run on the result.
func Group(files []*File, opt *Options) []*Session {
	frames := makeFrames(files)
	byTime := slices.Clone(frames)
	slices.SortStableFunc(byTime, func(a, b *Frame) int { return cmp.Or(a.Time.Compare(b.Time), cmp.Compare(a.Path(), b.Path())) })
	numberFrames(byTime)
	var sequences []*Sequence
	for _, b := range assignBodies(frames) {
		coarsen(b.frames)
		var own []*Sequence
		for _, r := range segment(b.frames) {
			for _, frames := range restarts(b.frames[r.from:r.to]) {
				for _, part := range cycles(frames, r.bracket) {
					own = append(own, &Sequence{Body: b.body, Frames: part.frames, Kind: part.kind})
				}
			}
		}
		sequences = append(sequences, place(own, b)...)
	}
	for _, s := range sequences {
		s.measure(opt)
	}
	return sessions(sequences, opt)
}

// coarsen gives the frames of a body the resolution of whole seconds where all
// their sub-seconds are 0: some bodies write those and do not know them.
func coarsen(frames []*Frame) {
	const enough = 5 // by chance it is one in 10^10 of those that know hundredths
	if len(frames) < enough || slices.ContainsFunc(frames, func(f *Frame) bool { return f.Time.Nanosecond() != 0 }) {
		return
	}
	for _, f := range frames {
		if f.Timed() {
			f.Resolution = max(f.Resolution, time.Second)
		}
	}
}

// restarts cuts a run that a timer made where it was stopped and started again:
// at a pause that is off the timer's beat. A timer that only left out ticks
// keeps its beat.
func restarts(frames []*Frame) [][]*Frame {
	n := len(frames)
	if n < intervalFrames {
		return [][]*Frame{frames}
	}
	gaps := make([]float64, n-1)
	q := 0.0
	for i := range gaps {
		gaps[i] = frames[i+1].Time.Sub(frames[i].Time).Seconds()
		q = max(q, frames[i].Resolution.Seconds())
	}
	sorted := slices.Sorted(slices.Values(gaps))
	c := sorted[len(sorted)/2]
	if c < intervalCadence || q > coarse*c {
		return [][]*Frame{frames}
	}
	off := 0
	for _, g := range gaps {
		if math.Abs(g/c-math.Round(g/c)) > intervalScatter+q/c {
			off++
		}
	}
	if off*10 > n {
		return [][]*Frame{frames}
	}
	var out [][]*Frame
	from := 0
	for i, g := range gaps {
		ticks := g / c
		if ticks >= restartTicks && math.Abs(ticks-math.Round(ticks)) > restartOff+q/c && i+1-from >= fewFrames && n-i-1 >= fewFrames {
			out = append(out, frames[from:i+1:i+1])
			from = i + 1
		}
	}
	return append(out, frames[from:])
}

const (
	// A pause of restartTicks or more that is off the beat by restartOff of
	// it is no left-out tick.
	restartTicks = 4.5
	restartOff   = 0.08
)

// part is a piece of a run, with its kind where that is settled.
type part struct {
	frames []*Frame
	kind   Kind
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
		parts = append(parts, part{frames[at:to:to], Bracket})
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

// place puts frames that record no time where their number says: inside the
// sequence whose numbers lie around theirs, at the end of the one they follow,
// or into sequences of their own.
func place(own []*Sequence, b *bodyFrames) []*Sequence {
	if len(b.untimed) == 0 {
		return own
	}
	type spot struct {
		count    int
		sequence *Sequence
		at       *Frame
	}
	bySeries := map[string][]spot{}
	for _, s := range own {
		for _, f := range s.Frames {
			if f.Number.Known {
				bySeries[f.Number.Series] = append(bySeries[f.Number.Series], spot{f.Number.Count, s, f})
			}
		}
	}
	for _, spots := range bySeries {
		slices.SortStableFunc(spots, func(x, y spot) int { return cmp.Compare(x.count, y.count) })
	}
	var last *Sequence // of frames that have no place
	for _, f := range b.untimed {
		f.Placed = true
		spots := bySeries[f.Number.Series]
		if f.Number.Known && len(spots) > 0 {
			i, _ := slices.BinarySearchFunc(spots, f.Number.Count, func(s spot, n int) int { return cmp.Compare(s.count, n) })
			near := spots[max(0, i-1)]
			// Only a frame that joins on is part of the sequence.
			if i > 0 && f.Number.Count-near.count <= placeReach || i == 0 && near.count-f.Number.Count == 1 {
				s := near.sequence
				j := slices.Index(s.Frames, near.at)
				if i > 0 {
					j++
				}
				s.Frames = slices.Insert(slices.Clip(s.Frames), j, f)
				spots = slices.Insert(spots, i, spot{f.Number.Count, s, f})
				bySeries[f.Number.Series] = spots
				continue
			}
		}
		if last == nil || folder(last.Frames[0].Path()) != folder(f.Path()) {
			last = &Sequence{Body: b.body, Kind: Single}
			own = append(own, last)
		}
		last.Frames = append(last.Frames, f)
	}
	return own
}

// placeReach is how many numbers an unreadable frame may lie behind the last
// frame of a sequence to belong to it still.
const placeReach = 5

// measure fills in what follows from the frames: cadence, steps, settings,
// kind and support.
func (s *Sequence) measure(opt *Options) {
	s.Settings = agree(s.Frames)
	s.cadence()
	s.steps()
	if s.Kind != Bracket {
		s.Kind = s.kind()
	}
	s.Support = opt.Support
	if s.Support == SupportAuto {
		s.Support = Handheld
		if s.Kind.Steady() || s.Kind == Bracket || slices.ContainsFunc(s.Frames, func(f *Frame) bool { return f.ExposureSeconds() > slowest }) {
			s.Support = Tripod
		}
	}
}

// slowest is the exposure time that nobody plans to hold by hand, seconds.
const slowest = 0.25

// agree returns the values that most frames share.
func agree(frames []*Frame) Settings {
	var s Settings
	s.ExposureTime = majority(frames, func(f *Frame) exifread.Value[exifread.Rational] { return f.meta.ExposureTime })
	s.FNumber = majority(frames, func(f *Frame) exifread.Value[exifread.Rational] { return f.meta.FNumber })
	s.ISO = majority(frames, (*Frame).sensitivity)
	s.FocalLength = majority(frames, func(f *Frame) exifread.Value[exifread.Rational] { return f.meta.FocalLength })
	return s
}

// majority returns the value most frames record, the earliest of equals.
func majority[T comparable](frames []*Frame, get func(*Frame) exifread.Value[T]) exifread.Value[T] {
	counts := map[T]int{}
	var best exifread.Value[T]
	most := 0
	for _, f := range frames {
		if v, ok := get(f).Get(); ok {
			counts[v]++
		}
	}
	for _, f := range frames {
		if v, ok := get(f).Get(); ok && counts[v] > most {
			best, most = exifread.Of(v), counts[v]
		}
	}
	return best
}

// cadence finds the steady time per frame: the median gap, each divided by
// the step of the number where frames are missing; on a clock too coarse for
// that, the mean over the run without its pauses.
func (s *Sequence) cadence() {
	var gaps []float64
	q := 0.0
	var prev *Frame
	for _, f := range s.Frames {
		if !f.Timed() {
			continue
		}
		if prev != nil {
			g := f.Time.Sub(prev.Time).Seconds()
			if n := countStep(prev, f); n > 1 && n <= 200 {
				g /= float64(n)
			}
			if s.Kind == Bracket {
				g -= prev.ExposureSeconds()
			}
			gaps = append(gaps, g)
			q = max(q, f.Resolution.Seconds(), prev.Resolution.Seconds())
		}
		prev = f
	}
	if len(gaps) < 2 {
		return
	}
	sorted := slices.Clone(gaps)
	slices.Sort(sorted)
	c := sorted[len(sorted)/2]
	if len(sorted)%2 == 0 {
		c = (c + sorted[len(sorted)/2-1]) / 2
	}
	if q > coarse*c {
		sum, n := 0.0, 0
		for _, g := range gaps {
			if g <= 1.5*c+q {
				sum += g
				n++
			}
		}
		c = sum / float64(n)
	}
	if c <= 0 {
		return // all within one reading of the clock
	}
	s.Cadence = exifread.Of(time.Duration(c * float64(time.Second)))
}

// countStep returns the step of the number from a to b; 0 where not known.
func countStep(a, b *Frame) int {
	if !a.Number.Known || !b.Number.Known || a.Number.Series != b.Number.Series {
		return 0
	}
	return b.Number.Count - a.Number.Count
}

func (s *Sequence) steps() {
	s.Steps = make([]Step, 0, len(s.Frames)-1)
	c, steady := s.Cadence.Get()
	typical := 0.0
	if t, ok := s.Settings.ExposureTime.Get(); ok {
		typical = t.Float()
	}
	for i := 1; i < len(s.Frames); i++ {
		a, b := s.Frames[i-1], s.Frames[i]
		st := Step{From: a, To: b}
		if a.Number.Known && b.Number.Known && a.Number.Series == b.Number.Series {
			st.Count = exifread.Of(b.Number.Count - a.Number.Count)
		}
		if a.Timed() && b.Timed() {
			d := b.Time.Sub(a.Time)
			st.Elapsed = exifread.Of(d)
			if steady {
				ticks := d.Seconds() / c.Seconds()
				e := a.ExposureSeconds()
				if s.Kind == Bracket {
					ticks = (d.Seconds() - e) / c.Seconds()
				} else if extra := e - typical; e > 0 && math.Abs(extra) > 0.05*c.Seconds() {
					// Either the interval or the dead time between frames
					// stays when the exposure time changes.
					if alt := (d.Seconds() - extra) / c.Seconds(); math.Abs(alt-math.Round(alt)) < math.Abs(ticks-math.Round(ticks)) {
						ticks = alt
					}
				}
				st.Ticks = exifread.Of(ticks)
				st.Slack = max(a.Resolution, b.Resolution).Seconds() / c.Seconds()
			}
		}
		s.Steps = append(s.Steps, st)
	}
}

const (
	// A run of fewer frames says too little to be called more than single
	// frames, unless they came fast.
	fewFrames = 5
	// Slower frames are no burst.
	burstCadence = 1.0 // s
	// Runs of this many frames at burst cadence are made by a program, if
	// the exposure is manual.
	longBurst = 8
	// A time-lapse has at least intervalFrames at an interval of
	// intervalCadence or more, even to intervalScatter of it.
	intervalFrames  = 30
	intervalCadence = 2.0 // s
	intervalScatter = 0.03
)

// kind says what a sequence that is no bracket was made for.
func (s *Sequence) kind() Kind {
	n := len(s.Frames)
	if n < 2 || s.Start().IsZero() {
		return Single
	}
	if s.walks() {
		return Focus
	}
	c, ok := s.Cadence.Get()
	if !ok {
		c = s.End().Sub(s.Start()) / time.Duration(n-1)
	}
	sec := c.Seconds()
	switch {
	case sec < burstCadence && n < longBurst:
		return Burst
	case sec < burstCadence && !s.manual():
		return Burst
	case n < fewFrames:
		return Single
	case sec >= intervalCadence && n >= intervalFrames && s.even():
		return TimeLapse
	}
	return Series
}

// manual reports whether the exposure was set by hand as far as the frames tell.
func (s *Sequence) manual() bool {
	manual, told := 0, 0
	for _, f := range s.Frames {
		if p, ok := f.meta.ExposureProgram.Get(); ok && p != 0 {
			told++
			if p == exifread.ProgramManual {
				manual++
			}
		} else if m, ok := f.meta.ExposureMode.Get(); ok {
			told++
			if m == exifread.ExposureManual {
				manual++
			}
		}
	}
	return told > 0 && manual*2 > told
}

// walks reports whether the recorded subject distance moves one way through
// the sequence, in at least three places, as focus steps do.
func (s *Sequence) walks() bool {
	if len(s.Frames) < fewFrames {
		return false
	}
	var d []float64
	for _, f := range s.Frames {
		v, ok := f.meta.SubjectDistance.Get()
		if !ok || v.State != exifread.DistanceMetres || v.Metres <= 0 {
			return false
		}
		d = append(d, v.Metres)
	}
	up, down := 0, 0
	for i := 1; i < len(d); i++ {
		switch {
		case d[i] > d[i-1]:
			up++
		case d[i] < d[i-1]:
			down++
		}
	}
	// One turn back is a fault within a walk, not the lack of one.
	return max(up, down) >= 3 && max(up, down) >= 3*min(up, down)
}

// even reports whether the frames keep to the beat as a timer makes it. On a
// coarse clock nearly all gaps must read the same, as those of a whole number
// of seconds do.
func (s *Sequence) even() bool {
	off, n := 0, 0
	c := s.Cadence.Or(0).Seconds()
	for _, st := range s.Steps {
		t, ok := st.Ticks.Get()
		if !ok {
			continue
		}
		n++
		if st.Slack > intervalScatter {
			t *= c / math.Round(c)
		}
		if math.Abs(t-math.Round(t)) > intervalScatter {
			off++
		}
	}
	return n > 0 && off*10 <= n
}

// sessions gathers sequences into sessions, split where no body shot anything
// for longer than the session gap, and numbers them.
func sessions(sequences []*Sequence, opt *Options) []*Session {
	gap := opt.SessionGap
	if gap <= 0 {
		gap = DefaultSessionGap
	}
	var timed, untimed []*Sequence
	for _, s := range sequences {
		if s.Start().IsZero() {
			untimed = append(untimed, s)
		} else {
			timed = append(timed, s)
		}
	}
	slices.SortStableFunc(timed, bySequence)
	slices.SortStableFunc(untimed, bySequence)
	var out []*Session
	var end time.Time
	for _, s := range timed {
		if len(out) == 0 || s.Start().Sub(end) > gap {
			out = append(out, &Session{})
		}
		last := out[len(out)-1]
		last.Sequences = append(last.Sequences, s)
		if s.End().After(end) {
			end = s.End()
		}
	}
	// Sequences without a time belong to the session of their folder, where
	// there is just one.
	byFolder := map[string]*Session{}
	shared := map[string]bool{}
	for _, session := range out {
		for _, s := range session.Sequences {
			for _, f := range s.Frames {
				dir := folder(f.Path())
				if o := byFolder[dir]; o != nil && o != session {
					shared[dir] = true
				}
				byFolder[dir] = session
			}
		}
	}
	var undated *Session
	for _, s := range untimed {
		dir := folder(s.Frames[0].Path())
		session := byFolder[dir]
		if session == nil || shared[dir] {
			if undated == nil {
				undated = &Session{}
				out = append(out, undated)
			}
			session = undated
		}
		session.Sequences = append(session.Sequences, s)
	}
	for i, session := range out {
		session.ID = fmt.Sprint(i + 1)
		for j, s := range session.Sequences {
			s.ID = fmt.Sprintf("%d.%d", i+1, j+1)
			if !slices.Contains(session.Bodies, s.Body) {
				session.Bodies = append(session.Bodies, s.Body)
			}
		}
	}
	return out
}

func bySequence(a, b *Sequence) int {
	return cmp.Or(a.Start().Compare(b.Start()), cmp.Compare(a.Body.Make, b.Body.Make), cmp.Compare(a.Body.Model, b.Body.Model),
		cmp.Compare(a.Body.Serial, b.Body.Serial), cmp.Compare(a.Body.Index, b.Body.Index), cmp.Compare(a.Frames[0].Path(), b.Frames[0].Path()))
}
