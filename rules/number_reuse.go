package rules

import (
	"fmt"
	"path"
	"strconv"
	"strings"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/rules/evidence"
)

var numberReuse = &audit.Rule{
	ID:       "number-reuse",
	Title:    "One file name for two frames",
	Severity: audit.Check,
	Doc: `Finds file names that one camera gave to two different frames of a session. Its counter was
set back, by formatting a card or in the menu.

Copied into one folder, the later frame overwrites the earlier one.

Keep the folders apart, or rename the files of one, before anything is copied
together. Set the camera to count on.

The finding is only a note where one camera numbers two folders separately, and where two
cameras in one folder tree use the same names. Numbers that start again after 9999 are not
reported. The finding is wrong where the files never come together.`,
	Source:       "CIPA DC-009 (DCF) file and directory names; common practice",
	CheckSession: checkNumberReuse,
}

func checkNumberReuse(v *audit.Review) error {
	for _, body := range v.Session.Bodies {
		frames := evidence.FramesOf(v.Session, body)
		first := map[string]*shoot.Frame{}
		var again []*shoot.Frame
		var other *shoot.Frame // the earlier frame of the first one
		severity := audit.Note
		for _, f := range frames {
			if !f.Timed() {
				continue
			}
			name := strings.ToUpper(stem(f.Name()))
			earlier := first[name]
			switch {
			case earlier == nil:
				first[name] = f
				continue
			case f.Time.Equal(earlier.Time) || rolledOver(earlier, f):
				continue
			}
			if !numberedApart(earlier.Path(), f.Path()) {
				severity = audit.Check
			}
			if other == nil {
				other = earlier
			}
			again = append(again, f)
		}
		if len(again) == 0 {
			continue
		}
		found := audit.Finding{
			Severity: severity,
			Message:  fmt.Sprintf("the name %s%s belongs to two different frames", shoot.ShortName(stem(other.Name())), ofBody(v.Session, body)),
			Action:   "keep the folders apart or rename the files of one: copied together, one frame overwrites the other",
			Frames:   again,
		}
		if n := len(again); n > 1 {
			found.Message = fmt.Sprintf("%d names%s belong to two different frames each, %s to %s", n, ofBody(v.Session, body), again[0].Label(), again[n-1].Label())
		}
		if severity == audit.Note {
			found.Action = "keep the folders apart when you copy them"
		}
		v.Found(found)
	}
	sharedNames(v)
	return nil
}

// sharedNames reports equal names from two bodies whose files lie in one folder tree: what
// later copies that tree into one folder overwrites one frame by the other.
func sharedNames(v *audit.Review) {
	if len(v.Session.Bodies) < 2 {
		return
	}
	first := map[string]*shoot.Frame{}
	var again []*shoot.Frame
	for _, body := range v.Session.Bodies {
		for _, f := range evidence.FramesOf(v.Session, body) {
			name := strings.ToUpper(f.Name())
			top, _, below := strings.Cut(f.Path(), "/")
			if below {
				name = top + "/" + name
			}
			switch other := first[name]; {
			case other == nil:
				first[name] = f
			case other.Body != body:
				again = append(again, f)
			}
		}
	}
	if len(again) == 0 {
		return
	}
	message := fmt.Sprintf("two cameras gave the name %s", shoot.ShortName(stem(again[0].Name())))
	if n := len(again); n > 1 {
		message = fmt.Sprintf("two cameras gave the same %d names, %s to %s", n, again[0].Label(), again[n-1].Label())
	}
	v.Found(audit.Finding{
		Severity: audit.Note, Message: message, Frames: again,
		Action: "keep their folders apart when you copy them, or set one camera to other names",
	})
}

func stem(name string) string { return strings.TrimSuffix(name, path.Ext(name)) }

// rolledOver reports whether the number came again because it ran through 9999.
func rolledOver(a, b *shoot.Frame) bool {
	return a.Number.Known && b.Number.Known && a.Number.Series == b.Number.Series && a.Number.Count != b.Number.Count
}

// numberedApart reports whether two files lie in DCF directories of different
// number beside each other: a camera may number each from 0001.
func numberedApart(a, b string) bool {
	x, y := path.Dir(a), path.Dir(b)
	return x != y && path.Dir(x) == path.Dir(y) && dcf(path.Base(x)) != 0 && dcf(path.Base(y)) != 0 &&
		dcf(path.Base(x)) != dcf(path.Base(y))
}

// dcf returns the number of a DCF directory name: 100 to 999 and five free
// characters; 0 where it is none.
func dcf(name string) int {
	const digits, length = 3, 8
	if len(name) != length {
		return 0
	}
	n, err := strconv.Atoi(name[:digits])
	if err != nil || n < 100 {
		return 0
	}
	return n
}
