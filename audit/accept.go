package audit

import (
	"fmt"
	"path"
	"slices"
	"strings"

	"prestrike/audit/shoot"
)

// An UnusedAcceptance is a declaration that accepted nothing, and why.
type UnusedAcceptance struct {
	Acceptance
	Why string
}

// accept marks the findings that the user declared as meant, and returns the
// declarations that name a frame and accept nothing. One without a frame holds
// wherever its rule finds something, which may be nowhere.
func accept(sessions []*Session, list []Acceptance) []UnusedAcceptance {
	var unused []UnusedAcceptance
	for _, a := range list {
		named := namedFrames(sessions, a.Frame)
		why := ""
		if a.Frame != "" {
			why = notOneFrame(named)
		}
		if why == "" && !a.mark(sessions) && a.Frame != "" {
			why = fmt.Sprintf("%s found nothing there", a.Rule)
		}
		if why != "" {
			unused = append(unused, UnusedAcceptance{a, why})
		}
	}
	return unused
}

// notOneFrame returns why a name does not mean one frame, given the frames that it means;
// empty where it does.
func notOneFrame(named []string) string {
	switch len(named) {
	case 0:
		return "no frame has this name"
	case 1:
		return ""
	}
	return fmt.Sprintf("%d frames have this name, as %s and %s: write more of the path", len(named), named[0], named[1])
}

// namedFrames returns the paths, without their endings, of the frames that a name
// means.
func namedFrames(sessions []*Session, name string) []string {
	var stems []string
	if name == "" {
		return nil
	}
	for _, s := range sessions {
		for _, q := range s.Sequences {
			for _, f := range q.Frames {
				if f.Named(name) {
					stems = append(stems, strings.TrimSuffix(f.Path(), path.Ext(f.Path())))
				}
			}
		}
	}
	return stems
}

// mark accepts the findings of the rule in the sequence that holds the frame, and those
// of the whole session that name it. It reports whether there are any.
func (a Acceptance) mark(sessions []*Session) bool {
	any := false
	take := func(list []*Finding, frames func(*Finding) []*shoot.Frame) {
		for _, f := range list {
			here := a.Frame == "" || slices.ContainsFunc(frames(f), func(frame *shoot.Frame) bool { return frame.Named(a.Frame) })
			if f.Rule != a.Rule || !here {
				continue
			}
			any = true
			// A session that was judged before may be read elsewhere, and stays as it is.
			if !f.Accepted || f.Reason != a.Reason {
				f.Accepted, f.Reason = true, a.Reason
			}
		}
	}
	for _, s := range sessions {
		for _, q := range s.Sequences {
			take(q.Findings, func(*Finding) []*shoot.Frame { return q.Frames })
		}
		take(s.Findings, func(f *Finding) []*shoot.Frame { return f.Frames })
	}
	return any
}
