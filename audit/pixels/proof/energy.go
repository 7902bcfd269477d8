package proof

import "encoding/binary"

// A detail measures how much fine detail a picture has around each pixel of level 1.
type detail struct {
	half   []int16 // level 1 of the picture, in 64ths
	w, h   int     // of level 1
	first  plane   // squares of band 0, code values²
	second plane   // squares of band 1
	coarse plane   // level 2
	third  plane   // squares of band 2, on the pixels of level 2
	rest   plane   // level 3
	level  plane   // level 1

	even, odd []uint64   // sums over five rows of luma, of every other pixel, four to a word
	expanded  []int32    // a row of level 1 expanded downwards, with a pixel more on either side
	squared   [3][]int32 // rows of squares of band 0, filtered along the row
	tmp, row  []float32
}

func newDetail(w, h int) *detail {
	hw, hh := half(w), half(h)
	d := &detail{w: hw, h: hh, half: make([]int16, hw*hh)}
	d.first, d.second, d.level = newPlane(hw, hh), newPlane(hw, hh), newPlane(hw, hh)
	d.coarse, d.third = newPlane(half(hw), half(hh)), newPlane(half(hw), half(hh))
	d.rest = newPlane(half(half(hw)), half(half(hh)))
	d.even, d.odd = make([]uint64, w/8), make([]uint64, w/8)
	d.expanded = make([]int32, hw+2)
	for i := range d.squared {
		d.squared[i] = make([]int32, hw)
	}
	d.tmp, d.row = make([]float32, w+2), make([]float32, w+2)
	return d
}

// grid is level 1 as a warper interpolates it.
func (d *detail) grid() grid[int16] { return grid[int16]{d.w, d.h, d.w, d.half, weightBits} }

// measure computes the detail of a picture in all bands.
func (d *detail) measure(s *source) {
	d.reduceBytes(s)
	d.squares(s)
	for i, v := range d.half {
		d.level.pix[i] = float32(v) * (1.0 / (1 << fixedBits))
	}
	squaredBand(d.second, &d.level, d.coarse, d.row, d.tmp)
	squaredBand(d.third, &d.coarse, d.rest, d.row, d.tmp)
}

// squaredBand writes the squares of the band between a level and the next, which it makes.
func squaredBand(dst plane, level *plane, next plane, row, tmp []float32) {
	reduce(next, *level, tmp)
	row = row[:dst.w]
	for y := range dst.h {
		expandRow(row, &next, 0, y, tmp)
		src, out := level.row(y)[:len(row)], dst.row(y)[:len(row)]
		for x, up := range row {
			v := src[x] - up
			out[x] = v * v
		}
	}
}

// reduceBytes makes level 1, in 64ths of a code value.
func (d *detail) reduceBytes(s *source) {
	at := func(y int) []uint8 { return s.luma[min(max(y, 0), s.h-1)*s.stride:][:s.w] }
	words := s.w / 8
	for y := range d.h {
		rows := [5][]uint8{at(2*y - 2), at(2*y - 1), at(2 * y), at(2*y + 1), at(2*y + 2)}
		out := d.half[y*d.w : (y+1)*d.w]
		if words <= 2 {
			reduceSlowly(out, rows, 0, d.w)
			continue
		}
		d.reduceWords(out, rows, words)
		reduceSlowly(out, rows, 0, 4)
		reduceSlowly(out, rows, 4*(words-1), d.w)
	}
}

// reduceWords reduces rows but for what has no whole word of eight pixels on either side.
// Four pixels are added up at once, in the quarters of a word: the sum by the kernel is 256
// code values at most.
func (d *detail) reduceWords(out []int16, rows [5][]uint8, words int) {
	const bytes, round, quarters = 0x00ff00ff00ff00ff, 0x0002000200020002, 0x3fff3fff3fff3fff
	even, odd := d.even[:words], d.odd[:words]
	for i := range even {
		k := 8 * i
		a, b, c := binary.LittleEndian.Uint64(rows[0][k:]), binary.LittleEndian.Uint64(rows[1][k:]), binary.LittleEndian.Uint64(rows[2][k:])
		e, f := binary.LittleEndian.Uint64(rows[3][k:]), binary.LittleEndian.Uint64(rows[4][k:])
		even[i] = a&bytes + f&bytes + 4*(b&bytes+e&bytes) + 6*(c&bytes)
		odd[i] = a>>8&bytes + f>>8&bytes + 4*(b>>8&bytes+e>>8&bytes) + 6*(c>>8&bytes)
	}
	before, here, left := even[0], even[1], odd[0]
	for i := 1; i < words-1; i++ {
		after, right := even[i+1], odd[i]
		v := (here<<16 | before>>48) + (here>>16 | after<<48) + 6*here + 4*((right<<16|left>>48)+right)
		v = (v + round) >> 2 & quarters
		o := out[4*i : 4*i+4 : 4*i+4]
		o[0], o[1], o[2], o[3] = int16(v&0xffff), int16(v>>16&0xffff), int16(v>>32&0xffff), int16(v>>48)
		before, here, left = here, after, right
	}
}

// reduceSlowly reduces the pixels from x0 to x1 of rows; the border is continued by itself.
func reduceSlowly(out []int16, rows [5][]uint8, x0, x1 int) {
	kernel := [5]int32{1, 4, 6, 4, 1}
	for x := x0; x < x1; x++ {
		var sum int32
		for j, row := range rows {
			for k, weight := range kernel {
				sum += kernel[j] * weight * int32(row[min(max(2*x-2+k, 0), len(row)-1)])
			}
		}
		out[x] = int16((sum + 2) >> 2)
	}
}

// squares fills first: squares of band 0, filtered by 1-2-1 in both directions around each
// pixel of level 1. The border is continued by itself.
func (d *detail) squares(s *source) {
	const unit = 16 * 16 * 16 // squares are of 16ths, the filter's sum is 16
	above, even, odd := d.squared[0], d.squared[1], d.squared[2]
	for k := range d.h {
		d.squaredRow(even, s, 2*k)
		last := even
		if 2*k+1 < s.h {
			d.squaredRow(odd, s, 2*k+1)
			last = odd
		}
		if k == 0 {
			copy(above, even)
		}
		out := d.first.row(k)
		a, b, c := above[:len(out)], even[:len(out)], last[:len(out)]
		for x := range out {
			out[x] = float32(a[x]+2*b[x]+c[x]) * (1.0 / unit)
		}
		above, odd = odd, above
	}
}

// squaredRow writes the squares of row y of band 0, filtered around every second pixel.
func (d *detail) squaredRow(out []int32, s *source, y int) {
	row := func(i int) []int16 { return d.half[min(max(i, 0), d.h-1)*d.w:][:d.w] }
	t := d.expanded[1 : 1+d.w]
	k := y / 2
	b, c := row(k)[:len(t)], row(k + 1)[:len(t)]
	if y%2 == 0 {
		a := row(k - 1)[:len(t)]
		for i := range t {
			t[i] = int32(a[i]) + 6*int32(b[i]) + int32(c[i])
		}
	} else {
		for i := range t {
			t[i] = 4 * (int32(b[i]) + int32(c[i]))
		}
	}
	d.expanded[0], d.expanded[1+d.w] = t[0], t[len(t)-1]
	luma := s.luma[y*s.stride:][:s.w]
	// Luma less what the level above expands to, in 4096ths of a code value and then 16ths.
	left, here := d.expanded[0], t[0]
	first := (int32(luma[0])<<12 - left - 6*here - d.expanded[2]) >> 8
	before := first * first
	pairs := len(luma) / 2
	next, o := d.expanded[2:2+pairs], out[:pairs]
	for i, right := range next {
		two := luma[2*i : 2*i+2 : 2*i+2]
		e := (int32(two[0])<<12 - left - 6*here - right) >> 8
		f := (int32(two[1])<<12 - 4*(here+right)) >> 8
		e, f = e*e, f*f
		o[i] = before + 2*e + f
		left, here, before = here, right, f
	}
	if pairs < len(out) { // an odd width
		e := (int32(luma[2*pairs])<<12 - left - 6*here - d.expanded[2+pairs]) >> 8
		out[pairs] = before + 3*e*e
	}
}
