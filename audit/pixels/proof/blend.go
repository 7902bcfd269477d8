package proof

import "image"

// A blend is the weighted mean of frames, band by band: sums of weight times
// coefficient, and of weights. The finest band has the weights of the next, interpolated.
type blend struct {
	w, h   int
	cols   int      // blocks side by side
	rows   int      // and one below another
	fine   plane    // sum of weight times band 0
	bands  []plane  // the same of bands 1 and up; the last is the coarsest level itself
	weight []plane  // sums of weights of the bands 1 and up
	colour [2]plane // sums of weight times chroma

	// Of the frame that is being added.
	levels []plane // the frame's own levels 1 and up, in the merged geometry
	wp     warper
	buf    []float32 // one block
	up     []float32 // a row of a block, from the level above
	wt     []float32 // its weights
	tmp    []float32
	both   [2][]float32 // a row of chroma
}

// inOneGo is the width of the blocks that are sampled in one go, pixels: what belongs to one
// stays in the nearest cache.
const inOneGo = 4 * blockSide

func newBlend(w, h, least int) *blend {
	b := &blend{w: w, h: h, cols: (w + blockSide - 1) / blockSide, rows: (h + blockSide - 1) / blockSide, fine: newPlane(w, h)}
	hw, hh := half(w), half(h)
	b.bands, b.weight, b.levels = pyramidSizes(hw, hh, least), pyramidSizes(hw, hh, least), pyramidSizes(hw, hh, least)
	b.colour = [2]plane{newPlane(hw, hh), newPlane(hw, hh)}
	b.buf, b.wt = make([]float32, inOneGo*blockSide), make([]float32, inOneGo)
	b.tmp, b.up = make([]float32, w+2), make([]float32, w)
	b.both = [2][]float32{make([]float32, hw), make([]float32, hw)}
	return b
}

// A layer is a frame on its way into a blend: the picture, its half as 64ths, and where
// the merged picture's pixels lie in it.
type layer struct {
	*source
	half grid[int16]
	at   affine
	hot  []bool // the blocks in which it counts, row by row; nil for all
}

// spans calls do for the parts of a row of blocks in which the frame counts, from one block
// up to another.
func (f *layer) spans(row, cols int, do func(from, to int)) {
	if f.hot == nil {
		do(0, cols)
		return
	}
	hot := f.hot[row*cols : (row+1)*cols]
	for from := 0; from < cols; from++ {
		if !hot[from] {
			continue
		}
		to := from + 1
		for to < cols && hot[to] {
			to++
		}
		do(from, to)
		from = to
	}
}

// add adds a frame. Weights are those of level 1 and up; none is negative, and where the
// frame does not cover the merged picture they are 0.
func (b *blend) add(f *layer, weights []plane) {
	b.lookUpHalf(f)
	for i := range b.levels[1:] {
		reduce(b.levels[i+1], b.levels[i], b.tmp)
	}
	b.addFine(f, weights[0])
	last := len(b.levels) - 1
	for l := range b.levels {
		for y := range b.levels[l].h {
			switch l {
			case last:
				sum, all := b.bands[l].row(y), b.weight[l].row(y)
				for x, k := range weights[l].row(y) {
					sum[x] += k * b.levels[l].row(y)[x]
					all[x] += k
				}
			case 0:
				const side = blockSide / 2
				f.spans(y/side, b.cols, func(from, to int) {
					b.addBand(l, y, from*side, min(to*side, b.levels[l].w), weights[l].row(y))
				})
			default:
				b.addBand(l, y, 0, b.levels[l].w, weights[l].row(y))
			}
		}
	}
	if !f.grey {
		b.addColour(f, weights[0])
	}
}

// addBand adds the pixels from x0 to x1 of row y of a band other than the finest and the
// coarsest.
func (b *blend) addBand(l, y, x0, x1 int, weights []float32) {
	up := b.up[:x1-x0]
	expandRow(up, &b.levels[l+1], x0, y, b.tmp)
	src, w := b.levels[l].row(y)[x0:x1][:len(up)], weights[x0:x1][:len(up)]
	sum, all := b.bands[l].row(y)[x0:x1][:len(up)], b.weight[l].row(y)[x0:x1][:len(up)]
	for x, v := range up {
		k := w[x]
		sum[x] += k * (src[x] - v)
		all[x] += k
	}
}

// lookUpHalf fills level 1 of the frame.
func (b *blend) lookUpHalf(f *layer) {
	at := f.at.grid(2, 0)
	to := &b.levels[0]
	for y := 0; y < to.h; y += blockSide {
		for x := 0; x < to.w; x += inOneGo {
			block(&b.wp, to.pix[y*to.w+x:], to.w, &f.half, at, x, y, min(inOneGo, to.w-x), min(blockSide, to.h-y))
		}
	}
}

// addFine adds the finest band, where it counts.
func (b *blend) addFine(f *layer, weight plane) {
	g := &grid[uint8]{f.w, f.h, f.stride, f.luma, weightBits - fixedBits}
	for row := range b.rows {
		y0 := row * blockSide
		h := min(blockSide, b.h-y0)
		f.spans(row, b.cols, func(from, to int) {
			end := min(to*blockSide, b.w)
			for x0 := from * blockSide; x0 < end; x0 += inOneGo {
				b.addBlock(f, g, weight, x0, y0, min(inOneGo, end-x0), h)
			}
		})
	}
}

// addBlock adds a block of the finest band.
func (b *blend) addBlock(f *layer, g *grid[uint8], weight plane, x0, y0, w, h int) {
	block(&b.wp, b.buf, inOneGo, g, f.at, x0, y0, w, h)
	up, wt := b.up[:w], b.wt[:w]
	for y := range h {
		expandRow(up, &b.levels[0], x0, y0+y, b.tmp)
		between(wt, &weight, x0, y0+y, b.tmp)
		src, sum := b.buf[y*inOneGo:y*inOneGo+w], b.fine.row(y0 + y)[x0:x0+w]
		src, sum, up = src[:len(wt)], sum[:len(wt)], up[:len(wt)]
		for x, k := range wt {
			sum[x] += k * (src[x] - up[x])
		}
	}
}

// addColour adds the chroma where it counts, by the weights of level 1.
func (b *blend) addColour(f *layer, weight plane) {
	const side = blockSide / 2
	at := f.at.grid(2, 0.5)
	to := &b.colour
	for y := range to[0].h {
		x0, x1 := at.covered(y, to[0].w, f.chroma[0].w, f.chroma[0].h, 0)
		f.spans(y/side, b.cols, func(from, end int) {
			from, end = max(x0, from*side), min(x1, end*side)
			if from >= end {
				return
			}
			bilinearBytes(b.both, &f.chroma, at, y, from, end)
			w := weight.row(y)[from:end]
			for i, values := range b.both {
				sum, values := to[i].row(y)[from:end][:len(w)], values[from:end][:len(w)]
				for x, k := range w {
					sum[x] += k * (values[x] - neutral)
				}
			}
		})
	}
}

// neutral is the chroma of grey.
const neutral = 128

// picture returns what the frames add up to. The blend cannot be used afterwards.
func (b *blend) picture() *image.YCbCr {
	last := len(b.bands) - 1
	for l := last; l >= 0; l-- {
		for i, w := range b.weight[l].pix {
			if w > 0 {
				b.bands[l].pix[i] /= w
			}
		}
		if l == last {
			continue
		}
		for y := range b.bands[l].h {
			row := b.bands[l].row(y)
			up := b.up[:len(row)]
			expandRow(up, &b.bands[l+1], 0, y, b.tmp)
			for x := range row {
				row[x] += up[x]
			}
		}
	}
	out := image.NewYCbCr(image.Rect(0, 0, b.w, b.h), image.YCbCrSubsampleRatio420)
	up, wt := b.up[:b.w], make([]float32, b.w)
	for y := range b.h {
		expandRow(up, &b.bands[0], 0, y, b.tmp)
		between(wt, &b.weight[0], 0, y, b.tmp)
		fine := b.fine.row(y)
		dst := out.Y[y*out.YStride : y*out.YStride+b.w]
		for x := range dst {
			v := up[x]
			if wt[x] > 0 {
				v += fine[x] / wt[x]
			}
			dst[x] = codeValue(v)
		}
	}
	for i, dst := range [2][]uint8{out.Cb, out.Cr} {
		for y := range b.colour[i].h {
			w, sum := b.weight[0].row(y), b.colour[i].row(y)
			// The weights were divided out of the bands, not changed.
			for x := range sum {
				v := float32(neutral)
				if w[x] > 0 {
					v += sum[x] / w[x]
				}
				dst[y*out.CStride+x] = codeValue(v)
			}
		}
	}
	return out
}

// codeValue rounds a value to the nearest code value.
func codeValue(v float32) uint8 { return uint8(min(255, max(0, v)) + 0.5) }
