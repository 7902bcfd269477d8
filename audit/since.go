package audit

import (
	"context"
	"slices"
	"time"

	"prestrike/audit/shoot"
)

// A since is the time from which on an audit judges, and how many frames were made in
// sequences that began before.
type since struct {
	at      time.Time // zero where everything is judged
	earlier int
}

// newSince asks for the time from which on to judge, which may depend on that of the last
// frame.
func newSince(runs []*shoot.Run, opt *Options) *since {
	if opt.Since == nil {
		return &since{}
	}
	var last time.Time
	for _, r := range runs {
		if end := r.End(); end.After(last) {
			last = end
		}
	}
	if last.IsZero() {
		return &since{} // nothing is known to be earlier
	}
	return &since{at: opt.Since(last)}
}

// before reports whether something that began or ended at a time is not judged. What has
// no time is judged: it may be new.
func (s *since) before(t time.Time) bool { return !t.IsZero() && t.Before(s.at) }

// measure has the pictures measured of those runs that may belong to a sequence that is
// judged.
func (s *since) measure(ctx context.Context, runs []*shoot.Run, opt *Options) ([]shoot.Seen, error) {
	var some []*shoot.Run
	var places []int
	for i, r := range runs {
		if !s.before(r.End()) {
			some, places = append(some, r), append(places, i)
		}
	}
	measured, err := measure(ctx, some, opt)
	if len(some) == len(runs) || measured == nil {
		return measured, err
	}
	seen := make([]shoot.Seen, len(runs))
	for i, place := range places {
		seen[place] = measured[i]
	}
	return seen, err
}

// leaveOut takes the sequences that began before out of their sessions, and counts their
// frames. What remains keeps its ID, so that it has the same name in every report.
func (s *since) leaveOut(sessions []*shoot.Session) []*shoot.Session {
	if s.at.IsZero() {
		return sessions
	}
	for _, session := range sessions {
		session.Sequences = slices.DeleteFunc(session.Sequences, func(q *shoot.Sequence) bool {
			if !s.before(q.Start()) {
				return false
			}
			s.earlier += len(q.Frames)
			return true
		})
		session.Bodies = slices.DeleteFunc(session.Bodies, func(b *shoot.Body) bool {
			return !slices.ContainsFunc(session.Sequences, func(q *shoot.Sequence) bool { return q.Body == b })
		})
	}
	return slices.DeleteFunc(sessions, func(session *shoot.Session) bool { return len(session.Sequences) == 0 })
}
