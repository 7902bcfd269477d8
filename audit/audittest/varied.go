package audittest

import (
	"fmt"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"path"
	"strings"
	"time"

	"prestrike/audit/shoot"
	"prestrike/exifread"
)

// A Variety is a way of working that is hard to read from the files.
type Variety struct {
	Name  string
	files []int // what a frame may be: 0 JPEG, 1 raw, 2 both
	make  func(*randomBody)
}

// Varieties are the ways of working that Varied makes up.
var Varieties = []Variety{
	{"slow stacks", []int{0, 1, 2}, (*randomBody).slowStacks},
	{"bursts by hand", []int{0, 1, 2}, (*randomBody).burstsByHand},
	{"unreadable at a border", []int{0, 1, 2}, (*randomBody).unreadableAtBorder},
	{"pause inside", []int{0, 1, 2}, (*randomBody).pauseInside},
	{"pause between", []int{0, 1, 2}, (*randomBody).pauseBetween},
	{"numbers reversed", []int{0, 1, 2}, (*randomBody).numbersReversed},
	{"copies", []int{0, 1, 2}, (*randomBody).copiesBeside},
	{"merged pictures", []int{2}, (*randomBody).mergedPictures},
	{"focus x exposure", []int{0, 1, 2}, (*randomBody).focusTimesExposure},
	{"brackets by hand", []int{0, 1, 2}, (*randomBody).bracketsByHand},
	{"columns", []int{0, 1, 2}, (*randomBody).column},
	{"turntables", []int{0, 1, 2}, (*randomBody).turntable},
	{"small JPEGs", []int{0, 0, 0, 2}, (*randomBody).smallJPEGs},
	{"two bodies", []int{0, 1, 2}, (*randomBody).twoBodies},
	{"time-lapses", []int{0, 1, 2}, (*randomBody).timeLapses},
}

// Varied makes up a shoot of one variety. The same seed makes the same shoot.
func Varied(v Variety, seed uint64) *Shoot {
	name := fnv.New64a()
	name.Write([]byte(v.Name)) // never fails
	r := rand.New(rand.NewPCG(seed, name.Sum64()))
	s := &Shoot{Clean: true, Copies: map[string]string{}, Merged: map[string]bool{}}
	b := &randomBody{
		r: r, shoot: s, model: "BX-1", serial: fmt.Sprintf("30%05d", r.IntN(100000)), resolution: 10 * time.Millisecond,
		zone: r.Float64() < 0.5, number: 1 + r.IntN(8000), folder: 100 + r.IntN(10), pair: v.files[r.IntN(len(v.files))], prefix: "BX1_",
		now: time.Date(2026, 3, 4, 8+r.IntN(4), r.IntN(60), r.IntN(60), r.IntN(1000)*1e6, time.UTC),
	}
	if r.Float64() < 0.3 {
		b.serial = ""
	}
	b.base()
	if r.Float64() < 0.3 { // test frames
		b.done(shoot.Single, "single", []string{b.frame(b.look)})
		b.wait(b.between(200, 400))
	}
	v.make(b)
	return s
}

// clock lets the body show whole seconds, sometimes, where with its cadence the
// sequences can still be distinguished.
func (b *randomBody) clock(cadence float64) {
	if cadence >= 1.5 && b.r.Float64() < 0.4 {
		b.resolution = time.Second
	}
}

// offBeat draws a cadence that is no interval of a timer: off the quarters of a
// second by more than any clock.
func (b *randomBody) offBeat(lo, hi float64) float64 {
	for {
		c := b.between(lo, hi)
		if d := math.Abs(c*4 - math.Round(c*4)); d > 0.16 {
			return c
		}
	}
}

// quick gives the settings an exposure time that a cadence leaves room for.
func (b *randomBody) quick(l look, cadence float64) look {
	for seconds(l.t) > 0.6*cadence {
		l.t = shutter[3+b.r.IntN(9)]
	}
	return l
}

// walk is where focus begins and how far each step goes; zero where the lens
// records no distance.
type walk struct{ from, step float64 } // m

func (b *randomBody) walk() walk {
	if b.r.Float64() < 0.5 {
		return walk{}
	}
	return walk{b.between(0.31, 0.45), b.between(0.0001, 0.0003)}
}

// stack makes n frames now, one each c seconds with a scatter of share.
func (b *randomBody) stack(l look, n int, c, share float64, w walk) []string {
	frames := make([]string, 0, n)
	for i := range n {
		if i > 0 {
			b.wait(b.jittered(c, share))
		}
		if w != (walk{}) {
			l.distance = w.from + w.step*float64(i)
		}
		frames = append(frames, b.frame(l))
	}
	return frames
}

// held is done with what held the camera.
func (b *randomBody) held(kind shoot.Kind, support shoot.Support, what string, frames []string) {
	b.shoot.Sequences = append(b.shoot.Sequences, TrueSequence{Kind: kind, Support: support, What: what, Frames: frames})
}

func (b *randomBody) must(rule, what string, frames []string) {
	b.shoot.Must = append(b.shoot.Must, Fault{Rule: rule, What: what, Sequence: frames})
	b.shoot.Clean = false
}

func (b *randomBody) slowStacks() {
	c, share := b.offBeat(2, 4), b.between(0.005, 0.02)
	b.clock(c)
	l, w := b.quick(b.look, c), b.walk()
	for range 2 + b.r.IntN(3) {
		b.held(shoot.Focus, shoot.Tripod, fmt.Sprintf("stack %.2f s", c), b.stack(l, 30+b.r.IntN(60), c, share, w))
		b.wait(b.between(12, 30) * c)
	}
}

// isoThirds are ISO values a third of a stop apart, as bodies name them.
var isoThirds = []uint32{160, 200, 250, 320, 400, 500, 640, 800, 1000, 1250, 1600, 2000}

func (b *randomBody) burstsByHand() {
	for range 1 + b.r.IntN(6) {
		l := b.look
		l.t, l.orient = shutter[b.r.IntN(5)], []uint16{1, 1, 6}[b.r.IntN(3)]
		l.program, l.mode = exifread.ProgramAperturePriority, exifread.ExposureAuto
		if b.r.Float64() < 0.4 { // time and f-number by hand, ISO by the camera
			l.program, l.mode = exifread.ProgramManual, exifread.ExposureAuto
		}
		automatic, third := b.r.Float64() < 0.6, 0
		base := 1 + b.r.IntN(len(isoThirds)-2)
		c := 1 / b.between(3, 12)
		var frames []string
		for i := range 4 + b.r.IntN(37) {
			if i > 0 {
				b.wait(b.jittered(c, 0.06))
			}
			if automatic && b.r.Float64() < 0.2 { // by less than 1 EV in all
				third = min(max(third+b.r.IntN(3)-1, -1), 1)
			}
			l.iso = isoThirds[base+third]
			frames = append(frames, b.frame(l))
		}
		b.held(shoot.Burst, shoot.Handheld, fmt.Sprintf("burst %.2f s, automatic ISO %v", c, automatic), frames)
		b.wait(b.between(3, 60))
	}
}

// damage leaves nothing that can be read of the frame's files.
func (b *randomBody) damage(frame string) {
	for _, f := range b.shoot.frame(frame) {
		f.Meta = &exifread.Metadata{Size: f.Size, Modified: f.Meta.Modified}
		f.Err = &exifread.FormatError{Problem: "the file is empty"}
	}
}

// written gives the files their modification times: as the card kept them, or
// the one of a copy.
func (b *randomBody) written(kept bool, at map[string]time.Time) {
	for _, f := range b.shoot.Files {
		f.Meta.Modified = time.Date(2026, 3, 4, 18, 0, 0, 0, time.UTC)
		if kept {
			f.Meta.Modified = at[stem(f.Path)].Truncate(cardClock)
		}
	}
}

func (b *randomBody) unreadableAtBorder() {
	c := b.offBeat(0.8, 4)
	b.clock(c)
	l, w := b.quick(b.look, c), b.walk()
	n, stacks := 12+b.r.IntN(49), 3+b.r.IntN(3)
	at := b.r.IntN(stacks)
	place := []string{"first", "last", "alone"}[b.r.IntN(3)]
	kept := b.r.Float64() < 0.5
	written := map[string]time.Time{}
	note := func(frame string, made time.Time) {
		written[stem(frame)] = made.Add(time.Duration((seconds(l.t) + 0.3) * float64(time.Second)))
	}
	var lost []string
	for i := range stacks {
		if i > 0 {
			b.wait(b.between(15, 40) * c)
		}
		if place == "alone" && i == at {
			lost = []string{b.frame(l)}
			note(lost[0], b.now)
			b.done(shoot.Single, "unreadable, alone", lost)
			b.wait(b.between(15, 40) * c)
		}
		var frames []string
		for k := range n {
			if k > 0 {
				b.wait(b.jittered(c, 0.02))
			}
			if w != (walk{}) {
				l.distance = w.from + w.step*float64(k)
			}
			frames = append(frames, b.frame(l))
			note(frames[k], b.now)
		}
		b.held(shoot.Focus, shoot.Tripod, fmt.Sprintf("stack %.2f s, unreadable %s, times kept %v", c, place, kept), frames)
		if i == at && place != "alone" {
			lost = frames[:1]
			if place == "last" {
				lost = frames[n-1:]
			}
		}
	}
	b.written(kept, written)
	b.damage(lost[0])
	b.must("unreadable-file", fmt.Sprintf("%s, times kept %v", place, kept), lost)
}

func (b *randomBody) pauseInside() {
	c := b.offBeat(0.8, 3)
	l := b.quick(b.look, c)
	n, stacks := 24+b.r.IntN(37), 3+b.r.IntN(2)
	at, after := b.r.IntN(stacks), 5+b.r.IntN(n-10)
	ticks := b.between(3, 20)
	for i := range stacks {
		if i > 0 {
			b.wait(b.between(60, 90) * c)
		}
		if i != at {
			b.held(shoot.Focus, shoot.Tripod, "stack beside one with a pause", b.stack(l, n, c, 0.02, walk{}))
			continue
		}
		frames := b.stack(l, after, c, 0.02, walk{})
		b.wait(c * ticks)
		frames = append(frames, b.stack(l, n-after, c, 0.02, walk{})...)
		what := fmt.Sprintf("stack %.2f s with a pause of %.1f cadences", c, ticks)
		b.held(shoot.Focus, shoot.Tripod, what, frames)
		b.must("cadence-break", what, frames)
	}
}

func (b *randomBody) pauseBetween() {
	c := b.offBeat(0.8, 3)
	l, w := b.quick(b.look, c), b.walk()
	n := 12 + b.r.IntN(49)
	for range 2 + b.r.IntN(4) {
		ticks := b.between(3, 20)
		b.held(shoot.Focus, shoot.Tripod, fmt.Sprintf("stack %.2f s, the next after %.1f cadences", c, ticks), b.stack(l, n, c, 0.02, w))
		b.wait(c * ticks)
	}
}

// rename gives the files of frames other paths, in order.
func (b *randomBody) rename(frames []string, name func(i int) string) []string {
	out := make([]string, len(frames))
	for i, frame := range frames {
		for _, f := range b.shoot.frame(frame) {
			f.Path = name(i) + path.Ext(f.Path)
			f.Abs = f.Path
		}
		out[i] = name(i) + path.Ext(frame)
	}
	b.shoot.byStem = nil
	return out
}

func (b *randomBody) numbersReversed() {
	for i := range 1 + b.r.IntN(3) {
		c := b.offBeat(0.3, 4)
		n := 10 + b.r.IntN(60)
		frames := b.stack(b.quick(b.look, c), n, c, 0.02, b.walk())
		frames = b.rename(frames, func(k int) string { return fmt.Sprintf("sweep%d/sweep%d_%04d", i+1, i+1, n-k) })
		b.held(shoot.Focus, shoot.Tripod, fmt.Sprintf("stack %.2f s, numbers reversed", c), frames)
		b.wait(b.between(100, 300))
	}
}

// copyOf puts a copy of a frame's files beside them under another name.
func (b *randomBody) copyOf(frame, name string) {
	for _, f := range b.shoot.frame(frame) {
		meta, own := *f.Meta, *f
		own.Meta, own.Path = &meta, name+path.Ext(f.Path)
		own.Abs = own.Path
		b.shoot.Copies[own.Path] = f.Path
		b.shoot.Files = append(b.shoot.Files, &own)
	}
}

func (b *randomBody) copiesBeside() {
	b.card = "card/"
	c := b.offBeat(0.6, 4)
	var all []string
	for range 2 + b.r.IntN(3) {
		frames := b.stack(b.quick(b.look, c), 10+b.r.IntN(50), c, 0.02, walk{})
		b.held(shoot.Focus, shoot.Tripod, fmt.Sprintf("stack %.2f s with copies", c), frames)
		all = append(all, frames...)
		b.wait(b.between(20, 60) * c)
	}
	switch b.r.IntN(3) {
	case 0: // the whole card
		for _, f := range all {
			b.copyOf(f, "backup/"+strings.TrimPrefix(stem(f), "card/"))
		}
	case 1: // some, by the file browser
		for range 1 + b.r.IntN(5) {
			f := all[b.r.IntN(len(all))]
			if name := stem(f) + " copy"; b.shoot.Copies[name+path.Ext(f)] == "" {
				b.copyOf(f, name)
			}
		}
	case 2: // one run, with numbers of its own
		for i, f := range b.shoot.Sequences[len(b.shoot.Sequences)-1].Frames {
			b.copyOf(f, fmt.Sprintf("export/ammonite-%03d", i+1))
		}
	}
}
