package audit

import (
	"prestrike/audit/shoot"
	"prestrike/exifread"
)

// A Reviewed is a sequence with what the rules found in it.
type Reviewed struct {
	*shoot.Sequence
	// Pictures is what was found in its pictures, for rules that know it, and may
	// be a Viewer; nil where they were not inspected.
	Pictures any
	Verdict  Verdict
	// View is the name of the view of the shot list that it shows; empty where it shows
	// none, or there is no list.
	View string
	// SupersededBy is the retake that makes this sequence's faults
	// harmless, or nil.
	SupersededBy *Reviewed
	// RetakeDeclared reports that the user declared it so.
	RetakeDeclared bool
	// PerhapsRetaken is the sequence that would be its retake if it shows the
	// same view, which the pictures do not show; nil where there is none.
	PerhapsRetaken *Reviewed
	// PatchedBy are short sequences that close holes of this one, and Patches is the one
	// of which this closes a hole: together they are one.
	PatchedBy []*Reviewed
	Patches   *Reviewed
	// Misfit is the last sequence that was made to close a hole of this one and does
	// not, or nil.
	Misfit *Misfit
	// Compared are the later sequences whose pictures were compared with its own.
	Compared  []Comparison
	Findings  []*Finding
	NotJudged []NotJudged
	// Magnified is between what its magnification lies, where a rule found that.
	Magnified exifread.Value[Magnification]
	// WorkingFNumbers are the f-numbers that the sensor sees, of the frames of which they
	// are known; nil where [Options.WorkingFNumbers] was not set.
	WorkingFNumbers map[*shoot.Frame]float64
	// Expected is with how many frames it is complete; zero where [Options.Expected] was
	// not set.
	Expected Expectation
}

// A Magnification is between what the size on the sensor over the size of the subject lies
// in a sequence.
type Magnification struct {
	Least, Most float64
	Declared    bool // for the whole shoot, and not recorded
}

// A Comparison tells whether another sequence shows the same view.
type Comparison struct {
	With        *Reviewed
	Same, Known bool    // Same means nothing where it is not Known
	Apart       float64 // share of the picture that lies elsewhere, 0 to 1
}

// A Session is a session that was shot, with what the rules found in it.
type Session struct {
	all []*shoot.Session // of the audit
	*shoot.Session
	// Sequences are those of the shot session, in its order.
	Sequences []*Reviewed
	Verdict   Verdict
	// Findings are those that belong to no single sequence.
	Findings  []*Finding
	NotJudged []NotJudged

	seen map[*shoot.Sequence]any // what pictured returns
}

// pictured returns what was found in the pictures of each sequence.
func (s *Session) pictured() map[*shoot.Sequence]any {
	if s.seen == nil {
		s.seen = map[*shoot.Sequence]any{}
		for _, q := range s.Sequences {
			if q.Pictures != nil {
				s.seen[q.Sequence] = q.Pictures
			}
		}
	}
	return s.seen
}

// copies returns how many files hold a frame of the session again.
func (s *Session) copies() int {
	n := 0
	for _, q := range s.Sequences {
		for _, frames := range [][]*shoot.Frame{q.Frames, q.Merged} {
			for _, f := range frames {
				for _, c := range f.Copies {
					n += len(c.Files)
				}
			}
		}
	}
	return n
}

// newSessions returns the sessions of a shoot as no rule has reviewed them yet, behind
// those that were judged before.
func newSessions(before []*Session, shots []*shoot.Session) []*Session {
	all := shots
	if n := len(before); n > 0 {
		shoot.Renumber(shots, n)
		all = nil
		for _, s := range before {
			all = append(all, s.Session)
		}
		all = append(all, shots...)
	}
	var out []*Session
	for _, shot := range shots {
		s := &Session{Session: shot, all: all, Sequences: make([]*Reviewed, len(shot.Sequences))}
		for i, q := range shot.Sequences {
			s.Sequences[i] = &Reviewed{Sequence: q, Pictures: q.Evidence}
		}
		out = append(out, s)
	}
	return out
}

// A Viewer knows what the pictures of a sequence show.
type Viewer interface {
	// SameView reports whether the Pictures of another sequence show the same
	// view, whether that is known, and which share of the one picture lies elsewhere in the other.
	SameView(pictures any) (same, known bool, apart float64)
}
