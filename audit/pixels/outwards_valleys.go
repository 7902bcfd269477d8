package pixels

import (
	"iter"
	"math"
	"slices"
)

// comingAndGoing returns the sharpness of the tiles that come and go by more than noise
// and light make, whatever the order of the frames.
func (c *curves) comingAndGoing() (tiles []*curve) {
	for i := range c.tiles {
		if t := &c.tiles[i]; t.detail && t.rise >= walkRise {
			tiles = append(tiles, t)
		}
	}
	return tiles
}

// A valleys has the curves of tiles in whose valleys the order of focus shows.
type valleys struct {
	n     int // frames added
	tiles []*curve
	place []int // of each frame in the curves; -1 where it takes no part
}

func (c *curves) newValleys(tiles []*curve, n int) *valleys {
	v := &valleys{n: n, tiles: tiles, place: make([]int, n)}
	for i := range n {
		v.place[i] = -1
		if k := i - c.lo; k >= 0 && k < c.n && c.real[k] {
			v.place[i] = k
		}
	}
	return v
}

// known returns the places in the curves of frames in an order, without those that take
// no part.
func (v *valleys) known(order []int) []int {
	out := make([]int, 0, len(order))
	for _, i := range order {
		if k := v.place[i]; k >= 0 {
			out = append(out, k)
		}
	}
	return out
}

// depths returns the depth of the deepest valley of each curve in an order, in shares of
// its height.
func (v *valleys) depths(order []int) []float64 {
	known := v.known(order)
	out := make([]float64, len(v.tiles))
	for i, t := range v.tiles {
		out[i] = valley(t.f, known)
	}
	return out
}

// left returns the mean depth of the valleys in an order.
func (v *valleys) left(order []int) float64 { return mean(v.depths(order)) }

// best returns the one of some orders that leaves least of the valleys, by some
// valleyTiles of the tiles, and the how-manieth it is; nil of none.
func (v *valleys) best(orders iter.Seq[[]int]) (best []int, at int) {
	some := *v
	if every := len(v.tiles) / valleyTiles; every > 1 {
		some.tiles = nil
		for i := 0; i < len(v.tiles); i += every {
			some.tiles = append(some.tiles, v.tiles[i])
		}
	}
	least, k := math.Inf(1), 0
	for order := range orders {
		if left := some.left(order); left < least {
			least, best, at = left, order, k
		}
		k++
	}
	return best, at
}

// against returns the depths of the valleys of each curve in the order in which the run
// was made, and in another, beyond what noise makes: in the order of focus, which may be
// either, a curve is smooth but for noise.
func (v *valleys) against(order []int) (made, left []float64) {
	made, left = v.depths(upTo(v.n)), v.depths(order)
	before, behind := v.known(upTo(v.n)), v.known(order)
	for i, t := range v.tiles {
		noise := valleyNoise * min(lowerNoise(t.f, before), lowerNoise(t.f, behind))
		made[i], left[i] = max(0, made[i]-noise), max(0, left[i]-noise)
	}
	return made, left
}

// comesBack reports whether an order explains the valleys that are deep in the order in
// which the run was made, and that there are some.
func comesBack(made, left []float64) bool {
	var before, after []float64
	for i := range made {
		if made[i] >= outwardDeep {
			before, after = append(before, made[i]), append(after, left[i])
		}
	}
	return len(before) >= backTiles && mean(after) <= outwardLeft*mean(before)
}

// lowerNoise is the robust deviation of a curve from the line through its neighbours, in
// an order, where it is low: at its peak it bends.
func lowerNoise(f []float32, order []int) float64 {
	v := make([]float64, len(order))
	for k, i := range order {
		v[k] = float64(f[i])
	}
	middle := median(slices.Clone(v))
	var d []float64
	for k := 1; k+1 < len(v); k++ {
		if v[k] <= middle {
			d = append(d, math.Abs(v[k]-(v[k-1]+v[k+1])/2))
		}
	}
	if len(d) == 0 {
		return 0
	}
	return consistent * median(d) / math.Sqrt(1.5)
}

// valley returns the depth of the deepest valley of a curve between two higher points,
// with its frames in the given order.
func valley(f []float32, order []int) float64 {
	n := len(order)
	behind := make([]float32, n)
	for k := n - 2; k >= 0; k-- {
		behind[k] = max(behind[k+1], f[order[k+1]])
	}
	var before, deepest float32
	for k, i := range order {
		deepest = max(deepest, min(before, behind[k])-f[i])
		before = max(before, f[i])
	}
	return float64(deepest)
}

// upTo returns the numbers from 0 on.
func upTo(n int) []int {
	order := make([]int, n)
	for i := range order {
		order[i] = i
	}
	return order
}

// inTurn returns the places of n frames in the order of focus where they were made
// outwards, on both sides in turn. Before frame lost one more was made that lacks, and
// the one before frame both is the last on its side: all behind it go to the other. From
// n on these mean nothing.
func inTurn(n, lost, both int) []int {
	var near, far []int
	nearer := false
	for i := range n {
		if i <= both { // behind that it stays as it is
			nearer = i%2 == 1
			if i >= lost {
				nearer = !nearer
			}
		}
		if nearer {
			near = append(near, i)
		} else {
			far = append(far, i)
		}
	}
	slices.Reverse(near)
	return append(near, far...)
}

// inTurnsWithout are inTurn for n frames that are left where one was lost.
func inTurnsWithout(n int) iter.Seq[[]int] {
	return func(yield func([]int) bool) {
		for lost := range n {
			if lost > 0 && !yield(inTurn(n, lost, n)) {
				return
			}
		}
	}
}

// inTurnsThenOne are inTurn for n frames of which one side ends before the other, and the
// frame lost lacks.
func inTurnsThenOne(n, lost int) iter.Seq[[]int] {
	return func(yield func([]int) bool) {
		for both := 2*outwardSide + 1; both < n; both++ {
			if !yield(inTurn(n, lost, both)) {
				return
			}
		}
	}
}

// oneThenOther returns the places of n frames in the order of focus where all of one
// side, up to frame last, were made before the other.
func oneThenOther(n, last int) []int {
	order := upTo(n)
	slices.Reverse(order[:last+1])
	return order
}

// onesThenOther are oneThenOther for n frames with outwardSide frames and more on a side.
func onesThenOther(n int) iter.Seq[[]int] {
	return func(yield func([]int) bool) {
		for last := outwardSide; last < n-outwardSide; last++ {
			if !yield(oneThenOther(n, last)) {
				return
			}
		}
	}
}
