package rules

import (
	"fmt"
	"math"
	"slices"

	"prestrike/audit"
	"prestrike/audit/pixels"
	"prestrike/audit/shoot"
	"prestrike/exifread"
	"prestrike/rules/evidence"
	"prestrike/rules/optics"
)

var darkFrame = &audit.Rule{
	ID:       "dark-frame",
	Title:    "Dark frames",
	Severity: audit.Reshoot,
	AtOnce:   true,
	Doc: `Inspects the pictures: finds frames that are darker than their neighbours by more than
their settings explain.

The flash was not ready, the shutter cut it off, or a lamp went out. In a focus sequence,
what was sharp in that frame is lost.

Shoot the sequence again; give the flash more time between frames.

The finding is a check where the frame could be meant: in a time-lapse or a series, and
where frames get dark again and again. It is also a check where one or two frames show
nothing of their neighbours, as with a hand in front of the lens. Such frames at the very
beginning and end of a sequence count as markers and are not reported. A lasting step of the
light is found by brightness-drift, unless it is so deep that the light must have failed.
Values assume the usual tone curve and are rough.`,
	Source: "IEC 61966-2-1 (tone curve); limit: common practice",
	Params: []audit.Param{
		darkest,
		{
			Name: "edge", Unit: "frames", Doc: "this many frames at each end that show something else count as markers",
			Default: 2, Min: 0, Max: 100,
		},
	},
	Check: checkDarkFrame,
}

// darkest is the limit from which a frame counts as dark.
var darkest = audit.Param{
	Name: "darker", Unit: "EV", Doc: "a frame darker by this much or more is dark",
	Default: 1, Min: 1, Max: 10,
}

func checkDarkFrame(v *audit.Review) error {
	q := v.Sequence
	if q.Kind == shoot.Bracket || q.Kind == shoot.Single {
		return nil // their frames are meant to differ
	}
	j := evidence.Shows(v)
	if j == nil || !evidence.Tells(v, j.Dark.Verdict) {
		return nil
	}
	if j.Dark.All {
		v.Found(audit.Finding{
			Severity: audit.Check, Title: "Black pictures",
			Message: "all pictures are black",
			Action:  "inspect them; if they should show something, remove the lens cap or check the light, and shoot the sequence again",
			Frames:  q.Frames,
		})
		return nil
	}
	var frames []*shoot.Frame
	worst := 0.0
	sure, stretches, provisional := q.Kind == shoot.Focus, 0, true
	edge := int(v.Param("edge"))
	for _, stretch := range darkStretches(j.Dark.Events) {
		first, last := stretch[0].Frame, stretch[len(stretch)-1].Frame
		unrelated := false
		var these []*shoot.Frame
		for _, e := range stretch {
			unrelated = unrelated || e.Unrelated
			if e.EV >= v.Param("darker") {
				these = append(these, q.Frames[e.Frame])
				worst = max(worst, e.EV)
			}
		}
		marker := unrelated && (first == 0 && last < edge || last == len(q.Frames)-1 && first >= len(q.Frames)-edge)
		if len(these) == 0 || marker {
			continue
		}
		// A hand before the lens is not there for long, a cap at an end is.
		hand := 2
		if first == 0 || last == len(q.Frames)-1 {
			hand = 3
		}
		sure = sure && (!unrelated || len(stretch) > hand)
		stretches++
		frames = append(frames, these...)
		provisional = provisional && !betweenBright(j, first, last)
	}
	if len(frames) == 0 {
		return nil
	}
	const quarter = 4
	severity := audit.Check
	if sure && quarter*stretches < len(q.Frames) {
		severity = audit.Reshoot
	}
	found := darkFinding(q, frames, worst, v.Param("darker"), severity)
	found.Provisional = provisional
	v.Found(found)
	return nil
}

// betweenBright reports whether the frames before and behind a dark stretch are there with
// their pictures, which are not dark. Without them it may be a step of the light, or a
// marker at the end, as the frames to come show.
func betweenBright(j *pixels.Judgement, first, last int) bool {
	return first > 0 && last+1 < len(j.PerFrame) && j.PerFrame[first-1].Measured && j.PerFrame[last+1].Measured
}

// darkStretches groups dark frames that follow each other.
func darkStretches(events []pixels.DarkFrame) [][]pixels.DarkFrame {
	var out [][]pixels.DarkFrame
	for i, e := range events {
		if i == 0 || e.Frame != events[i-1].Frame+1 {
			out = append(out, nil)
		}
		out[len(out)-1] = append(out[len(out)-1], e)
	}
	return out
}

func darkFinding(q *shoot.Sequence, frames []*shoot.Frame, ev, limit float64, severity audit.Severity) audit.Finding {
	is, by, its := "is", "about", "its"
	if len(frames) > 1 {
		is, by, its = "are", "up to about", "their"
	}
	const black = 6 // EV; darker than that is as good as black
	much := fmt.Sprintf("%s %s", by, writeEV(ev))
	if ev >= black {
		much = "more than 6 EV"
	}
	action := "inspect the picture; if it is lost, shoot the sequence again"
	if severity == audit.Reshoot {
		action = "shoot the sequence again, and give the flash more time"
	}
	settings := ""
	if set := q.Exposures(); set != nil {
		settings = " at the same settings"
		set = slices.DeleteFunc(set, math.IsNaN)
		if slices.Max(set)-slices.Min(set) >= optics.DriftTolerance {
			settings = ", more than the settings explain"
		}
	}
	return audit.Finding{
		Message:  fmt.Sprintf("%s %s %s darker than %s neighbours%s", shoot.FrameRanges(q.Frames, frames), is, much, its, settings),
		Action:   action,
		Severity: severity,
		Frames:   frames,
		Measured: exifread.Of(ev), Limit: exifread.Of(limit), Unit: "EV",
	}
}
