package pixels

import (
	"encoding/binary"
	"errors"
	"fmt"
	"image"
	"image/color"
	"math"
)

const (
	longSide  = 1600  // px that the analysed picture's long side comes near to
	smallSide = 256   // px that the small picture's long side comes near to
	leastEdge = 4     // binned pixels of the edge of a cell
	maxCells  = 50000 // bound of the cells kept; the cells grow beyond it
	minSide   = 64    // px; smaller pictures have too few tiles
	unit      = 16    // binned pixels are held in sixteenths of a code value
)

// ErrTooSmall is returned for pictures with a side under 64 pixels.
var ErrTooSmall = errors.New("picture under 64 pixels")

// A FrameMeasure is what [Measure] keeps of one picture, under 1 MB.
type FrameMeasure struct {
	// Width and Height are the picture's, in its own pixels.
	Width, Height int
	// Factor is the whole number of the picture's pixels to one analysed px.
	Factor int
	// Luma is the mean luma, 0 to 255; Light the mean linear light, 0 to 1
	// (inverse of the IEC 61966-2-1 curve, which the picture may not follow).
	Luma, Light float64
	// Clipped is the share of the picture under 4 or over 250.
	Clipped float64
	// Sharpness is the mean of the focus measure over the picture, code values².
	Sharpness float64

	tint  tint
	cells cellMaps
	small plane
	half  bytePlane // the picture binned to half the analysed size
	// smallPx is the edge, in px, of a pixel of the small picture.
	smallPx int
	// print distinguishes two bit-identical pictures from two pictures of the same thing.
	print uint64
}

// cellMaps are the averages over cells of edge binned pixels (of 2 px each).
type cellMaps struct {
	cols, rows int
	edge       int       // binned pixels
	energy     []float32 // squared modified Laplacian, code values²
	luma       []uint16  // code values / 256
	light      []uint16  // linear light / 65535
	clipped    []uint8   // share / 255
	low, high  []uint8   // share of the darkest 2 % of the scale, and of what is clipped at its upper end / 255
}

// A plane is a grey picture.
type plane struct {
	w, h int
	pix  []float32
}

// lightTable is the inverse of the sRGB curve (IEC 61966-2-1) for code values
// in sixteenths, scaled to 65535.
var lightTable = func() (t [255*unit + 1]uint16) {
	for i := range t {
		v := float64(i) / (255 * unit)
		if v <= 0.04045 {
			v /= 12.92
		} else {
			v = math.Pow((v+0.055)/1.055, 2.4)
		}
		t[i] = uint16(math.Round(v * 65535))
	}
	return t
}()

// Measure measures one picture. The luma plane of a YCbCr picture and the
// values of a grey one are taken as they are; of any other the luma is computed
// by JFIF's weights. Turned pictures may be given as stored: no measurement
// depends on it.
//
// It returns [ErrTooSmall] for a picture with a side under 64 pixels. The caller
// bounds the size of the picture before it decodes it.
func Measure(img image.Image) (*FrameMeasure, error) {
	b := img.Bounds()
	if b.Dx() < minSide || b.Dy() < minSide {
		return nil, fmt.Errorf("%w: %d x %d", ErrTooSmall, b.Dx(), b.Dy())
	}
	m := &FrameMeasure{Width: b.Dx(), Height: b.Dy()}
	m.Factor = factorOf(b.Dx(), b.Dy())
	bin := 2 * m.Factor
	bw, bh := b.Dx()/bin, b.Dy()/bin
	if bw < 8 || bh < 8 { // a very long and narrow picture
		return nil, fmt.Errorf("%w: %d x %d is too narrow", ErrTooSmall, b.Dx(), b.Dy())
	}
	m.measure(lumaRows(img), bin, bw, bh)
	m.tint = tintOf(img, m.Factor)
	return m, nil
}

// A counts is, in one number, what is summed of the binned pixels of a cell: linear light /
// 65535 in the lowest 22 bits, luma in 18, and in 6 each how many are clipped, among those at
// the upper end, and of the darkest 2 % of the scale. The sums fit: a cell has at most 6 x 6
// binned pixels, as the analysed picture has sides of 2,400 px at most.
type counts uint64

const (
	lumaAt    = 22
	clippedAt = lumaAt + 18
	highAt    = clippedAt + 6
	lowAt     = highAt + 6
)

// countsOf gives the counts of a binned pixel by its value; beyond that of white it is empty.
var countsOf = func() (t [256 * unit]counts) {
	for v, light := range lightTable {
		t[v] = counts(light) | counts(v)<<lumaAt
		switch {
		case v > highEnd*unit:
			t[v] |= 1<<highAt | 1<<clippedAt
		case v < 4*unit:
			t[v] |= 1<<lowAt | 1<<clippedAt
		case v <= lowEnd*unit:
			t[v] |= 1 << lowAt
		}
	}
	return t
}()

func (n counts) light() uint64   { return uint64(n) % (1 << lumaAt) }
func (n counts) luma() uint64    { return uint64(n>>lumaAt) % (1 << 18) }
func (n counts) clipped() uint64 { return uint64(n>>clippedAt) % (1 << 6) }
func (n counts) high() uint64    { return uint64(n>>highAt) % (1 << 6) }
func (n counts) low() uint64     { return uint64(n>>lowAt) % (1 << 6) }

// lumaRows returns a function that gives the luma of a row, counted from the
// top of the picture. The slice is valid until the call after the next.
func lumaRows(img image.Image) func(y int) []uint8 {
	b := img.Bounds()
	w := b.Dx()
	switch p := img.(type) {
	case *image.YCbCr:
		return func(y int) []uint8 {
			i := p.YOffset(b.Min.X, b.Min.Y+y)
			return p.Y[i : i+w]
		}
	case *image.Gray:
		return func(y int) []uint8 {
			i := p.PixOffset(b.Min.X, b.Min.Y+y)
			return p.Pix[i : i+w]
		}
	case *image.RGBA:
		row, next := make([]uint8, w), make([]uint8, w)
		return func(y int) []uint8 {
			row, next = next, row
			i := p.PixOffset(b.Min.X, b.Min.Y+y)
			lumaOfQuads(row, p.Pix[i:i+4*w])
			return row
		}
	case *image.NRGBA:
		row, next := make([]uint8, w), make([]uint8, w)
		return func(y int) []uint8 {
			row, next = next, row
			i := p.PixOffset(b.Min.X, b.Min.Y+y)
			lumaOfQuads(row, p.Pix[i:i+4*w])
			return row
		}
	}
	row, next := make([]uint8, w), make([]uint8, w)
	return func(y int) []uint8 {
		row, next = next, row
		for x := range row {
			row[x] = color.GrayModel.Convert(img.At(b.Min.X+x, b.Min.Y+y)).(color.Gray).Y
		}
		return row
	}
}

// lumaOfQuads writes JFIF's luma 0.299 R + 0.587 G + 0.114 B, in the integers
// of the standard library's colour model.
func lumaOfQuads(dst, quads []uint8) {
	for x := range dst {
		q := quads[4*x : 4*x+3 : 4*x+3]
		dst[x] = uint8((19595*uint32(q[0]) + 38470*uint32(q[1]) + 7471*uint32(q[2]) + 1<<15) >> 16)
	}
}

// measure walks down the binned picture, of which it holds three rows.
func (m *FrameMeasure) measure(luma func(int) []uint8, bin, bw, bh int) {
	edge := leastEdge
	for (bw/edge)*(bh/edge) > maxCells {
		edge++
	}
	c := &m.cells
	*c = cellMaps{cols: bw / edge, rows: bh / edge, edge: edge}
	n := c.cols * c.rows
	c.energy = make([]float32, n)
	c.luma, c.light, c.clipped = make([]uint16, n), make([]uint16, n), make([]uint8, n)
	c.low, c.high = make([]uint8, n), make([]uint8, n)

	k := smallBin(bw, bh)
	m.smallPx = 2 * k
	m.small = plane{w: bw / k, h: bh / k, pix: make([]float32, (bw/k)*(bh/k))}

	m.half = bytePlane{w: bw, h: bh, pix: make([]uint8, bw*bh)}

	rows := [3]binned{newBinned(bw), newBinned(bw), newBinned(bw)}
	acc := make([]sums, c.cols)
	share := sharesOf(edge * edge)
	rowsOf := make([]int32, m.small.w*k) // sums over the rows of a small picture's
	var all totals
	rows[0].read(luma, 0, bin)
	above, here, below := rows[0], rows[0], rows[1] // the first row is its own neighbour
	spare := rows[2]
	for y := range bh {
		if y+1 < bh {
			below.read(luma, y+1, bin)
		} else {
			below = here
		}
		m.half.keep(y, here.pixels())
		if y/edge < c.rows {
			cellRow(acc, above, here, below, edge)
			if y%edge == edge-1 {
				c.store(y/edge, acc, share, &all)
			}
		}
		if y/k < m.small.h {
			for x, v := range here.pixels()[:len(rowsOf)] {
				rowsOf[x] += v
			}
			if y%k == k-1 {
				m.small.average(y/k, rowsOf, k)
				clear(rowsOf)
			}
		}
		if y == 0 {
			above, here, below = here, below, spare
		} else {
			above, here, below = here, below, above
		}
	}
	px := float64(n * edge * edge)
	m.Luma = float64(all.luma) / px / unit
	m.Light = float64(all.light) / px / 65535
	m.Clipped = float64(all.clipped) / px
	m.Sharpness = float64(all.energy) / px / (unit * unit)
	m.print = c.fingerprint()
}

// average writes a row of the means of k x k binned pixels, whose rows are summed.
func (p *plane) average(y int, sums []int32, k int) {
	out := p.pix[y*p.w : (y+1)*p.w]
	for x := range out {
		var s int32
		for _, v := range sums[x*k : (x+1)*k] {
			s += v
		}
		out[x] = float32(s) / float32(unit*k*k)
	}
}

// keep rounds a binned row to whole code values.
func (p *bytePlane) keep(y int, row []int32) {
	out := p.pix[y*p.w : (y+1)*p.w]
	for x, v := range row[:len(out)] {
		out[x] = uint8(uint32(v+unit/2) / unit)
	}
}

// fingerprint is the FNV-1a hash of the sharpness cells: noise alone makes it
// different for two exposures of the same thing.
func (c *cellMaps) fingerprint() uint64 {
	h := uint64(14695981039346656037)
	for i, e := range c.energy {
		h = (h ^ uint64(math.Float32bits(e))) * 1099511628211
		h = (h ^ uint64(c.luma[i])) * 1099511628211
	}
	return h
}

// A binned row of pixels, in units of a sixteenth, has the first and the last twice: the
// picture's border is its own neighbour.
type binned []int32

func newBinned(w int) binned { return make(binned, w+2) }

func (r binned) pixels() []int32 { return r[1 : len(r)-1] }

// read averages a row of bin x bin squares.
func (r binned) read(luma func(int) []uint8, y, bin int) {
	dst := r.pixels()
	if bin == 2 { // the usual case, worth its own loop
		halve2(dst, luma(2*y), luma(2*y+1))
	} else {
		clear(dst)
		for i := range bin {
			a := luma(bin*y + i)
			for x := range dst {
				var s int32
				for _, v := range a[x*bin : (x+1)*bin] {
					s += int32(v)
				}
				dst[x] += s
			}
		}
		area := int32(bin * bin)
		for x, s := range dst {
			dst[x] = (s*unit + area/2) / area
		}
	}
	r[0], r[len(r)-1] = dst[0], dst[len(dst)-1]
}

// halve2 averages the 2 x 2 squares of two rows, four at a time: the pixels in even and in
// odd places each have 16 bits to be summed in.
func halve2(dst []int32, a, b []uint8) {
	const even = 0x00ff_00ff_00ff_00ff
	a, b = a[:2*len(dst)], b[:2*len(dst)]
	for len(dst) >= 4 {
		p, q := binary.LittleEndian.Uint64(a), binary.LittleEndian.Uint64(b)
		s := p&even + p>>8&even + q&even + q>>8&even
		s *= unit / 4 // 12 bits each
		four := dst[:4]
		four[0], four[1], four[2], four[3] = int32(s&0xffff), int32(s>>16&0xffff), int32(s>>32&0xffff), int32(s>>48)
		dst, a, b = dst[4:], a[8:], b[8:]
	}
	for x := range dst {
		dst[x] = (int32(a[2*x]) + int32(a[2*x+1]) + int32(b[2*x]) + int32(b[2*x+1])) * (unit / 4)
	}
}

// sums over the binned pixels of a cell.
type sums struct {
	energy uint64
	counts counts
}

// totals are the sums over all cells.
type totals struct{ energy, luma, light, clipped uint64 }

func abs32(x int32) int32 {
	s := x >> 31
	return (x ^ s) - s
}

// laplacian2 is the square of the modified Laplacian of a pixel v with its neighbours.
func laplacian2(l, v, r, u, d int32) uint64 {
	ml := uint64(uint32(abs32(2*v-l-r) + abs32(2*v-u-d)))
	return ml * ml
}

func (s *sums) add(energy uint64, v int32) {
	s.energy += energy
	s.counts += countsOf[v&(256*unit-1)]
}

// cellRow adds one row of binned pixels to a row of cells.
func cellRow(acc []sums, above, here, below binned, edge int) {
	if edge == leastEdge { // the usual case, worth its own loop
		for i := range acc {
			// Arrays are read without a check for each of their pixels.
			at := i * leastEdge
			h, u, d := (*[leastEdge + 2]int32)(here[at:]), (*[leastEdge]int32)(above[at+1:]), (*[leastEdge]int32)(below[at+1:])
			a := acc[i]
			a.add(laplacian2(h[0], h[1], h[2], u[0], d[0]), h[1])
			a.add(laplacian2(h[1], h[2], h[3], u[1], d[1]), h[2])
			a.add(laplacian2(h[2], h[3], h[4], u[2], d[2]), h[3])
			a.add(laplacian2(h[3], h[4], h[5], u[3], d[3]), h[4])
			acc[i] = a
		}
		return
	}
	for i := range acc {
		for x := 1 + i*edge; x <= (i+1)*edge; x++ {
			acc[i].add(laplacian2(here[x-1], here[x], here[x+1], above[x], below[x]), here[x])
		}
	}
}

// sharesOf returns the shares of n, in 255ths.
func sharesOf(n int) []uint8 {
	share := make([]uint8, n+1)
	for i := range share {
		share[i] = uint8(math.Round(float64(i) / float64(n) * 255))
	}
	return share
}

// store writes a row of cells and empties the sums.
func (c *cellMaps) store(row int, acc []sums, share []uint8, all *totals) {
	n := uint32(c.edge * c.edge) // shorter numbers are divided faster
	px := float64(n)
	for i, a := range acc {
		j := row*c.cols + i
		light, luma, clipped := a.counts.light(), a.counts.luma(), a.counts.clipped()
		c.energy[j] = float32(float64(a.energy) / (px * unit * unit))
		c.luma[j] = uint16((uint32(luma)*(256/unit) + n/2) / n)
		c.light[j] = uint16((uint32(light) + n/2) / n)
		c.clipped[j], c.low[j], c.high[j] = share[clipped], share[a.counts.low()], share[a.counts.high()]
		all.energy += a.energy
		all.luma += luma
		all.light += light
		all.clipped += clipped
		acc[i] = sums{}
	}
}

// AnalysedWidth returns the width of the analysed picture in px.
func (m *FrameMeasure) AnalysedWidth() int { return m.Width / m.Factor }

// AnalysedHeight returns the height of the analysed picture in px.
func (m *FrameMeasure) AnalysedHeight() int { return m.Height / m.Factor }

// Bytes returns the size of what is kept of the picture.
func (m *FrameMeasure) Bytes() int {
	return 11*m.cells.cols*m.cells.rows + 4*len(m.small.pix)
}

// sameGrid reports whether two pictures can be compared cell by cell.
func (m *FrameMeasure) sameGrid(o *FrameMeasure) bool {
	return m.Width == o.Width && m.Height == o.Height
}

// Middle returns the point of the analysed picture that motions refer to, px from its
// upper left corner, for a picture of the given size in its own pixels.
func Middle(width, height int) (x, y float64) {
	factor := factorOf(width, height)
	bw, bh := width/(2*factor), height/(2*factor)
	k := smallBin(bw, bh)
	return float64(bw / k * k), float64(bh / k * k)
}

// factorOf returns how many pixels of a picture make one px.
func factorOf(width, height int) int {
	return max(1, int(math.Round(float64(max(width, height))/longSide)))
}

// smallBin returns how many binned pixels make one of the small picture.
func smallBin(bw, bh int) int {
	return max(1, int(math.Round(float64(max(bw, bh))/smallSide)))
}
