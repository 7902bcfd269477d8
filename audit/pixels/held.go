package pixels

import "math"

// Views reports whether the view changes from frame to frame: Found means that the
// camera goes around the subject, or that the subject turns; Fine means that all
// frames show one view.
type Views struct {
	Verdict
	// Apart is the share of the picture's parts that lie elsewhere than the rest from
	// one frame to the next, by their depth: the median over the frames.
	Apart float64
}

// Held reports what held the camera: Found means a hand, Fine a stand. A hand moves and
// rolls the camera from frame to frame. What shifts it alone, a rail, a trembling floor,
// or focus that makes the picture larger, does not roll it.
type Held struct {
	Verdict
	Shift float64 // from frame to frame beyond what is common to them, px of a picture 1,600 wide
	Roll  float64 // the same of the camera's roll, degrees
}

// askViews decides whether parts of the picture move by their depth. Where it shows of
// few pictures, they must be explained by their common motion.
func (e *evidence) askViews() Views {
	if e.mostlyApart() {
		return Views{Verdict: cannot(ReasonUnrelated)}
	}
	var apart, left []float64
	for _, l := range e.links {
		if l.motion.Converged && !e.outside[l.from] && !e.outside[l.to] {
			apart, left = append(apart, l.motion.Apart), append(left, l.motion.Unexplained)
		}
	}
	shows := known(apart)
	switch {
	case len(apart) < heldLinks:
		return Views{Verdict: cannot(ReasonUnrelated)}
	case 2*len(shows) >= len(apart):
		v := Views{Apart: median(shows)}
		v.Verdict = decided(v.Apart > viewsApart)
		return v
	case median(left) > heldLeft:
		return Views{Verdict: cannot(ReasonUnrelated)}
	}
	return Views{Verdict: Verdict{Answer: Fine}}
}

// mostlyApart reports whether a quarter of the pictures, or more, do not show what the ones
// before show.
func (e *evidence) mostlyApart() bool {
	links, apart, strange := 0, 0, 0
	for _, l := range e.links {
		if e.outside[l.from] || e.outside[l.to] {
			continue
		}
		links++
		if !l.motion.Converged {
			apart++
		}
	}
	for i, s := range e.strange {
		if s && !e.dark[i] {
			strange++
		}
	}
	return links > 0 && float64(apart) >= unfitShare*float64(links) || float64(strange) > unfitShare*float64(len(e.frames))
}

// askHeld distinguishes a hand from a stand by the motion of the picture.
func (e *evidence) askHeld(v Views) Held {
	if v.Answer == CannotTell {
		return Held{Verdict: v.Verdict}
	}
	var x, y, roll, left []float64
	for _, l := range e.links {
		if m := l.motion; m.Converged && !e.outside[l.from] && !e.outside[l.to] {
			span := e.span(l)
			px := e.perLongSide() * span
			x, y = append(x, m.ShiftX/px), append(y, m.ShiftY/px)
			roll = append(roll, m.Rotation*180/math.Pi/span)
			left = append(left, m.Unexplained)
		}
	}
	h := Held{Shift: restless(x, y), Roll: restless(roll, make([]float64, len(roll)))}
	unexplained := median(left)
	switch {
	case v.Answer == Found:
		h.Verdict = cannot(ReasonViews)
	case h.Shift < stoodShift && h.Roll < stoodRoll,
		h.Shift < trembleShift && h.Roll < trembleRoll,
		h.Shift < middleShift && h.Roll < middleRoll:
		h.Verdict = Verdict{Answer: Fine}
	case unexplained > heldLeft || unexplained > heldLeftLittle && h.Shift < heldLittle:
		h.Verdict = cannot(ReasonHeld) // blur that changes much moves the picture by itself
	case h.Roll > handRoll && h.Shift > stoodShift,
		h.Roll > middleRoll && h.Shift > handShift,
		h.Roll > largeRoll && h.Shift > trembleShift:
		h.Verdict = Verdict{Answer: Found}
	default:
		h.Verdict = cannot(ReasonHeld)
	}
	return h
}

// restless returns by how much the values, of two coordinates, differ from frame to frame: in
// the median from what is common to all, or from those before, whichever is less. That
// forgives a drift, and a few jumps.
func restless(x, y []float64) float64 {
	mx, my := median(append([]float64(nil), x...)), median(append([]float64(nil), y...))
	var common, before []float64
	for i := range x {
		common = append(common, math.Hypot(x[i]-mx, y[i]-my))
		if i > 0 {
			before = append(before, math.Hypot(x[i]-x[i-1], y[i]-y[i-1])/math.Sqrt2)
		}
	}
	return min(median(common), median(before))
}
