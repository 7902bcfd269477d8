package evidence

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/audit/words"
	"prestrike/exifread"
	"prestrike/rules/optics"
)

// ExposedAlike reports whether two pictures were exposed alike, so that their
// compressed sizes may be compared: noise and darkness change them.
func ExposedAlike(a, b *exifread.Metadata, limit float64) bool {
	for _, s := range []Setting[exifread.Rational]{ExposureTime(limit), FNumber(limit)} {
		x, okX := s.Read(a).Get()
		y, okY := s.Read(b).Get()
		if okX && okY && s.differ(x, y) {
			return false
		}
	}
	iso := Sensitivity(limit)
	x, okX := iso.Read(a).Get()
	y, okY := iso.Read(b).Get()
	return !okX || !okY || !iso.differ(x, y)
}

// Tolerance is half the finest common setting step: more than the rounding of
// nominal values, at most 0.14 EV, and less than any change of a setting.
var Tolerance = audit.Param{
	Name: "tolerance", Unit: "EV",
	Doc:     "a smaller difference is the rounding of nominal values",
	Default: optics.DriftTolerance, Min: 0.01, Max: 3,
}

// A Setting is a value that should stay as it is through a run.
type Setting[T comparable] struct {
	Read  func(*exifread.Metadata) exifread.Value[T]
	Write func(T) string
	// Scale puts values on an even scale (EV for exposures) on which less
	// than within apart is no difference; nil where values only differ or not.
	Scale  func(T) float64
	Within float64
}

// A drift is how a setting moves through a run.
type drift[T comparable] struct {
	Usual   T
	Frames  []*shoot.Frame // that record the setting
	Odd     []*shoot.Frame // whose value is another than the usual one
	Unknown []*shoot.Frame // that record other things, but not the setting
	// Low and high are the ends of what the odd frames record.
	Low, high T
	first     T // of the first frame, last of the last
	last      T
	Most      float64 // the largest difference on the scale
	// few are the odd values by first appearance, where they are few.
	few []T
	// wanders is true where no value is the usual one: the setting moved
	// through the run.
	wanders bool
}

// Of reads the setting in every frame. Frames without capture data are left
// to no-exif and unreadable-file.
func (s Setting[T]) Of(frames []*shoot.Frame) drift[T] {
	if v, ok := s.steady(frames); ok { // as nearly always
		return drift[T]{Usual: v, Frames: slices.Clip(frames), first: v, last: v}
	}
	var d drift[T]
	values := make([]T, 0, len(frames))
	for _, f := range frames {
		if !f.Meta().HasExif {
			continue
		}
		v, ok := s.Read(f.Meta()).Get()
		if !ok {
			d.Unknown = append(d.Unknown, f)
			continue
		}
		d.Frames = append(d.Frames, f)
		values = append(values, v)
	}
	if len(values) == 0 {
		return d
	}
	d.first, d.last = values[0], values[len(values)-1]
	d.Usual = s.usual(values)
	others := map[T]bool{}
	var odd []T
	for i, v := range values {
		if s.differ(d.Usual, v) {
			others[v] = true
			odd = append(odd, v)
			d.Odd = append(d.Odd, d.Frames[i])
		}
	}
	if len(odd) == 0 {
		return d
	}
	if len(others) <= mostNamed {
		for _, v := range odd {
			if !slices.Contains(d.few, v) {
				d.few = append(d.few, v)
			}
		}
	}
	d.Low, d.high = odd[0], odd[0]
	if s.Scale == nil {
		return d
	}
	d.Low, d.high = s.ends(odd)
	d.Most = max(math.Abs(s.Scale(d.Low)-s.Scale(d.Usual)), math.Abs(s.Scale(d.high)-s.Scale(d.Usual)))
	d.wanders = len(others) > 1 && 2*len(d.Odd) > len(values)
	if d.wanders {
		d.Low, d.high = s.ends(values)
		d.Most = s.Scale(d.high) - s.Scale(d.Low)
	}
	return d
}

// steady returns the one value that all frames record; ok is false where they do not.
func (s Setting[T]) steady(frames []*shoot.Frame) (v T, ok bool) {
	for i, f := range frames {
		own, recorded := s.Read(f.Meta()).Get()
		if !recorded || !f.Meta().HasExif || i > 0 && own != v {
			return v, false
		}
		v = own
	}
	return v, len(frames) > 0
}

// ends returns the lowest and the highest value on the scale, of equal ones the
// first.
func (s Setting[T]) ends(values []T) (low, high T) {
	compare := func(a, b T) int { return cmp.Compare(s.Scale(a), s.Scale(b)) }
	return slices.MinFunc(values, compare), slices.MaxFunc(values, compare)
}

// usual returns the value that most frames record or, where no value is recorded by
// most, as where bodies record what they measured, the one in the middle if
// more lie beside it.
func (s Setting[T]) usual(values []T) T {
	counts := map[T]int{}
	for _, v := range values {
		counts[v]++
	}
	usual := values[0]
	for _, v := range values {
		if counts[v] > counts[usual] {
			usual = v
		}
	}
	if s.Scale == nil || 2*counts[usual] > len(values) {
		return usual
	}
	sorted := slices.Clone(values)
	slices.SortFunc(sorted, func(a, b T) int { return cmp.Compare(s.Scale(a), s.Scale(b)) })
	middle := sorted[len(sorted)/2]
	near := 0
	for _, v := range values {
		if !s.differ(middle, v) {
			near++
		}
	}
	if near > counts[usual] {
		return middle
	}
	return usual
}

// differ reports whether two values are different settings. Values are
// compared as they are recorded first, then on the scale.
func (s Setting[T]) differ(a, b T) bool {
	if a == b {
		return false
	}
	if s.Scale == nil {
		return true
	}
	const rounding = 1e-9
	return !(math.Abs(s.Scale(a)-s.Scale(b)) < s.Within-rounding)
}

// mostNamed is how many values a sentence names before it names their ends only.
const mostNamed = 3

// odd writes the values of the odd frames: each where they are few, else their ends.
func (d drift[T]) odd(s Setting[T]) string {
	var names []string
	for _, v := range d.few {
		if name := s.Write(v); !slices.Contains(names, name) {
			names = append(names, name)
		}
	}
	if len(names) == 0 {
		return s.span(d.Low, d.high)
	}
	return words.List(names, mostNamed)
}

// span writes the values between low and high.
func (s Setting[T]) span(low, high T) string {
	a, b := s.Write(low), s.Write(high)
	if a == b {
		return a
	}
	return a + " to " + b
}

// Sentence writes the drift as one sentence; name is the setting's.
func (d drift[T]) Sentence(s Setting[T], name string, sequence []*shoot.Frame) string {
	if d.wanders {
		from, to := s.Write(d.first), s.Write(d.last)
		if low, high := s.Write(d.Low), s.Write(d.high); !(from == low && to == high) && !(from == high && to == low) {
			return fmt.Sprintf("%s changes between %s and %s in %s", name, bare(low, name), bare(high, name), shoot.FrameRange(d.Frames))
		}
		return fmt.Sprintf("%s goes from %s to %s in %s", name, bare(from, name), bare(to, name), shoot.FrameRange(d.Frames))
	}
	are := "are"
	if len(d.Odd) == 1 {
		are = "is"
	}
	return fmt.Sprintf("%s %s at %s, the rest at %s", shoot.FrameRanges(sequence, d.Odd), are, d.odd(s), bare(s.Write(d.Usual), name))
}

// About returns the frames that a finding on the drift is about.
func (d drift[T]) About() []*shoot.Frame {
	if d.wanders {
		return d.Frames
	}
	return d.Odd
}

// Unjudged reports the frames that do not record the setting.
func (d drift[T]) Unjudged(v *audit.Review, reason string) {
	if len(d.Unknown) > 0 {
		v.Unjudged(reason, d.Unknown...)
	}
}

// Exact returns a quotient in lowest terms, so that 10/1250 is 1/125.
func Exact(v exifread.Value[exifread.Rational]) exifread.Value[exifread.Rational] {
	r, ok := v.Get()
	if !ok || r.Den == 0 {
		return exifread.Value[exifread.Rational]{}
	}
	a, b := r.Num, r.Den
	for b != 0 {
		a, b = b, a%b
	}
	if a == 0 {
		return v
	}
	return exifread.Of(exifread.Rational{Num: r.Num / a, Den: r.Den / a})
}

func ExposureTime(within float64) Setting[exifread.Rational] {
	return Setting[exifread.Rational]{
		Read:   func(m *exifread.Metadata) exifread.Value[exifread.Rational] { return Exact(m.ExposureTime) },
		Write:  shoot.FormatExposureTime,
		Scale:  func(t exifread.Rational) float64 { return -optics.Tv(optics.Seconds(t.Float())) },
		Within: within,
	}
}

func FNumber(within float64) Setting[exifread.Rational] {
	return Setting[exifread.Rational]{
		Read:   func(m *exifread.Metadata) exifread.Value[exifread.Rational] { return Exact(m.FNumber) },
		Write:  shoot.FormatFNumber,
		Scale:  func(n exifread.Rational) float64 { return optics.Av(n.Float()) },
		Within: within,
	}
}

func Sensitivity(within float64) Setting[uint32] {
	return Setting[uint32]{
		Read: func(m *exifread.Metadata) exifread.Value[uint32] {
			if iso, ok := m.Sensitivity.Get(); ok && iso == 0 {
				return exifread.Value[uint32]{}
			}
			return m.Sensitivity
		},
		Write:  shoot.FormatISO,
		Scale:  func(iso uint32) float64 { return optics.Sv(float64(iso)) },
		Within: within,
	}
}

// exposure returns how much exposure the frame got, in EV against 1 s at f/1
// and Sv 0: Sv - Av - Tv, over what is recorded besides the time.
func exposure(m *exifread.Metadata) (float64, bool) {
	t, ok := m.ExposureTime.Get()
	if !ok || t.Den == 0 || t.Num <= 0 {
		return 0, false
	}
	ev := -optics.Tv(optics.Seconds(t.Float()))
	if n, ok := m.FNumber.Get(); ok && n.Den != 0 && n.Num > 0 {
		ev -= optics.Av(n.Float())
	}
	if iso, ok := m.Sensitivity.Get(); ok && iso > 0 {
		ev += optics.Sv(float64(iso))
	}
	return ev, true
}

// NewSetUp is why a change at a pause is not judged.
const NewSetUp = "the change comes at a pause, as for another set-up"

// SetUpPause is a parameter of every rule that asks [AtPause].
var SetUpPause = audit.Param{
	Name: "set-up-pause", Unit: "cadences",
	Doc:     "from this pause on, a change of settings is another set-up and no fault",
	Default: 2, Min: 1.2, Max: 100,
}

// AtPause reports whether the odd frames are all of the run on one side of a
// pause: they rather belong to another run with its own settings, however near it
// came.
func AtPause(v *audit.Review, odd []*shoot.Frame) bool {
	q := v.Sequence
	n := len(q.Frames)
	first := slices.Index(q.Frames, odd[0])
	last := slices.Index(q.Frames, odd[len(odd)-1])
	if first < 0 || last-first+1 != len(odd) {
		return false
	}
	var step shoot.Step
	switch {
	case first == 0 && last < n-1:
		step = q.Steps[last]
	case first > 0 && last == n-1:
		step = q.Steps[first-1]
	default:
		return false
	}
	ticks, ok := step.Ticks.Get()
	count := step.Count.Or(1)
	return ok && count <= 1 && ticks-step.Slack >= v.Param(SetUpPause.Name)
}
