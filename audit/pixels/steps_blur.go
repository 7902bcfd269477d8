package pixels

import (
	"math"
	"slices"
)

// stepsInBlur takes the steps from the change of blur over each link: it grows as the
// difference of the squares of the distances from where a tile is sharp. Tiles and frames
// are laid on one scale of focus in turns.
func (e *evidence) stepsInBlur() steps {
	n := len(e.links)
	f := e.newBlurFit()
	for range blurRounds {
		f.place()
		f.move()
	}
	length, variance := make([]float64, n), make([]float64, n)
	for i, l := range e.links {
		length[i], variance[i] = math.NaN(), math.NaN()
		if f.info[i] > 0 {
			length[i] = (f.x[i+1] - f.x[i]) / e.span(l)
			variance[i] = square(f.spread/e.span(l)) / f.info[i]
		}
	}
	return oneLength(length, variance, blurTimes, blurSigma)
}

// A blurFit lays frames and tiles on one scale of focus, on which the mean step is 1 and
// the variance of a tile's blur is kappa times the square of the distance.
type blurFit struct {
	*evidence
	seen   [][]blurChange // of each link: what its tiles show
	x      []float64      // where the ends of the links lie, one more than these
	z      []float64      // where the tiles are sharp; NaN where not known
	info   []float64      // of each step: its inverse variance, times spread²
	kappa  float64        // 0 where no growth is seen
	spread float64        // of what remains, in the deviations that noise makes
}

func (e *evidence) newBlurFit() *blurFit {
	n := len(e.links)
	f := &blurFit{evidence: e, seen: e.blursSeen(), x: make([]float64, n+1), z: make([]float64, e.grid.cols*e.grid.rows), info: make([]float64, n), spread: blurSpread}
	for i, l := range e.links {
		f.x[i+1] = f.x[i] + e.span(l)
	}
	for t := range f.z {
		f.z[t] = math.NaN()
	}
	return f
}

// blursSeen returns the changes of blur over the links between frames that belong to the run,
// of those tiles that show any. Where blur is wider than what the Laplacian sees, noise is left
// and what compression makes of it, which keeps its place: a tile changes no more there,
// whatever focus does, and that with a small deviation. So a tile must be clearly sharper
// somewhere than at its softest; and in the sharper one of the two frames it must be so too,
// or not much softer than at its sharpest.
func (e *evidence) blursSeen() [][]blurChange {
	bright := make([]float64, len(e.frames)) // what makes sharpness that of one brightness
	softest := slices.Repeat([]float64{math.Inf(1)}, e.grid.cols*e.grid.rows)
	sharpest := make([]float64, len(softest))
	for i, f := range e.frames {
		bright[i] = math.Exp(-2 * e.lnGain[i])
		if e.outside[i] {
			continue
		}
		for t := range f.tiles {
			if v := bright[i] * float64(f.tiles[t].energy); v >= 0 {
				softest[t], sharpest[t] = min(softest[t], v), max(sharpest[t], v)
			}
		}
	}
	out := make([][]blurChange, len(e.links))
	for i, l := range e.links {
		if e.outside[l.from] || e.outside[l.to] {
			continue
		}
		from, to := e.frames[l.from].tiles, e.frames[l.to].tiles
		for _, b := range l.blurs {
			sharper := max(bright[l.from]*float64(from[b.tile].energy), bright[l.to]*float64(to[b.tile].energy))
			least := blurRise * softest[b.tile]
			if sharpest[b.tile] >= least && sharper >= min(least, blurNear*sharpest[b.tile]) {
				out[i] = append(out[i], b)
			}
		}
	}
	return out
}

// A blurRow is what one tile shows of one link.
type blurRow struct {
	link int
	blurChange
	step, squares float64 // of focus over the link: x₂ - x₁, x₂² - x₁²
}

// rows calls yield with what the tiles show of the links.
func (f *blurFit) rows(yield func(blurRow)) {
	for i, seen := range f.seen {
		r := blurRow{link: i, step: f.x[i+1] - f.x[i], squares: f.x[i+1]*f.x[i+1] - f.x[i]*f.x[i]}
		for _, r.blurChange = range seen {
			yield(r)
		}
	}
}

// place finds each tile's place and kappa, given the frames' places. The growth
// kappa (x₂² - x₁²) - 2 kappa z (x₂ - x₁) is linear in kappa and kappa z.
func (f *blurFit) place() {
	type sums struct{ n, stepStep, squaresStep, growthStep, squaresSquares, growthSquares float64 }
	of := make([]sums, len(f.z))
	f.rows(func(r blurRow) {
		g, w := float64(r.growth), float64(r.weight)*f.trust(r)
		s := &of[r.tile]
		s.n++
		s.stepStep += w * r.step * r.step
		s.squaresStep += w * r.squares * r.step
		s.growthStep += w * g * r.step
		s.squaresSquares += w * r.squares * r.squares
		s.growthSquares += w * g * r.squares
	})
	var with, square float64
	for t := range of {
		if s := &of[t]; s.n >= blurLinks && s.stepStep > 0 {
			with += s.growthSquares - s.growthStep*s.squaresStep/s.stepStep
			square += s.squaresSquares - s.squaresStep*s.squaresStep/s.stepStep
		}
	}
	f.kappa = 0
	if !(square > 0 && with > 0) {
		return
	}
	f.kappa = with / square
	for t := range of {
		f.z[t] = math.NaN()
		if s := &of[t]; s.n >= blurLinks && s.stepStep > 0 {
			f.z[t] = (f.kappa*s.squaresStep - s.growthStep) / s.stepStep / (2 * f.kappa)
		}
	}
}

// left is by how much a growth deviates from what the places make it.
func (f *blurFit) left(r blurRow) float64 {
	return float64(r.growth) - f.kappa*(r.squares-2*f.z[r.tile]*r.step)
}

// trust is Cauchy's weight of a growth.
func (f *blurFit) trust(r blurRow) float64 {
	if f.kappa == 0 || math.IsNaN(f.z[r.tile]) {
		return 1
	}
	d := f.left(r) * math.Sqrt(float64(r.weight)) / (cauchyWidth * f.spread)
	return 1 / (1 + d*d)
}

// move finds the frames' places, given those of the tiles: a least-squares fit whose
// equations join neighbours alone.
func (f *blurFit) move() {
	if f.kappa == 0 {
		return
	}
	n := len(f.x)
	diagonal, beside, right := make([]float64, n), make([]float64, n), make([]float64, n)
	add := func(i int, weight, by, byNext, left float64) {
		diagonal[i] += weight * by * by
		diagonal[i+1] += weight * byNext * byNext
		beside[i] += weight * by * byNext
		right[i] += weight * by * left
		right[i+1] += weight * byNext * left
	}
	for i, l := range f.links { // a step is 1 ± 1 before anything is seen
		span := f.span(l)
		add(i, 1/(span*span), -1, 1, span-(f.x[i+1]-f.x[i]))
	}
	clear(f.info)
	var remains []float64
	f.rows(func(r blurRow) {
		z := f.z[r.tile]
		if math.IsNaN(z) {
			return
		}
		left := f.left(r)
		remains = append(remains, math.Abs(left)*math.Sqrt(float64(r.weight)))
		w := float64(r.weight) * f.trust(r)
		by, byNext := -2*f.kappa*(f.x[r.link]-z), 2*f.kappa*(f.x[r.link+1]-z)
		add(r.link, w/(f.spread*f.spread), by, byNext, left)
		both := (byNext - by) / 2
		f.info[r.link] += w * both * both
	})
	if len(remains) > 0 {
		f.spread = max(1, consistent*median(remains))
	}
	diagonal[0]++ // holds the first
	for i := 1; i < n; i++ {
		share := beside[i-1] / diagonal[i-1]
		diagonal[i] -= share * beside[i-1]
		right[i] -= share * right[i-1]
	}
	next := 0.0
	for i := n - 1; i >= 0; i-- {
		next = (right[i] - beside[i]*next) / diagonal[i]
		f.x[i] += next
	}
	layEvenly(f.x)
}
