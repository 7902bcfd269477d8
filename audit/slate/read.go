package slate

import (
	"image"
	"math"
	"slices"
	"strings"

	"github.com/makiuchi-d/gozxing/qrcode/decoder"
)

// A Reading is what a picture shows of a slate.
type Reading struct {
	// Text is the text of the code, as [Text] makes it; empty where none was read.
	Text string
	// Unread reports that a code is likely there and could not be read.
	Unread bool
}

// Read searches a picture for the code of a slate. It needs a code of a tenth of the
// picture's width and more, whose blur is at most one and a half modules wide, on a
// picture of at least 1,200 px along its long side. Codes with other texts, and codes
// of other versions, are no slates.
func Read(m *image.Gray) Reading {
	levels := []grey{greyOf(m)}
	var found []finder
	for scale := 2.0; scale <= 8; scale *= 2 {
		g := levels[len(levels)-1].halved()
		levels = append(levels, g)
		for _, f := range g.search(scale) {
			found = join(found, f)
		}
	}
	candidates := triples(found)
	if len(candidates) == 0 && len(found) >= 2 { // small codes and torn finders
		for _, f := range levels[0].search(1) {
			found = join(found, f)
		}
		candidates = triples(found)
	}
	var r Reading
	for _, t := range candidates {
		p := levels[0].place(t)
		if p.score < likely {
			continue
		}
		if text := levels[0].decode(p); text != "" {
			return Reading{Text: text}
		}
		r.Unread = true
	}
	return r
}

// join adds a finder of another level to the list. The finer level came first and
// places it better.
func join(list []finder, f finder) []finder {
	for i := range list {
		o := &list[i]
		if math.Hypot(o.x-f.x, o.y-f.y) < 2*math.Max(o.module, f.module) && f.module < 1.7*o.module && o.module < 1.7*f.module {
			o.seen += f.seen
			return list
		}
	}
	return append(list, f)
}

// likely is the share of the agreement of a perfect code, in its fixed patterns, from
// which a code is likely there.
const likely = 0.45

// A place is where a code lies in the picture: the map from modules to pixels.
type place struct {
	corners [4][2]float64 // of the middles of the three finders and of the fourth corner
	to      homography
	score   float64
}

// fixed are the modules that every code of the version shares, with the sign that
// their light has: the finders with their margins, the timing patterns and the
// alignment pattern (ISO/IEC 18004:2015, 6.3).
var fixed = func() (list []fixedModule) {
	add := func(x, y int, isDark bool) {
		light := 1.0
		if isDark {
			light = -1
		}
		list = append(list, fixedModule{float64(x) + 0.5, float64(y) + 0.5, light})
	}
	ring := func(cx, cy, r int, isDark bool) {
		for y := -r; y <= r; y++ {
			for x := -r; x <= r; x++ {
				if max(x, -x, y, -y) == r {
					add(cx+x, cy+y, isDark)
				}
			}
		}
	}
	for _, c := range [3][2]int{{3, 3}, {Modules - 4, 3}, {3, Modules - 4}} {
		ring(c[0], c[1], 0, true)
		ring(c[0], c[1], 1, true)
		ring(c[0], c[1], 2, false)
		ring(c[0], c[1], 3, true)
	}
	for i := 8; i < Modules-8; i++ {
		add(i, 6, i%2 == 0)
		add(6, i, i%2 == 0)
	}
	const align = Modules - 7
	for range 2 { // it alone holds the fourth corner
		ring(align, align, 0, true)
		ring(align, align, 1, false)
		ring(align, align, 2, true)
	}
	return list
}()

type fixedModule struct{ x, y, light float64 }

// agreement returns how well the fixed modules agree with the picture under a map, as
// the correlation of their light with what they must show, -1 to 1.
func (g grey) agreement(h homography) float64 {
	var n, sx, sy, sxx, syy, sxy float64
	for _, f := range fixed {
		x, y := h.apply(f.x, f.y)
		v, ok := g.at(x, y)
		if !ok {
			return -1
		}
		n, sx, sy, sxx, syy, sxy = n+1, sx+v, sy+f.light, sxx+v*v, syy+f.light*f.light, sxy+v*f.light
	}
	vx, vy := sxx-sx*sx/n, syy-sy*sy/n
	if vx < n { // less than one code value of contrast
		return -1
	}
	return (sxy - sx*sy/n) / math.Sqrt(vx*vy)
}

// at returns the light at a point, between four pixels; the middle of the first pixel
// is at 0.5.
func (g grey) at(x, y float64) (float64, bool) {
	x, y = x-0.5, y-0.5
	ix, iy := int(math.Floor(x)), int(math.Floor(y))
	if ix < 0 || iy < 0 || ix >= g.w-1 || iy >= g.h-1 {
		return 0, false
	}
	fx, fy := x-float64(ix), y-float64(iy)
	a, b := g.pix[iy*g.stride+ix:], g.pix[(iy+1)*g.stride+ix:]
	return (float64(a[0])*(1-fx)+float64(a[1])*fx)*(1-fy) + (float64(b[0])*(1-fx)+float64(b[1])*fx)*fy, true
}

// place finds the map for three finders: it searches the fourth corner, up to seven
// modules around where a code without perspective has it, then moves all four.
func (g grey) place(t triple) place {
	p := place{corners: [4][2]float64{
		{t.corner.x, t.corner.y},
		{t.right.x, t.right.y},
		{t.below.x, t.below.y},
		{t.right.x + t.below.x - t.corner.x, t.right.y + t.below.y - t.corner.y},
	}, score: -2}
	side := [2]float64{(t.right.x - t.corner.x) / legs, (t.right.y - t.corner.y) / legs}
	down := [2]float64{(t.below.x - t.corner.x) / legs, (t.below.y - t.corner.y) / legs}
	moved := func(c [4][2]float64, corner int, i, j float64) [4][2]float64 {
		c[corner][0] += i*side[0] + j*down[0]
		c[corner][1] += i*side[1] + j*down[1]
		return c
	}
	try := func(c [4][2]float64) bool {
		h, ok := toCorners(c)
		if !ok {
			return false
		}
		if s := g.agreement(h); s > p.score {
			p.corners, p.to, p.score = c, h, s
			return true
		}
		return false
	}
	first := p.corners
	for i := -7.0; i <= 7; i++ {
		for j := -7.0; j <= 7; j++ {
			try(moved(first, 3, i, j))
		}
	}
	if p.score < likely/2 {
		return p // what is so far off comes no nearer
	}
	for step := 0.5; step > 0.05; step /= 2 {
		for better, rounds := true, 0; better && rounds < 8; rounds++ {
			better = false
			for corner := range 4 {
				for _, d := range [4][2]float64{{step, 0}, {-step, 0}, {0, step}, {0, -step}} {
					if try(moved(p.corners, corner, d[0], d[1])) {
						better = true
					}
				}
			}
		}
	}
	return p
}

// The crop that a code is decoded from: the pixels along a module, and the margin.
const (
	cropModule = 8
	cropMargin = 2 // modules
	cropSide   = (Modules + 2*cropMargin) * cropModule
)

// decode returns the text of the code at a place, "" where there is none of ours. The
// crop is tried as it is and with its edges raised more and more, since blur takes
// contrast from single modules.
func (g grey) decode(p place) string {
	crop := make([]float32, cropSide*cropSide)
	for y := range cropSide {
		for x := range cropSide {
			px, py := p.to.apply((float64(x)+0.5)/cropModule-cropMargin, (float64(y)+0.5)/cropModule-cropMargin)
			v, _ := g.at(min(max(px, 0.5), float64(g.w)-1), min(max(py, 0.5), float64(g.h)-1))
			crop[y*cropSide+x] = float32(v)
		}
	}
	d := decoder.NewDecoder()
	var last [][]bool
	for _, radius := range []int{cropModule, 3 * cropModule / 2} {
		soft := boxed(boxed(crop, cropSide, radius/2), cropSide, radius/2)
		for _, strength := range []float32{0, 1.5, 3, 6} {
			if strength == 0 && radius != cropModule {
				continue
			}
			sharp := slices.Clone(crop)
			for i, v := range crop {
				sharp[i] = v + strength*(v-soft[i])
			}
			light := modules(sharp)
			for _, bits := range [][][]bool{
				darker(light, modules(boxed(sharp, cropSide, 5*cropModule/2))),
				darker(light, modules(boxed(sharp, cropSide, 11*cropModule/2))),
				darker(light, middles(light, 2)),
				darker(light, middles(light, 1)),
			} {
				if last != nil && slices.EqualFunc(bits, last, slices.Equal) {
					continue
				}
				last = bits
				result, err := d.DecodeBoolMapWithoutHint(bits)
				if err != nil {
					continue
				}
				if text := strings.Clone(result.GetText()); Valid(text) {
					return text
				}
			}
		}
	}
	return ""
}

// modules returns the light in the middle of each module of a crop, row by row.
func modules(crop []float32) []float32 {
	light := make([]float32, 0, Modules*Modules)
	for y := range Modules {
		for x := range Modules {
			var v float32
			for dy := -1; dy <= 1; dy++ {
				for dx := -1; dx <= 1; dx++ {
					v += crop[((y+cropMargin)*cropModule+cropModule/2+dy)*cropSide+(x+cropMargin)*cropModule+cropModule/2+dx]
				}
			}
			light = append(light, v/9)
		}
	}
	return light
}

// middles returns, for each module, the level halfway between the lightest and the
// darkest module up to r modules away. It follows the edge of a shadow.
func middles(light []float32, r int) []float32 {
	levels := make([]float32, len(light))
	for y := range Modules {
		for x := range Modules {
			low, high := light[y*Modules+x], light[y*Modules+x]
			for j := max(0, y-r); j <= min(Modules-1, y+r); j++ {
				for _, v := range light[j*Modules+max(0, x-r) : j*Modules+min(Modules-1, x+r)+1] {
					low, high = min(low, v), max(high, v)
				}
			}
			levels[y*Modules+x] = (low + high) / 2
		}
	}
	return levels
}

// darker returns which modules are darker than their levels.
func darker(light, levels []float32) [][]bool {
	rows := make([][]bool, Modules)
	for y := range rows {
		rows[y] = make([]bool, Modules)
		for x := range rows[y] {
			rows[y][x] = light[y*Modules+x] < levels[y*Modules+x]
		}
	}
	return rows
}

// boxed returns a square picture averaged over squares of 2r+1.
func boxed(pix []float32, side, r int) []float32 {
	out, line := make([]float32, len(pix)), make([]float32, side+1)
	pass := func(get func(i int) float32, set func(i int, v float32)) {
		for i := range side {
			line[i+1] = line[i] + get(i)
		}
		for i := range side {
			a, b := max(0, i-r), min(side, i+r+1)
			set(i, (line[b]-line[a])/float32(b-a))
		}
	}
	for y := range side {
		row := out[y*side:]
		pass(func(i int) float32 { return pix[y*side+i] }, func(i int, v float32) { row[i] = v })
	}
	for x := range side {
		pass(func(i int) float32 { return out[i*side+x] }, func(i int, v float32) { out[i*side+x] = v })
	}
	return out
}

// A homography maps modules to pixels: the last of the nine numbers is 1.
type homography [8]float64

func (h homography) apply(x, y float64) (float64, float64) {
	z := h[6]*x + h[7]*y + 1
	return (h[0]*x + h[1]*y + h[2]) / z, (h[3]*x + h[4]*y + h[5]) / z
}

// toCorners returns the map that takes the middles of the finders, and the point that
// completes their square, to four points. It solves the eight linear equations by
// elimination.
func toCorners(to [4][2]float64) (homography, bool) {
	const near, far = 3.5, Modules - 3.5
	from := [4][2]float64{{near, near}, {far, near}, {near, far}, {far, far}}
	var m [8][9]float64
	for i := range 4 {
		x, y, u, v := from[i][0], from[i][1], to[i][0], to[i][1]
		m[2*i] = [9]float64{x, y, 1, 0, 0, 0, -u * x, -u * y, u}
		m[2*i+1] = [9]float64{0, 0, 0, x, y, 1, -v * x, -v * y, v}
	}
	for c := range 8 {
		pivot := c
		for r := c + 1; r < 8; r++ {
			if math.Abs(m[r][c]) > math.Abs(m[pivot][c]) {
				pivot = r
			}
		}
		if math.Abs(m[pivot][c]) < 1e-12 {
			return homography{}, false
		}
		m[c], m[pivot] = m[pivot], m[c]
		for r := range 8 {
			if r == c {
				continue
			}
			f := m[r][c] / m[c][c]
			for k := c; k < 9; k++ {
				m[r][k] -= f * m[c][k]
			}
		}
	}
	var h homography
	for i := range h {
		h[i] = m[i][8] / m[i][i]
	}
	return h, true
}
