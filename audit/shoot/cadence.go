package shoot

import (
	"math"
	"slices"
	"time"

	"prestrike/exifread"
)

// coarsen gives the frames of a body the resolution of whole seconds where all
// their sub-seconds are 0: some bodies write those and do not know them.
func coarsen(frames []*Frame) {
	const enough = 5 // by chance it is one in 10^10 of those that know hundredths
	if len(frames) < enough || slices.ContainsFunc(frames, func(f *Frame) bool { return f.Time.Nanosecond() != 0 }) {
		return
	}
	for _, f := range frames {
		if f.Timed() {
			f.Resolution = max(f.Resolution, time.Second)
		}
	}
}

// A Step is the way from one frame to the next of a sequence.
type Step struct {
	From, To *Frame
	// Elapsed is the time between the two starts; not known where either
	// frame records no time.
	Elapsed exifread.Value[time.Duration]
	// Ticks is Elapsed in cadences, with the time that a changed exposure
	// explains taken out; not known without a cadence or a time.
	Ticks exifread.Value[float64]
	// Slack is half the uncertainty of Ticks that the clock's resolution
	// causes: two whole-second readings of a 1 s cadence carry a Slack of 1.
	Slack float64
	// Count is the step of the file number, 1 for neighbours; not known
	// where either has no number or the numbers do not count together.
	Count exifread.Value[int]
}

// measureCadence finds the steady time per frame: the median gap, each divided by
// the step of the number where frames are missing; on a clock too coarse for
// that, the mean over the run without its pauses.
func (r *Run) measureCadence() {
	var gaps []float64
	q := 0.0
	var prev *Frame
	for _, f := range r.Frames {
		if !f.Timed() {
			continue
		}
		if prev != nil {
			g := f.Time.Sub(prev.Time).Seconds()
			if n := countStep(prev, f); n > 1 && n <= furthestCount {
				g /= float64(n)
			}
			if r.bracket {
				g -= prev.ExposureSeconds()
			}
			gaps = append(gaps, g)
			q = max(q, f.Resolution.Seconds(), prev.Resolution.Seconds())
		}
		prev = f
	}
	if len(gaps) < 2 {
		return
	}
	sorted := slices.Clone(gaps)
	slices.Sort(sorted)
	c := sorted[len(sorted)/2]
	if len(sorted)%2 == 0 {
		c = (c + sorted[len(sorted)/2-1]) / 2
	}
	if q > coarse*c {
		sum, n := 0.0, 0
		for _, g := range gaps {
			if g <= 1.5*c+q {
				sum += g
				n++
			}
		}
		c = sum / float64(n)
	}
	if c <= 0 {
		return // all within one reading of the clock
	}
	r.Cadence = exifread.Of(time.Duration(c * float64(time.Second)))
}

// measureSteps fills in the ways from frame to frame.
func (r *Run) measureSteps() {
	r.Steps = make([]Step, 0, len(r.Frames)-1)
	c, steady := r.Cadence.Get()
	typical := 0.0
	if t, ok := r.Settings.ExposureTime.Get(); ok {
		typical = t.Float()
	}
	pace := r.positionPace()
	for i := 1; i < len(r.Frames); i++ {
		a, b := r.Frames[i-1], r.Frames[i]
		st := Step{From: a, To: b}
		if a.Number.Known && b.Number.Known && a.Number.Series == b.Number.Series {
			st.Count = exifread.Of(b.Number.Count - a.Number.Count)
		}
		if a.Timed() && b.Timed() {
			d := b.Time.Sub(a.Time)
			st.Elapsed = exifread.Of(d)
			if steady {
				ticks := d.Seconds() / c.Seconds()
				e := a.ExposureSeconds()
				if usual := pace.after(a, i-1, st.Count.Or(1)); usual > 0 {
					ticks = d.Seconds() / usual * float64(max(1, st.Count.Or(1)))
				} else if r.bracket {
					ticks = (d.Seconds() - e) / c.Seconds()
				} else if extra := e - typical; e > 0 && math.Abs(extra) > 0.05*c.Seconds() {
					// Either the interval or the dead time between frames
					// stays when the exposure time changes.
					if alt := (d.Seconds() - extra) / c.Seconds(); math.Abs(alt-math.Round(alt)) < math.Abs(ticks-math.Round(ticks)) {
						ticks = alt
					}
				}
				st.Ticks = exifread.Of(ticks)
				st.Slack = max(a.Resolution, b.Resolution).Seconds() / c.Seconds()
			}
		}
		r.Steps = append(r.Steps, st)
	}
}

// A positionPace is the usual time from each of the exposures of a focus position to
// the next frame, s: the last one waits for the focus to move.
type positionPace struct {
	origin *Frame
	usual  []float64
}

// positionPace measures the pace of a run with several exposures at each position; it
// is empty for others.
func (r *Run) positionPace() positionPace {
	p := positionPace{origin: r.Frames[0], usual: make([]float64, r.PositionExposures)}
	if r.PositionExposures == 0 {
		return p
	}
	gaps := make([][]float64, r.PositionExposures)
	for i := 1; i < len(r.Frames); i++ {
		a, b := r.Frames[i-1], r.Frames[i]
		if n := countStep(a, b); a.Timed() && b.Timed() && n <= 1 {
			at := p.place(a, i-1)
			gaps[at] = append(gaps[at], b.Time.Sub(a.Time).Seconds())
		}
	}
	for i, g := range gaps {
		if len(g) > 0 {
			slices.Sort(g)
			p.usual[i] = g[len(g)/2]
		}
	}
	return p
}

// place returns which of the exposures of its position a frame is, by its number, or
// its index where that does not count.
func (p positionPace) place(f *Frame, index int) int {
	if f.Number.Known && p.origin.Number.Known && f.Number.Series == p.origin.Number.Series {
		index = f.Number.Count - p.origin.Number.Count
	}
	n := len(p.usual)
	return (index%n + n) % n
}

// after returns the usual time from a frame to the one a number of frames on; 0 where
// nothing is known of it.
func (p positionPace) after(f *Frame, index, count int) float64 {
	if len(p.usual) == 0 {
		return 0
	}
	sum := 0.0
	for i := range max(1, min(count, furthestCount)) {
		sum += p.usual[(p.place(f, index)+i)%len(p.usual)]
	}
	return sum
}

// countStep returns the step of the number from a to b; 0 where not known.
func countStep(a, b *Frame) int {
	if !a.Number.Known || !b.Number.Known || a.Number.Series != b.Number.Series {
		return 0
	}
	return b.Number.Count - a.Number.Count
}

// restarts cuts a run that a timer made where it was stopped and started again:
// at a pause that is off the timer's beat. A timer that only left out ticks
// keeps its beat.
func restarts(frames []*Frame) [][]*Frame {
	n := len(frames)
	if n < intervalFrames {
		return [][]*Frame{frames}
	}
	gaps := make([]float64, n-1)
	q := 0.0
	for i := range gaps {
		gaps[i] = frames[i+1].Time.Sub(frames[i].Time).Seconds()
		q = max(q, frames[i].Resolution.Seconds())
	}
	sorted := slices.Sorted(slices.Values(gaps))
	c := sorted[len(sorted)/2]
	if c < intervalCadence || q > coarse*c {
		return [][]*Frame{frames}
	}
	off := 0
	for _, g := range gaps {
		if math.Abs(g/c-math.Round(g/c)) > intervalScatter+q/c {
			off++
		}
	}
	if off*10 > n {
		return [][]*Frame{frames}
	}
	var out [][]*Frame
	from := 0
	for i, g := range gaps {
		ticks := g / c
		if ticks >= restartTicks && math.Abs(ticks-math.Round(ticks)) > restartOff+q/c && i+1-from >= fewFrames && n-i-1 >= fewFrames {
			out = append(out, frames[from:i+1:i+1])
			from = i + 1
		}
	}
	return append(out, frames[from:])
}

const (
	// A pause of restartTicks or more that is off the beat by restartOff of
	// it is no left-out tick.
	restartTicks = 4.5
	restartOff   = 0.08
)
