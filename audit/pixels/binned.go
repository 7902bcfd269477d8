package pixels

import (
	"encoding/binary"
	"math"
	"math/bits"
)

// A binned is a row of binned pixels, in units of a sixteenth of a code value. It has the
// first and the last twice: the picture's border is its own neighbour. Each takes 16 bits,
// so that four are read and computed with at once. Behind them is room for some more.
type binned []byte

// Words of four values of 16 bits.
const (
	four     = 8 // bytes
	each     = 0x0001_0001_0001_0001
	eachByte = 0x00ff * each
	eachOdd  = 0x0000_ffff_0000_ffff // the first and the third
)

func newBinned(w int) binned { return make(binned, 2*(w+2)+four) }

// at returns the value of a pixel.
func (r binned) at(x int) uint32 { return uint32(binary.LittleEndian.Uint16(r[2*(x+1):])) }

func (r binned) set(x int, v uint32) { binary.LittleEndian.PutUint16(r[2*(x+1):], uint16(v)) }

// width is the number of pixels.
func (r binned) width() int { return (len(r)-four)/2 - 2 }

// read averages a row of bin x bin squares. Sums has room for one number a pixel.
func (r binned) read(luma func(int) []uint8, y, bin int, sums []uint32) {
	w := r.width()
	if bin == 2 { // the usual case, worth its own loop
		r.halve2(luma(2*y), luma(2*y+1))
	} else {
		sums = sums[:w]
		clear(sums)
		for i := range bin {
			a := luma(bin*y + i)
			for x := range sums {
				var s uint32
				for _, v := range a[x*bin : (x+1)*bin] {
					s += uint32(v)
				}
				sums[x] += s
			}
		}
		area := uint32(bin * bin)
		for x, s := range sums {
			r.set(x, (s*unit+area/2)/area)
		}
	}
	r.set(-1, r.at(0))
	r.set(w, r.at(w-1))
}

// halve2 averages the 2 x 2 squares of two rows.
func (r binned) halve2(a, b []uint8) {
	w := r.width()
	dst := r[2:][:2*w]
	a, b = a[:2*w], b[:2*w]
	i := 0
	for ; i <= 2*w-8; i += 8 {
		p, q := binary.LittleEndian.Uint64(a[i:i+8]), binary.LittleEndian.Uint64(b[i:i+8])
		s := p&eachByte + p>>8&eachByte + q&eachByte + q>>8&eachByte
		binary.LittleEndian.PutUint64(dst[i:i+8], s*(unit/4)) // 12 bits each
	}
	for ; i < 2*w; i += 2 {
		r.set(i/2, (uint32(a[i])+uint32(a[i+1])+uint32(b[i])+uint32(b[i+1]))*(unit/4))
	}
}

// keep writes the row in whole code values.
func (r binned) keep(out []uint8) {
	in := r[2:][:2*len(out)]
	x := 0
	for ; x <= len(out)-4; x += 4 {
		v := (binary.LittleEndian.Uint64(in[2*x:2*x+8]) + unit/2*each) / unit & eachByte
		v = (v | v>>8) & eachOdd
		binary.LittleEndian.PutUint32(out[x:x+4], uint32(v|v>>16))
	}
	for ; x < len(out); x++ {
		out[x] = uint8((r.at(x) + unit/2) / unit)
	}
}

// add adds another row to sums over rows, of which 16 have room.
func (r binned) add(o binned) {
	o = o[:len(r)]
	for i := 0; i <= len(r)-four; i += four {
		binary.LittleEndian.PutUint64(r[i:i+four], binary.LittleEndian.Uint64(r[i:i+four])+binary.LittleEndian.Uint64(o[i:i+four]))
	}
}

// A counts is, in one number, what is summed of eight binned pixels: linear light / 65535 in
// the lowest 20 bits, and in 4 each how many are clipped, among those at the upper end, and of
// the darkest 2 % of the scale.
type counts uint32

const (
	clippedAt = 20
	highAt    = clippedAt + 4
	lowAt     = highAt + 4
)

// countsOf gives the counts of a binned pixel by its value; beyond that of white it is empty.
var countsOf = func() (t [256 * unit]counts) {
	for v, light := range lightTable {
		t[v] = counts(light)
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

// sums over the binned pixels of a cell.
type sums struct {
	energy      uint64
	luma, light uint32
	// ends are how many are clipped, those among them at the upper end, and the darkest,
	// in 8 bits each.
	ends uint32
}

// ends of the counts of eight pixels, as sums have them.
func (n counts) ends() uint32 {
	return uint32(n>>clippedAt%16 | n>>highAt%16<<8 | n>>lowAt<<16)
}

// totals are the sums over all cells.
type totals struct{ energy, luma, light, clipped uint64 }

// measure measures a row of cells from its rows of pixels, the one above and the one below.
func (c *cellMaps) measure(row int, rows []binned, share []uint8, sum *totals) {
	n := uint32(c.edge * c.edge)
	perN := (1<<32 + uint64(n) - 1) / uint64(n) // to multiply is faster, and as exact below 2^26
	all := *sum
	energy, luma, light := c.energy[row*c.cols:][:c.cols], c.luma[row*c.cols:][:c.cols], c.light[row*c.cols:][:c.cols]
	for i := range energy {
		var s sums
		if c.edge == leastEdge { // the usual case, worth its own function
			s = sumsOf4((*[leastEdge + 2]binned)(rows), i)
		} else {
			s = sumsOf(rows, i, c.edge)
		}
		energy[i] = float32(float64(int64(s.energy)) / float64(n*unit*unit))
		luma[i] = uint16(uint64(s.luma*(256/unit)+n/2) * perN >> 32)
		light[i] = uint16(uint64(s.light+n/2) * perN >> 32)
		clipped := s.ends % 256
		if s.ends > 0 { // seldom
			j := row*c.cols + i
			c.clipped[j], c.high[j], c.low[j] = share[clipped], share[s.ends>>8%256], share[s.ends>>16]
		}
		all.energy += s.energy
		all.luma += uint64(s.luma)
		all.light += uint64(s.light)
		all.clipped += uint64(clipped)
	}
	*sum = all
}

// sumsOf sums over the pixels of the i-th cell of a row.
func sumsOf(rows []binned, i, edge int) (s sums) {
	for y := 1; y <= edge; y++ {
		above, here, below := rows[y-1], rows[y], rows[y+1]
		for x := i * edge; x < (i+1)*edge; x++ {
			v := int32(here.at(x))
			across, down := 2*v-int32(here.at(x-1))-int32(here.at(x+1)), 2*v-int32(above.at(x))-int32(below.at(x))
			ml := uint64(max(across, -across) + max(down, -down)) // the modified Laplacian
			s.energy += ml * ml
			s.luma += uint32(v)
			n := countsOf[v%(256*unit)]
			s.light += uint32(n % (1 << clippedAt))
			s.ends += n.ends()
		}
	}
	return s
}

// sumsOf4 is sumsOf for cells of 4 x 4 pixels.
func sumsOf4(rows *[leastEdge + 2]binned, i int) (s sums) {
	at := i * four
	above := rows[0].word(at + 2)
	v := rows[1].word(at + 2)
	var squares, luma uint64
	for y := 1; y <= leastEdge; y++ {
		here := rows[y][at:][: four+4 : four+4]
		below := rows[y+1].word(at + 2)
		ml := laplacians(v, binary.LittleEndian.Uint64(here), binary.LittleEndian.Uint64(here[4:]), above, below)
		// (a + b 2^32) (b + a 2^32) is a b + (a² + b²) 2^32, but for what is beyond 64 bits.
		// What is in the lower half does not reach the upper one: the 16 pixels of 12 bits have
		// sums below 2^32 in either.
		odd, even := ml&eachOdd, ml>>16&eachOdd
		squares += odd*bits.RotateLeft64(odd, 32) + even*bits.RotateLeft64(even, 32)
		luma += v
		above, v = v, below
	}
	s.energy = squares >> 32
	luma = luma&eachOdd + luma>>16&eachOdd
	s.luma = uint32(luma) + uint32(luma>>32)
	for y := 1; y < leastEdge; y += 2 {
		v, w := rows[y].word(at+2), rows[y+1].word(at+2)
		n := countsOf4(v) + countsOf4(w)
		s.light += uint32(n % (1 << clippedAt))
		if n >= 1<<clippedAt { // seldom
			s.ends += n.ends()
		}
	}
	return s
}

func (r binned) word(at int) uint64 { return binary.LittleEndian.Uint64(r[at : at+four]) }

func countsOf4(v uint64) counts {
	return countsOf[v%(256*unit)] + countsOf[v>>16%(256*unit)] + countsOf[v>>32%(256*unit)] + countsOf[v>>48%(256*unit)]
}

// laplacians are the modified Laplacians of four pixels v with their neighbours.
func laplacians(v, left, right, above, below uint64) uint64 {
	// The highest bit of each value tells which of the differences are negative.
	base := 0x7fff*each - 2*v
	across, down := base+left+right, base+above+below
	signA, signD := across>>15&each, down>>15&each
	return (across ^ (0x7fff*each + signA)) + (down ^ (0x7fff*each + signD)) + signA + signD
}

// sharesOf returns the shares of n, in 255ths.
func sharesOf(n int) []uint8 {
	share := make([]uint8, n+1)
	for i := range share {
		share[i] = uint8(math.Round(float64(i) / float64(n) * 255))
	}
	return share
}
