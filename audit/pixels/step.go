package pixels

// blurConstant is the blur disk's growth per frame times the half width, px: a
// property of the focus measure on the picture binned 2x2. Narrow peaks, of
// which few samples are left, come out wider than they are.
func blurConstant(hw float64) float64 {
	return blurWide + blurNarrow*min(blurMost, max(0, narrowPeak-hw))
}

// askStep turns the width of the curves into blur per frame.
func (e *evidence) askStep(w Walk, c *curves, h Habit) Step {
	v, ok := e.curvesTell(w, c)
	switch {
	case !ok:
		return Step{Verdict: v}
	case w.Answer != Found:
		return Step{Verdict: cannot(ReasonWalk)}
	case c.interior < e.th.MinTiles:
		return Step{Verdict: cannot(ReasonInterior)}
	}
	hw := c.hw
	if h.Pairs {
		hw /= 2 // in positions
	}
	blur := blurConstant(hw) / hw
	return Step{Verdict: decided(blur > e.th.StepBlur), Blur: blur}
}
