package rules

import (
	"path/filepath"
	"strings"
	"testing"

	"prestrike/audit/audittest"
)

// Sessions as they happen in the trade, sound and faulty. Each states what
// happened and what a photographer expects, written before the program was run
// on it. A session that is marked open is known to differ; once it no longer
// does, the mark must go.
func TestTrade(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(sessionFolder, "trade", "*.txt"))
	if err != nil {
		t.Fatal(err)
	}
	sound, open := 0, 0
	for _, file := range files {
		t.Run(strings.TrimSuffix(filepath.Base(file), ".txt"), func(t *testing.T) {
			text, err := audittest.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			if text.Verdict == "" {
				t.Error("no want-verdict: say what the photographer expects")
			}
			if text.Verdict == "good" {
				sound++
			}
			result := judge(t, text)
			rangesArePlain(t, result)
			differences := text.Differences(result)
			if text.Open != "" {
				open++
				if len(differences) == 0 {
					t.Errorf("this session is as wanted: take out its line %q", "open "+text.Open)
				}
				t.Logf("open: %s: %d differences: %q", text.Open, len(differences), differences)
				return
			}
			for _, d := range differences {
				t.Error(d)
			}
			if len(differences) == 0 {
				return
			}
			for _, session := range result.Sessions {
				for _, q := range session.Sequences[:min(len(session.Sequences), 12)] {
					t.Logf("sequence %s: %v, %v, %d frames, %s to %s", q.ID, q.Kind, q.Support, len(q.Frames),
						q.Frames[0].Label(), q.Frames[len(q.Frames)-1].Label())
				}
			}
		})
	}
	t.Logf("%d sessions, %d of them sound; %d open", len(files), sound, open)
	if faulty := len(files) - sound; sound < 40 || faulty < 40 {
		t.Errorf("%d sound and %d faulty sessions, want 40 of each at least", sound, faulty)
	}
}
