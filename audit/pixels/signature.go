package pixels

import "math"

// A signature is the trace of focusing in the motion of the picture.
type signature struct {
	Signature
	v      []float64 // per link and frame; NaN where not registered
	sigma  float64
	k, z   []float64 // against the neighbours; NaN where they stand still or nearly
	sign   float64   // of the regular direction
	median float64   // of |v|
	// faint means that the steps show, but not well enough for a kind.
	faint bool
}

// readSignature seeks focusing first in the scale of the picture and, where
// that stands still, in its shift.
func (r *run) readSignature() signature {
	scale, tx, ty := r.perFrame()
	sg := signature{v: scale}
	sg.sigma = roughness(scale) + scaleNoise/(typicalRadius*r.diagonal())
	sg.median = median(absolute(scale))
	if len(known(scale)) < minFrames-1 {
		return sg
	}
	if sg.median > r.th.SignatureRatio*sg.sigma {
		sg.Kind = "scale"
	} else {
		r.readDrift(&sg, tx, ty)
	}
	sg.Strength = sg.median / sg.sigma
	if sg.Kind == "" {
		if sg.faint = sg.Strength > faintRatio; sg.faint {
			sg.direct(r)
		}
		return sg
	}
	sg.PerFrame = sg.median
	sg.direct(r)
	sg.compare()
	return sg
}

// perFrame returns each link's change of scale and shift a frame; NaN where it is
// not registered.
func (r *run) perFrame() (scale, tx, ty []float64) {
	n := len(r.links)
	scale, tx, ty = make([]float64, n), make([]float64, n), make([]float64, n)
	for i, l := range r.links {
		scale[i], tx[i], ty[i] = math.NaN(), math.NaN(), math.NaN()
		if l.motion.Converged && !r.strange[l.from] && !r.strange[l.to] {
			k := r.span(l)
			scale[i], tx[i], ty[i] = l.motion.Scale/k, l.motion.ShiftX/k, l.motion.ShiftY/k
		}
	}
	return scale, tx, ty
}

// readDrift takes the shift along its usual direction for the signature, where it
// stands out of its noise.
func (r *run) readDrift(sg *signature, tx, ty []float64) {
	mx, my := median(known(tx)), median(known(ty))
	d := math.Hypot(mx, my)
	v, aside := make([]float64, len(tx)), make([]float64, len(tx))
	for i := range v {
		v[i] = (tx[i]*mx + ty[i]*my) / max(d, 1e-12)
		aside[i] = (ty[i]*mx - tx[i]*my) / max(d, 1e-12)
	}
	sigma := roughness(v) + shiftNoise
	if d > r.th.SignatureRatio*sigma && d > leastDrift {
		sg.Kind = "drift"
		sg.v, sg.sigma, sg.median = v, sigma, median(absolute(v))
		r.setBumpsAside(sg, aside)
	}
}

// setBumpsAside takes jumps of the picture out of a drift that are no focus
// steps: those that leave the line of the drift, very large ones along it over
// which the picture changes no more than over its neighbours, and those that would
// take focus back behind where the run began, or farther than all of the run.
func (r *run) setBumpsAside(sg *signature, aside []float64) {
	n := len(sg.v)
	bump := make([]bool, n)
	change := make([]float64, n)
	for i, l := range r.links {
		change[i] = l.change
	}
	noise := roughness(aside) + shiftNoise
	sign := math.Copysign(1, median(known(sg.v)))
	for i := range bump {
		along := math.Abs(sg.v[i] - around(sg.v, i, nearLinks))
		off := math.Abs(aside[i] - around(aside, i, nearLinks))
		room := float64(n + 1) // focus steps
		if sign*sg.v[i] < 0 {
			room = float64(i + 2)
		}
		bump[i] = off > bumpSigma*noise && off > bumpAside*along && off > bumpSteps*sg.median ||
			along > bumpLarge*sg.median && (change[i] < bumpChange*around(change, i, wideLinks) || along > room*sg.median)
	}
	for i, b := range bump {
		if b {
			sg.v[i] = math.NaN()
		}
	}
}

// direct finds the regular direction: that of most steps, or the other where most
// of the run goes back because it began the other way.
func (sg *signature) direct(r *run) {
	up := 0
	for _, v := range sg.v {
		if v > signStep*sg.median {
			up++
		} else if v < -signStep*sg.median {
			up--
		}
	}
	sg.sign = 1
	if up < 0 {
		sg.sign = -1
	}
	if e := r.reversals(sg); len(e) > 0 && e[0].Kind == Turned && e[0].From < testFrames && e[0].To-e[0].From > testFrames {
		sg.sign = -sg.sign
	}
}

// compare holds each step to those of its neighbours.
func (sg *signature) compare() {
	n := len(sg.v)
	sg.k, sg.z = make([]float64, n), make([]float64, n)
	for i := range sg.v {
		sg.k[i], sg.z[i] = sg.against(i, around(sg.v, i, nearLinks))
	}
}

// against holds step i to a usual one: as a multiple of it, and by how many noise
// deviations it is longer; NaN where the usual step is hardly more than noise.
func (sg *signature) against(i int, local float64) (k, z float64) {
	if !(math.Abs(local) > localSigma*sg.sigma) {
		return math.NaN(), math.NaN()
	}
	return sg.v[i] / local, math.Copysign(1, local) * (sg.v[i] - local) / sg.sigma
}

// roughness is the robust deviation of values from the median of their
// neighbours.
func roughness(v []float64) float64 {
	d := make([]float64, len(v))
	for i := range v {
		d[i] = v[i] - around(v, i, nearLinks)
	}
	return consistent * median(absolute(d))
}
