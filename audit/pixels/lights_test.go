package pixels_test

import (
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

// The share of the textured area from which clipped lights may be a finding, as the rule
// has it.
const clippedShare = 0.02

// TestLightsRates counts scenes with ordinary highlights whose share would be a finding, and
// those with too much light whose share would not.
func TestLightsRates(t *testing.T) {
	pixelstest.Long(t)
	t.Parallel()
	const first = 15001
	scenes := scenesOf(10, 20)
	over := map[string]int{}
	for i := range scenes {
		for _, draw := range []pixelstest.Draw{pixelstest.Random(first + uint64(2*i)), pixelstest.Random(first + uint64(2*i)).Harder()} {
			all := draw.Shots()
			shots := all[len(all)/2-2 : len(all)/2+2]
			st := newStudio(draw.Build())
			for name, run := range map[string][]pixelstest.Shot{
				"ordinary": shots, "2.2 EV too bright": pixelstest.Brighten(shots, 0, len(shots), 2.2), "a spot of 2.5 EV": spot(shots),
			} {
				if st.judge(run).Lights.Share > clippedShare {
					over[name]++
				}
			}
		}
	}
	t.Logf("of %d scenes, half of them under harder conditions, over the share: %v", 2*scenes, over)
	if over["ordinary"] > 0 {
		t.Errorf("%d of %d ordinary scenes would be found", over["ordinary"], 2*scenes)
	}
	for name, stated := range map[string][2]int{"2.2 EV too bright": {40, 40}, "a spot of 2.5 EV": {37, 40}} {
		lo, _ := wilson(over[name], 2*scenes)
		if full := *seedCount >= fullScenes; full && lo < 0.7 || !full && below(over[name], 2*scenes, stated) {
			t.Errorf("%s: only %d of %d would be found", name, over[name], 2*scenes)
		}
	}
}
