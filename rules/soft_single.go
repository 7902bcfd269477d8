package rules

import (
	"fmt"
	"slices"

	"prestrike/audit"
	"prestrike/audit/pixels"
	"prestrike/audit/shoot"
	"prestrike/exifread"
)

var softSingle = &audit.Rule{
	ID:       "soft-single",
	Title:    "Soft single frames",
	Severity: audit.Note,
	Shows:    audit.ShowDetail,
	Doc: `Inspects the pictures: finds single frames that are softer than an earlier single frame, or an
earlier focus sequence, of the same view.

The frame was shaken, or focus missed the subject. Its sharpest parts are softer than the
same parts in the other frame, and nothing in it is sharper. Beside a sequence, each part is
compared with the frame in which it is sharpest.

Inspect the frame named at 100 %. If it is blurred, shoot it again.

The finding is a note. Two frames are compared where they were made within 10 minutes, with
the same camera, lens, focal length, picture size and f-number. The ISO may differ by one
stop. Where no f-number is recorded, the pictures must be as bright as the exposure time and
the ISO explain. Otherwise the lens may have been stopped down. The pictures must show the
same view: one that was turned or framed anew is another. Where a later frame of the view is
sharper, or a focus sequence of it follows, the first was a test, and nothing is reported. A
frame whose view no other frame shows is not judged, and is not listed.

Where the width of edges doubles, the rule finds about eight in ten shakes. Of frames of a
flat subject that missed focus, it finds nine in ten. In a deep subject the rule finds
missed focus only where no part with texture is in focus. A frame that is in focus where the
subject has no texture may be found too. Of a session, the last 100 runs of single frames
are inspected.`,
	Source: "Pertuz, Puig and Garcia, Pattern Recognition 46(5), 2013 (focus measures under noise); limits chosen on rendered pictures",
	Params: []audit.Param{{
		Name: "loss", Doc: "the smallest loss of sharpness, as a share of what the other frame or the sequence has",
		Default: 0.36, Min: 0.36, Max: 1,
	}},
	CheckSession: checkSoftSingle,
}

func checkSoftSingle(v *audit.Review) error {
	byBody := map[*shoot.Body][]*shoot.Run{}
	of := map[*shoot.Run]*shoot.Sequence{}
	for _, q := range v.Session.Sequences {
		of[q.Run] = q
		if !q.Start().IsZero() {
			byBody[q.Body] = append(byBody[q.Body], q.Run)
		}
	}
	place := map[*shoot.Run]int{}
	for _, list := range byBody {
		for i, r := range list {
			place[r] = i
		}
	}
	soft := map[*shoot.Frame]bool{}
	for _, q := range v.Session.Sequences {
		seen, ok := v.Pictured[q].(*pixels.Seen)
		if q.Kind != shoot.Single || q.Start().IsZero() || !ok {
			continue
		}
		list, at := byBody[q.Body], place[q.Run]
		before, behind := shots(v, of, shoot.Tries(list, at, -1)), shots(v, of, shoot.Tries(list, at, 1))
		for i, f := range q.Frames {
			single := shot{q, seen, i}
			x, by := single.softerThan(v, append(single.within(0, i), before...), soft)
			if soft[f] = x.Answer == pixels.Found; soft[f] && !single.retaken(append(single.within(i+1, len(q.Frames)), behind...)) {
				reportSoftSingle(v, f, x, by)
			}
		}
	}
	return nil
}

// A shot is a frame of a few, or all of a focus sequence where its place is -1, with what was
// found in the pictures of its sequence.
type shot struct {
	sequence *shoot.Sequence
	seen     *pixels.Seen
	place    int
}

// shots are those of runs.
func shots(v *audit.Review, of map[*shoot.Run]*shoot.Sequence, runs []*shoot.Run) (list []shot) {
	for _, r := range runs {
		q := of[r]
		seen, ok := v.Pictured[q].(*pixels.Seen)
		switch {
		case !ok || seen.Judgement.Frames != len(q.Frames):
		case q.Kind == shoot.Single:
			list = append(list, shot{q, seen, 0}.within(0, len(q.Frames))...)
		case stack(q):
			list = append(list, shot{q, seen, -1})
		}
	}
	return list
}

// within are the frames of the shot's sequence from one place up to another.
func (s shot) within(from, to int) (list []shot) {
	for i := from; i < to; i++ {
		list = append(list, shot{s.sequence, s.seen, i})
	}
	return list
}

// frame is the shot's, or the first of its sequence.
func (s shot) frame() *shoot.Frame { return s.sequence.Frames[max(0, s.place)] }

// softer compares the frame with another shot.
func (s shot) softer(o shot) pixels.Softness {
	if !shoot.Comparable(s.frame(), o.frame()) {
		return pixels.Softness{}
	}
	x := s.seen.Softer(s.place, o.seen, o.place)
	if x.Answer == pixels.Found && !shoot.SameAperture(o.frame(), s.frame(), x.EV) {
		return pixels.Softness{}
	}
	return x
}

// softerThan compares the frame with earlier ones up to the first that shows the same view
// and is not soft itself, and returns that where the frame is softer.
func (s shot) softerThan(v *audit.Review, others []shot, soft map[*shoot.Frame]bool) (x pixels.Softness, by shot) {
	for _, o := range others {
		if o.place >= 0 && soft[o.frame()] {
			continue
		}
		switch x = s.softer(o); {
		case x.Answer == pixels.Found && x.Loss >= v.Param("loss"):
			return x, o
		case x.Answer != pixels.CannotTell:
			return pixels.Softness{}, o
		}
	}
	return pixels.Softness{}, by
}

// retaken reports whether a later frame of the view is sharper, or it is a focus sequence.
func (s shot) retaken(later []shot) bool {
	return slices.ContainsFunc(later, func(o shot) bool {
		if o.place < 0 {
			return s.seen.ShownBy(s.place, o.seen)
		}
		return s.softer(o).Answer == pixels.Found
	})
}

func reportSoftSingle(v *audit.Review, f *shoot.Frame, x pixels.Softness, by shot) {
	what, action := "frame "+by.frame().Label(), "inspect both at 100 %; if the frame is blurred, shoot it again"
	if by.place < 0 {
		what, action = "sequence "+by.sequence.ID, "inspect it at 100 %; if it is blurred, shoot it again"
	}
	v.Found(audit.Finding{
		Message:  fmt.Sprintf("frame %s is softer than %s, which shows the same view", f.Label(), what),
		Action:   action,
		Frames:   []*shoot.Frame{f},
		Region:   audit.Region(x.Box),
		Measured: exifread.Of(x.Loss), Limit: exifread.Of(v.Param("loss")),
	})
}
