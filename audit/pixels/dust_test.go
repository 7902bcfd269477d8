package pixels_test

import (
	"fmt"
	"image"
	"image/draw"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"prestrike/audit/pixels"
	"prestrike/audit/pixels/pixelstest"
)

// onSensor judges a run with the mean picture of the sensor.
func onSensor(t testing.TB, pictures []image.Image) *pixels.Judgement {
	t.Helper()
	var s pixels.Sequence
	s.KeepSensor()
	var m *pixels.FrameMeasure
	for i, p := range pictures {
		if i == 0 || p != pictures[i-1] { // the same again is measured once
			m = measure(t, p)
		}
		s.Add(m)
	}
	return s.Judge(pixels.DefaultThresholds(), nil)
}

// dusty is a scene with smooth parts, as dust is seen before: of the draws a view in turn
// has a table, a background, or neither.
func dusty(seed, dust uint64) pixelstest.Draw {
	d := pixelstest.Random(seed)
	d.Width, d.Height, d.Plain, d.Contrast = 800, 533, 0.8, 0.5
	d.Shape = [...]pixelstest.Shape{pixelstest.Plane, pixelstest.Dome, pixelstest.Relief}[seed%3]
	d.Table, d.Background = seed%4 == 1, seed%4 == 3
	d.Electrons = max(10000, d.Electrons)
	d.Dust = dust
	return d
}

// view photographs a draw at some of its focuses.
func view(t testing.TB, d pixelstest.Draw) pixels.DustView {
	t.Helper()
	return sensorView(t, d.Build(), shotsOf(d, 0))
}

// shotsOf are seven shots of a draw's run, with another noise.
func shotsOf(d pixelstest.Draw, noise uint64) (shots []pixelstest.Shot) {
	const frames = 7
	all := d.Shots()
	for i := range frames {
		s := all[i*(len(all)-1)/(frames-1)]
		s.Noise += noise
		shots = append(shots, s)
	}
	return shots
}

func sensorView(t testing.TB, b *pixelstest.Built, shots []pixelstest.Shot) pixels.DustView {
	t.Helper()
	var pictures []image.Image
	for _, s := range shots {
		pictures = append(pictures, b.Picture(s))
	}
	return pixels.DustView{Judgement: onSensor(t, pictures), FNumber: 16}
}

// isGrain reports whether a spot was found where a grain lies.
func isGrain(s pixels.Speck, g pixelstest.Grain) bool {
	return math.Hypot(s.X-g.X, s.Y-g.Y) < max(2*g.Radius, 0.008)
}

// grainsFound counts the grains of a seed that lie where a spot was found, and the spots
// where no grain lies.
func grainsFound(d pixels.Dust, dust uint64, ratio float64) (found, others int) {
	grains := pixelstest.Grains(dust, ratio)
	for _, p := range d.Places {
		if slices.ContainsFunc(grains, func(g pixelstest.Grain) bool { return isGrain(p.Speck, g) }) {
			found++
		} else {
			others++
		}
	}
	return found, others
}

// spotAt reports whether a view has a spot where a grain lies.
func spotAt(v pixels.DustView, g pixelstest.Grain) bool {
	return slices.ContainsFunc(v.Specks.List, func(s pixels.Speck) bool { return isGrain(s, g) })
}

// TestDustRates counts sessions of four views in which dust is found, spots that are none,
// and what is found without dust and before a fixed backdrop.
func TestDustRates(t *testing.T) {
	pixelstest.Long(t)
	const views, first = 4, 56001
	sessions := scenesOf(4, 8)
	const ratio = 533.0 / 800
	withDust, places, others, grains, without, unsure, fixed := 0, 0, 0, 0, 0, 0, 0
	pairs, inPairs, pairGrains, allPairGrains, cleanPairs := 0, 0, 0, 0, 0
	shown, foundShown := 0, 0 // grains that two views and more have as spots
	for s := range uint64(sessions) {
		dust := first + s
		var dirty, clean, standing []pixels.DustView
		for k := range uint64(views) {
			seed := first + 2*(views*s+k)
			dirty = append(dirty, view(t, dusty(seed, dust)))
			clean = append(clean, view(t, dusty(seed, 0)))
		}
		same := dusty(first+2*views*s, dust).Build()
		for k := range uint64(3) { // the camera stands, and the subject with it
			standing = append(standing, sensorView(t, same, shotsOf(dusty(first+2*views*s, dust), 1000*k)))
		}
		d := pixels.AskDust(dirty)
		found, other := grainsFound(d, dust, ratio)
		n := len(pixelstest.Grains(dust, ratio))
		t.Logf("session %d: %v %q, %d of %d grains, %d others", s, d.Answer, d.Reason, found, n, other)
		places, others, grains = places+found, others+other, grains+n
		for _, g := range pixelstest.Grains(dust, ratio) {
			spots := 0
			for _, v := range dirty {
				if spotAt(v, g) {
					spots++
				}
			}
			if spots >= pixels.DustFewest {
				shown++
				if slices.ContainsFunc(d.Places, func(p pixels.DustPlace) bool { return isGrain(p.Speck, g) }) {
					foundShown++
				}
			}
		}
		if found > 0 {
			withDust++
		}
		if pixels.AskDust(clean).Answer == pixels.Found {
			without++
		}
		for i := range dirty {
			for k := range i {
				found, other := grainsFound(pixels.AskDust([]pixels.DustView{dirty[k], dirty[i]}), dust, ratio)
				pairs, pairGrains, allPairGrains, others = pairs+1, pairGrains+found, allPairGrains+n, others+other
				if found > 0 {
					inPairs++
				}
				if pixels.AskDust([]pixels.DustView{clean[k], clean[i]}).Answer == pixels.Found {
					cleanPairs++
				}
			}
		}
		switch a := pixels.AskDust(standing); {
		case a.Answer == pixels.Found:
			fixed++
		case a.Reason == pixels.ReasonBackdrop:
			unsure++
		}
	}
	t.Logf("of %d sessions: dust found in %d (%d of %d grains, %d spots that are none); without dust %d; standing before one backdrop found %d, not judged %d",
		sessions, withDust, places, grains, others, without, fixed, unsure)
	t.Logf("of %d grains that two views and more have as spots %d are found", shown, foundShown)
	t.Logf("of %d pairs of views: dust found in %d (%d of %d grains); without dust %d", pairs, inPairs, pairGrains, allPairGrains, cleanPairs)
	if _, hi := wilson(inPairs, pairs); hi < 0.25 || cleanPairs > 0 {
		t.Error("fewer found in two views, or more that is none, than stated")
	}
	if 2*withDust < sessions || others > 0 || without > 0 || fixed > 0 || unsure < sessions/2 {
		t.Error("fewer found, or more that is none, than stated")
	}
}

// TestDustRatesClean counts sessions without dust in which some is found, of two, four and
// twelve views chosen from some: as they are, and with every second one turned by 90°, where
// no surroundings have to differ.
func TestDustRatesClean(t *testing.T) {
	pixelstest.Long(t)
	const first = 55001
	var all []pixels.DustView
	for s := range uint64(scenesOf(12, 96)) {
		all = append(all, view(t, dusty(first+2*s, 0)))
	}
	rng := rand.New(rand.NewPCG(first, 1))
	for _, n := range []int{2, 4, 12} {
		for _, turned := range []bool{false, true} {
			found, unsure, sessions := 0, 0, 0
			for range 1000 {
				var views []pixels.DustView
				for i, k := range rng.Perm(len(all))[:n] {
					v := all[k]
					v.Upright = turned && i%2 == 1
					views = append(views, v)
				}
				d := pixels.AskDust(views)
				if d.Views < pixels.DustFewest {
					continue // nothing is judged
				}
				sessions++
				switch {
				case d.Answer == pixels.Found:
					found++
				case d.Answer == pixels.CannotTell:
					unsure++
				}
			}
			t.Logf("%d views, turned %v: found in %d of %d sessions without dust, not judged %d", n, turned, found, sessions, unsure)
			if lo, _ := wilson(found, sessions); lo > 0.005 {
				t.Errorf("%d views, turned %v: found in %d of %d sessions without dust, want 1 of 200 at most", n, turned, found, sessions)
			}
		}
	}
}

// TestDustReal holds that real pictures, which have no dust at one place of two of them,
// show none: parts of one picture as views of a camera that moved.
func TestDustReal(t *testing.T) {
	pixelstest.Long(t)
	root := filepath.Join("..", "..", "..", "shared", "data")
	files, err := filepath.Glob(filepath.Join(root, "*", "jpg_*.jpg"))
	if err != nil || len(files) == 0 {
		t.Skip("the real pictures are not beside the module")
	}
	balls, _ := filepath.Glob(filepath.Join(root, "focus", "balls", "*.jpg"))
	const side, most = 600, 12
	sets, spots, pairs, inPairs := 0, 0, 0, 0
	for _, f := range append(files, balls...) {
		img, ok := decodedIfWhole(f)
		if !ok {
			continue
		}
		b := img.Bounds()
		var views []pixels.DustView
		for y := b.Min.Y; y+side*2/3 <= b.Max.Y; y += side / 3 {
			for x := b.Min.X; x+side <= b.Max.X && len(views) < most; x += side / 2 {
				part := image.NewRGBA(image.Rect(0, 0, side, side*2/3))
				draw.Draw(part, part.Rect, img, image.Pt(x, y), draw.Src)
				// One picture is no run: six times the same, of which the mean is itself.
				views = append(views, pixels.DustView{Judgement: onSensor(t, slices.Repeat([]image.Image{part}, 6)), FNumber: 16})
			}
		}
		if len(views) < 3 {
			continue
		}
		sets++
		for _, v := range views {
			spots += len(v.Specks.List)
		}
		for i := range views {
			for k := range i {
				pairs++
				if d := pixels.AskDust([]pixels.DustView{views[k], views[i]}); d.Answer == pixels.Found {
					inPairs++
				}
			}
		}
		if d := pixels.AskDust(views); d.Answer == pixels.Found {
			t.Errorf("%s: found in %d parts: %+v", filepath.Base(f), len(views), d.Places)
		}
	}
	t.Logf("%d pictures in parts, with %d spots; found in %d of %d pairs of parts", sets, spots, inPairs, pairs)
	if lo, _ := wilson(inPairs, pairs); lo > 0.005 {
		t.Errorf("found in %d of %d pairs", inPairs, pairs)
	}
	if sets < 8 || spots < 100 {
		t.Errorf("%d sets with %d spots are too few to show anything", sets, spots)
	}
}

// decodedIfWhole decodes a picture that the standard library can.
func decodedIfWhole(file string) (image.Image, bool) {
	f, err := os.Open(file)
	if err != nil {
		return nil, false
	}
	defer f.Close()
	img, _, err := image.Decode(f)
	return img, err == nil
}

// written is a run with given spots, whose picture shows nothing else.
func written(f float64, upright bool, spots ...pixels.Speck) pixels.DustView {
	j := &pixels.Judgement{Specks: pixels.Specks{Verdict: pixels.Verdict{Answer: pixels.Fine}, List: spots, Cols: 50, Clear: slices.Repeat([]byte{1}, 50*33)}}
	if len(spots) > 0 {
		j.Specks.Answer = pixels.Found
	}
	return pixels.DustView{Judgement: j, FNumber: f, Upright: upright}
}

// before returns a spot behind n others, each at a place of its own that no other list has.
func before(n int, s pixels.Speck) (list []pixels.Speck) {
	others++
	for i := range n {
		list = append(list, pixels.Speck{X: 0.02 + 0.03*float64(others), Y: 0.4 + 0.03*float64(i), Radius: 0.006, Depth: 0.05})
	}
	return append(list, s)
}

var others int

// TestDust holds what several runs together say of a spot.
func TestDust(t *testing.T) {
	spot := pixels.Speck{X: 0.3, Y: 0.2, Radius: 0.006, Depth: 0.03}
	aside, larger := spot, spot
	aside.X += 0.01
	larger.Radius *= 2
	unknown := pixels.DustView{Judgement: &pixels.Judgement{Specks: pixels.Specks{Verdict: pixels.Verdict{Reason: pixels.ReasonNotSmooth}}}, FNumber: 16}
	for _, c := range []struct {
		name  string
		views []pixels.DustView
		want  pixels.Verdict
	}{
		{"none has a spot", []pixels.DustView{written(16, false), written(16, true), written(16, false)}, pixels.Verdict{Answer: pixels.Fine}},
		{"one run", []pixels.DustView{written(16, false, spot)}, pixels.Verdict{Reason: pixels.ReasonFewViews}},
		{"two runs", []pixels.DustView{written(16, false, spot), written(16, true, spot)}, pixels.Verdict{Answer: pixels.Found}},
		{"two runs with many spots that stand out more", []pixels.DustView{written(16, false, before(9, spot)...), written(16, true, before(9, spot)...)}, pixels.Verdict{Answer: pixels.Fine}},
		{"three runs with many spots that stand out more", []pixels.DustView{written(16, false, before(9, spot)...), written(16, true, before(9, spot)...), written(16, true, before(9, spot)...)}, pixels.Verdict{Reason: pixels.ReasonBackdrop}},
		{"two of which one cannot show it", []pixels.DustView{written(16, false, spot), unknown}, pixels.Verdict{Reason: pixels.ReasonNotSmooth}},
		{"nothing shows that the backdrop moved", []pixels.DustView{written(16, false, spot), written(16, false, spot), written(16, false, spot)}, pixels.Verdict{Reason: pixels.ReasonBackdrop}},
		{"the other is aside", []pixels.DustView{written(16, false, spot), written(16, true, aside)}, pixels.Verdict{Answer: pixels.Fine}},
		{"the other is larger", []pixels.DustView{written(16, false, spot), written(16, true, larger)}, pixels.Verdict{Answer: pixels.Fine}},
		{"the one between is smooth without it", []pixels.DustView{written(16, false, spot), written(16, false), written(16, true, spot)}, pixels.Verdict{Answer: pixels.Fine}},
		{"the one between has a lower f-number", []pixels.DustView{written(16, false, spot), written(11, false), written(16, true, spot)}, pixels.Verdict{Answer: pixels.Found}},
	} {
		if d := pixels.AskDust(c.views); d.Verdict != c.want {
			t.Errorf("%s: %+v, want %+v", c.name, d, c.want)
		}
	}
}

// TestSpecks holds which dark things of a mean picture are spots: round ones of the sizes
// sought, and not a line, an edge, or what is far darker than a shadow.
func TestSpecks(t *testing.T) {
	const w, h = 800, 534
	base := func(x, y int) float64 { return 120 + 0.05*float64(x) + 0.03*float64(y) } // light falls off
	dark := func(inside func(x, y float64) bool, share float64) func(x, y int) float64 {
		return func(x, y int) float64 {
			if inside(float64(x), float64(y)) {
				return base(x, y) * (1 - share)
			}
			return base(x, y)
		}
	}
	disc := func(r float64) func(x, y float64) bool {
		return func(x, y float64) bool { return math.Hypot(x-400, y-250) <= r }
	}
	for name, c := range map[string]struct {
		value func(x, y int) float64
		found bool
	}{
		"nothing":              {base, false},
		"a spot":               {dark(disc(6), 0.04), true},
		"a small spot":         {dark(disc(2.5), 0.04), true},
		"a large spot":         {dark(disc(10), 0.03), true},
		"a spot too faint":     {dark(disc(6), 0.006), false},
		"a spot too dark":      {dark(disc(6), 0.3), false},
		"far larger than dust": {dark(disc(40), 0.04), false},
		"a line":               {dark(func(x, _ float64) bool { return math.Abs(x-400) < 5 }, 0.04), false},
		"an edge":              {dark(func(x, _ float64) bool { return x < 400 }, 0.04), false},
	} {
		img := image.NewGray(image.Rect(0, 0, w, h))
		for y := range h {
			for x := range w {
				img.Pix[y*img.Stride+x] = uint8(c.value(x, y) + 0.5)
			}
		}
		s := onSensor(t, slices.Repeat([]image.Image{img}, 4)).Specks
		if got := len(s.List) > 0; got != c.found {
			t.Errorf("%s: %v", name, fmt.Sprint(s.List))
		}
		if c.found && (len(s.List) != 1 || math.Hypot(s.List[0].X-400.5/w, s.List[0].Y-250.5/w) > 0.004) {
			t.Errorf("%s: found %+v, want one at 400, 250 of %d", name, s.List, w)
		}
	}
	black := image.NewGray(image.Rect(0, 0, w, h))
	if s := onSensor(t, slices.Repeat([]image.Image{black}, 4)).Specks; s.Answer != pixels.CannotTell || s.Reason != pixels.ReasonNotSmooth {
		t.Errorf("black pictures: %v %q", s.Answer, s.Reason)
	}
	var s pixels.Sequence
	if got := s.Judge(pixels.DefaultThresholds(), nil).Specks; got.Reason != pixels.ReasonWideOpen {
		t.Errorf("a sequence that was not asked to keep the sensor's picture: %q", got.Reason)
	}
}

// TestSpecksOfClone holds that a clone goes on alone: frames added to it leave the mean
// picture of the old one as it is.
func TestSpecksOfClone(t *testing.T) {
	measured := func(share float64) *pixels.FrameMeasure {
		img := image.NewGray(image.Rect(0, 0, 400, 268))
		for i := range img.Pix {
			img.Pix[i] = 150
			if math.Hypot(float64(i%400)-200, float64(i/400)-130) < 5 {
				img.Pix[i] = uint8(150 * (1 - share))
			}
		}
		m, err := pixels.Measure(img)
		if err != nil {
			t.Fatal(err)
		}
		return m
	}
	var s pixels.Sequence
	s.KeepSensor()
	for range 4 {
		s.Add(measured(0.05))
	}
	before := s.Judge(pixels.DefaultThresholds(), nil).Specks.List
	c := s.Clone()
	for range 4 {
		c.Add(measured(0))
	}
	after, cloned := s.Judge(pixels.DefaultThresholds(), nil).Specks.List, c.Judge(pixels.DefaultThresholds(), nil).Specks.List
	if len(before) != 1 || !slices.Equal(before, after) {
		t.Errorf("before %v, after frames were added to a clone %v; want one spot, the same", before, after)
	}
	if len(cloned) != 1 || cloned[0].Depth > 0.7*before[0].Depth {
		t.Errorf("the clone, half of whose frames show no spot: %v, alone %v; want half the depth", cloned, before)
	}
}

// textureOf is a view of random texture; inside the outer five blocks it is that of another seed.
func textureOf(sides, inside uint64) pixels.View {
	const w, h, side, grain = 240, 160, 8, 3
	texture := func(seed uint64) []byte {
		rng := rand.New(rand.NewPCG(seed, 1))
		coarse := make([]byte, (w/grain+1)*(h/grain+1))
		for i := range coarse {
			coarse[i] = byte(rng.IntN(256))
		}
		out := make([]byte, w*h)
		for i := range out {
			out[i] = coarse[i/w/grain*(w/grain+1)+i%w/grain]
		}
		return out
	}
	v := pixels.View{Width: w, Height: h, Luma: texture(sides)}
	for i, t := range texture(inside) {
		if x, y := i%w, i/w; min(x, w-1-x, y, h-1-y) >= 5*side {
			v.Luma[i] = t
		}
	}
	blocks := make([]float32, w/side*h/side)
	v.Peak, v.Rise, v.Firm = blocks, blocks, blocks
	return v
}

// TestDustBeforeAnotherBackdrop holds that a dark spot of a subject that stands is not taken for
// dust where only the backdrop was exchanged, and that one is where all has changed.
func TestDustBeforeAnotherBackdrop(t *testing.T) {
	spot := pixels.Speck{X: 0.5, Y: 0.3, Radius: 0.006, Depth: 0.03}
	for _, c := range []struct {
		name          string
		sides, inside uint64 // of the second view
		want          pixels.Verdict
	}{
		{"all is another", 2, 2, pixels.Verdict{Answer: pixels.Found}},
		{"the sides are", 2, 1, pixels.Verdict{Reason: pixels.ReasonBackdrop}},
		{"the inside is", 1, 2, pixels.Verdict{Reason: pixels.ReasonBackdrop}},
	} {
		a, b := written(16, false, spot), written(16, false, spot)
		a.View, b.View = textureOf(1, 1), textureOf(c.sides, c.inside)
		if d := pixels.AskDust([]pixels.DustView{a, b}); d.Verdict != c.want {
			t.Errorf("%s: %+v, want %+v", c.name, d.Verdict, c.want)
		}
	}
}
