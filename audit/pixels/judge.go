package pixels

import (
	"math"
	"slices"
)

// minFrames is the number of frames below which nothing is said about a run but of
// its light, and fewFrames that below which nothing is said at all.
const (
	minFrames = 6
	fewFrames = 5
)

// testFrames is how many frames at either end of a run may be no part of it: a
// marker, a grey card, a test frame.
const testFrames = 3

// Judge answers what the frames added so far prove. Settings tell by how many EV
// the settings of each frame make it brighter, on any one scale, for the frames in
// the order added: NaN where they are not known, nil where they are of none. Judge may be called at any time,
// and again with other thresholds.
func (s *Sequence) Judge(th Thresholds, settings []float64) *Judgement {
	j := &Judgement{Frames: s.n, Width: s.grid.width, Height: s.grid.height, Factor: s.grid.factor, Tiles: s.grid.cols * s.grid.rows}
	j.PerFrame = make([]FrameSummary, s.n)
	for _, f := range s.frames {
		j.PerFrame[f.index] = FrameSummary{Measured: true, Clipped: f.clipped, ShiftX: f.place.ShiftX, ShiftY: f.place.ShiftY, Scale: f.place.Scale}
	}
	for i, p := range j.PerFrame {
		if !p.Measured {
			j.Unmeasured = append(j.Unmeasured, i)
		}
	}
	strange := s.strangers()
	for i, f := range s.frames {
		if strange[i] {
			j.Unrelated = append(j.Unrelated, f.index)
		}
	}
	if len(s.frames) < minFrames {
		reason := ReasonFew
		if s.otherSize > 0 {
			reason = ReasonSizes
		}
		j.cannotTell(reason)
		if len(s.frames) < fewFrames {
			return j
		}
	}
	set := make([]float64, len(s.frames))
	for i, f := range s.frames {
		if settings != nil {
			set[i] = settings[f.index]
		}
	}
	ev, lnGain := s.brightnessPath()
	dark := s.judgeDark(j, &th, ev, set, strange)
	s.judgeBrightness(j, &th, ev, set, dark, strange)
	if len(s.frames) < minFrames {
		return j
	}

	leaveOut := make([]bool, len(s.frames))
	for i := range s.frames {
		leaveOut[i] = strange[i] || dark[i]
	}
	j.View = s.view(lnGain, leaveOut)
	c := s.curves(&th, lnGain, leaveOut)
	sg := s.signature(&th, strange)
	j.Signature = sg.Signature
	s.judgeWalk(j, &th, c, sg)
	s.judgeOrder(j, &th, c, sg)
	if s.leaveOutTests(j, leaveOut) {
		c = s.curves(&th, lnGain, leaveOut)
		s.judgeWalk(j, &th, c, sg)
	}
	j.Textured, j.HalfWidth = c.textured, c.hw
	for i := range c.tiles {
		if t := &c.tiles[i]; t.textured {
			j.PerFrame[c.lo+t.arg].Sharpest += 1 / float64(c.textured)
		}
	}
	s.judgeMoved(j, &th, sg, dark, strange)
	s.judgeStalls(j, &th, sg, dark, strange)
	s.judgeJumps(j, &th, sg)
	s.judgeEdges(j, &th, c, strange, dark)
	s.judgeStep(j, &th, c)
	s.judgeSoft(j, &th, c)
	return j
}

// strangers returns the frames that show something else than the run: those found
// so as they were added, and the few at either end from which the picture cannot be
// followed, while it can behind them.
func (s *Sequence) strangers() []bool {
	out := make([]bool, len(s.frames))
	for i, f := range s.frames {
		out[i] = f.odd
	}
	n := len(s.links)
	follows := func(i int) bool { return i >= 0 && i < n && s.links[i].motion.Converged }
	for i := min(testFrames, n) - 1; i >= 0; i-- {
		if !follows(i) && follows(i+1) && follows(i+2) {
			for k := range s.links[i].to {
				out[k] = true
			}
			break
		}
	}
	for i := max(0, n-testFrames); i < n; i++ {
		if !follows(i) && follows(i-1) && follows(i-2) {
			for k := s.links[i].from + 1; k < len(out); k++ {
				out[k] = true
			}
			break
		}
	}
	return out
}

// leaveOutTests leaves out the frames at either end from which focus jumps to the
// run or away from it, and reports whether there are any.
func (s *Sequence) leaveOutTests(j *Judgement, out []bool) bool {
	first, last := 0, s.n-1
	for _, e := range j.Order.Events {
		if e.Kind != Turned && e.Kind != Restarted {
			continue
		}
		if e.From+1 < testFrames && e.To <= testFrames {
			first = max(first, e.To)
		}
		if s.n-1-e.From < testFrames {
			last = min(last, e.From)
		}
	}
	any := false
	for i, f := range s.frames {
		if f.index < first || f.index > last {
			any = any || !out[i]
			out[i] = true
		}
	}
	return any
}

// cannotTell gives one reason for all checks.
func (j *Judgement) cannotTell(reason string) {
	for _, v := range []*Verdict{
		&j.Walk.Verdict, &j.First.Verdict, &j.Last.Verdict, &j.Step.Verdict, &j.Jumps.Verdict, &j.Stalls.Verdict, &j.Order.Verdict,
		&j.Moved.Verdict, &j.Brightness.Verdict, &j.Dark.Verdict, &j.Soft.Verdict,
	} {
		*v = cannot(reason)
	}
}

// brightnessPath sums the links' changes from the first frame on. A frame that
// shows something else is compared by its whole picture's light.
func (s *Sequence) brightnessPath() (ev, lnGain []float64) {
	n := len(s.frames)
	ev, lnGain = make([]float64, n), make([]float64, n)
	for i := range ev {
		ev[i] = math.NaN()
	}
	ev[0] = 0
	for _, l := range s.links {
		ev[l.to] = ev[l.from] + l.ev
		lnGain[l.to] = lnGain[l.from] + l.gain
	}
	const floor = 1e-4
	for i := range ev {
		if math.IsNaN(ev[i]) && i > 0 {
			ev[i] = ev[i-1] + math.Log2((s.frames[i].light+floor)/(s.frames[i-1].light+floor))
		}
	}
	return ev, lnGain
}

// settled is the least difference that settings make between two frames, EV: half
// the finest common step.
const settled = 1.0 / 6

// unexplained returns by how many EV frame i is darker than frame r beyond what
// the settings make. Where these differ it is what is darker at least: tone curves
// make the difference of two pictures larger than that of their light, by half of it
// at most, and settings that should brighten may do nothing, as those of the time
// where a flash makes the light. It is NaN where settings are not known.
func unexplained(ev, set []float64, i, r int) float64 {
	by := set[r] - set[i]
	d := ev[r] - ev[i] - by
	if math.Abs(by) >= settled {
		d -= math.Abs(by) / 2
	}
	return min(d, ev[r]-ev[i])
}

// judgeDark finds stretches of frames far below the frames before or behind them
// and below the upper quarter of the run. A stretch that lasts to an end of the
// run is a step of the light, and not dark, unless it is short, or so deep that
// the light must have failed. Of pictures that show one thing after another nothing
// is said.
func (s *Sequence) judgeDark(j *Judgement, th *Thresholds, ev, set []float64, strange []bool) []bool {
	n := len(ev)
	dark := make([]bool, n)
	if s.allBlack() {
		j.Dark.Verdict, j.Dark.All = decided(true), true
		return dark
	}
	if s.unlike() {
		j.Dark.Verdict = cannot(ReasonUnrelated)
		return dark
	}
	plain := make([]float64, n)
	for i := range ev {
		plain[i] = ev[i] - set[i]
	}
	mid, high := median(known(plain)), percentile(known(plain), 0.75)
	matched := make([]bool, n)
	for _, l := range s.links {
		if l.motion.Converged {
			matched[l.from], matched[l.to] = true, true
		}
	}
	behind, before := darkStretches(th, ev, set, high, strange, false), darkStretches(th, ev, set, high, strange, true)
	for i, f := range s.frames {
		if d := plain[i] - mid; !math.IsNaN(d) {
			j.PerFrame[f.index].EV = d
		}
		if below := max(behind[i], before[i]); below > 0 {
			dark[i] = true
			j.Dark.Events = append(j.Dark.Events, DarkFrame{Frame: f.index, EV: below, Unrelated: strange[i] || !matched[i]})
		}
	}
	j.Dark.Verdict = decided(len(j.Dark.Events) > 0)
	return dark
}

// darkStretches walks through the run, from its end where backward is true, and
// returns by how many EV each frame of a dark stretch lies below the frames passed
// before; 0 for all others. High is the upper quarter of the run.
func darkStretches(th *Thresholds, ev, set []float64, high float64, strange []bool, backward bool) []float64 {
	const (
		around = 5
		deep   = 2.0 // EV
		black  = 4.0 // EV; whatever most of the run is like
		short  = 4   // of which part of the run
	)
	n := len(ev)
	at := func(k int) int {
		if backward {
			return n - 1 - k
		}
		return k
	}
	var refs []int // the last frames that are not dark
	low, below := make([]float64, n), make([]float64, n)
	begin := -1 // of a stretch
	end := func(k int) {
		if begin < 0 {
			return
		}
		if k < n || short*(k-begin) <= n || median(slices.Clone(low[begin:k])) >= deep {
			for m := begin; m < k; m++ {
				below[at(m)] = low[m]
			}
		}
		begin = -1
	}
	for k := range n {
		i := at(k)
		var d []float64
		for _, r := range refs[max(0, len(refs)-around):] {
			d = append(d, unexplained(ev, set, i, r))
		}
		if d = known(d); len(d) > 0 {
			low[k] = median(d)
		}
		if low[k] >= th.DarkEV && (high-(ev[i]-set[i]) >= th.DarkEV || low[k] >= black) {
			if begin < 0 {
				begin = k
			}
			continue
		}
		end(k)
		if !strange[i] { // no measure for the run
			refs = append(refs, i)
		}
	}
	end(n)
	return below
}

// nearlyBlack is the mean luma, code values, under which a picture shows nothing.
const nearlyBlack = 4

// allBlack reports whether no picture of the run shows anything.
func (s *Sequence) allBlack() bool {
	return !slices.ContainsFunc(s.frames, func(f frame) bool { return f.luma >= nearlyBlack })
}

// unlike reports whether most neighbouring pictures that show something do not show
// the same thing.
func (s *Sequence) unlike() bool {
	n, apart := 0, 0
	for _, l := range s.links {
		if s.frames[l.from].luma < nearlyBlack || s.frames[l.to].luma < nearlyBlack {
			continue
		}
		n++
		if !l.motion.Converged {
			apart++
		}
	}
	return n >= 3 && 2*apart > n
}

// judgeBrightness looks at the changes between neighbours.
func (s *Sequence) judgeBrightness(j *Judgement, th *Thresholds, ev, set []float64, dark, strange []bool) {
	b := &j.Brightness
	changed := func(l link) bool { return !(math.Abs(set[l.to]-set[l.from]) < settled) }
	var x []float64 // per link; NaN beside dark frames, and where the settings change
	settings := 0
	for _, l := range s.links {
		v := l.ev / s.span(l)
		if changed(l) {
			settings++
		}
		if dark[l.from] || dark[l.to] || !l.motion.Converged || changed(l) {
			v = math.NaN()
		}
		x = append(x, v)
	}
	dev := make([]float64, len(x))
	for i := range x {
		dev[i] = x[i] - around(x, i, 2)
	}
	mad := consistent * median(absolute(dev))
	limit := max(th.JumpEV, th.JumpMAD*mad)
	flicker, compared := 0, 0
	mean := median(known(x))
	for i, l := range s.links {
		if math.IsNaN(dev[i]) {
			continue
		}
		compared++
		// Common to the picture, not a moving shadow: more than the tiles differ.
		common := math.IsNaN(l.spread) || math.Abs(x[i]) > l.spread
		if math.Abs(x[i]-mean) > th.FlickerEV && math.Abs(dev[i]) > th.FlickerEV && common {
			flicker++
		}
		if math.Abs(dev[i]) > limit && math.Abs(x[i]) > th.JumpEV && common {
			b.Jumps = append(b.Jumps, Change{s.frames[l.from].index, s.frames[l.to].index, l.ev})
		}
	}
	if compared < 3 {
		b.Verdict = cannot(ReasonUnrelated)
		if settings > len(x)/2 {
			b.Verdict = cannot(ReasonSettings)
		}
		return
	}
	b.Typical = median(absolute(x))
	b.Flicker = float64(flicker) / float64(compared)
	path := make([]float64, len(ev)) // ev, but for links that compare different things
	for _, l := range s.links {
		path[l.to] = path[l.from]
		if l.motion.Converged && !changed(l) {
			path[l.to] += l.ev
		}
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	for i := range ev {
		if dark[i] || strange[i] {
			continue
		}
		var near []float64
		for k := max(0, i-2); k <= min(len(ev)-1, i+2); k++ {
			if !dark[k] && !strange[k] {
				near = append(near, path[k])
			}
		}
		m := median(near)
		lo, hi = min(lo, m), max(hi, m)
	}
	b.Drift = max(0, hi-lo)
	b.Jumping = len(b.Jumps) > 0
	b.Flickering = flicker >= 3 && b.Flicker > th.FlickerShare
	b.Drifting = b.Drift > th.DriftEV && settings == 0 // settings may follow the light
	b.Verdict = decided(b.Jumping || b.Flickering || b.Drifting)
}

// A signature is the trace of focusing in the motion of the picture.
type signature struct {
	Signature
	v      []float64 // per link and frame; NaN where not registered
	sigma  float64
	k, z   []float64 // against the neighbours; NaN where they stand still or nearly
	sign   float64   // of the regular direction
	bump   []bool    // the camera moved, which a drift must not be told from; nil without drift
	median float64   // of |v|
}

func (s *Sequence) signature(th *Thresholds, strange []bool) *signature {
	n := len(s.links)
	sg := &signature{}
	scale, tx, ty := make([]float64, n), make([]float64, n), make([]float64, n)
	for i, l := range s.links {
		scale[i], tx[i], ty[i] = math.NaN(), math.NaN(), math.NaN()
		if l.motion.Converged && !strange[l.from] && !strange[l.to] {
			k := s.span(l)
			scale[i], tx[i], ty[i] = l.motion.Scale/k, l.motion.ShiftX/k, l.motion.ShiftY/k
		}
	}
	diag := math.Hypot(float64(s.grid.width), float64(s.grid.height)) / float64(s.grid.factor)
	sg.v = scale
	sg.sigma = roughness(scale) + 0.01/(0.285*diag)
	sg.median = median(absolute(scale))
	if len(known(scale)) < minFrames-1 {
		return sg
	}
	kind := ""
	if sg.median > th.SignatureRatio*sg.sigma {
		kind = "scale"
	} else {
		mx, my := median(known(tx)), median(known(ty))
		d := math.Hypot(mx, my)
		v, aside := make([]float64, n), make([]float64, n)
		for i := range v {
			v[i] = (tx[i]*mx + ty[i]*my) / max(d, 1e-12)
			aside[i] = (ty[i]*mx - tx[i]*my) / max(d, 1e-12)
		}
		sigma := roughness(v) + 0.01
		if d > th.SignatureRatio*sigma && d > 0.15 {
			kind = "drift"
			sg.v, sg.sigma, sg.median = v, sigma, median(absolute(v))
			s.setBumpsAside(sg, aside)
		}
	}
	sg.Strength = sg.median / sg.sigma
	if kind == "" {
		return sg
	}
	sg.Kind, sg.PerFrame = kind, sg.median
	up := 0
	for _, v := range sg.v {
		if v > 0.4*sg.median {
			up++
		} else if v < -0.4*sg.median {
			up--
		}
	}
	sg.sign = 1
	if up < 0 {
		sg.sign = -1
	}
	sg.k, sg.z = make([]float64, n), make([]float64, n)
	for i, v := range sg.v {
		sg.k[i], sg.z[i] = math.NaN(), math.NaN()
		if local := around(sg.v, i, 2); math.Abs(local) > 4*sg.sigma {
			sg.k[i] = v / local
			sg.z[i] = (v - local) / sg.sigma
			if local < 0 {
				sg.z[i] = -sg.z[i]
			}
		}
	}
	return sg
}

// setBumpsAside takes jumps of the picture out of a drift that are no focus
// steps: those that leave the line of the drift, very large ones along it over
// which the picture changes no more than over its neighbours, and those that would
// take focus back behind where the run began, or farther than all of the run.
func (s *Sequence) setBumpsAside(sg *signature, aside []float64) {
	n := len(sg.v)
	sg.bump = make([]bool, n)
	change := make([]float64, n)
	for i, l := range s.links {
		change[i] = l.change
	}
	const (
		leaves = 0.35 // of the jump along the line: some 20°
		large  = 4.0  // focus steps
	)
	noise := roughness(aside) + 0.01
	sign := math.Copysign(1, median(known(sg.v)))
	for i := range sg.bump {
		along := math.Abs(sg.v[i] - around(sg.v, i, 2))
		off := math.Abs(aside[i] - around(aside, i, 2))
		room := float64(n + 1) // focus steps
		if sign*sg.v[i] < 0 {
			room = float64(i + 2)
		}
		sg.bump[i] = off > 7*noise && off > leaves*along && off > 0.5*sg.median ||
			along > large*sg.median && (change[i] < 1.4*around(change, i, 3) || along > room*sg.median)
	}
	for i, b := range sg.bump {
		if b {
			sg.v[i] = math.NaN()
		}
	}
}

// roughness is the robust deviation of values from the median of their
// neighbours.
func roughness(v []float64) float64 {
	d := make([]float64, len(v))
	for i := range v {
		d[i] = v[i] - around(v, i, 2)
	}
	return consistent * median(absolute(d))
}

// judgeWalk tells a focus sequence from a standing one.
func (s *Sequence) judgeWalk(j *Judgement, th *Thresholds, c *curves, sg *signature) {
	if s.long {
		j.Walk.Verdict = cannot(ReasonLong)
		return
	}
	if c.detail < 12 {
		j.Walk.Verdict = cannot(ReasonTexture)
		return
	}
	var rise []float64
	strong, walking := 0, 0
	for i := range c.tiles {
		t := &c.tiles[i]
		if !t.detail {
			continue
		}
		if t.textured && t.rise >= th.MinRise {
			walking++
			rise = append(rise, t.rise)
		}
		if t.rise >= 6 {
			strong++
		}
	}
	// Where most of all detail comes and goes, focus moves, even where its
	// steps are too few or too uneven for smooth curves.
	throughout := 2*strong > c.detail
	j.Walk.Share = float64(walking) / float64(c.detail)
	if len(rise) > 0 {
		j.Walk.Rise = median(rise)
	}
	switch {
	case walking >= 12 && (j.Walk.Share >= 0.25 || throughout || sg.Kind == "scale" && j.Walk.Share >= 0.1) && j.Walk.Rise >= 2.5:
		j.Walk.Verdict = Verdict{Answer: Found}
	case j.Walk.Share < 0.05 && sg.Kind == "":
		j.Walk.Verdict = Verdict{Answer: Fine}
	default:
		j.Walk.Verdict = cannot(ReasonWalk)
	}
}

// curvesTell gives the reason why the sharpness curves tell nothing.
func (s *Sequence) curvesTell(j *Judgement, th *Thresholds, c *curves) (Verdict, bool) {
	switch {
	case s.long:
		return cannot(ReasonLong), false
	case j.Walk.Answer == Fine:
		return cannot(ReasonNotFocus), false
	case c.textured < th.MinTiles:
		return cannot(ReasonTexture), false
	case c.n < minFrames:
		return cannot(ReasonFew), false
	}
	return Verdict{}, true
}

// judgeOrder finds steps against the regular direction.
func (s *Sequence) judgeOrder(j *Judgement, th *Thresholds, c *curves, sg *signature) {
	o := &j.Order
	if j.Walk.Answer == Fine && sg.Kind == "" {
		o.Verdict = cannot(ReasonNotFocus)
		return
	}
	if sg.Kind != "" {
		o.Events = s.reversals(th, sg)
		if e := o.Events; len(e) > 0 && e[0].Kind == Turned && e[0].From < testFrames && e[0].To-e[0].From > testFrames {
			// Most of the run goes back: it began the other way.
			sg.sign = -sg.sign
			o.Events = s.reversals(th, sg)
		}
		o.Verdict = decided(len(o.Events) > 0)
		return
	}
	v, ok := s.curvesTell(j, th, c)
	if !ok || c.hw == 0 {
		if ok {
			v = cannot(ReasonInterior)
		}
		o.Verdict = v
		return
	}
	if r, found := s.revisit(th, c); found {
		o.Events = append(o.Events, r)
		o.Verdict = Verdict{Answer: Found}
		return
	}
	o.Verdict = cannot(ReasonSignature) // short turns and swaps would not be seen
}

// reversals returns the stretches over which the signature goes against the
// direction of the run.
func (s *Sequence) reversals(th *Thresholds, sg *signature) (events []Reversal) {
	regular := func(i int) bool { return i >= 0 && i < len(sg.v) && sg.v[i]*sg.sign > th.TurnRatio*sg.median }
	back := func(i int) bool { return sg.v[i]*sg.sign < -th.TurnRatio*sg.median }
	for i := 0; i < len(sg.v); i++ {
		if !back(i) {
			continue
		}
		a := i
		var sum, most float64
		for i < len(sg.v) && back(i) {
			sum += -sg.v[i] * sg.sign * s.span(s.links[i])
			most = max(most, -sg.v[i]*sg.sign)
			i++
		}
		const sure = 5 // noise deviations
		if sum < sure*sg.sigma*math.Sqrt(float64(i-a)) || !regular(a-1) && !regular(i) {
			continue
		}
		r := Reversal{Kind: Turned, From: s.frames[s.links[a].from].index, To: s.frames[s.links[i-1].to].index, Back: sum / sg.median}
		if i-a == 1 {
			large := func(k int) bool { return k >= 0 && k < len(sg.v) && sg.v[k]*sg.sign > 1.5*sg.median }
			switch {
			case most > 2.5*sg.median:
				r.Kind = Restarted
			case large(a-1) && large(i) || (a == 0 || i == len(sg.v)) && (large(a-1) || large(i)):
				r.Kind = Swapped
			}
		}
		events = append(events, r)
	}
	return events
}

// revisit finds the first frame whose sharp tiles are those of an earlier frame
// more than two half widths before.
func (s *Sequence) revisit(th *Thresholds, c *curves) (Reversal, bool) {
	apart := int(math.Ceil(2 * c.hw))
	var textured []*curve
	for i := range c.tiles {
		if c.tiles[i].textured {
			textured = append(textured, &c.tiles[i])
		}
	}
	least := max(6, int(0.03*float64(len(textured))))
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
			var sum float64
			n := 0
			for _, t := range textured {
				p, q := float64(t.f[a]), float64(t.f[b])
				if p > 0.6 || q > 0.6 {
					sum += (p - q) * (p - q)
					n++
				}
			}
			if n >= least {
				if r := math.Sqrt(sum / float64(n)); r < best {
					best, at = r, a
				}
			}
		}
		if best < th.RevisitRMS && leaves(textured, at, b, 2*th.RevisitRMS) {
			return Reversal{Kind: Revisited, From: c.lo + at, To: c.lo + b, Back: float64(b - at)}, true
		}
	}
	return Reversal{}, false
}

// leaves reports whether the sharpness of the tiles that are sharp in frame a
// differs in some frame before b by more than rms: focus has left and not stood.
func leaves(tiles []*curve, a, b int, rms float64) bool {
	for k := a + 1; k < b; k++ {
		var sum float64
		n := 0
		for _, t := range tiles {
			if p, q := float64(t.f[a]), float64(t.f[k]); p > 0.6 || q > 0.6 {
				sum += (p - q) * (p - q)
				n++
			}
		}
		if n > 0 && math.Sqrt(sum/float64(n)) > rms {
			return true
		}
	}
	return false
}

// excess returns by how many px each link's picture jumps beyond its
// neighbours' drift, and where to; NaN where it is not registered.
func (s *Sequence) excess(sg *signature, strange []bool) (size []float64, shift [][2]float64) {
	n := len(s.links)
	var part [3][]float64 // shift in x and y, and rotation as px half-way to the corner
	half := 0.285 * math.Hypot(float64(s.grid.width), float64(s.grid.height)) / float64(s.grid.factor)
	for k := range part {
		part[k] = make([]float64, n)
	}
	for i, l := range s.links {
		m, span := l.motion, s.span(l)
		v := [3]float64{m.ShiftX / span, m.ShiftY / span, m.Rotation * half / span}
		for k := range part {
			part[k][i] = v[k]
			if !m.Converged || strange[l.from] || strange[l.to] {
				part[k][i] = math.NaN()
			}
		}
	}
	size, shift = make([]float64, n), make([][2]float64, n)
	for i := range size {
		var plain, along float64
		for k := range part {
			m := around(part[k], i, 2)
			d := part[k][i] - m
			plain += d * d
			if k < 2 {
				shift[i][k] = d
			}
			// A gap scales the neighbours' drift: focusing off centre.
			if sg.Kind != "" && !math.IsNaN(sg.k[i]) { // not of a bump that was set aside
				d = part[k][i] - sg.k[i]*m
			}
			along += d * d
		}
		size[i] = math.Sqrt(min(plain, along)) * s.span(s.links[i])
	}
	return size, shift
}

// judgeMoved finds jumps of the picture.
func (s *Sequence) judgeMoved(j *Judgement, th *Thresholds, sg *signature, dark, strange []bool) {
	m := &j.Moved
	d, shift := s.excess(sg, strange)
	values := known(d)
	if len(values) < 3 {
		m.Verdict = cannot(ReasonUnrelated)
		return
	}
	px := float64(max(s.grid.width, s.grid.height)/s.grid.factor) / longSide
	limit := max(th.MovedPixels*px, th.MovedSigma*(median(values)/1.18+0.01))
	var hits []int
	var left []float64
	for _, l := range s.links {
		left = append(left, l.motion.Unexplained)
	}
	usual := median(left)
	for i, v := range d {
		doubt := 3 * s.links[i].motion.Doubt
		// Where blur has wiped out what both pictures show, the best match
		// leaves far more than noise does.
		blurred := s.links[i].motion.Unexplained > max(maxLeft, 3*usual)
		doubtful := v <= doubt || blurred
		switch at := s.frames[s.links[i].to].index; {
		case strange[s.links[i].from] || strange[s.links[i].to]:
		case math.IsNaN(v):
			m.Unmatched = append(m.Unmatched, at)
		case doubtful && (doubt > limit || blurred):
			m.Doubtful = append(m.Doubtful, at)
		}
		if v > limit && !doubtful && !j.Order.touches(s.frames[s.links[i].from].index, s.frames[s.links[i].to].index) {
			hits = append(hits, i)
		}
	}
	for n, i := range hits {
		l := s.links[i]
		e := Move{From: s.frames[l.from].index, To: s.frames[l.to].index, Pixels: d[i], Lasting: true}
		back := func(k int) bool { // do two jumps undo each other?
			return math.Hypot(shift[i][0]+shift[k][0], shift[i][1]+shift[k][1]) < 0.5*d[i]
		}
		if n+1 < len(hits) && hits[n+1]-i <= 3 && back(hits[n+1]) || n > 0 && i-hits[n-1] <= 3 && back(hits[n-1]) {
			e.Lasting = false
		}
		m.Events = append(m.Events, e)
	}
	m.Events = append(m.Events, s.broken(dark)...)
	slices.SortFunc(m.Events, func(a, b Move) int { return a.From - b.From })
	m.Verdict = decided(len(m.Events) > 0)
	switch {
	case 2*(len(m.Doubtful)+len(m.Unmatched)) > len(d): // too few links to be sure of any
		*m = Moved{Verdict: cannot(ReasonUnrelated)}
	case m.Answer == Fine && limit > unsteady*th.MovedPixels*px:
		m.Verdict = cannot(ReasonUnsteady)
	}
}

// unsteady is how many times the least jump must show, or nothing is said of runs
// in which no jump is found.
const unsteady = 2

// maxLeft is the share of a picture's variance that noise and a changed blur may
// leave unexplained where a jump of the picture is believed.
const maxLeft = 0.03

// broken returns the places where the picture changes altogether: a single link
// that cannot be followed among ones that can, and single frames that match
// neither neighbour, while these match each other.
func (s *Sequence) broken(dark []bool) (events []Move) {
	clear := func(i int) bool {
		m := s.links[i].motion
		return m.Converged && m.Unexplained < maxLeft
	}
	for i, l := range s.links {
		if i < 2 || i+2 >= len(s.links) || dark[l.from] || dark[l.to] {
			continue
		}
		if !l.motion.Converged && clear(i-1) && clear(i+1) && (clear(i-2) || clear(i+2)) {
			events = append(events, Move{From: s.frames[l.from].index, To: s.frames[l.to].index, Lasting: true, Lost: true})
		}
		if l.to-l.from == 2 && clear(i) && s.frames[l.from+1].odd && !dark[l.from+1] {
			at := s.frames[l.from+1].index
			events = append(events, Move{From: s.frames[l.from].index, To: at, Lost: true})
		}
	}
	return events
}

// touches reports whether a jump back in focus lies between the two frames:
// focusing off centre then shifts the picture by more than can be told apart.
func (o *Order) touches(from, to int) bool {
	for _, e := range o.Events {
		if e.Kind != Revisited && from <= e.To && to >= e.From {
			return true
		}
	}
	return false
}

// judgeStalls finds links over which focus did not move. The run's median is a
// reference besides the neighbours, or a run that stands from its start would
// be its own measure.
func (s *Sequence) judgeStalls(j *Judgement, th *Thresholds, sg *signature, dark, strange []bool) {
	n := len(s.links)
	still, same := make([]bool, n), make([]bool, n)
	change := make([]float64, n)
	for i, l := range s.links {
		same[i] = l.same
		change[i] = l.change
		if strange[l.from] || strange[l.to] || !l.motion.Converged || dark[l.from] || dark[l.to] {
			change[i] = math.NaN()
		}
	}
	focus := j.Walk.Answer == Found || sg.Kind != ""
	typical, usual := median(known(change)), percentile(known(change), 0.75)
	if focus && sg.Kind != "" {
		signed := sg.sign * sg.median
		global := make([]bool, n)
		for i, v := range sg.v {
			if math.IsNaN(v) {
				continue
			}
			if math.Abs(sg.k[i]) <= th.StallRatio && sg.z[i] <= -th.StallSigma {
				still[i] = true
			}
			global[i] = math.Abs(v/signed) <= th.StallRatio && math.Abs(signed-v)/sg.sigma >= th.StallSigma
		}
		for a := 0; a < n; a++ {
			if !global[a] {
				continue
			}
			b := a
			var in []float64
			for b < n && global[b] {
				in = append(in, change[b])
				b++
			}
			// A lens whose scale slowly ceases to change has not stalled:
			// the edge must be abrupt, and the picture must change no
			// more than elsewhere.
			abrupt := a > 0 && sg.v[a-1]/signed >= 0.6 || b < n && sg.v[b]/signed >= 0.6
			if abrupt && median(known(in)) < 1.1*typical {
				for i := a; i < b; i++ {
					still[i] = true
				}
			}
			a = b
		}
	}
	if focus {
		for i := range change {
			if change[i] < th.StallChange*around(change, i, 3) && !s.nearMove(j, i) {
				still[i] = true
			}
		}
		// A longer stop is its own neighbourhood. Pictures that are all blurred
		// change little too, but by and by.
		quiet := func(i int) bool {
			return !same[i] && change[i] < th.StallChange*usual && (sg.Kind == "" || math.Abs(sg.v[i]) <= th.StallRatio*sg.median)
		}
		for a := 0; a < n; a++ {
			b := a
			for b < n && quiet(b) {
				b++
			}
			if b == a {
				continue
			}
			const abrupt = 2.5
			level := abrupt * median(slices.Clone(change[a:b]))
			if a > 0 && change[a-1] > level || b < n && change[b] > level {
				for i := a; i < b; i++ {
					still[i] = true
				}
			}
			a = b
		}
	}
	for i := 0; i < n; i++ {
		if !still[i] && !same[i] {
			continue
		}
		a, identical := i, true
		for i < n && (still[i] || same[i]) {
			identical = identical && same[i]
			i++
		}
		j.Stalls.Events = append(j.Stalls.Events, Stall{From: s.frames[s.links[a].from].index, To: s.frames[s.links[i-1].to].index, Identical: identical})
	}
	switch {
	case len(j.Stalls.Events) > 0:
		j.Stalls.Verdict = Verdict{Answer: Found}
	case j.Walk.Answer == Fine && sg.Kind == "":
		j.Stalls.Verdict = cannot(ReasonNotFocus)
	case sg.Kind == "":
		j.Stalls.Verdict = cannot(ReasonSignature)
	default:
		j.Stalls.Verdict = Verdict{Answer: Fine}
	}
}

// nearMove reports whether a jump of the picture lies within three links.
func (s *Sequence) nearMove(j *Judgement, i int) bool {
	from := s.frames[s.links[i].from].index
	for _, m := range j.Moved.Events {
		if m.From-from <= 3 && from-m.From <= 3 {
			return true
		}
	}
	return false
}

// judgeJumps finds links over which focus moved much farther than around them.
func (s *Sequence) judgeJumps(j *Judgement, th *Thresholds, sg *signature) {
	if j.Walk.Answer == Fine && sg.Kind == "" {
		j.Jumps.Verdict = cannot(ReasonNotFocus)
		return
	}
	if sg.Kind == "" {
		j.Jumps.Verdict = cannot(ReasonSignature)
		return
	}
	for i, k := range sg.k {
		if !(k >= th.JumpRatio && sg.z[i] >= th.JumpSigma) {
			continue
		}
		from, to := s.frames[s.links[i].from].index, s.frames[s.links[i].to].index
		if j.Order.touches(from-2, to+2) || j.Stalls.touches(from-2, to+2) {
			continue
		}
		j.Jumps.Events = append(j.Jumps.Events, Jump{From: from, To: to, Ratio: k, Weak: i < 2 || i >= len(sg.k)-2})
	}
	j.Jumps.Verdict = decided(len(j.Jumps.Events) > 0)
}

func (o *Stalls) touches(from, to int) bool {
	for _, e := range o.Events {
		if from < e.To && to > e.From {
			return true
		}
	}
	return false
}

// judgeEdges looks for tiles that were still getting sharper in an end frame.
func (s *Sequence) judgeEdges(j *Judgement, th *Thresholds, c *curves, strange, dark []bool) {
	v, ok := s.curvesTell(j, th, c)
	if !ok || j.Walk.Answer != Found {
		if ok {
			v = cannot(ReasonWalk)
		}
		j.First.Verdict, j.Last.Verdict = v, v
		return
	}
	j.First = s.edge(th, c, func(i int) int { return i })
	j.First.Frame = c.lo
	j.Last = s.edge(th, c, func(i int) int { return c.n - 1 - i })
	j.Last.Frame = c.lo + c.n - 1
	// A frame beyond that cannot be compared may have what lacks.
	missing := make([]bool, s.n)
	for i := range missing {
		missing[i] = !j.PerFrame[i].Measured
	}
	for i, f := range s.frames {
		missing[f.index] = strange[i] || dark[i]
	}
	if slices.Contains(missing[:j.First.Frame], true) {
		j.First.Verdict = cannot(ReasonEnd)
	}
	if slices.Contains(missing[j.Last.Frame+1:], true) {
		j.Last.Verdict = cannot(ReasonEnd)
	}
}

// edge looks at the end that at counts from.
func (s *Sequence) edge(th *Thresholds, c *curves, at func(int) int) Edge {
	var e Edge
	marked := make([]bool, len(c.tiles))
	var beyond []float64
	hw := c.hw
	if hw == 0 { // no tile peaks inside: take the one-sided widths
		var w []float64
		for i := range c.tiles {
			if c.tiles[i].textured {
				w = append(w, c.tiles[i].hw)
			}
		}
		hw = median(w)
	}
	for i := range c.tiles {
		t := &c.tiles[i]
		if !t.textured || t.arg != at(0) {
			continue
		}
		f0, f1, f2 := float64(t.f[at(0)]), float64(t.f[at(1)]), float64(t.f[at(2)])
		if !(f0 > f1 && f1 > f2-t.noise && f0-f2 > 4*t.noise) {
			continue
		}
		// distance of the peak of a Gaussian of the run's width
		s2 := (hw / 1.1774) * (hw / 1.1774)
		var d float64
		if hw >= 2 {
			d = s2*math.Log(f0/max(f2, 0.01))/2 - 1
		} else {
			d = s2*math.Log(f0/max(f1, 0.01)) - 0.5
		}
		inner := float64(t.f[at(min(c.n-1, int(math.Round(2*hw))))])
		if d > th.EdgeBeyond && 1-inner > th.EdgeFall {
			marked[i] = true
			beyond = append(beyond, d)
		}
	}
	patch := c.cluster(marked)
	e.Tiles, e.Cluster = len(beyond), len(patch)
	e.Share = float64(len(beyond)) / float64(c.textured)
	if len(beyond) > 0 {
		e.More = percentile(beyond, 0.9)
		e.Box = s.box(patch)
	}
	e.Verdict = decided(e.Share >= th.EdgeShare && e.Cluster >= th.EdgeCluster)
	return e
}

// blurConstant is the blur disk's growth per frame times the half width, px: a
// property of the focus measure on the picture binned 2x2. Narrow peaks, of
// which few samples are left, come out wider than they are.
func blurConstant(hw float64) float64 {
	return 3.2 + 2.2*min(0.8, max(0, 1.25-hw))
}

// judgeStep turns the width of the curves into blur per frame.
func (s *Sequence) judgeStep(j *Judgement, th *Thresholds, c *curves) {
	v, ok := s.curvesTell(j, th, c)
	switch {
	case !ok:
		j.Step.Verdict = v
	case j.Walk.Answer != Found:
		j.Step.Verdict = cannot(ReasonWalk)
	case c.interior < th.MinTiles:
		j.Step.Verdict = cannot(ReasonInterior)
	default:
		j.Step.Blur = blurConstant(c.hw) / c.hw
		j.Step.Verdict = decided(j.Step.Blur > th.StepBlur)
	}
}

// judgeSoft compares each frame with the mean of its neighbours.
func (s *Sequence) judgeSoft(j *Judgement, th *Thresholds, c *curves) {
	if s.long {
		j.Soft.Verdict = cannot(ReasonLong)
		return
	}
	walking := j.Walk.Answer == Found
	if walking && c.textured < th.MinTiles || !walking && c.detail < th.MinTiles {
		j.Soft.Verdict = cannot(ReasonTexture)
		return
	}
	if j.Walk.Answer == CannotTell {
		j.Soft.Verdict = cannot(ReasonWalk)
		return
	}
	judged := 0
	type state struct {
		at, tiles  int
		loss, most float64
	}
	var states []state
	for i := 1; i+1 < c.n; i++ {
		if !c.real[i-1] || !c.real[i] || !c.real[i+1] {
			continue
		}
		var e []float64
		for k := range c.tiles {
			t := &c.tiles[k]
			if walking && !t.textured || !walking && !t.detail {
				continue
			}
			a, b, d := float64(t.f[i-1]), float64(t.f[i]), float64(t.f[i+1])
			eps := max(0.03, 3*t.noise)
			if !walking { // the plain focus measure, over what the run has at least
				h := t.peak - t.floor
				a, b, d = t.floor+a*h, t.floor+b*h, t.floor+d*h
				if min(a, d) < 2*th.MinEnergy {
					continue
				}
				eps = 0
			} else if (a+d)/2 <= 0.4 || min(a, d) <= 0.25 {
				continue
			}
			e = append(e, math.Log(b+eps)-(math.Log(a+eps)+math.Log(d+eps))/2)
		}
		if len(e) < 6 {
			continue
		}
		judged++
		states = append(states, state{c.lo + i, len(e), -median(e), -percentile(e, 0.8)})
	}
	limit, most := th.SoftLoss, th.SoftLossMost
	if !walking {
		// Sharpness stands, so less of a loss is telling.
		var all []float64
		for _, f := range states {
			all = append(all, math.Abs(f.loss))
		}
		limit, most = max(th.SoftLossStanding, 6*consistent*median(all)), th.SoftLossMost/2
	}
	for _, f := range states {
		at := f.at
		if f.loss < limit || f.most < most {
			continue
		}
		if j.Stalls.touches(at-1, at+1) || j.Order.touches(at-1, at+1) || j.Brightness.touches(at-1, at+1) {
			continue
		}
		j.Soft.Events = append(j.Soft.Events, SoftFrame{Frame: at, Loss: 1 - math.Exp(-f.loss), Tiles: f.tiles})
	}
	if judged == 0 {
		j.Soft.Verdict = cannot(ReasonNoNeighbour)
		return
	}
	j.Soft.Verdict = decided(len(j.Soft.Events) > 0)
}

func (b *Brightness) touches(from, to int) bool {
	for _, e := range b.Jumps {
		if from < e.To && to > e.From {
			return true
		}
	}
	return false
}
