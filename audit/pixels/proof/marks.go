package proof

import (
	"cmp"
	"math"
	"slices"

	"prestrike/audit/pixels"
)

// A Mark reports what is to be known of a place besides the frame in which it is
// sharpest.
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

// A Coverage shows in which frame each place of the merged picture is sharpest.
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

const (
	// plainTimes is how many times the energy of noise a place must reach in its sharpest
	// frame to have a texture. The sharpest of 40 frames of noise alone reaches some 2.5
	// times the envelope: energies over 36 pixels scatter by a fifth.
	plainTimes = 4
	// broadRise is how many times its least energy a place's coarse detail must reach in an
	// end frame: far out of focus it changes slowly, and soft shading hardly at all.
	broadRise = 2.5
)

// finish decides all places.
func (c *coverage) finish(d *depth) *Coverage {
	n := c.w * c.h
	out := &Coverage{Width: c.w, Height: c.h, Side: placeSide, Frame: make([]int16, n), Marks: make([]Mark, n), Used: c.order}
	levels := c.fine.noise.levels()
	end := int16(len(out.Used) - 1)
	for i, at := range d.frame {
		k := min(int16(math.Round(float64(at))), end)
		if d.plain[i] {
			out.Marks[i] = Plain
			continue
		}
		out.Frame[i] = int16(out.Used[k])
		switch k {
		case 0:
			out.Marks[i] = First
		case end:
			out.Marks[i] = Last
		}
		for _, g := range c.gaps {
			if c.fine.inGap(i, out.Used[k], g, levels[lumaBin(c.fine.luma.pix[i])]) {
				out.Marks[i], out.Frame[i] = Between, int16(g.From)
			}
		}
	}
	c.broad.decideEnds(out) // where fine texture does not decide
	return out
}

// medians returns the median of the known values of the 3 x 3 places around each known one;
// what is not known, below 0, stays so.
func medians(v []int16, w int) []int16 {
	out := make([]int16, len(v))
	h := len(v) / w
	for i, own := range v {
		if out[i] = own; own < 0 {
			continue
		}
		x, y := i%w, i/w
		var near [9]int16
		n := 0
		for dy := max(0, y-1); dy <= min(h-1, y+1); dy++ {
			for dx := max(0, x-1); dx <= min(w-1, x+1); dx++ {
				if k := v[dy*w+dx]; k >= 0 {
					near[n] = k
					n++
				}
			}
		}
		slices.Sort(near[:n])
		if n%2 == 1 || near[n/2] == near[n/2-1] {
			out[i] = near[n/2]
		}
	}
	return out
}

// decideEnds marks places that show no fine texture in any frame, and whose coarse detail
// rises towards the first or last frame: what lies far beyond it.
func (t *track) decideEnds(out *Coverage) {
	end := int16(len(out.Used) - 1)
	for i, k := range medians(t.known(), t.w) {
		if out.Marks[i] != Plain || (k != 0 && k != end) || t.best.pix[i] < broadRise*t.least.pix[i] {
			continue
		}
		out.Frame[i], out.Marks[i] = int16(out.Used[k]), First
		if k == end {
			out.Marks[i] = Last
		}
	}
}

// gapMargin is by how many usual steps of focus a place must lie inside a gap, from either
// side: as far as half-way between two usual frames.
const gapMargin = 0.5

// flatShare is the share of the least energy around a gap that shows nothing of focus:
// with it left out, a place beside the gap with a flat curve does not seem to lie in its
// middle.
const flatShare = 0.8

// inGap reports whether a place is sharpest inside a gap: whether the middle of the energies
// of the frames around it, each at its place of focus in usual steps, lies there. Unlike a
// comparison of two energies that is steady in noise. Of 12 rendered runs, not those that
// DEVELOPERS.md states, it found 91 % of such places, and in the median 3 % of those up to
// four steps beside the gap.
func (t *track) inGap(place, best int, g Gap, noise float32) bool {
	if best < g.From-1 || best > g.To+1 {
		return false
	}
	least := float32(math.Inf(1))
	for f := g.From - besideGap; f <= g.To+besideGap; f++ {
		if p := t.around[f]; p.pix != nil && p.pix[place] > 0 {
			least = min(least, p.pix[place])
		}
	}
	least = max(noise, flatShare*least)
	var sum, all float64
	for f := g.From - besideGap; f <= g.To+besideGap; f++ {
		p := t.around[f]
		if p.pix == nil {
			continue
		}
		at := float64(f - g.From)
		if f >= g.To {
			at = g.Ratio + float64(f-g.To)
		}
		e := float64(max(0, p.pix[place]-least))
		sum += e * at
		all += e
	}
	middle := sum / max(all, 1e-9)
	return middle > gapMargin && middle < g.Ratio-gapMargin
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

// leastShare is the share from which a part is reported.
const leastShare = 0.02

// Parts lists the marked places that are reported, mark by mark; within a mark the part
// with the largest share comes first.
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
