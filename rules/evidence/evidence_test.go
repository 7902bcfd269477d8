package evidence

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"prestrike/audit"
	"prestrike/audit/audittest"
	"prestrike/audit/shoot"
	"prestrike/exifread"
	"prestrike/rules/optics"
)

// group reads a session written as text and returns its sequences.
func group(t *testing.T, text string) []*shoot.Sequence {
	t.Helper()
	session, err := audittest.Read(strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	var list []*shoot.Sequence
	for _, s := range shoot.Group(session.Files, &session.Options.Options) {
		list = append(list, s.Sequences...)
	}
	return list
}

// fineRun makes a run of the given number of frames on a fine clock, with one longer step
// behind frame number pause, counted from 0.
func fineRun(frames, pause int, ticks float64) *shoot.Sequence {
	const cadence = 1300 * time.Millisecond
	q := &shoot.Sequence{Run: &shoot.Run{}, Kind: shoot.Burst}
	q.Cadence = exifread.Of(cadence)
	at := time.Date(2026, 3, 4, 10, 11, 12, 0, time.UTC)
	for i := range frames {
		step := 1.0
		if i > 0 && i-1 == pause {
			step = ticks
		}
		if i > 0 {
			at = at.Add(time.Duration(step * float64(cadence)))
		}
		f := &shoot.Frame{
			Time: at, Resolution: 10 * time.Millisecond, Number: shoot.Number{Known: true, N: i + 1, Digits: 4, Count: i + 1},
			Files: []*shoot.File{{Path: "run", Size: int64(i)}},
		}
		if i > 0 {
			before := q.Frames[i-1]
			q.Steps = append(q.Steps, shoot.Step{
				From: before, To: f, Elapsed: exifread.Of(at.Sub(before.Time)), Ticks: exifread.Of(step), Count: exifread.Of(1),
			})
		}
		q.Frames = append(q.Frames, f)
	}
	return q
}

// Within four steps of either end a pause may set off test frames; from the fifth
// on it is one of the run.
func TestPauseNearTheEnds(t *testing.T) {
	const frames = 40
	for _, tt := range []struct {
		behind int // step
		want   Reading
	}{{3, Plain}, {4, Paused}, {20, Paused}, {frames - 2 - 4, Paused}, {frames - 2 - 3, Plain}} {
		q := fineRun(frames, tt.behind, 5)
		list := readGaps(&audit.Review{Sequence: q, Options: &audit.Options{}})
		if got := list[tt.behind].Reading; got != tt.want {
			t.Errorf("a pause at step %d of %d is read as %d, want %d", tt.behind, len(list), got, tt.want)
		}
	}
}

// The time of n frames, in which each step scatters by a normal distribution, lies
// within two standard deviations in 95.4 % of runs.
func TestScatterOver(t *testing.T) {
	const runs, known, deviation, n = 20000, 400, 0.05, 5
	r := rand.New(rand.NewPCG(11, 3))
	s := scatter{deviation: deviation, steps: known}
	within := 0
	for range runs {
		total := 0.0
		for range n {
			total += 1 + deviation*r.NormFloat64()
		}
		if math.Abs(total-n) <= s.over(n) {
			within++
		}
	}
	if share := float64(within) / runs; share < 0.945 || share > 0.975 {
		t.Errorf("%.1f %% of runs lie within, want 95.4 %% and a little more for the cadence's own error", 100*share)
	}
}

// A clock of whole seconds rounds evenly where the cadence is no simple fraction of
// one: what is left of a gap's length then lies within three standard errors in
// 99.7 % of runs, where errors are normal and independent. The jitter of a run adds
// up, which takes the share to 98 %; two standard errors hold 89 %.
func TestRefineKeepsItsError(t *testing.T) {
	within, all := 0, 0
	for seed := range uint64(4000) {
		r := rand.New(rand.NewPCG(seed, 21))
		cadence := 1.3 + 0.2*r.Float64()
		q := coarseRun(r, cadence, 3, 3)
		list := links(q)
		before := list[24].slack
		refine(list, 24)
		g := list[24]
		if g.slack == before { // the readings themselves hold more
			continue
		}
		all++
		if math.Abs(g.Ticks-3) <= g.slack {
			within++
		}
	}
	if all < 500 {
		t.Fatalf("only %d gaps were refined", all)
	}
	if share := float64(within) / float64(all); share < 0.97 {
		t.Errorf("%d of %d, %.1f %%, lie within their error, want 99 %% at least", within, all, 100*share)
	}
}

// Bodies that record other units than metres are met: a lens focuses no nearer than
// some two focal lengths.
func TestPlausible(t *testing.T) {
	for _, tt := range []struct {
		distance, focal optics.Length
		want            bool
	}{
		{190 * optics.Millimetre, 100 * optics.Millimetre, false},
		{60 * optics.Millimetre, 100 * optics.Millimetre, false},
		{210 * optics.Millimetre, 100 * optics.Millimetre, true},
		{2000 * optics.Metre, 100 * optics.Millimetre, false},
		{5 * optics.Millimetre, 0, false},
	} {
		if got := plausible(tt.distance, tt.focal); got != tt.want {
			t.Errorf("%v m at %v mm: %v, want %v", float64(tt.distance), tt.focal.Millimetres(), got, tt.want)
		}
	}
}

// A recorded distance a little short of the closest focus is the closest focus; one
// far short of it is none that the declared lens can have.
func TestMagnificationNearClosestFocus(t *testing.T) {
	for _, tt := range []struct {
		metres float64
		want   float64
		known  bool
	}{{0.30, 1, true}, {0.29, 1, true}, {0.25, 0, false}, {0.20, 0, false}} {
		m := &exifread.Metadata{
			LensModel: exifread.Of("Borealis 90 mm macro"), FocalLength: exifread.Of(exifread.Rational{Num: 90, Den: 1}),
			SubjectDistance: exifread.Of(exifread.Distance{State: exifread.DistanceMetres, Metres: tt.metres}),
		}
		v := &audit.Review{Options: &audit.Options{Lenses: []audit.LensFacts{{Model: "Borealis 90 mm macro", ClosestFocus: 300, LargestMagnification: 1}}}}
		got := magnificationOf(v, nil, Sensor{}, m)
		if Known(got.M) != tt.known || tt.known && got.M != tt.want {
			t.Errorf("at %v m: %v, want %v", tt.metres, got.M, tt.want)
		}
	}
}

// Where no value is recorded by most frames, the one in the middle counts for all.
func TestUsualOfMeasuredValues(t *testing.T) {
	list := group(t, `
BX1_0001..0002.NEF every 1.3s time=2026-03-04T10:11:12.34+01:00 t=0.8 f=8 iso=100 mm=90 serial=4711
BX1_0003.NEF iso=200
BX1_0004.NEF iso=201
BX1_0005.NEF iso=202
BX1_0006.NEF iso=203
BX1_0007.NEF iso=204
`)
	var frames []*shoot.Frame
	for _, q := range list {
		frames = append(frames, q.Frames...)
	}
	if len(frames) != 7 {
		t.Fatalf("%d frames", len(frames))
	}
	d := Sensitivity(Tolerance.Default).Of(frames)
	if d.Usual != 201 || len(d.Odd) != 2 || d.Odd[0] != frames[0] {
		t.Errorf("ISO %d is the usual one and %d frames differ, want 201 and 2", d.Usual, len(d.Odd))
	}
	if d := Sensitivity(Tolerance.Default).Of(frames[2:]); d.Usual != 202 || len(d.Odd) != 0 {
		t.Errorf("without the first two ISO %d is the usual one and %d frames differ, want 202 and none", d.Usual, len(d.Odd))
	}
}
