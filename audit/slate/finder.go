package slate

import (
	"cmp"
	"image"
	"math"
	"slices"
)

// A grey is a picture of one byte a pixel.
type grey struct {
	w, h, stride int
	pix          []uint8
}

func greyOf(m *image.Gray) grey {
	return grey{m.Rect.Dx(), m.Rect.Dy(), m.Stride, m.Pix[m.PixOffset(m.Rect.Min.X, m.Rect.Min.Y):]}
}

// Reduced returns the picture, halved until its long side is at most side pixels.
func Reduced(m *image.Gray, side int) *image.Gray {
	g := greyOf(m)
	if max(g.w, g.h) <= side {
		return m
	}
	for max(g.w, g.h) > side {
		g = g.halved()
	}
	return &image.Gray{Pix: g.pix, Stride: g.stride, Rect: image.Rect(0, 0, g.w, g.h)}
}

// halved returns the picture at half the size, each pixel the mean of four.
func (g grey) halved() grey {
	w, h := g.w/2, g.h/2
	out := grey{w, h, w, make([]uint8, w*h)}
	for y := range h {
		a, b := g.pix[2*y*g.stride:], g.pix[(2*y+1)*g.stride:]
		row := out.pix[y*w : (y+1)*w]
		for x := range row {
			row[x] = uint8((int(a[2*x]) + int(a[2*x+1]) + int(b[2*x]) + int(b[2*x+1]) + 2) >> 2)
		}
	}
	return out
}

// window is the edge, in pixels, of the square whose mean decides what is dark. A
// finder pattern is 7 modules wide, and modules are searched for at 2 to 4 px.
const window = 24

// dark returns 1 for each pixel that is darker than the mean around it, by a margin
// that noise on plain areas does not pass often.
func (g grey) dark() []uint8 {
	const margin = 3 // of 255
	w, h := g.w, g.h
	bits := make([]uint8, w*h)
	columns := make([]int32, w) // sums over the rows of the window
	top, bottom := 0, 0         // rows in the sums, bottom not included
	for y := range h {
		for ; bottom < min(h, y+window/2+1); bottom++ {
			for x, v := range g.pix[bottom*g.stride : bottom*g.stride+w] {
				columns[x] += int32(v)
			}
		}
		for ; top < y-window/2; top++ {
			for x, v := range g.pix[top*g.stride : top*g.stride+w] {
				columns[x] -= int32(v)
			}
		}
		rows := int32(bottom - top)
		var sum, left, right int32
		row, out := g.pix[y*g.stride:y*g.stride+w], bits[y*w:(y+1)*w]
		for x := range w {
			for ; right < min(int32(w), int32(x)+window/2+1); right++ {
				sum += columns[right]
			}
			for ; left < int32(x)-window/2; left++ {
				sum -= columns[left]
			}
			if (int32(row[x])+margin)*rows*(right-left) < sum {
				out[x] = 1
			}
		}
	}
	return bits
}

// A finder is one of the three squares in the corners of a code.
type finder struct {
	x, y   float64 // its middle, in pixels of the whole picture
	module float64 // px
	seen   int     // lines that crossed it
}

// runs5 are the lengths of five runs of dark and light in turn.
type runs5 [5]int

// module returns the width of a module where the runs are as 1:1:3:1:1 to within
// what blur and tilt do to them, else 0.
func (r runs5) module() float64 {
	total := r[0] + r[1] + r[2] + r[3] + r[4]
	if total < 10 || r[0] == 0 || r[1] == 0 || r[2] == 0 || r[3] == 0 || r[4] == 0 {
		return 0
	}
	m := float64(total) / 7
	for i, n := range r {
		want, slack := m, 0.75*m+0.5
		if i == 2 {
			want, slack = 3*m, 1.3*m+0.5
		}
		if math.Abs(float64(n)-want) > slack {
			return 0
		}
	}
	return m
}

// search returns the finders seen in a picture; scale is the width of its pixels in
// those of the whole picture.
func (g grey) search(scale float64) []finder {
	if g.w < window || g.h < window {
		return nil
	}
	bits := g.dark()
	var found []finder
	for y := 0; y < g.h; y += 2 {
		row := bits[y*g.w : (y+1)*g.w]
		var r runs5 // the last five runs, the last of them dark
		start := 0
		for x := 1; x <= g.w; x++ {
			if x < g.w && row[x] == row[x-1] {
				continue
			}
			r[0], r[1], r[2], r[3], r[4] = r[1], r[2], r[3], r[4], x-start
			start = x
			if row[x-1] == 0 {
				continue
			}
			if m := r.module(); m > 0 {
				middle := float64(x) - float64(r[4]+r[3]) - float64(r[2])/2
				if f, ok := g.cross(bits, middle, float64(y), m); ok {
					found = add(found, finder{(f.x + 0.5) * scale, (f.y + 0.5) * scale, f.module * scale, 1})
				}
			}
		}
	}
	return found
}

// cross confirms a finder along the column through its middle, along the row through
// the middle that this gives, and along a diagonal.
func (g grey) cross(bits []uint8, x, y, module float64) (finder, bool) {
	column, off, ok := g.along(bits, int(x), int(y), 0, 1, module)
	if !ok || column > 2.2*module || module > 2.2*column {
		return finder{}, false
	}
	y += off
	row, off, ok := g.along(bits, int(x), int(y), 1, 0, module)
	if !ok {
		return finder{}, false
	}
	x += off
	_, _, one := g.along(bits, int(x), int(y), 1, 1, module)
	_, _, other := g.along(bits, int(x), int(y), 1, -1, module)
	if !one && !other {
		return finder{}, false
	}
	return finder{x: x, y: y, module: (row + column) / 2}, true
}

// along counts the five runs through a pixel in a direction. It returns the module
// and how far the middle of the dark run in the middle lies from the pixel.
func (g grey) along(bits []uint8, x, y, dx, dy int, module float64) (m, off float64, ok bool) {
	at := func(i int) int {
		px, py := x+i*dx, y+i*dy
		if px < 0 || py < 0 || px >= g.w || py >= g.h {
			return -1
		}
		return int(bits[py*g.w+px])
	}
	if at(0) != 1 {
		return 0, 0, false
	}
	limit := int(6*module) + 3
	var r runs5
	var ends [2]int // of the run in the middle
	for side, step := range [2]int{-1, 1} {
		i, n := step, 0
		for ; at(i) == 1 && n < limit; i, n = i+step, n+1 {
		}
		r[2] += n
		ends[side] = i
		for k, want := range [2]int{0, 1} {
			n = 0
			for ; at(i) == want && n < limit; i, n = i+step, n+1 {
			}
			r[2+step*(1+k)] = n
		}
	}
	r[2]++
	m = r.module()
	return m, float64(ends[0]+ends[1]) / 2, m > 0
}

// add joins a finder to the list: to the one in its place, or as one more.
func add(list []finder, f finder) []finder {
	for i := range list {
		o := &list[i]
		if math.Hypot(o.x-f.x, o.y-f.y) < 2*math.Max(o.module, f.module) && f.module < 1.7*o.module && o.module < 1.7*f.module {
			n := float64(o.seen)
			o.x, o.y, o.module = (n*o.x+f.x)/(n+1), (n*o.y+f.y)/(n+1), (n*o.module+f.module)/(n+1)
			o.seen++
			return list
		}
	}
	return append(list, f)
}

// A triple is three finders that may be the corners of one code: top left, top right
// and bottom left.
type triple struct {
	corner, right, below finder
	misfit               float64
}

// legs are the modules between the middles of two finders along a side.
const legs = Modules - 7

// triples returns the likely corners among the finders, the best first.
func triples(list []finder) []triple {
	slices.SortStableFunc(list, func(a, b finder) int { return cmp.Compare(b.seen, a.seen) })
	list = list[:min(len(list), 30)]
	var found []triple
	for i := range list {
		for j := range list {
			for k := j + 1; k < len(list); k++ {
				if i == j || i == k {
					continue
				}
				if t, ok := cornered(list[i], list[j], list[k]); ok {
					found = append(found, t)
				}
			}
		}
	}
	slices.SortStableFunc(found, func(a, b triple) int { return cmp.Compare(a.misfit, b.misfit) })
	return found[:min(len(found), 12)]
}

// cornered reports whether a is the corner of a code with the others at the ends of
// its sides: a side tilted away by 45 degrees is as long as 0.7 of one that is not,
// and shows its modules as narrow.
func cornered(a, b, c finder) (triple, bool) {
	bx, by, cx, cy := b.x-a.x, b.y-a.y, c.x-a.x, c.y-a.y
	if bx*cy-by*cx < 0 { // a code is not seen from behind
		b, c = c, b
		bx, by, cx, cy = cx, cy, bx, by
	}
	one, two := math.Hypot(bx, by), math.Hypot(cx, cy)
	small := min(a.module, b.module, c.module)
	large := max(a.module, b.module, c.module)
	module := (a.module + b.module + c.module) / 3
	cos := (bx*cx + by*cy) / (one * two)
	if large > 1.9*small || one > 1.8*two || two > 1.8*one || math.Abs(cos) > 0.55 {
		return triple{}, false
	}
	across := (one + two) / 2 / module / legs
	if across < 0.55 || across > 1.6 {
		return triple{}, false
	}
	misfit := math.Abs(math.Log(one/two)) + math.Abs(cos) + math.Abs(math.Log(across)) + math.Log(large/small)
	return triple{a, b, c, misfit - 0.02*float64(min(a.seen, b.seen, c.seen))}, true
}
