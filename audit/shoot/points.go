package shoot

import (
	"math"
	"time"
)

// point is what segmentation inspects in a frame.
type point struct {
	t, q, e  float64 // start, clock resolution, exposure time: seconds
	settings settingsKey
	setup    setupKey
	auto     bool // ExposureMode is auto bracket
	number   Number
}

type settingsKey struct {
	iso          uint32
	time, f      float64
	wb           int
	orientation  uint16
	flash, isoOK bool
}

type setupKey struct {
	lens          string
	focal         float64
	width, height uint32
}

func points(frames []*Frame) []point {
	ps := make([]point, len(frames))
	var origin time.Time
	if len(frames) > 0 {
		origin = frames[0].Time
	}
	for i, f := range frames {
		m := f.meta
		p := &ps[i]
		p.t, p.q, p.e = f.Time.Sub(origin).Seconds(), f.Resolution.Seconds(), f.ExposureSeconds()
		p.settings.iso, p.settings.isoOK = m.Sensitivity.Get()
		p.settings.time = p.e
		if n, ok := m.FNumber.Get(); ok {
			p.settings.f = n.Float()
		}
		p.settings.wb = -1
		if wb, ok := m.WhiteBalance.Get(); ok {
			p.settings.wb = int(wb)
		}
		p.settings.orientation = m.Orientation.Or(0)
		if fl, ok := m.Flash.Get(); ok {
			p.settings.flash = fl.Fired()
		}
		p.setup.lens = m.LensModel.Or("")
		if fl, ok := m.FocalLength.Get(); ok {
			p.setup.focal = fl.Float()
		}
		p.setup.width, p.setup.height = m.Width.Or(0), m.Height.Or(0)
		if mode, ok := m.ExposureMode.Get(); ok {
			p.auto = mode == 2
		}
		p.number = f.Number
	}
	return ps
}

// between is what lies between two neighbouring frames.
type between struct {
	gap, q      float64 // elapsed and the clock's resolution, seconds
	count       int     // step of the number
	countKnown  bool
	changed     bool // settings
	many        bool // of several kinds
	exposureToo bool // exposure changed by 1/6 EV or more
	setup       bool // lens, focal length or picture size changed
	mode        bool // one frame was made by automatic bracketing, the other was not
}

func compare(a, b *point) between {
	w := between{gap: b.t - a.t, q: max(a.q, b.q), mode: a.auto != b.auto}
	if a.number.Known && b.number.Known {
		if a.number.Series == b.number.Series {
			w.count, w.countKnown = b.number.Count-a.number.Count, true
		} else {
			w.count, w.countKnown = math.MinInt, true
		}
	}
	if a.settings != b.settings { // as few frames have it
		w.compareSettings(a.settings, b.settings)
	}
	u, v := a.setup, b.setup
	focal := u.focal != v.focal && u.focal > 0 && v.focal > 0 && math.Abs(math.Log(u.focal/v.focal)) > 0.03
	w.setup = u.lens != v.lens || focal || u.width != v.width || u.height != v.height
	return w
}

// compareSettings notes what changed from settings x to y.
func (w *between) compareSettings(x, y settingsKey) {
	w.exposureToo = math.Abs(exposureChange(x, y)) >= SameSetting
	iso := x.isoOK && y.isoOK && x.iso != y.iso
	w.changed = w.exposureToo || iso || x.wb != y.wb || x.orientation != y.orientation
	y.iso = x.iso // time and f-number, which a programme changes together, are of one kind
	kinds := 0
	for _, differs := range [...]bool{math.Abs(exposureChange(x, y)) >= SameSetting, iso, x.wb != y.wb, x.orientation != y.orientation} {
		if differs {
			kinds++
		}
	}
	w.many = kinds >= manyKinds
}

// SameSetting, in EV, is half the finest common setting step (1/3 EV): nominal values of
// one setting never differ by as much.
const SameSetting = 1.0 / 6

// exposureChange returns how much more exposure b gets than a, in EV:
// log2(t2 S2 / t1 S1) - 2 log2(N2/N1), over what both record.
func exposureChange(a, b settingsKey) float64 {
	ev := 0.0
	if a.time > 0 && b.time > 0 {
		ev += math.Log2(b.time / a.time)
	}
	if a.f > 0 && b.f > 0 {
		ev -= 2 * math.Log2(b.f/a.f)
	}
	if a.isoOK && b.isoOK && a.iso > 0 && b.iso > 0 {
		ev += math.Log2(float64(b.iso) / float64(a.iso))
	}
	return ev
}
