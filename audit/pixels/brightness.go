package pixels

import "math"

// askBrightness asks whether the light jumps, flickers or walks from frame to frame.
func (e *evidence) askBrightness() Brightness {
	var b Brightness
	x, settings := e.changes()
	dev := make([]float64, len(x))
	for i := range x {
		dev[i] = x[i] - around(x, i, nearLinks)
	}
	mad := consistent * median(absolute(dev))
	limit := max(e.th.JumpEV, e.th.JumpMAD*mad)
	flicker, compared := 0, 0
	mean := median(known(x))
	for i, l := range e.links {
		if math.IsNaN(dev[i]) {
			continue
		}
		compared++
		// Common to the picture, not a moving shadow: more than the tiles differ.
		common := math.IsNaN(l.spread) || math.Abs(x[i]) > l.spread
		if math.Abs(x[i]-mean) > e.th.FlickerEV && math.Abs(dev[i]) > e.th.FlickerEV && common {
			flicker++
		}
		if math.Abs(dev[i]) > limit && math.Abs(x[i]) > e.th.JumpEV && common {
			from, to := e.ends(l)
			b.Jumps = append(b.Jumps, Change{from, to, l.ev})
		}
	}
	if compared < brightLinks {
		b.Verdict = cannot(ReasonUnrelated)
		if settings > len(x)/2 {
			b.Verdict = cannot(ReasonSettings)
		}
		return b
	}
	b.Typical = median(absolute(x))
	for _, v := range absolute(x) {
		b.Most = max(b.Most, v)
	}
	b.Flicker = float64(flicker) / float64(compared)
	b.Drift = e.lightDrift()
	b.Jumping = len(b.Jumps) > 0
	b.Flickering = flicker >= flickerLinks && b.Flicker > e.th.FlickerShare
	b.Drifting = b.Drift > e.th.DriftEV && settings == 0 // settings may follow the light
	b.Verdict = decided(b.Jumping || b.Flickering || b.Drifting)
	return b
}

// resets reports whether the settings change over a link, or are not known.
func (r *run) resets(l link) bool {
	return !(math.Abs(r.settings[l.to]-r.settings[l.from]) < settled)
}

// changes returns the change of each link in EV a frame, NaN beside dark frames,
// between different things, and where the settings change; and over how many links
// they do.
func (e *evidence) changes() (x []float64, settings int) {
	for _, l := range e.links {
		v := l.ev / e.span(l)
		if e.resets(l) {
			settings++
		}
		if e.dark[l.from] || e.dark[l.to] || !l.motion.Converged || e.resets(l) {
			v = math.NaN()
		}
		x = append(x, v)
	}
	return x, settings
}

// lightDrift returns the range over which the smoothed brightness walks, EV.
func (e *evidence) lightDrift() float64 {
	path := make([]float64, len(e.ev)) // ev, but for links that compare different things
	for _, l := range e.links {
		path[l.to] = path[l.from]
		if l.motion.Converged && !e.resets(l) {
			path[l.to] += l.ev
		}
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	for i := range path {
		if e.outside[i] {
			continue
		}
		var near []float64
		for k := max(0, i-nearLinks); k <= min(len(path)-1, i+nearLinks); k++ {
			if !e.outside[k] {
				near = append(near, path[k])
			}
		}
		m := median(near)
		lo, hi = min(lo, m), max(hi, m)
	}
	return max(0, hi-lo)
}

// touches reports whether the light jumps between the two frames.
func (b *Brightness) touches(from, to int) bool {
	for _, e := range b.Jumps {
		if from < e.To && to > e.From {
			return true
		}
	}
	return false
}
