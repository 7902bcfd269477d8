package shoot

import "slices"

// A Pause is what a pause between frames of one set-up is by their times and counts.
type Pause int

// What a pause may be.
const (
	PauseUnknown Pause = iota // two runs as far as is known, and a rule asks
	PauseInside               // one run
	PauseBetween              // two runs
)

// split returns the parts of a run, which the pictures may show to be runs of their own. The
// last one is the run itself, to which others may point.
func (r *Run) split() []*Run {
	var out []*Run
	for _, begin := range r.parts {
		at := slices.Index(r.Frames, begin)
		if at <= 0 {
			continue
		}
		part := &Run{Body: r.Body, Frames: r.Frames[:at:at], MayContinue: r.MayContinue, Pause: r.Pause}
		r.Frames, r.MayContinue, r.Pause = r.Frames[at:], part, PauseInside
		out = append(out, part)
	}
	r.parts = nil
	return append(out, r)
}

// Join returns the run that two parts of one make. It may continue what the first may.
func Join(first, second *Run) *Run {
	r := &Run{
		Body:        first.Body,
		Frames:      slices.Concat(first.Frames, second.Frames),
		Merged:      slices.Concat(first.Merged, second.Merged),
		MayContinue: first.MayContinue,
		Pause:       first.Pause,
	}
	r.measure()
	return r
}

// measure takes what all its frames show together.
func (r *Run) measure() {
	r.Settings = agree(r.Frames)
	r.measureCadence()
	r.measureSteps()
}

// A seenRun is a run and what its pictures show.
type seenRun struct {
	run  *Run
	seen Seen
}

// parts joins the runs that go on, by their pictures or else by times and counts, where the
// one before stopped, and no longer asks about those that do not. The runs given stay as they
// are.
func parts(runs []*Run, seen []Seen) []seenRun {
	out := make([]seenRun, 0, len(runs))
	known := slices.ContainsFunc(seen, func(s Seen) bool { return s.Part != PartUnknown }) ||
		slices.ContainsFunc(runs, func(r *Run) bool { return r.Pause != PauseUnknown })
	place := map[*Run]int{}  // of the one in out that a run is, or is part of
	for i, r := range runs { // one that may continue another comes behind it
		at, follows := place[r.MayContinue]
		switch {
		case follows && (seen[i].Part == PartGoesOn || r.Pause == PauseInside && seen[i].Part == PartUnknown):
			out[at] = seenRun{Join(out[at].run, r), seen[i]}
			place[r] = at
			continue
		case known:
			own := *r
			if seen[i].Part == PartApart || r.Pause == PauseBetween {
				own.MayContinue, own.Pause = nil, PauseUnknown
			}
			place[r] = len(out)
			r = &own
		}
		out = append(out, seenRun{r, seen[i]})
	}
	if !known {
		return out
	}
	for _, o := range out { // they point to what was given
		for _, to := range []**Run{&o.run.MayContinue, &o.run.Between[0], &o.run.Between[1]} {
			if at, ok := place[*to]; ok {
				*to = out[at].run
			}
		}
	}
	return out
}
