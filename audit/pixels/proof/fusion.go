package proof

import (
	"image"
	"image/color"
	"math"
)

// A Fused is what [Fusion] makes of an exposure bracket.
type Fused struct {
	// Picture takes from each frame what is exposed well there; nil where no picture was
	// given.
	Picture *image.YCbCr
	// Ends has the clipped share of each frame that was merged, in the order of Used.
	Ends []Ends
	Used []int
}

// Ends are the shares of a picture, 0 to 1, that lie at the ends of its scale: luma of up
// to 5 code values (2 %), and of 250 and more.
type Ends struct{ Low, High float64 }

const (
	lowEnd  = 5   // code values: 2 % of 255
	highEnd = 250 // code values: the fraction above carries no texture in 8 bits
)

// EndsOf counts the ends of a picture's scale.
func EndsOf(img image.Image) Ends {
	s := newSource(img, 1)
	low, high := 0, 0
	for y := range s.h {
		for _, v := range s.luma[y*s.stride : y*s.stride+s.w] {
			if v <= lowEnd {
				low++
			} else if v >= highEnd {
				high++
			}
		}
	}
	n := float64(s.w * s.h)
	return Ends{float64(low) / n, float64(high) / n}
}

const (
	// middling is the deviation from the middle of the scale at which a value counts half
	// as much or so: sigma of Mertens, Kautz and Van Reeth.
	middling = 0.2
	// something is added to contrast and saturation, as a share of the scale: in a plain
	// grey area the exposure decides, where their product would be 0 for all frames.
	something = 2.0 / 255
	// hardly is the least weight, as 1e-12 in the paper, for single floats.
	hardly = 1e-9
	// fusionCoarsest is the short side of the coarsest level of a fusion: what is larger
	// than a third of the picture is weighed as one.
	fusionCoarsest = 4
)

// Fusion merges the frames of an exposure bracket by contrast, saturation and how well
// each place is exposed (Mertens, Kautz and Van Reeth 2007, all three counting once).
// Unlike there, weights are those of half the size, and are divided by their sum band by
// band and not before: so that no frame is needed twice.
func Fusion(r Run, pictures Pictures) *Fused {
	out := &Fused{}
	var f *fuser
	for i, img := range pictures {
		if !r.takes(i, img) {
			continue
		}
		if f == nil {
			f = newFuser(&r)
		}
		f.add(i, newSource(img, r.Factor))
		out.Used = append(out.Used, i)
		out.Ends = append(out.Ends, EndsOf(img))
	}
	if f != nil {
		out.Picture = f.blend.picture()
	}
	return out
}

type fuser struct {
	run     *Run
	blend   *blend
	detail  *detail
	own     plane // weights in the frame's geometry
	weights []plane
	tmp     []float32
}

func newFuser(r *Run) *fuser {
	w, h := r.size()
	f := &fuser{run: r, blend: newBlend(w, h, fusionCoarsest), detail: newDetail(w, h), own: newPlane(half(w), half(h)), tmp: make([]float32, w+2)}
	f.weights = pyramidSizes(half(w), half(h), fusionCoarsest)
	return f
}

func (f *fuser) add(i int, s *source) {
	f.detail.measure(s)
	f.weigh(s)
	at := f.run.at(i)
	g := at.grid(2, 0)
	top := &f.weights[0]
	for y := range top.h {
		x0, x1 := g.covered(y, top.w, f.own.w, f.own.h, 0)
		row := top.row(y)
		clear(row[:x0])
		clear(row[x1:])
		bilinear(row, &f.own, g, y, x0, x1)
	}
	for l := range f.weights[1:] {
		reduce(f.weights[l+1], f.weights[l], f.tmp)
	}
	f.blend.add(&layer{source: s, half: f.detail.grid(), at: at}, f.weights)
}

// exposed is how well a value is exposed.
var exposed = func() (t [256]float32) {
	for i := range t {
		d := (float64(i)/255 - 0.5) / middling
		t[i] = float32(math.Exp(-0.5 * d * d))
	}
	return t
}()

// weigh fills the weights of a frame in its own geometry.
func (f *fuser) weigh(s *source) {
	d := f.detail
	for y := range f.own.h {
		out, energy := f.own.row(y), d.first.row(y)
		for x := range out {
			luma := uint8(min(255, max(0, int(d.half[y*d.w+x])>>fixedBits)))
			contrast := float32(math.Sqrt(float64(energy[x])))/255 + something
			if s.grey {
				out[x] = contrast*exposed[luma] + hardly
				continue
			}
			cx, cy := min(x, s.chroma[0].w-1), min(y, s.chroma[0].h-1)
			cr, cg, cb := color.YCbCrToRGB(luma, s.chroma[0].pix[cy*s.chroma[0].stride+cx], s.chroma[1].pix[cy*s.chroma[1].stride+cx])
			r, g, b := float32(cr)/255, float32(cg)/255, float32(cb)/255
			mean := (r + g + b) / 3
			spread := float32(math.Sqrt(float64((r-mean)*(r-mean)+(g-mean)*(g-mean)+(b-mean)*(b-mean)) / 3))
			out[x] = contrast*(spread+something)*exposed[cr]*exposed[cg]*exposed[cb] + hardly
		}
	}
}
