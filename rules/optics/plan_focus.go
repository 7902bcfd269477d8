package optics

import (
	"fmt"
	"math"
	"slices"
	"strconv"
)

// NeedsFocal is the magnification below which a [FocusTask] needs the focal
// length: so far away, a depth is a fair part of the distance, and the depth of
// field grows much from its near end to its far end.
const NeedsFocal = 0.03

// A FocusTask is a subject to be sharp from front to back.
type FocusTask struct {
	Depth Length // from the nearest to the farthest point, 1 µm to 1 m
	// Exactly one of Magnification (0.01 to 20) and FieldWidth (what the
	// sensor's width sees) is given; the other is 0. Either holds for the
	// nearest point.
	Magnification float64
	FieldWidth    Length
	// Focal is the focal length, 1 to 2000 mm, 0 where not known. With it the
	// plan reports what the far end of the depth needs. Magnifications below
	// [NeedsFocal] need it.
	Focal  Length
	Sensor Sensor
	// FNumbers are the f-numbers to compare, 0.5 to 128, at least one. See
	// [StopsBetween]. They are marked, or with WorkingFNumbers those that the
	// sensor sees, as some bodies show them close up.
	FNumbers        []float64
	WorkingFNumbers bool
	// ThirdStops lets the plan recommend any third stop between the smallest
	// and the largest of FNumbers; it adds the row.
	ThirdStops bool
	// NumericalAperture is that of a microscope objective, above 0 and at most
	// 1, in place of FNumbers; else 0.
	NumericalAperture float64
	// PupilMagnification is 0.1 to 10; 0 means [SymmetricPupil].
	PupilMagnification float64
	// Overlap is the fraction of the depth of field by which neighbouring
	// frames overlap, 0 to 0.9; 1-[StepRatio] is the common practice.
	Overlap float64
	// Margin is how many frames to add at each end of a sequence, 0 to 100:
	// focus never starts just at the nearest point.
	Margin int
	// Blur is the circle of confusion, 1 µm to 1 mm; 0 means [PixelCoC].
	Blur Length
	// GeometryOnly leaves the wave part of the depth of field out, as printed
	// step tables do.
	GeometryOnly bool
	// Exposure is the exposure time of a frame, up to an hour; 0 where no
	// total time is asked for. It is the one for ExposureAt, an f-number of the
	// kind of FNumbers, and grows with the square of the f-number; where
	// ExposureAt is 0 it holds for all, as with flash.
	Exposure   Seconds
	ExposureAt float64
	// Recycling is the time from the end of one exposure to the start of the
	// next: flash, settling, focus drive. Up to an hour.
	Recycling Seconds
}

// A FocusPlan is what each f-number makes of a [FocusTask].
type FocusPlan struct {
	Magnification    float64 // at the nearest point
	FarMagnification float64 // at the farthest point, for a lens that focuses there; NaN where no focal length was given
	Pitch            Length
	Megapixels       float64
	Blur             Length // the circle of confusion reckoned with
	Margin           int
	Rows             []FocusRow
	// Recommended is the index of the row to choose, and Why the reason, a
	// sentence without full stop.
	Recommended int
	Why         string
	Single      SingleFrame
}

// A FocusRow is one f-number of a [FocusPlan].
type FocusRow struct {
	Aperture       string  // as set, such as "f/8" or "NA 0.1"
	FNumber        float64 // marked
	Working        float64 // what the sensor sees
	Depth          Depth   // both parts of the depth of field at the nearest point
	Used           Length  // the depth of field reckoned with
	Step           Length  // focus step, subject side, at the nearest point; NaN where the depth of field has no end
	FarStep        Length  // the same at the farthest point, focused by the lens; NaN where no focal length was given
	Needed         int     // frames that cover the depth in equal steps; 1 where one frame's depth of field holds all
	Frames         int     // with the margin at both ends, where more than one is needed
	Q              float64 // diffraction over sampling
	MegapixelsLeft float64 // that hold real detail
	Exposure       Seconds // of one frame; NaN where none was given
	Total          Seconds // of the whole sequence; NaN where no exposure was given
}

// A SingleFrame is the best that one stopped-down frame can do, focused in the
// middle of the depth, within the f-numbers asked for.
type SingleFrame struct {
	Aperture       string  // as set
	FNumber        float64 // marked, where the ends are least blurred
	Working        float64
	Blur           Length  // at the nearest and farthest point
	BlurPixels     float64 // the same in pixels
	MegapixelsLeft float64
	Holds          bool // whether Blur is within the circle of confusion
	// Limited reports that a still larger f-number than asked for would blur
	// the ends less.
	Limited bool
}

// StopsBetween returns lo, hi and the marked full stops between them, in
// order: f-numbers for a table. None unless lo is above 0 and at most hi.
func StopsBetween(lo, hi float64) []float64 { return settingsBetween(FullStops, lo, hi) }

func settingsBetween(steps Steps, lo, hi float64) []float64 {
	if !positive(lo, hi) || lo > hi {
		return nil
	}
	list := []float64{lo}
	for _, s := range FNumbers(steps) {
		if s.Marked > lo && s.Marked < hi {
			list = append(list, s.Marked)
		}
	}
	if hi > lo {
		list = append(list, hi)
	}
	return list
}

func (t FocusTask) validate() error {
	if err := firstError(
		within("depth", t.Depth, Micrometre, Metre, "mm"),
		t.Sensor.validate(),
		t.validateScale(),
		t.validateAperture(),
	); err != nil {
		return err
	}
	for _, optional := range []struct {
		given bool
		err   error
	}{
		{t.PupilMagnification != 0, within("pupil magnification", t.PupilMagnification, 0.1, 10, "")},
		{t.Blur != 0, within("circle of confusion", t.Blur, Micrometre, Millimetre, "mm")},
		{t.ExposureAt != 0, within("f-number of the exposure", t.ExposureAt, 0.5, 128, "")},
	} {
		if optional.given && optional.err != nil {
			return optional.err
		}
	}
	return firstError(
		within("overlap", t.Overlap, 0, 0.9, ""),
		within("margin", t.Margin, 0, 100, "frames"),
		within("exposure time", t.Exposure, 0, 3600, "s"),
		within("recycling time", t.Recycling, 0, 3600, "s"),
	)
}

// validateScale checks the magnification and what goes with it.
func (t FocusTask) validateScale() error {
	m := t.Magnification
	switch {
	case t.Magnification == 0 && t.FieldWidth == 0:
		return &RangeError{"magnification", "not given", "given, or the field width in its place"}
	case t.Magnification != 0 && t.FieldWidth != 0:
		return &RangeError{"field width", t.FieldWidth.String(), "left out where the magnification is given"}
	case t.FieldWidth != 0:
		if err := within("field width", t.FieldWidth, t.Sensor.Width/20, t.Sensor.Width*100, "mm"); err != nil {
			return err
		}
		m = MagnificationFromField(t.Sensor.Width, t.FieldWidth)
	default:
		if err := within("magnification", t.Magnification, 0.01, 20, ""); err != nil {
			return err
		}
	}
	if t.Focal != 0 {
		return within("focal length", t.Focal, Millimetre, 2*Metre, "mm")
	}
	if m < NeedsFocal {
		return &RangeError{
			"focal length", "not given",
			fmt.Sprintf("given where the magnification is below %v", NeedsFocal),
		}
	}
	return nil
}

// validateAperture checks that there are f-numbers, or a numerical aperture.
func (t FocusTask) validateAperture() error {
	if t.NumericalAperture != 0 {
		if len(t.FNumbers) > 0 {
			return &RangeError{"numerical aperture", digits(t.NumericalAperture, 3), "left out where f-numbers are given"}
		}
		return within("numerical aperture", t.NumericalAperture, 0.001, 1, "")
	}
	if len(t.FNumbers) == 0 {
		return &RangeError{"f-numbers", "none", "at least one"}
	}
	for _, n := range t.FNumbers {
		if err := within("f-number", n, 0.5, 128, ""); err != nil {
			return err
		}
	}
	return nil
}

// Plan works out the task for each f-number. The error is a [*RangeError]
// unless a sequence takes more than [MaxFrames].
//
// The recommended row needs the fewest frames among those that keep all
// megapixels (Q up to [QWarning]); of equal ones that with the least
// diffraction. Where none keeps them, it is the one that loses least.
//
// Source: the functions of this package, each with its own.
func (t FocusTask) Plan() (*FocusPlan, error) {
	if err := t.validate(); err != nil {
		return nil, err
	}
	t = t.complete()
	p := &FocusPlan{
		Magnification:    t.Magnification,
		FarMagnification: t.farMagnification(),
		Pitch:            t.Sensor.Pitch(),
		Megapixels:       t.Sensor.Megapixels(),
		Blur:             t.Blur,
		Margin:           t.Margin,
	}
	numbers := slices.Sorted(slices.Values(t.FNumbers))
	for _, n := range numbers {
		row, err := t.row(n)
		if err != nil {
			return nil, err
		}
		p.Rows = append(p.Rows, row)
	}
	p.Single = t.single(numbers[0], numbers[len(numbers)-1])
	if t.ThirdStops {
		if err := p.addThirdStop(t, numbers); err != nil {
			return nil, err
		}
	}
	p.recommend(t)
	return p, nil
}

// complete puts in what was left to the plan.
func (t FocusTask) complete() FocusTask {
	if t.PupilMagnification == 0 {
		t.PupilMagnification = SymmetricPupil
	}
	if t.FieldWidth != 0 {
		t.Magnification = MagnificationFromField(t.Sensor.Width, t.FieldWidth)
	}
	if t.Blur == 0 {
		t.Blur = PixelCoC(t.Sensor.Pitch())
	}
	if t.NumericalAperture != 0 {
		t.WorkingFNumbers, t.ThirdStops = true, false
		t.FNumbers = []float64{WorkingFNumberFromNA(t.NumericalAperture, t.Magnification)}
	}
	return t
}

// farMagnification returns the magnification at the farthest point where a lens
// focuses there.
//
//	m/(1 + mT/f)
//
// Source: m = f/(s-f) with s longer by the depth T.
func (t FocusTask) farMagnification() float64 {
	if t.Focal == 0 {
		return nan
	}
	return t.Magnification / (1 + t.Magnification*float64(t.Depth/t.Focal))
}

// both returns the marked and the working f-number of one that is set.
func (t FocusTask) both(n float64) (marked, working float64) {
	if t.WorkingFNumbers {
		return MarkedFNumber(n, t.Magnification, t.PupilMagnification), n
	}
	return n, WorkingFNumber(n, t.Magnification, t.PupilMagnification)
}

// aperture writes what is set for a marked and a working f-number.
func (t FocusTask) aperture(marked, working float64) string {
	switch {
	case t.NumericalAperture != 0:
		return "NA " + digits(t.NumericalAperture, 3)
	case t.WorkingFNumbers:
		return fStop(working)
	}
	return fStop(marked)
}

// depthAt returns the depth of field at a magnification, for a marked f-number.
func (t FocusTask) depthAt(marked, m float64) Depth {
	d := DepthOfField(t.Blur, Wavelength, WorkingFNumber(marked, m, t.PupilMagnification), m)
	if t.Focal > 0 {
		d.Geometric = GeometricDepthExact(t.Focal, t.Blur, marked, m, t.PupilMagnification)
	}
	return d
}

// used returns the part of a depth of field to reckon with.
func (t FocusTask) used(d Depth) Length {
	if t.GeometryOnly {
		return d.Geometric
	}
	return d.Larger()
}

func (t FocusTask) row(n float64) (FocusRow, error) {
	marked, working := t.both(n)
	r := FocusRow{
		Aperture: t.aperture(marked, working),
		FNumber:  marked,
		Working:  working,
		Depth:    t.depthAt(marked, t.Magnification),
		FarStep:  Length(nan),
		Q:        Q(Wavelength, t.Sensor.Pitch(), working),
		Exposure: Seconds(nan),
		Total:    Seconds(nan),
	}
	r.MegapixelsLeft = MegapixelsLeft(t.Sensor.Megapixels(), r.Q)
	r.Used = t.used(r.Depth)
	r.Step = FocusStep(r.Used, t.Overlap)
	if t.Focal > 0 {
		r.FarStep = FocusStep(t.used(t.depthAt(marked, t.farMagnification())), t.Overlap)
	}
	r.Needed, r.Frames = 1, 1
	if r.Used < t.Depth {
		needed, err := FramesToCover(t.Depth, r.Step)
		if err != nil {
			return FocusRow{}, err
		}
		r.Needed, r.Frames = needed, needed+2*t.Margin
	}
	if t.Exposure > 0 {
		r.Exposure = t.Exposure
		if t.ExposureAt > 0 {
			r.Exposure *= Seconds((n / t.ExposureAt) * (n / t.ExposureAt))
		}
		r.Total = Seconds(r.Frames)*r.Exposure + Seconds(r.Frames-1)*t.Recycling
	}
	return r, nil
}

// FewestFrames returns how few frames cover the depth at the f-number of a row of its plan,
// in steps of no more than [StepRatio] of the depth of field, with the same margin: fewer
// risk gaps. It is that of the row where that has such steps already.
//
// Source: [FramesToCover] and [StepRatio].
func (t FocusTask) FewestFrames(r FocusRow) (int, error) {
	if r.Frames == 1 || t.Overlap <= 1-StepRatio {
		return r.Frames, nil
	}
	needed, err := FramesToCover(t.Depth, FocusStep(r.Used, 1-StepRatio))
	if err != nil {
		return 0, err
	}
	return needed + 2*t.Margin, nil
}

func (t FocusTask) single(smallest, largest float64) SingleFrame {
	marked, _ := t.both(largest)
	least, _ := t.both(smallest)
	optimum := OptimumFNumber(t.Depth, Wavelength, t.Magnification, t.PupilMagnification)
	n := min(max(optimum, least), marked)
	ne := WorkingFNumber(n, t.Magnification, t.PupilMagnification)
	s := SingleFrame{
		Aperture:       t.aperture(n, ne),
		FNumber:        n,
		Working:        ne,
		Blur:           CombinedBlur(ImageSpread(t.Depth, t.Magnification), Wavelength, ne),
		MegapixelsLeft: MegapixelsLeft(t.Sensor.Megapixels(), Q(Wavelength, t.Sensor.Pitch(), ne)),
		Limited:        optimum > marked,
	}
	s.BlurPixels = float64(s.Blur / t.Sensor.Pitch())
	s.Holds = s.Blur <= t.Blur
	return s
}

// addThirdStop puts the best third stop between the f-numbers among the rows.
func (p *FocusPlan) addThirdStop(t FocusTask, numbers []float64) error {
	all := &FocusPlan{Megapixels: p.Megapixels}
	thirds := settingsBetween(ThirdStops, numbers[0], numbers[len(numbers)-1])
	for _, n := range thirds {
		row, err := t.row(n)
		if err != nil {
			return err
		}
		all.Rows = append(all.Rows, row)
	}
	best, _ := all.best()
	if n := thirds[best]; !slices.Contains(numbers, n) {
		at, _ := slices.BinarySearch(numbers, n)
		p.Rows = slices.Insert(p.Rows, at, all.Rows[best])
	}
	return nil
}

// best returns the index of the row to choose, and whether it keeps all detail.
func (p *FocusPlan) best() (index int, keeps bool) {
	best := -1
	for i, r := range p.Rows { // by rising f-number, so by rising Q
		if r.Q <= QWarning && (best < 0 || r.Frames < p.Rows[best].Frames) {
			best = i
		}
	}
	return max(best, 0), best >= 0
}

func (p *FocusPlan) recommend(t FocusTask) {
	best, all := p.best()
	p.Recommended = best
	r := p.Rows[best]
	keeps := fmt.Sprintf("keeps all %s MP", megapixels(p.Megapixels))
	if !all {
		keeps = fmt.Sprintf("loses detail to diffraction, about %s of %s MP remain", megapixels(r.MegapixelsLeft), megapixels(p.Megapixels))
		if len(p.Rows) > 1 {
			keeps += " and fewer at the others"
		}
	}
	set := r.Aperture
	if works := fStop(r.Working); works != set {
		set += " works as " + works + " and"
	}
	frames := "one frame covers the depth"
	if r.Frames > 1 {
		frames = fmt.Sprintf("%d frames at a focus step of %v", r.Frames, r.Step)
		if p.Margin > 0 {
			frames += fmt.Sprintf(", with %d to spare at each end", p.Margin)
		}
	}
	p.Why = fmt.Sprintf("%s %s: %s", set, keeps, frames)
}

// InOneFrame reports whether one stopped-down frame can cover the depth, and what
// it costs, a sentence without full stop.
func (p *FocusPlan) InOneFrame() string {
	s := p.Single
	best := fmt.Sprintf("%s blurs front and back over %s pixels", s.Aperture, whole(s.BlurPixels, 2))
	if s.Holds {
		return fmt.Sprintf("one frame is enough: %s, and about %s of %s MP remain", best, megapixels(s.MegapixelsLeft), megapixels(p.Megapixels))
	}
	if i := slices.IndexFunc(p.Rows, func(r FocusRow) bool { return r.Frames == 1 }); i >= 0 {
		r := p.Rows[i]
		soft := ""
		if r.Q > QWarning {
			soft = ", but soft all through"
		}
		return fmt.Sprintf("one frame from %s on covers the depth%s: it works as %s and about %s of %s MP remain (least blur at the ends: %s)",
			r.Aperture, soft, fStop(r.Working), megapixels(r.MegapixelsLeft), megapixels(p.Megapixels), best)
	}
	at := "at best"
	if s.Limited {
		at = "even"
	}
	return fmt.Sprintf("one frame does not cover the depth: %s %s, and about %s of %s MP remain", at, best, megapixels(s.MegapixelsLeft), megapixels(p.Megapixels))
}

// farEndMatters is how much wider the focus step must be at the far end than at
// the near one to be worth a sentence.
const farEndMatters = 1.1

// AtFarEnd reports how the recommended focus step changes towards the farthest
// point, a sentence without full stop; "" where it differs by 10 % at most, or
// nothing is known of it.
func (p *FocusPlan) AtFarEnd() string {
	r := p.Rows[p.Recommended]
	if r.Frames == 1 || !(r.FarStep > farEndMatters*r.Step) {
		return ""
	}
	return fmt.Sprintf("magnification and step are those at the nearest point. Where the lens does the focusing, the farthest point is at magnification %s, and a step of %v is enough there. On a rail the step stays the same",
		digits(p.FarMagnification, 2), r.FarStep)
}

func megapixels(mp float64) string { return whole(mp, 1) }

// whole prints x as a whole number, below 10 with n significant digits.
func whole(x float64, n int) string {
	if math.Abs(x) < 9.5 {
		return digits(x, n)
	}
	return strconv.FormatFloat(x, 'f', 0, 64)
}

// fStop prints an f-number to two digits, or three from f/100 on.
func fStop(n float64) string {
	if n >= 99.5 {
		return "f/" + digits(n, 3)
	}
	return "f/" + digits(n, 2)
}
