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

// measure walks down the binned picture, of which it holds the rows of a row of cells with
// the one above and the one below.
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

	ring := make([]binned, edge+2)
	for i := range ring {
		ring[i] = newBinned(bw)
	}
	share := sharesOf(edge * edge)
	around := make([]binned, edge+2)
	var all totals
	cells := func(row int) {
		for i := range around { // the first and the last row are their own neighbours
			around[i] = ring[min(max(row*edge+i-1, 0), bh-1)%len(ring)]
		}
		c.measure(row, around, share, &all)
	}
	squares := make([]uint32, bw)
	rowsOf := newBinned(bw) // sums over the rows of a small picture's
	for y := range bh {
		here := ring[y%len(ring)]
		here.read(luma, y, bin, squares)
		here.keep(m.half.pix[y*bw : (y+1)*bw])
		if y > 0 && y%edge == 0 {
			cells(y/edge - 1)
		}
		if y/k < m.small.h {
			rowsOf.add(here)
			if y%k == k-1 {
				m.small.average(y/k, rowsOf, k)
				clear(rowsOf)
			}
		}
	}
	if bh%edge == 0 {
		cells(c.rows - 1)
	}
	px := float64(n * edge * edge)
	m.Luma = float64(all.luma) / px / unit
	m.Light = float64(all.light) / px / 65535
	m.Clipped = float64(all.clipped) / px
	m.Sharpness = float64(all.energy) / px / (unit * unit)
	m.print = c.fingerprint()
}

// average writes a row of the means of k x k binned pixels, whose rows are summed.
func (p *plane) average(y int, sums binned, k int) {
	out := p.pix[y*p.w : (y+1)*p.w]
	if k == 3 { // the usual case, worth its own loop
		for x := range out {
			three := sums[2*(3*x+1):][:3*2]
			s := uint32(binary.LittleEndian.Uint16(three)) + uint32(binary.LittleEndian.Uint16(three[2:])) + uint32(binary.LittleEndian.Uint16(three[4:]))
			out[x] = float32(int32(s)) / (unit * 3 * 3)
		}
		return
	}
	i := 0
	for x := range out {
		var s uint32
		for range k {
			s += sums.at(i)
			i++
		}
		out[x] = float32(s) / float32(unit*k*k)
	}
}

// fingerprint is a hash after FNV-1a of the sharpness cells: noise alone makes it different
// for two exposures of the same thing.
func (c *cellMaps) fingerprint() uint64 {
	h := uint64(14695981039346656037)
	for i, e := range c.energy {
		h = (h ^ uint64(math.Float32bits(e)) ^ uint64(c.luma[i])<<32) * 1099511628211
	}
	return h
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
