package rules

import (
	"os"
	"path/filepath"
	"regexp"
	"strconv"
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
			rangesArePlain(t, result)
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

var (
	dashed    = regexp.MustCompile(`\b\d{3,}\s?(-|–|—|\.\.+)\s?\d{3,}\b`)
	neighbour = regexp.MustCompile(`\bframes (\d{3,}) to (\d{3,})\b`)
	inARow    = regexp.MustCompile(`\b(\d{4,})(?:, | and )(\d{4,})(?:, | and )(\d{4,})\b`)
)

// rangesArePlain holds that frames are written in one way in all findings: "0061 and 0062",
// "0061 to 0068", whatever the rule.
func rangesArePlain(t *testing.T, result *audit.Result) {
	t.Helper()
	plain := func(rule, text string) {
		if found := dashed.FindString(text); found != "" {
			t.Errorf("%s: %q in %q: write \"to\"", rule, found, text)
		}
		numbers := func(found []string) []int {
			var list []int
			for _, digits := range found {
				n, err := strconv.Atoi(digits)
				if err != nil {
					t.Fatal(err)
				}
				list = append(list, n)
			}
			return list
		}
		for _, found := range neighbour.FindAllStringSubmatch(text, -1) {
			if n := numbers(found[1:]); n[1] == n[0]+1 {
				t.Errorf("%s: %q in %q: write \"and\"", rule, found[0], text)
			}
		}
		for _, found := range inARow.FindAllStringSubmatch(text, -1) {
			if n := numbers(found[1:]); n[1] == n[0]+1 && n[2] == n[1]+1 {
				t.Errorf("%s: %q in %q: write \"to\"", rule, found[0], text)
			}
		}
	}
	all := func(findings []*audit.Finding, not []audit.NotJudged) {
		for _, f := range findings {
			plain(f.Rule, f.Message)
			plain(f.Rule, f.Action)
		}
		for _, n := range not {
			plain(n.Rule, n.Reason)
		}
	}
	for _, session := range result.Sessions {
		all(session.Findings, session.NotJudged)
		for _, q := range session.Sequences {
			all(q.Findings, q.NotJudged)
		}
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
