package audit_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"prestrike/audit"
	"prestrike/audit/audittest"
	"prestrike/audit/shoot"
	"prestrike/rules/optics"
)

// A madeShoot is a made-up shoot of views whose set-up times scatter. The text shows
// the first of them to the audit.
type madeShoot struct {
	text           string
	open           int
	took           time.Duration // for the others
	frames, fewest int           // of each view
	pace           float64       // s from frame to frame
}

func plannedShoot(seed uint64) madeShoot {
	r := rand.New(rand.NewPCG(seed, 0x76696577))
	views, shot := 6+r.IntN(10), 0
	shot = 4 + r.IntN(views-4)
	typical, scatter := 60+240*r.Float64(), 0.3+0.5*r.Float64()
	frames, pace := 10+r.IntN(40), 0.8+2*r.Float64()
	fewest := frames * 7 / 10
	at := time.Date(2026, 3, 4, 9, 0, 0, 0, time.UTC)
	var b strings.Builder
	for i := range views {
		fmt.Fprintf(&b, "# view \"view %d\" kind=focus frames=%d fewest=%d\n", i+1, frames, fewest)
	}
	var end time.Time
	for i := range views {
		setUp := typical * math.Exp(scatter*r.NormFloat64())
		if i > 0 {
			at = at.Add(time.Duration(setUp * float64(time.Second)))
		}
		if i < shot {
			first := 1 + i*frames
			fmt.Fprintf(&b, "DCIM/100BXCAM/BX1_%04d..%04d.NEF every %.2fs time=%s t=0.1 f=8 iso=100 mm=90 serial=4711 dist=0.31..0.32 wb=manual program=manual mode=manual\n",
				first, first+frames-1, pace, at.Format("2006-01-02T15:04:05.00Z07:00"))
		}
		at = at.Add(time.Duration(pace * float64(frames-1) * float64(time.Second)))
		if i == shot-1 {
			end = at
		}
	}
	return madeShoot{b.String(), views - shot, at.Sub(end), frames, fewest, pace}
}

// The careful estimate is enough in about four of five shoots, the median in about half;
// and so it is with the fewer frames that are recommended where the courier comes earlier.
func TestTimeNeededHolds(t *testing.T) {
	n := 500
	if testing.Short() {
		n = 100
	}
	within, half, judged, fewer, inTime := 0, 0, 0, 0, 0
	for seed := uint64(7_000); seed < 7_000+uint64(n); seed++ {
		made := plannedShoot(seed)
		needed := audit.TimeFor(judgedText(t, made.text).Views)
		if needed.Views != made.open || needed.Careful == 0 {
			continue
		}
		judged++
		if made.took <= needed.Careful {
			within++
		}
		if made.took <= needed.Median {
			half++
		}
		if seed%2 > 0 {
			continue
		}
		lack := made.frames - made.fewest
		frame := time.Duration(made.pace * float64(made.open) * float64(time.Second)) // one of each view
		left := needed.Careful - time.Duration(float64(lack)*float64(frame)/2)
		fit, _ := needed.Fitting(left).Get()
		if fit.AsListed || len(fit.Fewer) != made.open || fit.Views >= made.open {
			t.Fatalf("seed %d: %+v", seed, fit)
		}
		took := made.took
		for _, f := range fit.Fewer {
			if f.Frames < made.fewest || f.Frames >= made.frames {
				t.Errorf("seed %d: %d frames, listed are %d and %d at least", seed, f.Frames, made.frames, made.fewest)
			}
			took -= time.Duration(float64(made.frames-f.Frames) * made.pace * float64(time.Second))
		}
		fewer++
		if took <= left {
			inTime++
		}
		if seed%20 > 0 {
			continue
		}
		if fit, _ := needed.Fitting(needed.Careful - time.Duration(lack+1)*frame).Get(); fit.AsListed || len(fit.Fewer) > 0 {
			t.Errorf("seed %d: less than with the fewest frames fits: %+v", seed, fit)
		}
	}
	t.Logf("%d of %d shoots judged: the careful estimate holds in %d, the median in %d", judged, n, within, half)
	if share := float64(within) / float64(judged); share < 0.75 || share > 0.85 {
		t.Errorf("the careful estimate holds in %.1f %%, want 75 to 85", 100*share)
	}
	t.Logf("%d shoots with fewer frames: %d in time", fewer, inTime)
	if share := float64(inTime) / float64(fewer); !testing.Short() && (share < 0.75 || share > 0.85) {
		t.Errorf("with fewer frames %.1f %% are in time, want 75 to 85", 100*share)
	}
	if judged < n*9/10 {
		t.Errorf("%d of %d shoots judged", judged, n)
	}
}

// judgedText judges a session as text.
func judgedText(t *testing.T, session string) *audit.Result {
	t.Helper()
	text, err := audittest.Read(strings.NewReader(session))
	if err != nil {
		t.Fatal(err)
	}
	result, err := audit.Judge(t.Context(), &shoot.Collection{Files: text.Files}, &text.Options)
	if err != nil {
		t.Fatal(err)
	}
	return result
}

// What is reported of the time left follows the courier, the clock and what is open.
func TestTimeSentence(t *testing.T) {
	const views = "# view a kind=focus frames=40\n# view b kind=focus frames=40\n# view c kind=focus frames=40\n# view d kind=focus frames=40\n"
	var shots strings.Builder
	shots.WriteString("DCIM/100BXCAM/BX1_0001..0040.NEF every 3s time=2026-03-04T15:00:00.34+01:00 t=0.1 f=8 iso=100 mm=90 serial=4711 dist=0.31..0.32 wb=manual program=manual mode=manual\n")
	for i := 1; i < 4; i++ { // set up in 100 s each time, so that nothing scatters but a second or two
		fmt.Fprintf(&shots, "DCIM/100BXCAM/BX1_%04d..%04d.NEF after %ds dist=0.31..0.32\n", 1+40*i, 40+40*i, 99+i)
	}
	four := shots.String()
	noon := time.Date(2026, 3, 4, 15, 30, 0, 0, time.UTC)
	const more = "# view e kind=focus frames=40\n# view f kind=focus frames=40\n"
	for _, c := range []struct {
		name, text string
		courier    time.Duration
		now        time.Time
		want       string
	}{
		{"two are open", views + more + four, 16 * time.Hour, noon, "about 7 min needed for 2 views (in 4 of 5 cases at most 8 min), 30 min left"},
		// A set-up takes 100 s and 40 frames 117 s; 7 s less are 2 frames of each view and one more.
		{"fewer frames fit", views + fewest(more, 30, 30) + four, 15*time.Hour + 37*time.Minute, noon.Add(-8 * time.Second), "about 7 min needed for 2 views (in 4 of 5 cases at most 8 min), 7 min left; it fits with 38 frames for each (steps 1.06 times as wide)"},
		{"fewer frames of one", views + fewest(more, 30, 0) + four, 15*time.Hour + 37*time.Minute, noon, "about 7 min needed for 2 views (in 4 of 5 cases at most 8 min), 7 min left; it fits with 34 frames for \"e\" (steps 1.19 times as wide)"},
		// Of a way of 39 steps of 50 % of the sharp depth, 33 are 59.1 %.
		{"fewer frames of one, which overlap", views + strings.Replace(fewest(more, 30, 0), "fewest=30", "fewest=30 overlap=0.5", 1) + four, 15*time.Hour + 37*time.Minute, noon, "about 7 min needed for 2 views (in 4 of 5 cases at most 8 min), 7 min left; it fits with 34 frames for \"e\" (steps 1.19 times as wide, overlap 40 %)"},
		{"different numbers", views + fewest(more, 20, 30) + four, 15*time.Hour + 36*time.Minute, noon, "about 7 min needed for 2 views (in 4 of 5 cases at most 8 min), 6 min left; it fits with 2"},
		{"no fewer than leave no gap", views + fewest(more, 39, 39) + four, 15*time.Hour + 36*time.Minute, noon, "about 7 min needed for 2 views (in 4 of 5 cases at most 8 min), 6 min left; it is not likely to fit: count on the first view only"},
		{"not declared how few", views + more + four, 15*time.Hour + 36*time.Minute, noon, "about 7 min needed for 2 views (in 4 of 5 cases at most 8 min), 6 min left; it is not likely to fit: count on the first view only"},
		{"nothing fits", views + fewest(more, 30, 30) + four, 15*time.Hour + 33*time.Minute, noon, "about 7 min needed for 2 views (in 4 of 5 cases at most 8 min), 3 min left; it is not likely to fit: count on no further view"},
		{"he was to come", views + more + four, 15 * time.Hour, noon, "about 7 min needed for 2 views (in 4 of 5 cases at most 8 min), the courier was to come 30 min ago"},
		{"too few shot", views + strings.SplitAfter(four, "\n")[0], 16 * time.Hour, noon, "30 min left; too few views are shot to estimate the time needed"},
		{"all are shot", views + four, 16 * time.Hour, noon, ""},
		{"no courier", views + more + four, 0, noon, ""},
		{"the day after", views + more + four, 16 * time.Hour, noon.AddDate(0, 0, 1), ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			text, err := audittest.Read(strings.NewReader(c.text))
			if err != nil {
				t.Fatal(err)
			}
			text.Options.Courier, text.Options.Now = c.courier, func(time.Time) time.Time { return c.now }
			result, err := audit.Judge(t.Context(), &shoot.Collection{Files: text.Files}, &text.Options)
			if err != nil {
				t.Fatal(err)
			}
			got := audit.TimeSentence(result)
			if c.want == "" && got != "" || !strings.HasPrefix(got, c.want) {
				t.Errorf("%q, want %q", got, c.want)
			}
			if strings.Contains(c.name, "nothing") && strings.Contains(got, "it fits") {
				t.Errorf("%q: it does not fit", got)
			}
		})
	}
}

// fewest declares for each view of a list the fewest frames; 0 declares none.
func fewest(views string, frames ...int) string {
	var b strings.Builder
	for i, line := range strings.SplitAfter(views, "\n") {
		if i < len(frames) && frames[i] > 0 {
			line = fmt.Sprintf("%s fewest=%d\n", strings.TrimSuffix(line, "\n"), frames[i])
		}
		b.WriteString(line)
	}
	return b.String()
}

// Fewer frames, spread as is recommended, cover the depth of the plan in steps that leave no
// gap, whatever the depth, the overlap planned and the frames to spare.
func TestFewerFramesCoverTheDepth(t *testing.T) {
	r := rand.New(rand.NewPCG(16, 3))
	spread := 0
	for range 2000 {
		task := optics.FocusTask{
			Depth: optics.Length(0.5+30*r.Float64()) * optics.Millimetre, Magnification: 0.05 + 2*r.Float64(), Margin: r.IntN(4),
			Overlap: float64(1+r.IntN(90)) / 100, FNumbers: []float64{2.8 + 12*r.Float64()},
			Sensor: optics.Sensor{Width: 36 * optics.Millimetre, PixelWidth: 8256, PixelHeight: 5504},
		}
		plan, err := task.Plan()
		if err != nil {
			t.Fatal(err)
		}
		row := plan.Rows[0]
		fewest, err := task.FewestFrames(row)
		if err != nil {
			t.Fatal(err)
		}
		view := audit.View{Frames: row.Frames, FewestFrames: fewest, Overlap: task.Overlap}
		if fewest < row.Frames && fewest < view.FewestAtOverlap() {
			t.Errorf("%+v: a plan's %d frames, or %d, would be refused in a shot list", task, row.Frames, fewest)
		}
		for n := fewest; n < row.Frames; n++ {
			spread++
			f := view.Spread(n)
			step := f.StepRatio * float64(row.Step)
			sharp := float64(row.Step) / (1 - task.Overlap)
			overlap, known := f.Overlap.Get()
			if covered := step*float64(n-1) + sharp; covered < float64(task.Depth)*(1-1e-9) {
				t.Errorf("%+v: %d frames cover %v of %v", task, n, covered, task.Depth)
			}
			if step > optics.StepRatio*sharp*(1+1e-9) || !known || math.Abs(overlap-(1-step/sharp)) > 1e-9 {
				t.Errorf("%+v: %d frames in steps of %v of a sharp depth of %v, overlap %v", task, n, step, sharp, overlap)
			}
		}
	}
	if spread < 10_000 {
		t.Errorf("only %d numbers of frames were tried", spread)
	}
}
