package proof

import (
	"flag"
	"fmt"
	"image"
	"math"
	"slices"
	"sort"
	"testing"

	"prestrike/audit/pixels"
	"prestrike/audit/pixels/pixelstest"
)

var (
	rateScenes = flag.Int("scenes", 1, "scenes that TestProofRates renders")
	rateFirst  = flag.Uint64("first", 5001, "seed of the first of them")
)

// A scored run is what the proof of one rendered run is worth.
type scored struct {
	name             string
	highlights       bool
	third            bool // of scenes of which a third has highlights, as those had that targets come from
	psnr, best, ssim float64
	within           float64 // share of the textured places whose frame is right to within one
	dumb             float64 // share of the textured places without an index
	falseEnds        float64 // share of the textured places falsely sharpest in the first or last frame
	plain            float64 // share of the plain places called so; NaN where there are few
	cut              float64 // share of what lies before a cut run that is marked
	gap, falseGap    float64 // share of what lies in a gap that is marked, and of other places; NaN where no jump was found
}

// scoreScene renders a random scene and measures its proof.
func scoreScene(t *testing.T, seed uint64, highlights bool) scored {
	d := pixelstest.Random(seed)
	if d.Highlights = 0; highlights {
		d.Highlights = 5 + int(seed%60)
	}
	b := d.Build()
	shots := d.Shots()
	var list []image.Image
	for _, s := range shots {
		list = append(list, b.Picture(s))
	}
	run := RunOf(measured(t, list))
	f := Focus(run, listed(list))
	truth := b.Truth(shots[run.Reference], shots)
	out := scored{highlights: highlights, ssim: ssim(f.Picture.Y, f.Picture.YStride, truth.Sharp)}
	out.name = fmt.Sprintf("%d %v, %d frames, %.1f px a frame, %d highlights, background %v, %v electrons, contrast %.1f", seed, d.Shape, d.Frames, d.CoC, d.Highlights, d.Background, d.Electrons, d.Contrast)
	out.psnr = psnr(f.Picture.Y, f.Picture.YStride, truth.Sharp, nil)
	for _, img := range list {
		pix, stride := grey(img)
		out.best = max(out.best, psnr(pix, stride, truth.Sharp, nil))
	}
	out.index(f.Coverage, truth, shots)
	out.plainPlaces(f.Coverage, truth)
	out.cutRun(t, b, shots, list)
	out.gapRun(t, b, shots, list)
	return out
}

// texturedPlaces calls do for each place on the subject that has texture all over.
func texturedPlaces(c *Coverage, truth *pixelstest.Truth, do func(i int, depth float64)) {
	w, h := truth.Sharp.Rect.Dx(), truth.Sharp.Rect.Dy()
	for i := range c.Marks {
		x, y := i%c.Width*c.Side, i/c.Width*c.Side
		ok := true
		for v := max(0, y-2); v < min(h, y+c.Side+2); v++ {
			for u := max(0, x-2); u < min(w, x+c.Side+2); u++ {
				ok = ok && truth.Textured[v*w+u] && truth.Depth[v*w+u] <= 1
			}
		}
		if ok {
			do(i, float64(truth.Depth[(y+1)*w+x+1]))
		}
	}
}

func nearest(shots []pixelstest.Shot, depth float64) int {
	best := 0
	for i, s := range shots {
		if math.Abs(s.Focus-depth) < math.Abs(shots[best].Focus-depth) {
			best = i
		}
	}
	return best
}

func (s *scored) index(c *Coverage, truth *pixelstest.Truth, shots []pixelstest.Shot) {
	var all, known, right, ends float64
	texturedPlaces(c, truth, func(i int, depth float64) {
		all++
		switch c.Marks[i] {
		case Plain:
			return
		case First, Last:
			ends++
		}
		known++
		if d := int(c.Frame[i]) - nearest(shots, depth); d >= -1 && d <= 1 {
			right++
		}
	})
	s.within, s.dumb, s.falseEnds = right/known, 1-known/all, ends/all
}

// plainPlaces counts the places without texture as far as energies reach.
func (s *scored) plainPlaces(c *Coverage, truth *pixelstest.Truth) {
	const reach = 12
	w, h := truth.Sharp.Rect.Dx(), truth.Sharp.Rect.Dy()
	var all, right float64
	for i, m := range c.Marks {
		x, y := i%c.Width*c.Side, i/c.Width*c.Side
		if x < reach || y < reach || x+reach >= w || y+reach >= h {
			continue
		}
		ok := true
		for v := y - reach; v <= y+reach && ok; v += 2 {
			for u := x - reach; u <= x+reach; u += 2 {
				ok = ok && !truth.Textured[v*w+u] && truth.Depth[v*w+u] <= 1
			}
		}
		if ok {
			all++
			if m == Plain {
				right++
			}
		}
	}
	if s.plain = math.NaN(); all >= 200 {
		s.plain = right / all
	}
}

// cutRun leaves out the frames before a quarter of the subject is passed.
func (s *scored) cutRun(t *testing.T, b *pixelstest.Built, shots []pixelstest.Shot, list []image.Image) {
	at := slices.IndexFunc(shots, func(s pixelstest.Shot) bool { return s.Focus >= b.FocusAt(0.25) })
	s.cut = math.NaN()
	if at < 0 || len(shots)-at < 6 {
		return
	}
	run := RunOf(measured(t, list[at:]))
	c := Focus(run, listed(list[at:])).Coverage
	truth := b.Truth(shots[at+run.Reference], shots[at:])
	var all, marked float64
	texturedPlaces(c, truth, func(i int, depth float64) {
		if depth < shots[at].Focus-(shots[at+1].Focus-shots[at].Focus)/2 { // a frame left out is nearest
			all++
			if c.Marks[i] == First {
				marked++
			}
		}
	})
	s.cut = marked / all
}

// gapRun leaves out three frames in the middle.
func (s *scored) gapRun(t *testing.T, b *pixelstest.Built, shots []pixelstest.Shot, list []image.Image) {
	const lost = 3
	at := len(shots)/2 - 1
	left := pixelstest.Missing(shots, at, lost)
	pictures := slices.Delete(slices.Clone(list), at, at+lost)
	j := measured(t, pictures)
	s.gap, s.falseGap = math.NaN(), math.NaN()
	if !slices.ContainsFunc(j.Jumps.Events, func(e pixels.Jump) bool { return e.From == at-1 && e.To == at }) {
		return
	}
	run := RunOf(j)
	c := Focus(run, listed(pictures)).Coverage
	truth := b.Truth(left[run.Reference], left)
	var all, marked, other, wrong float64
	texturedPlaces(c, truth, func(i int, depth float64) {
		step := (shots[at+lost].Focus - shots[at-1].Focus) / (lost + 1)
		told := c.Marks[i] != Plain
		in := told && depth > shots[at-1].Focus+step/2 && depth < shots[at+lost].Focus-step/2
		far := depth < shots[at-1].Focus || depth > shots[at+lost].Focus
		found := c.Marks[i] == Between
		switch {
		case in:
			all++
			if found {
				marked++
			}
		case far:
			other++
			if found {
				wrong++
			}
		}
	})
	s.gap, s.falseGap = marked/all, wrong/other
}

// A target is one number of all scenes, and what it is held to on the 60 scenes of which
// DEVELOPERS.md states it, seeds 15001 to 15060: what was aimed at, and where more was measured
// than that a little less than was measured.
type target struct {
	name   string
	value  func(s scored) float64
	median float64 // at least
	mean   float64 // at least
	each   float64 // at least
	most   float64 // each at most; 0 for no bound
	usual  float64 // median at most; 0 for no bound
}

var targets = []target{
	{name: "PSNR, dB", value: func(s scored) float64 { return s.psnr }, median: 43.5, mean: 43.5},
	{name: "PSNR of scenes of which a third has highlights", value: func(s scored) float64 { return unless(!s.third, s.psnr) }, median: 43.5, mean: 43.5},
	{name: "PSNR above the best frame, dB", value: func(s scored) float64 { return s.psnr - s.best }, mean: 7, each: -2},
	{name: "PSNR without highlights", value: func(s scored) float64 { return unless(s.highlights, s.psnr) }, median: 43.5, mean: 43.5, each: 39},
	{name: "PSNR with highlights", value: func(s scored) float64 { return unless(!s.highlights, s.psnr) }, median: 43, each: 34},
	{name: "SSIM", value: func(s scored) float64 { return s.ssim }, median: 0.98, each: 0.94},
	{name: "frame right to within one, of the textured places told", value: func(s scored) float64 { return s.within }, median: 0.95},
	{name: "textured places not told", value: func(s scored) float64 { return s.dumb }, usual: 0.03},
	{name: "falsely first or last", value: func(s scored) float64 { return s.falseEnds }, most: 0.025, usual: 0.005},
	{name: "plain places called plain", value: func(s scored) float64 { return s.plain }, median: 0.9},
	{name: "what lies before a cut of 25 %, marked", value: func(s scored) float64 { return s.cut }, median: 0.92},
	{name: "what lies in a gap of three frames that was found, marked", value: func(s scored) float64 { return s.gap }, median: 0.85},
	{name: "what lies beside it, marked", value: func(s scored) float64 { return s.falseGap }, usual: 0.03},
}

func unless(not bool, v float64) float64 {
	if not {
		return math.NaN()
	}
	return v
}

// column returns the known values of all scenes, sorted.
func column(list []scored, value func(scored) float64) []float64 {
	var out []float64
	for _, s := range list {
		if v := value(s); !math.IsNaN(v) {
			out = append(out, v)
		}
	}
	slices.Sort(out)
	return out
}

// manyScenes is how many scenes are enough for medians and means to be held to as they are; of
// fewer, someScenes and more, as far as chance leaves it open.
const manyScenes, someScenes = 40, 10

// belowTargets reports whether the median and the mean of the values of n scenes, sorted, are
// below what they are held to. Of fewer than manyScenes that is so where the median of all scenes
// lies there at 97.5 % confidence (sign test), or the mean, which is taken for normal.
func (r target) belowTargets(n int, v []float64) bool {
	sum, squares := 0.0, 0.0
	for _, x := range v {
		sum += x
	}
	mean := sum / float64(len(v))
	for _, x := range v {
		squares += (x - mean) * (x - mean)
	}
	under, _ := slices.BinarySearch(v, r.median)
	over := 0
	if r.usual > 0 {
		over = len(v) - sort.Search(len(v), func(i int) bool { return v[i] > r.usual })
	}
	switch {
	case n >= manyScenes:
		median := v[len(v)/2]
		return median < r.median || mean < r.mean || r.usual > 0 && median > r.usual
	case n >= someScenes:
		error95 := 1.96 * math.Sqrt(squares/float64(len(v)-1)/float64(len(v)))
		return moreThanHalf(under, len(v)) || moreThanHalf(over, len(v)) || mean+error95 < r.mean
	}
	return false
}

// moreThanHalf reports whether k of n or more are too many to come of one half by chance, 2.5 %.
func moreThanHalf(k, n int) bool {
	p, term := 0.0, math.Exp2(-float64(n)) // of n, n-1 and so on
	for i := n; i >= k; i-- {
		p += term
		term *= float64(i) / float64(n-i+1)
	}
	return p < 0.025
}

func TestMoreThanHalf(t *testing.T) {
	for _, c := range []struct {
		k, n int
		want bool
	}{{14, 20, false}, {15, 20, true}, {0, 20, false}, {8, 10, false}, {9, 10, true}, {10, 20, false}} { // by a table of the binomial
		if got := moreThanHalf(c.k, c.n); got != c.want {
			t.Errorf("%d of %d: %v", c.k, c.n, got)
		}
	}
}

// TestTargetsBiteOnFewScenes holds that a proof that got worse by as much as its scenes
// scatter is noticed of twenty, and what is not worse is let through.
func TestTargetsBiteOnFewScenes(t *testing.T) {
	r := target{median: 43, mean: 41.5}
	for by, want := range map[float64]bool{0: false, -1: false, -4: true} {
		var v []float64
		for i := range 20 {
			v = append(v, 43.5+0.3*float64(i-10)+by) // 40.5 to 46.2
		}
		if got := r.belowTargets(len(v), v); got != want {
			t.Errorf("by %v dB: %v", by, got)
		}
	}
	small := target{usual: 0.03}
	if small.belowTargets(20, slices.Repeat([]float64{0.01}, 20)) || !small.belowTargets(20, slices.Repeat([]float64{0.05}, 20)) {
		t.Error("shares that are to be small")
	}
}

// TestProofRates renders scenes and states what proofs are worth.
func TestProofRates(t *testing.T) {
	pixelstest.Long(t)
	n := *rateScenes
	if testing.Short() {
		n = min(n, 2)
	}
	list := make([]scored, n)
	t.Run("scenes", func(t *testing.T) {
		for i := range list {
			seed := *rateFirst + uint64(i)
			t.Run(fmt.Sprint(seed), func(t *testing.T) {
				t.Parallel()
				list[i] = scoreScene(t, seed, i%2 == 1)
				list[i].third = i%4 != 3
			})
		}
	})
	for _, s := range list {
		t.Logf("%s: PSNR %.1f, best frame %.1f, SSIM %.3f; right %.2f, not told %.3f, false ends %.4f, plain %.2f, cut %.2f, gap %.2f, false %.3f",
			s.name, s.psnr, s.best, s.ssim, s.within, s.dumb, s.falseEnds, s.plain, s.cut, s.gap, s.falseGap)
	}
	for _, r := range targets {
		v := column(list, r.value)
		if len(v) == 0 {
			continue
		}
		sum := 0.0
		for _, x := range v {
			sum += x
		}
		median, mean := v[len(v)/2], sum/float64(len(v))
		t.Logf("| %s | %d | %.3f | %.3f | %.3f to %.3f |", r.name, len(v), median, mean, v[0], v[len(v)-1])
		if r.each != 0 && v[0] < r.each || r.most > 0 && v[len(v)-1] > r.most {
			t.Errorf("%s: %.3f to %.3f, want %v at least, %v at most", r.name, v[0], v[len(v)-1], r.each, r.most)
		}
		if r.belowTargets(n, v) {
			t.Errorf("%s: median %.3f and mean %.3f, want a median from %v to %v and a mean of %v", r.name, median, mean, r.median, r.usual, r.mean)
		}
	}
}
