package rules

import (
	"math"
	"testing"

	"prestrike/rules/optics"
)

func TestFocusGap(t *testing.T) {
	says(t, focusGap, "fault",
		"steps are 0.47 mm or more, where the depth of field at f/8 and 1:1 is 0.56 mm; little overlap is left: make the steps of the next sequence 0.39 mm or less",
		"steps are 1.4 mm or more, where the depth of field at f/8 and 1:1 is 0.56 mm; bands between the frames are soft: shoot the sequence again in steps of 0.39 mm or less",
		"steps are 2.7 mm or more in frames 0315 and 0316, where the depth of field at f/8 and 1:1 is 0.56 mm; bands between the frames are soft: shoot the sequence again in steps of 0.39 mm or less",
		"steps are 0.7 mm or more, where the depth of field at f/8 and 1:1 is 0.56 mm; bands between the frames may be soft: inspect the bands between the frames at 100 %; if they are soft, shoot the sequence again in steps of 0.39 mm or less")
	// 1.35 of 0.912 mm, both depths together.
	measured(t, focusGap, "fault", 1.40625, 1.2313, 0.0005, "mm")
	says(t, focusGap, "leap",
		"focus moves 6 mm between 0020 and 0021, about 40 times as far as between their neighbours: inspect the band between the two at 100 %; if it is soft, shoot the sequence again",
		"focus moves 0.53 mm between 0120 and 0121, about 3.4 times as far as between their neighbours: inspect the band between the two at 100 %; if it is soft, shoot the sequence again")
}

// defocused returns the contrast that a perfect lens with a round aperture passes at
// a frequency s, as a fraction of the cutoff, with a focus error of w waves at the
// edge of the aperture: the integral of H. H. Hopkins, The frequency response of a
// defocused optical system, Proc. R. Soc. A 231 (1955), 91, over the overlap of two
// discs, their radius 1 and their centres at -s and s, of the cosine of the phase
// between them, 2π·4wsx.
func defocused(s, w float64) float64 {
	const rows, columns = 400, 400
	top := math.Sqrt(1 - s*s)
	sum := 0.0
	for i := range rows {
		y := (float64(i) + 0.5) / rows * top
		half := math.Sqrt(1-y*y) - s
		for j := range columns {
			x := (float64(j) + 0.5) / columns * half
			sum += math.Cos(8*math.Pi*w*s*x) * half / columns
		}
	}
	return 4 / math.Pi * sum * top / rows
}

func TestDefocusedContrast(t *testing.T) {
	for _, s := range []float64{0.05, 0.25, 0.5, 0.8} {
		if got, want := defocused(s, 0), optics.MTF(s); math.Abs(got-want) > 1e-4 {
			t.Errorf("in focus at %v: %v, want %v", s, got, want)
		}
		if defocused(s, 0.25) >= defocused(s, 0) || defocused(s, 0.5) >= defocused(s, 0.25) {
			t.Errorf("at %v the contrast does not fall with the focus error", s)
		}
	}
	// Far out of focus it is that of an even disc, 2J1(z)/z, which is 0 first at z = 3.83;
	// z is 8π·w·s for small s.
	if got := defocused(0.01, 3.8317/(8*math.Pi*0.01)); math.Abs(got) > 0.01 {
		t.Errorf("at the first zero of a disc: %v, want 0", got)
	}
}

// Half-way between two frames that are both depths of field apart a third of the
// contrast remains at half the finest pattern the pixels can sample, and a tenth,
// where a pattern is no more seen (mtfmapper.blogspot.com, 2012-06), at about 1.35
// times as much. So a gap is certain from there, not from the sum.
func TestCertainGapLeavesATenthOfTheContrast(t *testing.T) {
	certain := 0.0
	for _, p := range focusGap.Params {
		if p.Name == "certain-share" {
			certain = p.Default
		}
	}
	const lambda = optics.Wavelength
	pitch := 4.38 * optics.Micrometre
	// left returns the share of the contrast left half-way between two frames.
	left := func(ne, m, share float64) float64 {
		depth := optics.DepthOfField(optics.PixelCoC(pitch), lambda, ne, m)
		off := float64(share * float64(depth.Sum()) / 2)
		na := optics.ObjectNA(ne, m)
		w := off * na * na / (2 * float64(lambda)) // waves at the edge of the aperture
		s := optics.Q(lambda, pitch, ne) / 4       // half the finest pattern
		return defocused(s, w) / defocused(s, 0)
	}
	least, most := math.Inf(1), 0.0
	for _, q := range []float64{0.8, 1, 1.3, 1.64, 2} {
		ne := optics.FNumberAtQ(q, lambda, pitch)
		if got := left(ne, 1, 1); got < 0.34 || got > 0.42 {
			t.Errorf("Q %v: %.2f of the contrast at the sum of both depths, want 0.35 to 0.41", q, got)
		}
		if a, b := left(ne, 1, certain), left(ne, 0.3, certain); math.Abs(a-b) > 1e-9 {
			t.Errorf("Q %v: %v at 1:1 and %v at 0.3:1", q, a, b)
		}
		lo, hi := 1.0, 2.0
		for range 30 {
			if mid := (lo + hi) / 2; left(ne, 1, mid) > 0.1 {
				lo = mid
			} else {
				hi = mid
			}
		}
		least, most = min(least, lo), max(most, lo)
	}
	if least < 1.29 || most > 1.42 {
		t.Errorf("a tenth is left at %.2f to %.2f of the sum, want 1.31 to 1.41", least, most)
	}
	if certain < least || certain > most {
		t.Errorf("a gap is certain from %v of the sum, a tenth is left at %.2f to %.2f", certain, least, most)
	}
}
