package pictures

import (
	"slices"

	"prestrike/audit/pixels"
	"prestrike/audit/shoot"
)

// A chain is the runs of a job as their frames are taken in: each may go on from where
// the one before stopped, which shows once it is complete.
type chain struct {
	whole  *pixels.Sequence // of the run that is open, and of those it may go on from
	from   int              // frame of the job at which whole begins
	own    *pixels.Sequence // of the open run alone; nil where there is none before it
	closed []*pixels.Seen   // what was found in each run before the open one
	begins []int            // frames of the job at which the runs behind the first begin
	// inside is whether the closed runs behind the first are one with that before where the
	// pictures do not show it.
	inside []bool
}

func newChain(memo *pixels.Memo) chain {
	c := chain{whole: new(pixels.Sequence)}
	c.whole.UseMemo(memo)
	return c
}

// clone returns a chain that goes on by its own.
func (c *chain) clone() chain {
	d := *c
	d.whole = c.whole.Clone()
	if c.own != nil {
		d.own = c.own.Clone()
	}
	d.closed, d.begins, d.inside = slices.Clone(c.closed), slices.Clone(c.begins), slices.Clone(c.inside)
	return d
}

// len returns how many frames of the job were taken in.
func (c *chain) len() int { return c.from + c.whole.Len() }

// agrees returns up to which of the frames taken in the chain is that of the job.
func (c *chain) agrees(j *job, taken int) int {
	var begins []int
	for i, at := range j.begins[1:] {
		if at >= taken {
			break
		}
		// Whether a run that is closed is one with that before it was decided by times and counts, too.
		if closed := i < len(c.inside); closed && c.inside[i] != inside(j.runs[i+1]) {
			return at
		}
		begins = append(begins, at)
	}
	for i := range max(len(begins), len(c.begins)) {
		switch {
		case i >= len(begins):
			return c.begins[i]
		case i >= len(c.begins):
			return begins[i]
		case begins[i] != c.begins[i]:
			return min(begins[i], c.begins[i])
		}
	}
	return taken
}

func (c *chain) add(m *pixels.FrameMeasure) {
	c.whole.Add(m)
	if c.own != nil {
		c.own.Add(m)
	}
}

// part closes the open run; the next frame begins another.
func (c *chain) part(j *job, taken []glance) {
	found := c.answer(j, taken)
	if c.own != nil {
		open := j.runs[len(c.begins)]
		if !together(open, found) {
			c.whole, c.from = c.own, c.begins[len(c.begins)-1]
		}
		c.inside = append(c.inside, inside(open))
	}
	c.closed = append(c.closed, found)
	c.begins = append(c.begins, len(taken))
	c.own = c.whole.Pause()
}

// inside reports whether a run is one with that before it where the pictures do not show it.
func inside(r *shoot.Run) bool { return r.Pause == shoot.PauseInside }

// together reports whether a run is one with that before it, by what was found behind the
// pause or else by times and counts.
func together(r *shoot.Run, s *pixels.Seen) bool {
	switch part(s.Behind) {
	case shoot.PartGoesOn:
		return true
	case shoot.PartUnknown:
		return s.Behind != nil && inside(r)
	}
	return false
}

// answer is what was found in the open run, with those that it goes on from.
func (c *chain) answer(j *job, taken []glance) *pixels.Seen {
	open := len(c.begins)
	if c.own == nil {
		return judged(c.whole, j.runs[open], taken)
	}
	found := judged(c.own, j.runs[open], taken[c.begins[open-1]:])
	over := c.whole.GoingOn(pixels.DefaultThresholds(), c.closed[open-1].Judgement, found.Judgement)
	found.Behind = &over
	if together(j.runs[open], found) {
		at := slices.Index(j.begins, c.from)
		run := j.runs[at]
		for _, r := range j.runs[at+1 : open+1] {
			run = shoot.Join(run, r)
		}
		found = judged(c.whole, run, taken[c.from:])
		found.Behind = &over
	}
	return found
}

// judged judges the frames of a run, of which the first of those taken in are.
func judged(s *pixels.Sequence, r *shoot.Run, taken []glance) *pixels.Seen {
	missing := map[int]string{}
	for at, g := range taken[:s.Len()] {
		if g.why != "" {
			missing[at] = g.why
		}
	}
	return &pixels.Seen{Judgement: s.Judge(pixels.DefaultThresholds(), r.Exposures()), Missing: missing}
}
