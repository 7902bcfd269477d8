package rules

import (
	"fmt"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/exifread"
)

var leftOver = &audit.Rule{
	ID:       "left-over",
	Title:    "Setting may be left over",
	Severity: audit.Note,
	Shows:    audit.ShowNothing,
	Doc: `Finds bodies that were never set below a high ISO in the sequences of a session, and
bodies whose exposure compensation is never 0.

Both are easily left from the last job. High ISO costs detail in every frame; a forgotten
compensation makes every frame too bright or too dark.

Check the settings of the body before you go on.

The finding is wrong where both are meant. In manual exposure, compensation has no effect
and is not counted. That of brackets is not counted either.`,
	Source: "CIPA DC-008 (Exif), ExposureBiasValue and PhotographicSensitivity; three stops above ISO 100: common practice",
	Params: []audit.Param{
		{
			Name: "iso", Doc: "from this on, the lowest ISO of the session is high",
			Default: 800, Min: 100, Max: 1_000_000,
		},
		{
			Name: "frames", Unit: "frames", Doc: "there must be this many frames in sequences",
			Default: 20, Min: 1, Max: 100_000,
		},
	},
	CheckSession: checkLeftOver,
}

func checkLeftOver(v *audit.Review) error {
	for _, body := range v.Session.Bodies {
		checkLeftOverOf(v, body)
	}
	return nil
}

func checkLeftOverOf(v *audit.Review, body *shoot.Body) {
	var isoFrames, biasFrames, unknown []*shoot.Frame
	lowest, biased := uint32(0), true
	bias := exifread.Rational{}
	for _, q := range v.Session.Sequences {
		if q.Body != body || !q.Kind.Steady() || q.Support != shoot.Tripod {
			continue
		}
		for _, f := range q.Frames {
			m := f.Meta()
			if !m.HasExif {
				continue
			}
			if iso, ok := m.Sensitivity.Get(); ok && iso > 0 {
				isoFrames = append(isoFrames, f)
				if lowest == 0 || iso < lowest {
					lowest = iso
				}
			} else {
				unknown = append(unknown, f)
			}
			b, ok := m.ExposureBias.Get()
			if m.ExposureMode.Or(exifread.ExposureManual) == exifread.ExposureAuto && ok && b.Den != 0 {
				biasFrames = append(biasFrames, f)
				biased = biased && b.Num != 0
				bias = b
			}
		}
	}
	if len(unknown) > 0 {
		v.Unjudged("no ISO recorded", unknown...)
	}
	if float64(len(isoFrames)) >= v.Param("frames") && float64(lowest) >= v.Param("iso") {
		v.Found(audit.Finding{
			Message:  fmt.Sprintf("no sequence is below %s", shoot.FormatISO(lowest)),
			Action:   "check whether that ISO is left over from before; if so, lower it",
			Frames:   isoFrames,
			Measured: exifread.Of(float64(lowest)), Limit: exifread.Of(v.Param("iso")),
		})
	}
	if float64(len(biasFrames)) >= v.Param("frames") && biased {
		v.Found(audit.Finding{
			Message:  fmt.Sprintf("exposure compensation is never 0, last %+.1f EV", bias.Float()),
			Action:   "check whether it is left over from before; if so, set it to 0",
			Frames:   biasFrames,
			Measured: exifread.Of(bias.Float()), Limit: exifread.Of(0.0), Unit: "EV",
		})
	}
}
