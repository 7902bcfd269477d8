package audit

import "prestrike/audit/shoot"

// A Reviewed is a sequence with what the rules found in it.
type Reviewed struct {
	*shoot.Sequence
	Verdict Verdict
	// SupersededBy is the retake that makes this sequence's faults
	// harmless, or nil.
	SupersededBy *Reviewed
	Findings     []*Finding
	NotJudged    []NotJudged
}

// A Session is a session that was shot, with what the rules found in it.
type Session struct {
	*shoot.Session
	// Sequences are those of the shot session, in its order.
	Sequences []*Reviewed
	Verdict   Verdict
	// Findings are those that belong to no single sequence.
	Findings  []*Finding
	NotJudged []NotJudged
}

func newSession(shot *shoot.Session) *Session {
	s := &Session{Session: shot, Sequences: make([]*Reviewed, len(shot.Sequences))}
	for i, q := range shot.Sequences {
		s.Sequences[i] = &Reviewed{Sequence: q}
	}
	return s
}

// A Viewer knows what the pictures of a sequence show.
type Viewer interface {
	// OtherView reports whether the Pictures of another sequence are sure to
	// show something else.
	OtherView(pictures any) bool
}
