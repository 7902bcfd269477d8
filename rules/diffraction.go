package rules

import (
	"cmp"
	"fmt"
	"slices"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/exifread"
	"prestrike/rules/evidence"
	"prestrike/rules/optics"
)

var diffraction = &audit.Rule{
	ID:       "diffraction",
	Title:    "the f-number is past what the sensor resolves",
	Severity: audit.Check,
	Doc: `Finds frames whose working f-number, the one the sensor sees close up, blurs more
than the pixels are apart, and says how many megapixels of detail remain.

Stopping down brings depth of field and costs detail everywhere, which no sharpening
brings back. A focus sequence at a wider f-number has both.

If the picture needs its detail, shoot a focus sequence at the f-number named, or
make the steps of this one finer.

A note means that it shows at 100 % only. Single frames, bursts and brackets must hold
the depth alone and are often stopped down on purpose, so that for them it stays a
note until little is left; and so it does for a clip, which never needs all
megapixels.

It is wrong by two stops at 1:1 where a lens reports the working f-number and nobody
said so: declare f-numbers = "effective" for it in prestrike.toml. Without a
magnification the recorded f-number stands for the working one, which is higher. A
lens of telephoto build works at a higher one still: declare its pupil magnification.`,
	Source: "Holst, Opt. Eng. 46(10) 103204, 2007, and common practice for the note (Airy disc of 2.5 pixels); Rayleigh's criterion at two pixels for the check; working f-number: Greivenkamp, Field Guide to Geometrical Optics (2004), p. 29",
	Params: []audit.Param{
		{
			Name: "note-q", Doc: "wavelength times working f-number over pixel pitch from which diffraction shows at 100 %",
			Default: optics.QNotice, Min: optics.QTransition, Max: 10,
		},
		{
			Name: "check-q", Doc: "the same ratio from which detail is lost",
			Default: optics.QWarning, Min: optics.QTransition, Max: 10,
		},
		{
			Name: "single-share", Doc: "a frame that must hold the depth alone is worth a check where less than this share of its megapixels remains",
			Default: 0.25, Min: 0, Max: 1,
		},
	},
	Check: checkDiffraction,
}

func checkDiffraction(v *audit.Review) error {
	q := v.Sequence
	list, unknown := evidence.Openings(v)
	if len(unknown) > 0 {
		v.Unjudged(noFNumber, unknown...)
	}
	if len(list) == 0 {
		return nil
	}
	pitch := evidence.SensorOf(v).PitchOf(q)
	long, short := evidence.PictureSize(q)
	if !evidence.Known(pitch) || long == 0 {
		v.Unjudged(noSensor, evidence.OpenFrames(list)...)
		return nil
	}
	q1, q2 := v.Param("note-q"), v.Param("check-q")
	limit := optics.FNumberAtQ(q1, optics.Wavelength, pitch)
	past := slices.DeleteFunc(slices.Clone(list), func(o evidence.Opening) bool { return !(o.Working > limit) })
	if len(past) == 0 {
		return nil
	}
	// The frame in the middle speaks for the run.
	slices.SortStableFunc(past, func(a, b evidence.Opening) int { return cmp.Compare(a.Working, b.Working) })
	o := past[len(past)/2]
	ratioQ := optics.Q(optics.Wavelength, pitch, o.Working)
	megapixels := float64(long) * float64(short) / 1e6
	left := optics.MegapixelsLeft(megapixels, ratioQ)
	f := audit.Finding{
		Message:  sayOpening(o),
		Frames:   evidence.InOrder(q, evidence.OpenFrames(past)),
		Measured: exifread.Of(o.Working), Unit: "f-number",
	}
	check := ratioQ > q2 && left < megapixels
	closer := !evidence.Known(o.M.M) && o.Kind != audit.FNumbersEffective
	if check {
		limit = optics.FNumberAtQ(q2, optics.Wavelength, pitch)
		f.Message += fmt.Sprintf(": about %s of %s MP remain", twoFigures(left), twoFigures(megapixels))
		if closer {
			f.Message += ", fewer close up"
		}
		stepped := q.Kind == shoot.Focus || q.Kind == shoot.Series
		if q.Kind == shoot.TimeLapse || !stepped && left >= v.Param("single-share")*megapixels {
			f.Severity = audit.Note
		}
	} else {
		f.Severity = audit.Note
		f.Message += ": diffraction shows at 100 %"
		if closer {
			f.Message += ", more so close up"
		}
	}
	f.Limit = exifread.Of(limit)
	f.Action = instead(o, q, limit, check)
	v.Found(f)
	return nil
}

// sayOpening writes the f-number as recorded and as it works: "f/22 at 1:1 works as f/44".
func sayOpening(o evidence.Opening) string {
	text := writeFNumber(o.Marked)
	if !evidence.Known(o.M.M) || o.Kind == audit.FNumbersEffective || optics.FNumberStops(o.Marked, o.Working) < optics.DriftTolerance {
		return text
	}
	about := ""
	if !o.M.Sure {
		about = "about "
	}
	return fmt.Sprintf("%s at %s%s works as %s", text, about, ratio(o.M.M), writeFNumber(o.Working))
}

// instead says which f-number keeps what is lost at this one; limit is the
// working f-number up to which nothing is.
func instead(o evidence.Opening, q *shoot.Sequence, limit float64, check bool) string {
	marked := limit * o.Marked / o.Working
	best := 0.0
	for _, s := range optics.FNumbers(optics.ThirdStops) {
		if s.Marked <= marked {
			best = s.Marked
		}
	}
	if best == 0 {
		return "open the aperture as far as it goes and make a focus sequence with finer steps"
	}
	if !check {
		return fmt.Sprintf("f/%s avoids it", twoFigures(best))
	}
	with := ""
	switch q.Kind {
	case shoot.Single:
		with = " with a focus sequence"
	case shoot.Focus, shoot.Series:
		with = " with finer focus steps"
	}
	return fmt.Sprintf("f/%s%s keeps them", twoFigures(best), with)
}
