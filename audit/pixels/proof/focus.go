package proof

import "image"

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

// Focus merges the frames of a focus sequence in the geometry of the reference frame. Each
// band of the picture is the mean of the frames by the fourth power of the energy of fine
// detail: no frame is chosen, so that no edge comes from choosing, and what one frame
// shows far sharper than the others is as good as its own.
//
// Bright points leave rims of the disks they are blurred to, and behind the edges of near
// things a ring as wide as their blur shows less of the texture than the frames do.
func Focus(r Run, pictures Pictures) *Focused {
	out := &Focused{}
	var f *focuser
	for i, img := range pictures {
		if !r.takes(i, img) {
			continue
		}
		if f == nil {
			f = newFocuser(&r)
		}
		f.add(i, newSource(img, r.Factor))
		out.Used = append(out.Used, i)
	}
	if f == nil {
		return out
	}
	if len(out.Used) >= fewestCovering {
		out.Coverage = f.cover.finish()
	}
	out.Picture = f.blend.picture()
	return out
}

// fewestCovering is how many frames a coverage is made of at least.
const fewestCovering = 4

// coarsest is about the short side, in pixels, of the coarsest level of a focus sequence.
const coarsest = 24

// A focuser holds what is merged so far.
type focuser struct {
	run     *Run
	blend   *blend
	detail  *detail
	weights []plane
	energy  []plane // reduced with the levels
	cover   *coverage
	tmp     []float32
}

func newFocuser(r *Run) *focuser {
	w, h := r.size()
	f := &focuser{run: r, blend: newBlend(w, h, coarsest), detail: newDetail(w, h), tmp: make([]float32, w+2)}
	f.weights = pyramidSizes(half(w), half(h), coarsest)
	f.energy = pyramidSizes(half(w), half(h), coarsest)
	f.cover = newCoverage(w, h, r.Gaps)
	return f
}

// faint is added to all energies, code values²: where nothing differs, frames count alike.
const faint = 0.02

func (f *focuser) add(i int, s *source) {
	f.detail.measure(s)
	at := f.run.at(i)
	g := at.grid(2, 0)
	top := &f.energy[0]
	for y := range top.h {
		x0, x1 := g.covered(y, top.w, f.detail.w, f.detail.h)
		row := top.row(y)
		clear(row[:x0])
		clear(row[x1:])
		bilinear(row, &f.detail.local, g, y, x0, x1)
		for x := x0; x < x1; x++ {
			row[x] += faint
		}
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
	f.blend.add(&layer{source: s, half: f.detail.grid(), at: at}, f.weights)
	f.cover.add(i, f.detail, at)
}
