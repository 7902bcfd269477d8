package rules

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"prestrike/audit"
	"prestrike/audit/audittest"
	"prestrike/audit/pictures"
	"prestrike/audit/pictures/picturestest"
	"prestrike/audit/pixels/pixelstest"
	"prestrike/audit/report"
	"prestrike/audit/shoot"
	"prestrike/exifread"
)

// TestPatch: two frames are missing from a run whose numbers and times run on. The report
// names the few frames that close the hole; four made three minutes later do, or two, and are
// one with the run in each form of the report. Where they lie elsewhere, leave a wide step,
// the camera moved or the exposure is another, they do not.
func TestPatch(t *testing.T) {
	clean := picturestest.Covering()
	run := pixelstest.Missing(clean, 11, 2)
	patch := pixelstest.Run(77, 4, clean[10].Focus, clean[13].Focus, 0.04)
	two := pixelstest.Run(76, 2, clean[11].Focus, clean[12].Focus, 0.04)
	const hole = "times as far between 0011 and 0012"
	for _, c := range []struct {
		name    string
		patch   []pixelstest.Shot
		time    exifread.Rational // of its exposures, where it is another
		closes  bool
		verdict audit.Verdict
		misfit  string
		long    bool // left out of a plain go test
	}{
		{name: "closes it", patch: patch, closes: true, verdict: audit.VerdictGood},
		{name: "two frames close it", patch: two, closes: true, verdict: audit.VerdictGood},
		{name: "two of them, the camera moved", patch: pixelstest.Bump(two, 0, 2, 6, 4), long: true, verdict: audit.VerdictCheck, misfit: "the camera moved in between"},
		{name: "one leaves a wide step", patch: two[:1], long: true, verdict: audit.VerdictCheck, misfit: "a step is still too wide"},
		{name: "test frames elsewhere", patch: pixelstest.Run(78, 3, clean[16].Focus, clean[19].Focus, 0.04), verdict: audit.VerdictCheck},
		{name: "two at another exposure", patch: two, long: true, time: exifread.Rational{Num: 4, Den: 10}, verdict: audit.VerdictCheck, misfit: "its settings are others"},
		{name: "elsewhere", patch: pixelstest.Run(78, 4, clean[16].Focus, clean[19].Focus, 0.04), verdict: audit.VerdictCheck},
		{name: "the camera moved", patch: pixelstest.Bump(patch, 0, 4, 6, 4), verdict: audit.VerdictCheck, misfit: "the camera moved in between"},
		{name: "another exposure", patch: patch, time: exifread.Rational{Num: 4, Den: 10}, verdict: audit.VerdictCheck, misfit: "its settings are others"},
	} {
		t.Run(c.name, func(t *testing.T) {
			if c.long {
				pixelstest.Long(t)
			}
			camera := picturestest.Camera{Every: 1300 * time.Millisecond, NumbersRunOn: true, Skip: func(i int) int {
				if i == len(run) {
					return 140
				}
				return 0
			}, Change: func(i int, m *exifread.Metadata) {
				if i >= len(run) && c.time.Den > 0 {
					m.ExposureTime = exifread.Of(c.time)
				}
			}}
			result := lookAt(t, &pictures.Measurer{}, camera.Shoot(t, slices.Concat(run, c.patch)))
			q := result.Sessions[0].Sequences[0]
			var found *audit.Finding
			for _, f := range q.Findings {
				if strings.Contains(f.Message, hole) {
					found = f
				}
			}
			if found == nil || len(q.Frames) != len(run) {
				t.Fatalf("found %q, want %s", audittest.Told(result), hole)
			}
			if want := "make 4 frames from the focus of 0011 to that of 0012"; !strings.Contains(found.Action, want) {
				t.Errorf("action %q, want %q in it", found.Action, want)
			}
			if found.Closed != c.closes || len(q.PatchedBy) > 0 != c.closes || q.Verdict != c.verdict {
				t.Errorf("closed %v by %d, verdict %v; want %v, %v; %q", found.Closed, len(q.PatchedBy), q.Verdict, c.closes, c.verdict, audittest.Told(result))
			}
			misfit := ""
			if q.Misfit != nil {
				misfit = q.Misfit.Why
			}
			if misfit != c.misfit {
				t.Errorf("it does not fit as %q, want %q", misfit, c.misfit)
			}
			forms := map[string]string{"table": fmt.Sprintf("0001-0022, 0023-%04d", 22+len(c.patch)), "json": `"patched_by": [`, "csv": "good with 1.2", "markdown": "good with 1.2", "html": "good with 1.2"}
			for form, want := range forms {
				if text := written(t, result, form); c.closes && !strings.Contains(text, want) {
					t.Errorf("%s: no %q in\n%s", form, want, text)
				} else if misfit != "" && form == "table" && !strings.Contains(strings.Join(strings.Fields(text), " "), "1.2 does not close it: "+misfit) {
					t.Errorf("%s: no misfit in\n%s", form, text)
				}
			}
			if len(c.patch) < 4 {
				areSingle(t, result.Sessions[0].Sequences[1:])
			}
			if c.closes && result.Verdict != audit.VerdictGood {
				t.Errorf("verdict %v: %s", result.Verdict, written(t, result, "table"))
			}
		})
	}
}

// areSingle holds that sequences are single frames by themselves, of which pictures show nothing.
func areSingle(t *testing.T, list []*audit.Reviewed) {
	t.Helper()
	for _, q := range list {
		if q.Kind != shoot.Single || slices.ContainsFunc(q.NotJudged, func(n audit.NotJudged) bool { return n.Pictures }) {
			t.Errorf("%s is %v, not judged %+v", q.ID, q.Kind, q.NotJudged)
		}
	}
}

// TestPatchEnd: a run stops before the subject ends. The report names the few frames that
// go on; made later they cover the end, and are one with the run. Where they begin too far
// on, or the camera moved, they are not.
func TestPatchEnd(t *testing.T) {
	pixelstest.Long(t)
	clean := picturestest.Covering()
	run := clean[:18]
	step := clean[1].Focus - clean[0].Focus
	patch := pixelstest.Run(79, 7, run[17].Focus, clean[23].Focus, 0.04)
	for _, c := range []struct {
		name   string
		patch  []pixelstest.Shot
		closes bool
		misfit string
	}{
		{name: "covers it", patch: patch, closes: true},
		{name: "begins too far on", patch: pixelstest.Run(80, 6, run[17].Focus+4*step, clean[23].Focus+4*step, 0.04), misfit: "a step is still too wide"},
		{name: "the camera moved", patch: pixelstest.Bump(patch, 0, 7, 6, 4), misfit: "the camera moved in between"},
	} {
		t.Run(c.name, func(t *testing.T) {
			camera := picturestest.Camera{Every: 1300 * time.Millisecond, NumbersRunOn: true, Skip: func(i int) int {
				if i == len(run) {
					return 140
				}
				return 0
			}}
			result := lookAt(t, &pictures.Measurer{}, camera.Shoot(t, slices.Concat(run, c.patch)))
			q := result.Sessions[0].Sequences[0]
			var found *audit.Finding
			for _, f := range q.Findings {
				if f.Rule == farEdge.ID {
					found = f
				}
			}
			if found == nil || len(q.Frames) != len(run) {
				t.Fatalf("found %q, want the open end", audittest.Told(result))
			}
			if want := "frames from the focus of 0018 on, away from the camera"; !strings.Contains(found.Action, want) {
				t.Errorf("action %q, want %q in it", found.Action, want)
			}
			want := map[bool]audit.Verdict{true: audit.VerdictGood, false: audit.VerdictCheck}[c.closes]
			if found.Closed != c.closes || len(q.PatchedBy) > 0 != c.closes || q.Verdict != want {
				t.Errorf("closed %v by %d, verdict %v; want %v, %v; %q", found.Closed, len(q.PatchedBy), q.Verdict, c.closes, want, audittest.Told(result))
			}
			misfit := ""
			if q.Misfit != nil {
				misfit = q.Misfit.Why
			}
			if misfit != c.misfit {
				t.Errorf("it does not fit as %q, want %q", misfit, c.misfit)
			}
		})
	}
}

// written is the report in one form.
func written(t *testing.T, r *audit.Result, form string) string {
	t.Helper()
	var b bytes.Buffer
	f, err := report.ParseForm(form)
	if err != nil {
		t.Fatal(err)
	}
	if err := f.Write(&b, r, &report.Options{Width: 200}); err != nil {
		t.Fatal(err)
	}
	return b.String()
}
