package rules

import (
	"fmt"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/exifread"
	"prestrike/rules/evidence"
	"prestrike/rules/optics"
)

var highISO = &audit.Rule{
	ID:       "high-iso",
	Title:    "ISO higher than needed",
	Severity: audit.Note,
	Shows:    audit.ShowDetail,
	Doc: `Finds sequences on a tripod at more than twice the lowest ISO that the same body was
set to in the session.

ISO is often left high after a few handheld frames. On a tripod a longer exposure, or
more flash, gives the same brightness with less noise.

Lower the ISO before the next sequence, and check whether the noise of this one matters.

The finding is wrong where the subject moves, or where the exposure cannot be longer, as for
stars. A session at one high ISO throughout is not found.`,
	Source: "common practice: more than twice the base ISO; CIPA DC-008 (Exif), PhotographicSensitivity and SensitivityType",
	Params: []audit.Param{
		{
			Name: "times", Doc: "up to this many times the body's lowest ISO of the session is low",
			Default: 2, Min: 1, Max: 1000,
		},
		evidence.Tolerance,
	},
	Check: checkHighISO,
}

// A sensitivityOf is one kind of sensitivity of one body: only values of one are
// compared.
type sensitivityOf struct {
	body *shoot.Body
	kind exifread.Value[exifread.SensitivityType]
}

// lowestISO is the lowest ISO of the session.
var lowestISO = audit.SessionFact(func(v *audit.Review) map[sensitivityOf]uint32 {
	lowest := map[sensitivityOf]uint32{}
	for _, q := range v.Session.Sequences {
		for _, f := range q.Frames {
			iso, ok := f.Meta().Sensitivity.Get()
			if !ok || iso == 0 {
				continue
			}
			k := sensitivityOf{q.Body, f.Meta().SensitivityType}
			if have, ok := lowest[k]; !ok || iso < have {
				lowest[k] = iso
			}
		}
	}
	return lowest
})

func checkHighISO(v *audit.Review) error {
	q := v.Sequence
	if q.Support != shoot.Tripod {
		return nil
	}
	var high, unknown []*shoot.Frame
	top, base := uint32(0), uint32(0)
	judged := 0
	for _, f := range q.Frames {
		if !f.Meta().HasExif {
			continue
		}
		iso, ok := f.Meta().Sensitivity.Get()
		if !ok || iso == 0 {
			unknown = append(unknown, f)
			continue
		}
		judged++
		low := lowestISO.Of(v)[sensitivityOf{q.Body, f.Meta().SensitivityType}]
		if evidence.Longer(float64(iso), v.Param("times")*float64(low), v.Param("tolerance")) {
			high = append(high, f)
			if iso > top {
				top, base = iso, low
			}
		}
	}
	if len(unknown) > 0 {
		v.Unjudged("no ISO recorded", unknown...)
	}
	// Where a few frames only are high, iso-drift reports them.
	if 2*len(high) <= judged {
		return nil
	}
	stops := optics.Stops(float64(base), float64(top))
	v.Found(audit.Finding{
		Message: fmt.Sprintf("%s on a tripod, %s stops above the lowest of this body in the session, %s",
			shoot.FormatISO(top), twoFigures(stops), shoot.FormatISO(base)),
		Action:   fmt.Sprintf("set %s and a longer exposure, or more flash, before the next sequence", shoot.FormatISO(base)),
		Frames:   high,
		Measured: exifread.Of(float64(top)), Limit: exifread.Of(v.Param("times") * float64(base)), Unit: "ISO",
	})
	return nil
}
