package pixels

import "slices"

// sorted returns the evidence as of a run made in the order of focus: frames are named
// by their place in it. What lies between the frames on both sides of the join is not
// known: they were registered over the widest step of all.
func (e *evidence) sorted(places []int, join int) *evidence {
	r := *e.run
	r.frames, r.links = nil, nil
	r.settings, r.ev, r.lnGain, r.strange = nil, nil, nil, nil
	var dark []bool
	at := make(map[int]int, len(e.frames)) // of each frame, as added
	for i, f := range e.frames {
		at[f.index] = i
	}
	into := make([]Motion, len(e.frames)) // each frame, in the order made
	for _, l := range e.links {
		into[l.to] = l.motion
	}
	before := -1
	for k, index := range places {
		i, ok := at[index]
		if !ok {
			continue
		}
		f := e.frames[i]
		f.index = k
		f.slants = nil // of the neighbours in time
		r.frames = append(r.frames, f)
		r.settings, r.ev, r.lnGain = append(r.settings, e.settings[i]), append(r.ev, e.ev[i]), append(r.lnGain, e.lnGain[i])
		r.strange, dark = append(r.strange, e.strange[i] && !f.placed), append(dark, e.dark[i])
		if n := len(r.frames); n > 1 {
			m := e.frames[before].place.to(f.place)
			m.Unexplained = max(into[before].Unexplained, into[i].Unexplained)
			m.Doubt = max(into[before].Doubt, into[i].Doubt)
			m.Converged = (join < 0 || e.frames[i].index != join+1) && e.frames[before].placed && f.placed
			s := Sequence{grid: e.grid, frames: r.frames}
			r.links = append(r.links, s.compare(n-2, n-1, m))
		}
		before = i
	}
	return r.evidence(dark)
}

// withoutFocus returns the evidence of a run made outwards without the motion of the
// picture that goes with focus, so that only what else moved it is left.
func (e *evidence) withoutFocus(places []int) *evidence {
	r := *e.run
	r.links = slices.Clone(e.links)
	at := make([]float64, len(places))
	for k, i := range places {
		at[i] = float64(k)
	}
	way := func(l *link) float64 {
		from, to := r.ends(*l)
		return at[to] - at[from]
	}
	for _, part := range []func(*Motion) *float64{
		func(m *Motion) *float64 { return &m.ShiftX },
		func(m *Motion) *float64 { return &m.ShiftY },
		func(m *Motion) *float64 { return &m.Rotation },
		func(m *Motion) *float64 { return &m.Scale },
	} {
		var steps []float64
		for i := range r.links {
			if l := &r.links[i]; l.motion.Converged {
				steps = append(steps, *part(&l.motion)/way(l))
			}
		}
		if len(steps) == 0 {
			continue
		}
		step := median(steps)
		for i := range r.links {
			l := &r.links[i]
			*part(&l.motion) -= step * way(l)
		}
	}
	out := *e
	out.run = &r
	out.signature = signature{v: make([]float64, len(r.links))}
	return &out
}

// to returns the motion from the picture at place a to that at place b.
func (a Motion) to(b Motion) Motion {
	// b divided by a, as complex factors
	d := (1+a.Scale)*(1+a.Scale) + a.Rotation*a.Rotation
	re := ((1+b.Scale)*(1+a.Scale) + b.Rotation*a.Rotation) / d
	im := (b.Rotation*(1+a.Scale) - (1+b.Scale)*a.Rotation) / d
	return Motion{
		Scale: re - 1, Rotation: im,
		ShiftX: b.ShiftX - (re*a.ShiftX - im*a.ShiftY),
		ShiftY: b.ShiftY - (im*a.ShiftX + re*a.ShiftY),
		Gain:   1,
	}
}

// unsure leaves what is uncertain out of the jumps of the picture in a run made
// outwards: over its widest steps, blur that changes much pulls registration aside, and
// what matches its neighbour in focus alone has not moved.
func (m *Moved) unsure(o outwardOrder, e *evidence) {
	placed := make([]bool, e.added)
	for i, f := range e.frames {
		placed[f.index] = f.placed
		if e.strange[i] && f.placed {
			m.Doubtful = append(m.Doubtful, f.index)
		}
	}
	m.Events = slices.DeleteFunc(m.Events, func(ev Move) bool {
		wide := ev.From == o.join || o.join < 0 && ev.From >= e.added-1-weakLinks || ev.Lost && placed[ev.To]
		if wide && !slices.Contains(m.Doubtful, ev.To) {
			m.Doubtful = append(m.Doubtful, ev.To)
		}
		return wide
	})
	slices.Sort(m.Doubtful)
	if m.Answer == Found && len(m.Events) == 0 {
		m.Verdict = decided(false)
	}
	if m.Answer != Found && 2*len(m.Doubtful) > e.added {
		*m = Moved{Verdict: cannot(ReasonUnrelated)}
	}
}

// asMade names the frames of answers that were given of the sorted evidence as they
// were made.
func (j *Judgement) asMade(places []int) {
	for i := range j.Jumps.Events {
		ev := &j.Jumps.Events[i]
		ev.From, ev.To = places[ev.From], places[ev.To]
	}
	for i, k := range j.Layout.Frames {
		j.Layout.Frames[i] = places[k]
	}
	for i := range j.Soft.Events {
		ev := &j.Soft.Events[i]
		ev.Frame = places[ev.Frame]
	}
	j.First.Frame, j.Last.Frame = places[j.First.Frame], places[j.Last.Frame]
	// Neighbours in focus were not made one after the other: what stands or goes back
	// between them may be their registration, over two wide steps.
	if j.Stalls.Answer == Found {
		j.Stalls = Stalls{Verdict: cannot(ReasonOutwards)}
	}
	if j.Order.Answer == Found {
		j.Order = Order{Verdict: cannot(ReasonOutwards)}
	}
}
