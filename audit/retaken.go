package audit

import (
	"fmt"
	"slices"

	"prestrike/audit/shoot"
)

// A Retaken declares that a sequence was shot again, where its frames do not show it.
type Retaken struct {
	// Sequence is the name of a file of any frame of the sequence that no longer counts,
	// By of any frame of the later one that repeats it; each with as much of its path as
	// distinguishes it from others of that name.
	Sequence, By string
}

// An UnusedRetaken is a declaration of a retake that does not hold, and why.
type UnusedRetaken struct {
	Retaken
	Why string
}

// declaredRetakes notes the retakes that the user declared, and returns the declarations
// that do not hold. What they name stays open then.
func declaredRetakes(sessions []*Session, list []Retaken) []UnusedRetaken {
	if len(list) == 0 {
		return nil
	}
	place := map[*Reviewed]int{}
	for _, s := range sessions {
		for _, q := range s.Sequences {
			place[q] = len(place)
		}
	}
	var unused []UnusedRetaken
	for _, r := range list {
		faulty, why := sequenceNamed(sessions, r.Sequence)
		later, whyLater := sequenceNamed(sessions, r.By)
		if why == "" {
			why = whyLater
		}
		if why == "" {
			why = CannotRetake(faulty, later, place[later] > place[faulty])
		}
		if why != "" {
			unused = append(unused, UnusedRetaken{r, why})
			continue
		}
		faulty.SupersededBy, faulty.RetakeDeclared = later, true
	}
	return unused
}

// CannotRetake returns why a sequence cannot be declared the retake of another; empty
// where it can. After is whether it was shot after the other.
func CannotRetake(faulty, later *Reviewed, after bool) string {
	switch {
	case faulty == later:
		return fmt.Sprintf("both frames are in %s: name one of the later sequence", faulty.ID)
	case !after:
		return fmt.Sprintf("%s was shot before %s: exchange the two", later.ID, faulty.ID)
	case faulty.RetakeDeclared:
		return fmt.Sprintf("%s is declared as retaken by %s already: remove one of the two", faulty.ID, faulty.SupersededBy.ID)
	case faulty.Patches != nil:
		return fmt.Sprintf("%s closes a hole of %s: name a frame of that one", faulty.ID, faulty.Patches.ID)
	case later.Patches != nil:
		return fmt.Sprintf("%s is only a part of %s: name a frame of a whole sequence", later.ID, later.Patches.ID)
	}
	return ""
}

// sequenceNamed returns the sequence of the one frame that has a name, or why there is
// none.
func sequenceNamed(sessions []*Session, name string) (found *Reviewed, why string) {
	if why := notOneFrame(namedFrames(sessions, name)); why != "" {
		return nil, name + ": " + why
	}
	for _, s := range sessions {
		for _, q := range s.Sequences {
			if slices.ContainsFunc(q.Frames, func(f *shoot.Frame) bool { return f.Named(name) }) {
				found = q
			}
		}
	}
	return found, ""
}
