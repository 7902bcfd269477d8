package rules

import (
	"errors"
	"fmt"
	"io/fs"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/audit/words"
	"prestrike/exifread"
)

var unreadableFile = &audit.Rule{
	ID:       "unreadable-file",
	Title:    "Files cannot be read",
	Severity: audit.Reshoot,
	AtOnce:   true,
	Doc: `Finds files with the name of a picture from which no picture can be read: empty,
overwritten, or cut off before the picture begins.

Cards and readers fail without a warning, and the camera's screen can show a small picture
although the file is damaged.

Copy the file again from the card, with another reader if there is one. If it still
cannot be read, shoot again.

The finding is a check where only the JPEG beside a raw file is lost. It is also a check
where the file or its folder may not be opened. The finding is wrong where the file never
was a picture.`,
	Source: "common practice",
	Check:  checkUnreadableFile,
}

func checkUnreadableFile(v *audit.Review) error {
	var list trouble
	for _, f := range v.Sequence.Frames {
		for i, file := range f.Files {
			if file.Err == nil || file.Unfinished { // which torn-file reports
				continue
			}
			t := remark{frame: f, file: file, severity: audit.Reshoot, reason: file.Err.Error(), action: copyAgain(v.Sequence)}
			// The place in the file differs from file to file of one fault.
			if e, ok := errors.AsType[*exifread.FormatError](file.Err); ok {
				t.reason = e.Problem
			}
			if e, ok := errors.AsType[*fs.PathError](file.Err); ok {
				t.severity, t.reason, t.action = audit.Check, e.Err.Error(), "make the file readable and run the report again"
			} else if _, ok := errors.AsType[*exifread.PanicError](file.Err); ok {
				t.severity, t.action = audit.Check, "open the file with another program"
			} else if _, ok := errors.AsType[*exifread.UnsupportedError](file.Err); ok {
				t.severity, t.action = audit.Check, "open the file with another program"
			} else if i > 0 && f.HasRaw() && f.Files[0].Err == nil {
				t.severity, t.action = audit.Check, "copy it from the card again; the raw file of the frame can be read"
			}
			list.add(t)
		}
	}
	list.around = between(v)
	list.report(v, "cannot be read", "cannot be read")
	return nil
}

// between names the sequences on both sides of a file that belongs to neither, as far as
// is known.
func between(v *audit.Review) string {
	var ids []string
	for _, r := range v.Sequence.Between {
		for _, q := range v.Session.Sequences {
			if r != nil && q.Run == r {
				ids = append(ids, q.ID)
			}
		}
	}
	switch {
	case len(ids) == 2:
		return "; it lies between " + ids[0] + " and " + ids[1] + " and may belong to either"
	case len(ids) == 1 && v.Sequence.Between[0] != nil:
		return "; it lies behind " + ids[0] + " and may belong to it"
	case len(ids) == 1:
		return "; it lies before " + ids[0] + " and may belong to it"
	}
	return ""
}

// copyAgain returns what helps against a damaged file.
func copyAgain(q *shoot.Sequence) string {
	if q.Kind == shoot.Single {
		return "copy what is damaged from the card again; if that does not help, shoot again"
	}
	return "copy what is damaged from the card again; if that does not help, shoot the sequence again"
}

// A remark is what is wrong with one file.
type remark struct {
	frame          *shoot.Frame
	file           *shoot.File
	severity       audit.Severity
	reason, action string
}

// trouble gathers remarks with the same cause.
type trouble struct {
	groups []group
	title  string // of the findings; that of the rule where empty
	around string // where the files lie, for the end of each message
	index  map[cause]int
}

type cause struct {
	severity       audit.Severity
	reason, action string
}

type group struct {
	cause
	files  []string
	frames []*shoot.Frame
}

func (t *trouble) add(r remark) {
	key := cause{r.severity, r.reason, r.action}
	if t.index == nil {
		t.index = map[cause]int{}
	}
	i, ok := t.index[key]
	if !ok {
		i = len(t.groups)
		// A sequence with more than a few kinds of damage has one finding for the rest.
		if i == mostCauses {
			i--
			t.groups[i].reason = "damaged in different ways"
			t.groups[i].severity = max(t.groups[i].severity, r.severity)
		} else {
			t.groups = append(t.groups, group{cause: key})
		}
		t.index[key] = i
	}
	g := &t.groups[i]
	g.files = append(g.files, shoot.ShortName(r.file.Name()))
	if n := len(g.frames); n == 0 || g.frames[n-1] != r.frame {
		g.frames = append(g.frames, r.frame)
	}
}

// mostCauses bounds the findings of one sequence.
const mostCauses = 4

func (t *trouble) report(v *audit.Review, one, more string) {
	for _, g := range t.groups {
		what := more
		if len(g.files) == 1 {
			what = one
		}
		if g.reason != "" {
			what += ": " + shortReason(g.reason)
		}
		message := words.List(g.files, mostNamed) + " " + what
		if n := len(g.files); n > mostNamed {
			message = fmt.Sprintf("%d files %s (%s)", n, what, words.List(g.files, mostNamed))
		}
		v.Found(audit.Finding{Severity: g.severity, Title: t.title, Message: message + t.around, Action: g.action, Frames: g.frames})
	}
}

// shortReason cuts a reason that would not fit a sentence.
func shortReason(s string) string {
	const longest = 120
	if r := []rune(s); len(r) > longest {
		return string(r[:longest]) + "..."
	}
	return s
}
