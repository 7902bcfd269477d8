package pixels

// askWalk distinguishes a focus sequence from a standing one.
func (e *evidence) askWalk(c *curves) Walk {
	if e.long {
		return Walk{Verdict: cannot(ReasonLong)}
	}
	if e.unfit != "" {
		return Walk{Verdict: cannot(e.unfit)}
	}
	if c.detail < walkTiles {
		return Walk{Verdict: cannot(ReasonTexture)}
	}
	var w Walk
	var rise []float64
	strong, walking := 0, 0
	for i := range c.tiles {
		t := &c.tiles[i]
		if !t.detail {
			continue
		}
		if t.textured && t.rise >= e.th.MinRise {
			walking++
			rise = append(rise, t.rise)
		}
		if t.rise >= strongRise {
			strong++
		}
	}
	// Where most of all detail comes and goes, focus moves, even where its
	// steps are too few or too uneven for smooth curves.
	throughout := 2*strong > c.detail
	w.Share = float64(walking) / float64(c.detail)
	if len(rise) > 0 {
		w.Rise = median(rise)
	}
	kind := e.signature.Kind
	enough := w.Share >= walkShare || throughout || kind == "scale" && w.Share >= walkShareScaled
	switch {
	case walking >= walkTiles && enough && w.Rise >= walkRise:
		w.Verdict = Verdict{Answer: Found}
	case w.Share < standShare && kind == "" && !e.scales():
		w.Verdict = Verdict{Answer: Fine}
	default:
		w.Verdict = cannot(ReasonWalk)
	}
	return w
}

// scales reports whether the picture changes its size within the run, in whatever
// order: focus does that, and a camera that stands does not.
func (e *evidence) scales() bool {
	lo, hi := 0.0, 0.0
	for i, f := range e.frames {
		if !e.strange[i] {
			lo, hi = min(lo, f.place.Scale), max(hi, f.place.Scale)
		}
	}
	return (hi-lo)*typicalRadius*e.diagonal() > standScale*e.perLongSide()
}

// curvesTell gives the reason why the sharpness curves decide nothing.
func (e *evidence) curvesTell(w Walk, c *curves) (Verdict, bool) {
	switch {
	case e.long:
		return cannot(ReasonLong), false
	case e.unfit != "":
		return cannot(e.unfit), false
	case w.Answer == Fine:
		return cannot(ReasonNotFocus), false
	case c.textured < e.th.MinTiles:
		return cannot(ReasonTexture), false
	case c.n < minFrames:
		return cannot(ReasonFew), false
	}
	return Verdict{}, true
}
