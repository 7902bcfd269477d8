package rules

import (
	"fmt"
	"math"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/exifread"
	"prestrike/rules/evidence"
	"prestrike/rules/optics"
)

var mainsFlicker = &audit.Rule{
	ID:       "mains-flicker",
	Title:    "Lamps may flicker",
	Severity: audit.Check,
	AtOnce:   true,
	Doc: `Finds exposure times at which lamps on the mains light the frames unevenly. Lamps on 50
Hz flicker a hundred times a second, on 60 Hz a hundred and twenty times. An exposure
of whole periods, or a much longer one, evens that out.

The frames of a sequence differ in brightness, and short exposures show bands.

Shoot again at one of the times named, or with light that does not flicker.

It is judged only where --light declares mains50 or mains60, and not for frames with flash.
The finding is wrong for lamps that hardly flicker: incandescent ones, and good video
lights.`,
	Source: "mean of a sine over the exposure; exposure times that makers advise for 50 and 60 Hz lie below the first limit; the limits themselves: common practice",
	Params: []audit.Param{
		{
			Name: "note-flicker", Doc: "share of the lamps' flicker left in a frame from which it is a note",
			Default: optics.RippleNotice, Min: 0.001, Max: 1,
		},
		{
			Name: "check-flicker", Doc: "share of the lamps' flicker left in a frame from which it is a check",
			Default: optics.RippleWarning, Min: 0.001, Max: 1,
		},
	},
	Check: checkMainsFlicker,
}

func checkMainsFlicker(v *audit.Review) error {
	q := v.Sequence
	var mains float64
	var steady string
	switch v.Options.Light {
	case audit.Mains50:
		mains, steady = optics.Mains50, "1/100, 1/50 or 1/25 s"
	case audit.Mains60:
		mains, steady = optics.Mains60, "1/125, 1/60 or 1/30 s"
	default:
		return nil
	}
	timed, unknown := evidence.Exposed(q)
	if len(unknown) > 0 {
		v.Unjudged(noExposureTime, unknown...)
	}
	var uneven []*shoot.Frame
	most := 0.0
	for _, f := range timed {
		if evidence.Fired(f.Meta()) {
			continue
		}
		if r := ripple(mains, exifread.Positive(f.Meta().ExposureTime)); r > v.Param("note-flicker") {
			uneven = append(uneven, f)
			most = max(most, r)
		}
	}
	if len(uneven) == 0 {
		return nil
	}
	found := audit.Finding{
		Message: fmt.Sprintf("%sat %s up to %.0f %% of the flicker of lamps on %.0f Hz is left in a frame",
			which(q, uneven), times(uneven), 100*most, mains),
		Action:   "compare the brightness of the frames and inspect them for bands; " + steady + " avoids it",
		Frames:   uneven,
		Measured: exifread.Of(most), Limit: exifread.Of(v.Param("check-flicker")), Unit: "of the flicker",
	}
	if most <= v.Param("check-flicker") {
		found.Severity, found.Limit = audit.Note, exifread.Of(v.Param("note-flicker"))
	}
	v.Found(found)
	return nil
}

// ripple returns the share of the lamps' flicker that an exposure leaves, for
// the value that the recorded time may mean and that leaves least: itself, or the marked
// or exact value of its setting.
func ripple(mains, t float64) float64 {
	flicker := optics.FlickerFrequency(mains)
	least := optics.Ripple(flicker, optics.Seconds(t))
	if s, ok := optics.SnapShutter(optics.Seconds(t), optics.ThirdStops); ok {
		least = min(least, optics.Ripple(flicker, optics.Seconds(s.Marked)), optics.Ripple(flicker, optics.Seconds(s.Exact)))
	}
	if math.IsNaN(least) {
		return 0
	}
	return least
}
