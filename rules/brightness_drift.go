package rules

import (
	"fmt"
	"math"
	"slices"

	"prestrike/audit"
	"prestrike/audit/pixels"
	"prestrike/audit/shoot"
	"prestrike/audit/words"
	"prestrike/exifread"
	"prestrike/rules/evidence"
)

var brightnessDrift = &audit.Rule{
	ID:       "brightness-drift",
	Title:    "Brightness changes",
	Severity: audit.Check,
	Doc: `Inspects the pictures of sequences at fixed settings. Finds brightness that jumps from one
frame to the next, differs between many neighbours, or changes steadily from the first frame
to the last.

A lamp changed, the flash does not repeat, the blades of the aperture do not close evenly,
or daylight comes and goes. Merged frames show steps, and clips flicker.

Inspect the frames named. In a focus sequence keep daylight out and shoot it again. A clip
can be evened out later.

In a focus sequence with flash, neighbours that differ by up to 0.2 EV are a note: small
flashes repeat to about 0.1 EV. A lens loses light as it focuses closer. Where the
magnification of the first and the last frame is known, that loss is not counted.

In a time-lapse the finding is a note, as changing light is often the subject. It is a check
where lamps or flash are declared as the light. Places where the settings change are not
reported. The tone curve of the camera makes all values somewhat too large.`,
	Source: "IEC 61966-2-1 (tone curve); bellows factor: Greivenkamp, Field Guide to Geometrical Optics (2004), p. 29; scatter of small flashes, 0.1 EV: common practice; limits chosen on rendered sequences",
	Params: []audit.Param{
		{
			Name: "jump", Unit: "EV", Doc: "the smallest jump between neighbours",
			Default: 0.15, Min: 0.1, Max: 5,
		},
		{
			Name: "walk", Unit: "EV", Doc: "the smallest steady change from one end to the other; lenses darken as they focus closer",
			Default: 0.3, Min: 0.3, Max: 5,
		},
		{
			Name: "flash", Unit: "EV", Doc: "the largest difference between neighbours that flashes make by themselves",
			Default: 0.2, Min: 0, Max: 5,
		},
	},
	Check: checkBrightnessDrift,
}

func checkBrightnessDrift(v *audit.Review) error {
	q := v.Sequence
	if q.Kind == shoot.Bracket || q.Kind == shoot.Single {
		return nil // their frames are meant to differ
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
	walkSeverity := severity
	if flashRun(v) && b.Most <= v.Param("flash") {
		severity = audit.Note
	}
	walk := b.Drift
	// The light must go the way that the lens loses it.
	if lost := extensionEV(v, j); lost*trend(j) > 0 {
		walk -= math.Abs(lost)
	}
	f := audit.Finding{Severity: severity, Unit: "EV", Action: "inspect the frames; if the change shows, keep other light out and shoot the sequence again"}
	if q.Kind == shoot.TimeLapse {
		f.Action = "check whether it shows in the clip"
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
		f.Message = fmt.Sprintf("the brightness flickers: %s of neighbouring frames differ by more than %s",
			percent(b.Flicker), writeEV(pixels.DefaultThresholds().FlickerEV))
		f.Frames = q.Frames
		f.Measured, f.Limit, f.Unit = exifread.Of(100*b.Flicker), exifread.Of(100*pixels.DefaultThresholds().FlickerShare), "% of neighbours"
	case n > 0:
		f.Message = fmt.Sprintf("the picture gets %s by about %s from %s to %s%s", darkerOrBrighter(worst.EV), writeEV(worst.EV),
			q.Frames[worst.From].Label(), q.Frames[worst.To].Label(), settings)
		if n > 1 {
			f.Message += fmt.Sprintf(", and changes in %s", words.Count(n-1, "other place", "other places"))
		}
		f.Frames = evidence.InOrder(q, f.Frames)
		f.Measured, f.Limit = exifread.Of(math.Abs(worst.EV)), exifread.Of(v.Param("jump"))
	case b.Drifting && walk >= v.Param("walk"):
		f.Message = fmt.Sprintf("the brightness changes by about %s from the first frame to the last", writeEV(walk))
		if walk < b.Drift {
			f.Message += ", more than the lens loses as it focuses closer"
		}
		f.Severity = walkSeverity
		f.Frames = q.Frames
		f.Measured, f.Limit = exifread.Of(walk), exifread.Of(v.Param("walk"))
	default:
		return nil
	}
	v.Found(f)
	return nil
}

// flashRun reports whether a flash lit the frames of a run that is made for merging.
func flashRun(v *audit.Review) bool {
	q := v.Sequence
	if q.Kind != shoot.Focus && q.Kind != shoot.Series {
		return false
	}
	return v.Options.Light == audit.FlashLight || !slices.ContainsFunc(q.Frames, func(f *shoot.Frame) bool { return !evidence.Fired(f.Meta()) })
}

// trend returns by how much brighter the last frames are than the first, EV.
func trend(j *pixels.Judgement) float64 {
	const few = 3
	n := min(few, len(j.PerFrame)/2)
	sum := 0.0
	for i := range n {
		sum += j.PerFrame[len(j.PerFrame)-1-i].EV - j.PerFrame[i].EV
	}
	return sum / float64(max(1, n))
}

// extensionEV returns by how much brighter the extension of the lens makes the last frame
// than the first, EV: 2·log2((1+m₁/p)/(1+m₂/p)), with the pupil magnification p that is declared,
// or 1; 0 where a magnification is not known. One that is declared for the whole run is
// that of the first frame, and the change of scale in the pictures makes that of
// the last.
func extensionEV(v *audit.Review, j *pixels.Judgement) float64 {
	q := v.Sequence
	if q.Kind != shoot.Focus && q.Kind != shoot.Series {
		return 0
	}
	first, last := q.Frames[0], q.Frames[len(q.Frames)-1]
	sensor := evidence.SensorOf(v)
	a, b := evidence.MagnificationOf(v, q, sensor, first).M, evidence.MagnificationOf(v, q, sensor, last).M
	if a == b {
		b *= 1 + j.PerFrame[len(q.Frames)-1].Scale
	}
	if !evidence.Known(a) || !evidence.Known(b) {
		return 0
	}
	pupil := evidence.Pupil(evidence.LensFacts(v.Options, first.Meta()))
	return 2 * math.Log2((1+a/pupil)/(1+b/pupil))
}

func darkerOrBrighter(ev float64) string {
	if ev < 0 {
		return "darker"
	}
	return "brighter"
}
