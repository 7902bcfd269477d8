package pixels

import (
	"math"
	"testing"
)

// openAtEnd is a run of frames at 0 to 12, from each to the next of which the picture scales
// by this. Its tiles, in that many rows, are sharp at 2 to 8, from the left to the middle, and at 16 to 18 on the
// right: nothing gets sharp at the end.
func openAtEnd(scale float64, rows int) *Judgement {
	j := &Judgement{
		Width: 960, Height: 640, Factor: 1, Textured: 168, HalfWidth: 2.5, Signature: Signature{Kind: "scale"},
		Last: Edge{Verdict: Verdict{Answer: Found}, Frame: 12, Share: 0.3},
	}
	for i := range 13 {
		j.Layout.Frames, j.Layout.Places = append(j.Layout.Frames, i), append(j.Layout.Places, float64(i))
		j.PerFrame = append(j.PerFrame, FrameSummary{Measured: true, Scale: scale * float64(i)})
	}
	for i := range 10 * rows {
		j.Layout.Peaks = append(j.Layout.Peaks, openAtEndPeak(float64(60*(i%10)-270), float64(480*(i/10)/(rows-1)-240)))
	}
	j.Layout.Noise = 0.1
	return j
}

// openAtEndPeak is that of a tile there. What is sharp beyond the end was seen to rise there,
// and so was taken to be sharp too near by two steps.
func openAtEndPeak(x, y float64) LayoutPeak {
	p := trueAtEnd(x)
	if p.Theta[peakAt] > 12 {
		p.Theta[peakAt] -= 2
	}
	p.X, p.Y = float32(x), float32(y)
	return p
}

// trueAtEnd is the peak of a tile as it is.
func trueAtEnd(x float64) LayoutPeak {
	at := 5 + x/90
	if x > 60 {
		at = 16 + (x-90)/90
	}
	return LayoutPeak{Theta: [5]float32{5, 1.5, float32(at), float32(math.Log(3)), float32(math.Log(4))}}
}

// behindEnd are frames at these places, made later, whose picture lies by so many px aside
// along the way of it, as registration may deviate; and where the first of them lies.
func behindEnd(scale, aside float64, focus ...float64) (*Judgement, Motion) {
	half := typicalRadius * math.Hypot(960, 640)
	return madeLater(scale*focus[0]+aside/half, scale, trueAtEnd, focus...)
}

// TestExtendWhereNothingIsSharp: what begins where nothing gets sharp is placed by the motion
// of the picture, from either end on, and not by sharpness alone.
func TestExtendWhereNothingIsSharp(t *testing.T) {
	const clear, faint = 0.002, 0.00025 // 0.7 px a step half-way to a corner, and 0.08
	on := []float64{12, 13, 14, 15, 16, 17, 18, 19, 20}
	for name, c := range map[string]struct {
		scale, aside float64
		focus        []float64
		answer       Answer
		why          string
	}{
		"from the end on":                 {clear, 0, on, Found, ""},
		"back to the end":                 {clear, -0.1, []float64{20, 19, 18, 17, 16, 15, 14, 13, 12}, Found, ""},
		"begins three steps farther":      {clear, 0, []float64{15, 16, 17, 18, 19, 20, 21}, Fine, PatchNarrow},
		"a frame is missing":              {clear, 0, []float64{12, 13, 15, 16, 17, 18, 19, 20}, Fine, PatchNarrow},
		"stops early":                     {clear, 0, []float64{12, 13, 14, 15}, Fine, PatchShort},
		"inside the run":                  {clear, 0, []float64{4, 5, 6, 7, 8}, Fine, PatchElsewhere},
		"the picture lies 4 px aside":     {clear, 4, on, Fine, PatchMoved},
		"may begin at the end, or behind": {faint, 0, []float64{13.5, 14.5, 15.5, 16.5, 17.5, 18.5, 19.5}, CannotTell, ""},
		"may begin three steps farther":   {faint, 0, []float64{15, 16, 17, 18, 19, 20, 21}, CannotTell, ""},
	} {
		rows := 3
		if c.scale == faint {
			rows = 9 // sharpness is sure of where they lie, and wrong
		}
		o, mo := behindEnd(c.scale, c.aside, c.focus...)
		if p := openAtEnd(c.scale, rows).extend(Patch{}, o, mo, true); p.Answer != c.answer || p.Why != c.why {
			t.Errorf("%s: %+v, want %v, %q", name, p, c.answer, c.why)
		}
	}
}

// TestExtendTurned: what is found in its place, by motion and sharpness, and shows another
// view is refused.
func TestExtendTurned(t *testing.T) {
	const scale = 0.002
	o, mo := behindEnd(scale, 0, 12, 13, 14, 15, 16, 17, 18, 19, 20)
	if p := openAtEnd(scale, 3).extend(Patch{Turned: true}, o, mo, true); p.Answer != Fine || p.Why != PatchTurned || !p.Tried {
		t.Errorf("%+v, want that it turned", p)
	}
}

// TestRises: a tile still gets sharper in the outermost frame where neighbours do, or it does
// by far; not where noise may have made it rise, nor where it was sharper before.
func TestRises(t *testing.T) {
	rise := []float64{0, 0.3, 0.6, 0.9, 1.2}
	for name, c := range map[string]struct {
		tiles []int // that rise, of 12 x 10
		by    []float64
		alone bool // and tile 70, little
		share float64
	}{
		"none":                           {nil, rise, false, 0},
		"a patch":                        {[]int{14, 15, 16}, rise, false, 0.03},
		"a patch, little":                {[]int{14, 15, 16}, []float64{0, 0.1, 0.2, 0.33, 0.5}, false, 0.03},
		"a patch, and one alone":         {[]int{14, 15, 16, 70}, rise, false, 0.04},
		"a patch, and one alone, little": {[]int{14, 15, 16}, rise, true, 0.03},
		"tiles alone":                    {[]int{14, 40, 66, 92}, rise, false, 0},
		"a patch that was as sharp":      {[]int{14, 15, 16}, []float64{1.1, 0, 0.1, 0.3, 0.6, 0.9, 1.2}, false, 0},
		"a patch, less than noise does":  {[]int{14, 15, 16}, []float64{0, 0.05, 0.1, 0.15, 0.2}, false, 0},
	} {
		j := &Judgement{Textured: 100, HalfWidth: 4}
		g := Glance{Cols: 12, Rows: 10}
		f := extension{outwards: 1, peakFit: peakFit{sigma: 0.15}}
		for k, by := range c.by {
			f.x = append(f.x, float64(20+k))
			row := make([]byte, g.Cols*g.Rows)
			for i := range row {
				row[i] = lnSharpness(math.Exp(4))
			}
			for _, i := range c.tiles {
				row[i] = lnSharpness(math.Exp(4 + by))
			}
			if c.alone {
				row[70] = lnSharpness(math.Exp(4 + 0.36*by))
			}
			g.Sharpness = append(g.Sharpness, row)
		}
		if share := f.rises(&g, j); math.Abs(share-c.share) > 1e-9 {
			t.Errorf("%s: %.3f, want %.3f", name, share, c.share)
		}
	}
}
