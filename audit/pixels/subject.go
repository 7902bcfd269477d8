package pixels

import (
	"math"
	"slices"
)

// Registration lays the whole picture of one frame on the next, and then asks each of its
// blocks where it lies by itself. On a rail, or where focusing scales the picture, blocks
// lie elsewhere by their depth, by about as much from frame to frame. A leaf that moves
// jumps once. So each block is held against itself over the links around, as far as what is
// in it is sharp on both sides of the link: where blur grows, edges move.

// Subject reports parts of the subject that moved while the rest stood.
type Subject struct {
	Verdict
	Events []PartMove
}

// A PartMove is one part that moved over one link.
type PartMove struct {
	From, To       int
	ShiftX, ShiftY float64 // px
	Box            Box     // where it was, in the picture of From
	Lasting        bool    // it does not come back within a few frames
	Sure           bool    // so much of it moves that noise, or an edge between near and far, does not do it
}

// Pixels is by how far it moved, px.
func (p *PartMove) Pixels() float64 { return math.Hypot(p.ShiftX, p.ShiftY) }

// A blockJump is by how much a block lies elsewhere after a link than the links around
// lead to expect.
type blockJump struct {
	block int
	x, y  float64 // px
	own   float64 // px by which it differs over other links by itself
	sigma float64 // px of its deviation, by its texture
}

func (b blockJump) size() float64 { return math.Hypot(b.x, b.y) }

// askSubject finds parts of the subject that moved by themselves.
func (e *evidence) askSubject(w Walk, c *curves, m *Moved, s *Stalls, o *Order, j *Jumps) Subject {
	walking := w.Answer == Found
	switch {
	case e.long:
		return Subject{Verdict: cannot(ReasonLong)}
	case e.unfit != "":
		return Subject{Verdict: cannot(e.unfit)}
	case w.Answer == CannotTell:
		return Subject{Verdict: cannot(ReasonWalk)}
	case walking && c.textured < e.th.MinTiles || !walking && c.detail < e.th.MinTiles:
		return Subject{Verdict: cannot(ReasonTexture)}
	}
	var out Subject
	asked, shown, restless := 0, 0, 0
	peaks := e.peaks(c, walking)
	for i, l := range e.links {
		from, to := e.ends(l)
		if !l.motion.Converged || e.outside[l.from] || e.outside[l.to] {
			continue
		}
		if peaks[l.from]+peaks[l.to] < e.th.MinTiles {
			continue // next to nothing is at its sharpest there
		}
		asked++
		if m.touches(from, to) || s.touches(from, to) || o.touches(from, to) || j.touches(from, to) {
			continue // has a finding of its own, and focus does not go on as around it
		}
		list, noise := e.blockJumps(c, i, walking)
		limit := max(subjectLeast*float64(e.grid.smallPx), subjectTimes*noise)
		if len(list) < subjectBlocks {
			continue
		}
		if limit > subjectMost*float64(e.grid.smallPx) {
			restless++
			continue
		}
		shown++
		for _, part := range together(beyond(list, limit)) {
			out.Events = append(out.Events, e.partMove(l, part))
		}
	}
	out.Verdict = decided(len(out.Events) > 0)
	if out.Answer == Fine && float64(shown) < subjectShown*float64(asked) {
		out.Verdict = cannot(ReasonNowhereSharp)
		if 2*restless > asked-shown {
			out.Verdict = cannot(ReasonRestless)
		}
	}
	out.markBack()
	return out
}

// peaks returns how many tiles have their sharpest in each frame; all of them in each, where
// focus stands.
func (e *evidence) peaks(c *curves, walking bool) []int {
	out := make([]int, len(e.frames))
	for i, f := range e.frames {
		for k := range c.tiles {
			if t := &c.tiles[k]; !walking && t.detail || t.textured && c.lo+t.arg == f.index {
				out[i]++
			}
		}
	}
	return out
}

// blockJumps returns the jumps of the blocks over link i that are sharp on both sides of it,
// and the median of their sizes.
func (e *evidence) blockJumps(c *curves, i int, walking bool) (list []blockJump, noise float64) {
	l := e.links[i]
	if l.motion.blocks == nil {
		return nil, 0
	}
	last := len(e.links) - 1
	near := nearLinks
	if !walking {
		near = subjectNear
	}
	lo, hi := max(0, min(i-near, last-2*near)), min(last, max(i+near, 2*near))
	var around [partRows * partCols]blockJump // what the links around have; the block is -1 where they do not show it
	var scale []float64
	room := make([]float64, 3*(hi-lo))
	for k := range around {
		around[k].block = -1
		if !l.motion.blocks[k].known {
			continue
		}
		x, y := room[:0:hi-lo], room[hi-lo:][:0:hi-lo]
		for q := lo; q <= hi; q++ {
			if m := &e.links[q].motion; q != i && m.Converged && m.blocks != nil && m.blocks[k].known {
				dx, dy := m.blocks[k].px(e.grid.smallPx)
				span := e.span(e.links[q])
				x, y = append(x, dx/span), append(y, dy/span)
			}
		}
		if len(x) < 2 {
			continue
		}
		around[k] = restOf(k, x, y, room[2*(hi-lo):])
		if far := around[k].size(); far > subjectParallax*float64(e.grid.smallPx) {
			dx, dy := l.motion.blocks[k].px(e.grid.smallPx)
			scale = append(scale, (dx*around[k].x+dy*around[k].y)/(far*far))
		}
	}
	step := e.span(l) // the step of focus over the link, as a multiple of those around
	if len(scale) >= subjectBlocks {
		step = median(scale)
	}
	sharp := e.sharpShare(c, l, walking)
	var sizes []float64
	for k, a := range around {
		if a.block < 0 || sharp[k] < subjectSharp {
			continue
		}
		b := &l.motion.blocks[k]
		dx, dy := b.px(e.grid.smallPx)
		jump := blockJump{k, dx - step*a.x, dy - step*a.y, a.own, float64(b.sigma) * float64(e.grid.smallPx) / 1000}
		list, sizes = append(list, jump), append(sizes, jump.size())
	}
	return list, median(sizes)
}

// restOf returns what a block does over the links around: the median, and by how much the
// last but one lies aside. The last one may be the way back of what moves. room is for as
// many values.
func restOf(block int, x, y, room []float64) blockJump {
	room = room[:len(x)] // median sorts what it is given
	copy(room, x)
	rest := blockJump{block: block, x: median(room)}
	copy(room, y)
	rest.y = median(room)
	for i := range x {
		room[i] = math.Hypot(x[i]-rest.x, y[i]-rest.y)
	}
	slices.Sort(room)
	rest.own = room[len(room)-2]
	return rest
}

// sharpShare returns which share of the sharpness of each block, in the frame that a link
// comes from, is of tiles that are sharp on both sides of the link.
func (e *evidence) sharpShare(c *curves, l link, walking bool) (share [partRows * partCols]float64) {
	g := &e.grid
	from := &e.frames[l.from]
	w, h := g.width/(2*g.factor)/(g.smallPx/2)*g.smallPx, g.height/(2*g.factor)/(g.smallPx/2)*g.smallPx
	at, to := from.index-c.lo, e.frames[l.to].index-c.lo
	if at < 0 || to >= c.n {
		return share
	}
	var all [partRows * partCols]float64
	for t := range c.tiles {
		x, y := g.centreOf(t, g.edge, from.place)
		if x < 0 || y < 0 || int(x) >= w || int(y) >= h || from.tiles[t].energy < 0 {
			continue
		}
		k := int(y)*partRows/h*partCols + int(x)*partCols/w
		energy := float64(from.tiles[t].energy)
		all[k] += energy
		if from.tiles[t].high > 0 || e.frames[l.to].tiles[t].high > 0 {
			continue // a highlight moves as focus does
		}
		q := &c.tiles[t]
		if q.f != nil && (!walking && q.detail || q.textured && min(q.f[at], q.f[to]) >= halfHeight) {
			share[k] += energy
		}
	}
	for k := range share {
		share[k] /= max(all[k], leastEnergy)
	}
	return share
}

// beyond returns the blocks that jump over the limit of all, and over what they do by
// themselves and by their texture: noise is in all blocks, and takes a block the farther
// the less texture holds it. By how much is measured on the blocks of the link, as their
// deviations know nothing of noise that neighbouring pixels share, as in a JPEG file.
func beyond(list []blockJump, limit float64) (over []blockJump) {
	ratios := make([]float64, len(list))
	for i, b := range list {
		ratios[i] = b.size() / b.sigma
	}
	most := subjectTexture * median(ratios)
	for _, b := range list {
		if b.size() > max(limit, subjectOwn*b.own, most*b.sigma) {
			over = append(over, b)
		}
	}
	return over
}

// together returns the sets of adjoining blocks that jump alike: what moves is larger than
// one block, and one alone may be wrong.
func together(over []blockJump) (sets [][]blockJump) {
	for len(over) > 0 {
		set := over[:1:1]
		over = over[1:]
		for k := 0; k < len(set); k++ {
			over = slices.DeleteFunc(over, func(b blockJump) bool {
				if !set[k].adjoins(b) || !set[k].alike(b) {
					return false
				}
				set = append(set, b)
				return true
			})
		}
		if len(set) >= subjectTogether {
			sets = append(sets, set)
		}
	}
	return sets
}

func (b blockJump) adjoins(o blockJump) bool {
	dx, dy := b.block%partCols-o.block%partCols, b.block/partCols-o.block/partCols
	return max(dx, -dx) <= 1 && max(dy, -dy) <= 1
}

// alike reports whether two jumps have about one direction.
func (b blockJump) alike(o blockJump) bool {
	return b.x*o.x+b.y*o.y >= subjectAlike*b.size()*o.size()
}

// partMove makes an event of the blocks that jumped together.
func (e *evidence) partMove(l link, part []blockJump) PartMove {
	from, to := e.ends(l)
	m := PartMove{From: from, To: to, Box: Box{1, 1, 0, 0}, Lasting: true, Sure: len(part) >= subjectSure}
	var x, y []float64
	for _, b := range part {
		x, y = append(x, b.x), append(y, b.y)
		u, v := float64(b.block%partCols), float64(b.block/partCols)
		m.Box.X0, m.Box.Y0 = min(m.Box.X0, u/partCols), min(m.Box.Y0, v/partRows)
		m.Box.X1, m.Box.Y1 = max(m.Box.X1, (u+1)/partCols), max(m.Box.Y1, (v+1)/partRows)
	}
	m.ShiftX, m.ShiftY = median(x), median(y)
	return m
}

// markBack marks the moves that another undoes soon after.
func (s *Subject) markBack() {
	for i := range s.Events {
		for k := range s.Events {
			a, b := &s.Events[i], &s.Events[k]
			if i != k && b.From >= a.To && b.From-a.From <= undoLinks && a.Box.meets(b.Box) && math.Hypot(a.ShiftX+b.ShiftX, a.ShiftY+b.ShiftY) < undoShare*a.Pixels() {
				a.Lasting, b.Lasting = false, false
			}
		}
	}
}

// meets reports whether two boxes have a point in common.
func (b Box) meets(o Box) bool {
	return b.X0 <= o.X1 && o.X0 <= b.X1 && b.Y0 <= o.Y1 && o.Y0 <= b.Y1
}
