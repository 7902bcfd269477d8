package pixels

import (
	"math"
	"slices"
)

// A darkness is the answer about dark frames, with its values for each frame that
// has a measure.
type darkness struct {
	Dark
	frames []bool    // dark
	above  []float64 // EV above the run's median beyond the settings; nil where there is no answer
}

// askDark finds stretches of frames far below the frames before or behind them
// and below the upper quarter of the run. A stretch that lasts to an end of the
// run is a step of the light, and not dark, unless it is short, or so deep that
// the light must have failed. Pictures that show one thing after another get no
// answer.
func (r *run) askDark() darkness {
	n := len(r.ev)
	d := darkness{frames: make([]bool, n)}
	if r.allBlack() {
		d.Verdict, d.All = decided(true), true
		return d
	}
	if r.unlike() {
		d.Verdict = cannot(ReasonUnrelated)
		return d
	}
	plain := make([]float64, n)
	for i := range plain {
		plain[i] = r.ev[i] - r.settings[i]
	}
	mid, high := median(known(plain)), percentile(known(plain), upperQuarter)
	matched := make([]bool, n)
	for _, l := range r.links {
		if l.motion.Converged {
			matched[l.from], matched[l.to] = true, true
		}
	}
	behind, before := r.darkStretches(high, false), r.darkStretches(high, true)
	d.above = make([]float64, n)
	for i, f := range r.frames {
		if above := plain[i] - mid; !math.IsNaN(above) {
			d.above[i] = above
		}
		if below := max(behind[i], before[i]); below > 0 {
			d.frames[i] = true
			d.Events = append(d.Events, DarkFrame{Frame: f.index, EV: below, Unrelated: r.strange[i] || !matched[i]})
		}
	}
	d.Verdict = decided(len(d.Events) > 0)
	return d
}

// darkStretches walks through the run, from its end where backward is true, and
// returns by how many EV each frame of a dark stretch lies below the frames passed
// before; 0 for all others. High is the upper quarter of the run.
func (r *run) darkStretches(high float64, backward bool) []float64 {
	n := len(r.ev)
	at := func(k int) int {
		if backward {
			return n - 1 - k
		}
		return k
	}
	var refs []int // the last frames that are not dark
	low, below := make([]float64, n), make([]float64, n)
	begin := -1 // of a stretch
	end := func(k int) {
		if begin < 0 {
			return
		}
		if k < n || shortStretch*(k-begin) <= n || median(slices.Clone(low[begin:k])) >= deepEV {
			for m := begin; m < k; m++ {
				below[at(m)] = low[m]
			}
		}
		begin = -1
	}
	for k := range n {
		i := at(k)
		var d []float64
		for _, ref := range refs[max(0, len(refs)-darkAround):] {
			d = append(d, r.unexplained(i, ref))
		}
		if d = known(d); len(d) > 0 {
			low[k] = median(d)
		}
		if low[k] >= r.th.DarkEV && (high-(r.ev[i]-r.settings[i]) >= r.th.DarkEV || low[k] >= blackEV) {
			if begin < 0 {
				begin = k
			}
			continue
		}
		end(k)
		if !r.strange[i] { // no measure for the run
			refs = append(refs, i)
		}
	}
	end(n)
	return below
}

// unexplained returns by how many EV frame i is darker than frame ref beyond what
// the settings make. Where these differ it is what is darker at least: tone curves
// make the difference of two pictures larger than that of their light, by half of it
// at most, and settings that should brighten may do nothing, as those of the time
// where a flash makes the light. It is NaN where settings are not known.
func (r *run) unexplained(i, ref int) float64 {
	by := r.settings[ref] - r.settings[i]
	d := r.ev[ref] - r.ev[i] - by
	if math.Abs(by) >= settled {
		d -= math.Abs(by) * toneCurve
	}
	return min(d, r.ev[ref]-r.ev[i])
}

// allBlack reports whether no picture of the run shows anything.
func (r *run) allBlack() bool {
	return !slices.ContainsFunc(r.frames, func(f frame) bool { return f.luma >= nearlyBlack })
}

// unlike reports whether most neighbouring pictures that show something do not show
// the same thing.
func (r *run) unlike() bool {
	n, apart := 0, 0
	for _, l := range r.links {
		if r.frames[l.from].luma < nearlyBlack || r.frames[l.to].luma < nearlyBlack {
			continue
		}
		n++
		if !l.motion.Converged {
			apart++
		}
	}
	return n >= unlikeLinks && 2*apart > n
}
