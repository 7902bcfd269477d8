package pixels

import (
	"math"
	"testing"
)

// behindAll is a run whose hole of three frames lies behind all that gets sharp. Frames are
// at 0 to 13 and at 17 to 19, and from each to the next the picture scales by this; tiles are
// sharp at 2 to 10, from the left to the right.
func behindAll(scale float64) *Judgement {
	j := &Judgement{Width: 960, Height: 640, Factor: 1, Signature: Signature{Kind: "scale"}, Jumps: Jumps{Events: []Jump{{From: 13, To: 14, Ratio: 4}}}}
	for i := range 17 {
		focus := float64(i)
		if i > 13 {
			focus += 3
		}
		j.Layout.Frames, j.Layout.Places = append(j.Layout.Frames, i), append(j.Layout.Places, focus)
		j.PerFrame = append(j.PerFrame, FrameSummary{Measured: true, Scale: scale * focus})
	}
	for i := range 90 {
		j.Layout.Peaks = append(j.Layout.Peaks, behindAllPeak(float64(60*(i%10)-270), float64(60*(i/10)-240)))
	}
	j.Layout.Noise = 0.1
	return j
}

// behindAllPeak is that of a tile there. Five steps from where it is sharp, nothing of it is
// left.
func behindAllPeak(x, y float64) LayoutPeak {
	return LayoutPeak{X: float32(x), Y: float32(y), Theta: [5]float32{4, 3.5, float32(6 + 8*x/540), float32(math.Log(2)), float32(math.Log(2))}}
}

// madeLater are frames at these places of focus, the first of which is seen to lie at place
// from the run; each step scales them. The curve of a tile is that of what lies so many px
// right of the middle. Their sharpness deviates, from tile to tile, by up to a fifth.
func madeLater(place, scale float64, curve func(x float64) LayoutPeak, focus ...float64) (*Judgement, Motion) {
	mo := Motion{Scale: place, Gain: 1, Converged: true}
	o := &Judgement{Width: 960, Height: 640, Factor: 1, Frames: len(focus), Glance: Glance{Cols: 14, Rows: 12, Side: 60, OriginX: -390, OriginY: -330}}
	for k, at := range focus {
		row := make([]byte, o.Glance.Cols*o.Glance.Rows)
		for t := range row {
			of := curve((float64(t%o.Glance.Cols)*60 - 390) / (1 + place))
			p := of.peak()
			s := p.shape()
			ln, _ := s.at(at)
			row[t] = byte(math.Round((ln+0.2*math.Sin(float64(1+7*t+k))-glanceLeast)*glanceSteps) + 1)
		}
		o.Glance.Sharpness = append(o.Glance.Sharpness, row)
		o.PerFrame = append(o.PerFrame, FrameSummary{Measured: true, Scale: scale * (at - focus[0])})
	}
	return o, mo
}

// TestPatchOfFew: where sharpness hardly shows the places of frames, how the picture scales
// does; and where neither does, there is no answer.
func TestPatchOfFew(t *testing.T) {
	const clear, faint = 0.002, 0.00005 // 0.7 px a step half-way to a corner, and 0.02
	for name, c := range map[string]struct {
		scale  float64
		focus  []float64
		answer Answer
		why    string
	}{
		"as many as are missing":    {clear, []float64{14, 15, 16}, Found, ""},
		"the other way":             {clear, []float64{16, 15, 14}, Found, ""},
		"one fewer":                 {clear, []float64{14, 15}, Fine, PatchNarrow},
		"one in the midst":          {clear, []float64{15}, Fine, PatchNarrow},
		"a step aside":              {clear, []float64{13, 14, 15}, Fine, PatchNarrow},
		"not located":               {clear, []float64{14, 15, 16}, CannotTell, ""},
		"nothing shows":             {faint, []float64{14, 15, 16}, CannotTell, ""},
		"nothing shows, one fewer":  {faint, []float64{14, 15}, CannotTell, ""},
		"elsewhere, nothing scales": {faint, []float64{5, 6, 7}, Fine, PatchElsewhere},
	} {
		j := behindAll(c.scale)
		o, mo := madeLater(c.scale*c.focus[0], c.scale, func(x float64) LayoutPeak { return behindAllPeak(x, 0) }, c.focus...)
		var found, misfits []float64
		for k := range c.focus {
			x, misfit, tells := j.Layout.find(&o.Glance, k, mo)
			if !tells {
				t.Fatalf("%s: frame %d is not found", name, k)
			}
			found, misfits = append(found, x), append(misfits, misfit)
		}
		if name == "not located" {
			j.Jumps = Jumps{}
		}
		if p := j.patchOfFew(Patch{}, o, mo, 0, 13, 14, found, misfits); p.Answer != c.answer || p.Why != c.why {
			t.Errorf("%s: %+v, want %v, %q", name, p, c.answer, c.why)
		}
	}
}
