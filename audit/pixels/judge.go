package pixels

import "slices"

// Judge answers what the frames added so far prove. Settings give by how many EV
// the settings of each frame make it brighter, on any one scale, for the frames in
// the order added: NaN for a frame of which they are not known, nil where they are
// known of no frame. Judge may be called at any time, and again with other
// thresholds.
//
// What a question builds on are its arguments. Light comes first, as dark frames
// take part in nothing else; then focus (does it walk, does it go back), and then
// what is only asked of frames that neither shows at fault.
func (s *Sequence) Judge(th Thresholds, settings []float64) *Judgement {
	r := s.run(th, settings)
	j := r.judgement()
	j.Range, j.Specks = r.askRange(), s.askSpecks()
	if len(r.frames) < minFrames {
		reason := ReasonFew
		if r.otherSize {
			reason = ReasonSizes
		}
		j.cannotTell(reason)
		j.OneView = r.oneView()
	}
	j.Glance, j.Stills = s.glance(r), s.stills
	if len(r.frames) < fewFrames {
		return j
	}
	d := r.askDark()
	e := r.evidence(d.frames)
	j.Dark, j.Brightness, j.Bands, j.Colour = d.Dark, e.askBrightness(), r.askBands(), e.askColour()
	j.Views = e.views
	j.Held = e.askHeld(j.Views)
	j.Lights = e.askLights()
	for i, above := range d.above {
		j.PerFrame[r.frames[i].index].EV = above
	}
	if len(r.frames) < minFrames {
		return j
	}

	j.askFocus(s, e)
	return j
}

// askFocus asks what only focus that walks can answer. A run made outwards is put in
// the order of focus first; but what moved the camera is asked in the order of time.
func (j *Judgement) askFocus(s *Sequence, e *evidence) {
	f, c := e, e.curves(e.outside)
	made := e.askOutwards(c)
	if made.places != nil {
		f = e.sorted(made.places, made.join)
		c = f.curves(f.outside)
		j.Habit.Outwards = made.places
		j.Unrelated = slices.DeleteFunc(j.Unrelated, e.shows)
		if j.Views.Answer == Found { // parts of the picture lie elsewhere by the blur of wide steps
			j.Views, j.Held = Views{Verdict: cannot(ReasonOutwards)}, Held{Verdict: cannot(ReasonOutwards)}
		}
	}
	j.Signature = f.signature.Signature
	j.Walk = f.askWalk(c)
	if made.unsure || made.places != nil && j.Walk.Answer != Found { // an order of what may not be focus
		j.Habit.Outwards = nil
		j.cannotTellFocus(ReasonMaybeOutwards)
		return
	}
	j.Order = f.askOrder(j.Walk, c)
	if outside, any := f.withoutTests(j.Order); any {
		c = f.curves(outside)
		j.Walk = f.askWalk(c)
	}
	steps := f.askSteps(j.Walk, c)
	if j.Habit.Pairs = f.pairs(j.Walk); !j.Habit.Pairs { // the steps of pairs are none and two in turn
		j.Order = f.swapsInSteps(j.Order, steps)
	}
	j.View = s.view(j.Walk.Answer == Found)
	if made.places != nil {
		j.Moved = e.withoutFocus(made.places).askMoved(j.Walk, Order{})
		j.Moved.unsure(made, e)
	} else {
		j.Moved = e.askMoved(j.Walk, j.Order)
	}
	j.Stalls = f.askStalls(j.Walk, j.Moved, steps)
	if j.Habit.Pairs {
		j.Stalls = Stalls{Verdict: Verdict{Answer: Fine}} // every other frame stands, by habit
	}
	j.Jumps = f.askJumps(j.Walk, j.Order, j.Stalls, steps)
	if made.places != nil {
		j.Subject = Subject{Verdict: cannot(ReasonOutwards)} // focus goes forth and back from frame to frame
	} else {
		j.Subject = e.askSubject(j.Walk, c, &j.Moved, &j.Stalls, &j.Order, &j.Jumps)
	}
	j.First, j.Last = f.askEnds(j.Walk, c)
	j.Layout = steps.fit.layout(f, c, j.First, j.Last)
	j.Step = f.askStep(j.Walk, c, j.Habit)
	j.Soft = f.askSoft(j.Walk, c, j.Stalls, j.Order, j.Brightness)
	j.Textured, j.HalfWidth = c.textured, c.hw
	if made.places != nil {
		j.asMade(made.places)
	} else {
		j.Depth = c.depth() // in the order of time
	}
	for i := range c.tiles {
		if t := &c.tiles[i]; t.textured {
			at := c.lo + t.arg
			if made.places != nil {
				at = made.places[at]
			}
			j.PerFrame[at].Sharpest += 1 / float64(c.textured)
		}
	}
}

// judgement returns one without answers: what the frames are.
func (r *run) judgement() *Judgement {
	g := &r.grid
	j := &Judgement{Frames: r.added, Width: g.width, Height: g.height, Factor: g.factor, Tiles: g.cols * g.rows}
	j.PerFrame = make([]FrameSummary, r.added)
	for _, f := range r.frames {
		j.PerFrame[f.index] = FrameSummary{Measured: true, Clipped: f.clipped, Sharpness: f.sharp, ShiftX: f.place.ShiftX, ShiftY: f.place.ShiftY, Scale: f.place.Scale, Rotation: f.place.Rotation}
	}
	chain := 0
	for _, l := range r.links {
		if !l.motion.Converged {
			chain++
		}
		j.PerFrame[r.frames[l.to].index].Chain = chain
	}
	for i, p := range j.PerFrame {
		if !p.Measured {
			j.Unmeasured = append(j.Unmeasured, i)
		}
	}
	for i, f := range r.frames {
		if r.strange[i] {
			j.Unrelated = append(j.Unrelated, f.index)
		}
	}
	return j
}

// cannotTellFocus gives one reason for all that is asked of focus, and of what it hides.
func (j *Judgement) cannotTellFocus(reason string) {
	if j.Walk.Answer == Fine {
		j.Walk.Verdict = cannot(ReasonWalk)
	}
	for _, v := range []*Verdict{
		&j.First.Verdict, &j.Last.Verdict, &j.Step.Verdict, &j.Jumps.Verdict, &j.Stalls.Verdict, &j.Order.Verdict, &j.Moved.Verdict, &j.Subject.Verdict,
		&j.Soft.Verdict,
	} {
		*v = cannot(reason)
	}
}

// cannotTell gives one reason for all checks.
func (j *Judgement) cannotTell(reason string) {
	for _, v := range []*Verdict{
		&j.Views.Verdict, &j.Held.Verdict, &j.Walk.Verdict, &j.First.Verdict, &j.Last.Verdict, &j.Step.Verdict, &j.Jumps.Verdict, &j.Stalls.Verdict, &j.Order.Verdict,
		&j.Moved.Verdict, &j.Subject.Verdict, &j.Brightness.Verdict, &j.Bands.Verdict, &j.Dark.Verdict, &j.Soft.Verdict, &j.Colour.Verdict, &j.Lights.Verdict,
	} {
		*v = cannot(reason)
	}
}
