package pixels_test

import (
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"prestrike/audit/pixels"
	"prestrike/audit/pixels/pixelstest"
)

// spot is a light on part of the picture, 2.5 EV more than the rest gets.
func spot(shots []pixelstest.Shot) []pixelstest.Shot {
	out := pixelstest.Brighten(shots, 0, 0, 0)
	for i := range out {
		out[i].Cloud, out[i].CloudAt = -2.5, 0.4
	}
	return out
}

// TestLights holds the answer to a scene that is lit as it should be, on part of it too
// brightly, and too brightly all over; to one frame that is too bright, which is another
// question; and to pictures that do not show one view, or no texture.
func TestLights(t *testing.T) {
	scene := pixelstest.Scene{
		Seed: 31, Width: 480, Height: 320, Shape: pixelstest.Relief, Depth: 10, Contrast: 0.8, Highlights: 25, PSF: 0.6, Electrons: 10000, Quality: 85,
	}
	smooth := scene
	smooth.Contrast, smooth.Highlights, smooth.Electrons = 0, 0, 40000
	st := newStudio(scene.Build())
	shots := pixelstest.Run(3, 5, 0.3, 0.7, 0)
	clean := st.judge(shots).Lights
	if clean.Answer != pixels.Found || clean.Share > 0.002 {
		t.Errorf("with small highlights: %+v; want a share under 0.002", clean)
	}
	one := st.judge(pixelstest.Brighten(shots, 2, 1, 3)).Lights
	if one.Share > 0.002 {
		t.Errorf("one frame far too bright: share %.4f; want what the others show", one.Share)
	}
	part := st.judge(spot(shots)).Lights
	middle := (part.Box.X0 + part.Box.X1) / 2
	if part.Answer != pixels.Found || part.Share < 0.02 || middle < 0.2 || middle > 0.6 {
		t.Errorf("a spot of light at 0.4: %+v", part)
	}
	bright := st.judge(pixelstest.Brighten(shots, 0, 5, 2.2)).Lights
	if bright.Share < 0.05 {
		t.Errorf("2.2 EV too bright: share %.4f", bright.Share)
	}
	background := func(x, _ int) bool { return x < 170 }
	if l := whitened(t, st, shots, background); l.Share > 0.002 {
		t.Errorf("a white background: share %.4f; want that of the highlights", l.Share)
	}
	inside := func(x, y int) bool { return x > 200 && x < 300 && y > 120 && y < 200 }
	if l := whitened(t, st, shots, inside); l.Share < 0.04 || l.Box.X0 < 0.35 || l.Box.X1 > 0.7 {
		t.Errorf("5 %% of the picture is white inside: %+v", l)
	}
	for name, l := range map[string]pixels.Lights{
		pixels.ReasonTexture: newStudio(smooth.Build()).judge(pixelstest.Brighten(pixelstest.Run(3, 5, 0.5, 0.5, 0), 0, 5, 3)).Lights,
		pixels.ReasonFew:     st.judge(shots[:3]).Lights,
	} {
		if l.Answer != pixels.CannotTell || l.Reason != name {
			t.Errorf("%v %q; want cannot tell, %q", l.Answer, l.Reason, name)
		}
	}
}

// whitened is what is found where part of each picture is white.
func whitened(t *testing.T, st *studio, shots []pixelstest.Shot, white func(x, y int) bool) pixels.Lights {
	t.Helper()
	var s pixels.Sequence
	for _, shot := range shots {
		img := st.built.Shoot(shot)
		for i := range img.Pix {
			if white(i%img.Stride, i/img.Stride) {
				img.Pix[i] = 255
			}
		}
		m, err := pixels.Measure(img)
		if err != nil {
			t.Fatal(err)
		}
		s.Add(m)
	}
	return s.Judge(pixels.DefaultThresholds(), nil).Lights
}

// A view of a session has more clipped than the others from the share on that the rule has, and
// this many times what the others usually have.
const clippedShare, clippedTimes = 0.005, 5

// A litSession is four views that are photographed at one exposure: a subject with broad and
// with small reflections, from four sides.
type litSession struct {
	views []*studio
	shots [][]pixelstest.Shot
	// limit is by how many EV the session may be brighter, until of the brightest view, but for its
	// reflections, half a percent lies above a code value of 240.
	limit float64
}

func newLitSession(seed uint64, harder bool) (l litSession) {
	const width, above, bright = 360, 0.005, 240
	base := pixelstest.Random(seed)
	gloss := [...]int{0, 0, 2, 6, 12}[seed/8%5]
	brightest := uint8(0)
	for k := range uint64(4) {
		d := base
		d.Seed = seed + 2*k
		share := float64(width) / float64(d.Width)
		d.Width, d.Height = width, int(share*float64(d.Height))
		d.Depth, d.CoC = share*d.Depth, share*d.CoC
		rng := rand.New(rand.NewPCG(d.Seed, 6))
		for range 2 * gloss {
			d.Gloss += rng.IntN(2) // reflections are seen from some sides
		}
		if d.Highlights > 0 {
			d.Highlights = d.Highlights/2 + rng.IntN(d.Highlights+1)
		}
		if harder {
			d = d.Harder()
		}
		all := d.Shots()
		shots := all[len(all)/2-2 : len(all)/2+2]
		dull := d.Scene
		dull.Highlights, dull.Gloss, dull.Glints = 0, 0, 0
		codes := dull.Build().Shoot(shots[1]).Pix
		slices.Sort(codes)
		brightest = max(brightest, codes[int((1-above)*float64(len(codes)))])
		l.views, l.shots = append(l.views, newStudio(d.Build())), append(l.shots, shots)
	}
	// The upper part of the curve of sRGB (IEC 61966-2-1).
	linear := func(code float64) float64 { return math.Pow((code/255+0.055)/1.055, 2.4) }
	l.limit = math.Log2(linear(bright) / linear(float64(brightest)))
	return l
}

// judge returns what is clipped of a view that gets more light.
func (l litSession) judge(view int, ev float64) pixels.Lights {
	return l.views[view].judge(pixelstest.Brighten(l.shots[view], 0, len(l.shots[view]), ev)).Lights
}

// overOthers reports whether a view has more clipped than others have, as the rule has it.
func overOthers(l pixels.Lights, others []pixels.Lights) bool {
	if l.Answer == pixels.CannotTell { // half of the picture, as no texture is left
		var white []float64
		for _, o := range others {
			white = append(white, o.White)
		}
		return l.White > 0.5+clippedTimes*pixels.UsualLights(white)
	}
	var shares []float64
	for _, o := range others {
		if o.Answer != pixels.CannotTell {
			shares = append(shares, o.Share)
		}
	}
	return len(shares) >= 2 && l.Share > clippedShare+clippedTimes*pixels.UsualLights(shares)
}

// TestLightsRates counts views of sound sessions that have more clipped than the others, and
// those that have too much light and do not: in sessions that are exposed for the middle tones,
// and in those as bright as their brightest view allows.
func TestLightsRates(t *testing.T) {
	pixelstest.Long(t)
	t.Parallel()
	const first = 28001
	sessions := scenesOf(3, 24)
	found := map[string]*[2]int{}
	add := func(name string, over bool) {
		if found[name] == nil {
			found[name] = new([2]int)
		}
		found[name][1]++
		if over {
			found[name][0]++
		}
	}
	most := 0.0
	for i := range sessions {
		for _, harder := range []bool{false, true} {
			session := newLitSession(first+uint64(8*i), harder)
			for name, ev := range map[string]float64{"middle": 0, "limit": session.limit} {
				var sound []pixels.Lights
				for k := range session.views {
					sound = append(sound, session.judge(k, ev))
					most = max(most, sound[k].Share)
				}
				for k, l := range sound {
					others := slices.Delete(slices.Clone(sound), k, k+1)
					add(name+", sound", overOthers(l, others))
					for o := range others {
						add(name+", sound, two others", overOthers(l, slices.Delete(slices.Clone(others), o, o+1)))
					}
				}
				for _, more := range []float64{0.7, 1, 1.4, 1.8, 2.2} {
					add(fmt.Sprintf("%s, %.1f EV", name, more), overOthers(session.judge(0, ev+more), sound[1:]))
				}
			}
		}
	}
	for _, name := range slices.Sorted(maps.Keys(found)) {
		lo, hi := wilson(found[name][0], found[name][1])
		t.Logf("%s: %d of %d (%.1f to %.1f %%)", name, found[name][0], found[name][1], 100*lo, 100*hi)
	}
	t.Logf("the most that a sound view has clipped is %.3f", most)
	for name, stated := range map[string][2]int{"middle, sound": {0, 192}, "middle, sound, two others": {0, 576}, "limit, sound": {0, 192}, "limit, sound, two others": {0, 576}} {
		if c := found[name]; above(c[0], c[1], stated) {
			t.Errorf("%s: %d of %d are over what the others have", name, c[0], c[1])
		}
	}
	for name, stated := range map[string][2]int{
		"middle, 1.4 EV": {24, 48}, "middle, 1.8 EV": {39, 48}, "middle, 2.2 EV": {45, 48},
		"limit, 0.7 EV": {35, 48}, "limit, 1.0 EV": {44, 48}, "limit, 1.4 EV": {44, 48}, "limit, 2.2 EV": {48, 48},
	} {
		if c := found[name]; below(c[0], c[1], stated) {
			t.Errorf("%s: only %d of %d would be found", name, c[0], c[1])
		}
	}
}

// TestUsualLights holds what others usually have: of two, one that may be at fault does not count.
func TestUsualLights(t *testing.T) {
	for _, c := range []struct {
		others []float64
		want   float64
	}{
		{nil, 0},
		{[]float64{0.03, 0.01}, 0.02},
		{[]float64{0.3, 0.01}, 0.01},
		{[]float64{0.3, 0.2}, 0.2},
		{[]float64{0.3, 0.01, 0.02}, 0.02},
		{[]float64{0.3, 0.01, 0.02, 0.04}, 0.03},
	} {
		if got := pixels.UsualLights(c.others); math.Abs(got-c.want) > 1e-9 {
			t.Errorf("%v: %v, want %v", c.others, got, c.want)
		}
	}
}
