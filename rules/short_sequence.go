package rules

import (
	"fmt"
	"slices"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/exifread"
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

// mostSiblings bounds the sequences compared, so that the time of an audit
// grows evenly with its frames; the nearest ones tell best.
const mostSiblings = 25

func checkShortSequence(v *audit.Review) error {
	q := v.Sequence
	if !q.Kind.Steady() && q.Kind != shoot.Bracket {
		return nil
	}
	have := spanned(q)
	if planned := v.Options.PlannedFrames; planned > 0 && q.Kind.Steady() {
		if have < planned {
			v.Found(audit.Finding{
				Severity: audit.Reshoot,
				Message:  fmt.Sprintf("%s of %d planned", many(have, "frame", "frames"), planned),
				Action:   "shoot this sequence again to its end",
				Frames:   q.Frames,
				Measured: exifread.Of(float64(have)), Limit: exifread.Of(float64(planned)), Unit: "frames",
			})
		}
		return nil
	}
	if q.Kind == shoot.Bracket && have%2 == 1 && !bracketLacks(q.Frames, 1) && !bracketLacks(q.Frames, 2) {
		return nil // a whole bracket of another size
	}
	usual, alike, all := siblingFrames(v.Session.Sequences, q)
	if float64(alike) < v.Param("siblings") || float64(alike) < v.Param("share")*float64(all) || have >= usual {
		return nil
	}
	v.Found(audit.Finding{
		Message:  fmt.Sprintf("%s, where %d other sequences like it have %d", many(have, "frame", "frames"), alike, usual),
		Action:   "look whether the last frame is behind the subject; if not, shoot this sequence again",
		Frames:   q.Frames,
		Measured: exifread.Of(float64(have)), Limit: exifread.Of(float64(usual)), Unit: "frames",
	})
	return nil
}

// spanned returns how many frames the sequence was made with: those with
// numbers missing inside included, those that are there twice counted once.
func spanned(q *shoot.Sequence) int {
	n := len(q.Frames)
	for _, s := range q.Steps {
		count, ok := s.Count.Get()
		ticks, timed := s.Ticks.Get()
		if ok && count == 0 {
			n-- // the same frame twice
		}
		if ok && timed && count > 1 && ticks+s.Slack >= float64(count)-0.5 && ticks-s.Slack <= float64(count)+0.5 {
			n += count - 1
		}
	}
	return n
}

// siblingFrames returns the number of frames that most sequences like q have,
// how many have it, and how many are alike.
func siblingFrames(sequences []*shoot.Sequence, q *shoot.Sequence) (usual, have, all int) {
	at := slices.Index(sequences, q)
	counts := map[int]int{}
	count := func(other *shoot.Sequence) {
		if other.Kind == q.Kind && other.Body == q.Body && sameSettings(other, q) {
			n := spanned(other)
			counts[n]++
			all++
			if counts[n] > have || counts[n] == have && n > usual {
				usual, have = n, counts[n]
			}
		}
	}
	for i := at - 1; i >= max(0, at-mostSiblings); i-- {
		count(sequences[i])
	}
	for i := at + 1; i < min(len(sequences), at+1+mostSiblings); i++ {
		count(sequences[i])
	}
	return usual, have, all
}

// sameSettings reports whether two sequences were made with the same
// settings. The exposure time of brackets is not compared.
func sameSettings(a, b *shoot.Sequence) bool {
	s, t := a.Settings, b.Settings
	return s.ISO == t.ISO && exact(s.FNumber) == exact(t.FNumber) && exact(s.FocalLength) == exact(t.FocalLength) &&
		(a.Kind == shoot.Bracket || exact(s.ExposureTime) == exact(t.ExposureTime))
}
