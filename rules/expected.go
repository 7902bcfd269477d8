package rules

import (
	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/rules/evidence"
)

// ExpectedFrames answers with how many frames the review's sequence is complete, for an
// audit of a folder that fills: the planned number, the one that the shot list names, or
// the one on which the sequences like it have settled, by the same measure as
// short-sequence asks to inspect a shorter one.
func ExpectedFrames(v *audit.Review) audit.Expectation {
	q := v.Sequence
	if !q.Kind.Steady() && q.Kind != shoot.Bracket {
		return audit.Expectation{}
	}
	if planned := v.Options.Planned(q.Kind); planned > 0 {
		return audit.Expectation{Frames: planned, Why: "as planned"}
	}
	if listed(v.Options, func(w *audit.View) bool { return w.Frames > 0 }) {
		return audit.Expectation{Frames: listedFrames(v.Options.Views, q.Kind), Why: "as listed"}
	}
	if v.Options.Off[shortSequence.ID] {
		return audit.Expectation{}
	}
	usual, alike, all := evidence.SiblingFrames(v.Session.Sequences, q)
	siblings, share := v.ParamOf(shortSequence.ID, shortSiblings), v.ParamOf(shortSequence.ID, shortShare)
	if float64(alike) < siblings || float64(alike) < share*float64(all) || byChance(alike, all, siblings) {
		return audit.Expectation{}
	}
	return audit.Expectation{Frames: usual, Why: "as the others like it"}
}

// listedFrames returns the number of frames of the views that a sequence of a kind may
// show; 0 where they differ, as the view is known for certain only when it is complete.
func listedFrames(views []audit.View, k shoot.Kind) int {
	frames := 0
	for i := range views {
		w := &views[i]
		if w.HasKind && w.Kind != k && !(w.Kind.Steady() && k.Steady()) {
			continue
		}
		if w.Frames == 0 || frames != 0 && w.Frames != frames {
			return 0
		}
		frames = w.Frames
	}
	return frames
}

// FramesMade returns how many frames a sequence was made with, by the measure that
// view-differs holds against the shot list: with those that are missing inside.
func FramesMade(q *shoot.Sequence) int { return evidence.Spanned(q) }
