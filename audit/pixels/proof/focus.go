package proof

import (
	"image"
	"math"
	"slices"
)

// A Focused is what [Focus] makes of a focus sequence.
type Focused struct {
	// Picture is sharp wherever one of the frames is; nil where none was given.
	Picture *image.YCbCr
	// Coverage shows in which frame each place is sharpest; nil where fewer than four were
	// merged, of which almost all places are sharpest in the first or last.
	Coverage *Coverage
	// Used are the frames that were merged, in order.
	Used []int
}

// Focus merges the frames of a focus sequence in the geometry of the reference frame. The
// pictures are taken twice: first to find in which frame each place is sharpest, and exactly
// where each frame lies, then to merge them.
//
// Each band of the picture is the mean of the frames by the fourth power of the energy of fine
// detail, of the frames in and around which the place is sharpest: no single frame is chosen,
// so that no edge comes from choosing, and what one frame shows far sharper than the others
// is as good as its own.
//
// Behind the edges of near things a ring as wide as their blur shows less of the texture than
// the frames do.
func Focus(r Run, pictures Pictures) *Focused {
	out := &Focused{}
	var f *focuser
	for i, s := range r.sources(pictures) {
		if f == nil {
			f = newFocuser(&r)
		}
		f.inspect(i, s)
		out.Used = append(out.Used, i)
	}
	if f == nil {
		return out
	}
	f.settle(len(out.Used))
	for i, s := range r.sources(pictures) {
		if n := slices.Index(out.Used, i); n >= 0 {
			f.add(n, i, s)
		}
	}
	if len(out.Used) >= fewestCovering {
		out.Coverage = f.cover.finish(f.depth)
	}
	out.Picture = f.blend.picture()
	return out
}

// fewestCovering is how many frames a coverage is made of at least.
const fewestCovering = 4

// coarsest is about the short side, in pixels, of the coarsest level of a focus sequence.
const coarsest = 24

const (
	// depthWidth is the deviation, frames, of the weight of frames around the one in which a
	// place is sharpest; givenWidth that of places whose frame was taken from those around,
	// where energy has no say.
	depthWidth, givenWidth = 1.5, 0.7
	// hardlyDepth is the share of the energy that is left to frames that are farther away than
	// depthReach, for places that no other frame covers.
	hardlyDepth = 1e-6
)

// idle is the share of a place's greatest weight up to which a frame is left out of a block
// of the finest two bands: frames of which all but one count so little differ by some 20 code
// values at most, of which a fiftieth is less than one.
const idle = 0.02

// A focuser holds what is merged so far.
type focuser struct {
	run     *Run
	align   *aligner
	places  map[int]affine // where the pixels of the first frame lie in each
	last    int            // the frame before
	depth   *depth
	blend   *blend
	detail  *detail
	weights []plane
	energy  []plane // reduced with the levels
	cover   *coverage
	count   plane // of each place, by how much energy the frame that is added counts
	most    plane // the same of the frame that counts most
	hot     []bool
	tmp     []float32
}

func newFocuser(r *Run) *focuser {
	w, h := r.size()
	f := &focuser{run: r, align: &aligner{}, places: map[int]affine{}, blend: newBlend(w, h, coarsest), detail: newDetail(w, h), tmp: make([]float32, w+2)}
	f.weights = pyramidSizes(half(w), half(h), coarsest)
	f.energy = pyramidSizes(half(w), half(h), coarsest)
	f.cover = newCoverage(w, h, r.Gaps)
	f.count, f.most = newPlane(f.cover.w, f.cover.h), newPlane(f.cover.w, f.cover.h)
	f.hot = make([]bool, f.blend.cols*f.blend.rows)
	return f
}

// inspect takes in a frame for the first time.
func (f *focuser) inspect(i int, s *source) {
	at := f.run.of(i)
	if len(f.places) == 0 {
		f.align.next(s, at)
	} else {
		at = f.align.next(s, at.from(f.run.of(f.last))).after(f.places[f.last])
	}
	f.places[i], f.last = at, i
	f.detail.measure(s)
	// The map has places of 4 px: where the frame lies by registration is exact enough.
	f.cover.add(i, s, f.detail, f.run.at(i))
}

// settle is called between the two passes over n frames: it decides in which frame each place
// is sharpest, and how much the frame that counts most there does.
func (f *focuser) settle(n int) {
	f.depth = f.cover.depth()
	for k := range n {
		f.weigh(k)
		for i, e := range f.count.pix {
			f.most.pix[i] = max(f.most.pix[i], e)
		}
	}
}

// reference returns where the pixels of the first frame lie in the reference frame; where
// that has no picture, by its registration with the last one that has.
func (f *focuser) reference() affine {
	if at, ok := f.places[f.run.Reference]; ok {
		return at
	}
	return f.run.of(f.run.Reference).from(f.run.of(f.last)).after(f.places[f.last])
}

// faint is added to all energies, code values²: where nothing differs, frames count alike.
const faint = 0.02

// add merges a frame, the n-th one.
func (f *focuser) add(n, i int, s *source) {
	f.detail.reduceBytes(s)
	f.weigh(n)
	f.heat()
	at := f.places[i].from(f.reference())
	g := at.grid(2, 0)
	top := &f.energy[0]
	for y := range top.h {
		x0, x1 := g.covered(y, top.w, f.detail.w, f.detail.h, 0)
		row := top.row(y)
		doubled(row, &f.count, y, f.tmp)
		clear(row[:x0])
		clear(row[x1:])
	}
	for l := range f.energy {
		if l > 0 {
			reduce(f.energy[l], f.energy[l-1], f.tmp)
		}
		w := f.weights[l].pix
		for k, e := range f.energy[l].pix[:len(w)] {
			e *= e
			w[k] = e * e
		}
	}
	f.blend.add(&layer{source: s, half: f.detail.grid(), at: at, hot: f.hot}, f.weights)
}

// near has the factors of energies by how far a frame lies from the one in which a place is
// sharpest, in sixteenths of a frame: roots of roots, as energies count by their fourth power.
type near [16 * depthReach]float32

func nearOf(width float64) (t near) {
	for i := range t {
		d := float64(i) / 16 / width
		t[i] = float32(max(hardlyDepth, math.Exp(-d*d/8)))
	}
	return t
}

var nearDepth, nearGiven = nearOf(depthWidth), nearOf(givenWidth)

// weigh fills count for the n-th frame: its energies, less where the place is sharpest in
// another.
func (f *focuser) weigh(n int) {
	d, fine := f.depth, f.cover.fine
	for i, z := range d.frame {
		k := int(16 * max(z-float32(n), float32(n)-z))
		switch {
		case z < 0: // plain: where an energy was not kept, as little as in any frame
			f.count.pix[i] = max(fine.near.energy(i, n), fine.least.pix[i]) + faint
		case k >= len(nearDepth): // most of all places
			f.count.pix[i] = faint * hardlyDepth
		case d.coarse[i]:
			f.count.pix[i] = (fine.best.pix[i] + faint) * nearDepth[k]
		case d.given[i]:
			f.count.pix[i] = (fine.best.pix[i] + faint) * nearGiven[k]
		default:
			f.count.pix[i] = (fine.near.energy(i, n) + faint) * nearDepth[k]
		}
	}
}

// heat marks the blocks in which the frame counts. A place also counts for the pixels of
// those beside it.
func (f *focuser) heat() {
	const side = blockSide / placeSide
	least := float32(math.Sqrt(math.Sqrt(idle)))
	clear(f.hot)
	cols, rows := f.blend.cols, f.blend.rows
	for y := range f.count.h {
		count, most := f.count.row(y), f.most.row(y)
		top, bottom := max(0, y-1)/side, min(rows-1, (y+1)/side)
		for x, e := range count {
			if e > least*most[x] {
				left, right := max(0, x-1)/side, min(cols-1, (x+1)/side)
				f.hot[top*cols+left], f.hot[top*cols+right] = true, true
				f.hot[bottom*cols+left], f.hot[bottom*cols+right] = true, true
			}
		}
	}
}
