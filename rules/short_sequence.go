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
	Title:    "a sequence has fewer frames than it should",
	Severity: audit.Check,
	Doc: `Finds sequences that hold fewer frames than were planned, or than the other
sequences of the same kind, camera and settings in the session, where most of those
have one and the same number of frames. Frames missing inside count as there: they
are told by missing-frame.

A sequence that ends early does not reach the far side of the subject: the battery
or the card was at its end, or somebody stopped it.

Look whether the last frame is already behind the subject. If not, shoot this
sequence again. A good sequence that repeats it soon after settles it.

It is wrong where fewer frames were meant. With a planned number of frames
it asks to shoot again.`,
	Source: "common practice",
	Params: []audit.Param{
		{
			Name: "siblings", Unit: "sequences",
			Doc:     "so many sequences must have the same number of frames",
			Default: 3, Min: 1, Max: 100,
		},
		{
			Name:    "share",
			Doc:     "share of the sequences alike that must have the same number of frames",
			Default: 0.75, Min: 0.5, Max: 1,
		},
	},
	Check: checkShortSequence,
}

func checkShortSequence(v *audit.Review) error {
	q := v.Sequence
	if !q.Kind.Steady() && q.Kind != shoot.Bracket {
		return nil
	}
	have := evidence.Spanned(q)
	if planned := v.Options.PlannedFrames; planned > 0 && q.Kind.Steady() {
		if have < planned {
			v.Found(audit.Finding{
				Severity: audit.Reshoot,
				Message:  fmt.Sprintf("%s of %d planned", words.Count(have, "frame", "frames"), planned),
				Action:   "shoot this sequence again to its end",
				Frames:   q.Frames,
				Measured: exifread.Of(float64(have)), Limit: exifread.Of(float64(planned)), Unit: "frames",
			})
		}
		return nil
	}
	if q.Kind == shoot.Bracket && have%2 == 1 && !evidence.BracketLacks(q.Frames, 1) && !evidence.BracketLacks(q.Frames, 2) {
		return nil // a whole bracket of another size
	}
	usual, alike, all := evidence.SiblingFrames(v.Session.Sequences, q)
	if float64(alike) < v.Param("siblings") || float64(alike) < v.Param("share")*float64(all) || have >= usual {
		return nil
	}
	v.Found(audit.Finding{
		Message:  fmt.Sprintf("%s, where %d other sequences like it have %d", words.Count(have, "frame", "frames"), alike, usual),
		Action:   "look whether the last frame is behind the subject; if not, shoot this sequence again",
		Frames:   q.Frames,
		Measured: exifread.Of(float64(have)), Limit: exifread.Of(float64(usual)), Unit: "frames",
	})
	return nil
}
