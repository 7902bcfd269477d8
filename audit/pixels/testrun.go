package pixels

import (
	"image"
	"math"
)

// A TestRun takes the pictures of a short focus run, in the order made, and estimates by
// how much its blur grows with a frame. Beside what a [Sequence] keeps it holds the
// sharpest patch of each tile, some 6 KB of a tile and 10 MB of a picture 1,600 px wide,
// and the sharpness of tiles at three scales. The zero value is ready for use.
type TestRun struct {
	seq     Sequence
	side    int // px, of a tile
	frames  []runSharpness
	patches []patch // by tile of the sequence's grid
}

// runSharpness is the sharpness of the tiles of one frame.
type runSharpness struct {
	scales [scales][]float32 // by tile, code values²; < 0 where it lies outside
	fine   []float32         // of tiles half as wide, at the finest scale
}

// A patch is what a tile shows in the frame in which it is sharpest.
type patch struct {
	energy float32
	frame  int // index into frames of the sequence
	pix    []uint8
}

// The scales are those of pixels binned 2 x 2, 4 x 4 and 8 x 8.
const scales = 3

// Add takes the next picture. One that cannot be measured, nil or too small, or one of
// another size keeps the frame's place in the order.
func (r *TestRun) Add(img image.Image) {
	var m *FrameMeasure
	if img != nil {
		m, _ = Measure(img)
	}
	before := len(r.seq.frames)
	r.seq.Add(m)
	switch now := len(r.seq.frames); {
	case m == nil || now == 0 || r.seq.frames[now-1].index != r.seq.n-1:
		return // not taken
	case now <= before: // the first picture alone was of another size
		r.frames, r.patches = nil, nil
	}
	r.read(img, m.Factor)
}

// Judge answers what the pictures prove, as [Sequence.Judge] does.
func (r *TestRun) Judge(th Thresholds, settings []float64) *Judgement {
	return r.seq.Judge(th, settings)
}

// read keeps the sharpness of the last frame's tiles, and the patches that are sharper
// than those before.
func (r *TestRun) read(img image.Image, factor int) {
	g := &r.seq.grid
	at := len(r.seq.frames) - 1
	place := r.seq.frames[at].place
	p := analysedPlane(img, factor)
	r.side = int(math.Round(float64(g.edge) * g.cellPx))
	if r.patches == nil {
		r.patches = make([]patch, g.cols*g.rows)
	}
	var s runSharpness
	bins := p.sums()
	for k := range scales {
		if k > 0 {
			bins = bins.halved()
		}
		sum := bins.sharpness(2 << k)
		s.scales[k] = g.sharpnessOf(sum, g.edge, place)
		if k == 0 {
			s.fine = g.sharpnessOf(sum, fineEdge, place)
		}
	}
	r.frames = append(r.frames, s)
	for t, e := range s.scales[0] {
		if q := &r.patches[t]; e > q.energy {
			x, y := g.centreOf(t, g.edge, place)
			if pix, ok := p.cut(x, y, r.side+2*patchMargin, q.pix); ok {
				*q = patch{energy: e, frame: at, pix: pix}
			}
		}
	}
}

// centreOf returns the middle of tile t, whose side has edge cells, in a frame at a
// place; px.
func (g *tileGrid) centreOf(t, edge int, place Motion) (x, y float64) {
	cols := g.cellCols / edge
	xc := (float64(t%cols)+0.5)*float64(edge) - g.centreX
	yc := (float64(t/cols)+0.5)*float64(edge) - g.centreY
	x = (1+place.Scale)*xc - place.Rotation*yc + g.centreX
	y = place.Rotation*xc + (1+place.Scale)*yc + g.centreY
	return x*g.cellPx + place.ShiftX, y*g.cellPx + place.ShiftY
}

// sharpnessOf returns the mean sharpness of the tiles, whose side has edge cells, in a
// frame.
func (g *tileGrid) sharpnessOf(s *summed, edge int, place Motion) []float32 {
	out := make([]float32, (g.cellCols/edge)*(g.cellRows/edge))
	half := float64(edge) * g.cellPx * (1 + place.Scale) / 2
	for t := range out {
		x, y := g.centreOf(t, edge, place)
		out[t] = s.mean(x-half, y-half, x+half, y+half)
	}
	return out
}

// A bytePlane is a grey picture of whole code values.
type bytePlane struct {
	w, h int
	pix  []uint8
}

// analysedPlane returns the luma of a picture, reduced by a whole number.
func analysedPlane(img image.Image, factor int) bytePlane {
	b := img.Bounds()
	p := bytePlane{w: b.Dx() / factor, h: b.Dy() / factor}
	p.pix = make([]uint8, p.w*p.h)
	luma := lumaRows(img)
	if factor == 1 {
		for y := range p.h {
			copy(p.pix[y*p.w:], luma(y)[:p.w])
		}
		return p
	}
	sum := make([]int, p.w)
	for y := range p.h {
		clear(sum)
		for i := range factor {
			row := luma(y*factor + i)
			for x := range sum {
				for _, v := range row[x*factor : (x+1)*factor] {
					sum[x] += int(v)
				}
			}
		}
		for x, v := range sum {
			p.pix[y*p.w+x] = uint8((v + factor*factor/2) / (factor * factor))
		}
	}
	return p
}

// cut copies the square of the given side around a point; not ok where it does not lie
// within the picture. It uses what it is given.
func (p *bytePlane) cut(x, y float64, side int, into []uint8) ([]uint8, bool) {
	x0, y0 := int(math.Round(x))-side/2, int(math.Round(y))-side/2
	if x0 < 0 || y0 < 0 || x0+side > p.w || y0+side > p.h {
		return into, false
	}
	if into == nil {
		into = make([]uint8, side*side)
	}
	for row := range side {
		copy(into[row*side:(row+1)*side], p.pix[(y0+row)*p.w+x0:])
	}
	return into, true
}

// A summed map returns means over rectangles.
type summed struct {
	w, h, bin int
	sum       []float64 // (w+1) x (h+1)
}

// binSums is a picture binned to squares: the sum of each.
type binSums struct {
	w, h int
	v    []float32
}

// sums bins a picture 2 x 2.
func (p *bytePlane) sums() *binSums {
	s := &binSums{w: p.w / 2, h: p.h / 2}
	s.v = make([]float32, s.w*s.h)
	for y := range s.h {
		a, b := p.pix[2*y*p.w:(2*y+1)*p.w], p.pix[(2*y+1)*p.w:(2*y+2)*p.w]
		row := s.v[y*s.w : (y+1)*s.w]
		for x := range row {
			row[x] = float32(int(a[2*x]) + int(a[2*x+1]) + int(b[2*x]) + int(b[2*x+1]))
		}
	}
	return s
}

// halved bins by two more.
func (s *binSums) halved() *binSums {
	out := &binSums{w: s.w / 2, h: s.h / 2}
	out.v = make([]float32, out.w*out.h)
	for y := range out.h {
		a, b := s.v[2*y*s.w:(2*y+1)*s.w], s.v[(2*y+1)*s.w:(2*y+2)*s.w]
		row := out.v[y*out.w : (y+1)*out.w]
		for x := range row {
			row[x] = a[2*x] + a[2*x+1] + b[2*x] + b[2*x+1]
		}
	}
	return out
}

// sharpnessSum sums the sharpness of a picture binned to squares.
func sharpnessSum(width, height, bin int, at func(x, y int) float32) *summed {
	s := &binSums{w: width / bin, h: height / bin}
	s.v = make([]float32, s.w*s.h)
	for y := range s.h * bin {
		row := s.v[y/bin*s.w : (y/bin+1)*s.w]
		for x := range s.w * bin {
			row[x/bin] += at(x, y)
		}
	}
	return s.sharpness(bin)
}

// sharpness sums the squared modified Laplacian of the squares, of bin px each; the border
// is its own neighbour.
func (b *binSums) sharpness(bin int) *summed {
	s := &summed{w: b.w, h: b.h, bin: bin}
	s.sum = make([]float64, (s.w+1)*(s.h+1))
	share := 1 / float32(bin*bin)
	for y := range s.h {
		v := b.v[y*s.w : (y+1)*s.w]
		up, down := b.v[max(0, y-1)*s.w:][:s.w], b.v[min(s.h-1, y+1)*s.w:][:s.w]
		before, sums := s.sum[y*(s.w+1)+1:][:s.w], s.sum[(y+1)*(s.w+1)+1:][:s.w]
		line := 0.0
		left := float32(0)
		if s.w > 0 {
			left = v[0]
		}
		for x, at := range v {
			right := v[min(s.w-1, x+1)]
			l := share * (abs(2*at-left-right) + abs(2*at-up[x]-down[x]))
			line += float64(l * l)
			sums[x] = before[x] + line
			left = at
		}
	}
	return s
}

func abs(v float32) float32 { return max(v, -v) }

// mean returns the mean over a rectangle in px, its parts of squares too; -1 where it
// does not lie within the picture, but for a sliver.
func (s *summed) mean(x0, y0, x1, y1 float64) float32 {
	b := float64(s.bin)
	x0, y0, x1, y1 = x0/b, y0/b, x1/b, y1/b
	slack := 2 * sliver
	if x0 < -slack || y0 < -slack || x1 > float64(s.w)+slack || y1 > float64(s.h)+slack {
		return -1
	}
	x0, y0, x1, y1 = max(0, x0), max(0, y0), min(float64(s.w), x1), min(float64(s.h), y1)
	at := func(x, y float64) float64 {
		ix, iy := min(int(x), s.w-1), min(int(y), s.h-1)
		fx, fy := x-float64(ix), y-float64(iy)
		i := iy*(s.w+1) + ix
		top := s.sum[i] + fx*(s.sum[i+1]-s.sum[i])
		bottom := s.sum[i+s.w+1] + fx*(s.sum[i+s.w+2]-s.sum[i+s.w+1])
		return top + fy*(bottom-top)
	}
	return float32((at(x1, y1) - at(x0, y1) - at(x1, y0) + at(x0, y0)) / ((x1 - x0) * (y1 - y0)))
}
