package rules

import (
	"fmt"
	"math"

	"prestrike/audit"
	"prestrike/audit/pixels"
	"prestrike/audit/shoot"
	"prestrike/audit/words"
	"prestrike/exifread"
	"prestrike/rules/evidence"
)

var missingFrame = &audit.Rule{
	ID:       "missing-frame",
	Title:    "Missing frames",
	Severity: audit.Reshoot,
	Doc: `Finds file numbers that are missing inside a sequence, where the time between the frames
around them also fits the missing frames. Both signs are needed. In an exposure bracket, a
missing exposure step counts as the second sign. In a focus sequence, a movement of focus as
wide as over the missing frames counts, too. The pictures or the recorded distances show it.

A focus sequence with a hole has a soft band that no program can fill. A bracket with a
hole jumps, and a clip stutters.

Copy the frames from the card again. If they are not on it, shoot the sequence again
while the subject is still there. In a handheld burst the finding is a check, because
frames of bursts are often deleted in the camera.

The finding is wrong where you deleted these frames in the camera on purpose.`,
	Source: "CIPA DC-009 (DCF) file numbers; two signs and the tolerances: common practice",
	Params: []audit.Param{evidence.Agreement},
	Check:  checkMissingFrame,
}

func checkMissingFrame(v *audit.Review) error {
	q := v.Sequence
	if q.Start().IsZero() {
		untimedRun(v)
		return nil
	}
	all := evidence.Gaps.Of(v)
	numbered := len(all) == 0
	for _, g := range all {
		numbered = numbered || g.Count != 0
		if g.Reading == evidence.Unclear && g.Count > 1 {
			v.Unjudged(g.Why)
		}
	}
	if !numbered {
		v.Unjudged("no file numbers that count up")
		return nil
	}
	list := evidence.ReadAs(all, evidence.Missing)
	if len(list) == 0 {
		return nil
	}
	var numbers []string
	lost := 0
	byFocus, seen := 0, 0
	for _, g := range list {
		if g.ByFocus {
			byFocus++
		}
		if g.Jumps(float64(g.Count)) {
			seen++
		}
		for _, hole := range g.Holes {
			n, _ := hole.Count.Get()
			lost += n - 1
			numbers = append(numbers, evidence.MissingNumbers(hole)...)
		}
	}
	are := words.Plural(lost, "is", "are")
	worst := evidence.Longest(list)
	found := audit.Finding{
		Message: fmt.Sprintf("%s %s not there; %s", words.List(numbers, mostNamed), are,
			signsOf(len(list), byFocus, seen, q.Kind == shoot.Bracket && math.IsNaN(worst.Ticks))),
		Action: "copy what is missing from the card; if it is not there, shoot the sequence again",
		Frames: evidence.Ends(list),
		Limit:  exifread.Of(1.0), Unit: "cadences",
	}
	switch {
	case byFocus > 0 && len(list) == 1:
		found.Message = fmt.Sprintf("%s %s not there; from %s to %s focus moves about %s times its usual step",
			words.List(numbers, mostNamed), are, worst.From.Label(), worst.To.Label(), twoFigures(worst.Jump))
		found.Measured, found.Limit, found.Unit = exifread.Of(worst.Jump), exifread.Of(pixels.DefaultThresholds().JumpRatio), "usual steps"
	case !math.IsNaN(worst.Ticks):
		found.Measured = exifread.Of(worst.Ticks)
		if len(list) == 1 && q.Kind != shoot.Bracket {
			found.Message = fmt.Sprintf("%s %s not there; %s to %s took %s, where a frame comes %s",
				words.List(numbers, mostNamed), are, worst.From.Label(), worst.To.Label(), shoot.FormatDuration(worst.Elapsed), cadence(q))
			if seen == 1 {
				found.Message += fmt.Sprintf(", and focus moved about %s times its usual step", twoFigures(worst.Jump))
			}
		}
	}
	if len(list) == 1 {
		if h, patch, ok := patchFor(v, worst.From, worst.To, max(worst.Jump, float64(worst.Count))); ok {
			found.Holes = []audit.Hole{h}
			found.Action = "copy what is missing from the card; if it is not there, " + patch
		}
	}
	if q.Kind == shoot.Burst {
		found.Severity = audit.Check
		found.Action = "copy what is missing from the card, unless you deleted it"
	}
	v.Found(found)
	return nil
}

// signsOf names the signs that agree. Of the gaps, byFocus were decided by focus instead of
// time, and over seen of them focus moved as far as the numbers require.
func signsOf(gaps, byFocus, seen int, byExposures bool) string {
	switch {
	case byFocus == gaps:
		return "file numbers and focus both show it"
	case byFocus > 0:
		return "file numbers show it, and time or focus"
	case byExposures:
		return "file numbers and exposures both show it"
	case seen == gaps:
		return "file numbers, time and focus all show it"
	}
	return "file numbers and time both show it"
}

// untimedRun reports what the numbers of frames without a capture time leave open. What
// has no capture data at all, or cannot be read, is found by other rules.
func untimedRun(v *audit.Review) {
	var frames []*shoot.Frame
	for _, f := range v.Sequence.Frames {
		if f.Readable() && f.Meta().HasExif {
			frames = append(frames, f)
		}
	}
	if len(frames) == 0 {
		return
	}
	reason := "no capture time: whether the frames are one sequence, and whether it is whole, is not known"
	for _, s := range v.Sequence.Steps {
		if n, ok := s.Count.Get(); ok && n > 1 {
			reason = "no capture time: file numbers are left out, and whether frames are missing is not known"
		}
	}
	v.Unjudged(reason, frames...)
}
