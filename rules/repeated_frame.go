package rules

import (
	"fmt"
	"path"
	"slices"
	"strings"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/audit/words"
	"prestrike/rules/evidence"
)

var repeatedFrame = &audit.Rule{
	ID:       "repeated-frame",
	Title:    "Same frame twice",
	Severity: audit.Note,
	Doc: `Finds frames that are there twice. One camera made them at one time with one setting, and
they have one name in two folders, or two names. Where the clock shows whole seconds, names,
sizes or contents must agree as well.

The copy is left out: it is in no sequence, and nothing is counted twice. Of the two, the
one whose file is whole is inspected. Where both are whole, it is the one with more files or
a camera's name, then the first by name. Their sizes are compared, and not their bytes:
prestrike copies does that. Perhaps one card was copied twice, and another one not at all.
Where two numbers that follow each other hold one frame, it was copied over the other, which
is lost here: that is a check. A copy whose end is missing is a check, too.

Check whether every card was copied. If a frame was copied over, or a copy is damaged,
copy it from the card again.

The finding is wrong where a camera gives one name and one time to two exposures. It may
have no serial number, or its clock may have stopped.`,
	Source:       "CIPA DC-009 (DCF) file numbers; common practice",
	CheckSession: checkRepeatedFrame,
}

func checkRepeatedFrame(v *audit.Review) error {
	var twice, torn []twin
	for _, body := range v.Session.Bodies {
		frames := evidence.FramesOf(v.Session, body)
		for i, f := range frames {
			if i > 0 && evidence.CopiedOver(frames[i-1], f) {
				v.Found(audit.Finding{
					Severity: audit.Check,
					Message:  fmt.Sprintf("%s and %s hold the same frame: one was copied over the other", frames[i-1].Label(), f.Label()),
					Action:   "copy both from the card again; if the other frame is not there, shoot its sequence again",
					Frames:   []*shoot.Frame{frames[i-1], f},
				})
			}
			for _, c := range f.Copies {
				twice = append(twice, twin{f, c})
				if !tornFrame(f) && tornFrame(c) {
					torn = append(torn, twin{f, c})
				}
			}
		}
	}
	if len(torn) > 0 {
		c := torn[0].copied
		message := fmt.Sprintf("the copy %s of frame %s is damaged; the frame itself is whole", shoot.ShortName(c.Path()), torn[0].original.Label())
		if n := len(torn); n > 1 {
			message = fmt.Sprintf("the copies of %d frames are damaged, first %s; the frames themselves are whole", n, shoot.ShortName(c.Path()))
		}
		v.Found(audit.Finding{
			Severity: audit.Check, Message: message, Frames: copiesOf(torn),
			Action: "copy these frames again before you rely on the copy",
		})
	}
	if len(twice) > 0 {
		v.Found(audit.Finding{
			Message: repeated(v.Session, twice) + resized(twice), Frames: copiesOf(twice),
			Action: ofCopies(v.Session, twice),
			Shows:  audit.ShowNothing, // the copies look like the frames
		})
	}
	return nil
}

// A twin is a frame and a copy of it.
type twin struct{ original, copied *shoot.Frame }

func copiesOf(twins []twin) []*shoot.Frame {
	frames := make([]*shoot.Frame, len(twins))
	for i, t := range twins {
		frames[i] = t.copied
	}
	return frames
}

func tornFrame(f *shoot.Frame) bool {
	for _, file := range f.Files {
		if file.Torn() {
			return true
		}
	}
	return false
}

// repeated names which frames are there twice, and where.
func repeated(session *shoot.Session, twice []twin) string {
	type exposure struct {
		label string
		at    int64
	}
	originals := map[exposure]bool{} // where a frame has copies of two kinds, each has an original
	for _, t := range twice {
		originals[exposure{t.original.Label(), t.original.Time.UnixNano()}] = true
	}
	n := len(originals)
	a, b := twice[0].original, twice[0].copied
	if n == 1 && len(twice) > 1 {
		return fmt.Sprintf("frame %s is there %s: the first is %s", a.Label(), howOften(len(twice)+1), beside(a, b))
	}
	if n < len(twice) {
		frames := words.Count(n, "frame is", "frames are")
		return fmt.Sprintf("%s there more than once, with %d copies: the first is %s", frames, len(twice), beside(a, b))
	}
	if n == 1 {
		return fmt.Sprintf("frame %s is there twice: %s", a.Label(), beside(a, b))
	}
	if from, to, ok := wholeFolder(session, twice); ok {
		return fmt.Sprintf("%s and %s hold the same %s: they count once", shoot.ShortName(from), shoot.ShortName(to), words.Count(n, "frame", "frames"))
	}
	return fmt.Sprintf("%d frames are there twice, %s to %s: the first is %s", n, a.Label(), twice[n-1].original.Label(), beside(a, b))
}

// ofCopies reports which of the frames were inspected, and what was not done with the copies.
func ofCopies(session *shoot.Session, twice []twin) string {
	if sameFolders(twice) {
		return "the copies are left out, and nothing is counted twice"
	}
	inspected := "the first of each was inspected"
	if from, _, ok := wholeFolder(session, twice); ok {
		inspected = "those in " + shoot.ShortName(from) + " were inspected"
	}
	return inspected + ", and the bytes of the copies not compared: prestrike copies compares them. Check whether every card was copied"
}

// resized reports copies under the name of their frame that have another size: one of the
// two is not what the camera wrote. Empty where there are none.
func resized(twice []twin) string {
	var differ []*shoot.File
	for _, t := range twice {
		if i := slices.IndexFunc(t.copied.Files, func(c *shoot.File) bool { return otherSize(t.original, c) }); i >= 0 {
			differ = append(differ, t.copied.Files[i])
		}
	}
	switch len(differ) {
	case 0:
		return ""
	case 1:
		return fmt.Sprintf("; the copy %s has another size", shoot.ShortName(differ[0].Path))
	}
	return fmt.Sprintf("; %d copies have another size, first %s", len(differ), shoot.ShortName(differ[0].Path))
}

// otherSize reports whether the frame has a file of the name of a copy, of another size.
func otherSize(f *shoot.Frame, copied *shoot.File) bool {
	return slices.ContainsFunc(f.Files, func(own *shoot.File) bool {
		return strings.EqualFold(path.Base(own.Path), path.Base(copied.Path)) && own.Size > 0 && copied.Size > 0 && own.Size != copied.Size
	})
}

// howOften writes how often a frame is there.
func howOften(n int) string {
	if n == 3 {
		return "three times"
	}
	return fmt.Sprintf("%d times", n)
}

// sameFolders reports whether every copy lies in the folder of its original, where
// it was not made by copying a card.
func sameFolders(twice []twin) bool {
	for _, t := range twice {
		if path.Dir(t.original.Path()) != path.Dir(t.copied.Path()) {
			return false
		}
	}
	return true
}

// beside names a frame and its copy.
func beside(a, b *shoot.Frame) string {
	if path.Dir(a.Path()) == path.Dir(b.Path()) {
		return shoot.ShortName(a.Name()) + " and " + shoot.ShortName(b.Name())
	}
	return shoot.ShortName(a.Path()) + " and " + shoot.ShortName(b.Path())
}

// wholeFolder returns the two folders that hold the same frames, where every copy lies in
// the one as its original does in the other, and every frame of the other has one.
func wholeFolder(session *shoot.Session, twice []twin) (from, to string, ok bool) {
	for i, t := range twice {
		a, b := apartFrom(t.original.Path(), t.copied.Path())
		if i > 0 && (a != from || b != to) || a == b || a == "." || b == "." {
			return "", "", false
		}
		from, to = a, b
	}
	held := 0
	for _, q := range session.Sequences {
		for _, f := range q.Frames {
			if strings.HasPrefix(f.Path(), from+"/") {
				held++
			}
		}
	}
	return from, to, held == len(twice)
}

// apartFrom returns the folders in which two files lie in the same way: "card" and
// "backup" for card/DCIM/BX1_0001.JPG and backup/DCIM/BX1_0001.JPG.
func apartFrom(a, b string) (from, to string) {
	a, b = path.Dir(a), path.Dir(b)
	for a != "." && b != "." && path.Base(a) == path.Base(b) {
		a, b = path.Dir(a), path.Dir(b)
	}
	return a, b
}
