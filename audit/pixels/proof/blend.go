package proof

import "image"

const (
	// idle is the share of all weight so far up to which a frame's finest band is left
	// out of a block: a thousandth of a detail of 100 code values is a tenth of one.
	idle = 1e-3
	// slight is the weight up to which a block is left out however little was added before:
	// that of a frame that counts only where no other covers a place.
	slight = 1e-10
)

// A blend is the weighted mean of frames, band by band: sums of weight times
// coefficient, and of weights. The finest band has the weights of the next, interpolated.
type blend struct {
	w, h   int
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
	hot    []bool // the blocks that count
}

func newBlend(w, h, least int) *blend {
	b := &blend{w: w, h: h, fine: newPlane(w, h)}
	hw, hh := half(w), half(h)
	b.bands, b.weight, b.levels = pyramidSizes(hw, hh, least), pyramidSizes(hw, hh, least), pyramidSizes(hw, hh, least)
	b.colour = [2]plane{newPlane(hw, hh), newPlane(hw, hh)}
	b.buf = make([]float32, blockSide*blockSide)
	b.up, b.wt = make([]float32, blockSide), make([]float32, blockSide)
	b.tmp = make([]float32, w+2)
	b.hot = make([]bool, (w/blockSide+1)*(h/blockSide+1))
	return b
}

// A layer is a frame on its way into a blend: the picture, its half as 64ths, and where
// the merged picture's pixels lie in it.
type layer struct {
	*source
	half grid[int16]
	at   affine
}

// add adds a frame. Weights are those of level 1 and up; none is negative, and where the
// frame does not cover the merged picture they are 0.
func (b *blend) add(f *layer, weights []plane) {
	b.lookUpHalf(f)
	for i := range b.levels[1:] {
		reduce(b.levels[i+1], b.levels[i], b.tmp)
	}
	b.heat(weights[0])
	b.addFine(f, weights[0])
	last := len(b.levels) - 1
	for l := range b.levels {
		from := &b.levels[l]
		for y := range from.h {
			src, w := from.row(y), weights[l].row(y)
			sum, all := b.bands[l].row(y), b.weight[l].row(y)
			src, w, sum = src[:len(all)], w[:len(all)], sum[:len(all)]
			if l == last {
				for x, k := range w {
					sum[x] += k * src[x]
					all[x] += k
				}
				continue
			}
			up := b.rowBuffer(len(all))
			expandRow(up, &b.levels[l+1], 0, y, b.tmp)
			for x, k := range w {
				sum[x] += k * (src[x] - up[x])
				all[x] += k
			}
		}
	}
	if !f.grey {
		b.addColour(f, weights[0])
	}
}

func (b *blend) rowBuffer(n int) []float32 {
	if len(b.up) < n {
		b.up = make([]float32, n)
	}
	return b.up[:n]
}

// lookUpHalf fills level 1 of the frame.
func (b *blend) lookUpHalf(f *layer) {
	at := f.at.grid(2, 0)
	to := &b.levels[0]
	for y := 0; y < to.h; y += blockSide {
		for x := 0; x < to.w; x += blockSide {
			block(&b.wp, to.pix[y*to.w+x:], to.w, &f.half, at, x, y, min(blockSide, to.w-x), min(blockSide, to.h-y))
		}
	}
}

// heat marks the blocks in which the frame's weight is more than idle.
func (b *blend) heat(weight plane) {
	clear(b.hot)
	cols := b.w/blockSide + 1
	for y := range weight.h {
		w, all := weight.row(y), b.weight[0].row(y)
		all = all[:len(w)]
		hot := b.hot[2*y/blockSide*cols:]
		for x, k := range w {
			if k > slight && k > idle*all[x] {
				// A weight also counts for the pixels beside it.
				hot[2*x/blockSide] = true
				if x > 0 {
					hot[(2*x-1)/blockSide] = true
				}
			}
		}
	}
	for y := blockSide / 2; y < weight.h; y += blockSide / 2 { // and above it
		for x, k := range weight.row(y) {
			if k > slight && k > idle*b.weight[0].row(y)[x] {
				b.hot[(2*y-1)/blockSide*cols+2*x/blockSide] = true
			}
		}
	}
}

// addFine adds the finest band, where it counts.
func (b *blend) addFine(f *layer, weight plane) {
	g := &grid[uint8]{f.w, f.h, f.stride, f.luma, weightBits - fixedBits}
	cols := b.w/blockSide + 1
	for y0 := 0; y0 < b.h; y0 += blockSide {
		for x0 := 0; x0 < b.w; x0 += blockSide {
			if !b.hot[y0/blockSide*cols+x0/blockSide] {
				continue
			}
			w, h := min(blockSide, b.w-x0), min(blockSide, b.h-y0)
			block(&b.wp, b.buf, blockSide, g, f.at, x0, y0, w, h)
			up, wt := b.up[:w], b.wt[:w]
			for y := range h {
				expandRow(up, &b.levels[0], x0, y0+y, b.tmp)
				between(wt, &weight, x0, y0+y, b.tmp)
				src, sum := b.buf[y*blockSide:y*blockSide+w], b.fine.row(y0 + y)[x0:x0+w]
				src, sum, up = src[:len(wt)], sum[:len(wt)], up[:len(wt)]
				for x, k := range wt {
					sum[x] += k * (src[x] - up[x])
				}
			}
		}
	}
}

// addColour adds the chroma where it counts, by the weights of level 1.
func (b *blend) addColour(f *layer, weight plane) {
	at := f.at.grid(2, 0.5)
	cols := b.w/blockSide + 1
	for i := range f.chroma {
		c := &f.chroma[i]
		to := &b.colour[i]
		row := b.rowBuffer(to.w)
		for y := range to.h {
			x0, x1 := at.covered(y, to.w, c.w, c.h)
			hot := b.hot[2*y/blockSide*cols:]
			for x0 < x1 {
				block := x0 / (blockSide / 2)
				end := min(x1, (block+1)*(blockSide/2))
				if hot[block] {
					bilinearBytes(row, c, at, y, x0, end)
					sum, w := to.row(y)[x0:end], weight.row(y)[x0:end]
					values := row[x0:end][:len(sum)]
					w = w[:len(sum)]
					for x := range sum {
						sum[x] += w[x] * (values[x] - neutral)
					}
				}
				x0 = end
			}
		}
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
			up := b.rowBuffer(len(row))
			expandRow(up, &b.bands[l+1], 0, y, b.tmp)
			for x := range row {
				row[x] += up[x]
			}
		}
	}
	out := image.NewYCbCr(image.Rect(0, 0, b.w, b.h), image.YCbCrSubsampleRatio420)
	up, wt := b.rowBuffer(b.w), make([]float32, b.w)
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
