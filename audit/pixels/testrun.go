package pixels

import (
	"image"
	"math"
)

// A TestRun takes the pictures of a short focus run, in the order made, and estimates by
// how much its blur grows with a frame. Beside what a [Sequence] keeps it holds the
// sharpest patch of each tile, 2 to 4 MB of a picture 1,600 px wide as those of neighbours
// overlap, and the sharpness of tiles at three scales. The zero value is ready for use.
type TestRun struct {
	// StepsOnly, set before the first picture, has the pictures asked for nothing but
	// [TestRun.StepGrowth]: less is measured and kept.
	StepsOnly bool

	seq     Sequence
	side    int // px, of a tile
	frames  []runSharpness
	patches []patch // by tile of the sequence's grid
	kept    patchBlocks
	left    *blurredPatch // of noise; nil until it is asked for
}

// runSharpness is the sharpness of the tiles of one frame.
type runSharpness struct {
	scales [scales][]float32 // by tile, code values²; < 0 where it lies outside
	fine   []float32         // of tiles half as wide, at the finest scale; nil where only steps are asked for
}

// A patch is the place of what a tile shows in the frame in which it is sharpest.
type patch struct {
	energy float32 // 0 where no frame shows all of it
	frame  int     // index into frames of the sequence
	x, y   int     // px, its upper left corner
	// blurred is its sharpness as it is and blurred; nil until it is asked for.
	blurred *blurredPatch
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
	r.seq.placesOnly = r.StepsOnly
	r.seq.Add(m)
	switch now := len(r.seq.frames); {
	case m == nil || now == 0 || r.seq.frames[now-1].index != r.seq.n-1:
		return // not taken
	case now <= before: // the first picture alone was of another size
		*r = TestRun{StepsOnly: r.StepsOnly, seq: r.seq}
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
	p := analysed(img, factor)
	r.side = int(math.Round(float64(g.edge) * g.cellPx))
	if r.patches == nil {
		r.patches = make([]patch, g.cols*g.rows)
	}
	s := g.sharpnessOf(p, place, !r.StepsOnly)
	r.frames = append(r.frames, s)
	side := r.side + 2*patchMargin
	changed := make([]bool, len(r.frames)) // frames whose patches are others now
	for t, e := range s.scales[0] {
		q := &r.patches[t]
		if e <= q.energy {
			continue
		}
		cx, cy := g.centreOf(t, g.edge, place)
		x, y := int(math.Round(cx))-side/2, int(math.Round(cy))-side/2
		if x < 0 || y < 0 || x+side > p.w || y+side > p.h {
			continue
		}
		changed[q.frame], changed[at] = true, true
		*q = patch{energy: e, frame: at, x: x, y: y}
	}
	r.kept.keep(p, r.patches, side, changed)
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

// A bytePlane is a grey picture of whole code values.
type bytePlane struct {
	w, h int
	pix  []uint8
}

// An analysedPicture is the luma of a picture, reduced by a whole number.
type analysedPicture struct {
	w, h int
	// row returns a row; the slice is valid until the call after the next.
	row func(y int) []uint8
}

// analysed returns the luma of a picture reduced by a factor, without a copy where it is 1.
func analysed(img image.Image, factor int) *analysedPicture {
	b := img.Bounds()
	luma := lumaRows(img)
	if factor == 1 {
		return &analysedPicture{b.Dx(), b.Dy(), luma}
	}
	p := bytePlane{w: b.Dx() / factor, h: b.Dy() / factor}
	p.pix = make([]uint8, p.w*p.h)
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
	return &analysedPicture{p.w, p.h, func(y int) []uint8 { return p.pix[y*p.w : (y+1)*p.w] }}
}
