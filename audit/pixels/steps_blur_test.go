package pixels

import (
	"image"
	"math"
	"math/rand/v2"
	"testing"

	"prestrike/audit/pixels/pixelstest"
)

// waves is a picture of waves in all directions, blurred by a Gaussian of a variance in
// pixels² of the half picture, which weakens each by a known factor, and shifted.
func waves(variance, shift float64) *image.Gray {
	img := image.NewGray(image.Rect(0, 0, 640, 480))
	rng := rand.New(rand.NewPCG(5, 5))
	type wave struct{ x, y, phase, height float64 }
	var list []wave
	for range 40 {
		length := 10 + 14*rng.Float64() // pixels of the half picture
		way := 2 * math.Pi * rng.Float64()
		k := 2 * math.Pi / length
		list = append(list, wave{k * math.Cos(way), k * math.Sin(way), 2 * math.Pi * rng.Float64(), 8 * math.Exp(-variance*k*k/2)})
	}
	for y := range 480 {
		for x := range 640 {
			v := 128.0
			for _, w := range list {
				v += w.height * math.Cos(w.x*(float64(x)/halfPx-shift)+w.y*float64(y)/halfPx+w.phase)
			}
			img.Pix[y*img.Stride+x] = uint8(math.Round(max(0, min(255, v))))
		}
	}
	return img
}

// TestBlurChanges: the growth of blur is what the pictures were blurred by, with either
// sign, and wherever they lie.
func TestBlurChanges(t *testing.T) {
	pixelstest.Long(t)
	for name, c := range map[string]struct{ from, to, shift float64 }{
		"grows":               {0.2, 0.8, 0},
		"shrinks":             {0.8, 0.2, 0},
		"grows, and is moved": {0.2, 0.8, 1.5},
		"stays, and is moved": {0.5, 0.5, 1.5},
	} {
		var s Sequence
		for _, img := range []*image.Gray{waves(c.from, 0), waves(c.to, c.shift)} {
			m, err := Measure(img)
			if err != nil {
				t.Fatal(err)
			}
			s.Add(m)
		}
		var growth []float64
		for _, b := range s.links[0].blurs {
			growth = append(growth, float64(b.growth))
		}
		if len(growth) < 100 {
			t.Fatalf("%s: %d tiles", name, len(growth))
		}
		if got, want := median(growth), c.to-c.from; math.Abs(got-want) > 0.06 {
			t.Errorf("%s: blur grows by %.3f pixels², want %.3f", name, got, want)
		}
	}
}

// blurred gives the links of a story what tiles show of blur where the frames lie at x.
func (s *story) blurred(x []float64, noise float64) *story {
	const kappa = 0.05
	rng := rand.New(rand.NewPCG(7, 7))
	s.standing()
	n := float64(len(x))
	for i := range s.frames {
		s.frames[i].tiles = make([]tile, s.grid.cols*s.grid.rows)
		for t := range 60 {
			s.frames[i].tiles[t].energy = float32(100 / (1 + square(x[i]-n*float64(t)/60)))
		}
	}
	for i := range s.links {
		for t := range 60 {
			z := n * float64(t) / 60
			grows := kappa * (square(x[i+1]-z) - square(x[i]-z))
			s.links[i].blurs = append(s.links[i].blurs, blurChange{int32(t), float32(grows + noise*rng.NormFloat64()), float32(1 / (noise * noise))})
		}
	}
	return s
}

// TestStepsInBlur: a frame that is missing is a step of two, and a step back is one.
func TestStepsInBlur(t *testing.T) {
	for name, c := range map[string]struct{ step, want float64 }{
		"one missing": {2, 2}, "two missing": {3, 3}, "none": {1, 1}, "stands": {0, 0}, "a step back": {-1, -1},
	} {
		x := make([]float64, 24)
		for i := 1; i < len(x); i++ {
			x[i] = x[i-1] + 1
			if i == 11 {
				x[i] = x[i-1] + c.step
			}
		}
		st := tell(24).blurred(x, 0.05).evidence().stepsInBlur()
		for i := 3; i < 20; i++ {
			want := 1.0
			if i == 10 {
				want = c.want
			}
			if !(math.Abs(st.ratio[i]-want) <= 0.2) {
				t.Errorf("%s: step %d is %.2f of the usual one, want %.2f", name, i, st.ratio[i], want)
			}
		}
	}
}

// TestStepsInBlurBehindSubject: far behind all of the subject its tiles change no more, as
// blur is wider there than what is compared, and noise and compression are left. That is no
// step of nothing: it is not known.
func TestStepsInBlurBehindSubject(t *testing.T) {
	const n, sharpest, reach, noise = 30, 12, 9, 0.05
	x := make([]float64, n)
	for i := range x {
		x[i] = float64(i)
	}
	s := tell(n).blurred(x, noise)
	rng := rand.New(rand.NewPCG(8, 8))
	grown := func(away float64) float64 { return 0.05 * square(min(math.Abs(away), reach)) }
	for i := range s.frames {
		for tile := range 60 {
			away := x[i] - sharpest*float64(tile)/60
			s.frames[i].tiles[tile].energy = float32(100/(1+square(away)*square(away)) + 1)
			if i > 0 {
				s.links[i-1].blurs[tile].growth = float32(grown(away) - grown(away-1) + noise*rng.NormFloat64())
			}
		}
	}
	st := s.evidence().stepsInBlur().from.steps(throughout)
	for i, r := range st.ratio {
		if math.Abs(r-1) > 3*st.error[i] || i >= 2 && i <= sharpest && math.IsNaN(r) {
			t.Errorf("step %d is %.2f ± %.2f of the usual one, want 1 where the subject is near, or not known", i, r, st.error[i])
		}
	}
}

// TestFinerSteps: the change of blur is asked where registration and sharpness do not show
// the steps, and where they do not show whether focus walks; it finds no gap by itself, and
// without it nothing is claimed.
func TestFinerSteps(t *testing.T) {
	x := make([]float64, 24)
	for i := 1; i < len(x); i++ {
		x[i] = x[i-1] + 1
		if i == 11 {
			x[i]++
		}
	}
	unknown := Walk{Verdict: cannot(ReasonTexture)}
	for name, c := range map[string]struct {
		walk   Walk
		motion bool // shows the steps, within 0.3 px
		noise  float64
		want   Answer
		noBlur bool
	}{
		"two methods":          {walk: walks, motion: true, noise: 0.05, want: Found},
		"walk not known":       {walk: unknown, motion: true, noise: 0.05, want: Found},
		"blur alone":           {walk: unknown, noise: 0.05, want: CannotTell},
		"motion alone":         {walk: unknown, motion: true, noBlur: true, want: CannotTell},
		"focus stands":         {walk: stands, motion: true, noise: 0.05, want: CannotTell},
		"blur in much noise":   {walk: unknown, motion: true, noise: 3, want: CannotTell},
		"blur drowns in noise": {walk: unknown, motion: true, noise: 5, want: CannotTell},
	} {
		s := tell(24).standing()
		if !c.noBlur {
			s.blurred(x, c.noise)
		}
		for i := range s.links {
			s.links[i].motion.ShiftX = 0
			if c.motion { // too faint and uneven for a signature
				s.links[i].motion.Scale = 0.0001 * (x[i+1] - x[i]) * (1 + 0.15*[...]float64{1, -1, -1, 1, 0}[i%5])
			}
		}
		e := s.evidence()
		if e.signature.Kind != "" {
			t.Fatalf("%s: signature %v", name, e.signature.Signature)
		}
		j := e.askJumps(c.walk, Order{}, Stalls{}, e.askSteps(c.walk, &curves{}))
		if j.Answer != c.want || c.want == Found && (len(j.Events) != 1 || j.Events[0].From != 10) {
			t.Errorf("%s: %+v, want %v", name, j, c.want)
		}
	}
}

// TestNeedsBlur: the change of blur is not measured where registration shows the steps.
func TestNeedsBlur(t *testing.T) {
	for name, c := range map[string]struct {
		scale float64
		want  bool
	}{"the picture scales": {0.001, false}, "nothing moves": {0, true}} {
		var s Sequence
		s.run(DefaultThresholds(), nil)
		y := tell(24)
		s.grid, s.frames, s.links, s.n = y.grid, y.frames, y.links, y.added
		for i := range s.links {
			s.links[i].motion.Scale *= c.scale / 0.001
		}
		if got := s.needsBlur(); got != c.want {
			t.Errorf("%s: %v, want %v", name, got, c.want)
		}
	}
}
