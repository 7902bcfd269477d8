package rules

import (
	"cmp"
	"fmt"
	"slices"

	"prestrike/audit"
	"prestrike/audit/pixels"
	"prestrike/audit/shoot"
	"prestrike/audit/words"
	"prestrike/exifread"
	"prestrike/rules/evidence"
	"prestrike/rules/optics"
)

var focusGap = &audit.Rule{
	ID:       "focus-gap",
	Title:    "Focus steps too wide",
	Severity: audit.Check,
	Shows:    audit.ShowDetail,
	Doc: `Finds focus sequences whose steps are too wide. The recorded distances show steps wider than
the depth of field, or the pictures show too much blur between the frames. Between two such
frames a band of the subject is sharp in neither.

The band shows when the frames are merged, days later.

Shoot the sequence again with steps no wider than the one named, or stop down.

The depth of field is computed for sharpness at 100 %, by geometry and by diffraction. A
step above 0.7 of the larger value is a note, above the larger value a check. Above 1.35 of
both together a gap is certain: half-way, a tenth of the contrast remains. For a reshoot the
magnification must be declared, or follow from a declared lens. Recorded distances have a
coarse scale, so each step counts as the least that it can be. Where the scale cannot show
the steps, the distances are not used. They are wrong where the lens records wrong ones. A
single step three times as wide as its neighbours is a check, even where no magnification is
known. The scale must be fine enough to show it.

The pictures show over how many frames a part stays sharp. From that follows how much
blur one step adds, to a factor of two. Where this does not decide, up to 16 pictures are
inspected again: how the sharpest places blur from frame to frame shows it to some 15 %.
A step so near the limit is not judged. Half of the blur is left half-way between two
frames. A step far wider than its neighbours is a note, and a check where the blur half-way
is too large. Wide steps are reported once, by the stronger evidence.`,
	Source: "Nayar and Nakagawa, Shape from focus, IEEE TPAMI 16(8), 1994 (width of the range of sharpness); Subbarao and Surya, Depth from defocus, IJCV 13(3), 1994 (growth of blur); Wikipedia, Depth of field, and photomacrography.net viewtopic.php?t=41247 (quarter-wave depth); notice at 0.7 of it: common practice (photomacrography.net viewtopic.php?t=43953); certain limit, where a tenth of the contrast remains at half the finest pattern of the pixels: H. H. Hopkins, The frequency response of a defocused optical system, Proc. R. Soc. A 231 (1955), 91",
	Params: []audit.Param{
		{
			Name: "note-share", Doc: "share of the depth of field from which a focus step is a note",
			Default: optics.StepRatio, Min: 0.05, Max: 5,
		},
		{
			Name: "check-share", Doc: "share of the depth of field from which a focus step is a check",
			Default: 1, Min: 0.05, Max: 5,
		},
		{
			Name: "certain-share", Doc: "share of both depths of field together from which a gap is certain",
			Default: 1.35, Min: 0.05, Max: 5,
		},
		{
			Name: "leap", Unit: "usual steps", Doc: "a step this many times as wide as its neighbours is a check where no magnification is known",
			Default: 3, Min: 2, Max: 100,
		},
		{
			Name: "blur", Unit: "pixels", Doc: "the blur that still counts as sharp",
			Default: optics.PixelsOfBlur, Min: 1, Max: 50,
		},
		growth,
		{
			Name: "edge", Unit: "frames", Doc: "this many frames at each end count as test frames where they are far off",
			Default: 2, Min: 0, Max: 100,
		},
		{
			Name: "far-off", Unit: "focus steps", Doc: "how far from the other frames such test frames are",
			Default: 4, Min: 2, Max: 100,
		},
	},
	Check: checkFocusGap,
}

// wideStepTitle leads findings on single steps.
const wideStepTitle = "Wide focus step"

// growth is shared by the rules on gaps.
var growth = audit.Param{
	Name: "growth", Unit: "px", Doc: "blur added by one focus step that is too much, in pixels of a picture about 1,600 wide",
	Default: 3, Min: 3, Max: 50,
}

// GrowthAllowed returns by how much blur may grow from one frame to the next, in px of a
// picture some 1,600 wide, before a report doubts the focus step.
func GrowthAllowed(o *audit.Options) float64 { return o.Param(focusGap, growth) }

// A plane is where one frame is focused, with the focus steps allowed there.
type plane struct {
	frame *shoot.Frame
	at    float64 // mm from the sensor
	holes int     // frames without a distance before it
	open  evidence.Opening
	// The limits of focus steps, mm.
	note, check, certain float64
}

func checkFocusGap(v *audit.Review) error {
	found, gap, why := gapByDistance(v)
	verdict := func(j *pixels.Judgement) pixels.Verdict { return gapVerdict(j, v.Param("growth")) }
	j, notSeen := evidence.Seen(v)
	if j != nil && v.Sequence.Kind == shoot.Focus {
		if inPictures, ok := gapInPictures(v, j); ok && (!gap || inPictures.Severity > found.Severity) {
			found, gap = inPictures, true
		}
	}
	if why != "" && !gap && (j == nil || j.Jumps.Answer != pixels.Fine) {
		found, gap = leap(v)
	}
	switch {
	case gap:
		v.Found(found)
	case why != "" && (j == nil || verdict(j).Answer == pixels.CannotTell):
		v.Unjudged(evidence.UnknownTo(why, j, notSeen, verdict))
	}
	return nil
}

// gapVerdict is what pictures answer to both, whether all steps are wider than the limit
// and whether one is wider than the others: nothing where either is not known.
func gapVerdict(j *pixels.Judgement, limit float64) pixels.Verdict {
	if step := j.Step.Beyond(limit); step.Answer == pixels.CannotTell {
		return step
	}
	return j.Jumps.Verdict
}

// gapByDistance judges the recorded distances; why is the reason where they do not answer.
func gapByDistance(v *audit.Review) (found audit.Finding, gap bool, why string) {
	q := v.Sequence
	w, why, ok := evidence.WalkOf(v)
	if !ok {
		return found, false, why
	}
	s := evidence.SensorOf(v)
	pitch := s.PitchOf(q)
	if !evidence.Known(pitch) {
		return found, false, evidence.NoPitch(q, noSensor)
	}
	planes, why := planesOf(w, v, s, pitch)
	if why != "" {
		return found, false, why
	}
	planes = trim(planes, int(v.Param("edge")), v.Param("far-off")*w.Step)
	worst, like := widestSteps(planes, w.Scale)
	if len(like) == 0 {
		// A step of the scale may hide a gap.
		if slices.ContainsFunc(planes, func(p plane) bool { return w.Scale > p.check }) {
			why = "the recorded focus distance is too coarse for these focus steps"
		}
		return found, false, why
	}
	return worst.finding(q, planes, like), true, ""
}

// leap makes the finding on one recorded step far wider than its neighbours, which
// no magnification is needed to see.
func leap(v *audit.Review) (audit.Finding, bool) {
	w, _, ok := evidence.WalkOf(v)
	if !ok {
		return audit.Finding{}, false
	}
	reported := reportedGaps(v)
	var widest evidence.Leap
	for _, l := range w.Leaps(v.Param("leap")) {
		if l.Ratio > widest.Ratio && !reported[w.Frames[l.From]] {
			widest = l
		}
	}
	if widest.Ratio == 0 {
		return audit.Finding{}, false
	}
	from, to := w.Frames[widest.From], w.Frames[widest.To]
	return audit.Finding{
		Severity: audit.Check, Title: wideStepTitle,
		Message: fmt.Sprintf("focus moves %s between %s and %s, about %s times as far as between their neighbours",
			writeMillimetres(widest.Move), from.Label(), to.Label(), twoFigures(widest.Ratio)),
		Action:   "inspect the band between the two at 100 %; if it is soft, shoot the sequence again",
		Frames:   []*shoot.Frame{from, to},
		Measured: exifread.Of(widest.Ratio), Limit: exifread.Of(v.Param("leap")), Unit: "usual steps",
	}, true
}

// gapInPictures makes the finding on steps that the pictures show to be too wide:
// all of them, or else those that are much wider than their neighbours.
func gapInPictures(v *audit.Review, j *pixels.Judgement) (audit.Finding, bool) {
	q := v.Sequence
	limit := v.Param("growth")
	growth := j.Step.Blur
	if j.Step.Beyond(limit).Answer == pixels.Found {
		return audit.Finding{
			Severity: audit.Check,
			Message: fmt.Sprintf("half-way between two frames the subject is blurred by %s",
				writePixels(evidence.FullSize(q, j, j.Step.Blur/2))),
			Action:   fmt.Sprintf("inspect the bands between the frames at 100 %%; if they are soft, shoot the sequence again with steps %s", shareOfStep(limit/growth)),
			Frames:   q.Frames,
			Measured: exifread.Of(growth), Limit: exifread.Of(limit), Unit: "px of blur a frame",
		}, true
	}
	reported := reportedGaps(v)
	jumps := slices.DeleteFunc(slices.Clone(j.Jumps.Events), func(e pixels.Jump) bool { return e.Weak || reported[q.Frames[e.From]] })
	if len(jumps) == 0 {
		return audit.Finding{}, false
	}
	return jumpsFinding(v, j, jumps, limit), true
}

// jumpsFinding names every step that is much wider than its neighbours, the widest first.
func jumpsFinding(v *audit.Review, j *pixels.Judgement, jumps []pixels.Jump, limit float64) audit.Finding {
	q := v.Sequence
	slices.SortStableFunc(jumps, func(a, b pixels.Jump) int { return cmp.Compare(b.Ratio, a.Ratio) })
	widest := jumps[0]
	found := audit.Finding{
		Severity: audit.Note, Title: wideStepTitle,
		Message: fmt.Sprintf("%s about %s times as far between %s and %s as between their neighbours",
			focusOrCamera(j, "moves"), twoFigures(widest.Ratio), q.Frames[widest.From].Label(), q.Frames[widest.To].Label()),
		Action:   "nothing to do where the focus steps are small; where they are wide, inspect the band between the frames named at 100 %",
		Measured: exifread.Of(widest.Ratio), Limit: exifread.Of(pixels.DefaultThresholds().JumpRatio), Unit: "usual steps",
	}
	var more []string
	for i, e := range jumps {
		from, to := q.Frames[e.From], q.Frames[e.To]
		found.Frames = append(found.Frames, from, to)
		if i > 0 {
			more = append(more, fmt.Sprintf("about %s times between %s and %s", twoFigures(e.Ratio), from.Label(), to.Label()))
		}
	}
	found.Frames = evidence.InOrder(q, found.Frames)
	action := "inspect the band between the two at 100 %; if it is soft, shoot the sequence again"
	if len(more) > 0 {
		found.Message += "; and " + words.List(more, len(more))
		action = "inspect the bands between these frames at 100 %; if one is soft, shoot the sequence again"
	}
	if !(j.Step.Blur*widest.Ratio > limit) { // 0 where it is not known
		return found
	}
	found.Severity, found.Action = audit.Check, action
	for _, e := range jumps {
		h, patch, ok := patchFor(v, q.Frames[e.From], q.Frames[e.To], e.Ratio)
		if !ok {
			found.Holes = nil
			break
		}
		found.Holes = append(found.Holes, h)
		if len(jumps) == 1 {
			found.Action = "inspect the band between the two at 100 %; if it is soft, " + patch
		}
	}
	return found
}

// shareOfStep writes how wide the steps should be: "half as wide".
func shareOfStep(share float64) string {
	switch {
	case share > 0.7:
		return "a little narrower"
	case share > 0.4:
		return "half as wide"
	default:
		return "a third as wide or less"
	}
}

// reportedGaps returns the frames behind which frames are missing by number, or by
// time and pictures: other rules report those.
func reportedGaps(v *audit.Review) map[*shoot.Frame]bool {
	reported := map[*shoot.Frame]bool{}
	q := v.Sequence
	for _, g := range evidence.Gaps.Of(v) {
		if g.Reading != evidence.Missing && !g.Skipped() {
			continue
		}
		for i := slices.Index(q.Frames, g.From); q.Frames[i] != g.To; i++ {
			reported[q.Frames[i]] = true
		}
	}
	return reported
}

// planesOf returns the focus planes from near to far: however focus went, they
// cover the subject together.
func planesOf(w evidence.Walk, v *audit.Review, s evidence.Sensor, pitch optics.Length) (planes []plane, why string) {
	list, unknown := evidence.Openings(v)
	if len(unknown) > 0 {
		return nil, noFNumber
	}
	opened := make(map[*shoot.Frame]evidence.Opening, len(list))
	for _, o := range list {
		opened[o.Frame] = o
	}
	c := optics.Length(v.Param("blur")) * pitch
	for i, frame := range w.Frames {
		o := opened[frame]
		focal := optics.Length(exifread.Positive(o.Frame.Meta().FocalLength)) * optics.Millimetre
		at := optics.Length(w.At[i]) * optics.Millimetre
		switch {
		case !evidence.Known(o.M.M):
			return nil, noMagnification
		case !fits(at, focal, o.M.M):
			return nil, "the recorded focus distance does not fit the magnification"
		}
		depth := optics.DepthOfField(c, optics.Wavelength, o.Working, o.M.M)
		if focal > 0 {
			p := evidence.Pupil(evidence.LensFacts(v.Options, o.Frame.Meta()))
			depth.Geometric = optics.GeometricDepthExact(focal, c, optics.MarkedFNumber(o.Working, o.M.M, p), o.M.M, p)
		}
		planes = append(planes, plane{
			frame: o.Frame, at: w.At[i], holes: w.Holes[i], open: o,
			note:    v.Param("note-share") * depth.Larger().Millimetres(),
			check:   v.Param("check-share") * depth.Larger().Millimetres(),
			certain: v.Param("certain-share") * depth.Sum().Millimetres(),
		})
	}
	slices.SortStableFunc(planes, func(a, b plane) int { return cmp.Compare(a.at, b.at) })
	return planes, ""
}

// fits reports whether a distance can be that of a magnification. Lenses
// shorten as they focus, so that it may differ by much, but not as one in
// another unit does.
func fits(d, focal optics.Length, m float64) bool {
	const apart = 3
	thin := optics.FocusDistance(focal, m)
	return !evidence.Known(thin) || d <= apart*thin && thin <= apart*d
}

// trim drops the few planes at either end that lie far off from the rest.
func trim(planes []plane, edge int, far float64) []plane {
	for n := edge; n >= 1; n-- {
		if len(planes) > 3*n && planes[n].at-planes[n-1].at > far {
			planes = planes[n:]
			break
		}
	}
	for n := edge; n >= 1; n-- {
		if end := len(planes) - n; len(planes) > 3*n && planes[end].at-planes[end-1].at > far {
			planes = planes[:end]
			break
		}
	}
	return planes
}

// A wideStep is a way over one or more planes whose steps are too wide.
type wideStep struct {
	from, to int     // planes
	step     float64 // at least, mm
	limit    float64 // mm
	severity audit.Severity
}

// worse reports whether s is worse than o.
func (s wideStep) worse(o wideStep) bool {
	return s.severity > o.severity || s.severity == o.severity && s.step/s.limit > o.step/o.limit
}

// widestSteps finds the steps that are too wide by what they are at least: the
// way from one plane to another is known to a step of the scale, and one step
// on it is at least the mean of them all. It returns the worst, and all ways of
// its severity over as many planes, from near to far; none where none is too wide.
func widestSteps(planes []plane, scale float64) (worst wideStep, like []wideStep) {
	for steps := 1; steps < len(planes); steps *= 2 {
		var found []wideStep
		better := false
		for from := 0; from+steps < len(planes); from++ {
			w, ok := wayOver(planes, from, from+steps, scale)
			if !ok {
				continue
			}
			found = append(found, w)
			if w.worse(worst) {
				worst, better = w, true
			}
		}
		if better {
			like = found
		}
	}
	return worst, slices.DeleteFunc(like, func(w wideStep) bool { return w.severity < worst.severity })
}

// wayOver judges the steps from one plane to another.
func wayOver(planes []plane, from, to int, scale float64) (wideStep, bool) {
	near, far := planes[from], planes[to]
	// A frame without a distance lies between these, or does not: it is believed to.
	steps := to - from + max(far.holes-near.holes, near.holes-far.holes)
	w := wideStep{from: from, to: to, step: (far.at - near.at - scale) / float64(steps)}
	// The depth of field is the greater where focus is farther away.
	switch note, check, certain := max(near.note, far.note), max(near.check, far.check), max(near.certain, far.certain); {
	case w.step > certain && near.open.M.Sure && far.open.M.Sure:
		w.severity, w.limit = audit.Reshoot, certain
	case w.step > check:
		w.severity, w.limit = audit.Check, check
	case w.step > note:
		w.severity, w.limit = audit.Note, note
	default:
		return w, false
	}
	return w, true
}

// finding makes the finding on the worst of several ways with the same fault.
func (w wideStep) finding(q *shoot.Sequence, planes []plane, like []wideStep) audit.Finding {
	var frames []*shoot.Frame
	next := 0
	for _, l := range like {
		for next = max(next, l.from); next <= l.to; next++ {
			frames = append(frames, planes[next].frame)
		}
	}
	frames = evidence.InOrder(q, frames)
	o := planes[w.to].open
	at := writeFNumber(o.Marked) + " and "
	if !o.M.Sure {
		at += "about "
	}
	at += ratio(o.M.M)
	where := ""
	if len(frames) < len(q.Frames) {
		where = " in " + shoot.FrameRanges(q.Frames, frames)
	}
	least := writeMillimetres(planes[w.to].note)
	f := audit.Finding{
		Message: fmt.Sprintf("steps are %s or more%s, where the depth of field at %s is %s",
			writeMillimetres(w.step), where, at, writeMillimetres(planes[w.to].check)),
		Action:   fmt.Sprintf("shoot the sequence again in steps of %s or less", least),
		Severity: w.severity,
		Frames:   frames,
		Measured: exifread.Of(w.step), Limit: exifread.Of(w.limit), Unit: "mm",
	}
	switch w.severity {
	case audit.Note:
		f.Message += "; little overlap is left"
		f.Action = fmt.Sprintf("make the steps of the next sequence %s or less", least)
	case audit.Check:
		f.Message += "; bands between the frames may be soft"
		f.Action = "inspect the bands between the frames at 100 %; if they are soft, " + f.Action
	default:
		f.Message += "; bands between the frames are soft"
	}
	return f
}
