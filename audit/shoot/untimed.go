package shoot

import (
	"cmp"
	"math"
	"slices"
	"time"

	"prestrike/exifread"
)

// Frames without a time are files that cannot be read, or whose capture data is lost.
// What shows where they belong, first to last: numbers of one run on both sides; the
// modification time, where those of the folder follow the capture times; a run that
// lacks just as many frames of the count that its siblings have. Where nothing shows it,
// they stand alone: a good run is not to suffer from a file beside it.

const (
	// Modification times are believed where most frames of a folder, enough of them,
	// were written within writtenWithin of the usual delay: cards keep steps of 2 s,
	// and a buffer delays writing. A copy that does not keep them has one time for all.
	writtenFrames = 5
	writtenShare  = 0.8
	writtenWithin = 3 * time.Second
	// This many runs of one look with one count show what a run lacks.
	countedSiblings = 2
)

// A spot is a numbered frame of a run.
type spot struct {
	frame *Frame
	run   *Run
}

// A placing puts frames without a time into the runs of their body.
type placing struct {
	own    []*Run
	spots  map[string][]spot // by series, in the order of the counts
	delays map[string]time.Duration
	lacks  map[*Run]int
	before map[*Frame][]*Frame
	after  map[*Frame][]*Frame
}

// place puts the frames of a body that record no time into its runs, or into runs of
// their own.
func place(own []*Run, b *bodyFrames, planned int) []*Run {
	if len(b.untimed) == 0 {
		return own
	}
	p := placing{
		own: own, spots: map[string][]spot{}, delays: writingDelays(b.frames), lacks: lacking(own, planned),
		before: map[*Frame][]*Frame{}, after: map[*Frame][]*Frame{},
	}
	for _, r := range own {
		for _, f := range r.Frames {
			if f.Number.Known {
				p.spots[f.Number.Series] = append(p.spots[f.Number.Series], spot{f, r})
			}
		}
	}
	for _, spots := range p.spots {
		slices.SortStableFunc(spots, func(x, y spot) int { return cmp.Compare(x.frame.Number.Count, y.frame.Number.Count) })
	}
	var last *Run // of frames that have no place
	for from := 0; from < len(b.untimed); {
		to := from + 1
		for to < len(b.untimed) && p.together(b.untimed[to-1], b.untimed[to]) {
			to++
		}
		stretch := b.untimed[from:to]
		for _, f := range stretch {
			f.Placed = true
		}
		from = to
		if p.settle(stretch) {
			continue
		}
		if last == nil || folder(last.Frames[0].Path()) != folder(stretch[0].Path()) {
			last = &Run{Body: b.body}
			p.own = append(p.own, last)
		}
		last.Frames = append(last.Frames, stretch...)
	}
	for _, r := range own {
		p.rebuild(r)
	}
	return p.own
}

// together reports whether b bears the number after a, with no timed frame between.
func (p *placing) together(a, b *Frame) bool {
	return countStep(a, b) == 1 && p.at(a) == p.at(b)
}

// at returns the place of a frame among those of its series.
func (p *placing) at(f *Frame) int {
	i, _ := slices.BinarySearchFunc(p.spots[f.Number.Series], f.Number.Count, func(s spot, n int) int { return cmp.Compare(s.frame.Number.Count, n) })
	return i
}

// settle finds the place of frames with consecutive numbers, and reports whether
// their numbers show one.
func (p *placing) settle(stretch []*Frame) bool {
	spots := p.spots[stretch[0].Number.Series]
	if !stretch[0].Number.Known || len(spots) == 0 {
		return false
	}
	i := p.at(stretch[0])
	var prev, next spot
	if i > 0 {
		prev = spots[i-1]
	}
	if i < len(spots) {
		next = spots[i]
	}
	if prev.run != nil && prev.run == next.run {
		p.after[prev.frame] = append(p.after[prev.frame], stretch...)
		return true
	}
	joins := func(s spot, f *Frame) bool {
		if s.run == nil {
			return false
		}
		d := countStep(s.frame, f)
		return d == 1 || d == -1
	}
	n := len(stretch)
	first, second := 0, 0 // frames that go to the run before and behind
	if delay, ok := p.delays[folder(stretch[0].Path())]; ok {
		for first < n && prev.run != nil && p.fits(prev, stretch[first], next, delay) {
			first++
		}
		for second < n-first && next.run != nil && p.fits(next, stretch[n-1-second], prev, delay) {
			second++
		}
	} else {
		if joins(prev, stretch[0]) {
			first = p.lacks[prev.run]
		}
		if joins(next, stretch[n-1]) {
			second = p.lacks[next.run]
		}
		switch {
		case first == 0:
			second = min(second, n)
		case second == 0:
			first = min(first, n)
		case first+second != n: // of which run is not known
			first, second = 0, 0
		}
	}
	if first > 0 {
		p.after[prev.frame] = append(p.after[prev.frame], stretch[:first]...)
	}
	if second > 0 {
		p.before[next.frame] = append(p.before[next.frame], stretch[n-second:]...)
	}
	if rest := stretch[first : n-second]; len(rest) > 0 {
		body := rest[0].Body
		p.own = append(p.own, &Run{Body: body, Frames: slices.Clone(rest), Between: [2]*Run{prev.run, next.run}})
	}
	return true
}

// fits reports whether a file was written when the run of s would have made its frame,
// and not rather when the run of the other did.
func (p *placing) fits(s spot, f *Frame, other spot, delay time.Duration) bool {
	written := f.Files[0].Meta.Modified
	if written.IsZero() {
		return false
	}
	made := written.Add(-delay)
	off, pace := s.off(f, made)
	if pace <= 0 || off > writtenWithin.Seconds()+pace/2 {
		return false
	}
	if other.run == nil {
		return true
	}
	otherOff, otherPace := other.off(f, made)
	return otherPace <= 0 || off <= otherOff
}

// off returns how far from its turn in the run of s a frame was made, and the run's
// time from frame to frame, both in seconds; that is 0 where the run has none.
func (s spot) off(f *Frame, made time.Time) (off, pace float64) {
	if n := len(s.run.Frames); n > 1 && !s.run.bracket {
		pace = s.run.End().Sub(s.run.Start()).Seconds() / float64(n-1)
	}
	due := s.frame.Time.Add(time.Duration(float64(countStep(s.frame, f)) * pace * float64(time.Second)))
	return math.Abs(made.Sub(due).Seconds()), pace
}

// rebuild puts the frames that were placed beside those of a run into it.
func (p *placing) rebuild(r *Run) {
	if !slices.ContainsFunc(r.Frames, func(f *Frame) bool { return p.before[f] != nil || p.after[f] != nil }) {
		return
	}
	var frames []*Frame
	for _, f := range r.Frames {
		frames = append(append(append(frames, p.before[f]...), f), p.after[f]...)
	}
	r.Frames = frames
}

// writingDelays returns of each folder whose files keep the time when they were
// written how long after its capture time, as a clock in UTC, a file is written.
func writingDelays(frames []*Frame) map[string]time.Duration {
	delays := map[string][]time.Duration{}
	for _, f := range frames {
		if at := f.Files[0].Meta.Modified; !at.IsZero() {
			delays[folder(f.Path())] = append(delays[folder(f.Path())], at.Sub(f.Time))
		}
	}
	out := map[string]time.Duration{}
	for dir, list := range delays {
		if usual, ok := steadyDelay(list); ok {
			out[dir] = usual
		}
	}
	return out
}

// steadyDelay returns the usual delay from the capture to the writing of files, where most
// are near it and there are enough. It sorts the list.
func steadyDelay(list []time.Duration) (usual time.Duration, ok bool) {
	if len(list) < writtenFrames {
		return 0, false
	}
	slices.Sort(list)
	usual = list[len(list)/2]
	near := 0
	for _, d := range list {
		if (d - usual).Abs() <= writtenWithin {
			near++
		}
	}
	return usual, float64(near) >= writtenShare*float64(len(list))
}

// lacking returns how many frames each run has less than planned, or else than most
// runs of its settings.
func lacking(own []*Run, planned int) map[*Run]int {
	type kin struct {
		settings Settings
		bracket  bool
	}
	byKin := map[kin][]*Run{}
	for _, r := range own {
		s := agree(r.Frames)
		if r.bracket {
			s.ExposureTime = exifread.Value[exifread.Rational]{}
		}
		byKin[kin{s, r.bracket}] = append(byKin[kin{s, r.bracket}], r)
	}
	out := map[*Run]int{}
	for _, list := range byKin {
		counts := map[int]int{}
		for _, r := range list {
			counts[r.numbered()]++
		}
		for _, r := range list {
			n := r.numbered()
			if n < fewFrames && !r.bracket {
				continue // a test frame or a marker rather
			}
			if planned > 0 && !r.bracket {
				out[r] = max(0, planned-n)
				continue
			}
			for usual, have := range counts {
				if usual > n && have >= countedSiblings && 2*have >= len(list)-1 {
					out[r] = usual - n
				}
			}
		}
	}
	return out
}

// numbered returns how many frames the run was made with, by its numbers.
func (r *Run) numbered() int {
	if n := countStep(r.Frames[0], r.Frames[len(r.Frames)-1]); n > 0 {
		return n + 1
	}
	return len(r.Frames)
}
