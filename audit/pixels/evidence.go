package pixels

import (
	"math"
	"slices"
)

// A run is what the frames added so far have shown, before any question is asked.
// Nothing in it changes once it is made. Its slices go by frame where the frame
// has a measure, in the order added, or by link.
type run struct {
	th        Thresholds
	grid      tileGrid
	added     int // frames, with and without a measure
	frames    []frame
	links     []link
	long      bool // the curves were given up
	otherSize bool // some pictures are of another size

	settings []float64 // EV by which they make each frame brighter; NaN where not known
	strange  []bool    // frames that show something else than the run
	ev       []float64 // brightness against the first frame, EV
	lnGain   []float64 // ln of the ratio of code values to the first frame
}

// Evidence is a run of which the dark frames are known: what most questions are
// asked of. Nothing in it changes once it is made. Each question is a method that
// takes the answers it builds on as arguments and returns its own.
type evidence struct {
	*run
	dark      []bool // frames far below the others' light
	outside   []bool // frames that are strange or dark: no part of any curve
	views     Views
	unfit     string // why the pictures cannot show whether focus moves; empty where they can
	signature signature
}

func (s *Sequence) run(th Thresholds, settings []float64) *run {
	r := &run{
		th: th, grid: s.grid, added: s.n, frames: s.frames, links: s.links, long: s.long, otherSize: s.otherSize > 0,
		settings: make([]float64, len(s.frames)),
	}
	for i, f := range s.frames {
		if settings != nil {
			r.settings[i] = settings[f.index]
		}
	}
	r.strange = r.strangers()
	if len(r.frames) > 0 {
		r.ev, r.lnGain = r.brightnessPath()
	}
	return r
}

// evidence completes the run by its dark frames.
func (r *run) evidence(dark []bool) *evidence {
	e := &evidence{run: r, dark: dark, outside: make([]bool, len(dark))}
	for i := range dark {
		e.outside[i] = r.strange[i] || dark[i]
	}
	e.views = e.askViews()
	e.unfit = e.whyUnfit()
	e.signature = r.readSignature()
	if e.unfit != "" {
		e.signature.Kind, e.signature.faint = "", false
	}
	return e
}

// whyUnfit returns the reason why sharpness that comes and goes is no sign of focus:
// the pictures show one thing after another, or the subject from all sides, or their
// exposures differ. After one frame or one step of other settings the rest can still
// be compared.
func (e *evidence) whyUnfit() string {
	links, resets := 0, 0
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, l := range e.links {
		if e.outside[l.from] || e.outside[l.to] {
			continue
		}
		links++
		a, b := e.settings[l.from], e.settings[l.to]
		if math.Abs(b-a) >= settled {
			resets++
		}
		if !math.IsNaN(a) && !math.IsNaN(b) {
			lo, hi = min(lo, a, b), max(hi, a, b)
		}
	}
	switch {
	case e.mostlyApart():
		return ReasonUnrelated
	case e.views.Answer == Found:
		return ReasonViews
	case links > 0 && float64(resets) >= unfitShare*float64(links) && hi-lo > unfitEV:
		return ReasonSettings
	}
	return ""
}

// span is the number of frames the link goes forward.
func (r *run) span(l link) float64 {
	return float64(r.frames[l.to].index - r.frames[l.from].index)
}

// ends returns the places, in the order added, of the frames that the link joins.
func (r *run) ends(l link) (from, to int) {
	return r.frames[l.from].index, r.frames[l.to].index
}

// diagonal is that of the analysed picture, px.
func (r *run) diagonal() float64 {
	return math.Hypot(float64(r.grid.width), float64(r.grid.height)) / float64(r.grid.factor)
}

// perLongSide is the size of 1 px of a picture with a long side of 1,600 px in this
// run's px.
func (r *run) perLongSide() float64 {
	return float64(max(r.grid.width, r.grid.height)/r.grid.factor) / longSide
}

// oneView reports whether each picture that belongs to the run shows what the one
// before shows, at the same settings.
func (r *run) oneView() bool {
	for _, l := range r.links {
		if !l.motion.Converged || r.resets(l) {
			return false
		}
	}
	return len(r.links) >= oneViewLinks
}

// strangers returns the frames that show something else than the run: those found
// so as they were added, and the few at either end from which the picture cannot be
// followed, while it can behind them.
func (r *run) strangers() []bool {
	out := make([]bool, len(r.frames))
	for i, f := range r.frames {
		out[i] = f.odd
	}
	n := len(r.links)
	follows := func(i int) bool { return i >= 0 && i < n && r.links[i].motion.Converged }
	for i := min(testFrames, n) - 1; i >= 0; i-- {
		if !follows(i) && follows(i+1) && follows(i+2) {
			for k := range r.links[i].to {
				out[k] = true
			}
			break
		}
	}
	for i := max(0, n-testFrames); i < n; i++ {
		if !follows(i) && follows(i-1) && follows(i-2) {
			for k := r.links[i].from + 1; k < len(out); k++ {
				out[k] = true
			}
			break
		}
	}
	return out
}

// brightnessPath sums the links' changes from the first frame on. A frame that
// shows something else is compared by its whole picture's light.
func (r *run) brightnessPath() (ev, lnGain []float64) {
	n := len(r.frames)
	ev, lnGain = make([]float64, n), make([]float64, n)
	for i := range ev {
		ev[i] = math.NaN()
	}
	ev[0] = 0
	for _, l := range r.links {
		ev[l.to] = ev[l.from] + l.ev
		lnGain[l.to] = lnGain[l.from] + l.gain
	}
	for i := range ev {
		if math.IsNaN(ev[i]) && i > 0 {
			ev[i] = ev[i-1] + math.Log2((r.frames[i].light+lightFloor)/(r.frames[i-1].light+lightFloor))
		}
	}
	return ev, lnGain
}

// withoutTests returns the frames that are no part of the curves, with those at
// either end from which focus jumps to the run or away from it, and whether there
// are any of these.
func (e *evidence) withoutTests(o Order) (outside []bool, any bool) {
	first, last := 0, e.added-1
	for _, ev := range o.Events {
		if ev.Kind != Turned && ev.Kind != Restarted {
			continue
		}
		if ev.From+1 < testFrames && ev.To <= testFrames {
			first = max(first, ev.To)
		}
		if e.added-1-ev.From < testFrames {
			last = min(last, ev.From)
		}
	}
	outside = slices.Clone(e.outside)
	for i, f := range e.frames {
		if f.index < first || f.index > last {
			any = any || !outside[i]
			outside[i] = true
		}
	}
	return outside, any
}
