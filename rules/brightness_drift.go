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

var brightnessDrift = &audit.Rule{
	ID:       "brightness-drift",
	Title:    "the brightness of the pictures jumps, flickers or walks",
	Severity: audit.Check,
	Doc: `Looks at the pictures: finds runs at fixed settings whose brightness jumps from one
frame to the next, differs in many neighbours, or walks from the first frame to the
last.

A lamp changed, the flash does not repeat, the blades of the aperture do not close
evenly, daylight comes and goes. Merged frames show steps, and clips flicker.

Look at the frames named. In a focus sequence keep daylight out and shoot it again; a
clip may be evened out later.

In a time-lapse it is a note, as light is often what it is about, unless the light is
declared as lamps or flash. Nothing is said of places where the settings change. The
tone curve of the camera makes all values somewhat too large.`,
	Source: "IEC 61966-2-1 (tone curve); limits chosen on rendered sequences",
	Params: []audit.Param{
		{
			Name: "jump", Unit: "EV", Doc: "the smallest jump between neighbours",
			Default: 0.15, Min: 0.1, Max: 5,
		},
		{
			Name: "walk", Unit: "EV", Doc: "the smallest walk from one end to the other; lenses darken as they focus closer",
			Default: 0.3, Min: 0.3, Max: 5,
		},
	},
	Check: checkBrightnessDrift,
}

func checkBrightnessDrift(v *audit.Review) error {
	q := v.Sequence
	if q.Kind == shoot.Bracket || q.Kind == shoot.Single {
		return nil // they are meant to differ
	}
	j := evidence.Shows(v)
	if j == nil || !evidence.Tells(v, j.Brightness.Verdict) {
		return nil
	}
	severity := audit.Check
	if q.Kind == shoot.TimeLapse && (v.Options.Light == audit.LightUnknown || v.Options.Light == audit.Daylight) {
		severity = audit.Note
	}
	b := j.Brightness
	f := audit.Finding{Severity: severity, Unit: "EV", Action: "look at the frames; if it shows, keep other light out and shoot this sequence again"}
	if q.Kind == shoot.TimeLapse {
		f.Action = "look whether it shows in the clip"
	}
	var worst pixels.Change
	n := 0
	for _, c := range b.Jumps {
		from, to := q.Frames[c.From], q.Frames[c.To]
		if math.Abs(c.EV) < v.Param("jump") {
			continue
		}
		n++
		f.Frames = append(f.Frames, from, to)
		if math.Abs(c.EV) > math.Abs(worst.EV) {
			worst = c
		}
	}
	settings := ""
	if q.Exposures() != nil {
		settings = " at the same settings"
	}
	switch {
	case b.Flickering:
		f.Message = fmt.Sprintf("the brightness flickers: it differs by more than %s in %s of the neighbours",
			writeEV(pixels.DefaultThresholds().FlickerEV), percent(b.Flicker))
		f.Frames = q.Frames
		f.Measured, f.Limit, f.Unit = exifread.Of(100*b.Flicker), exifread.Of(100*pixels.DefaultThresholds().FlickerShare), "% of neighbours"
	case n > 0:
		f.Message = fmt.Sprintf("the picture gets %s by about %s from %s to %s%s", darkerOrBrighter(worst.EV), writeEV(worst.EV),
			q.Frames[worst.From].Label(), q.Frames[worst.To].Label(), settings)
		if n > 1 {
			f.Message += fmt.Sprintf(", and changes at %s", words.Count(n-1, "other place", "other places"))
		}
		f.Frames = evidence.InOrder(q, f.Frames)
		f.Measured, f.Limit = exifread.Of(math.Abs(worst.EV)), exifread.Of(v.Param("jump"))
	case b.Drifting && b.Drift >= v.Param("walk"):
		f.Message = fmt.Sprintf("the brightness walks by about %s through the run", writeEV(b.Drift))
		f.Frames = q.Frames
		f.Measured, f.Limit = exifread.Of(b.Drift), exifread.Of(v.Param("walk"))
	default:
		return nil
	}
	v.Found(f)
	return nil
}

func darkerOrBrighter(ev float64) string {
	if ev < 0 {
		return "darker"
	}
	return "brighter"
}
