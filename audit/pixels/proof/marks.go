package proof

import (
	"cmp"
	"math"
	"slices"

	"prestrike/audit/pixels"
)

// A Mark tells what is to be known of a place beside the frame in which it is sharpest.
type Mark uint8

// The marks.
const (
	Inside  Mark = iota // sharpest in a frame that has others on both sides: covered
	First               // sharpest in the first frame: it may be sharper still before that
	Last                // sharpest in the last frame
	Between             // sharpest in a step that is too large, between two frames
	Plain               // no detail that is sharp in any frame: no texture, or never in focus
	marks
)

// A Coverage tells in which frame each place of the merged picture is sharpest.
type Coverage struct {
	// Width and Height count places, Side is that of a place, px.
	Width, Height, Side int
	// Frame is the frame in which each place is sharpest, row by row; that before the step
	// for Between, and of no meaning for Plain.
	Frame []int16
	Marks []Mark
	// Used are the frames that were compared, in order.
	Used []int
}

// plainTimes is how many times the energy of noise a place must reach in its sharpest frame
// to have a texture. The sharpest of 40 frames of noise alone reaches some 2.5 times the
// envelope: energies over 36 pixels scatter by a fifth.
const plainTimes = 4

// finish decides all places.
func (c *coverage) finish() *Coverage {
	n := c.w * c.h
	out := &Coverage{Width: c.w, Height: c.h, Side: placeSide, Frame: make([]int16, n), Marks: make([]Mark, n), Used: c.order}
	level := c.noise.levels()
	end := int16(len(c.order) - 1)
	for i, k := range c.at {
		if k < 0 || c.best.pix[i] < plainTimes*level[lumaBin(c.luma.pix[i])] {
			out.Marks[i] = Plain
			continue
		}
		out.Frame[i] = int16(c.order[k])
		switch k {
		case 0:
			out.Marks[i] = First
		case end:
			out.Marks[i] = Last
		}
		if at, ok := c.inGap(i, c.order[k], level[lumaBin(c.luma.pix[i])]); ok {
			out.Marks[i], out.Frame[i] = Between, int16(at)
		}
	}
	return out
}

// gapMargin is by how many usual steps of focus a place must lie farther than either frame
// of a gap to be called between them: as far as it does half-way between two usual frames.
const gapMargin = 0.5

// inGap reports whether a place that is sharpest in the given frame is sharper still inside
// one of the gaps, and the frame before that gap. It puts a parabola through the
// logarithms of the energies in the two frames before the gap and the two behind it, as the
// sharpness curve is about a Gaussian around its peak.
func (c *coverage) inGap(place, frame int, noise float32) (before int, ok bool) {
	for _, g := range c.gaps {
		if frame != g.From && frame != g.To {
			continue
		}
		var x, y []float64
		for k, f := range [...]int{g.From - 1, g.From, g.To, g.To + 1} {
			p := c.around[f]
			if p.pix == nil || p.pix[place] <= 0 {
				continue
			}
			at := [...]float64{-1, 0, g.Ratio, g.Ratio + 1}
			x, y = append(x, at[k]), append(y, math.Log(float64(max(p.pix[place]-noise, noise/4))))
		}
		if peak, found := parabola(x, y); found && peak > gapMargin && peak < g.Ratio-gapMargin {
			return g.From, true
		}
	}
	return 0, false
}

// parabola returns where the parabola that fits best is greatest. It needs three points.
func parabola(x, y []float64) (peak float64, found bool) {
	if len(x) < 3 {
		return 0, false
	}
	var s [5]float64 // sums of powers of x
	var t [3]float64 // with y
	for i, v := range x {
		p := 1.0
		for k := range s {
			s[k] += p
			if k < len(t) {
				t[k] += p * y[i]
			}
			p *= v
		}
	}
	// Cramer's rule for the coefficients of x and x².
	det := func(a, b, c, d, e, f, g, h, i float64) float64 { return a*(e*i-f*h) - b*(d*i-f*g) + c*(d*h-e*g) }
	all := det(s[0], s[1], s[2], s[1], s[2], s[3], s[2], s[3], s[4])
	one := det(s[0], t[0], s[2], s[1], t[1], s[3], s[2], t[2], s[4])
	two := det(s[0], s[1], t[0], s[1], s[2], t[1], s[2], s[3], t[2])
	if all == 0 || two/all >= 0 {
		return 0, false
	}
	return -one / (2 * two), true
}

// A Part is all places with one mark.
type Part struct {
	Mark Mark
	// Frame is the frame that the mark names: the first, the last, or the one before the
	// step.
	Frame int
	// Share is of the places with texture, 0 to 1; for Plain of all places.
	Share float64
	// Box is around the largest connected patch of them, for [pixels.Box.Words].
	Box pixels.Box
}

// leastShare is the share from which a part is worth a word.
const leastShare = 0.02

// Parts lists the marked places that are worth a word, the largest of each mark's shares
// first within its mark.
func (c *Coverage) Parts() []Part {
	type kind struct {
		mark  Mark
		frame int16
	}
	places := map[kind][]int{}
	textured := 0
	for i, m := range c.Marks {
		if m != Plain {
			textured++
		}
		k := kind{mark: m}
		if m == Between {
			k.frame = c.Frame[i]
		}
		places[k] = append(places[k], i)
	}
	var out []Part
	for k, list := range places {
		p := Part{Mark: k.mark, Share: float64(len(list)) / float64(max(1, textured))}
		switch k.mark {
		case Inside:
			continue
		case First:
			p.Frame = c.Used[0]
		case Last:
			p.Frame = c.Used[len(c.Used)-1]
		case Between:
			p.Frame = int(k.frame)
		case Plain:
			p.Share = float64(len(list)) / float64(len(c.Marks))
		}
		if p.Share < leastShare {
			continue
		}
		p.Box = c.patch(list)
		out = append(out, p)
	}
	slices.SortFunc(out, func(a, b Part) int {
		return cmp.Or(cmp.Compare(a.Mark, b.Mark), cmp.Compare(b.Share, a.Share), cmp.Compare(a.Frame, b.Frame))
	})
	return out
}

// patch returns the box around the largest connected patch of the places.
func (c *Coverage) patch(list []int) pixels.Box {
	open := map[int]bool{}
	for _, i := range list {
		open[i] = true
	}
	var best [4]int
	most := 0
	for _, from := range list {
		if !open[from] {
			continue
		}
		box := [4]int{from % c.Width, from / c.Width, from % c.Width, from / c.Width}
		size := 0
		open[from] = false
		for stack := []int{from}; len(stack) > 0; {
			i := stack[len(stack)-1]
			stack = stack[:len(stack)-1]
			size++
			x, y := i%c.Width, i/c.Width
			box = [4]int{min(box[0], x), min(box[1], y), max(box[2], x), max(box[3], y)}
			for _, next := range [...]struct{ x, y int }{{x - 1, y}, {x + 1, y}, {x, y - 1}, {x, y + 1}} {
				if k := next.y*c.Width + next.x; next.x >= 0 && next.x < c.Width && open[k] {
					open[k] = false
					stack = append(stack, k)
				}
			}
		}
		if size > most {
			most, best = size, box
		}
	}
	w, h := float64(c.Width), float64(c.Height)
	return pixels.Box{X0: float64(best[0]) / w, Y0: float64(best[1]) / h, X1: float64(best[2]+1) / w, Y1: float64(best[3]+1) / h}
}
