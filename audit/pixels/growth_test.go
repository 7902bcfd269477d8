package pixels_test

import (
	"image"
	"math"
	"slices"
	"sync"
	"testing"

	"prestrike/audit/pixels"
	"prestrike/audit/pixels/pixelstest"
)

// testRun measures every k-th of the pictures as a test run.
func testRun(pictures []image.Image, k int) (*pixels.Judgement, pixels.Growth) {
	var r pixels.TestRun
	for i := 0; i < len(pictures); i += k {
		r.Add(pictures[i])
	}
	j := r.Judge(pixels.DefaultThresholds(), nil)
	return j, r.Growth(pixels.DefaultThresholds(), j)
}

// growthRates count what a test run shows of rendered scenes.
type growthRates struct {
	sync.Mutex
	*tally
	ratios []float64
}

// scene counts one drawn scene, with every frame, every second and every third.
func (c *growthRates) scene(t *testing.T, seed uint64) {
	d := drawn(seed)
	shots := d.Shots()
	b := d.Build()
	pictures := make([]image.Image, len(shots))
	for i, s := range shots {
		pictures[i] = b.Picture(s)
	}
	nearest, farthest := b.FocusAt(0.005), b.FocusAt(0.995) // of the textured surface, all but 0.5 %
	told := 0.0                                             // growth with every frame
	for k := 1; k <= 3 && (len(shots)-1)/k+1 >= 8; k++ {
		n := (len(shots)-1)/k + 1
		j, g := testRun(pictures, k)
		span := shots[(n-1)*k].Focus - shots[0].Focus
		truth := span * d.Depth / float64(n-1)
		from, to := (nearest-shots[0].Focus)/span*float64(n-1), (farthest-shots[0].Focus)/span*float64(n-1)
		t.Logf("seed %d, %v, every %d: %v %s, growth %.2f [%.2f to %.2f], truth %.2f, half width %.2f px; %d of %d tiles, spread %.2f; sharp %.1f to %.1f, truth %.1f to %.1f, open %v %v",
			seed, d.Shape, k, g.Answer, g.Reason, g.Blur, g.Low, g.High, truth, j.Step.Blur, g.Tiles, j.Textured, g.Spread, g.First, g.Last, from, to, g.FirstOpen, g.LastOpen)
		c.count("C growth told", pixels.Fine, g.Answer == pixels.Found)
		if g.Answer != pixels.Found {
			continue
		}
		c.Lock()
		c.ratios = append(c.ratios, g.Blur/truth)
		c.Unlock()
		near := func(ratio float64) bool { return math.Abs(math.Log(ratio)) <= math.Log(1.3) }
		c.count("B growth within 1.3", pixels.Fine, near(g.Blur/truth))
		c.count("B truth within nine in ten", pixels.Fine, g.Low <= truth && truth <= g.High)
		c.count("A the wrong side of 3 px a frame", pixels.Fine, g.Blur > 3 != (truth > 3))
		step := 3 / truth // frames that make the widest step allowed
		if last := float64(n - 1); from >= 0 && to <= last {
			c.count("A an end called open that is covered", pixels.Fine, g.FirstOpen)
			c.count("A an end called open that is covered", pixels.Fine, g.LastOpen)
			c.count("A an end short by more than a step", pixels.Fine, g.First-from > step)
			c.count("A an end short by more than a step", pixels.Fine, to-g.Last > step)
		}
		if k == 1 {
			told = g.Blur
		} else if told > 0 {
			c.count("B every second or third frame, within 1.3 of as many times", pixels.Fine, near(g.Blur/told/float64(k)))
		}
	}
}

// TestGrowthRates measures test runs of rendered scenes and fails where a target can no
// longer be true at 95 % confidence. The figures in DEVELOPERS.md are those of
//
//	go test ./audit/pixels -run GrowthRates -v -seeds 16 -first 1841 -timeout 60m
func TestGrowthRates(t *testing.T) {
	overManyScenes(t) // TestGrowth asks of one
	c := &growthRates{tally: newTally()}
	overSeeds(func(seed uint64) { c.scene(t, seed) })
	slices.Sort(c.ratios)
	if n := len(c.ratios); n > 0 {
		t.Logf("ratio to the truth, 5, 50 and 95 %%: %.2f %.2f %.2f", c.ratios[n/20], c.ratios[n/2], c.ratios[n*19/20])
	}
	t.Logf("\n%s", c.tally)
	if *harder {
		return
	}
	for name, target := range map[string]struct{ atLeast, atMost float64 }{
		"C growth told":              {0.85, 1},
		"B growth within 1.3":        {0.95, 1},
		"B truth within nine in ten": {0.88, 1},
		"B every second or third frame, within 1.3 of as many times": {0.90, 1},
		"A an end short by more than a step":                         {0, 0.05},
		"A an end called open that is covered":                       {0, 0.01},
	} {
		if r := c.rows[name]; r != nil {
			if lo, hi := wilson(r.found, r.runs); hi < target.atLeast || lo > target.atMost {
				t.Errorf("%s: %d of %d, want a share from %v to %v", name, r.found, r.runs, target.atLeast, target.atMost)
			}
		}
	}
}

// TestGrowth: what a test run shows, and what it does not.
func TestGrowth(t *testing.T) {
	pixelstest.Long(t)
	scene := pixelstest.Scene{
		Seed: 4, Width: 480, Height: 320, Shape: pixelstest.Steps, Depth: 24, Contrast: 1, PSF: 0.6, Breathing: 0.02, Electrons: 40000, Quality: 92,
	}.Build()
	run := pixelstest.Run(3, 17, -0.1, 1.1, 0) // 24 px over the subject: 1.8 px a frame
	pictures := func(shots []pixelstest.Shot) (out []image.Image) {
		for _, s := range shots {
			out = append(out, scene.Picture(s))
		}
		return out
	}
	all := pictures(run)
	for k, truth := range map[int]float64{1: 1.8, 2: 3.6} {
		_, g := testRun(all, k)
		if g.Answer != pixels.Found || math.Abs(g.Blur/truth-1) > 0.15 || g.Low > truth || g.High < truth {
			t.Errorf("every %d: %+v, want %v px a frame", k, g, truth)
		}
		if first, last := 1.33/float64(k), 14.67/float64(k); math.Abs(g.First-first) > 3/truth || math.Abs(g.Last-last) > 3/truth || g.FirstOpen || g.LastOpen {
			t.Errorf("every %d: sharp from %.1f to %.1f, want %.1f to %.1f, both ends covered", k, g.First, g.Last, first, last)
		}
	}
	_, g := testRun(all[:10], 1)
	if g.Answer != pixels.Found || g.FirstOpen || !g.LastOpen {
		t.Errorf("a run that ends inside the subject: %+v, want that its last end is open", g)
	}
	missing := slices.Clone(all)
	missing[4] = nil
	if _, with := testRun(missing, 1); with.Answer != pixels.Found || math.Abs(with.Blur/1.8-1) > 0.15 {
		t.Errorf("one frame without a picture: %+v", with)
	}
	for name, c := range map[string]struct {
		pictures []image.Image
		reason   string
	}{
		"too few":    {all[4:11], pixels.ReasonFewTest},
		"stands":     {pictures(pixelstest.Run(5, 10, 0.4, 0.4, 0)), pixels.ReasonNotFocus},
		"turns back": {pictures(pixelstest.Turn(run, 9, 17)), pixels.ReasonBack},
		"has a hole": {pictures(pixelstest.Missing(run, 7, 2)), pixels.ReasonHole},
		"stops":      {pictures(pixelstest.Stall(run, 8, 3, true)), pixels.ReasonStands},
		"none":       {nil, pixels.ReasonFew},
	} {
		if _, g := testRun(c.pictures, 1); g.Answer != pixels.CannotTell || g.Reason != c.reason {
			t.Errorf("%s: %v, %q; want that it cannot tell, %q", name, g.Answer, g.Reason, c.reason)
		}
	}
}
