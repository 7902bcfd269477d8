package report_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"

	"prestrike/audit"
	"prestrike/audit/audittest"
	"prestrike/audit/report"
	"prestrike/audit/shoot"

	"github.com/google/go-cmp/cmp"
)

// courierText are four views of six that are shot, each set up in 100 s and made in 117 s,
// but for a second or two. The names of the open ones are hostile.
func courierText(fewest string) string {
	var b strings.Builder
	for _, name := range []string{"a", "b", "c", "d"} {
		fmt.Fprintf(&b, "# view %s kind=focus frames=40\n", name)
	}
	fmt.Fprintf(&b, "# view \"=cmd|<script>alert(1)</script>\x1b[2J\" kind=focus frames=40%s\n# view \"|x|\" kind=focus frames=40\n", fewest)
	b.WriteString("DCIM/100BXCAM/BX1_0001..0040.NEF every 3s time=2026-03-04T15:00:00.34+01:00 t=0.1 f=8 iso=100 mm=90 serial=4711 dist=0.31..0.32 wb=manual program=manual mode=manual\n")
	for i := 1; i < 4; i++ {
		fmt.Fprintf(&b, "DCIM/100BXCAM/BX1_%04d..%04d.NEF after %ds dist=0.31..0.32\n", 1+40*i, 40+40*i, 99+i)
	}
	return b.String()
}

// courierResult audits the shoot at 15:30, with a courier that comes some minutes later.
func courierResult(t *testing.T, fewest string, minutes int) *audit.Result {
	t.Helper()
	text, err := audittest.Read(strings.NewReader(courierText(fewest)))
	if err != nil {
		t.Fatal(err)
	}
	text.Options.Courier = 15*time.Hour + time.Duration(30+minutes)*time.Minute
	text.Options.Now = func(time.Time) time.Time { return time.Date(2026, 3, 4, 15, 30, 0, 0, time.UTC) }
	result, err := audit.Judge(t.Context(), &shoot.Collection{Files: text.Files}, &text.Options)
	if err != nil {
		t.Fatal(err)
	}
	return result
}

// Every form for people says how much time is left, and with how many frames it fits; a
// hostile name stays text.
func TestTimeLeftInEveryForm(t *testing.T) {
	const about = "About 7 min needed for 2 views (in 4 of 5 cases at most 8 min)"
	for _, c := range []struct {
		name, fewest string
		minutes      int
		want, shape  string
	}{
		{"it fits", "", 30, ", 30 min left.", "disk"},
		{"with fewer frames", " fewest=30", 7, `, 7 min left; it fits with 34 frames for "=cmd|<script>alert(1)</script>\x1b[2J" (steps 1.19 times as wide).`, "triangle"},
		{"that overlap", " fewest=30 overlap=0.5", 7, `, 7 min left; it fits with 34 frames for "=cmd|<script>alert(1)</script>\x1b[2J" (steps 1.19 times as wide, overlap 40 %).`, "triangle"},
		{"not likely", "", 6, ", 6 min left; it is not likely to fit: count on the first view only.", "triangle"},
		{"too late", "", -5, ", the courier was to come 5 min ago.", "triangle"},
	} {
		t.Run(c.name, func(t *testing.T) {
			result := courierResult(t, c.fewest, c.minutes)
			want := about + c.want
			var live, line bytes.Buffer
			report.WriteClosing(&live, result, 1000, false)
			report.WriteTimeLeft(&line, result, 1000)
			for form, text := range map[string]string{
				"table": string(write(t, "table", result, &report.Options{Width: 1000})), "live": live.String(), "time": line.String(),
			} {
				if !strings.Contains(text, want) || strings.Contains(text, "\x1b") {
					t.Errorf("%s lacks %q:\n%s", form, want, text)
				}
			}
			_, _, words := parsePage(t, write(t, "html", result, nil))
			page := string(write(t, "html", result, nil))
			if !strings.Contains(words, want) || strings.Contains(page, "<script>alert") {
				t.Errorf("the page lacks %q, or holds a script", want)
			}
			if at := strings.Index(page, `<p class="time"><span class="word `+c.shape+`">`); at < 0 || at > strings.Index(page, "<main>") {
				t.Errorf("the page has no time with the shape %q at its top", c.shape)
			}
			if strings.Count(words, about) != 1 {
				t.Errorf("the page has the time %d times", strings.Count(words, about))
			}
			markdown := strings.ReplaceAll(string(write(t, "markdown", result, nil)), `\`, "")
			if !strings.Contains(markdown, strings.ReplaceAll(want, `\`, "")) {
				t.Errorf("Markdown lacks %q", want)
			}
		})
	}
}

// The JSON form has the figures; a courier on another day is not known.
func TestTimeLeftInJSON(t *testing.T) {
	of := func(result *audit.Result) map[string]any {
		var all map[string]any
		if err := json.Unmarshal(write(t, "json", result, nil), &all); err != nil {
			t.Fatal(err)
		}
		left, _ := all["time_left"].(map[string]any)
		return left
	}
	name := "=cmd|<script>alert(1)</script>\x1b[2J"
	for _, c := range []struct {
		name   string
		result *audit.Result
		want   map[string]any
	}{
		{"it fits", courierResult(t, "", 30), map[string]any{
			"left_s": 1800., "open_views": 2., "fits": true, "fewer_frames": []any{}, "views_that_fit": 2.,
		}},
		{"with fewer frames", courierResult(t, " fewest=30", 7), map[string]any{
			"left_s": 420., "open_views": 2., "fits": false, "fewer_frames": []any{map[string]any{"view": name, "frames": 34., "step_ratio": 1.182, "overlap": nil}}, "views_that_fit": 1.,
		}},
		{"that overlap", courierResult(t, " fewest=30 overlap=0.5", 7), map[string]any{
			"left_s": 420., "open_views": 2., "fits": false, "fewer_frames": []any{map[string]any{"view": name, "frames": 34., "step_ratio": 1.182, "overlap": 0.409}}, "views_that_fit": 1.,
		}},
		{"not likely", courierResult(t, "", 6), map[string]any{
			"left_s": 360., "open_views": 2., "fits": false, "fewer_frames": []any{}, "views_that_fit": 1.,
		}},
	} {
		got := of(c.result)
		median, careful := got["needed_s"].(float64), got["needed_careful_s"].(float64)
		if median < 430 || median > 438 || careful < median || careful > 445 { // 2 x 217 s
			t.Errorf("%s: %v s, carefully %v s", c.name, median, careful)
		}
		delete(got, "needed_s")
		delete(got, "needed_careful_s")
		if diff := cmp.Diff(c.want, got); diff != "" {
			t.Errorf("%s: %s", c.name, diff)
		}
	}
	few := courierResult(t, "", 30)
	few.Needed = audit.TimeFor(few.Views[:1])
	few.Needed.Views = 3
	want := map[string]any{"left_s": 1800., "open_views": 3., "needed_s": nil, "needed_careful_s": nil, "fits": nil, "fewer_frames": []any{}, "views_that_fit": nil}
	if diff := cmp.Diff(want, of(few)); diff != "" {
		t.Error(diff)
	}
	if got := of(morningResult(t)); got != nil {
		t.Errorf("without a courier: %v", got)
	}
	var b bytes.Buffer
	result := courierResult(t, "", 6)
	if err := report.WriteLiveJSON(&b, audit.LiveEvent{Kind: audit.SequenceClosed, Sequence: result.Sessions[0].Sequences[0]}, result); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(b.String(), `"time_left":{"left_s":360,"open_views":2,`) {
		t.Errorf("a line of the watch has no time left: %s", b.String())
	}
}
