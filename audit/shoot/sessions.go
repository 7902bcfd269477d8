package shoot

import (
	"cmp"
	"fmt"
	"slices"
	"time"
)

// A Sequence is a run, what it was made for, and what held the camera.
type Sequence struct {
	*Run
	ID      string // "1.2": session and place in it
	Kind    Kind
	Support Support // Tripod or Handheld
	// SupportBy is what showed the support, in a few words.
	SupportBy string
	// Evidence is what was found in the pictures of all its frames; nil where they
	// were not inspected.
	Evidence any
}

// A Session is the sequences of one shoot: all bodies, split where nothing was
// shot for longer than the session gap.
type Session struct {
	ID        string // "1", "2", ... by time
	Bodies    []*Body
	Sequences []*Sequence // by start, then body and number
}

// Frames returns the number of frames in the session.
func (s *Session) Frames() int {
	n := 0
	for _, q := range s.Sequences {
		n += len(q.Frames)
	}
	return n
}

// Start returns when the session's first timed frame was made.
func (s *Session) Start() time.Time {
	var first time.Time
	for _, q := range s.Sequences {
		if t := q.Start(); !t.IsZero() && (first.IsZero() || t.Before(first)) {
			first = t
		}
	}
	return first
}

// End returns when the session's last timed frame was made.
func (s *Session) End() time.Time {
	var last time.Time
	for _, q := range s.Sequences {
		if t := q.End(); t.After(last) {
			last = t
		}
	}
	return last
}

// Group finds the sessions in files whose pictures nobody inspects.
func Group(files []*File, opt *Options) []*Session { return Sessions(Runs(files, 0), nil, opt) }

// Sessions decides once which runs are parts of one, what each was made for and what
// held the camera, and gathers them into sessions, split where no body shot anything for longer
// than the session gap. Seen is what was found in the pictures of each run, in the same order,
// or nil where none were inspected.
func Sessions(runs []*Run, seen []Seen, opt *Options) []*Session {
	if seen == nil {
		seen = make([]Seen, len(runs))
	}
	var sequences []*Sequence
	for _, p := range parts(runs, seen) {
		r := p.run
		if opt.Support != SupportAuto {
			p.seen.Camera = CameraUnknown // who declares it knows better
		}
		kind := r.kind(&p.seen)
		if opt.Support == Handheld && kind == Series && r.quick() {
			kind = Burst
		}
		q := &Sequence{Run: r, Kind: kind, Evidence: p.seen.Evidence}
		q.Support, q.SupportBy = r.support(kind, p.seen.Camera, opt.Support)
		sequences = append(sequences, q)
	}
	return sessions(sequences, opt)
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
		if len(untimed) == 0 {
			break // nobody asks
		}
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
	Renumber(out, 0)
	for _, session := range out {
		for _, s := range session.Sequences {
			if !slices.Contains(session.Bodies, s.Body) {
				session.Bodies = append(session.Bodies, s.Body)
			}
		}
	}
	return out
}

// Renumber gives sessions and their sequences the IDs that they have behind a number of
// other sessions.
func Renumber(sessions []*Session, before int) {
	for i, session := range sessions {
		session.ID = fmt.Sprint(before + i + 1)
		for j, s := range session.Sequences {
			s.ID = fmt.Sprintf("%d.%d", before+i+1, j+1)
		}
	}
}

func bySequence(a, b *Sequence) int {
	return cmp.Or(a.Start().Compare(b.Start()), cmp.Compare(a.Body.Make, b.Body.Make), cmp.Compare(a.Body.Model, b.Body.Model),
		cmp.Compare(a.Body.Serial, b.Body.Serial), cmp.Compare(a.Body.Index, b.Body.Index), cmp.Compare(a.Frames[0].Path(), b.Frames[0].Path()))
}
