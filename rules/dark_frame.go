package rules

import (
	"fmt"

	"prestrike/audit"
	"prestrike/exifread"
)

var darkFrame = &audit.Rule{
	ID:       "dark-frame",
	Title:    "a frame is much darker than its neighbours",
	Severity: audit.Reshoot,
	Doc: `Looks at the pictures: finds frames of a run that are darker than their neighbours by
more than their settings explain.

The flash was not ready, the curtain cut it off, or a lamp went out. In a focus
sequence what was sharp in that frame is lost.

Shoot the sequence again; give the flash more time between frames.

It is a check where the frame could be meant: in a time-lapse, in a run that may be
one, where a quarter of the frames or more are dark, and where the frame shows
nothing of what its neighbours show, as with a hand or a cap before the lens. Such
frames at the beginning and end of a run are taken for markers and left alone. Values
assume the usual tone curve and are rough.`,
	Source: "IEC 61966-2-1 (tone curve); limit: common practice",
	Params: []audit.Param{
		{
			Name: "darker", Unit: "EV", Doc: "darker by this much and more",
			Default: 1, Min: 1, Max: 10,
		},
		{
			Name: "edge", Unit: "frames", Doc: "so many frames at each end that show something else are markers",
			Default: 2, Min: 0, Max: 100,
		},
	},
	Check: checkDarkFrame,
}

func checkDarkFrame(v *audit.Review) error {
	q := v.Sequence
	j := shows(v)
	if j == nil || !tells(v, j.Dark.Verdict) {
		return nil
	}
	var frames []*audit.Frame
	worst := 0.0
	sure := q.Kind == audit.Focus
	edge := int(v.Param("edge"))
	for _, e := range j.Dark.Events {
		f := q.Frames[e.Frame]
		atEnd := e.Frame < edge || e.Frame >= len(q.Frames)-edge
		if e.Unrelated && atEnd {
			continue
		}
		ev := e.EV + settingsDarker(q, e.Frame)
		if ev < v.Param("darker") {
			continue
		}
		sure = sure && !e.Unrelated
		worst = max(worst, ev)
		frames = append(frames, f)
	}
	if len(frames) == 0 {
		return nil
	}
	const quarter = 4
	severity := audit.Check
	if sure && quarter*len(frames) < len(q.Frames) {
		severity = audit.Reshoot
	}
	v.Found(darkFinding(q, frames, worst, v.Param("darker"), severity))
	return nil
}

func darkFinding(q *audit.Sequence, frames []*audit.Frame, ev, limit float64, severity audit.Severity) audit.Finding {
	is, by := "is", "about"
	if len(frames) > 1 {
		is, by = "are", "up to about"
	}
	const black = 6 // EV; darker than that is as good as black
	much := fmt.Sprintf("%s %s", by, writeEV(ev))
	if ev >= black {
		much = "by more than 6 EV"
	}
	action := "look at it; if it is lost, shoot this sequence again"
	if severity == audit.Reshoot {
		action = "shoot this sequence again, and give the flash more time"
	}
	return audit.Finding{
		Message:  fmt.Sprintf("%s %s darker than the neighbours, %s, at the same settings", audit.FrameRanges(q.Frames, frames), is, much),
		Action:   action,
		Severity: severity,
		Frames:   frames,
		Measured: exifread.Of(ev), Limit: exifread.Of(limit), Unit: "EV",
	}
}

// settingsDarker returns by how many EV, positive, the settings of the frames
// around frame i make them darker than it; negative where they explain that it
// is the darker one.
func settingsDarker(q *audit.Sequence, i int) float64 {
	const around = 5
	var d []float64
	for k := max(0, i-around); k <= min(len(q.Frames)-1, i+around); k++ {
		if k != i {
			d = append(d, brighter(q.Frames[k], q.Frames[i]))
		}
	}
	return middle(d)
}
