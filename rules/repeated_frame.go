package rules

import (
	"fmt"
	"path"
	"time"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/exifread"
	"prestrike/rules/evidence"
)

var repeatedFrame = &audit.Rule{
	ID:       "repeated-frame",
	Title:    "the same frame twice",
	Severity: audit.Note,
	Doc: `Finds frames that are there twice: made by one camera at one time, with the same
number, or with files of the same size at a time known to a hundredth of a second.

One card was copied twice, perhaps in place of another one. Copies also make
sequences look longer than they are. Where two numbers that follow each other hold one
frame, it was copied over the other, which is lost here: that is a check.

Leave one copy out of what you audit and merge, and look whether every card was
copied. Copy a frame that was copied over from the card again.

It is wrong where two exposures of one number were made within one reading of a
whole-second clock.`,
	Source: "CIPA DC-009 (DCF) file numbers; common practice",
	Params: []audit.Param{{
		Name: "clock", Unit: "s",
		Doc:     "where file names differ, the clock must be read at least this finely",
		Default: 0.01, Min: 0, Max: 1,
	}},
	CheckSession: checkRepeatedFrame,
}

func checkRepeatedFrame(v *audit.Review) error {
	var first, second []*shoot.Frame
	for _, body := range v.Session.Bodies {
		for _, p := range repeats(evidence.FramesOf(v.Session, body), v.Param("clock")) {
			if evidence.CopiedOver(p[0], p[1]) {
				v.Found(audit.Finding{
					Severity: audit.Check,
					Message:  fmt.Sprintf("%s and %s hold one and the same frame: one was copied over the other", p[0].Label(), p[1].Label()),
					Action:   "copy both from the card again; if the other frame is not there, shoot its sequence again",
					Frames:   []*shoot.Frame{p[0], p[1]},
				})
				continue
			}
			first, second = append(first, p[0]), append(second, p[1])
		}
	}
	n := len(second)
	if n == 0 {
		return nil
	}
	a, b := first[0], second[0]
	where := shoot.ShortName(a.Name()) + " and " + shoot.ShortName(b.Name())
	if x, y := path.Dir(a.Path()), path.Dir(b.Path()); x != y {
		where = shoot.ShortName(x) + " and " + shoot.ShortName(y)
	}
	message := fmt.Sprintf("frame %s is there twice: in %s", b.Label(), where)
	if n > 1 {
		message = fmt.Sprintf("%d frames are there twice, %s to %s: the first in %s", n, b.Label(), second[n-1].Label(), where)
	}
	v.Found(audit.Finding{
		Message: message,
		Action:  "leave one copy out; look whether every card was copied",
		Frames:  second,
	})
	return nil
}

// repeats returns the frames of one body that repeat an earlier one, with that one.
func repeats(frames []*shoot.Frame, finest float64) [][2]*shoot.Frame {
	type byNumber struct {
		number int
		at     time.Time
		raw    bool
	}
	type bySize struct {
		size   int64
		at     time.Time
		format exifread.Format
	}
	numbers := map[byNumber]*shoot.Frame{}
	sizes := map[bySize]*shoot.Frame{}
	var out [][2]*shoot.Frame
	for _, f := range frames {
		if !f.Timed() {
			continue
		}
		var twin *shoot.Frame
		n := byNumber{f.Number.N, f.Time, f.HasRaw()}
		if f.Number.Known {
			twin = numbers[n]
		}
		s := bySize{f.Files[0].Size, f.Time, f.Meta().Format}
		fine := f.Resolution.Seconds() <= finest
		if twin == nil && fine {
			twin = sizes[s]
		}
		if twin != nil {
			if f.Number.Known && !twin.Number.Known {
				twin, f = f, twin // the one with the camera's name is the original
			}
			out = append(out, [2]*shoot.Frame{twin, f})
			continue
		}
		if f.Number.Known {
			numbers[n] = f
		}
		if fine {
			sizes[s] = f
		}
	}
	return out
}
