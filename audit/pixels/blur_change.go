package pixels

import "math"

// A blurChange is by how much the blur of a tile grows over a link.
type blurChange struct {
	tile   int32
	growth float32 // of the variance of the blur, in pixels² of the half picture
	weight float32 // inverse variance of growth, by the noise alone
}

// halfPx is the size of a pixel of the half picture, px.
const halfPx = 2

// blurChanges compares the blur of tiles in the two frames of a link. To first order a
// blur whose variance grows by v adds v/2 times the Laplacian to the picture (Subbarao and
// Surya, Depth from defocus: a spatial domain approach, IJCV 13(3), 1994). Each picture
// is moved half of the way to the other, so that interpolation blurs both alike.
func (g *tileGrid) blurChanges(a, b *frame, halfA, halfB *bytePlane, l *link) (out []blurChange) {
	side := int(float64(g.edge) * g.cellPx / halfPx)
	around := side + 2*blurBorder
	cx, cy := g.centreX*g.cellPx/halfPx, g.centreY*g.cellPx/halfPx
	gain := float32(math.Exp(-l.gain))
	mo := l.motion
	p := newBlurPair(around)
	every := (g.cols*g.rows + blurTiles - 1) / blurTiles
	for t := range a.tiles {
		if (t%g.cols+blurShear*(t/g.cols))%every != 0 || !a.tiles[t].showsBlur() || !b.tiles[t].showsBlur() {
			continue
		}
		x, y := g.centreOf(t, g.edge, a.place)
		x, y = x/halfPx, y/halfPx
		dx := mo.Scale*(x-cx) - mo.Rotation*(y-cy) + mo.ShiftX/halfPx
		dy := mo.Rotation*(x-cx) + mo.Scale*(y-cy) + mo.ShiftY/halfPx
		x0, y0 := math.Round(x+dx/2)-float64(around/2), math.Round(y+dy/2)-float64(around/2)
		if !halfA.moved(p.a, around, x0-dx/2, y0-dy/2, 1) || !halfB.moved(p.b, around, x0+dx/2, y0+dy/2, gain) {
			continue
		}
		if c, ok := p.change(); ok {
			c.tile = int32(t)
			out = append(out, c)
		}
	}
	return out
}

// needsBlur reports whether the change of blur may answer what nothing cheaper does:
// focus may walk, and neither scales nor shifts the picture enough to show its steps.
func (s *Sequence) needsBlur() bool {
	r := s.run(DefaultThresholds(), nil)
	e := r.evidence(make([]bool, len(r.frames)))
	return e.signature.Kind == "" && e.askWalk(e.curves(e.outside)).Answer != Fine
}

// showsBlur reports whether a tile has something that blur can change.
func (t *tile) showsBlur() bool {
	return t.energy >= 0 && t.clipped <= clippedTile && t.luma >= darkTile
}

// moved fills out with a square of the picture, times gain, whose upper left corner lies
// at x, y; it returns false where that is not within the picture.
func (p *bytePlane) moved(out []float32, side int, x, y float64, gain float32) bool {
	ix, iy := int(math.Floor(x)), int(math.Floor(y))
	if ix < 0 || iy < 0 || ix+side >= p.w || iy+side >= p.h {
		return false
	}
	fx, fy := float32(x-float64(ix)), float32(y-float64(iy))
	w00, w10, w01, w11 := gain*(1-fx)*(1-fy), gain*fx*(1-fy), gain*(1-fx)*fy, gain*fx*fy
	for r := range side {
		u := p.pix[(iy+r)*p.w+ix : (iy+r)*p.w+ix+side+1]
		d := p.pix[(iy+r+1)*p.w+ix : (iy+r+1)*p.w+ix+side+1]
		o := out[r*side : (r+1)*side]
		ul, dl := float32(u[0]), float32(d[0])
		u, d, o = u[1:], d[1:][:len(u)-1], o[:len(u)-1]
		for k := range u {
			ur, dr := float32(u[k]), float32(d[k])
			o[k] = w00*ul + w10*ur + w01*dl + w11*dr
			ul, dl = ur, dr
		}
	}
	return true
}

// A blurPair is a tile in two pictures, with a border of blurBorder pixels.
type blurPair struct {
	side      int // with the border
	a, b, tmp []float32
}

func newBlurPair(side int) *blurPair {
	return &blurPair{side, make([]float32, side*side), make([]float32, side*side), make([]float32, side*side)}
}

// change fits the difference of the two pictures by the mean of their Laplacians. Their
// noise is not the same, so that it takes no part in the product of the Laplacians, by
// which the fit divides. It is not ok where noise is most of what the two show.
func (p *blurPair) change() (c blurChange, ok bool) {
	w := p.side
	soften(p.a, p.tmp, w)
	soften(p.b, p.tmp, w)
	var sd, sa, sb, sda, sdb, saa, sbb, sab, sdd float32
	for y := blurBorder; y < w-blurBorder; y++ {
		// What is read from slices of known lengths takes no check of its own.
		at := y*w + blurBorder
		n := w - 2*blurBorder
		a, aUp, aDown, aLeft, aRight := p.a[at:][:n], p.a[at-w:][:n], p.a[at+w:][:n], p.a[at-1:][:n], p.a[at+1:][:n]
		b, bUp, bDown, bLeft, bRight := p.b[at:][:n], p.b[at-w:][:n], p.b[at+w:][:n], p.b[at-1:][:n], p.b[at+1:][:n]
		for i := range n {
			la := aLeft[i] + aRight[i] + aUp[i] + aDown[i] - 4*a[i]
			lb := bLeft[i] + bRight[i] + bUp[i] + bDown[i] - 4*b[i]
			d := b[i] - a[i]
			sd += d
			sa += la
			sb += lb
			sda += d * la
			sdb += d * lb
			saa += la * la
			sbb += lb * lb
			sab += la * lb
			sdd += d * d
		}
	}
	n := float32((w - 2*blurBorder) * (w - 2*blurBorder))
	sdl := (sda + sdb - sd*(sa+sb)/n) / 2
	both := sab - sa*sb/n
	square := (saa+sbb)/4 + sab/2
	sdd -= sd * sd / n
	if both < blurLeast || both < blurShare*square {
		return c, false
	}
	k := sdl / both
	left := max(sdd-2*k*sdl+k*k*square, 0)/(n-2) + blurRounding
	c.growth, c.weight = 2*k, both*both/(4*left*square)
	return c, true
}

// soften runs the binomial kernel 1 2 1 over a square both ways, but for its border.
func soften(p, tmp []float32, w int) {
	for y := range w {
		row, out := p[y*w:(y+1)*w], tmp[y*w+1:(y+1)*w-1]
		left, here, right := row[:len(out)], row[1:][:len(out)], row[2:][:len(out)]
		for x := range out {
			out[x] = (left[x] + 2*here[x] + right[x]) / 4
		}
	}
	for y := 1; y < w-1; y++ {
		out := p[y*w+1 : (y+1)*w-1]
		u, m, d := tmp[(y-1)*w+1:][:len(out)], tmp[y*w+1:][:len(out)], tmp[(y+1)*w+1:][:len(out)]
		for x := range out {
			out[x] = (u[x] + 2*m[x] + d[x]) / 4
		}
	}
}
