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
)

// plannedShoot makes up a shoot of views whose set-up times scatter, as text, shows the
// first of them to the audit, and returns how long the others took.
func plannedShoot(seed uint64) (text string, open int, took time.Duration) {
	r := rand.New(rand.NewPCG(seed, 0x76696577))
	views, shot := 6+r.IntN(10), 0
	shot = 4 + r.IntN(views-4)
	typical, scatter := 60+240*r.Float64(), 0.3+0.5*r.Float64()
	frames, pace := 10+r.IntN(40), 0.8+2*r.Float64()
	at := time.Date(2026, 3, 4, 9, 0, 0, 0, time.UTC)
	var b strings.Builder
	for i := range views {
		fmt.Fprintf(&b, "# view \"view %d\" kind=focus frames=%d\n", i+1, frames)
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
	return b.String(), views - shot, at.Sub(end)
}

// The careful estimate is enough in about four of five shoots, the median in about half.
func TestTimeNeededHolds(t *testing.T) {
	n := 500
	if testing.Short() {
		n = 100
	}
	within, half, judged := 0, 0, 0
	for seed := uint64(7_000); seed < 7_000+uint64(n); seed++ {
		made, open, took := plannedShoot(seed)
		text, err := audittest.Read(strings.NewReader(made))
		if err != nil {
			t.Fatal(err)
		}
		result, err := audit.Judge(t.Context(), &shoot.Collection{Files: text.Files}, &text.Options)
		if err != nil {
			t.Fatal(err)
		}
		needed := audit.TimeFor(result.Views)
		if needed.Views != open || needed.Careful == 0 {
			continue
		}
		judged++
		if took <= needed.Careful {
			within++
		}
		if took <= needed.Median {
			half++
		}
	}
	t.Logf("%d of %d shoots judged: the careful estimate holds in %d, the median in %d", judged, n, within, half)
	if share := float64(within) / float64(judged); share < 0.75 || share > 0.85 {
		t.Errorf("the careful estimate holds in %.1f %%, want 75 to 85", 100*share)
	}
	if judged < n*9/10 {
		t.Errorf("%d of %d shoots judged", judged, n)
	}
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
		{"two are open", views + more + four, 16 * time.Hour, noon, "about 7 min needed for 2 views (in 4 of 5 cases at most 7 min), 30 min left"},
		{"fewer frames fit", views + more + four, 15*time.Hour + 36*time.Minute, noon, "about 7 min needed for 2 views (in 4 of 5 cases at most 7 min), 6 min left; it fits with 2"},
		{"nothing fits", views + more + four, 15*time.Hour + 33*time.Minute, noon, "about 7 min needed for 2 views (in 4 of 5 cases at most 7 min), 3 min left"},
		{"he was to come", views + more + four, 15 * time.Hour, noon, "about 7 min needed for 2 views (in 4 of 5 cases at most 7 min), the courier was to come 30 min ago"},
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
			text.Options.Courier, text.Options.Now = c.courier, func() time.Time { return c.now }
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
