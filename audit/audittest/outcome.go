package audittest

import (
	"fmt"
	"slices"
	"strings"

	"prestrike/audit"
	"prestrike/audit/shoot"
)

// An Outcome counts how an audit agrees with the truth of a shoot.
type Outcome struct {
	Sequences, Exact int // true sequences, and those found frame by frame
	Kinds            int // those found frame by frame and of the right kind
	Supports, Held   int // those whose support is known, and those found with the right one
	Must, Found      int // findings that must be there, and those that are
	Alarms           int // findings above a note on a clean shoot
	// Misses describes in words what is not as it should be.
	Misses []string
}

// Add adds the counts of another outcome.
func (o *Outcome) Add(other Outcome) {
	o.Sequences += other.Sequences
	o.Exact += other.Exact
	o.Kinds += other.Kinds
	o.Supports += other.Supports
	o.Held += other.Held
	o.Must += other.Must
	o.Found += other.Found
}

// Judge compares an audit of the shoot with its truth. A copy counts as its
// original, whichever of them is kept. A picture that the camera merged may
// be grouped with the frames that it was made from, but not alone.
func (s *Shoot) Judge(result *audit.Result) Outcome {
	var o Outcome
	miss := func(format string, args ...any) { o.Misses = append(o.Misses, fmt.Sprintf(format, args...)) }
	have := map[string]*audit.Reviewed{}
	for _, session := range result.Sessions {
		for _, f := range session.Findings {
			o.alarm(s, f, nil)
		}
		for _, q := range session.Sequences {
			for _, f := range q.Findings {
				o.alarm(s, f, q)
			}
			own := s.own(q.Frames)
			if len(own) == 0 {
				o.Sequences++
				miss("a sequence of merged pictures alone, from %s", q.Frames[0].Path())
			}
			have[strings.Join(own, "\n")] = q
		}
	}
	for _, t := range s.Sequences {
		o.Sequences++
		if t.Support != shoot.SupportAuto {
			o.Supports++
		}
		q := have[strings.Join(t.Frames, "\n")]
		if q == nil {
			miss("missed %s (%d frames from %s)", t.What, len(t.Frames), t.Frames[0])
			continue
		}
		o.Exact++
		if rightKind(t.Kind, q.Kind) {
			o.Kinds++
		} else {
			miss("%v taken for %v: %s", t.Kind, q.Kind, t.What)
		}
		if t.Support == q.Support {
			o.Held++
		} else if t.Support != shoot.SupportAuto {
			miss("%v taken for %v: %s", t.Support, q.Support, t.What)
		}
	}
	for _, must := range s.Must {
		o.Must++
		if s.finds(result, must) {
			o.Found++
		} else {
			miss("%s not found: %s", must.Rule, must.What)
		}
	}
	return o
}

// rightKind reports whether the kind found is right: what cannot be
// distinguished may be a series.
func rightKind(want, have shoot.Kind) bool {
	return have == want || have == shoot.Series && (want == shoot.Focus || want == shoot.TimeLapse)
}

// own returns the paths of the frames by their originals, without pictures
// that the camera merged.
func (s *Shoot) own(frames []*shoot.Frame) []string {
	var out []string
	for _, f := range frames {
		p := f.Path()
		if original, ok := s.Copies[p]; ok {
			p = original
		}
		if !s.Merged[p] {
			out = append(out, p)
		}
	}
	return out
}

// alarm counts a finding above a note on a clean shoot that no retake settles.
func (o *Outcome) alarm(s *Shoot, f *audit.Finding, q *audit.Reviewed) {
	if !s.Clean || f.Severity <= audit.Note || q != nil && q.SupersededBy != nil {
		return
	}
	o.Alarms++
	o.Misses = append(o.Misses, fmt.Sprintf("%s %v: %s", f.Rule, f.Severity, f.Message))
}

// finds reports whether a finding above a note of the rule names a frame of the
// sequence that no retake settles.
func (s *Shoot) finds(result *audit.Result, must Fault) bool {
	for _, session := range result.Sessions {
		for _, q := range session.Sequences {
			for _, f := range q.Findings {
				if f.Rule == must.Rule && f.Severity > audit.Note && q.SupersededBy == nil &&
					slices.ContainsFunc(s.own(f.Frames), func(p string) bool { return slices.Contains(must.Sequence, p) }) {
					return true
				}
			}
		}
	}
	return false
}
