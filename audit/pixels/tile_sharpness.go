package pixels

// A summed map sums the squared modified Laplacian of a picture binned to squares, from its
// upper left corner on, and returns means over rectangles. It takes the squares row by row and
// keeps the last rows of sums only, as many as the rectangles that are asked for are high.
type summed struct {
	w, h, bin   int       // squares, and px of their edge
	rows        int       // of sums that are kept
	sum         []float64 // rows of w+1; row y, of h+1, is at y modulo rows
	above, here []float32 // the last rows of squares; the border is its own neighbour
	taken       int       // rows of squares
	done        int       // the last row of sums
}

func newSummed(w, h, bin, rows int) *summed {
	return &summed{
		w: w, h: h, bin: bin, rows: rows, sum: make([]float64, rows*(w+1)),
		above: make([]float32, w), here: make([]float32, w),
	}
}

// take takes the next row of squares: the sum of each.
func (s *summed) take(row []float32) {
	if s.taken > 0 {
		s.line(row)
	}
	s.above, s.here = s.here, s.above
	copy(s.here, row)
	if s.taken == 0 {
		copy(s.above, row)
	}
	if s.taken++; s.taken == s.h {
		s.line(s.here)
	}
}

// line adds a row of sums: of the last row of squares, by the one below.
func (s *summed) line(below []float32) {
	before, sums := s.row(s.done)[1:], s.row(s.done + 1)[1:]
	s.done++
	share := 1 / float32(s.bin*s.bin)
	v := s.here[:s.w]
	up, down := s.above[:len(v)], below[:len(v)]
	before, sums = before[:len(v)], sums[:len(v)]
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

func (s *summed) row(y int) []float64 { return s.sum[y%s.rows*(s.w+1):][:s.w+1] }

func abs(v float32) float32 { return max(v, -v) }

// A sumRect is a rectangle in squares, parts of squares too.
type sumRect struct{ x0, y0, x1, y1 float64 }

// rect returns a rectangle given in px; not ok where it does not lie within the picture, but
// for a sliver.
func (s *summed) rect(x0, y0, x1, y1 float64) (r sumRect, ok bool) {
	b := float64(s.bin)
	x0, y0, x1, y1 = x0/b, y0/b, x1/b, y1/b
	slack := 2 * sliver
	if x0 < -slack || y0 < -slack || x1 > float64(s.w)+slack || y1 > float64(s.h)+slack {
		return sumRect{}, false
	}
	return sumRect{max(0, x0), max(0, y0), min(float64(s.w), x1), min(float64(s.h), y1)}, true
}

// span returns the first and the last row of sums from which the mean over r is made.
func (s *summed) span(r sumRect) (first, last int) {
	return min(int(r.y0), s.h-1), min(int(r.y1), s.h-1) + 1
}

// mean returns the mean over a rectangle in px; -1 where it does not lie within the picture.
func (s *summed) mean(x0, y0, x1, y1 float64) float32 {
	if r, ok := s.rect(x0, y0, x1, y1); ok {
		return s.over(r)
	}
	return -1
}

// over returns the mean over a rectangle of which the rows of sums are kept.
func (s *summed) over(r sumRect) float32 {
	at := func(x, y float64) float64 {
		ix, iy := min(int(x), s.w-1), min(int(y), s.h-1)
		fx, fy := x-float64(ix), y-float64(iy)
		a, b := s.row(iy)[ix:], s.row(iy + 1)[ix:]
		top := a[0] + fx*(a[1]-a[0])
		bottom := b[0] + fx*(b[1]-b[0])
		return top + fy*(bottom-top)
	}
	return float32((at(r.x1, r.y1) - at(r.x0, r.y1) - at(r.x1, r.y0) + at(r.x0, r.y0)) / ((r.x1 - r.x0) * (r.y1 - r.y0)))
}

// sharpnessSum sums the sharpness of a picture binned to squares, and keeps all rows.
func sharpnessSum(width, height, bin int, at func(x, y int) float32) *summed {
	s := newSummed(width/bin, height/bin, bin, height/bin+1)
	row := make([]float32, s.w)
	for y := range s.h {
		clear(row)
		for v := range bin {
			for x := range s.w * bin {
				row[x/bin] += at(x, y*bin+v)
			}
		}
		s.take(row)
	}
	return s
}

// A tileScale measures the sharpness of tiles at one scale.
type tileScale struct {
	*summed
	grid   *tileGrid
	place  Motion // of the frame
	sets   []tileSet
	halved []float32 // the next scale's row on the way
	odd    bool      // half of it is there
}

// A tileSet is the tiles whose sides have edge cells.
type tileSet struct {
	edge int
	out  []float32 // by tile; -1 where it does not lie within the picture
	ends [][]int32 // tiles by the last row of sums that they need
}

// tileScale prepares tiles whose sides have so many cells each, in a frame at a place, for a
// picture of w x h squares of bin px.
func (g *tileGrid) tileScale(w, h, bin int, place Motion, edges ...int) *tileScale {
	s := &tileScale{summed: newSummed(w, h, bin, 2), grid: g, place: place, halved: make([]float32, w/2)}
	for _, edge := range edges {
		set := tileSet{edge, make([]float32, (g.cellCols/edge)*(g.cellRows/edge)), make([][]int32, h+1)}
		for t := range set.out {
			r, ok := s.tile(t, edge)
			if !ok {
				set.out[t] = -1
				continue
			}
			first, last := s.span(r)
			set.ends[last] = append(set.ends[last], int32(t))
			s.rows = max(s.rows, last-first+2) // the last two rows of sums come at once
		}
		s.sets = append(s.sets, set)
	}
	s.sum = make([]float64, s.rows*(w+1))
	return s
}

// tile returns where a tile lies.
func (s *tileScale) tile(t, edge int) (r sumRect, ok bool) {
	x, y := s.grid.centreOf(t, edge, s.place)
	half := float64(edge) * s.grid.cellPx * (1 + s.place.Scale) / 2
	return s.rect(x-half, y-half, x+half, y+half)
}

// take takes a row of squares, and measures the tiles that end there.
func (s *tileScale) take(row []float32) {
	before := s.done
	s.summed.take(row)
	for y := before + 1; y <= s.done; y++ {
		for _, set := range s.sets {
			for _, t := range set.ends[y] {
				r, _ := s.tile(int(t), set.edge)
				set.out[t] = s.over(r)
			}
		}
	}
}

// halve bins a row by two more, and returns one of the next scale where it is complete.
func (s *tileScale) halve(row []float32) (next []float32, ok bool) {
	if !s.odd {
		for x := range s.halved {
			s.halved[x] = row[2*x] + row[2*x+1]
		}
	} else {
		for x := range s.halved {
			s.halved[x] += row[2*x] + row[2*x+1]
		}
	}
	s.odd = !s.odd
	return s.halved, !s.odd
}

// sharpnessOf returns the mean sharpness of the tiles in a frame at a place, of fine ones too
// where asked to.
func (g *tileGrid) sharpnessOf(p *analysedPicture, place Motion, fine bool) (s runSharpness) {
	w, h := p.w/2, p.h/2
	var by [scales]*tileScale
	for k := range by {
		edges := []int{g.edge}
		if k == 0 && fine {
			edges = append(edges, fineEdge)
		}
		by[k] = g.tileScale(w>>k, h>>k, 2<<k, place, edges...)
		s.scales[k] = by[k].sets[0].out
	}
	if fine {
		s.fine = by[0].sets[1].out
	}
	squares := make([]float32, w)
	for y := range h {
		a, b := p.row(2 * y)[:2*w], p.row(2*y + 1)[:2*w]
		for x := range squares {
			squares[x] = float32(int(a[2*x]) + int(a[2*x+1]) + int(b[2*x]) + int(b[2*x+1]))
		}
		for k, row, whole := 0, squares, true; whole; k++ {
			if by[k].take(row); k+1 == scales {
				break
			}
			row, whole = by[k].halve(row)
		}
	}
	return s
}
