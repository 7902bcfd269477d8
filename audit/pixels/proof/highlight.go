package proof

import (
	"encoding/binary"
	"math"
)

const (
	// clippedFrom is the luma, code values, of a clipped pixel: compression leaves some
	// below 255.
	clippedFrom = 250
	// brightFrom is the luma from which pixels beside a clipped one belong to its highlight:
	// half the light of white (IEC 61966-2-1).
	brightFrom = 188
	// faintPlace is the least sum of a place that belongs to a highlight, four code values for
	// each pixel: more than noise and compression leave beside an edge.
	faintPlace = 4 * placeSide * placeSide
	// widest is the longer side from which a bright part is a surface and no point, px.
	widest = 64
	// roundFrom is the share of the square around it that a round part covers at least: a disk
	// covers 0.79, a line of three places 0.33.
	roundFrom = 0.4
	// leastSum is the sum of four clipped pixels: the image of a point covers as many.
	leastSum = 4 * (255 - brightFrom)
	// growsFrom is how many times its least sum a highlight must have in some frame: a white
	// ground is as large in all of them.
	growsFrom = 1.25
	// farthest is how many times as wide as the largest clipped disk that was seen one may
	// become: at twice the width it has a quarter of its light, as much as a grey ground.
	farthest = 2
	// mostHighlights bounds memory and time.
	mostHighlights = 4096
)

// A highlight is a bright point that is followed through the frames. In focus it is smallest.
// Out of focus it is a disk, with an edge as sharp as anything in focus.
//
// What is compared is the sum of luma above brightFrom. As luma is clipped, light that is
// spread has a greater sum than light in one point, as long as some of it is clipped.
type highlight struct {
	x, y   float64 // its middle in the frame in which it is smallest, px of the merged picture
	radius float64 // there, px
	round  bool    // there
	frame  int16   // that frame
	last   int16   // the last frame in which it was seen

	reach   float64 // the radius of the largest disk that it was by itself, px
	reachIn int16   // in which frame

	least, most   float32 // sums
	before, after float32 // sums in the frames beside the smallest, 0 where it was not seen
	lately        float32 // the sum in the last frame
}

// highlights follows all of them.
type highlights struct {
	list  []highlight
	blobs []blob  // of the frame that is added
	of    []int32 // for each place of that frame the blob that it belongs to, from 1; 0 for none
	open  []int32 // scratch
}

// A blob is a connected bright part of a frame, with a clipped pixel in it.
type blob struct {
	sum, x, y      float32 // the middle, in places of the frame
	places         int
	x0, y0, x1, y1 int // bounds, places
	found          int // how many highlights are in it
}

func (b *blob) side() int       { return 1 + max(b.x1-b.x0, b.y1-b.y0) }
func (b *blob) radius() float64 { return placeSide / 2 * float64(b.side()) }
func (b *blob) round() bool     { return float64(b.places) >= roundFrom*float64(b.side()*b.side()) }

// add takes in the n-th frame.
func (h *highlights) add(n int16, s *source, at affine) {
	h.find(s)
	g := at.grid(placeSide, middleOfPlace)
	in := make([]int32, len(h.list))
	for i, l := range h.list {
		x, y := at.of(l.x, l.y)
		if in[i] = h.near(s, int(math.Floor(x/placeSide)), int(math.Floor(y/placeSide))); in[i] > 0 {
			h.blobs[in[i]-1].found++
		}
	}
	back := affine{p: 1}.from(g)
	for i, k := range in {
		if k > 0 {
			h.list[i].follow(n, &h.blobs[k-1], back)
		}
	}
	for k := range h.blobs {
		if b := &h.blobs[k]; b.found == 0 && len(h.list) < mostHighlights {
			b.found = 1
			l := highlight{last: n}
			l.follow(n, b, back)
			h.list = append(h.list, l)
		}
	}
}

// follow takes in what the highlight is in the n-th frame; back leads from that frame's places
// to those of the merged picture.
func (l *highlight) follow(n int16, b *blob, back affine) {
	if b.side() >= widest/placeSide {
		return
	}
	next := l.last == n-1
	switch {
	case l.least == 0 || b.sum < l.least:
		x, y := back.of(float64(b.x), float64(b.y))
		l.x, l.y, l.radius, l.round = placeSide*x+middleOfPlace, placeSide*y+middleOfPlace, b.radius(), b.round()
		l.frame, l.least, l.before, l.after = n, b.sum, 0, 0
		if next {
			l.before = l.lately
		}
	case next && l.frame == l.last:
		l.after = b.sum
	}
	if r := b.radius(); b.found == 1 && r > l.reach {
		l.reach, l.reachIn = r, n
	}
	l.most = max(l.most, b.sum)
	l.last, l.lately = n, b.sum
}

// blurs reports whether the highlight is one: a point that is smaller in some frame.
func (l *highlight) blurs() bool { return l.least >= leastSum && l.most >= growsFrom*l.least }

// focus returns the frame in which it is in focus, between two frames where those beside
// the smallest show it: its sum grows alike to both sides.
func (l *highlight) focus() float32 {
	z := float32(l.frame)
	if l.before > 0 && l.after > 0 {
		if most := max(l.before, l.after) - l.least; most > 0 {
			z += 0.5 * (l.before - l.after) / most
		}
	}
	return z
}

// at returns the radius of its disk in a frame, px: a blur disk grows evenly.
func (l *highlight) at(frame float32) float64 {
	focus := float64(l.focus())
	growth := 0.0
	if d := math.Abs(float64(l.reachIn) - focus); d >= 0.5 {
		growth = max(0, l.reach-l.radius) / d
	}
	return min(farthest*l.reach, l.radius+growth*math.Abs(float64(frame)-focus))
}

// from returns how far a place of the merged picture lies from its middle, px.
func (l *highlight) from(x, y int) float64 {
	return math.Hypot(placeSide*float64(x)+middleOfPlace-l.x, placeSide*float64(y)+middleOfPlace-l.y)
}

// near returns the blob at a place of the frame or beside it, 0 for none.
func (h *highlights) near(s *source, x, y int) int32 {
	w, rows := s.w/placeSide, s.h/placeSide
	if x < 0 || y < 0 || x >= w || y >= rows {
		return 0
	}
	if k := h.of[y*w+x]; k > 0 {
		return k
	}
	for v := max(0, y-1); v <= min(rows-1, y+1); v++ {
		for u := max(0, x-1); u <= min(w-1, x+1); u++ {
			if k := h.of[v*w+u]; k > 0 {
				return k
			}
		}
	}
	return 0
}

// find finds the blobs of a frame.
func (h *highlights) find(s *source) {
	w, rows := s.w/placeSide, s.h/placeSide
	if len(h.of) != w*rows {
		h.of = make([]int32, w*rows)
	}
	clear(h.of)
	h.blobs = h.blobs[:0]
	for y := range rows * placeSide {
		row := s.luma[y*s.stride:][:w*placeSide]
		of := h.of[y/placeSide*w:][:w]
		for x := range of {
			if of[x] != 0 || !anyClipped(binary.LittleEndian.Uint32(row[x*placeSide:])) {
				continue
			}
			h.flood(s, y/placeSide*w+x)
		}
	}
}

// anyClipped reports whether one of four pixels is clipped: has its highest bit, and more than
// clippedFrom has in the others.
func anyClipped(four uint32) bool {
	const high, rest, carry = 0x80808080, 0x7f7f7f7f, 0x01010101 * (256 - clippedFrom)
	return (four&rest+carry)&four&high != 0
}

// flood makes the blob that a place belongs to.
func (h *highlights) flood(s *source, from int) {
	w, rows := s.w/placeSide, s.h/placeSide
	b := blob{x0: w, y0: rows}
	k := int32(len(h.blobs) + 1)
	h.open = h.open[:0]
	take := func(x, y int, sum float32) {
		h.of[y*w+x] = k
		h.open = append(h.open, int32(y*w+x))
		b.sum, b.x, b.y = b.sum+sum, b.x+sum*float32(x), b.y+sum*float32(y)
		b.x0, b.x1, b.y0, b.y1 = min(b.x0, x), max(b.x1, x), min(b.y0, y), max(b.y1, y)
		b.places++
	}
	take(from%w, from/w, float32(s.bright(from%w, from/w)))
	for len(h.open) > 0 {
		i := int(h.open[len(h.open)-1])
		h.open = h.open[:len(h.open)-1]
		x, y := i%w, i/w
		for _, to := range [...]struct{ x, y int }{{x - 1, y}, {x + 1, y}, {x, y - 1}, {x, y + 1}} {
			if to.x < 0 || to.y < 0 || to.x >= w || to.y >= rows || h.of[to.y*w+to.x] != 0 {
				continue
			}
			if sum := s.bright(to.x, to.y); sum >= faintPlace {
				take(to.x, to.y, float32(sum))
			}
		}
	}
	b.x, b.y = b.x/b.sum, b.y/b.sum
	h.blobs = append(h.blobs, b)
}

// bright returns by how much the pixels of a place are brighter than brightFrom, in all.
func (s *source) bright(x, y int) (sum int) {
	for v := range placeSide {
		row := s.luma[(y*placeSide+v)*s.stride+x*placeSide:][:placeSide]
		for _, p := range row {
			sum += max(0, int(p)-brightFrom)
		}
	}
	return sum
}
