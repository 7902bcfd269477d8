package rules

import (
	"fmt"
	"slices"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/exifread"
	"prestrike/rules/evidence"
)

// whollyMore is how many times as many brackets of three as of two show that two were
// not set.
const whollyMore = 3

// shortBracket makes the finding on an automatic bracket that lost a frame, most often
// the first or the last: what is there is in even steps, and no number inside is left
// out. Cameras bracket by odd numbers, 3, 5, 7 or 9, on both sides of the metered
// exposure (from memory). Two frames are a choice of some: they are doubted where other
// automatic brackets of the body have three with this step, and hardly any has two.
func shortBracket(v *audit.Review, have int) (audit.Finding, bool) {
	q := v.Sequence
	n := len(q.Frames)
	if have != n || n%2 == 1 || !evidence.AutomaticBracket(q.Frames) {
		return audit.Finding{}, false
	}
	cycles, alike := bracketSiblings(v, n)
	whole := slices.ContainsFunc(cycles, func(step float64) bool { return evidence.BracketShort(q.Frames, step) })
	message := ""
	switch {
	case n == 2 && len(cycles) < whollyMore*alike:
		return audit.Finding{}, false // that number was set
	case whole:
		message = fmt.Sprintf("%d exposures, where another automatic bracket of this camera has %d in the same steps", n, n+1)
	case n >= 4 && len(cycles) == 0 && (evidence.BracketLacks(q.Frames, 0) || evidence.BracketLacks(q.Frames, 1)):
		message = fmt.Sprintf("%d exposures in an automatic bracket, where cameras make 3, 5, 7 or 9", n)
	default:
		return audit.Finding{}, false
	}
	return audit.Finding{
		Message: message, Action: shortAction(shoot.Bracket), Frames: q.Frames,
		Measured: exifread.Of(float64(n)), Limit: exifread.Of(float64(n + 1)), Unit: "frames",
	}, true
}

// bracketSiblings returns the steps of the whole cycles with one frame more among the
// automatic brackets of the same body nearby, and counts those with as many frames.
func bracketSiblings(v *audit.Review, n int) (cycles []float64, alike int) {
	sequences := v.Session.Sequences
	at := slices.Index(sequences, v.Sequence)
	for _, o := range sequences[max(0, at-sisterReach):min(len(sequences), at+1+sisterReach)] {
		if o == v.Sequence || o.Kind != shoot.Bracket || o.Body != v.Sequence.Body || !evidence.AutomaticBracket(o.Frames) {
			continue
		}
		if step, whole := evidence.BracketCycle(o.Frames); whole && len(o.Frames) == n+1 {
			cycles = append(cycles, step)
		}
		if len(o.Frames) == n {
			alike++
		}
	}
	return cycles, alike
}
