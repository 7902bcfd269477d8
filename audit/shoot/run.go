package shoot

import (
	"cmp"
	"math"
	"slices"
	"time"

	"prestrike/exifread"
)

// A Run is frames that one body made in one go.
type Run struct {
	Body   *Body
	Frames []*Frame // in the order they were made; never empty
	// Merged are the pictures that the camera merged from the frames; they are none of them.
	Merged []*Frame
	// Cadence is the steady time from one frame's start to the next; not
	// known where there is none.
	Cadence exifread.Value[time.Duration]
	// Steps are the ways from each frame to the next: len(Frames)-1 of them.
	Steps    []Step
	Settings Settings

	// MayContinue is the run before where this one may be its second part: it comes
	// soon after at the same cadence and settings, and only the pictures show whether it
	// goes on, starts over or shows something else. Nil where that is known.
	MayContinue *Run
	// Pause is what the pause between the two is where the pictures do not show it.
	Pause Pause

	// Between are the runs before and behind frames that record no time and belong to
	// neither, as far as is known by their numbers; nil where there is none.
	Between [2]*Run
	// PositionExposures is how many exposures, the same ones in the same order, a focus
	// sequence has at each position of the focus; 0 where it has one.
	PositionExposures int

	parts   []*Frame // that begin behind a pause where the run may end, if the pictures show so
	bracket bool     // exposures of one view in turn: a cycle of a bracket, or several at each position
}

// Runs pairs files into frames, orders these by body, and cuts them into runs. Planned is
// how many frames each steady run is to have; 0 where that was not declared.
func Runs(files []*File, planned int) []*Run {
	frames := takeOutCopies(makeFrames(files))
	byTime := slices.Clone(frames)
	slices.SortStableFunc(byTime, func(a, b *Frame) int {
		if c := a.Time.Compare(b.Time); c != 0 {
			return c
		}
		return cmp.Compare(a.Path(), b.Path())
	})
	numberFrames(byTime)
	var runs []*Run
	for _, b := range assignBodies(frames) {
		unpad(b.frames)
		coarsen(b.frames)
		merged := b.takeOutMerged()
		runs = append(runs, place(attach(runsOf(b, planned), merged, b.body), b, planned)...)
	}
	alignClocks(runs)
	for _, f := range frames {
		for _, c := range f.Copies {
			c.Body = f.Body
		}
	}
	var out []*Run
	for _, r := range runs {
		out = append(out, r.split()...)
	}
	for _, r := range out {
		r.measure()
	}
	return out
}

// runsOf cuts the timed frames of a body into runs.
func runsOf(b *bodyFrames, planned int) []*Run {
	var spans []span
	at := 0
	ps := points(b.frames)
	for _, p := range patterns(b.frames, ps) {
		spans = append(append(spans, steadySpans(b.frames, ps, at, p.from)...), p)
		at = p.to
	}
	spans = append(spans, steadySpans(b.frames, ps, at, len(b.frames))...)
	var runs []*Run
	for _, s := range joinEdges(b.frames, takes(b.frames, ps, spans, planned)) {
		parts := []part{{b.frames[s.from:s.to:s.to], s.bracket}}
		if !s.whole && s.exposures == 0 {
			parts = cycles(b.frames[s.from:s.to], s.bracket)
		}
		for i, part := range parts {
			r := &Run{Body: b.body, Frames: part.frames, bracket: part.bracket, PositionExposures: s.exposures}
			for _, at := range s.parts {
				r.parts = append(r.parts, b.frames[at])
			}
			if s.asks && i == 0 && len(runs) > 0 {
				r.MayContinue, r.Pause = runs[len(runs)-1], s.pause
			}
			runs = append(runs, r)
		}
	}
	return runs
}

// steadySpans cuts frames[from:to] by their times.
func steadySpans(frames []*Frame, ps []point, from, to int) []span {
	var spans []span
	for _, s := range segment(ps[from:to]) {
		at := from + s.from
		for _, part := range restarts(frames[at : from+s.to]) {
			spans = append(spans, span{from: at, to: at + len(part), bracket: s.bracket})
			at += len(part)
		}
	}
	return spans
}

// Start returns when the first timed frame was made; zero where no frame records it.
func (r *Run) Start() time.Time {
	for _, f := range r.Frames {
		if f.Timed() {
			return f.Time
		}
	}
	return time.Time{}
}

// End returns when the last timed frame was made; zero where no frame records it.
func (r *Run) End() time.Time {
	for i := len(r.Frames) - 1; i >= 0; i-- {
		if r.Frames[i].Timed() {
			return r.Frames[i].Time
		}
	}
	return time.Time{}
}

// ExpectedFrames returns how many frames the sequence holds, counting those whose
// numbers are missing inside it.
func (r *Run) ExpectedFrames() int {
	n := len(r.Frames)
	for _, st := range r.Steps {
		if c, ok := st.Count.Get(); ok && c > 1 {
			if t, ok := st.Ticks.Get(); ok && math.Abs(t-float64(c)) <= 0.5+st.Slack {
				n += c - 1
			}
		}
	}
	return n
}

// Exposures returns by how many EV the settings of each frame make it brighter,
// on a scale of its own: NaN where one lacks that most record, nil where most lack
// one. A lens without contacts has no f-number in any frame, which then stays.
func (r *Run) Exposures() []float64 {
	n := len(r.Frames)
	out := make([]float64, n)
	fNumbers, unknown := 0, 0
	for _, f := range r.Frames {
		if exifread.Positive(f.Meta().FNumber) > 0 {
			fNumbers++
		}
	}
	for i, f := range r.Frames {
		m := f.Meta()
		t, fNumber, iso := exifread.Positive(m.ExposureTime), exifread.Positive(m.FNumber), float64(m.Sensitivity.Or(0))
		if fNumbers == 0 {
			fNumber = 1
		}
		if t == 0 || iso == 0 || fNumber == 0 {
			out[i] = math.NaN()
			unknown++
			continue
		}
		out[i] = math.Log2(t*iso) - 2*math.Log2(fNumber)
	}
	if 2*unknown > n {
		return nil
	}
	return out
}

// Settings are what most frames of a sequence agree on.
type Settings struct {
	ExposureTime exifread.Value[exifread.Rational] // seconds
	FNumber      exifread.Value[exifread.Rational]
	ISO          exifread.Value[uint32]
	FocalLength  exifread.Value[exifread.Rational] // mm
}

// agree returns the values that most frames share.
func agree(frames []*Frame) Settings {
	var s Settings
	s.ExposureTime = majority(frames, (*Frame).exposureTime)
	s.FNumber = majority(frames, func(f *Frame) exifread.Value[exifread.Rational] { return f.meta.FNumber })
	s.ISO = majority(frames, (*Frame).sensitivity)
	s.FocalLength = majority(frames, func(f *Frame) exifread.Value[exifread.Rational] { return f.meta.FocalLength })
	return s
}

// majority returns the value most frames record, the earliest of equals.
func majority[T comparable](frames []*Frame, get func(*Frame) exifread.Value[T]) exifread.Value[T] {
	var best exifread.Value[T]
	if !slices.ContainsFunc(frames, func(f *Frame) bool {
		v := get(f)
		if !best.Known() {
			best = v
		}
		return v.Known() && v != best
	}) {
		return best
	}
	counts := map[T]int{}
	most := 0
	for _, f := range frames {
		if v, ok := get(f).Get(); ok {
			counts[v]++
		}
	}
	for _, f := range frames {
		if v, ok := get(f).Get(); ok && counts[v] > most {
			best, most = exifread.Of(v), counts[v]
		}
	}
	return best
}
