package optics_test

import (
	"math"
	"math/rand/v2"
	"testing"

	. "prestrike/rules/optics"
)

// rounding is what a few floating-point operations may cost; identities hold
// to it, as a fraction.
const rounding = 1e-9

func same(a, b, tolerance float64) bool {
	return a == b || math.Abs(a-b) <= tolerance*max(math.Abs(a), math.Abs(b))
}

// random calls f with values drawn evenly on a logarithmic scale between the
// bounds, always the same ones.
func random(t *testing.T, bounds [][2]float64, f func(x []float64)) {
	t.Helper()
	r := rand.New(rand.NewPCG(16, 0))
	x := make([]float64, len(bounds))
	for range 2000 {
		for i, b := range bounds {
			x[i] = b[0] * math.Pow(b[1]/b[0], r.Float64())
		}
		f(x)
		if t.Failed() {
			t.Fatalf("with %v", x)
		}
	}
}

var (
	focal         = [2]float64{10, 600}    // mm
	fNumber       = [2]float64{1, 64}      // marked or working
	magnification = [2]float64{0.02, 5}    //
	confusion     = [2]float64{0.002, 0.1} // mm
	pupils        = [2]float64{0.3, 3}     //
	wavelengths   = [2]float64{0.4, 0.7}   // µm
	depths        = [2]float64{0.01, 100}  // mm
	seconds       = [2]float64{1e-5, 300}  //
)

// The blur disc of a point at distance x, by similar triangles behind a thin
// lens focused at s: the definition that near and far limit solve.
func blurDisc(f, n, s, x float64) float64 {
	image := func(d float64) float64 { return d * f / (d - f) }
	return f / n * math.Abs(image(x)-image(s)) / image(x)
}

func TestNearAndFarLimitBlurByTheCircleOfConfusion(t *testing.T) {
	random(t, [][2]float64{focal, fNumber, confusion, {1.2, 1000}}, func(x []float64) {
		f, n, c, s := x[0], x[1], x[2], x[0]*x[3]
		near, far := float64(NearLimit(mm(f), n, mm(c), mm(s))), float64(FarLimit(mm(f), n, mm(c), mm(s)))
		if near >= s || far <= s {
			t.Errorf("limits %v and %v do not enclose %v", near, far, s)
		}
		// The difference of two image distances loses digits as they grow alike.
		if got := blurDisc(f, n, s, near); !same(got, c, 1e-6) {
			t.Errorf("blur at near limit %v, want %v", got, c)
		}
		if math.IsInf(far, 1) {
			if h := float64(Hyperfocal(mm(f), n, mm(c))); s < h*(1-rounding) {
				t.Errorf("far limit infinite at %v, hyperfocal is %v", s, h)
			}
			return
		}
		if far < 1e3*s { // beyond, the digits of the blur are lost
			if got := blurDisc(f, n, s, far); !same(got, c, 1e-6) {
				t.Errorf("blur at far limit %v, want %v", got, c)
			}
		}
		if !same(1/near+1/far, 2/s, rounding) {
			t.Errorf("1/near + 1/far = %v, want 2/s = %v", 1/near+1/far, 2/s)
		}
	})
}

func TestHyperfocal(t *testing.T) {
	random(t, [][2]float64{focal, fNumber, confusion}, func(x []float64) {
		f, n, c := mm(x[0]), x[1], mm(x[2])
		h, atInfinity := Hyperfocal(f, n, c), HyperfocalAtInfinity(f, n, c)
		if got := NearLimit(f, n, c, h); !same(float64(got), float64(h/2), rounding) {
			t.Errorf("near limit at hyperfocal %v = %v, want half of it", h, got)
		}
		if got := FarLimit(f, n, c, h); !math.IsInf(float64(got), 1) {
			t.Errorf("far limit at hyperfocal = %v, want infinity", got)
		}
		if got := NearLimit(f, n, c, mm(math.Inf(1))); got != atInfinity {
			t.Errorf("near limit at infinity = %v, want %v", got, atInfinity)
		}
	})
}

func TestDepthOfFieldForms(t *testing.T) {
	random(t, [][2]float64{focal, fNumber, confusion, magnification, pupils}, func(x []float64) {
		f, n, c, m, p := mm(x[0]), x[1], mm(x[2]), x[3], x[4]
		infinite := n * x[2] / x[0]
		if m < 1.001*infinite {
			if got := GeometricDepthExact(f, c, n, 0.999*infinite, p); !math.IsInf(float64(got), 1) {
				t.Errorf("exact depth with the far limit at infinity = %v", got)
			}
			return
		}
		s := f * Length(1+1/m)
		limits := float64(FarLimit(f, n, c, s) - NearLimit(f, n, c, s))
		if got := float64(GeometricDepthExact(f, c, n, m, SymmetricPupil)); !same(got, limits, 1e-6) {
			t.Errorf("exact depth %v, far limit less near limit %v", got, limits)
		}
		exact, short := float64(GeometricDepthExact(f, c, n, m, p)), float64(GeometricDepth(c, WorkingFNumber(n, m, p), m))
		if short > exact {
			t.Errorf("short form %v above exact %v", short, exact)
		}
		if m >= 10*infinite && !same(short, exact, 0.01) {
			t.Errorf("short form %v more than 1 %% from exact %v", short, exact)
		}
	})
}

// The microscopy sum of course notes, nλ/NA² + ne/(mNA) in air with e = c.
func TestMicroscopySumIsBothPartsTogether(t *testing.T) {
	random(t, [][2]float64{confusion, wavelengths, fNumber, magnification}, func(x []float64) {
		c, lambda, ne, m := mm(x[0]), um(x[1]), x[2], x[3]
		na := ObjectNA(ne, m)
		if math.IsNaN(na) {
			return
		}
		d := DepthOfField(c, lambda, ne, m)
		if got := float64(lambda)/(na*na) + float64(c)/(m*na); !same(got, float64(d.Sum()), rounding) {
			t.Errorf("microscopy %v, sum of parts %v", got, d.Sum())
		}
		if got := WorkingFNumberFromNA(na, m); !same(got, ne, rounding) {
			t.Errorf("working f-number through NA %v, want %v", got, ne)
		}
		// The wave part is the larger one from Ne = c/(2λ) on.
		if crossover := float64(c / (2 * lambda)); (ne > crossover) != (d.Larger() == d.Wave) {
			t.Errorf("Ne %v, crossover %v, parts %v and %v", ne, crossover, d.Geometric, d.Wave)
		}
	})
}

// At either end of the wave depth, the ray from the aperture's edge is a
// quarter of a wave longer or shorter than the one on the axis.
func TestWaveDepthIsAQuarterWave(t *testing.T) {
	for _, na := range []float64{0.01, 0.05, 0.1} {
		path := float64(WaveDepth(Wavelength, WorkingFNumberFromNA(na, 1), 1)) / 2 * (1 - math.Sqrt(1-na*na))
		if got := path / float64(Wavelength); math.Abs(got-0.25) > 0.25*na*na { // the paraxial error is NA²/4 of it
			t.Errorf("NA %v: path difference %v waves, want 1/4", na, got)
		}
	}
}

func TestWorkingAndMarkedFNumber(t *testing.T) {
	random(t, [][2]float64{fNumber, magnification, pupils}, func(x []float64) {
		n, m, p := x[0], x[1], x[2]
		ne := WorkingFNumber(n, m, p)
		if got := MarkedFNumber(ne, m, p); !same(got, n, rounding) {
			t.Errorf("marked of working = %v, want %v", got, n)
		}
		if got := FNumberStops(n, ne); !same(got, ExposureLoss(m, p), 1e-7) {
			t.Errorf("stops from marked to working %v, exposure loss %v", got, ExposureLoss(m, p))
		}
		if got, want := ObjectNA(ne, m), 1/(2*n*(1/m+1/p)); want <= 1 && !same(got, want, rounding) {
			t.Errorf("NA %v, by the pupil formula %v", got, want)
		}
		if got := FNumberAfterStops(n, ExposureLoss(m, p)); !same(got, ne, rounding) {
			t.Errorf("f-number after the loss %v, want %v", got, ne)
		}
	})
}

func TestMagnificationAndDistance(t *testing.T) {
	random(t, [][2]float64{focal, {1e-6, 1}}, func(x []float64) {
		f, m := mm(x[0]), x[1]
		d := FocusDistance(f, m)
		if d < 4*f {
			d = 4 * f // rounding at 1:1
		}
		// Near 1:1 the distance hardly moves with m, so digits halve.
		tolerance := max(rounding, 1e-7*m)
		if got := MagnificationFromDistance(f, d); !same(got, m, tolerance) {
			t.Errorf("magnification %v, want %v", got, m)
		}
		if got := FocalLengthAt(d, m); !same(float64(got), float64(f), tolerance) {
			t.Errorf("focal length %v, want %v", got, f)
		}
	})
	if got := MagnificationFromDistance(50, mm(math.Inf(1))); got != 0 {
		t.Errorf("magnification at infinity = %v, want 0", got)
	}
	if got := MagnificationFromDistance(50, 1e200); !same(got, 50/1e200, rounding) {
		t.Errorf("magnification at 1e200 mm = %v", got)
	}
}

func TestCalibratedMagnification(t *testing.T) {
	// A lens that shortens evenly with magnification, as the model has it.
	random(t, [][2]float64{focal, {0.1, 1.4}, {0.55, 0.99}, {0.01, 1}}, func(x []float64) {
		f0, m1, f1 := x[0], x[1], x[0]*x[2]
		m := m1 * x[3]
		lens := CloseFocus{Focal: mm(f0), Closest: FocusDistance(mm(f1), m1), Largest: m1}
		d := FocusDistance(mm(f0+(f1-f0)*m/m1), m)
		if d <= lens.Closest {
			return // past its closest focus, where only the largest magnification is known
		}
		if got := lens.Magnification(d); !same(got, m, 1e-6) {
			t.Errorf("magnification %v, want %v", got, m)
		}
	})
	lens := CloseFocus{Focal: 100, Closest: 260, Largest: 1.4}
	if got := lens.Magnification(260); got != 1.4 {
		t.Errorf("magnification at closest focus = %v, want 1.4", got)
	}
	if got := lens.Magnification(mm(math.Inf(1))); got != 0 {
		t.Errorf("magnification at infinity = %v, want 0", got)
	}
	previous := math.Inf(1)
	for d := mm(260); d < 5000; d++ {
		if got := lens.Magnification(d); !(got < previous) {
			t.Fatalf("magnification does not fall with distance: %v at %v after %v", got, d, previous)
		} else {
			previous = got
		}
	}
}

// The transfer function of a round aperture is the overlap of two discs, over
// the area of one: 4/π times the area under √(1-u²) from x to 1.
func TestMTFIsTheOverlapOfTwoDiscs(t *testing.T) {
	for x := 0.0; x <= 1; x += 0.01 {
		const n = 100_000
		sum, h := 0.0, (1-x)/n
		for i := range n {
			u := x + (float64(i)+0.5)*h
			sum += math.Sqrt(1 - u*u)
		}
		want := 4 / math.Pi * sum * h
		if got := MTF(x); math.Abs(got-want) > 1e-6 { // of the summation
			t.Errorf("MTF(%v) = %v, want %v", x, got, want)
		}
	}
	if MTF(0) != 1 || MTF(1) != 0 || MTF(1.5) != 0 || MTF(math.Inf(1)) != 0 {
		t.Errorf("MTF at 0, 1, 1.5, infinity = %v, %v, %v, %v", MTF(0), MTF(1), MTF(1.5), MTF(math.Inf(1)))
	}
}

func TestAiryConstantIsTheFirstZeroOfJ1(t *testing.T) {
	lo, hi := 3.0, 4.5 // J1 falls through 0 between
	for range 100 {
		if mid := (lo + hi) / 2; math.J1(mid) > 0 {
			lo = mid
		} else {
			hi = mid
		}
	}
	constant := float64(AiryDiameter(1, 1))
	if exact := 2 * lo / math.Pi; math.Abs(constant-exact) > 0.005 { // three digits
		t.Errorf("Airy constant %v, first zero gives %v", constant, exact)
	}
	// Rayleigh 1881, from memory: the light inside is 1 - J0²(z), 84 %.
	if inside := 1 - math.Pow(math.J0(lo), 2); math.Abs(inside-0.84) > 0.005 {
		t.Errorf("light inside the Airy disc %v, want 0.84", inside)
	}
}

func TestDiffractionRatios(t *testing.T) {
	random(t, [][2]float64{wavelengths, {1, 20}, fNumber}, func(x []float64) {
		lambda, pitch, ne := um(x[0]), um(x[1]), x[2]
		q := Q(lambda, pitch, ne)
		if got := float64(AiryDiameter(lambda, ne) / pitch); !same(got, 2.44*q, rounding) {
			t.Errorf("Airy disc %v pixels, want 2.44 Q = %v", got, 2.44*q)
		}
		if got := FNumberAtQ(q, lambda, pitch); !same(got, ne, rounding) {
			t.Errorf("f-number at Q %v, want %v", got, ne)
		}
	})
}

func TestOptimumIsTheLeastCombinedBlur(t *testing.T) {
	random(t, [][2]float64{depths, wavelengths, magnification, pupils}, func(x []float64) {
		depth, lambda, m, p := mm(x[0]), um(x[1]), x[2], x[3]
		spread := ImageSpread(depth, m)
		// Ternary search over ln Ne, where the blur has one minimum.
		lo, hi := math.Log(1e-3), math.Log(1e5)
		for range 200 {
			a, b := lo+(hi-lo)/3, hi-(hi-lo)/3
			if CombinedBlur(spread, lambda, math.Exp(a)) < CombinedBlur(spread, lambda, math.Exp(b)) {
				hi = b
			} else {
				lo = a
			}
		}
		found := math.Exp(lo)
		// A minimum is flat: its place is found to the square root of the digits.
		if got := OptimumWorkingFNumber(spread, lambda); !same(got, found, 1e-6) {
			t.Errorf("optimum Ne %v, search found %v", got, found)
		}
		if got, want := blurAtOptimum(spread, lambda), CombinedBlur(spread, lambda, found); !same(float64(got), float64(want), rounding) {
			t.Errorf("blur at optimum %v, search found %v", got, want)
		}
		if got := WorkingFNumber(OptimumFNumber(depth, lambda, m, p), m, p); !same(got, found, 1e-6) {
			t.Errorf("optimum marked f-number works as %v, search found %v", got, found)
		}
	})
}

func TestFramesAndStep(t *testing.T) {
	random(t, [][2]float64{depths, {0.005, 5}}, func(x []float64) {
		depth, step := mm(x[0]), mm(x[1])
		n, err := FramesToCover(depth, step)
		if err != nil {
			t.Fatal(err)
		}
		if Length(n-1)*step < depth*(1-rounding) {
			t.Errorf("%d frames travel %v, less than %v", n, Length(n-1)*step, depth)
		}
		if Length(n-2)*step >= depth {
			t.Errorf("%d frames would do, %d said", n-1, n)
		}
	})
	for n := 2; n < 2000; n++ { // whole quotients whatever the rounding
		for _, step := range []Length{0.1, 0.3, 0.7, 0.039} {
			if got, err := FramesToCover(Length(n-1)*step, step); err != nil || got != n {
				t.Fatalf("%d frames in steps of %v come to %d, %v", n, step, got, err)
			}
		}
	}
}

func TestAPEXSums(t *testing.T) {
	random(t, [][2]float64{fNumber, seconds, {25, 409600}}, func(x []float64) {
		n, time, iso := x[0], Seconds(x[1]), x[2]
		// log2(tS/N²), what a frame gets of the light, but for a constant.
		want := math.Log2(float64(time) * iso / (n * n) / 3.125)
		if got := Sv(iso) - Av(n) - Tv(time); math.Abs(got-want) > rounding {
			t.Errorf("Sv - Av - Tv = %v, want %v", got, want)
		}
		if got := Stops(float64(time), 8*float64(time)); math.Abs(got-3) > rounding {
			t.Errorf("eight times the time is %v stops, want 3", got)
		}
		if got := FNumberFromAv(Av(n)); !same(got, n, rounding) {
			t.Errorf("f-number through Av %v, want %v", got, n)
		}
	})
}

// The formula against its derivation: the hand turns by an angle about a point
// behind the pupil of a thin lens, and the image of a point on the axis moves.
func TestHandheldLimitIsThatOfATurnAboutThePoint(t *testing.T) {
	random(t, [][2]float64{focal, magnification, {20, 500}}, func(x []float64) {
		f, m, radius := x[0], x[1], x[2]
		const angle = 1e-7 // rad, small
		s, image := f*(1+1/m), f*(1+m)
		// The pupil moves sideways by radius·sin, the axis turns by the angle:
		// the point is seen off the axis by both.
		off := s*math.Sin(angle) + radius*math.Sin(angle)
		moved := off / s * image
		// Far away the same turn moves the image by f·angle, and the rule of thumb
		// allows 1/f s for it.
		want := 1 / f * (f * angle / moved)
		got := Handheld{Focal: mm(f), Crop: 1, Magnification: m, Radius: mm(radius), Sharpness: LooksSharp}.Limit()
		if !same(float64(got), want, 1e-6) {
			t.Errorf("limit %v, a turn gives %v", float64(got), want)
		}
	})
}

func TestHandheldLimits(t *testing.T) {
	random(t, [][2]float64{focal, {0.5, 2}, {0.1, 8}, {0.1, 1}, magnification}, func(x []float64) {
		hand := Handheld{Focal: mm(x[0]), Crop: x[1], Stops: x[2], Radius: HandRadius, Sharpness: x[3]}
		// Far away it is the rule of thumb, twice as long with each stop.
		if want := math.Exp2(x[2]) * x[3] / (x[0] * x[1]); !same(float64(hand.Limit()), want, rounding) {
			t.Errorf("far away %v, want %v s", hand.Limit(), want)
		}
		near := hand
		near.Magnification = 1e-9
		if !same(float64(near.Limit()), float64(hand.Limit()), 1e-5) {
			t.Errorf("m to 0 gives %v, far away %v", near.Limit(), hand.Limit())
		}
		near.Magnification = x[4]
		if near.Limit() >= hand.Limit() {
			t.Errorf("at %v:1 %v, no shorter than %v far away", x[4], near.Limit(), hand.Limit())
		}
		// No stabilisation beats the travel, and none is worse than one.
		travel := x[3] / (x[1] * x[4] * HandRadius.Millimetres())
		none := near
		none.Stops = 0
		if got := float64(near.Limit()); got > travel*(1+rounding) || near.Limit() < none.Limit() {
			t.Errorf("%v with %v stops; travel alone allows %v s, no stops %v", near.Limit(), x[2], travel, none.Limit())
		}
		if s := near.TravelShare(); !(s > 0 && s < 1) || !same(s, float64(near.Limit())/travel, rounding) || hand.TravelShare() != 0 {
			t.Errorf("travel share %v near, %v far away", s, hand.TravelShare())
		}
		if c := CreditedStops(x[2], true); c > CreditedStops(x[2], false) || c > x[2] || c > StopsAtPixels {
			t.Errorf("%v rated stops are credited as %v", x[2], c)
		}
	})
	// 100 mm at 1:1 without stabilisation: 2·100 by turning and 200 by travel.
	if got := (Handheld{Focal: 100, Crop: 1, Magnification: 1, Radius: HandRadius, Sharpness: LooksSharp}).Limit(); got != 1.0/400 {
		t.Errorf("100 mm at 1:1: %v, want 1/400 s", got)
	}
	// It falls without a step as the camera comes nearer: with five stops it once
	// fell from 1/4.5 s at 0.45:1 to 1/75 s at 0.5:1.
	hand := Handheld{Focal: 100, Crop: 1, Stops: 5, Radius: HandRadius, Sharpness: LooksSharp}
	previous := Seconds(math.Inf(1))
	for m := 0.0; m <= 1.2; m += 0.001 {
		hand.Magnification = m
		limit := hand.Limit()
		if limit >= previous || m > 0.1 && limit < 0.985*previous {
			t.Fatalf("at %.3f:1 %v after %v", m, limit, previous)
		}
		previous = limit
	}
	at := func(m float64) float64 { hand.Magnification = m; return float64(hand.Limit()) }
	if ratio := at(0.5) / at(0.45); ratio < 0.88 || ratio > 1 {
		t.Errorf("0.5:1 allows %v of the time at 0.45:1, want about 0.9", ratio)
	}
}

// Lenses of 60, 105 and 200 mm with their published closest focus at 1:1: the
// thin lens's magnification, less the uncertainty, is no higher than that of
// the lens that shortens evenly; at 1:4 the 200 mm lens comes out 19 % high.
func TestThinLensUncertaintyCoversLensesThatShorten(t *testing.T) {
	for _, lens := range []CloseFocus{{60, 219, 1}, {105, 314, 1}, {200, 500, 1}} {
		for m := 0.002; m <= 0.2; m *= 1.1 {
			f1 := FocalLengthAt(lens.Closest, lens.Largest)
			d := FocusDistance(lens.Focal+(f1-lens.Focal)*Length(m), m)
			thin := MagnificationFromDistance(lens.Focal, d)
			if least := thin * (1 - ThinLensUncertainty(thin)); !(least <= m && m <= thin) {
				t.Errorf("%v lens at %.4f: %.4f to %.4f", lens.Focal, m, least, thin)
			}
		}
	}
	if u := ThinLensUncertainty(0.25); u != 0.15 || ThinLensUncertainty(0.6) != u || ThinLensUncertainty(0) != 0 {
		t.Errorf("uncertainty at 0, 1:4, 0.6:1: %v, %v, %v", ThinLensUncertainty(0), u, ThinLensUncertainty(0.6))
	}
}

func TestIntervals(t *testing.T) {
	random(t, [][2]float64{{1e-1, 1e5}, {0.5, 100}}, func(x []float64) {
		span, interval := Seconds(x[0]), Seconds(x[1])
		n, err := IntervalFrames(span, interval)
		if err != nil {
			t.Fatal(err)
		}
		if last := TimeCovered(n-1, interval); last > span*(1+rounding) || last+interval <= span {
			t.Errorf("%d frames end at %v of %v", n, last, span)
		}
		if got := ShutterAngle(TimeForAngle(x[0], interval), interval); !same(got, x[0], rounding) {
			t.Errorf("angle through time %v, want %v", got, x[0])
		}
		if got := ClipFrames(ClipLength(n, x[1]), x[1]); !same(got, float64(n), rounding) {
			t.Errorf("frames through clip length %v, want %d", got, n)
		}
	})
	if Overruns(4.4, 5) || !Overruns(4.6, 5) {
		t.Errorf("Overruns(4.4, 5), (4.6, 5) = %v, %v; want false, true", Overruns(4.4, 5), Overruns(4.6, 5))
	}
}

// The ripple is the largest mean of a sine over the exposure, whatever its phase.
func TestRippleIsTheMeanOfASine(t *testing.T) {
	random(t, [][2]float64{{90, 130}, {1e-4, 0.1}}, func(x []float64) {
		flicker, exposure := x[0], x[1]
		largest := 0.0
		const phases, samples = 60, 200
		for i := range phases {
			sum := 0.0
			for j := range samples {
				at := (float64(j) + 0.5) / samples * exposure
				sum += math.Sin(2 * math.Pi * (flicker*at + float64(i)/phases))
			}
			largest = max(largest, math.Abs(sum/samples))
		}
		// The sampled phases miss the largest by up to 1 - cos(3°), and the
		// samples of up to 13 periods the mean by about as much.
		if got := Ripple(flicker, Seconds(exposure)); math.Abs(got-largest) > 0.003 {
			t.Errorf("ripple %v, largest mean %v", got, largest)
		}
	})
}
