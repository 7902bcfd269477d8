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
	Title:    "Diffraction",
	Severity: audit.Check,
	Shows:    audit.ShowDetail,
	Doc: `Finds frames whose working f-number, the one the sensor sees close up, blurs more
than the pixels are apart. The finding names how many megapixels of detail remain.

Stopping down gives depth of field and costs detail everywhere. Q is wavelength times
working f-number over pixel pitch. Up to Q = 2, sharpening brings contrast back, and noise
with it. Beyond, the finest detail is gone. A focus sequence at a lower f-number has both
depth and detail.

If the picture needs its detail, shoot a focus sequence at the f-number named, or
make the steps of this one finer.

A note means that diffraction shows at 100 %, or can be sharpened. Single frames, bursts and
brackets are often stopped down on purpose, as one frame must be sharp over the whole depth.
For them the finding stays a note until little detail is left. The same is true of a steady
sequence that nothing shows to be close up, and of a clip, which never needs all
megapixels. A lens that is open as far as it goes can do no more: that is a note, too.
F-numbers are rounded, so less than 1/6 EV past a limit does not count.

Some lenses record the f-number that is set, some the working one, two stops apart at 1:1.
The frames show which, where the recorded value rises as focus comes nearer, or where a lens
so near cannot work at it. Otherwise declare f-numbers = "nominal" or "effective" in
prestrike.toml. Until then both are named, and the milder counts. Without a magnification
the recorded f-number counts as the working one, which is higher. A lens of telephoto build
works at a higher one still: declare its pupil magnification.`,
	Source: "Holst, Opt. Eng. 46(10) 103204, 2007, and common practice for the note (Airy disc of 2.5 pixels); Fiete, Opt. Eng. 38(7) 1229, 1999, for the check (the lens passes nothing of the finest pattern); Rayleigh's criterion at two pixels for the megapixels; working f-number: Greivenkamp, Field Guide to Geometrical Optics (2004), p. 29",
	Params: []audit.Param{
		{
			Name: "note-q", Doc: "wavelength times working f-number over pixel pitch from which diffraction shows at 100 %",
			Default: 1.0246, Min: optics.QTransition, Max: 10, // optics.QNotice, in digits that a file shows whole
		},
		{
			Name: "check-q", Doc: "the same ratio from which no sharpening brings detail back",
			Default: optics.QCutoff, Min: optics.QTransition, Max: 10,
		},
		{
			Name: "single-share", Doc: "a frame that must be sharp over the whole depth is a check where less than this share of its megapixels remains",
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
		v.Unjudged(evidence.NoPitch(q, noSensor), evidence.OpenFrames(list)...)
		return nil
	}
	noteAt := optics.FNumberAtQ(v.Param("note-q"), optics.Wavelength, pitch)
	past := slices.DeleteFunc(slices.Clone(list), func(o evidence.Opening) bool { return !pastLimit(o.Working, noteAt) })
	if len(past) == 0 {
		return nil
	}
	// The frame in the middle represents the run.
	slices.SortStableFunc(past, func(a, b evidence.Opening) int { return cmp.Compare(a.Working, b.Working) })
	r := resolved{past[len(past)/2], pitch, float64(long) * float64(short) / 1e6}
	if f, ok := r.judge(v); ok {
		f.Frames = evidence.InOrder(q, evidence.OpenFrames(past))
		v.Found(f)
	}
	return nil
}

// pastLimit reports whether an f-number is past a limit by more than the
// rounding of marked f-numbers.
func pastLimit(n, limit float64) bool {
	return optics.FNumberStops(limit, n) >= optics.DriftTolerance
}

// A resolved opening is one with the pixels it falls on.
type resolved struct {
	evidence.Opening
	pitch      optics.Length
	megapixels float64
}

// left returns the megapixels of real detail at a working f-number.
func (r resolved) left(working float64) float64 {
	return optics.MegapixelsLeft(r.megapixels, optics.Q(optics.Wavelength, r.pitch, working))
}

// judge makes the finding on an opening past the limit of a note; none where it is
// past it by one reading only and nothing is lost by the other, and none where
// nobody chose the opening and little is lost.
func (r resolved) judge(v *audit.Review) (f audit.Finding, found bool) {
	noteAt := optics.FNumberAtQ(v.Param("note-q"), optics.Wavelength, r.pitch)
	faintAt := optics.FNumberAtQ(optics.QWarning, optics.Wavelength, r.pitch)
	lostAt := optics.FNumberAtQ(v.Param("check-q"), optics.Wavelength, r.pitch)
	f = audit.Finding{Severity: audit.Note, Measured: exifread.Of(r.Working), Unit: "f-number", Message: openingText(r.Opening)}
	limit, fewer := noteAt, "more so"
	switch lost := pastLimit(r.Working, lostAt); {
	case r.left(r.Working) < r.megapixels && (lost || pastLimit(r.Working, faintAt)):
		f.Message += "; " + r.remain()
		limit, fewer = faintAt, "fewer"
		f.Limit = exifread.Of(faintAt)
		if lost {
			f.Limit, f.Severity = exifread.Of(lostAt), r.severity(v, lostAt)
		} else {
			f.Message += " until sharpening brings contrast back"
		}
		f.Action = r.instead(v, limit, "keep the detail")
		if r.TwoReadings() && !lost && !pastLimit(r.Least(), noteAt) {
			return f, false
		}
	case r.WideOpen(), r.TwoReadings() && !pastLimit(r.Least(), noteAt):
		return f, false
	default:
		f.Message += "; diffraction shows at 100 %"
		f.Limit = exifread.Of(noteAt)
		f.Action = r.instead(v, limit, "avoid it")
	}
	if !evidence.Known(r.M.M) && r.Kind != audit.FNumbersEffective {
		f.Message += ", " + fewer + " close up"
	}
	return f, true
}

// severity returns that of detail that is lost for good, by the milder of two
// readings.
func (r resolved) severity(v *audit.Review, lostAt float64) audit.Severity {
	q, mild := v.Sequence, r.Least()
	if q.Kind == shoot.TimeLapse || r.WideOpen() || !pastLimit(mild, lostAt) {
		return audit.Note
	}
	// From here on a steady run rather is one of focus steps than of one thing after another.
	const nearBy = 0.1
	stepped := q.Kind == shoot.Focus || q.Kind == shoot.Series && r.M.M >= nearBy
	if !stepped && r.left(mild) >= v.Param("single-share")*r.megapixels {
		return audit.Note
	}
	return audit.Check
}

// remain writes how much detail remains, by both readings where there are two.
func (r resolved) remain() string {
	least, most := twoFigures(r.left(r.Working)), twoFigures(r.left(r.Least()))
	if least != most {
		least += " to " + most
	}
	return fmt.Sprintf("about %s of %s MP remain", least, twoFigures(r.megapixels))
}

// openingText writes the f-number as recorded and as it works: "f/22 at 1:1 works as f/44".
func openingText(o evidence.Opening) string {
	text := writeFNumber(o.Marked)
	if !evidence.Known(o.M.M) || o.Kind == audit.FNumbersEffective || optics.FNumberStops(o.Marked, o.Working) < optics.DriftTolerance {
		return text
	}
	about := ""
	if !o.M.Sure {
		about = "about "
	}
	text = fmt.Sprintf("%s at %s%s works as %s", text, about, ratio(o.M.M), writeFNumber(o.Working))
	if o.TwoReadings() {
		text += fmt.Sprintf(", or as %s where the camera records the working f-number", writeFNumber(o.Marked))
	}
	return text
}

// instead returns which f-number keeps what is lost at this one; limit is the
// working f-number up to which nothing is. Of two readings it goes by the one
// that asks for more. It names no f-number that the lens does not have.
func (r resolved) instead(v *audit.Review, limit float64, keep string) string {
	best := 0.0
	for _, s := range optics.FNumbers(optics.ThirdStops) {
		if s.Exact <= limit*r.Marked/r.Working { // f/13 is f/12.7
			best = s.Marked
		}
	}
	with := ""
	switch v.Sequence.Kind {
	case shoot.Single:
		with = " with a focus sequence"
	case shoot.Focus:
		with = " with finer focus steps"
	}
	open, opens := r.Widest()
	switch {
	case r.WideOpen():
		return "nothing to set: the lens is open as far as it goes"
	case opens && best < open:
		return fmt.Sprintf("use %s%s, as far as the lens opens, to keep more", writeFNumber(open), with)
	case best == 0:
		return fmt.Sprintf("open the aperture as far as it goes%s", with)
	case !opens && best < evidence.WidestUsed(v):
		with += ", where the lens has it,"
	}
	return fmt.Sprintf("use f/%s%s to %s", twoFigures(best), with, keep)
}
