package pixels_test

import (
	"testing"

	"prestrike/audit/pixels"
	"prestrike/audit/pixels/pixelstest"
)

// TestViews holds that a scene is not taken for another one, however it is
// focused, lit or shifted, and that most others are told from it.
func TestViews(t *testing.T) {
	d := pixelstest.Random(6)
	d.Width, d.Height = 480, 320
	b := d.Build()
	shots := d.Shots()
	viewOf := func(b *pixelstest.Built, shots []pixelstest.Shot) pixels.View {
		var s pixels.Sequence
		for _, sh := range shots {
			m, err := pixels.Measure(b.Picture(sh))
			if err != nil {
				t.Fatal(err)
			}
			s.Add(m)
		}
		return s.Judge(pixels.DefaultThresholds(), nil).View
	}
	view := func(shots []pixelstest.Shot) pixels.View { return viewOf(b, shots) }
	whole := view(shots[:12])
	for name, v := range map[string]pixels.View{
		"later frames": view(shots[12:20]),
		"darker":       view(pixelstest.Brighten(shots[:8], 0, 8, -1)),
		"aside":        view(pixelstest.Bump(shots[:8], 0, 8, 0.1*float64(d.Width), 0)),
		"nothing":      {},
	} {
		if whole.Other(v) || v.Other(whole) {
			t.Errorf("%s: taken for another view", name)
		}
	}
	told := 0
	const others = 6
	for seed := range uint64(others) {
		o := pixelstest.Random(100 + 2*seed)
		o.Width, o.Height = d.Width, d.Height
		if viewOf(o.Build(), o.Shots()[:8]).Other(whole) {
			told++
		}
	}
	if told < others-2 {
		t.Errorf("%d of %d other scenes told from it", told, others)
	}
}
