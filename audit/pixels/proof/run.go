package proof

import (
	"image"
	"iter"
	"math"

	"prestrike/audit/pixels"
)

// Pictures are the pictures of a run in its order, each with its place among the frames,
// from 0. Frames without a picture are left out. All must be of the run's size: those of
// another size are left out too.
type Pictures = iter.Seq2[int, image.Image]

// A Run is what is known of the frames of a run before they are merged.
type Run struct {
	// Frames is how many there are.
	Frames int
	// Width and Height are those of the pictures given; Factor is how many of their pixels
	// make one px.
	Width, Height, Factor int
	// Reference is the frame whose geometry the merged picture has.
	Reference int
	// Places has where each frame lies; Fits is false for one that is to be left out, as
	// it has no picture, is dark, shows something else, or could not be placed.
	Places []Place
	// Gaps are the steps of focus that are larger than their neighbours.
	Gaps []Gap
}

// A Place is where a frame lies: the motion from the first frame to it, in px about the
// middle of the picture, as [pixels.Motion].
type Place struct {
	Scale, Rotation, ShiftX, ShiftY float64
	Fits                            bool
}

// A Gap is a step of focus, from one frame to the next, Ratio times as large as its
// neighbours.
type Gap struct {
	From, To int
	Ratio    float64
}

// RunOf returns what the judgement of a run's pictures contains of their places and steps.
// Where not all frames could be placed, those fit that were placed one by another and show
// the most detail. The reference is the frame in the middle of those that fit.
func RunOf(j *pixels.Judgement) Run {
	r := Run{Frames: j.Frames, Width: j.Width, Height: j.Height, Factor: j.Factor}
	out := map[int]bool{}
	for _, i := range j.Unrelated {
		out[i] = true
	}
	for _, d := range j.Dark.Events {
		out[d.Frame] = true
	}
	best := mostDetail(j, out)
	var fit []int
	for i, f := range j.PerFrame {
		p := Place{Scale: f.Scale, Rotation: f.Rotation, ShiftX: f.ShiftX, ShiftY: f.ShiftY}
		if p.Fits = f.Measured && !out[i] && f.Chain == best; p.Fits {
			fit = append(fit, i)
		}
		r.Places = append(r.Places, p)
	}
	if len(fit) > 0 {
		r.Reference = fit[len(fit)/2]
	}
	for _, e := range j.Jumps.Events {
		r.Gaps = append(r.Gaps, Gap{From: e.From, To: e.To, Ratio: e.Ratio})
	}
	return r
}

// mostDetail returns the chain whose frames, those out left aside, have the most detail
// above the least sharp frame together.
func mostDetail(j *pixels.Judgement, out map[int]bool) (chain int) {
	least := math.Inf(1)
	for i, f := range j.PerFrame {
		if f.Measured && !out[i] {
			least = min(least, f.Sharpness)
		}
	}
	sums := map[int]float64{}
	most := -1.0
	for i, f := range j.PerFrame {
		if !f.Measured || out[i] {
			continue
		}
		sums[f.Chain] += f.Sharpness - least
		if sums[f.Chain] > most {
			chain, most = f.Chain, sums[f.Chain]
		}
	}
	return chain
}

// BracketOf returns the same for an exposure bracket, of which all frames with a picture fit:
// one that could not be placed, as where frames lie many EV apart, is taken to lie as the one
// before. Loose are those frames.
func BracketOf(j *pixels.Judgement) (r Run, loose []int) {
	r = RunOf(j)
	var fit []int
	chain := 0
	for i, f := range j.PerFrame {
		if r.Places[i].Fits = f.Measured; f.Measured {
			fit = append(fit, i)
		}
		if f.Chain != chain {
			loose = append(loose, i)
			chain = f.Chain
		}
	}
	if len(fit) > 0 {
		r.Reference = fit[len(fit)/2]
	}
	return r, loose
}

// size returns that of the merged picture, px.
func (r *Run) size() (w, h int) { return r.Width / r.Factor, r.Height / r.Factor }

// of returns where the pixels of the first frame lie in a frame.
func (r *Run) of(frame int) affine {
	x, y := pixels.Middle(r.Width, r.Height)
	p := r.Places[frame]
	return about(p.Scale, p.Rotation, p.ShiftX, p.ShiftY, x-0.5, y-0.5)
}

// at returns where the pixels of the merged picture lie in a frame.
func (r *Run) at(frame int) affine { return r.of(frame).from(r.of(r.Reference)) }

// takes reports whether a picture is one of those that are merged.
func (r *Run) takes(i int, img image.Image) bool {
	b := img.Bounds()
	return r.Factor > 0 && i >= 0 && i < len(r.Places) && r.Places[i].Fits && b.Dx() == r.Width && b.Dy() == r.Height
}

// sources hands out the pictures that are merged, as they are merged.
func (r *Run) sources(pictures Pictures) iter.Seq2[int, *source] {
	return func(yield func(int, *source) bool) {
		for i, img := range pictures {
			if r.takes(i, img) && !yield(i, newSource(img, r.Factor)) {
				return
			}
		}
	}
}
