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
	s := Step{Verdict: cannot(ReasonStep), Blur: blur, Low: blur / curveFactor, High: blur * curveFactor}
	s.Verdict = s.Beyond(e.th.StepBlur)
	return s
}

// Beyond answers whether the growth of blur is over a limit, px: where that lies within
// the bounds of the growth, nothing is decided.
func (s Step) Beyond(limit float64) Verdict {
	switch {
	case s.Blur == 0:
		return s.Verdict
	case s.Low > limit:
		return Verdict{Answer: Found}
	case s.High <= limit:
		return Verdict{Answer: Fine}
	case s.Answer == CannotTell:
		return s.Verdict
	}
	return cannot(ReasonNearLimit)
}

// StepFrames lists the frames whose pictures, added to a [TestRun] in this order, show by
// how much blur grows where the judgement does not decide whether that is too much; nil
// where it does, where nothing is known of it, and where focus does not go on evenly over
// frames enough. They are the frames around those in which most of the subject is sharpest.
func (j *Judgement) StepFrames() []int {
	if j.Step.Blur == 0 || j.Step.Answer != CannotTell {
		return nil
	}
	var best []int
	most := -1.0
	for _, even := range j.evenly() {
		for from := 0; from == 0 || from+MostStepFrames <= len(even); from += MostStepFrames / 2 {
			list := even[from:min(len(even), from+MostStepFrames)]
			if len(list) < stepLeast {
				continue
			}
			sharpest := 0.0
			for i, at := range list {
				sharpest += float64(min(i, len(list)-1-i)) * j.PerFrame[at].Sharpest // blur grows to both sides
			}
			if sharpest > most {
				best, most = list, sharpest
			}
		}
	}
	return best
}

// evenly returns the frames in the order of focus, one at each position, parted where a
// step is wider or narrower than others, or goes back.
func (j *Judgement) evenly() [][]int {
	parted := make([]bool, j.Frames) // frames behind which focus does not go on as before
	part := func(from, to int) {
		for i := max(0, from); i < min(to, j.Frames); i++ {
			parted[i] = true
		}
	}
	for _, e := range j.Jumps.Events {
		part(e.From, e.From+1)
	}
	for _, e := range j.Stalls.Events {
		part(e.From, e.To)
	}
	for _, e := range j.Order.Events {
		part(e.From-1, e.To+1)
	}
	order, every := j.Habit.Outwards, 1
	if order == nil {
		for i := range j.Frames {
			order = append(order, i)
		}
	}
	if j.Habit.Pairs {
		every = 2
	}
	var out [][]int
	var open []int
	for i := 0; i < len(order); i += every {
		open = append(open, order[i])
		if parted[order[i]] || i+every >= len(order) {
			out, open = append(out, open), nil
		}
	}
	return out
}

// Measured returns the step with what a test run of [Judgement.StepFrames] showed of it: the
// same step, with the reason, where that decides no more.
func (s Step) Measured(g Growth, th Thresholds) Step {
	if g.Answer != Found {
		if g.Reason != ReasonLittle { // which advises on a test run
			s.Reason = g.Reason
		}
		return s
	}
	out := Step{Verdict: cannot(ReasonNearLimit), Blur: g.Blur, Low: g.Low, High: g.High}
	out.Verdict = out.Beyond(th.StepBlur)
	return out
}
