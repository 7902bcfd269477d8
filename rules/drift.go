package rules

import (
	"fmt"
	"math"
	"slices"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/exifread"
)

// tolerance is half the finest common setting step: more than the rounding of
// nominal values, at most 0.14 EV, and less than any change of a setting.
var tolerance = audit.Param{
	Name: "tolerance", Unit: "EV",
	Doc:     "a smaller difference is the rounding of nominal values",
	Default: 1.0 / 6, Min: 0.01, Max: 3,
}

// A setting is a value that should stay as it is through a run.
type setting[T comparable] struct {
	read  func(*exifread.Metadata) exifread.Value[T]
	write func(T) string
	// scale puts values on an even scale (EV for exposures) on which less
	// than within apart is no difference; nil where values only differ or not.
	scale  func(T) float64
	within float64
}

// A drift is how a setting moves through a run.
type drift[T comparable] struct {
	usual   T
	frames  []*shoot.Frame // that record the setting
	odd     []*shoot.Frame // whose value is another than the usual one
	unknown []*shoot.Frame // that record other things, but not the setting
	// low and high are the ends of what the odd frames record.
	low, high T
	first     T // of the first frame, last of the last
	last      T
	most      float64 // the largest difference on the scale
	// wanders tells that no value is the usual one: the setting moved
	// through the run.
	wanders bool
}

// of reads the setting in every frame. Frames without capture data are left
// to no-exif and unreadable-file.
func (s setting[T]) of(frames []*shoot.Frame) drift[T] {
	var d drift[T]
	var values []T
	counts := map[T]int{}
	for _, f := range frames {
		if !f.Meta().HasExif {
			continue
		}
		v, ok := s.read(f.Meta()).Get()
		if !ok {
			d.unknown = append(d.unknown, f)
			continue
		}
		d.frames = append(d.frames, f)
		values = append(values, v)
		counts[v]++
	}
	if len(values) == 0 {
		return d
	}
	d.first, d.last = values[0], values[len(values)-1]
	d.usual = d.first
	for _, v := range values {
		if counts[v] > counts[d.usual] {
			d.usual = v
		}
	}
	if s.scale != nil && 2*counts[d.usual] <= len(values) {
		// No value is recorded by most frames, as where bodies record what
		// they measured: the one in the middle stands for all.
		sorted := slices.Clone(values)
		slices.SortFunc(sorted, func(a, b T) int {
			switch x, y := s.scale(a), s.scale(b); {
			case x < y:
				return -1
			case x > y:
				return 1
			}
			return 0
		})
		middle := sorted[len(sorted)/2]
		near := 0
		for _, v := range values {
			if !s.differ(middle, v) {
				near++
			}
		}
		if near > counts[d.usual] {
			d.usual = middle
		}
	}
	others := map[T]bool{}
	for i, v := range values {
		if !s.differ(d.usual, v) {
			continue
		}
		if s.scale != nil {
			d.most = max(d.most, math.Abs(s.scale(v)-s.scale(d.usual)))
			if len(d.odd) == 0 || s.scale(v) < s.scale(d.low) {
				d.low = v
			}
			if len(d.odd) == 0 || s.scale(v) > s.scale(d.high) {
				d.high = v
			}
		} else if len(d.odd) == 0 {
			d.low, d.high = v, v
		}
		others[v] = true
		d.odd = append(d.odd, d.frames[i])
	}
	d.wanders = s.scale != nil && len(others) > 1 && 2*len(d.odd) > len(values)
	if d.wanders {
		lowest, highest := d.usual, d.usual
		for _, v := range values {
			if s.scale(v) < s.scale(lowest) {
				lowest = v
			}
			if s.scale(v) > s.scale(highest) {
				highest = v
			}
		}
		d.low, d.high = lowest, highest
		d.most = s.scale(highest) - s.scale(lowest)
	}
	return d
}

// differ reports whether two values are different settings. Values are
// compared as they are recorded first, then on the scale.
func (s setting[T]) differ(a, b T) bool {
	if a == b {
		return false
	}
	if s.scale == nil {
		return true
	}
	const rounding = 1e-9
	return !(math.Abs(s.scale(a)-s.scale(b)) < s.within-rounding)
}

// span writes the values between low and high.
func (s setting[T]) span(low, high T) string {
	a, b := s.write(low), s.write(high)
	if a == b {
		return a
	}
	return a + " to " + b
}

// say writes the drift as one sentence; name is the setting's.
func (d drift[T]) say(s setting[T], name string, sequence []*shoot.Frame) string {
	if d.wanders {
		from, to := s.write(d.first), s.write(d.last)
		if low, high := s.write(d.low), s.write(d.high); !(from == low && to == high) && !(from == high && to == low) {
			return fmt.Sprintf("%s wanders between %s and %s in %s", name, low, high, shoot.FrameRange(d.frames[0], d.frames[len(d.frames)-1]))
		}
		return fmt.Sprintf("%s walks from %s to %s in %s", name, from, to, shoot.FrameRange(d.frames[0], d.frames[len(d.frames)-1]))
	}
	are := "are"
	if len(d.odd) == 1 {
		are = "is"
	}
	return fmt.Sprintf("%s %s at %s, the rest at %s", shoot.FrameRanges(sequence, d.odd), are, s.span(d.low, d.high), s.write(d.usual))
}

// about returns the frames that a finding on the drift is about.
func (d drift[T]) about() []*shoot.Frame {
	if d.wanders {
		return d.frames
	}
	return d.odd
}

// unjudged says for which frames the setting is not recorded.
func (d drift[T]) unjudged(v *audit.Review, reason string) {
	if len(d.unknown) > 0 {
		v.Unjudged(reason, d.unknown...)
	}
}

// exact returns a quotient in lowest terms, so that 10/1250 is 1/125.
func exact(v exifread.Value[exifread.Rational]) exifread.Value[exifread.Rational] {
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

// The exposure settings, in EV; tolerance is that of the rule.

func exposureTime(within float64) setting[exifread.Rational] {
	return setting[exifread.Rational]{
		read:   func(m *exifread.Metadata) exifread.Value[exifread.Rational] { return exact(m.ExposureTime) },
		write:  shoot.FormatExposureTime,
		scale:  func(t exifread.Rational) float64 { return math.Log2(t.Float()) },
		within: within,
	}
}

func fNumber(within float64) setting[exifread.Rational] {
	return setting[exifread.Rational]{
		read:   func(m *exifread.Metadata) exifread.Value[exifread.Rational] { return exact(m.FNumber) },
		write:  shoot.FormatFNumber,
		scale:  func(n exifread.Rational) float64 { return 2 * math.Log2(n.Float()) },
		within: within,
	}
}

func sensitivity(within float64) setting[uint32] {
	return setting[uint32]{
		read: func(m *exifread.Metadata) exifread.Value[uint32] {
			if iso, ok := m.Sensitivity.Get(); ok && iso == 0 {
				return exifread.Value[uint32]{}
			}
			return m.Sensitivity
		},
		write:  shoot.FormatISO,
		scale:  func(iso uint32) float64 { return math.Log2(float64(iso)) },
		within: within,
	}
}

// exposure returns how much exposure the frame got, in EV against 1 s at f/1
// and ISO 1: log2(t S) - 2 log2 N, over what is recorded besides the time.
func exposure(m *exifread.Metadata) (float64, bool) {
	t, ok := m.ExposureTime.Get()
	if !ok || t.Den == 0 || t.Num <= 0 {
		return 0, false
	}
	ev := math.Log2(t.Float())
	if n, ok := m.FNumber.Get(); ok && n.Den != 0 && n.Num > 0 {
		ev -= 2 * math.Log2(n.Float())
	}
	if iso, ok := m.Sensitivity.Get(); ok && iso > 0 {
		ev += math.Log2(float64(iso))
	}
	return ev, true
}

// newSetUp is why a change at a pause is not judged.
const newSetUp = "the change comes at a pause: another set-up rather than a fault"

// atPause reports whether the odd frames are all of the run on one side of a
// pause of two cadences or more: they rather belong to another run with its own
// settings, however near it came.
func atPause(q *shoot.Sequence, odd []*shoot.Frame) bool {
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
	const pause = 2
	ticks, ok := step.Ticks.Get()
	count := step.Count.Or(1)
	return ok && count <= 1 && ticks-step.Slack >= pause
}
