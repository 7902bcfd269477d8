package rules

import (
	"fmt"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/audit/words"
	"prestrike/exifread"
	"prestrike/rules/evidence"
)

var shortSequence = &audit.Rule{
	ID:       "short-sequence",
	Title:    "Too few frames",
	Severity: audit.Check,
	Doc: `Finds sequences with fewer frames than planned, or fewer than others of the session have.
Those others have the same kind, camera and settings, and most of them have the same number
of frames. Frames that are missing inside a sequence count as present, because missing-frame
reports them. The finding is a note where few sequences agree, because numbers may agree by
chance. An automatic bracket with an even number of frames, four or more, or with one less
than others of the camera, lost a frame. A bracket made by hand has as many as were wanted.

A focus sequence that ends early does not reach the far side of the subject. A bracket lacks
an exposure. A time-lapse ends too soon. The battery was empty, the card was full, or
somebody stopped the sequence.

Check whether the last frame of a focus sequence is already behind the subject. If not,
shoot the sequence again. A good sequence of the same view soon after closes the finding.

A plan that nothing in the shoot meets is named: no sequence or time-lapse has the number of
frames, or there are fewer views. Sequences that were shot again count as views, too.

The finding is wrong where fewer frames were meant. With a planned number of frames the
finding asks to shoot again, and more frames than planned are a note. Focus sequences and
time-lapses have a planned number each.`,
	Source:       "common practice",
	Params:       []audit.Param{shortSiblings, shortShare},
	Check:        checkShortSequence,
	CheckSession: checkPlans,
}

// What it takes for sequences to have settled on a number of frames.
var (
	shortSiblings = audit.Param{
		Name: "siblings", Unit: "sequences",
		Doc:     "this many sequences must have the same number of frames",
		Default: 3, Min: 1, Max: 100,
	}
	shortShare = audit.Param{
		Name:    "share",
		Doc:     "share of the similar sequences that must have the same number of frames",
		Default: 0.75, Min: 0.5, Max: 1,
	}
)

func checkShortSequence(v *audit.Review) error {
	q := v.Sequence
	if !q.Kind.Steady() && q.Kind != shoot.Bracket {
		return nil
	}
	have := evidence.Spanned(q)
	if planned := v.Options.Planned(q.Kind); planned > 0 {
		found := audit.Finding{
			Frames:   q.Frames,
			Measured: exifread.Of(float64(have)), Limit: exifread.Of(float64(planned)), Unit: "frames",
		}
		switch {
		case have < planned:
			found.Severity = audit.Reshoot
			found.Message = fmt.Sprintf("%s of %d planned", words.Count(have, "frame", "frames"), planned)
			found.Action = "shoot the sequence again to its end"
		case have > planned:
			found.Severity, found.Title = audit.Note, "More frames than planned"
			found.Message = fmt.Sprintf("%s, where %d were planned", words.Count(have, "frame", "frames"), planned)
			found.Action = "nothing to do if more were meant"
		default:
			return nil
		}
		v.Found(found)
		return nil
	}
	if q.Kind == shoot.Bracket {
		if found, short := shortBracket(v, have); short {
			v.Found(found)
			return nil
		}
	}
	if q.Kind == shoot.Bracket && have%2 == 1 && !evidence.BracketLacks(q.Frames, 1) && !evidence.BracketLacks(q.Frames, 2) {
		return nil // a whole bracket of another size
	}
	if listed(v.Options, func(w *audit.View) bool { return w.Frames > 0 }) {
		return nil // compared with the shot list
	}
	usual, alike, all := evidence.SiblingFrames(v.Session.Sequences, q)
	if float64(alike) < v.Param("siblings") || float64(alike) < v.Param("share")*float64(all) || have >= usual {
		return nil
	}
	severity := audit.Severity(0)
	if byChance(alike, all, v.Param("siblings")) {
		severity = audit.Note
	}
	v.Found(audit.Finding{
		Severity: severity,
		Message:  fmt.Sprintf("%s, where %d other sequences like it have %d", words.Count(have, "frame", "frames"), alike, usual),
		Action:   shortAction(q.Kind),
		Frames:   q.Frames,
		Measured: exifread.Of(float64(have)), Limit: exifread.Of(float64(usual)), Unit: "frames",
	})
	return nil
}

// byChance reports whether a number of sequences alike is too small beside all like it.
//
// Numbers never meant to be equal agree by chance. Of numbers drawn from 40 (such
// as 12 to 51 frames), three of three agree once in 40² = 1,600 times, and the one under
// review is lower in half of the cases: among four sequences, any of which may be the
// short one, 4/3,200 = 0.13 %. Three of four agree four times as often: among five
// sequences 5·4/3,200 = 0.6 %, too often for a check. Four of five agree 5/64,000
// times: among six sequences 0.02 %.
func byChance(alike, all int, siblings float64) bool {
	return alike < all && float64(alike) < siblings+1
}

// shortAction returns what to inspect where a sequence of a kind is short.
func shortAction(k shoot.Kind) string {
	switch k {
	case shoot.Focus:
		return "check whether the last frame is behind the subject; if not, shoot the sequence again"
	case shoot.Bracket:
		return "check which exposure is missing; if you need it, shoot the bracket again"
	case shoot.TimeLapse:
		return "check whether all that matters had happened by then; if not, shoot the sequence again"
	}
	return "check whether it shows all that it should; if not, shoot the sequence again"
}
