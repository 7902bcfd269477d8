package pixels

import (
	"maps"
	"math"
	"slices"
)

// A Still is what is kept of one frame of a short run, to compare it with other frames of
// the same view: 70 KB.
type Still struct {
	Frame         int // in the order added
	Width, Height int // of the small picture
	Luma          []byte
	Cells         CellGrid
	// Sharpness is ln of the focus measure in steps of 1/16, cell by cell, row by row; 0 where
	// a cell is clipped or too dark to be compared.
	Sharpness []byte
}

// A CellGrid is where the cells of a picture lie.
type CellGrid struct {
	Cols, Rows       int
	Edge             float64 // px
	CentreX, CentreY float64 // the point that motions refer to, cells
}

// still keeps a frame by itself.
func (m *FrameMeasure) still(index int) Still {
	g, c := newGrid(m), &m.cells
	s := Still{
		Frame: index, Width: m.small.w, Height: m.small.h, Luma: m.small.bytes(),
		Cells:     CellGrid{Cols: c.cols, Rows: c.rows, Edge: g.cellPx, CentreX: g.centreX, CentreY: g.centreY},
		Sharpness: make([]byte, len(c.energy)),
	}
	for i, e := range c.energy {
		if float64(c.clipped[i]) <= 255*clippedTile && c.luma[i] >= 256*darkTile {
			s.Sharpness[i] = lnSharpness(float64(e))
		}
	}
	return s
}

// keepStill keeps a frame by itself as long as there are few.
func (s *Sequence) keepStill(m *FrameMeasure, index int) {
	switch {
	case index >= stillFrames, s.placesOnly:
		s.stills = nil
	case m != nil:
		s.stills = append(s.stills, m.still(index))
	}
}

// valid reports whether a still is whole: it may come from a file.
func (s *Still) valid() bool {
	c := &s.Cells
	return s.Width >= 2*blockSide && s.Height >= 2*blockSide && s.Width <= maxViewSide && s.Height <= maxViewSide && len(s.Luma) == s.Width*s.Height &&
		c.Cols > 0 && c.Rows > 0 && c.Cols <= maxViewSide && c.Rows <= maxViewSide && len(s.Sharpness) == c.Cols*c.Rows && c.Edge > 0 && c.CentreX > 0 && c.CentreY > 0
}

// fits reports whether two stills are whole and of pictures of one size.
func (s *Still) fits(o *Still) bool {
	return s.valid() && o.valid() && s.Cells == o.Cells && s.Width == o.Width && s.Height == o.Height
}

// at returns the mean focus measure over a square around a place, px from the middle; it is
// not ok where part of it cannot be compared.
func (s *Still) at(x, y, side float64) (energy float64, ok bool) {
	c := &s.Cells
	x, y, half := x/c.Edge+c.CentreX, y/c.Edge+c.CentreY, side/c.Edge/2
	x0, y0, x1, y1 := x-half, y-half, x+half, y+half
	if !(x0 >= 0 && y0 >= 0 && x1 <= float64(c.Cols) && y1 <= float64(c.Rows)) {
		return 0, false
	}
	var sum, area float64
	for row := int(y0); row < c.Rows && float64(row) < y1; row++ {
		h := min(y1, float64(row+1)) - max(y0, float64(row))
		for col := int(x0); col < c.Cols && float64(col) < x1; col++ {
			w := h * (min(x1, float64(col+1)) - max(x0, float64(col)))
			b := s.Sharpness[row*c.Cols+col]
			if w < stillSliver {
				continue
			}
			if b == 0 {
				return 0, false
			}
			sum += w * sharpnessOf[b]
			area += w
		}
	}
	return sum / area, area > 0
}

// sharpnessOf gives the focus measure that a byte of ln stands for.
var sharpnessOf = func() (t [256]float64) {
	for b := range t {
		t[b] = math.Exp((float64(b)-1)/glanceSteps + glanceLeast)
	}
	return t
}()

// A stillView is a still with what is computed of it to compare it.
type stillView struct {
	*Still
	View             // plain parts have no Peak
	detail []float64 // variance of each block's coarse detail, code values²
	noise  float64   // what plain parts have of the focus measure, code values²; 0 where there are too few
}

func (s *Still) compared() stillView {
	v := s.seen(0)
	var plain []float64
	for i, b := range s.Sharpness {
		x, y := float64(i%s.Cells.Cols)+0.5-s.Cells.CentreX, float64(i/s.Cells.Cols)+0.5-s.Cells.CentreY
		if b != 0 && v.detailAt(x*s.Cells.Edge, y*s.Cells.Edge) < detailBlock*detailBlock {
			plain = append(plain, sharpnessOf[b])
		}
	}
	if float64(len(plain)) >= stillPlain*float64(len(s.Sharpness)) {
		v.noise = median(plain)
	}
	return v
}

// detailAt returns the variance of what is coarser than noise around a place, px from the
// middle.
func (v *stillView) detailAt(x, y float64) float64 {
	cols, rows := v.blocks()
	px := v.px() * blockSide
	col, row := int((x+v.Cells.CentreX*v.Cells.Edge)/px), int((y+v.Cells.CentreY*v.Cells.Edge)/px)
	return v.detail[min(rows-1, max(0, row))*cols+min(cols-1, max(0, col))]
}

// px is the size of a pixel of the small picture.
func (s *Still) px() float64 { return 2 * s.Cells.CentreX * s.Cells.Edge / float64(s.Width) }

// A spot is how sharp a place is in what a still is compared with: px from the middle, and
// the focus measure beyond the noise.
type spot struct{ x, y, energy float64 }

// spots are the tiles of a still.
func (v *stillView) spots() (list []spot) {
	c := &v.Cells
	for row := range c.Rows / stillTile {
		for col := range c.Cols / stillTile {
			x, y := ((float64(col)+0.5)*stillTile-c.CentreX)*c.Edge, ((float64(row)+0.5)*stillTile-c.CentreY)*c.Edge
			if e, ok := v.at(x, y, v.side()); ok {
				list = append(list, spot{x, y, v.beyondNoise(e)})
			}
		}
	}
	return list
}

// side is that of a tile, px.
func (s *Still) side() float64 { return stillTile * s.Cells.Edge }

// A Softness reports whether a frame is softer than what shows the same view. Found means
// that it loses detail over most of what the other shows sharply, and is as sharp nowhere;
// Fine that it does not.
type Softness struct {
	Verdict
	Loss  float64 // of the focus measure, 0 to 1 (median of the tiles)
	Tiles int
	EV    float64 // by how much brighter the frame is
	Box   Box     // a place that the other shows sharply
}

// SofterThan asks whether the frame is softer than another one. Where the two do not show
// the same view that cannot be known.
func (s *Still) SofterThan(o *Still) Softness {
	if !s.fits(o) {
		return Softness{Verdict: cannot(ReasonNoView)}
	}
	v, w := s.compared(), o.compared()
	mo, brighter, why := v.from(&w)
	if why != "" {
		return Softness{Verdict: cannot(why)}
	}
	t := v.losses(&w, w.spots(), mo, brighter)
	// Where noise hides nearly all texture, what rises above it are highlights, which are as bright in
	// less light, and the one may be as sharp as the other elsewhere.
	if len(t.ln) < stillTiles || t.drowned > stillDrowned*len(t.ln) {
		return Softness{Verdict: cannot(ReasonTexture)}
	}
	// What is out of focus in both is as soft in both: elsewhere the other must lose.
	sharper := t.largest(func(ln float64) bool { return ln < -stillSharper })
	elsewhere := float64(sharper) > max(stillSharperTiles, stillSharperShare*float64(len(t.ln)))
	x := t.answer(t.finest(), elsewhere)
	x.EV = toneSlope * math.Log2(brighter)
	return x
}

// shownBy reports whether a run shows the same view.
func (s *Still) shownBy(j *Judgement) bool {
	o := j.stillAs(s)
	if !s.fits(o) {
		return false
	}
	v, w := s.seen(0), o.seen(0)
	_, _, why := v.from(&w)
	return why == ""
}

// tileLosses are the losses of tiles against what a still is compared with, ln of the focus
// measure, by their places.
type tileLosses struct {
	ln   map[[2]int]float64
	fine map[[2]int]float64 // how much finer than coarse the detail of the other is
	// drowned is in how many more places noise hides how sharp they are.
	drowned int
	box     Box // around the sharpest place that is softer
}

// losses reads the still where the spots of another picture lie in it. Those count around
// which the other picture has detail. What light that comes from elsewhere, haze or a tone curve takes
// from the contrast of all detail alike is no blur: it is known by the coarse detail, and taken out.
func (v *stillView) losses(w *stillView, of []spot, mo Motion, brighter float64) (t tileLosses) {
	t.ln, t.fine = make(map[[2]int]float64, len(of)), make(map[[2]int]float64, len(of))
	side := v.side()
	coarseW, coarseV := w.seen(stillCoarse), v.seen(stillCoarse)
	var best spot
	var contrast []float64
	for _, p := range of {
		x, y := (1+mo.Scale)*p.x-mo.Rotation*p.y+mo.ShiftX, mo.Rotation*p.x+(1+mo.Scale)*p.y+mo.ShiftY
		e, ok := v.at(x, y, side)
		e = v.beyondNoise(e) / (brighter * brighter)
		detail, sharper := w.detailAt(p.x, p.y), max(e, p.energy)
		if !ok || detail < detailBlock*detailBlock || sharper < stillEnergy*DefaultThresholds().MinEnergy {
			continue
		}
		if sharper < max(v.noise, w.noise) {
			t.drowned++
			continue
		}
		ln := math.Log(p.energy / e)
		at := [2]int{int(math.Floor(p.x / side)), int(math.Floor(p.y / side))}
		t.ln[at], t.fine[at] = ln, p.energy/detail
		coarse := max(coarseW.detailAt(p.x, p.y), leastEnergy) / max(coarseV.detailAt(x, y), leastEnergy)
		contrast = append(contrast, math.Log(coarse*brighter*brighter))
		if ln >= stillLoss && p.energy > best.energy {
			best = p
		}
	}
	if len(contrast) > 0 {
		flatter := median(contrast)
		for at := range t.ln {
			t.ln[at] -= flatter
		}
	}
	c := &v.Cells
	x, y, around := best.x+c.CentreX*c.Edge, best.y+c.CentreY*c.Edge, 1.5*side
	width, height := float64(c.Cols)*c.Edge, float64(c.Rows)*c.Edge
	t.box = Box{X0: max(0, x-around) / width, Y0: max(0, y-around) / height, X1: min(width, x+around) / width, Y1: min(height, y+around) / height}
	return t
}

// answer decides by the losses of some tiles: soft where their median loses enough, and nearly
// all of them lose, unless the frame is sharper elsewhere.
func (t *tileLosses) answer(losses []float64, elsewhere bool) Softness {
	middle := median(losses)
	soft := !elsewhere && middle >= stillLoss && percentile(losses, stillNearlyAll) >= stillLossLeast
	s := Softness{Verdict: decided(soft), Loss: max(0, 1-math.Exp(-middle)), Tiles: len(losses)}
	if soft {
		s.Box = t.box
	}
	return s
}

// finest are the losses where the other has most fine detail for what it has of coarse: in
// a deep subject that is what it shows in focus.
func (t *tileLosses) finest() (list []float64) {
	limit := percentile(slices.Collect(maps.Values(t.fine)), 1-stillFinest)
	for at, ln := range t.ln {
		if t.fine[at] >= limit {
			list = append(list, ln)
		}
	}
	return list
}

// largest is the number of tiles in the largest connected set of those that are so.
func (t *tileLosses) largest(is func(float64) bool) int {
	seen := map[[2]int]bool{}
	most := 0
	for at, x := range t.ln {
		if seen[at] || !is(x) {
			continue
		}
		seen[at] = true
		set := [][2]int{at}
		for i := 0; i < len(set); i++ {
			for k := range 9 {
				o := [2]int{set[i][0] + k%3 - 1, set[i][1] + k/3 - 1}
				if y, known := t.ln[o]; known && is(y) && !seen[o] {
					seen[o] = true
					set = append(set, o)
				}
			}
		}
		most = max(most, len(set))
	}
	return most
}

// from returns the motion from what another still shows to what this one does, px, and how
// many times as bright it is in code values; or why the two cannot be compared. What misses
// focus by far is unlike in detail, and like in what is coarser.
func (v *stillView) from(w *stillView) (mo Motion, brighter float64, why string) {
	if !v.glimpse().like(w.glimpse()) {
		return mo, 0, ReasonOtherView
	}
	a, b := &w.View, &v.View
	l, mo := a.likeness(b)
	if l.Answer != Found && !l.near() && mo.Unexplained < stillUnexplained {
		coarseA, coarseB := w.seen(stillCoarse), v.seen(stillCoarse)
		a, b = &coarseA.View, &coarseB.View
		l, mo = a.likeness(b)
	}
	if l.Answer != Found && !l.near() {
		return mo, 0, ReasonOtherView
	}
	if brighter = a.brighter(mo); math.Abs(toneSlope*math.Log2(brighter)) > stillEV {
		return mo, 0, ReasonOtherLight
	}
	mo.ShiftX, mo.ShiftY = mo.ShiftX*v.px(), mo.ShiftY*v.px()
	return mo, brighter, ""
}

// near reports whether two views are alike but for what blur does.
func (l *Likeness) near() bool {
	return l.Blocks > 0 && l.Reason != ReasonTexture && l.Apart03 <= stillApart03 && l.Apart05 <= stillApart05 && l.Unlike <= stillUnlike
}

// glimpse reduces the small picture to a few pixels.
func (s *Still) glimpse() plane {
	k := max(1, max(s.Width, s.Height)/glimpseSide)
	p := plane{w: s.Width / k, h: s.Height / k}
	p.pix = make([]float32, p.w*p.h)
	for y := range p.h * k {
		for x, v := range s.Luma[y*s.Width:][:p.w*k] {
			p.pix[y/k*p.w+x/k] += float32(v)
		}
	}
	return p
}

// like reports whether two glimpses may show one view, with one at most a pixel aside: which
// costs little where they do not.
func (p plane) like(o plane) bool {
	for dy := -1; dy <= 1; dy++ {
		for dx := -1; dx <= 1; dx++ {
			var n, a, b, aa, bb, ab float64
			for y := 1; y+1 < p.h; y++ {
				for x := 1; x+1 < p.w; x++ {
					u, v := float64(p.pix[y*p.w+x]), float64(o.pix[(y+dy)*p.w+x+dx])
					n, a, b, aa, bb, ab = n+1, a+u, b+v, aa+u*u, bb+v*v, ab+u*v
				}
			}
			if ab-a*b/n >= glimpseAlike*math.Sqrt((aa-a*a/n)*(bb-b*b/n)) {
				return true
			}
		}
	}
	return false
}

// beyondNoise takes out of a focus measure what plain parts have.
func (v *stillView) beyondNoise(energy float64) float64 {
	return max(energy-v.noise, v.noise/2, leastEnergy)
}

// seen returns the small picture as one to be compared, smoothed so many times: a block is
// sharp where it shows detail that a soft picture keeps.
func (s *Still) seen(passes int) stillView {
	v := stillView{Still: s, View: View{Width: s.Width, Height: s.Height, Luma: s.Luma}}
	p := v.plane()
	if passes > 0 {
		for range passes {
			p = smooth(p)
		}
		v.View.Luma = p.bytes()
	}
	cols, rows := v.blocks()
	v.Peak, v.Rise, v.Firm, v.detail = make([]float32, cols*rows), make([]float32, cols*rows), make([]float32, cols*rows), make([]float64, cols*rows)
	band := bandPass(p)
	for i := range v.detail {
		for y := range blockSide {
			for _, x := range band.pix[(i/cols*blockSide+y)*s.Width+i%cols*blockSide:][:blockSide] {
				v.detail[i] += float64(x) * float64(x) / (blockSide * blockSide)
			}
		}
		v.Rise[i], v.Firm[i] = 1, 1
		if v.detail[i] >= detailBlock*detailBlock {
			v.Peak[i] = standingEnergy
		}
	}
	return v
}

// bytes rounds a picture to whole code values.
func (p plane) bytes() []byte {
	out := make([]byte, len(p.pix))
	for i, x := range p.pix {
		out[i] = uint8(min(255, max(0, math.Round(float64(x)))))
	}
	return out
}
