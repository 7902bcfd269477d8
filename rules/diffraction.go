package rules

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/exifread"
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
	CheckSession: checkDiffraction,
}

func checkDiffraction(v *audit.Review) error {
	found := sensors(v, nil)
	// What one run shows of a lens holds for all its frames.
	effective := map[mounted]bool{}
	for _, q := range v.Session.Sequences {
		if q.Kind.Steady() && reportsWorking(v, q) {
			effective[mountedOn(q)] = true
		}
	}
	for _, q := range v.Session.Sequences {
		checkDiffractionOf(v, q, found[q.Body], effective[mountedOn(q)])
	}
	return nil
}

// mounted is a lens on a body.
type mounted struct {
	body *shoot.Body
	lens exifread.Value[string]
}

func mountedOn(q *shoot.Sequence) mounted { return mounted{q.Body, q.Frames[0].Meta().LensModel} }

// An opening is the f-number of a frame with what the sensor sees of it.
type opening struct {
	frame   *shoot.Frame
	marked  float64 // as recorded
	m       magnification
	kind    audit.FNumbers
	working float64
}

// openings reads the f-numbers of a sequence; unknown are the frames that
// record other things, but no f-number. effective tells that frames of this body
// and lens show that they record the working f-number.
func openings(v *audit.Review, q *shoot.Sequence, s sensor, effective bool) (list []opening, unknown []*shoot.Frame) {
	for _, f := range q.Frames {
		if !f.Meta().HasExif {
			continue
		}
		n := exifread.Positive(f.Meta().FNumber)
		if n == 0 {
			unknown = append(unknown, f)
			continue
		}
		o := opening{frame: f, marked: n, m: magnificationOf(v, q, s, f), kind: fNumbersOf(v, q.Body, f.Meta())}
		if o.kind == audit.FNumbersUnknown && effective {
			o.kind = audit.FNumbersEffective
		}
		o.working = working(n, o.m, o.kind, lensFacts(v.Options, f.Meta()))
		list = append(list, o)
	}
	return list, unknown
}

func checkDiffractionOf(v *audit.Review, q *shoot.Sequence, s sensor, effective bool) {
	list, unknown := openings(v, q, s, effective)
	if len(unknown) > 0 {
		v.Unjudged(noFNumber, unknown...)
	}
	if len(list) == 0 {
		return
	}
	pitch := s.pitchOf(q)
	long, short := pictureSize(q)
	if !known(pitch) || long == 0 {
		v.Unjudged(noSensor, openFrames(list)...)
		return
	}
	q1, q2 := v.Param("note-q"), v.Param("check-q")
	limit := optics.FNumberAtQ(q1, optics.Wavelength, pitch)
	past := slices.DeleteFunc(list, func(o opening) bool { return !(o.working > limit) })
	if len(past) == 0 {
		return
	}
	// The frame in the middle speaks for the run.
	slices.SortStableFunc(past, func(a, b opening) int { return cmp.Compare(a.working, b.working) })
	o := past[len(past)/2]
	ratioQ := optics.Q(optics.Wavelength, pitch, o.working)
	megapixels := float64(long) * float64(short) / 1e6
	left := optics.MegapixelsLeft(megapixels, ratioQ)
	f := audit.Finding{
		Message:  o.say(),
		Frames:   inOrder(q, openFrames(past)),
		Measured: exifread.Of(o.working), Unit: "f-number",
	}
	check := ratioQ > q2 && left < megapixels
	closer := !known(o.m.m) && o.kind != audit.FNumbersEffective
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
	f.Action = o.instead(q, limit, check)
	v.Found(f)
}

// say writes the f-number as recorded and as it works: "f/22 at 1:1 works as f/44".
func (o opening) say() string {
	text := writeFNumber(o.marked)
	if !known(o.m.m) || o.kind == audit.FNumbersEffective || optics.FNumberStops(o.marked, o.working) < optics.DriftTolerance {
		return text
	}
	about := ""
	if !o.m.sure {
		about = "about "
	}
	return fmt.Sprintf("%s at %s%s works as %s", text, about, ratio(o.m.m), writeFNumber(o.working))
}

// instead says which f-number keeps what is lost at this one; limit is the
// working f-number up to which nothing is.
func (o opening) instead(q *shoot.Sequence, limit float64, check bool) string {
	marked := limit * o.marked / o.working
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

func openFrames(list []opening) []*shoot.Frame {
	frames := make([]*shoot.Frame, len(list))
	for i, o := range list {
		frames[i] = o.frame
	}
	return frames
}

// inOrder returns frames in the order of their sequence.
func inOrder(q *shoot.Sequence, frames []*shoot.Frame) []*shoot.Frame {
	wanted := make(map[*shoot.Frame]bool, len(frames))
	for _, f := range frames {
		wanted[f] = true
	}
	out := make([]*shoot.Frame, 0, len(frames))
	for _, f := range q.Frames {
		if wanted[f] {
			out = append(out, f)
		}
	}
	return out
}

// reportsWorking reports whether the frames of a run show that their f-number
// is the working one: it falls back towards the lens's own largest opening as
// focus goes away, which no f-number set by hand does.
func reportsWorking(v *audit.Review, q *shoot.Sequence) bool {
	s := fNumber(tolerance.Default)
	return walksWithFocus(q.Frames, s, paramOf(v, "aperture-drift", focusStep)) == walkShown
}

// widest returns the smallest f-number of the frame's lens, as its
// specification or MaxApertureValue tells.
func widest(m *exifread.Metadata) (float64, bool) {
	if spec, ok := m.LensSpecification.Get(); ok {
		a, okA := spec.MinFNumberMinFocal.Get()
		b, okB := spec.MinFNumberMaxFocal.Get()
		switch {
		case okA && okB && a > 0 && b > 0:
			return min(a, b), true
		case okA && a > 0:
			return a, true
		}
	}
	if av, ok := m.MaxApertureValue.Get(); ok && av.Den != 0 {
		if n := optics.FNumberFromAv(av.Float()); n > 0 && !math.IsInf(n, 1) {
			return n, true
		}
	}
	return 0, false
}
