package pixels

import "math"

// askOrder finds steps against the regular direction.
func (e *evidence) askOrder(w Walk, c *curves) Order {
	sg := &e.signature
	if w.Answer == Fine && sg.Kind == "" {
		return Order{Verdict: cannot(ReasonNotFocus)}
	}
	if sg.Kind != "" {
		events := e.reversals(sg)
		return Order{Verdict: decided(len(events) > 0), Events: events}
	}
	if sg.faint {
		if events := e.swaps(sg); len(events) > 0 {
			return Order{Verdict: Verdict{Answer: Found}, Events: events}
		}
	}
	v, ok := e.curvesTell(w, c)
	if !ok || c.hw == 0 {
		if ok {
			v = cannot(ReasonInterior)
		}
		return Order{Verdict: v}
	}
	if r, found := e.revisit(c); found {
		return Order{Verdict: Verdict{Answer: Found}, Events: []Reversal{r}}
	}
	return Order{Verdict: cannot(ReasonSignature)} // short turns and swaps would not be seen
}

// reversals returns the stretches over which the signature goes against the
// direction of the run.
func (r *run) reversals(sg *signature) (events []Reversal) {
	regular := func(i int) bool {
		return i >= 0 && i < len(sg.v) && sg.v[i]*sg.sign > r.th.TurnRatio*sg.median
	}
	back := func(i int) bool { return sg.v[i]*sg.sign < -r.th.TurnRatio*sg.median }
	for i := 0; i < len(sg.v); i++ {
		if sg.swapped(i) && -sg.v[i]*sg.sign <= restartStep*sg.median {
			events = append(events, r.swap(sg, i))
			continue
		}
		if !back(i) {
			continue
		}
		a := i
		var sum, most float64
		for i < len(sg.v) && back(i) {
			sum += -sg.v[i] * sg.sign * r.span(r.links[i])
			most = max(most, -sg.v[i]*sg.sign)
			i++
		}
		if sum < turnSigma*sg.sigma*math.Sqrt(float64(i-a)) || !regular(a-1) && !regular(i) {
			continue
		}
		from, _ := r.ends(r.links[a])
		_, to := r.ends(r.links[i-1])
		ev := Reversal{Kind: Turned, From: from, To: to, Back: sum / sg.median}
		if i-a == 1 {
			large := func(k int) bool { return k >= 0 && k < len(sg.v) && sg.v[k]*sg.sign > swapStep*sg.median }
			switch {
			case most > restartStep*sg.median:
				ev.Kind = Restarted
			case large(a-1) && large(i) || (a == 0 || i == len(sg.v)) && (large(a-1) || large(i)):
				ev.Kind = Swapped
			}
		}
		events = append(events, ev)
	}
	return events
}

// swapped reports whether focus goes back over link i as it does where two frames
// changed places: with steps on either side that are as much too long.
func (sg *signature) swapped(i int) bool {
	if i < 1 || i+1 >= len(sg.v) {
		return false
	}
	before, back, behind := sg.v[i-1]*sg.sign, sg.v[i]*sg.sign, sg.v[i+1]*sg.sign
	excess := before - back + behind - sg.median // 0 for three regular steps, 4 of them for a swap
	return back < 0 && min(before, behind) >= swapStep*sg.median && excess >= swapSigma*math.Sqrt(3)*sg.sigma
}

func (r *run) swap(sg *signature, i int) Reversal {
	from, to := r.ends(r.links[i])
	return Reversal{Kind: Swapped, From: from, To: to, Back: -sg.v[i] * sg.sign * r.span(r.links[i]) / sg.median}
}

// swapsInSteps finds neighbours that changed places by all methods that measure steps,
// where the signature does not decide.
func (e *evidence) swapsInSteps(o Order, s joinedSteps) Order {
	if o.Answer != CannotTell || e.signature.Kind != "" {
		return o
	}
	for i := 1; i+1 < len(s.ratio); i++ {
		before, at, behind := s.ratio[i-1], s.ratio[i], s.ratio[i+1]
		excess := before - at + behind - 1 // 0 for three usual steps, 4 of them for a swap
		error := math.Sqrt(square(s.error[i-1]) + square(s.error[i]) + square(s.error[i+1]) + 3*square(s.uneven(i)))
		if at < 0 && min(before, behind) >= swapStep && -at <= restartStep && excess >= swapSigma*error {
			from, to := e.ends(e.links[i])
			o.Events = append(o.Events, Reversal{Kind: Swapped, From: from, To: to, Back: -at * e.span(e.links[i])})
		}
	}
	if len(o.Events) > 0 {
		o.Verdict = Verdict{Answer: Found}
	}
	return o
}

// swaps returns the neighbours that changed places where the signature is too faint
// for all else.
func (r *run) swaps(sg *signature) (events []Reversal) {
	for i := range sg.v {
		if sg.swapped(i) {
			events = append(events, r.swap(sg, i))
		}
	}
	return events
}

// revisit finds the first frame whose sharp tiles are those of an earlier frame
// more than two half widths before.
func (e *evidence) revisit(c *curves) (Reversal, bool) {
	apart := int(math.Ceil(revisitApart * c.hw))
	var textured []*curve
	for i := range c.tiles {
		if c.tiles[i].textured {
			textured = append(textured, &c.tiles[i])
		}
	}
	least := max(revisitTiles, int(revisitShare*float64(len(textured))))
	// Not at the ends, which may be test frames.
	for b := apart + 1; b < c.n-testFrames+1; b++ {
		if !c.real[b] {
			continue
		}
		best, at := math.Inf(1), 0
		for a := testFrames - 1; a < b-apart; a++ {
			if !c.real[a] {
				continue
			}
			if rms, n := unlikeness(textured, a, b); n >= least && rms < best {
				best, at = rms, a
			}
		}
		if best < e.th.RevisitRMS && leaves(textured, at, b, revisitLeaves*e.th.RevisitRMS) {
			return Reversal{Kind: Revisited, From: c.lo + at, To: c.lo + b, Back: float64(b - at)}, true
		}
	}
	return Reversal{}, false
}

// unlikeness returns the rms difference of sharpness between frames a and b of the
// n tiles that are sharp in the one or the other; NaN of none.
func unlikeness(tiles []*curve, a, b int) (rms float64, n int) {
	var sum float64
	for _, t := range tiles {
		p, q := float64(t.f[a]), float64(t.f[b])
		if p > revisitSharp || q > revisitSharp {
			sum += (p - q) * (p - q)
			n++
		}
	}
	return math.Sqrt(sum / float64(n)), n
}

// leaves reports whether the sharpness of the tiles that are sharp in frame a
// differs in some frame before b by more than rms: focus has left and not stood.
func leaves(tiles []*curve, a, b int, rms float64) bool {
	for k := a + 1; k < b; k++ {
		if d, n := unlikeness(tiles, a, k); n > 0 && d > rms {
			return true
		}
	}
	return false
}

// touches reports whether a jump back in focus lies between the two frames:
// focusing off centre then shifts the picture by more than can be
// distinguished.
func (o *Order) touches(from, to int) bool {
	for _, e := range o.Events {
		if e.Kind != Revisited && from <= e.To && to >= e.From {
			return true
		}
	}
	return false
}
