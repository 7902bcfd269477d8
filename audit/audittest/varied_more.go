package audittest

import (
	"fmt"
	"math"
	"path"
	"time"

	"prestrike/audit/shoot"
	"prestrike/exifread"
)

// amend changes what the files that were made last record.
func (b *randomBody) amend(frame string, change func(*shoot.File)) {
	for i := len(b.shoot.Files) - 1; i >= 0 && stem(b.shoot.Files[i].Path) == stem(frame); i-- {
		change(b.shoot.Files[i])
	}
}

// merged makes the picture that the camera merges from the frames before: a
// JPEG without a raw file, mostly of its own size, and tagged or not.
func (b *randomBody) merged(l look) {
	pair := b.pair
	b.pair = 0
	frame := b.frame(l)
	b.pair = pair
	cropped, tagged := b.r.Float64() < 0.7, b.r.Float64() < 0.6
	b.amend(frame, func(f *shoot.File) {
		if cropped {
			f.Meta.Width, f.Meta.Height = exifread.Of[uint32](7680), exifread.Of[uint32](5120)
		}
		if tagged {
			f.Meta.CompositeImage = exifread.Of[uint16](3)
		}
	})
	b.shoot.Merged[frame] = true
}

func (b *randomBody) mergedPictures() {
	for range 2 + b.r.IntN(3) {
		l := b.look
		if b.r.Float64() < 0.6 {
			c := b.between(0.3, 1.2)
			l = b.quick(l, c)
			b.held(shoot.Focus, shoot.Tripod, fmt.Sprintf("stack %.2f s, merged", c), b.stack(l, 8+b.r.IntN(13), c, 0.03, walk{}))
			b.wait(b.between(3, 15))
		} else {
			l.mode = exifread.ExposureBracket
			n := 3 + 2*b.r.IntN(2)
			b.held(shoot.Bracket, shoot.SupportAuto, fmt.Sprintf("bracket of %d, merged", n), b.exposures(l, n, 2, func() float64 { return b.between(0.2, 0.4) }))
			b.wait(b.between(1, 4))
		}
		b.merged(b.look)
		b.wait(b.between(40, 120))
	}
}

// exposures makes n frames a number of EV apart, the metered one first; dead is
// the time from each to the next.
func (b *randomBody) exposures(l look, n int, step float64, dead func() float64) []string {
	middle := b.spread(1.0/60, 0.25)
	var frames []string
	for i := range n {
		if i > 0 {
			b.wait(seconds(l.t) + dead())
		}
		k := float64((i + 1) / 2)
		if i%2 == 1 {
			k = -k
		}
		l.t = nominal(middle * math.Pow(2, k*step))
		frames = append(frames, b.frame(l))
		bias := exifread.Rational{Num: int64(math.Round(k * step * 3)), Den: 3}
		b.amend(frames[i], func(f *shoot.File) { f.Meta.ExposureBias = exifread.Of(bias) })
	}
	return frames
}

func (b *randomBody) focusTimesExposure() {
	l, w := b.look, b.walk()
	if b.r.Float64() < 0.6 {
		l.mode = exifread.ExposureBracket
	}
	n, positions := 3, 8+b.r.IntN(23)
	if b.r.Float64() < 0.25 {
		n = 5
	}
	middle, dead, settle := b.spread(1.0/60, 1.0/8), b.between(0.2, 0.8), b.between(0, 1.5)
	var frames []string
	for i := range positions {
		if w != (walk{}) {
			l.distance = w.from + w.step*float64(i)
		}
		for k := range n {
			if len(frames) > 0 {
				b.wait(seconds(l.t) + b.jittered(dead, 0.05))
			}
			if k == 0 && i > 0 {
				b.wait(settle)
			}
			l.t = nominal(middle * math.Pow(2, 2*float64(k-n/2)))
			frames = append(frames, b.frame(l))
		}
	}
	b.held(shoot.Focus, shoot.Tripod, fmt.Sprintf("%d x %d, dead time %.2f s, settling %.2f s", positions, n, dead, settle), frames)
}

func (b *randomBody) bracketsByHand() {
	for range 1 + b.r.IntN(3) {
		l := b.look
		n, step := 5+b.r.IntN(4), []float64{2. / 3, 1, 1}[b.r.IntN(3)]
		first := b.spread(1.0/125, 1.0/30)
		order := make([]int, n)
		for i := range order {
			order[i] = i
		}
		sorted := b.r.IntN(3)
		switch sorted {
		case 0:
			b.r.Shuffle(n, func(i, j int) { order[i], order[j] = order[j], order[i] })
		case 1:
			for i := range order {
				order[i] = n - 1 - i
			}
		}
		compensated := b.r.Float64() < 0.5
		if compensated {
			l.program, l.mode = exifread.ProgramAperturePriority, exifread.ExposureAuto
		}
		var frames []string
		for i, k := range order {
			if i > 0 {
				b.wait(seconds(l.t) + b.between(3, 18))
			}
			l.t = nominal(first * math.Pow(2, float64(k)*step))
			frames = append(frames, b.frame(l))
			if compensated {
				bias := exifread.Rational{Num: int64(math.Round(float64(k-n/2) * step * 3)), Den: 3}
				b.amend(frames[i], func(f *shoot.File) { f.Meta.ExposureBias = exifread.Of(bias) })
			}
		}
		b.held(shoot.Bracket, shoot.Tripod, fmt.Sprintf("bracket of %d by hand, %.2f EV, order %d, compensation %v", n, step, sorted, compensated), frames)
		b.wait(b.between(90, 300))
	}
}

// returning makes runs one after the other with pauses that return after as
// many frames each time.
func (b *randomBody) returning(runs, n int, c, pause float64, what string) {
	l, w := b.quick(b.look, c), b.walk()
	for i := range runs {
		if i > 0 {
			b.wait(b.jittered(pause, 0.03))
		}
		b.held(shoot.Focus, shoot.Tripod, fmt.Sprintf("%s: %d x %d frames at %.2f s, pauses of %.2f s", what, runs, n, c, pause), b.stack(l, n, c, 0.02, w))
	}
}

func (b *randomBody) column() {
	c := b.offBeat(0.8, 2)
	b.returning(5+b.r.IntN(6), 15+b.r.IntN(26), c, c*b.between(2.6, 5), "column")
}

func (b *randomBody) turntable() {
	c := b.offBeat(0.4, 1.2)
	b.returning(4+b.r.IntN(9), 24+b.r.IntN(37), c, c*b.between(2.6, 6), "turntable")
}

func (b *randomBody) smallJPEGs() {
	c := b.offBeat(0.6, 3)
	first := len(b.shoot.Files)
	b.look.f = []float64{4, 5.6, 8}[b.r.IntN(3)]
	l, w := b.quick(b.look, c), b.walk()
	for range 2 + b.r.IntN(3) {
		b.held(shoot.Focus, shoot.Tripod, fmt.Sprintf("stack %.2f s, small JPEGs", c), b.stack(l, 15+b.r.IntN(46), c, 0.02, w))
		b.wait(b.between(30, 60) * c)
	}
	width := []uint32{1032, 2064, 2752, 4128}[b.r.IntN(4)]
	plane := b.r.Float64() < 0.7
	for _, f := range b.shoot.Files[first:] {
		f.Meta.FocalLength35 = exifread.Of(uint32(l.mm))
		if plane { // of the sensor: 8256 pixels on 36 mm
			f.Meta.FocalPlaneXResolution, f.Meta.FocalPlaneYResolution = exifread.Of(exifread.Rational{Num: 2293, Den: 1}), exifread.Of(exifread.Rational{Num: 2293, Den: 1})
			f.Meta.FocalPlaneResolutionUnit = exifread.Of[uint16](3)
		}
		if path.Ext(f.Path) == ".JPG" {
			f.Meta.Width, f.Meta.Height = exifread.Of(width), exifread.Of(width*2/3)
			f.Size /= 8
			f.Meta.Size = f.Size
		}
	}
}

func (b *randomBody) twoBodies() {
	number, start := b.number, b.now
	distinct := b.r.Float64() < 0.5
	serials := b.serial != ""
	quarters := []int{0, 0, 4, -4, 24, 1, -8}[b.r.IntN(7)]
	for i := range 2 {
		b.card = fmt.Sprintf("card%d/", i+1)
		b.number, b.now = number+b.r.IntN(40), start.Add(time.Duration(b.r.IntN(30))*time.Second)
		if i == 1 {
			b.now = b.now.Add(time.Duration(quarters)*15*time.Minute + time.Duration(b.between(-40, 40)*float64(time.Second)))
			if distinct || !serials {
				b.model = "BX-2"
			}
			if serials {
				b.serial = "31" + b.serial[2:]
			}
		}
		b.base()
		c := b.offBeat(0.6, 4)
		l, w := b.quick(b.look, c), b.walk()
		for range 3 + b.r.IntN(4) {
			b.held(shoot.Focus, shoot.Tripod, fmt.Sprintf("stack %.2f s on body %d, clocks %d quarter-hours apart", c, i+1, quarters), b.stack(l, 12+b.r.IntN(40), c, 0.02, w))
			b.wait(b.between(15, 60) * c)
		}
	}
}

func (b *randomBody) timeLapses() {
	c := float64(2 + b.r.IntN(29))
	b.clock(c)
	l := b.quick(b.look, c)
	n := 30 + b.r.IntN(200)
	for range 1 + b.r.IntN(2) {
		var frames []string
		for i := range n {
			if i > 0 {
				b.wait(c + 0.01*min(max(b.r.NormFloat64(), -3), 3))
			}
			frames = append(frames, b.frame(l))
		}
		b.held(shoot.TimeLapse, shoot.Tripod, fmt.Sprintf("time-lapse %.0f s", c), frames)
		b.wait(300 + 20*c)
	}
}
