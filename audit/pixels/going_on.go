package pixels

import (
	"math"
	"slices"
)

// A Course is what focus does behind a pause.
type Course string

// The courses of focus.
const (
	GoesOn     Course = "goes on"
	StartsOver Course = "starts over"
	WalksBack  Course = "walks back"
	OtherView  Course = "another view"
)

// GoingOn reports what frames behind a pause are to those before it. Found means
// that focus goes on where the first frames stopped, Fine that it does not: they
// are another run.
type GoingOn struct {
	Verdict
	Course Course // empty where the pictures do not show it
	// Steps is by how many steps of the first run focus moved over the pause, where
	// that shows in the motion of the picture; 0 where it does not.
	Steps float64
	// Repeats is how many of the frames behind the pause repeat the focus of one before.
	Repeats int
}

// A pause is where frames follow that may go on from those before, or not.
type pause struct {
	frame int    // index of the first behind it into frames; below 0 before one was measured
	again Motion // from the first frame of all to that one
}

// Pause marks that the frames added from now on may be another run than those before, and
// returns a sequence for them alone. Both are to be given the same frames: what registering
// them costs, most of adding them, they share.
func (s *Sequence) Pause() *Sequence {
	if s.memo == nil {
		s.memo = new(Memo)
	}
	if len(s.frames) > 0 {
		s.paused = &pause{frame: -1}
	}
	return &Sequence{memo: s.memo, sensor: s.sensor.again()}
}

// registerAgain registers the first frame behind a pause, at now, with the first of all,
// as focus may have started over. It returns where the frame lies, which is place
// where it could be joined to the frames before.
func (s *Sequence) registerAgain(now anchor, px float64, place Motion, joined bool) Motion {
	if s.paused == nil || s.paused.frame >= 0 {
		return place
	}
	p := &pause{frame: now.frame, again: s.register(s.first, now, px)}
	s.paused = p
	if !joined && p.again.Converged {
		return s.frames[s.first.frame].place.then(p.again)
	}
	return place
}

// GoingOn answers what the frames behind the last pause are to those before. First and
// second are the judgements of the two parts alone. Where focus decides nothing, their
// views may.
func (s *Sequence) GoingOn(th Thresholds, first, second *Judgement) GoingOn {
	g := s.askGoingOn(th)
	if g.Answer == CannotTell && g.Reason != ReasonFew && s.elsewhere() {
		if l := first.View.Same(&second.View); l.Answer == Fine {
			g.Verdict, g.Course = Verdict{Answer: Fine}, OtherView
		}
	}
	return g
}

// elsewhere reports whether the first picture behind the pause lies on none of the two
// that it is registered with. Two parts of one run have other zones in focus: their views
// alone differ too easily.
func (s *Sequence) elsewhere() bool { return !s.lies(s.paused.again) && !s.lies(s.overPause()) }

// lies reports whether a picture lies on the one that it is registered with.
func (s *Sequence) lies(m Motion) bool {
	most := otherShift * float64(max(s.grid.width, s.grid.height)) / float64(s.grid.factor)
	return m.Converged && math.Hypot(m.ShiftX, m.ShiftY) <= most
}

// overPause is the motion from the last picture before the pause to the first behind it.
func (s *Sequence) overPause() Motion {
	for _, l := range s.links {
		if l.to == s.paused.frame {
			return l.motion
		}
	}
	return Motion{}
}

// askGoingOn asks two witnesses that know nothing of each other: the motion of the
// picture, which focusing scales or shifts, and the tiles' sharpness. Where they
// contradict each other nothing is decided.
func (s *Sequence) askGoingOn(th Thresholds) GoingOn {
	g := GoingOn{Verdict: cannot(ReasonFew)}
	if s.paused == nil || s.paused.frame < coursePart || len(s.frames)-s.paused.frame < coursePart || s.long {
		return g
	}
	r := s.run(th, nil)
	e, p := r.evidence(r.askDark().frames), s.paused
	if e.unfit != "" {
		g.Verdict = cannot(e.unfit)
		return g
	}
	c := e.curves(e.outside)
	if w := e.askWalk(c); w.Answer == Fine {
		g.Verdict = cannot(ReasonNotFocus)
		return g
	}
	moves, read := e.courseByMotion(p, &g)
	sharp := e.courseBySharpness(p, c, &g)
	switch {
	case moves == sharp, sharp == "":
		g.Course = moves
	case moves == "" && !(read && sharp == GoesOn):
		g.Course = sharp
	}
	if g.Course == GoesOn && !s.lies(s.overPause()) {
		// Whoever goes on shows almost the same picture. Where the two do not lie on each
		// other, places of another view may happen to be sharp one after the other.
		g.Course = ""
	}
	g.Verdict = cannot(ReasonCourse)
	if g.Course != "" {
		g.Verdict = decided(g.Course == GoesOn)
	}
	return g
}

// courseByMotion decides the course by how far focus moves over the pause, in steps of
// the first run alone, and which way it moves behind. Shows means that the motion shows
// that.
func (e *evidence) courseByMotion(p *pause, g *GoingOn) (course Course, shows bool) {
	read, ok := e.stepsOfMotion(p.frame)
	if !ok {
		return "", false
	}
	n := float64(p.frame - 1)
	over := math.NaN()
	var behind []float64
	for _, l := range e.links {
		switch {
		case !l.motion.Converged || e.outside[l.from] || e.outside[l.to]:
		case l.from >= p.frame:
			behind = append(behind, read(l.motion)/e.span(l))
		case l.to == p.frame:
			over = read(l.motion)
		}
	}
	again := math.NaN() // over the pause by the other way, from the first frame
	if p.again.Converged {
		again = read(p.again) - n
	}
	way := median(behind)
	if math.IsNaN(over) {
		over = again
	}
	if math.IsNaN(over) || math.IsNaN(way) {
		return "", false
	}
	g.Steps = over
	restart := func(x float64) bool { return math.Abs(x+n) <= courseAgain*n }
	switch {
	case math.Abs(way) < courseWay: // it stands
	case way < 0:
		if math.Abs(over) <= courseMost {
			course = WalksBack
		}
	case over >= courseLeast && over <= courseMost:
		course = GoesOn
	case restart(over) && (math.IsNaN(again) || restart(again)):
		course = StartsOver
	}
	return course, true
}

// stepsOfMotion returns how a motion of the picture reads in steps of the frames
// before the pause, where focusing shows in it.
func (e *evidence) stepsOfMotion(at int) (read func(Motion) float64, ok bool) {
	var scale, tx, ty []float64
	for _, l := range e.links {
		if l.to < at && l.motion.Converged && !e.outside[l.from] && !e.outside[l.to] {
			k := e.span(l)
			scale, tx, ty = append(scale, l.motion.Scale/k), append(tx, l.motion.ShiftX/k), append(ty, l.motion.ShiftY/k)
		}
	}
	if len(scale) < coursePart-1 {
		return nil, false
	}
	step := median(slices.Clone(scale))
	if math.Abs(step) > courseRatio*(roughness(scale)+scaleNoise/(typicalRadius*e.diagonal())) {
		return func(m Motion) float64 { return m.Scale / step }, true
	}
	mx, my := median(slices.Clone(tx)), median(slices.Clone(ty))
	d := math.Hypot(mx, my)
	along := make([]float64, len(tx))
	for i := range along {
		along[i] = (tx[i]*mx + ty[i]*my) / max(d, 1e-12)
	}
	if d > leastDrift && d > e.th.SignatureRatio*(roughness(along)+shiftNoise) {
		return func(m Motion) float64 { return (m.ShiftX*mx + m.ShiftY*my) / (d * d) }, true
	}
	return nil, false
}

// A profile compares frames by which tiles are sharp in them.
type profile struct {
	tiles []*curve
	lo    int // frame of the curves' first sample
}

// apart returns the rms difference of two frames over the tiles that are sharp in
// either; NaN of few.
func (p *profile) apart(a, b int) float64 {
	var sum float64
	n := 0
	for _, t := range p.tiles {
		x, y := float64(t.f[a-p.lo]), float64(t.f[b-p.lo])
		if x > courseSharp || y > courseSharp {
			sum += (x - y) * (x - y)
			n++
		}
	}
	if n < revisitTiles {
		return math.NaN()
	}
	return math.Sqrt(sum / float64(n))
}

// lag returns the median difference of two frames whose places in the given list are
// by apart.
func (p *profile) lag(frames []int, by int) float64 {
	var d []float64
	for i := by; i < len(frames); i++ {
		d = append(d, p.apart(frames[i-by], frames[i]))
	}
	return median(known(d))
}

// courseBySharpness decides the course by which frames before the pause those
// behind repeat, if any.
func (e *evidence) courseBySharpness(p *pause, c *curves, g *GoingOn) Course {
	pr := &profile{lo: c.lo}
	for i := range c.tiles {
		if c.tiles[i].textured {
			pr.tiles = append(pr.tiles, &c.tiles[i])
		}
	}
	var first, second []int // as the curves count them
	for i, f := range e.frames {
		switch {
		case e.outside[i] || f.tiles == nil:
		case i < p.frame:
			first = append(first, f.index)
		default:
			second = append(second, f.index)
		}
	}
	if len(pr.tiles) < e.th.MinTiles || min(len(first), len(second)) < coursePart {
		return ""
	}
	step := pr.lag(first, 1)
	if !(pr.lag(first, 2) > courseClear*step) { // more noise than focus
		return ""
	}
	at, place := pr.repeats(first, second[:min(len(second), courseFrames)])
	g.Repeats = len(at)
	last := float64(len(first) - 1)
	if len(at) >= courseRepeats && slices.Max(place)-slices.Min(place) >= 2 {
		slope, start := theilSen(at, place)
		switch {
		case slope <= -courseSlope:
			return WalksBack
		case slope >= courseSlope && start <= courseAgain*last:
			return StartsOver
		}
		return ""
	}
	// Beyond the first run: not far from its last frame, and farther with each frame.
	near, far := pr.apart(first[len(first)-1], second[0]), pr.apart(first[len(first)-1], second[courseRepeats])
	if len(place) > 0 && slices.Min(place) < last-1 || !(near <= pr.lag(first, min(3, len(first)-1))*courseNear && far >= courseFar*max(near, step)) {
		return ""
	}
	return GoesOn
}

// repeats returns which of the second frames repeat the focus of one of the first, and
// which one.
func (p *profile) repeats(first, second []int) (at, place []float64) {
	beside := func(i int) float64 {
		var d []float64
		if i > 0 {
			d = append(d, p.apart(first[i-1], first[i]))
		}
		if i+1 < len(first) {
			d = append(d, p.apart(first[i], first[i+1]))
		}
		return median(known(d))
	}
	for j, b := range second {
		best, on := math.Inf(1), 0
		for i, a := range first {
			if d := p.apart(a, b); d < best {
				best, on = d, i
			}
		}
		if best < courseRepeat*beside(on) {
			at, place = append(at, float64(j)), append(place, float64(on))
		}
	}
	return at, place
}

// theilSen returns the line through points: the median slope of all pairs, and where it
// begins (Theil 1950, Sen 1968).
func theilSen(x, y []float64) (slope, start float64) {
	var slopes, starts []float64
	for i := range x {
		for j := i + 1; j < len(x); j++ {
			if x[j] != x[i] {
				slopes = append(slopes, (y[j]-y[i])/(x[j]-x[i]))
			}
		}
	}
	slope = median(slopes)
	for i := range x {
		starts = append(starts, y[i]-slope*x[i])
	}
	return slope, median(starts)
}
