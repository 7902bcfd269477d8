package optics

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

// A RangeError says which value of a plan is outside its valid range.
type RangeError struct {
	Parameter string // in words, for example "pupil magnification"
	Value     string // as given
	Range     string // what is valid, for example "from 0.1 to 10"
}

// Error names the parameter, the value and the valid range.
func (e *RangeError) Error() string {
	return fmt.Sprintf("%s %s: must be %s", e.Parameter, e.Value, e.Range)
}

type number interface{ ~int | ~float64 }

// within returns a RangeError unless lo <= value <= hi.
func within[T number](parameter string, value, lo, hi T, unit string) error {
	if value >= lo && value <= hi {
		return nil
	}
	show := func(v T) string {
		return strings.TrimSpace(strconv.FormatFloat(float64(v), 'g', 6, 64) + " " + unit)
	}
	return &RangeError{parameter, show(value), fmt.Sprintf("from %s to %s", show(lo), show(hi))}
}

// firstError returns the first that is not nil.
func firstError(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// A Sensor is what planning needs to know of a body.
type Sensor struct {
	Width                   Length // of the long side, 4 to 60 mm
	PixelWidth, PixelHeight int    // along the long and the short side, 16 to 100000
}

func (s Sensor) validate() error {
	return firstError(
		within("sensor width", s.Width, NarrowestSensor, WidestSensor, "mm"),
		within("pixels across", s.PixelWidth, 16, 100_000, ""),
		within("pixels down", s.PixelHeight, 16, 100_000, ""),
	)
}

// Pitch returns the pixel pitch.
func (s Sensor) Pitch() Length { return PitchFromWidth(s.Width, s.PixelWidth) }

// Height returns the length of the short side.
func (s Sensor) Height() Length { return s.Pitch() * Length(s.PixelHeight) }

// Megapixels returns the number of pixels in millions.
func (s Sensor) Megapixels() float64 { return float64(s.PixelWidth) * float64(s.PixelHeight) / 1e6 }

// A FocusTask is a subject to be sharp from front to back.
type FocusTask struct {
	Depth Length // from the nearest to the farthest point, 1 µm to 1 m
	// Exactly one of Magnification (0.01 to 20) and FieldWidth (what the
	// sensor's width sees) is given; the other is 0.
	Magnification float64
	FieldWidth    Length
	Sensor        Sensor
	// FNumbers are the marked f-numbers to compare, 0.5 to 128, at least one.
	// See [StopsBetween].
	FNumbers []float64
	// PupilMagnification is 0.1 to 10; 0 stands for [SymmetricPupil].
	PupilMagnification float64
	// Overlap is the fraction of the depth of field by which neighbouring
	// frames overlap, 0 to 0.9; 1-[StepRatio] is the common practice.
	Overlap float64
	// Blur is the circle of confusion, 1 µm to 1 mm; 0 stands for [PixelCoC].
	Blur Length
	// GeometryOnly leaves the wave part of the depth of field out, as printed
	// step tables do.
	GeometryOnly bool
	// Exposure is the exposure time of a frame, up to an hour; 0 where no
	// total time is asked for. It is the one for ExposureAt, a marked
	// f-number, and grows with the square of the f-number; where ExposureAt is
	// 0 it holds for all, as with flash.
	Exposure   Seconds
	ExposureAt float64
	// Recycling is the time from the end of one exposure to the start of the
	// next: flash, settling, focus drive. Up to an hour.
	Recycling Seconds
}

// A FocusPlan is what each f-number makes of a [FocusTask].
type FocusPlan struct {
	Magnification float64
	Pitch         Length
	Megapixels    float64
	Blur          Length // the circle of confusion reckoned with
	Rows          []FocusRow
	// Recommended is the index of the row to choose, and Why the reason, a
	// sentence without full stop.
	Recommended int
	Why         string
	Single      SingleFrame
}

// A FocusRow is one f-number of a [FocusPlan].
type FocusRow struct {
	FNumber        float64 // marked
	Working        float64 // what the sensor sees
	Depth          Depth   // both parts of the depth of field
	Used           Length  // the depth of field reckoned with
	Step           Length  // focus step, subject side
	Frames         int     // 1 where one frame's depth of field holds all
	Q              float64 // diffraction over sampling
	MegapixelsLeft float64 // that hold real detail
	Exposure       Seconds // of one frame; NaN where none was given
	Total          Seconds // of the whole sequence; NaN where no exposure was given
}

// A SingleFrame is the best that one stopped-down frame can do, focused in the
// middle of the depth, within the f-numbers asked for.
type SingleFrame struct {
	FNumber        float64 // marked, where the ends are least blurred
	Working        float64
	Blur           Length  // at the nearest and farthest point
	BlurPixels     float64 // the same in pixels
	MegapixelsLeft float64
	Holds          bool // whether Blur is within the circle of confusion
	// Limited tells that a still larger f-number than asked for would blur
	// the ends less.
	Limited bool
}

// StopsBetween returns lo, hi and the marked full stops between them, in
// order: f-numbers for a table. None unless lo is above 0 and at most hi.
func StopsBetween(lo, hi float64) []float64 {
	if !positive(lo, hi) || lo > hi {
		return nil
	}
	list := []float64{lo}
	for _, s := range FNumbers(FullStops) {
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
	); err != nil {
		return err
	}
	switch {
	case t.Magnification == 0 && t.FieldWidth == 0:
		return &RangeError{"magnification", "not given", "given, or the field width in its place"}
	case t.Magnification != 0 && t.FieldWidth != 0:
		return &RangeError{"field width", t.FieldWidth.String(), "left out where the magnification is given"}
	case t.FieldWidth != 0:
		if err := within("field width", t.FieldWidth, t.Sensor.Width/20, t.Sensor.Width*100, "mm"); err != nil {
			return err
		}
	default:
		if err := within("magnification", t.Magnification, 0.01, 20, ""); err != nil {
			return err
		}
	}
	if len(t.FNumbers) == 0 {
		return &RangeError{"f-numbers", "none", "at least one"}
	}
	for _, n := range t.FNumbers {
		if err := within("f-number", n, 0.5, 128, ""); err != nil {
			return err
		}
	}
	if t.PupilMagnification != 0 {
		if err := within("pupil magnification", t.PupilMagnification, 0.1, 10, ""); err != nil {
			return err
		}
	}
	if t.Blur != 0 {
		if err := within("circle of confusion", t.Blur, Micrometre, Millimetre, "mm"); err != nil {
			return err
		}
	}
	if t.ExposureAt != 0 {
		if err := within("f-number of the exposure", t.ExposureAt, 0.5, 128, ""); err != nil {
			return err
		}
	}
	return firstError(
		within("overlap", t.Overlap, 0, 0.9, ""),
		within("exposure time", t.Exposure, 0, 3600, "s"),
		within("recycling time", t.Recycling, 0, 3600, "s"),
	)
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
	if t.PupilMagnification == 0 {
		t.PupilMagnification = SymmetricPupil
	}
	if t.FieldWidth != 0 {
		t.Magnification = MagnificationFromField(t.Sensor.Width, t.FieldWidth)
	}
	if t.Blur == 0 {
		t.Blur = PixelCoC(t.Sensor.Pitch())
	}
	p := &FocusPlan{
		Magnification: t.Magnification,
		Pitch:         t.Sensor.Pitch(),
		Megapixels:    t.Sensor.Megapixels(),
		Blur:          t.Blur,
	}
	for _, n := range slices.Sorted(slices.Values(t.FNumbers)) {
		row, err := t.row(n)
		if err != nil {
			return nil, err
		}
		p.Rows = append(p.Rows, row)
	}
	p.Single = t.single(p.Rows)
	p.recommend()
	return p, nil
}

func (t FocusTask) row(n float64) (FocusRow, error) {
	m, sensor := t.Magnification, t.Sensor
	ne := WorkingFNumber(n, m, t.PupilMagnification)
	r := FocusRow{
		FNumber:  n,
		Working:  ne,
		Depth:    DepthOfField(t.Blur, Wavelength, ne, m),
		Q:        Q(Wavelength, sensor.Pitch(), ne),
		Exposure: Seconds(nan),
		Total:    Seconds(nan),
	}
	r.MegapixelsLeft = MegapixelsLeft(sensor.Megapixels(), r.Q)
	r.Used = r.Depth.Larger()
	if t.GeometryOnly {
		r.Used = r.Depth.Geometric
	}
	r.Step = FocusStep(r.Used, t.Overlap)
	r.Frames = 1
	if r.Used < t.Depth {
		frames, err := FramesToCover(t.Depth, r.Step)
		if err != nil {
			return FocusRow{}, err
		}
		r.Frames = frames
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

func (t FocusTask) single(rows []FocusRow) SingleFrame {
	smallest, largest := rows[0].FNumber, rows[len(rows)-1].FNumber
	optimum := OptimumFNumber(t.Depth, Wavelength, t.Magnification, t.PupilMagnification)
	n := min(max(optimum, smallest), largest)
	ne := WorkingFNumber(n, t.Magnification, t.PupilMagnification)
	s := SingleFrame{
		FNumber:        n,
		Working:        ne,
		Blur:           CombinedBlur(ImageSpread(t.Depth, t.Magnification), Wavelength, ne),
		MegapixelsLeft: MegapixelsLeft(t.Sensor.Megapixels(), Q(Wavelength, t.Sensor.Pitch(), ne)),
		Limited:        optimum > largest,
	}
	s.BlurPixels = float64(s.Blur / t.Sensor.Pitch())
	s.Holds = s.Blur <= t.Blur
	return s
}

func (p *FocusPlan) recommend() {
	best := -1
	for i, r := range p.Rows { // by rising f-number, so by rising Q
		if r.Q <= QWarning && (best < 0 || r.Frames < p.Rows[best].Frames) {
			best = i
		}
	}
	p.Recommended = max(best, 0)
	r := p.Rows[p.Recommended]
	keeps := fmt.Sprintf("keeps all %s MP", megapixels(p.Megapixels))
	if best < 0 {
		keeps = fmt.Sprintf("loses detail to diffraction, about %s of %s MP remain", megapixels(r.MegapixelsLeft), megapixels(p.Megapixels))
		if len(p.Rows) > 1 {
			keeps += " and fewer at the others"
		}
	}
	frames := "one frame holds the depth"
	if r.Frames > 1 {
		frames = fmt.Sprintf("%d frames at a focus step of %v", r.Frames, r.Step)
	}
	p.Why = fmt.Sprintf("%s works as %s and %s: %s", fStop(r.FNumber), fStop(r.Working), keeps, frames)
}

// InOneFrame says whether one stopped-down frame can hold the depth, and what
// it costs, a sentence without full stop.
func (p *FocusPlan) InOneFrame() string {
	s := p.Single
	best := fmt.Sprintf("%s blurs front and back over %s pixels", fStop(s.FNumber), whole(s.BlurPixels, 2))
	if s.Holds {
		return fmt.Sprintf("one frame is enough: %s, and about %s of %s MP remain", best, megapixels(s.MegapixelsLeft), megapixels(p.Megapixels))
	}
	if i := slices.IndexFunc(p.Rows, func(r FocusRow) bool { return r.Frames == 1 }); i >= 0 {
		r := p.Rows[i]
		return fmt.Sprintf("one frame from %s on holds the depth, but soft all through: it works as %s and about %s of %s MP remain (least blur at the ends: %s)",
			fStop(r.FNumber), fStop(r.Working), megapixels(r.MegapixelsLeft), megapixels(p.Megapixels), best)
	}
	if s.Limited {
		return fmt.Sprintf("one frame does not hold the depth: even %s, and about %s of %s MP remain", best, megapixels(s.MegapixelsLeft), megapixels(p.Megapixels))
	}
	return fmt.Sprintf("one frame does not hold the depth: at best %s, and about %s of %s MP remain", best, megapixels(s.MegapixelsLeft), megapixels(p.Megapixels))
}

func megapixels(mp float64) string { return whole(mp, 1) }

// whole prints x as a whole number, below 10 with n significant digits.
func whole(x float64, n int) string {
	if x < 9.5 {
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

// A HandheldTask is a frame to be made by hand.
type HandheldTask struct {
	Focal         Length  // focal length at the current focus, 1 to 2000 mm
	Magnification float64 // 0 (far away) to 20
	Sensor        Sensor
	Stops         float64 // rated stops of stabilisation, 0 to 10
}

// A HandheldPlan is how long a frame can be exposed by hand.
type HandheldPlan struct {
	Equivalent Length       // 35 mm equivalent focal length
	Print      HandheldTime // for a picture that looks sharp in print
	Pixels     HandheldTime // for one that is sharp at 100 %
	PrintBlur  Length       // the blur allowed in a print
	PixelBlur  Length       // the blur allowed at 100 %
	CloseUp    bool         // whether the hand's travel, which the limits leave out, outweighs its turning
}

// A HandheldTime is the longest time for one standard of sharpness.
type HandheldTime struct {
	Stops   float64 // stops of stabilisation credited
	Limit   Seconds
	Setting Setting // the longest shutter setting within it, third stops; NaN where the shutter has none
}

// Plan works out the longest times for a picture that looks sharp in print and
// for one that is sharp at 100 %. The error is a [*RangeError].
// Source: [HandheldLimit], [CreditedStops] and [Sharpness].
func (t HandheldTask) Plan() (*HandheldPlan, error) {
	if err := firstError(
		within("focal length", t.Focal, Millimetre, 2*Metre, "mm"),
		within("magnification", t.Magnification, 0, 20, ""),
		t.Sensor.validate(),
		within("stops of stabilisation", t.Stops, 0, 10, ""),
	); err != nil {
		return nil, err
	}
	width, height := t.Sensor.Width, t.Sensor.Height()
	p := &HandheldPlan{
		Equivalent: t.Focal * Length(CropFactor(width, height)),
		PrintBlur:  PrintCoC(Diagonal(width, height)),
		PixelBlur:  min(PixelCoC(t.Sensor.Pitch()), PrintCoC(Diagonal(width, height))), // large pixels hide what a print shows
		CloseUp:    t.Magnification >= CloseUp,
	}
	at := func(sharpness float64, pixels bool) HandheldTime {
		h := HandheldTime{Stops: CreditedStops(t.Stops, t.Magnification, pixels)}
		h.Limit = HandheldLimit(p.Equivalent, t.Magnification, h.Stops, sharpness)
		h.Setting = LongestShutter(h.Limit)
		return h
	}
	p.Print = at(LooksSharp, false)
	p.Pixels = at(Sharpness(p.PixelBlur, Diagonal(width, height)), true)
	return p, nil
}

// LongestShutter returns the longest shutter setting, in third stops, that is
// exactly no longer than limit; NaN where the shutter has none so short.
func LongestShutter(limit Seconds) Setting {
	for _, s := range ShutterTimes(ThirdStops) { // the longest first
		if Seconds(s.Exact) <= limit {
			return s
		}
	}
	return Setting{Marked: nan, Exact: nan}
}

// An IntervalTask is a time-lapse to plan. Exactly two of Span, Interval and
// Clip are given, the third is 0.
type IntervalTask struct {
	Span     Seconds // real time from the first frame to the last, 1 s to 100 days
	Interval Seconds // from one frame's start to the next, 0.1 s to a day
	Clip     Seconds // length of the clip, 0.1 s to an hour
	Rate     float64 // frames a second of the clip, 1 to 240
	Exposure Seconds // exact exposure time, up to a day; 0 where not known
	// FrameSize is the size of one frame's files and Card the free space on
	// the card, both in bytes; 0 where not known.
	FrameSize, Card float64
}

// An IntervalPlan is what an [IntervalTask] comes to. Where a value follows
// from something not given it is NaN.
type IntervalPlan struct {
	Frames   int
	Span     Seconds
	Interval Seconds
	Clip     Seconds
	SpeedUp  float64 // times faster than life
	Angle    float64 // shutter angle, degrees
	// LongestExposure is what the interval leaves room for, [FullestInterval]
	// of it.
	LongestExposure Seconds
	Overruns        bool    // the exposure is longer than that
	Staccato        bool    // motion will look jerky
	Space           float64 // of all frames, bytes
	// CardFrames is how many frames the card holds, -1 where that is not known.
	CardFrames int
	CardFull   bool // the card is full before the last frame
}

const day = 24 * 3600

// Plan works out the task. The error is a [*RangeError] unless the sequence
// takes more than [MaxFrames].
// Source: [IntervalFrames], [ClipLength], [SpeedUp], [ShutterAngle].
func (t IntervalTask) Plan() (*IntervalPlan, error) {
	if err := t.validate(); err != nil {
		return nil, err
	}
	p := &IntervalPlan{Span: t.Span, Interval: t.Interval, Space: nan, CardFrames: -1, Angle: nan}
	switch {
	case t.Clip == 0:
		frames, err := IntervalFrames(t.Span, t.Interval)
		if err != nil {
			return nil, err
		}
		p.Frames = frames
	default:
		p.Frames = max(2, int(math.Ceil(ClipFrames(t.Clip, t.Rate)*(1-1e-9))))
		steps := Seconds(p.Frames - 1)
		if t.Interval == 0 {
			p.Interval = t.Span / steps
			if err := within("interval that results,", p.Interval, 0.1, day, "s"); err != nil {
				return nil, err
			}
		}
	}
	p.Span = TimeCovered(p.Frames-1, p.Interval)
	p.Clip = ClipLength(p.Frames, t.Rate)
	p.SpeedUp = SpeedUp(p.Interval, t.Rate)
	p.LongestExposure = FullestInterval * p.Interval
	if t.Exposure > 0 {
		p.Angle = ShutterAngle(t.Exposure, p.Interval)
		p.Overruns = Overruns(t.Exposure, p.Interval)
		p.Staccato = p.Angle < StaccatoAngle
	}
	if t.FrameSize > 0 {
		p.Space = float64(p.Frames) * t.FrameSize
		if t.Card > 0 {
			p.CardFrames = int(min(t.Card/t.FrameSize, math.MaxInt32))
			p.CardFull = p.CardFrames < p.Frames
		}
	}
	return p, nil
}

func (t IntervalTask) validate() error {
	given := 0
	for _, x := range []struct {
		name   string
		value  Seconds
		lo, hi Seconds
	}{
		{"time span", t.Span, 1, 100 * day},
		{"interval", t.Interval, 0.1, day},
		{"clip length", t.Clip, 0.1, 3600},
	} {
		if x.value == 0 {
			continue
		}
		given++
		if err := within(x.name, x.value, x.lo, x.hi, "s"); err != nil {
			return err
		}
	}
	if given != 2 {
		return &RangeError{"time span, interval and clip length", fmt.Sprintf("(%d given)", given), "two of the three"}
	}
	return firstError(
		within("frame rate", t.Rate, 1, 240, "frames a second"),
		within("exposure time", t.Exposure, 0, day, "s"),
		within("size of a frame", t.FrameSize/1e6, 0, 10_000, "MB"),
		within("card", t.Card/1e9, 0, 100_000, "GB"),
	)
}
