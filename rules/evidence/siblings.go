package evidence

import (
	"slices"

	"prestrike/audit/shoot"
)

// mostSiblings bounds the sequences compared, so that the time of an audit
// grows evenly with its frames; the nearest ones are the best measure.
const mostSiblings = 25

// Spanned returns how many frames the sequence was made with: those with
// numbers missing inside included, those that are there twice counted once.
func Spanned(q *shoot.Sequence) int {
	n := len(q.Frames)
	for _, s := range q.Steps {
		count, ok := s.Count.Get()
		ticks, timed := s.Ticks.Get()
		if ok && count == 0 {
			n-- // the same frame twice
		}
		if ok && count > 1 && q.Kind == shoot.Bracket {
			n += count - 1 // one cycle: its exposures differ, so that its pace shows nothing
			continue
		}
		if ok && timed && count > 1 && ticks+s.Slack >= float64(count)-0.5 && ticks-s.Slack <= float64(count)+0.5 {
			n += count - 1
		}
	}
	return n
}

// SiblingFrames returns the number of frames that most sequences like q have,
// how many have it, and how many are alike.
func SiblingFrames(sequences []*shoot.Sequence, q *shoot.Sequence) (usual, have, all int) {
	at := slices.Index(sequences, q)
	counts := map[int]int{}
	count := func(other *shoot.Sequence) {
		if other.Kind == q.Kind && other.Body == q.Body && SameSettings(other, q) {
			n := Spanned(other)
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

// SameSettings reports whether two sequences were made with the same
// settings. The exposure time of brackets is not compared.
func SameSettings(a, b *shoot.Sequence) bool {
	s, t := a.Settings, b.Settings
	return s.ISO == t.ISO && Exact(s.FNumber) == Exact(t.FNumber) && Exact(s.FocalLength) == Exact(t.FocalLength) &&
		(a.Kind == shoot.Bracket || Exact(s.ExposureTime) == Exact(t.ExposureTime))
}
