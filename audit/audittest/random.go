package audittest

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"time"

	"prestrike/audit/shoot"
	"prestrike/exifread"
)

// A Shoot is a made-up shoot: its files, and the sequences that they truly are.
type Shoot struct {
	Files     []*shoot.File
	Sequences []TrueSequence
	// Clean means that nothing is wrong with the shoot.
	Clean bool

	// What only Varied fills in.
	Must   []Fault           // what must be found
	Copies map[string]string // from the path of each copy to that of its original
	Merged map[string]bool   // the paths of pictures that the camera merged

	byStem map[string][]*shoot.File
}

// A TrueSequence is a run as it was made.
type TrueSequence struct {
	Kind   shoot.Kind
	Frames []string // the path of each frame's first file, in order
	What   string   // how it was made, for people who inspect a miss
	// Support is what held the camera; SupportAuto where the shoot does not state it.
	Support shoot.Support
}

// Random makes up a shoot. The same seed makes the same shoot.
//
// It draws from what photographers do: focus runs of 8 to 120 frames at 0.1 s to
// 60 s with up to 10 % jitter, flash recycling and buffer stalls, exposure
// brackets of 3 to 9, time-lapses of 30 to 500, handheld bursts, singles, marker
// frames, self-timers, aborted runs with their retakes, deleted test frames, one
// or two bodies with and without serial numbers, clocks that show whole seconds,
// numbers that roll over, and raw + JPEG pairs.
func Random(seed uint64) *Shoot {
	r := rand.New(rand.NewPCG(seed, 0x616d6d6f6e697465))
	s := &Shoot{Clean: true}
	start := time.Date(2026, 3, 4, 8+r.IntN(4), r.IntN(60), r.IntN(60), r.IntN(1000)*1e6, time.UTC)
	bodies := 1
	if r.Float64() < 0.25 {
		bodies = 2
	}
	twins := bodies == 2 && r.Float64() < 0.5 // one model, no serial numbers
	pairs := r.IntN(3)
	for i := range bodies {
		b := &randomBody{r: r, shoot: s, now: start.Add(time.Duration(r.IntN(300)) * time.Second)}
		b.model = fmt.Sprintf("BX-%d", 1+i)
		b.serial = fmt.Sprintf("30%05d", r.IntN(100000))
		if r.Float64() < 0.3 {
			b.serial = ""
		}
		if twins {
			b.model, b.serial = "BX-1", ""
		}
		b.resolution = 10 * time.Millisecond
		if r.Float64() < 0.4 {
			b.resolution = time.Second
		}
		b.zone = r.Float64() < 0.5
		b.number = 1 + r.IntN(9999)
		if r.Float64() < 0.15 {
			b.number = 9999 - r.IntN(300)
		}
		b.folder = 100 + r.IntN(10)
		b.pair = pairs
		b.prefix = []string{"BX1_", "_BX1", "IMGB"}[r.IntN(3)]
		b.card = ""
		if bodies == 2 {
			b.card = fmt.Sprintf("card%d/", i+1)
			if twins && r.Float64() < 0.4 {
				b.card = "" // both copied into one folder
				b.number = 500 + 3000*i + r.IntN(1500)
				b.folder, b.prefix = 100, "BX1_"
			}
		}
		b.base()
		for range 4 + r.IntN(9) {
			b.scene()
		}
	}
	return s
}

type randomBody struct {
	r          *rand.Rand
	shoot      *Shoot
	now        time.Time
	model      string
	serial     string
	resolution time.Duration
	zone       bool
	number     int
	folder     int
	pair       int // 0 JPEG, 1 raw, 2 both
	prefix     string
	card       string
	look       look
	cadence    float64 // of the run just made
	exposed    float64 // exposure time of the frame just made, seconds
}

// look is what a frame records of the settings.
type look struct {
	t        exifread.Rational
	f        float64
	iso      uint32
	mm       float64
	program  exifread.ExposureProgram
	mode     exifread.ExposureMode
	wb       exifread.WhiteBalance
	orient   uint16
	flash    exifread.Flash
	distance float64
}

var shutter = []exifread.Rational{
	{Num: 1, Den: 1000},
	{Num: 1, Den: 500},
	{Num: 1, Den: 250},
	{Num: 1, Den: 200},
	{Num: 1, Den: 160},
	{Num: 1, Den: 125},
	{Num: 1, Den: 60},
	{Num: 1, Den: 30},
	{Num: 1, Den: 15},
	{Num: 1, Den: 8},
	{Num: 1, Den: 4},
	{Num: 1, Den: 2},
	{Num: 1, Den: 1},
	{Num: 2, Den: 1},
	{Num: 4, Den: 1},
	{Num: 8, Den: 1},
	{Num: 15, Den: 1},
}

func (b *randomBody) base() {
	r := b.r
	b.look = look{
		t: shutter[3+r.IntN(9)], f: []float64{4, 5.6, 8, 11}[r.IntN(4)], iso: []uint32{64, 100, 200}[r.IntN(3)],
		mm: []float64{60, 90, 105}[r.IntN(3)], program: exifread.ProgramManual, mode: exifread.ExposureManual, wb: exifread.WhiteBalanceManual,
		orient: []uint16{1, 1, 1, 6}[r.IntN(4)],
	}
}

func (b *randomBody) between(lo, hi float64) float64 { return lo + (hi-lo)*b.r.Float64() }

// spread draws from lo to hi evenly in the logarithm.
func (b *randomBody) spread(lo, hi float64) float64 { return lo * math.Pow(hi/lo, b.r.Float64()) }

// jittered returns c with a scatter of up to share of it.
func (b *randomBody) jittered(c, share float64) float64 { return c * (1 + share*(2*b.r.Float64()-1)) }

func (b *randomBody) wait(s float64) { b.now = b.now.Add(time.Duration(s * float64(time.Second))) }

// pause lets time pass between two runs: some seconds at least, out of
// proportion to the cadence of the run before, and off the beat of the run to
// come, where it has one: nothing distinguishes a frame on the beat from those of
// the run.
func (b *randomBody) pause(next float64) {
	p := 40 * math.Exp(b.r.NormFloat64())
	if p < 4.5 {
		p = b.between(4.5, 9)
	}
	if c := b.cadence; c > 0 && p > 0.45*c && p < 5*c {
		p = c * b.between(5, 9)
	}
	if p > 0.6*next && p < 1.6*next {
		p = next * b.between(1.6, 4)
	}
	b.wait(b.exposed + p)
	b.cadence = 0
	if b.r.Float64() < 0.2 {
		b.number += b.r.IntN(4) // deleted test frames
	}
}

// frame makes one frame now and returns the path of its first file.
func (b *randomBody) frame(l look) string {
	if b.number > 9999 {
		b.number -= 9999
		b.folder++
	}
	b.exposed = seconds(l.t)
	stem := fmt.Sprintf("%sDCIM/%dBXCAM/%s%04d", b.card, b.folder, b.prefix, b.number)
	b.number++
	m := &exifread.Metadata{
		Format: exifread.FormatJPEG, Size: 9_000_000 + int64(b.r.IntN(2_000_000)), HasExif: true,
		Make: exifread.Of("Borealis"), Model: exifread.Of(b.model),
		LensModel: exifread.Of(fmt.Sprintf("Borealis %.0f mm macro", l.mm)), FocalLength: exifread.Of(exifread.Rational{Num: int64(l.mm), Den: 1}),
		ExposureTime: exifread.Of(l.t), FNumber: exifread.Of(exifread.Rational{Num: int64(math.Round(l.f * 10)), Den: 10}), Sensitivity: exifread.Of(l.iso),
		ExposureProgram: exifread.Of(l.program), ExposureMode: exifread.Of(l.mode), WhiteBalance: exifread.Of(l.wb),
		Orientation: exifread.Of(l.orient), Flash: exifread.Of(l.flash), Width: exifread.Of[uint32](8256), Height: exifread.Of[uint32](5504),
	}
	if b.serial != "" {
		m.BodySerial = exifread.Of(b.serial)
	}
	if l.distance > 0 {
		m.SubjectDistance = exifread.Of(exifread.Distance{State: exifread.DistanceMetres, Metres: l.distance})
	}
	stamp := exifread.Timestamp{Wall: b.now.Truncate(b.resolution), Resolution: b.resolution}
	if b.zone {
		stamp.Offset = exifread.Of(time.Hour)
	}
	m.Captured = exifread.Of(stamp)
	first := ""
	add := func(ext string, format exifread.Format) {
		own := *m
		own.Format = format
		f := &shoot.File{Path: stem + ext, Abs: stem + ext, Size: own.Size, Meta: &own}
		b.shoot.Files = append(b.shoot.Files, f)
		if first == "" {
			first = f.Path
		}
	}
	if b.pair > 0 {
		add(".NEF", exifread.FormatNEF)
	}
	if b.pair != 1 {
		add(".JPG", exifread.FormatJPEG)
	}
	return first
}

func (b *randomBody) done(kind shoot.Kind, what string, frames []string) {
	b.shoot.Sequences = append(b.shoot.Sequences, TrueSequence{Kind: kind, Frames: frames, What: what})
}

// scene makes one or a few sequences.
func (b *randomBody) scene() {
	switch x := b.r.Float64(); {
	case x < 0.40:
		b.focus()
	case x < 0.52:
		b.bracket()
	case x < 0.62:
		b.interval()
	case x < 0.75:
		for range 1 + b.r.IntN(5) {
			b.burst()
		}
	default:
		b.singles()
	}
}

func seconds(t exifread.Rational) float64 { return t.Float() }

func (b *randomBody) focus() {
	r := b.r
	l := b.look
	if r.Float64() < 0.5 {
		b.base()
		l = b.look
	}
	n := 8 + r.IntN(60)
	if r.Float64() < 0.2 {
		n = 8 + r.IntN(113)
	}
	style := r.IntN(5)
	var c, share float64
	what := ""
	switch style {
	case 0: // the body steps the focus by itself, fast
		c, share, what = b.spread(0.1, 0.6), 0.05, "fast focus run"
		l.t = shutter[r.IntN(6)]
	case 1:
		c, share, what = b.spread(0.6, 4), 0.04, "focus run by the body"
	case 2: // flash
		c, share, what = b.spread(2, 9), 0.10, "flash focus run"
		l.t, l.flash = shutter[3+r.IntN(2)], 1
	case 3: // by hand, self-timer
		c, share, what = b.spread(2.5, 15), 0.10, "focus run by hand"
	case 4: // long exposures
		l.t = shutter[12+r.IntN(5)]
		c, share, what = seconds(l.t)+b.spread(0.8, 20), 0.06, "long-exposure focus run"
		n = min(n, 40)
	}
	if e := seconds(l.t); c < e+0.08 {
		c = e + b.between(0.1, 1.5)
	}
	walk := r.Float64() < 0.25
	if r.Float64() < 0.3 {
		b.pause(0)
		b.done(shoot.Single, "marker", []string{b.frame(l)})
	}
	run := func(n int) []string {
		var frames []string
		stallFrom := n
		if c < 0.5 && style == 0 && r.Float64() < 0.25 && n > 12 {
			stallFrom = 8 + r.IntN(n-8)
		}
		for i := range n {
			if i > 0 {
				g := b.jittered(c, share)
				if i >= stallFrom {
					g = b.jittered(c*2.5, 0.1)
				}
				if style == 2 && r.Float64() < 0.05 {
					g *= b.between(1.1, 1.35) // the flash takes longer
				}
				b.wait(g)
			}
			if walk {
				l.distance = 0.30 + 0.002*float64(i)
			}
			frames = append(frames, b.frame(l))
		}
		b.cadence = c
		if stallFrom < n {
			b.cadence = c * 2.5
		}
		return frames
	}
	kind := shoot.Series
	if walk {
		kind = shoot.Focus
	}
	b.pause(c)
	if r.Float64() < 0.12 && n >= 14 {
		b.done(kind, what+", aborted", run(5+r.IntN(n/2)))
		b.shoot.Clean = false
		b.pause(c)
		what += ", retake"
	}
	b.done(kind, fmt.Sprintf("%s %.2f s", what, c), run(n))
}

func (b *randomBody) bracket() {
	r := b.r
	l := b.look
	n := 3 + 2*r.IntN(4)
	step := []float64{1. / 3, 2. / 3, 1, 1, 2}[r.IntN(5)]
	auto := r.Float64() < 0.6
	if auto {
		l.mode = exifread.ExposureBracket
	}
	middle := b.spread(1.0/250, 0.25)
	dead := b.spread(0.12, 0.9)
	if !auto {
		dead = b.between(2, 6)
	}
	order := make([]int, n)
	for i := range order {
		order[i] = i - n/2
	}
	if r.Float64() < 0.5 { // the metered one first
		slices.SortStableFunc(order, func(x, y int) int { return abs(x) - abs(y) })
	}
	cycles := 1
	if auto && r.Float64() < 0.2 {
		cycles = 2 + r.IntN(3)
	}
	b.pause(dead)
	first := true
	for range cycles {
		var frames []string
		for _, k := range order {
			if !first {
				b.wait(seconds(l.t) + b.jittered(dead, 0.06))
			}
			first = false
			l.t = nominal(middle * math.Pow(2, float64(k)*step))
			frames = append(frames, b.frame(l))
		}
		b.done(shoot.Bracket, fmt.Sprintf("bracket of %d, %.2f EV, auto %v, dead time %.2f s", n, step, auto, dead), frames)
	}
	b.cadence = dead + seconds(l.t)
}

// nominal returns the exposure time as bodies record it, to a third of a stop.
func nominal(t float64) exifread.Rational {
	k := math.Round(3 * math.Log2(t))
	t = math.Pow(2, k/3)
	if t < 0.3 {
		return exifread.Rational{Num: 10, Den: int64(math.Round(10 / t))}
	}
	return exifread.Rational{Num: int64(math.Round(10 * t)), Den: 10}
}

func (b *randomBody) interval() {
	r := b.r
	l := b.look
	n := 30 + r.IntN(90)
	if r.Float64() < 0.2 {
		n = 30 + r.IntN(471)
	}
	c := math.Round(b.spread(2, 60))
	if c*float64(n) > 2*3600 {
		c = max(2, math.Floor(2*3600/float64(n)))
	}
	for seconds(l.t) > 0.6*c {
		l.t = shutter[5+r.IntN(7)]
	}
	b.pause(c)
	var frames []string
	for i := range n {
		if i > 0 {
			b.wait(b.jittered(c, min(0.01, 0.04/c)))
		}
		frames = append(frames, b.frame(l))
	}
	b.cadence = c
	b.done(shoot.TimeLapse, fmt.Sprintf("time-lapse %.0f s", c), frames)
}

func (b *randomBody) burst() {
	r := b.r
	l := b.look
	l.program, l.mode, l.t, l.iso = exifread.ProgramAperturePriority, exifread.ExposureAuto, shutter[r.IntN(6)], []uint32{200, 400, 800}[r.IntN(3)]
	c := b.spread(0.08, 0.4)
	b.pause(0)
	var frames []string
	for i := range 3 + r.IntN(13) {
		if i > 0 {
			b.wait(b.jittered(c, 0.08))
		}
		frames = append(frames, b.frame(l))
	}
	b.cadence = c
	b.done(shoot.Burst, fmt.Sprintf("burst %.2f s", c), frames)
}

func (b *randomBody) singles() {
	r := b.r
	for range 1 + r.IntN(6) {
		if r.Float64() < 0.4 {
			b.base()
		}
		l := b.look
		if r.Float64() < 0.3 {
			l.t = shutter[r.IntN(len(shutter))]
		}
		b.pause(0)
		b.done(shoot.Single, "single", []string{b.frame(l)})
	}
}

func abs(n int) int {
	if n < 0 {
		return -n
	}
	return n
}

// Compare returns the truths that the grouped sessions hold exactly, frame by
// frame, and those they do not.
func (s *Shoot) Compare(sessions []*shoot.Session) (exact, missed []TrueSequence) {
	have := map[string]*shoot.Sequence{}
	for _, session := range sessions {
		for _, q := range session.Sequences {
			paths := make([]string, len(q.Frames))
			for i, f := range q.Frames {
				paths[i] = f.Path()
			}
			have[strings.Join(paths, "\n")] = q
		}
	}
	for _, t := range s.Sequences {
		if have[strings.Join(t.Frames, "\n")] != nil {
			exact = append(exact, t)
		} else {
			missed = append(missed, t)
		}
	}
	return exact, missed
}
