package rules

import (
	"fmt"
	"math"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/exifread"
	"prestrike/rules/optics"
)

var handheldShutter = &audit.Rule{
	ID:       "handheld-shutter",
	Title:    "the exposure time is long to be held by hand",
	Severity: audit.Check,
	Doc: `Finds frames held by hand whose exposure time is longer than hands can hold still:
one over the focal length (as of a 36 x 24 mm camera), less close up.

Camera shake blurs the whole picture and is hardly seen on the small screen.

Look at the frame at 100 %. If it is blurred, shoot it again at the time named, with
the camera on a support, or with flash.

Bursts and single frames count as held by hand, unless --support says otherwise. But
nobody can tell where the camera was on a tripod in the same session, nor for single
frames where most are slower than hands allow: then they are not judged. Frames with
flash are left out. It is wrong for steadier hands, and for stabilised cameras: declare the
stabilisation of the lens in prestrike.toml, or as the parameter here.`,
	Source: "Wikipedia, Camera shake (one over the focal length); ISO 20954-1:2019 for stabilisation; the factor for close work derived by geometry",
	Params: []audit.Param{
		{
			Name: "tolerance", Unit: "EV", Doc: "the limit is a rule of thumb: one click longer is no finding",
			Default: 1.0 / 3, Min: 0.01, Max: 3,
		},
		{
			Name: "sharpness", Doc: "the blur allowed, against that which looks sharp in a print seen from its diagonal",
			Default: optics.LooksSharp, Min: 0.05, Max: 5,
		},
		{
			Name: "stabilisation", Unit: "stops",
			Doc:     "what stabilisation is worth where none is declared for the lens",
			Default: 0, Min: 0, Max: 10,
		},
	},
	CheckSession: checkHandheldShutter,
}

// A slowFrame is a frame held by hand with its limit.
type slowFrame struct {
	frame       *shoot.Frame
	time, limit float64 // s
	equivalent  optics.Length
	m           magnification
}

func checkHandheldShutter(v *audit.Review) error {
	if v.Options.Light == audit.FlashLight {
		return nil
	}
	found := sensors(v, nil)
	type hand struct {
		frames, slow int
		tripod       bool // at other times of the session
	}
	hands := map[*shoot.Body]*hand{}
	slow := map[*shoot.Sequence][]slowFrame{}
	for _, q := range v.Session.Sequences {
		h := hands[q.Body]
		if h == nil {
			h = &hand{}
			hands[q.Body] = h
		}
		if q.Support != shoot.Handheld {
			h.tripod = h.tripod || q.Kind != shoot.Single
			continue
		}
		timed, unknown := exposed(q)
		if len(unknown) > 0 {
			v.Unjudged(noExposureTime, unknown...)
		}
		for _, f := range timed {
			if fired(f.Meta()) {
				continue
			}
			equivalent := equivalentFocal(f.Meta(), q, found[q.Body])
			if !known(equivalent) {
				reason := "no focal length recorded"
				if f.Meta().FocalLength.Known() {
					reason = noSensor
				}
				v.Unjudged(reason, f)
				continue
			}
			h.frames++
			m := magnificationOf(v, q, found[q.Body], f)
			s := slowFrame{f, exifread.Positive(f.Meta().ExposureTime), handLimit(v, f, equivalent, m), equivalent, m}
			if longer(s.time, s.limit, v.Param("tolerance")) {
				h.slow++
				slow[q] = append(slow[q], s)
			}
		}
	}
	for _, q := range v.Session.Sequences {
		list := slow[q]
		if len(list) == 0 {
			continue
		}
		h := hands[q.Body]
		if v.Options.Support == shoot.SupportAuto && (h.tripod || q.Kind == shoot.Single && 2*h.slow > h.frames) {
			for _, s := range list {
				v.Unjudged("on a tripod or held by hand cannot be told: give --support", s.frame)
			}
			continue
		}
		v.Found(saySlow(q, list))
	}
	return nil
}

// saySlow makes the finding on the slow frames of a sequence.
func saySlow(q *shoot.Sequence, list []slowFrame) audit.Finding {
	worst := list[0]
	frames := make([]*shoot.Frame, len(list))
	for i, s := range list {
		frames[i] = s.frame
		if s.time/s.limit > worst.time/worst.limit {
			worst = s
		}
	}
	at := fmt.Sprintf("%.0f mm", worst.equivalent.Millimetres())
	if f := exifread.Positive(worst.frame.Meta().FocalLength); f > 0 && math.Abs(worst.equivalent.Millimetres()/f-1) > 0.05 {
		at = fmt.Sprintf("%s mm (as %s)", twoFigures(f), at)
	}
	if worst.m.m >= 0.1 {
		at += " and " + ratio(worst.m.m)
	}
	return audit.Finding{
		Message: fmt.Sprintf("%s%s is long for the hand at %s, where %s is the rule of thumb",
			which(q, frames), times(frames), at, writeTime(worst.limit)),
		Action:   "look for shake at 100 %; " + handTime(worst.limit) + ", a support or flash avoids it",
		Frames:   frames,
		Measured: exifread.Of(worst.time), Limit: exifread.Of(worst.limit), Unit: "s",
	}
}

// handTime writes the longest marked exposure time that is within a limit, but
// for rounding.
func handTime(limit float64) string {
	best := limit
	for _, s := range optics.ShutterTimes(optics.ThirdStops) { // falling
		if !longer(s.Marked, limit, optics.DriftTolerance) {
			best = s.Marked
			break
		}
	}
	return writeTime(best)
}

// handLimit returns the longest exposure time to hold by hand, in s.
func handLimit(v *audit.Review, f *shoot.Frame, equivalent optics.Length, m magnification) float64 {
	stops := v.Param("stabilisation")
	if lens := lensFacts(v.Options, f.Meta()); lens.Stabilisation > 0 {
		stops = lens.Stabilisation
	}
	close := m.m
	if !known(close) {
		close = 0
	}
	hand := optics.Handheld{
		Focal: equivalent, Crop: 1, Magnification: close, Radius: optics.HandRadius, Sharpness: v.Param("sharpness"),
	}
	if focal := optics.Length(exifread.Positive(f.Meta().FocalLength)) * optics.Millimetre; focal > 0 {
		hand.Focal, hand.Crop = focal, float64(equivalent/focal)
	}
	hand.Stops = optics.CreditedStops(stops, hand.Sharpness < optics.LooksSharp)
	return float64(hand.Limit())
}

// equivalentFocal returns the focal length that sees as much on 36 x 24 mm.
func equivalentFocal(m *exifread.Metadata, q *shoot.Sequence, s sensor) optics.Length {
	focal := optics.Length(exifread.Positive(m.FocalLength)) * optics.Millimetre
	recorded := optics.Length(m.FocalLength35.Or(0)) * optics.Millimetre
	if focal > 0 && known(s.width) {
		if long, short := pictureSize(q); long > 0 {
			return focal * optics.Length(optics.CropFactor(s.width, s.width*optics.Length(float64(short)/float64(long))))
		}
	}
	// What edited files and some compact cameras record is out of this range.
	const shortest, longest = 5 * optics.Millimetre, 3000 * optics.Millimetre
	if recorded >= shortest && recorded <= longest {
		return recorded
	}
	return optics.Length(math.NaN())
}
