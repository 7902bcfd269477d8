package pixels

import (
	"cmp"
	"math"
	"slices"
)

// Motion places are where the frames behind an end lie by the motion of the picture, which
// focusing scales or shifts, in usual steps outwards of that end. From one frame to the
// next that is well known; all of them together may lie aside.
type motionPlaces struct {
	at    []float64
	aside float64 // deviation of all of them together
}

// placesByMotion places the frames of o, whose first one mo leads to, behind an end. It is
// not ok where focusing does not show in the motion of the picture near that end.
func (j *Judgement) placesByMotion(o *Judgement, mo Motion, end, outwards float64) (m motionPlaces, ok bool) {
	l := &j.Layout
	var near []FrameSummary
	var x []float64
	for i, place := range l.Places {
		if d := outwards * (place - end); d >= -extendWindow {
			near, x = append(near, j.PerFrame[l.Frames[i]]), append(x, d)
		}
	}
	if len(near) < coursePart || len(o.PerFrame) != len(o.Glance.Sharpness) || !oneChain(near) || !oneChain(o.PerFrame) {
		return m, false
	}
	read, noise, aside := j.motionRead(near, x)
	y := make([]float64, len(near))
	for i, f := range near {
		y[i] = read(f.ShiftX, f.ShiftY, f.Scale)
	}
	slope, start := theilSen(x, y)
	left := make([]float64, len(y))
	for i := range y {
		left[i] = math.Abs(y[i] - start - slope*x[i])
	}
	if noise = max(noise, consistent*median(left)); !(noise < motionStep*math.Abs(slope)) {
		return m, false
	}
	for _, f := range o.PerFrame {
		p := mo.then(f.motion())
		m.at = append(m.at, (read(p.ShiftX, p.ShiftY, p.Scale)-start)/slope)
	}
	m.aside = aside / math.Abs(slope)
	return m, true
}

// oneChain reports whether frames were placed one by another.
func oneChain(frames []FrameSummary) bool {
	return !slices.ContainsFunc(frames, func(f FrameSummary) bool { return !f.Measured || f.Chain != frames[0].Chain })
}

// motionRead returns what reads how far the picture went on, px: half-way to a corner where
// focusing scales it, or along the way of frames near the end, which lie at x, where it shifts
// it. That deviates by noise from one frame to the next, and by aside between two runs.
func (j *Judgement) motionRead(near []FrameSummary, x []float64) (read func(shiftX, shiftY, scale float64) float64, noise, aside float64) {
	if j.Signature.Kind == "drift" {
		var sx, sy []float64
		for _, f := range near {
			sx, sy = append(sx, f.ShiftX), append(sy, f.ShiftY)
		}
		ux, _ := theilSen(x, sx)
		uy, _ := theilSen(x, sy)
		d := max(math.Hypot(ux, uy), leastWay)
		return func(shiftX, shiftY, _ float64) float64 { return (shiftX*ux + shiftY*uy) / d }, fewShift, fewShiftApart
	}
	half := typicalRadius * math.Hypot(float64(j.Width), float64(j.Height)) / float64(j.Factor)
	return func(_, _, scale float64) float64 { return half * scale }, fewScale, fewScaleApart
}

// A laid is one way to lay the frames behind an end, and what it costs.
type laid struct {
	by    float64 // by which they lie aside of where the motion places them
	x     []float64
	peaks []peak
	cost  float64
}

// layAlong lays the frames where the motion of the picture places them, aside by each of the
// ways that may be, and fits the peaks to each. It returns those that are likely, the best
// first; none where the pictures' sharpness contradicts all of them. Whatever sharpness
// shows, those are likely to which the motion deviates in two of three cases: sharpness of
// what no frame of the run shows sharp may be wrong by more than it says.
func (f *extension) layAlong(m motionPlaces, end float64) (list []laid) {
	begun, before := f.peaks, slices.Clone(f.x)
	n := math.Ceil(asideMost * m.aside / asideGrid)
	for i := -n; i <= n; i++ {
		w := laid{by: i * asideGrid, x: slices.Clone(before), peaks: slices.Clone(begun)}
		for k, at := range m.at {
			w.x[f.held+k] = end + f.outwards*(at+w.by)
		}
		w.cost = square(w.by / m.aside)
		for t := range w.peaks {
			for range asideRounds {
				w.peaks[t].fit(w.x, f.sigma)
			}
			left, _, _ := w.peaks[t].equations(w.x, f.sigma)
			w.cost += left
		}
		list = append(list, w)
	}
	slices.SortStableFunc(list, func(a, b laid) int { return cmp.Compare(a.cost, b.cost) })
	f.x, f.peaks = list[0].x, list[0].peaks
	unlike := 0
	for k := range m.at {
		if f.misfit(f.held+k) > patchMisfit {
			unlike++
		}
	}
	f.x, f.peaks = before, begun
	if 2*unlike > len(m.at) {
		return nil
	}
	return slices.DeleteFunc(list, func(w laid) bool {
		return w.cost > list[0].cost+asideCost && math.Abs(w.by) > m.aside
	})
}
