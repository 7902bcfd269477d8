package report

import (
	"bytes"
	"strings"
	"testing"

	"prestrike/audit"
	"prestrike/audit/shoot"
)

// TestClosing holds the last line to what limits a good verdict, and to what notes ask
// to look at.
func TestClosing(t *testing.T) {
	const still = "Still look at the frames that matter at 100 % before the subject leaves."
	sequence := func(id string, findings []*audit.Finding, not ...audit.NotJudged) *audit.Reviewed {
		return &audit.Reviewed{Sequence: &shoot.Sequence{ID: id}, Findings: findings, NotJudged: not}
	}
	front := []*audit.Finding{{Rule: "near-edge", Severity: audit.Note, Look: "the front"}}
	blind := audit.NotJudged{Rule: "moved", Reason: "no preview", Severity: audit.Check, Pictures: true}
	lens := audit.NotJudged{Rule: "focus-gap", Title: "Focus steps too wide", Reason: "no magnification", Severity: audit.Check}
	pitch := audit.NotJudged{Rule: "far-edge", Reason: "no sensor pitch", Severity: audit.Check}
	minor := audit.NotJudged{Rule: "high-iso", Reason: "no ISO recorded", Severity: audit.Note}
	retaken := sequence("1.3", nil, blind)
	retaken.SupersededBy = sequence("1.4", nil)
	for name, c := range map[string]struct {
		sequences []*audit.Reviewed
		want      string
	}{
		"good":            {[]*audit.Reviewed{sequence("1.1", nil)}, "GOOD: nothing found to shoot again. " + still},
		"a note to look":  {[]*audit.Reviewed{sequence("1.9", front)}, "GOOD, and look at the front of 1.9: nothing found to shoot again. " + still},
		"blind":           {[]*audit.Reviewed{sequence("1.2", nil, blind)}, "GOOD as far as judged: pictures of 1.2 were not inspected. " + still},
		"blind, and more": {[]*audit.Reviewed{sequence("1.2", front, blind, lens)}, "GOOD as far as judged, and look at the front of 1.2: pictures of 1.2 were not inspected; \"Focus steps too wide\" was not judged (no magnification). " + still},
		"two reasons":     {[]*audit.Reviewed{sequence("1.2", nil, lens, pitch)}, "GOOD as far as judged: \"Focus steps too wide\" was not judged (no magnification), and 1 more reason (--why). " + still},
		"only a note":     {[]*audit.Reviewed{sequence("1.2", nil, minor)}, "GOOD: nothing found to shoot again. " + still},
		"retaken":         {[]*audit.Reviewed{retaken}, "GOOD: 1.4 repeats 1.3. " + still},
	} {
		r := &audit.Result{Sessions: []*audit.Session{{Session: &shoot.Session{ID: "1"}, Sequences: c.sequences}}}
		head, text := closing(r)
		var b bytes.Buffer
		writeClosing(&b, r.Verdict, head, text, 1000, false)
		if got := strings.TrimSuffix(b.String(), "\n"); got != c.want {
			t.Errorf("%s:\n%q, want\n%q", name, got, c.want)
		}
		if !isTable([]byte("1 picture file, 1 frame.\n"), b.Bytes()) || !isTable(b.Bytes(), b.Bytes()) {
			t.Errorf("%s: not recognised as a table of ours: %q", name, b.String())
		}
	}
}
