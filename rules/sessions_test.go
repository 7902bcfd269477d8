package rules

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"prestrike/audit"
	"prestrike/audit/audittest"
	"prestrike/audit/shoot"
)

// onPictures are the rules that only inspect pictures.
var onPictures = map[*audit.Rule]bool{
	nearEdge: true, farEdge: true, moved: true, subjectMoved: true, darkFrame: true, brightnessDrift: true, banding: true, softFrame: true, bracketRange: true,
	clippedLights: true, dust: true, softSingle: true,
}

const sessionFolder = "../testdata/sessions"

// judge runs all rules over a session written as text.
func judge(t *testing.T, text *audittest.Text) *audit.Result {
	t.Helper()
	text.Options.Rules = All()
	result, err := audit.Judge(t.Context(), &shoot.Collection{Files: text.Files}, &text.Options)
	if err != nil {
		t.Fatal(err)
	}
	return result
}

// Every rule has four sessions at least: nothing wrong, something wrong, on the
// limit, and with what it needs missing. All rules run over each of them, so
// that they are also held to report nothing where there is nothing to report.
func TestSessions(t *testing.T) {
	known := map[string]bool{}
	for _, rule := range All() {
		known[rule.ID] = true
		if onPictures[rule] { // no text holds these; tests that render pictures do
			continue
		}
		for _, name := range []string{"clean", "fault", "limit", "missing"} {
			if _, err := os.Stat(filepath.Join(sessionFolder, rule.ID, name+".txt")); err != nil {
				t.Errorf("rule %s has no session %q: %v", rule.ID, name, err)
			}
		}
	}
	files, err := filepath.Glob(filepath.Join(sessionFolder, "*", "*.txt"))
	if err != nil {
		t.Fatal(err)
	}
	for _, file := range files {
		id := filepath.Base(filepath.Dir(file))
		if id == "trade" { // TestTrade compares those
			continue
		}
		t.Run(id+"/"+strings.TrimSuffix(filepath.Base(file), ".txt"), func(t *testing.T) {
			text, err := audittest.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			about := []string{id} // of what was not judged, only this and what is named counts
			if known[id] {
				wanted(t, text, id, strings.TrimSuffix(filepath.Base(file), ".txt"))
			}
			for _, w := range text.NotJudged {
				about = append(about, w.Rule)
			}
			result := judge(t, text)
			bad := text.Mismatches(result, about...)
			for _, m := range bad {
				t.Error(m)
			}
			if len(bad) > 0 {
				for _, session := range result.Sessions {
					for _, q := range session.Sequences {
						t.Logf("sequence %s: %v, %d frames, %s to %s, cadence %v", q.ID, q.Kind, len(q.Frames),
							q.Frames[0].Label(), q.Frames[len(q.Frames)-1].Label(), q.Cadence)
					}
				}
			}
		})
	}
}

// wanted holds the names of the sessions to what is in them.
func wanted(t *testing.T, text *audittest.Text, id, name string) {
	t.Helper()
	found := false
	for _, w := range text.Wants {
		found = found || w.Rule == id
	}
	if name == "clean" && found {
		t.Errorf("a clean session wants a finding of %s", id)
	}
	if name == "fault" && !found {
		t.Errorf("a session with a fault wants no finding of %s", id)
	}
}

func TestRulesAreValid(t *testing.T) {
	if err := audit.Validate(All()); err != nil {
		t.Error(err)
	}
}
