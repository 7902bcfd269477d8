package rules

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"prestrike/audit"
	"prestrike/audit/audittest"
	"prestrike/audit/pictures"
	"prestrike/audit/pictures/picturestest"
	"prestrike/audit/pixels/pixelstest"
	"prestrike/audit/shoot"
)

// certainly puts files in one after the other and returns the rules whose findings were
// reported as certain, in the order, with the number of frames that were there, and
// which of them the sequence no longer has in the end.
func certainly(t *testing.T, files []*shoot.File, opt audit.Options) (found, back []string) {
	t.Helper()
	live := audit.NewLive(&opt)
	now := time.Date(2026, 3, 4, 12, 0, 0, 0, time.UTC)
	certain := map[string]string{} // path of a frame by rule
	for i, f := range files {
		live.Put(f.Path, f, now)
		events, err := live.Look(t.Context(), now, false, false)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range events {
			if e.Kind != audit.FindingCertain {
				continue
			}
			for _, f := range e.Findings {
				if _, known := certain[f.Rule]; !known {
					found = append(found, fmt.Sprintf("%s %s at %d", f.Severity, f.Rule, i+1))
				}
				certain[f.Rule] = f.Frames[0].Path()
			}
		}
	}
	for rule, path := range certain {
		if !stands(live.Result(), rule, path) {
			back = append(back, rule)
		}
	}
	return found, back
}

// stands reports whether the sequence of a frame, or its session, has a finding of check or
// reshoot of a rule.
func stands(r *audit.Result, rule, path string) bool {
	of := func(list []*audit.Finding) bool {
		return slices.ContainsFunc(list, func(f *audit.Finding) bool { return f.Rule == rule && f.Severity > audit.Note })
	}
	for _, session := range r.Sessions {
		for _, q := range session.Sequences {
			if slices.ContainsFunc(q.Frames, func(f *shoot.Frame) bool { return f.Path() == path }) {
				return of(q.Findings) || of(session.Findings)
			}
		}
	}
	return false
}

// What was reported as certain while frames came is found in the end: over the sessions of
// all rules that report so, each put in frame by frame.
func TestCertainIsNeverTakenBack(t *testing.T) {
	reported := 0
	for _, rule := range All() {
		if !rule.AtOnce {
			continue
		}
		cases, err := filepath.Glob(filepath.Join("..", "testdata", "sessions", rule.ID, "*.txt"))
		if err != nil {
			t.Fatal(err)
		}
		for _, name := range cases {
			file, err := os.Open(name)
			if err != nil {
				t.Fatal(err)
			}
			session, err := audittest.Read(file)
			file.Close()
			if err != nil {
				t.Fatal(err)
			}
			opt := session.Options
			opt.Rules = []*audit.Rule{rule}
			found, back := certainly(t, session.Files, opt)
			reported += len(found)
			if len(back) > 0 {
				t.Errorf("%s: %v were certain, and %v are not found in the end", name, found, back)
			}
			if len(found) > 0 && strings.HasSuffix(name, "clean.txt") {
				t.Errorf("%s: %v", name, found)
			}
		}
	}
	if reported < 8 {
		t.Errorf("only %d findings were certain", reported)
	}
}

// A dark frame, a camera that moved and a band of the shutter are reported while frames
// still come, as soon as these cannot take them back; a lamp that fails is not, until it
// is clear that it is no dark frame.
func TestCertainByPictures(t *testing.T) {
	pixelstest.Long(t)
	if testing.Short() {
		t.Skip("inspects each picture of several runs")
	}
	clean := picturestest.Covering()
	n := len(clean)
	focusing := picturestest.Camera{Every: 1300 * time.Millisecond}
	for _, c := range []struct {
		name  string
		shots []pixelstest.Shot
		want  string
	}{
		{"clean", clean, ""},
		{"dark frame 14", pixelstest.Brighten(clean, 13, 1, -2), "reshoot dark-frame at 15"},
		{"frame 12 and all behind knocked", pixelstest.Bump(clean, 11, n, 5, 3), "check moved at 18"},
		{"darker from frame 14 on", pixelstest.Brighten(clean, 13, n, -2), ""},
	} {
		folder := focusing.Shoot(t, c.shots)
		collected, err := shoot.Collect(t.Context(), []string{folder}, nil)
		if err != nil {
			t.Fatal(err)
		}
		p := &pictures.Measurer{}
		found, back := certainly(t, collected.Files, audit.Options{Rules: []*audit.Rule{darkFrame, moved, syncSpeed}, Measure: p.Measure})
		if got := strings.Join(found, ", "); got != c.want {
			t.Errorf("%s: %q was certain, want %q", c.name, got, c.want)
		}
		if len(back) > 0 {
			t.Errorf("%s: %v are not found in the end", c.name, back)
		}
	}
}
