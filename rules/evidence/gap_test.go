package evidence

import (
	"math/rand/v2"
	"testing"
	"time"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/exifread"
)

func TestAverages(t *testing.T) {
	for _, tt := range []struct {
		cadence, frames float64
		want            bool
	}{
		{1, 50, false},       // every frame is rounded alike
		{2.004, 100, false},  // nearly so
		{2.03, 100, true},    // 100 frames go through three clock steps
		{0.5, 50, false},     // every other frame is
		{1.0 / 3, 50, false}, // every third
		{1.3, 25, true},      // thirds: 0.1 of a step a frame
		{0.37, 30, true},
		{0.37, 5, false}, // too few
	} {
		if got := averages(tt.cadence, tt.frames); got != tt.want {
			t.Errorf("averages(%v, %v) = %v, want %v", tt.cadence, tt.frames, got, tt.want)
		}
	}
}

// coarseRun makes a run of 50 frames on a clock of whole seconds. At the
// middle the number jumps by jump while the time goes on by ticks.
func coarseRun(r *rand.Rand, cadence float64, jump, ticks int) *shoot.Sequence {
	const frames, middle = 50, 25
	q := &shoot.Sequence{Run: &shoot.Run{Cadence: exifread.Of(time.Duration(cadence * float64(time.Second)))}, Kind: shoot.Burst}
	now, number := r.Float64(), 1
	start := time.Date(2026, 3, 4, 10, 11, 12, 0, time.UTC)
	for i := range frames {
		if i > 0 {
			steps, count := 1, 1
			if i == middle {
				steps, count = ticks, jump
			}
			for range steps {
				now += cadence * (1 + 0.08*(2*r.Float64()-1))
			}
			number += count
		}
		q.Frames = append(q.Frames, &shoot.Frame{
			Time: start.Add(time.Duration(now) * time.Second), Resolution: time.Second,
			Number: shoot.Number{Known: true, N: number, Digits: 4, Count: number},
			Files:  []*shoot.File{{Path: "run", Size: int64(i)}},
		})
	}
	for i := 1; i < frames; i++ {
		a, b := q.Frames[i-1], q.Frames[i]
		elapsed := b.Time.Sub(a.Time)
		q.Steps = append(q.Steps, shoot.Step{
			From: a, To: b, Elapsed: exifread.Of(elapsed), Ticks: exifread.Of(elapsed.Seconds() / cadence), Slack: 1 / cadence,
			Count: exifread.Of(b.Number.N - a.Number.N),
		})
	}
	return q
}

// A clock of whole seconds may leave open what happened, but must not report the
// wrong thing.
func TestGapsOnWholeSeconds(t *testing.T) {
	for _, tt := range []struct {
		name        string
		jump, ticks int
		want        Reading
	}{
		{"one frame lost", 2, 2, Missing},
		{"three frames lost", 4, 4, Missing},
		{"a number left out", 2, 1, Jumped},
		{"a card from another camera", 700, 1, Jumped},
		{"nothing", 1, 1, Plain},
	} {
		told, wrong, all := 0, 0, 0
		for seed := range uint64(3000) {
			r := rand.New(rand.NewPCG(seed, 7))
			q := coarseRun(r, 0.3+3.7*r.Float64(), tt.jump, tt.ticks)
			for _, g := range readGaps(&audit.Review{Sequence: q, Options: &audit.Options{}}) {
				atMiddle := g.Count != 1 || tt.want == Plain
				switch {
				case !atMiddle && (g.Reading == Missing || g.Reading == Jumped || g.Reading == Paused):
					wrong++
				case !atMiddle:
				case g.Reading == tt.want:
					told++
				case g.Reading != Unclear:
					wrong++
					t.Logf("%s, seed %d, cadence %v: read as %d, ticks %.2f ± %.2f", tt.name, seed, q.Cadence, g.Reading, g.Ticks, g.slack)
				}
				if atMiddle {
					all++
				}
			}
		}
		t.Logf("%s: told in %d of %d, wrong in %d", tt.name, told, all, wrong)
		if wrong > 0 {
			t.Errorf("%s: told wrong in %d of %d", tt.name, wrong, all)
		}
		if tt.want != Plain && 2*told < all {
			t.Errorf("%s: told in %d of %d only", tt.name, told, all)
		}
	}
}
