package pixels

import (
	"cmp"
	"math"
	"slices"
)

// A Layout is where the frames of a run lie in focus, and where its parts get sharp: by
// it a few frames made later are placed among them. Lengths are in usual steps. It is
// empty where focus is not seen to walk.
type Layout struct {
	Frames []int     // of the run, in the order added
	Places []float64 // of each of them
	Peaks  []LayoutPeak
	Noise  float64 // deviation of ln sharpness from the peaks
}

// A LayoutPeak is the sharpness of one tile over focus.
type LayoutPeak struct {
	X, Y  float32    // of its middle, px from the middle of the first frame
	Theta [5]float32 // top, floor, place, ln width and ln power
}

// peak returns the peak to calculate with.
func (p *LayoutPeak) peak() (of peak) {
	for k, t := range p.Theta {
		of.theta[k] = float64(t)
	}
	return of
}

// layout writes down the fit, with more of the tiles that are sharpest at an end where
// the subject was not covered.
func (f *peakFit) layout(e *evidence, c *curves, ends ...Edge) (l Layout) {
	if f == nil {
		return l
	}
	for _, edge := range ends {
		if edge.Answer == Found {
			f.fitMore(e, c, edge.Frame-c.lo)
		}
	}
	for i, p := range f.place {
		if p >= 0 {
			l.Frames, l.Places = append(l.Frames, e.frames[i].index), append(l.Places, f.x[p])
		}
	}
	for _, p := range f.peaks {
		x, y := e.grid.middle(p.tile)
		of := LayoutPeak{X: float32(x), Y: float32(y)}
		for k, v := range p.theta {
			of.Theta[k] = float32(v)
		}
		l.Peaks = append(l.Peaks, of)
	}
	l.Noise = f.sigma
	return l
}

// middle returns the middle of a tile, px from the middle of the picture.
func (g *tileGrid) middle(t int) (x, y float64) {
	return ((float64(t%g.cols)+0.5)*float64(g.edge) - g.centreX) * g.cellPx, ((float64(t/g.cols)+0.5)*float64(g.edge) - g.centreY) * g.cellPx
}

// of returns where a frame of the run lies.
func (l *Layout) of(frame int) (float64, bool) {
	if i := slices.Index(l.Frames, frame); i >= 0 {
		return l.Places[i], true
	}
	return 0, false
}

// A Glance is what is kept of the frames of a short run, to place them in an earlier one.
type Glance struct {
	Cols, Rows       int
	Side             float64 // of a tile, px
	OriginX, OriginY float64 // the middle of the first tile, px from the middle of the picture
	// Sharpness is ln of the focus measure in steps of 1/16, row by row, one slice for
	// each frame that belongs to the run; 0 where a tile is not seen.
	Sharpness [][]byte
	View      View // of a run of fewer frames than are judged
}

const (
	glanceSteps = 16.0 // to 1 of ln sharpness
	glanceLeast = -3.0 // ln sharpness of step 1
)

// glance keeps the frames of a short run.
func (s *Sequence) glance(r *run) (g Glance) {
	if len(r.frames) == 0 || r.added > patchFrames || s.long {
		return g
	}
	grid := &r.grid
	g = Glance{Cols: grid.cols, Rows: grid.rows, Side: float64(grid.edge) * grid.cellPx}
	g.OriginX, g.OriginY = grid.middle(0)
	for i, f := range r.frames {
		if r.strange[i] || f.tiles == nil {
			continue
		}
		row := make([]byte, len(f.tiles))
		for t, of := range f.tiles {
			if of.energy >= 0 {
				row[t] = lnSharpness(float64(of.energy))
			}
		}
		g.Sharpness = append(g.Sharpness, row)
	}
	if len(r.frames) < minFrames {
		g.View = s.view(false)
	}
	return g
}

// lnSharpness is ln of a focus measure in steps of 1/16, from 1 on.
func lnSharpness(energy float64) byte {
	ln := math.Log(max(energy, leastEnergy))
	return uint8(max(1, min(255, math.Round((ln-glanceLeast)*glanceSteps)+1)))
}

// at returns ln of the focus measure of a frame between the middles of four tiles.
func (g *Glance) at(frame int, x, y float64) (float64, bool) {
	u, v := (x-g.OriginX)/g.Side, (y-g.OriginY)/g.Side
	i, k := int(math.Floor(u)), int(math.Floor(v))
	if i < 0 || k < 0 || i+1 >= g.Cols || k+1 >= g.Rows {
		return 0, false
	}
	u, v = u-float64(i), v-float64(k)
	var sum float64
	for _, c := range [4]struct {
		t int
		w float64
	}{{k*g.Cols + i, (1 - u) * (1 - v)}, {k*g.Cols + i + 1, u * (1 - v)}, {(k+1)*g.Cols + i, (1 - u) * v}, {(k+1)*g.Cols + i + 1, u * v}} {
		b := g.Sharpness[frame][c.t]
		if b == 0 {
			return 0, false
		}
		sum += c.w * g.ln(frame, c.t)
	}
	return sum, true
}

// of returns ln of the focus measure of a frame where a motion leads from a tile of a layout.
func (g *Glance) of(frame int, p *LayoutPeak, mo Motion) (float64, bool) {
	x, y := float64(p.X), float64(p.Y)
	return g.at(frame, (1+mo.Scale)*x-mo.Rotation*y+mo.ShiftX, mo.Rotation*x+(1+mo.Scale)*y+mo.ShiftY)
}

// ln returns ln of the focus measure of a tile that is seen.
func (g *Glance) ln(frame, t int) float64 {
	return (float64(g.Sharpness[frame][t])-1)/glanceSteps + glanceLeast
}

// valid reports whether a glance is whole: it may come from a file.
func (g *Glance) valid() bool {
	if len(g.Sharpness) == 0 || !(g.Side > 0) {
		return false
	}
	return !slices.ContainsFunc(g.Sharpness, func(row []byte) bool { return len(row) != g.Cols*g.Rows })
}

// A Patch reports whether a short run closes a hole in an earlier one. Found means
// that it does, Fine that it does not, with the reason.
type Patch struct {
	Verdict
	Why string // it does not; empty otherwise
	// Tried means that some of its frames lie in the hole: it was made for this.
	Tried bool
	// Places are those of its frames in usual steps behind the frame before the hole.
	Places []float64
	Misfit float64 // the worst of them, in deviations of the run's own fit
	Widest float64 // the widest step that is left, in usual steps
	Moved  float64 // by how far the picture lies aside, px
	EV     float64 // by which it is brighter, about
	// Turned means that parts of the picture lie aside, each by its depth: it shows another
	// view, or the subject turned.
	Turned bool
}

// lnGain is ln of how many times as bright it is, in code values.
func (p *Patch) lnGain() float64 { return p.EV / toneSlope * math.Ln2 }

// Reasons why a run does not close a hole.
const (
	PatchOther     = "it shows something else"
	PatchElsewhere = "its frames do not lie in the hole"
	PatchNarrow    = "a step is still too wide"
	PatchMoved     = "the camera moved in between"
	PatchTurned    = "the camera or the subject turned in between"
	PatchLight     = "its exposure is another"
)

// Patch answers whether the run o, made later, closes the hole between two frames of j,
// which follow each other. Its frames must show the same picture, as bright and in the
// same place as those around the hole do; and with them there is no step left that is
// wider than a jump.
func (j *Judgement) Patch(o *Judgement, from, to int) Patch {
	a, okA := j.Layout.of(from)
	b, okB := j.Layout.of(to)
	if a > b { // made outwards
		a, b, from, to = b, a, to, from
	}
	if !okA || !okB || a >= b || !j.Patchable(from, to) || !o.Glance.valid() {
		return Patch{Verdict: cannot(ReasonFaint)}
	}
	mo, p := j.viewsOf(o)
	if !mo.Converged {
		return p
	}
	var found, misfits []float64
	for k := range o.Glance.Sharpness {
		if x, misfit, tells := j.Layout.find(&o.Glance, k, mo); tells {
			found, misfits = append(found, x), append(misfits, misfit)
		}
	}
	if len(found) == 0 {
		return Patch{Verdict: cannot(ReasonTexture)}
	}
	if o.Frames < fewFrames {
		return j.patchOfFew(p, o, mo, p.lnGain(), from, to, found, misfits)
	}
	nearest := -1 // to the middle of the hole: how the picture goes on beyond the run is less sure
	for k, x := range found {
		if misfits[k] > patchMisfit {
			continue
		}
		if nearest < 0 || math.Abs(x-(a+b)/2) < math.Abs(found[nearest]-(a+b)/2) {
			nearest = k
		}
		p.Misfit, p.Places = max(p.Misfit, misfits[k]), append(p.Places, x-a)
	}
	if nearest >= 0 {
		if len(o.PerFrame) == len(found) {
			mo = mo.then(o.PerFrame[nearest].motion())
		}
		p.Moved = j.aside(mo, found[nearest])
	}
	p.Widest = widestLeft(p.Places, b-a) * j.stretch(from, to, b-a)
	p.Tried = slices.ContainsFunc(p.Places, func(x float64) bool { return x > 0 && x < b-a })
	p.Why = p.refused(len(p.Places) == 0, j.mayMove(), patchStep)
	p.Verdict = decided(p.Why == "")
	return p
}

// mayMove is by how far the picture of a patch may lie aside, px.
func (j *Judgement) mayMove() float64 {
	return patchMoved * float64(max(j.Width, j.Height)/j.Factor) / longSide
}

// refused returns why frames do not close a hole, "" where they do: unplaced where none of
// them was placed, moved by how many px the camera may have moved, and widest is the widest
// step that may be left.
func (p *Patch) refused(unplaced bool, moved, widest float64) string {
	switch {
	case unplaced:
		return PatchOther
	case !p.Tried:
		return PatchElsewhere
	case p.Moved > moved:
		return PatchMoved
	case p.Turned:
		return PatchTurned
	case math.Abs(p.EV) > patchEV:
		return PatchLight
	case p.Widest > widest:
		return PatchNarrow
	}
	return ""
}

// Patchable reports whether frames made later could be proved to close a hole between
// two frames.
func (j *Judgement) Patchable(from, to int) bool {
	_, okA := j.Layout.of(from)
	_, okB := j.Layout.of(to)
	return okA && okB && len(j.Layout.Peaks) >= DefaultThresholds().MinTiles && j.View.valid()
}

// brighter is the ratio of the code values of the picture that a motion leads to.
func (v *View) brighter(mo Motion) float64 {
	var sum float64
	for _, x := range v.Luma {
		sum += float64(x)
	}
	mean := max(1, sum/float64(len(v.Luma)))
	return max(0.01, mo.Gain+mo.Offset/mean)
}

// aside is by how far the picture lies from where that of the run lies at a place,
// half-way to a corner: shift, roll and scale together, px.
func (j *Judgement) aside(mo Motion, place float64) float64 {
	// The two frames of the run that lie around the place, or nearest to it.
	order := make([]int, len(j.Layout.Frames))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int { return cmp.Compare(j.Layout.Places[a], j.Layout.Places[b]) })
	k := 1
	for k+1 < len(order) && j.Layout.Places[order[k]] < place {
		k++
	}
	a, b := order[k-1], order[k]
	// Beyond the run the picture goes on as over the last of it, not over one step.
	if n := len(order); place > j.Layout.Places[b] {
		a = order[max(0, n-1-asideSteps)]
	} else if place < j.Layout.Places[a] {
		b = order[min(n-1, asideSteps)]
	}
	p, q := j.PerFrame[j.Layout.Frames[a]], j.PerFrame[j.Layout.Frames[b]]
	t := (place - j.Layout.Places[a]) / (j.Layout.Places[b] - j.Layout.Places[a])
	half := typicalRadius * math.Hypot(float64(j.Width), float64(j.Height)) / float64(j.Factor)
	between := func(u, v float64) float64 { return u + t*(v-u) }
	return math.Sqrt(square(mo.ShiftX-between(p.ShiftX, q.ShiftX)) + square(mo.ShiftY-between(p.ShiftY, q.ShiftY)) +
		square(half*(mo.Rotation-between(p.Rotation, q.Rotation))) + square(half*(mo.Scale-between(p.Scale, q.Scale))))
}

// motion is that from the first frame of the run.
func (f *FrameSummary) motion() Motion {
	return Motion{Scale: f.Scale, Rotation: f.Rotation, ShiftX: f.ShiftX, ShiftY: f.ShiftY}
}

func square(x float64) float64 { return x * x }

// find places one frame: where its tiles' sharpness fits the peaks best, but for one
// factor of all. It decides nothing (tells is false) where too few tiles are seen.
func (l *Layout) find(g *Glance, frame int, mo Motion) (x, misfit float64, tells bool) {
	var peaks []shape
	var y []float64
	for _, p := range l.Peaks {
		v, seen := g.of(frame, &p, mo)
		if !seen {
			continue
		}
		of := p.peak()
		peaks, y = append(peaks, of.shape()), append(y, v)
	}
	if len(peaks) < DefaultThresholds().MinTiles || len(l.Places) == 0 {
		return 0, 0, false
	}
	noise := max(l.Noise, patchNoise)
	cost := func(x float64) (sum, left float64) {
		r := make([]float64, len(peaks))
		for i := range peaks {
			value, _ := peaks[i].at(x)
			r[i] = y[i] - value
		}
		common := median(slices.Clone(r))
		for i := range r {
			r[i] = math.Abs(r[i] - common)
			sum += math.Log1p(square(r[i] / (cauchyWidth * noise)))
		}
		return sum, consistent * median(r)
	}
	lowest, spread := math.Inf(1), 0.0
	lo, hi := slices.Min(l.Places)-patchBeyond, slices.Max(l.Places)+patchBeyond
	for at := lo; at <= hi; at += patchGrid {
		if c, left := cost(at); c < lowest {
			lowest, x, spread = c, at, left
		}
	}
	return x, spread / noise, true
}

// stretch is how many times as wide as the peaks place its ends a hole is by all that measures
// steps: sharpness alone knows little of a place that no frame shows, and a step that is
// still too wide must not pass for a narrow one.
func (j *Judgement) stretch(from, to int, width float64) float64 {
	if ratio, ok := j.jump(from, to); ok {
		return max(1, ratio/width)
	}
	return 1
}

// jump is how many usual steps focus moves over a hole that is located.
func (j *Judgement) jump(from, to int) (ratio float64, ok bool) {
	for _, e := range j.Jumps.Events {
		if e.From == from && e.To == to || e.From == to && e.To == from {
			return e.Ratio, true
		}
	}
	return 0, false
}

// widestLeft is the widest step from the one side of the hole to the other over the
// places in it.
func widestLeft(places []float64, width float64) float64 {
	all := []float64{0, width}
	for _, x := range places {
		if x > 0 && x < width {
			all = append(all, x)
		}
	}
	slices.Sort(all)
	widest := 0.0
	for i := 1; i < len(all); i++ {
		widest = max(widest, all[i]-all[i-1])
	}
	return widest
}
