package proof

// energyShare is how much the energy of band 1 counts beside that of band 0 in the weights.
const energyShare = 0.1

// A detail measures how much fine detail a picture has around each pixel of level 1.
type detail struct {
	half   []int16 // level 1 of the picture, in 64ths
	w, h   int     // of level 1
	first  plane   // squares of band 0, code values²
	second plane   // squares of band 1
	local  plane   // what decides; smooth takes it over 5 x 5 pixels
	coarse plane   // level 2
	third  plane   // squares of band 2, on the pixels of level 2
	rest   plane   // level 3
	level  plane   // level 1
	sums   []int32
	up     []int32
	square [2][]int32
	tmp    []float32
	row    []float32
}

func newDetail(w, h int) *detail {
	hw, hh := half(w), half(h)
	d := &detail{w: hw, h: hh, half: make([]int16, hw*hh)}
	d.first, d.second, d.local, d.level = newPlane(hw, hh), newPlane(hw, hh), newPlane(hw, hh), newPlane(hw, hh)
	d.coarse, d.third = newPlane(half(hw), half(hh)), newPlane(half(hw), half(hh))
	d.rest = newPlane(half(half(hw)), half(half(hh)))
	d.sums, d.up = make([]int32, w+2), make([]int32, w+2)
	d.square = [2][]int32{make([]int32, w+2), make([]int32, w+2)}
	d.tmp, d.row = make([]float32, w+2), make([]float32, w+2)
	return d
}

// grid is level 1 as a warper interpolates it.
func (d *detail) grid() grid[int16] { return grid[int16]{d.w, d.h, d.w, d.half, weightBits} }

// measure computes the detail of a picture, but for what smooth and measureThird do.
func (d *detail) measure(s *source) {
	d.reduceBytes(s)
	d.squares(s)
	for i, v := range d.half {
		d.level.pix[i] = float32(v) * (1.0 / (1 << fixedBits))
	}
	reduce(d.coarse, d.level, d.tmp)
	for y := range d.h {
		row := d.row[:d.w]
		expandRow(row, &d.coarse, 0, y, d.tmp)
		src, dst, first, local := d.level.row(y), d.second.row(y), d.first.row(y), d.local.row(y)
		src, dst, first, local = src[:len(row)], dst[:len(row)], first[:len(row)], local[:len(row)]
		for x, up := range row {
			v := src[x] - up
			v *= v
			dst[x] = v
			local[x] = first[x] + energyShare*v
		}
	}
}

// smooth completes local, of a picture that was measured.
func (d *detail) smooth() {
	// The level was only needed for band 1.
	copy(d.level.pix, d.local.pix)
	box5(d.local, d.level, d.tmp)
}

// measureThird fills third, of a picture that was measured.
func (d *detail) measureThird() {
	reduce(d.rest, d.coarse, d.tmp)
	for y := range d.third.h {
		row := d.row[:d.third.w]
		expandRow(row, &d.rest, 0, y, d.tmp)
		src, dst := d.coarse.row(y), d.third.row(y)
		for x, up := range row {
			v := src[x] - up
			dst[x] = v * v
		}
	}
}

// reduceBytes makes level 1, in 64ths of a code value.
func (d *detail) reduceBytes(s *source) {
	sums := d.sums[:s.w]
	at := func(y int) []uint8 {
		i := min(max(y, 0), s.h-1) * s.stride
		return s.luma[i : i+len(sums)]
	}
	for y := range d.h {
		a, b, c, dd, e := at(2*y-2), at(2*y-1), at(2*y), at(2*y+1), at(2*y+2)
		a, b, c, dd, e = a[:len(sums)], b[:len(sums)], c[:len(sums)], dd[:len(sums)], e[:len(sums)]
		for x := range sums {
			sums[x] = int32(a[x]) + int32(e[x]) + 4*(int32(b[x])+int32(dd[x])) + 6*int32(c[x])
		}
		out := d.half[y*d.w : (y+1)*d.w]
		for x := range out {
			i := 2 * x
			if i >= 2 && i+2 < len(sums) {
				t := sums[i-2 : i+3 : i+3]
				out[x] = int16((t[0] + t[4] + 4*(t[1]+t[3]) + 6*t[2] + 2) >> 2)
				continue
			}
			near := func(k int) int32 { return sums[min(max(k, 0), len(sums)-1)] }
			out[x] = int16((near(i-2) + near(i+2) + 4*(near(i-1)+near(i+1)) + 6*near(i) + 2) >> 2)
		}
	}
}

// squares fills first: squares of band 0, filtered by 1-2-1 in both directions around each
// pixel of level 1.
func (d *detail) squares(s *source) {
	const unit = 16 * 16 * 16 // squares are of 16ths, the filter's sum is 16
	prev, here := d.square[0], d.square[1]
	clear(prev)
	up := d.up[:s.w]
	for y := range s.h {
		d.expandInts(up, y)
		luma := s.luma[y*s.stride : y*s.stride+s.w]
		sq := here[1 : 1+s.w]
		luma, sq = luma[:len(up)], sq[:len(up)]
		for x, u := range up {
			v := (int32(luma[x])<<12 - u) >> 8
			sq[x] = v * v
		}
		here[0], here[s.w+1] = sq[0], sq[s.w-1]
		k := y / 2
		if y%2 == 0 {
			// Rows 2k-1 (in prev, already once), 2k twice.
			d.gather(k, here, 2, y > 0, prev)
		} else {
			d.gather(k, here, 1, true, nil)
		}
		prev, here = here, prev
	}
	for i := range d.first.pix {
		d.first.pix[i] *= 1.0 / unit
	}
}

// gather adds a row of squares to row k of first, and before it the row above where there
// is one.
func (d *detail) gather(k int, row []int32, times float32, add bool, above []int32) {
	out := d.first.row(k)
	n := len(out)
	for x := range n {
		i := 2 * x
		r := row[i : i+3 : i+3]
		v := times * float32(r[0]+2*r[1]+r[2])
		if above != nil {
			a := above[i : i+3 : i+3]
			if add {
				v += float32(a[0] + 2*a[1] + a[2])
			}
			out[x] = v
			continue
		}
		out[x] += v
	}
}

// expandInts expands row y from level 1, in 4096ths of a code value.
func (d *detail) expandInts(out []int32, y int) {
	k := y / 2
	row := func(i int) []int16 {
		i = min(max(i, 0), d.h-1)
		return d.half[i*d.w : (i+1)*d.w]
	}
	t := d.sums[:d.w]
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
	at := func(i int) int32 { return t[min(max(i, 0), len(t)-1)] }
	out[0] = at(-1) + 6*at(0) + at(1)
	if len(out) > 1 {
		out[1] = 4 * (at(0) + at(1))
	}
	n := min(len(out)/2, len(t)-1)
	left, here := t[0], at(1)
	for i := 1; i < n; i++ {
		right := t[i+1]
		o := out[2*i : 2*i+2 : 2*i+2]
		o[0], o[1] = left+6*here+right, 4*(here+right)
		left, here = here, right
	}
	for x := 2 * max(n, 1); x < len(out); x++ {
		i := x / 2
		if x%2 == 0 {
			out[x] = at(i-1) + 6*at(i) + at(i+1)
		} else {
			out[x] = 4 * (at(i) + at(i+1))
		}
	}
}
