package report

import (
	"bytes"
	"strings"
	"testing"

	"prestrike/audit"
	"prestrike/audit/shoot"
)

// TestClosing holds the last line to what limits a good verdict, and to what notes ask
// to inspect.
func TestClosing(t *testing.T) {
	const still = "Inspect the frames that matter at 100 % before the subject leaves."
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
	check, reshoot := sequence("1.9", nil), sequence("1.11", nil)
	check.Verdict, reshoot.Verdict = audit.VerdictCheck, audit.VerdictReshoot
	for name, c := range map[string]struct {
		sequences []*audit.Reviewed
		want      string
	}{
		"good":            {[]*audit.Reviewed{sequence("1.1", nil)}, "GOOD: nothing to shoot again. " + still},
		"a note to look":  {[]*audit.Reviewed{sequence("1.9", front)}, "GOOD: nothing to shoot again, but inspect the front of 1.9. " + still},
		"blind":           {[]*audit.Reviewed{sequence("1.2", nil, blind)}, "GOOD as far as judged: nothing to shoot again. Not judged: the pictures of 1.2. " + still},
		"blind, and more": {[]*audit.Reviewed{sequence("1.2", front, blind, lens)}, "GOOD as far as judged: nothing to shoot again, but inspect the front of 1.2. Not judged: the pictures of 1.2; \"Focus steps too wide\" (no magnification). " + still},
		"two reasons":     {[]*audit.Reviewed{sequence("1.2", nil, lens, pitch)}, "GOOD as far as judged: nothing to shoot again. Not judged: \"Focus steps too wide\" (no magnification) and 1 more reason (--why). " + still},
		"only a note":     {[]*audit.Reviewed{sequence("1.2", nil, minor)}, "GOOD: nothing to shoot again. " + still},
		"retaken":         {[]*audit.Reviewed{retaken}, "GOOD: nothing to shoot again. 1.4 repeats 1.3. " + still},
		"check":           {[]*audit.Reviewed{retaken, check}, "CHECK: inspect 1.9 before you go on. 1.4 repeats 1.3."},
		"reshoot":         {[]*audit.Reviewed{retaken, sequence("1.5", front), check, reshoot}, "RESHOOT: shoot 1.11 again while the subject is here, then inspect 1.9 and the front of 1.5. 1.4 repeats 1.3."},
		"blind check":     {[]*audit.Reviewed{sequence("1.2", nil, blind), check}, "CHECK: inspect 1.9 before you go on. Not judged: the pictures of 1.2."},
	} {
		r := &audit.Result{Sessions: []*audit.Session{{Session: &shoot.Session{ID: "1"}, Sequences: c.sequences}}}
		for _, q := range c.sequences {
			r.Verdict = max(r.Verdict, q.Verdict)
		}
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

// TestClosingOfShootThatIsOver holds that a view that is missing when the shoot is over is
// to be shot, and not to be inspected.
func TestClosingOfShootThatIsOver(t *testing.T) {
	again, check := &audit.Reviewed{Sequence: &shoot.Sequence{ID: "1.11"}}, &audit.Reviewed{Sequence: &shoot.Sequence{ID: "1.9"}}
	again.Verdict, check.Verdict = audit.VerdictReshoot, audit.VerdictCheck
	for _, c := range []struct {
		severity  audit.Severity
		sequences []*audit.Reviewed
		want      string
	}{
		{audit.Check, nil, "inspect the shot list before you go on. 0 of 1 views shot; missing: ribs."},
		{audit.Reshoot, nil, "shoot the missing views while the subject is here. 0 of 1 views shot; missing: ribs."},
		{audit.Reshoot, []*audit.Reviewed{again, check}, "shoot 1.11 again and the missing views while the subject is here, then inspect 1.9. 0 of 1 views shot; missing: ribs."},
	} {
		_, text := closing(&audit.Result{
			Verdict: audit.VerdictReshoot,
			Sessions: []*audit.Session{{
				Session: &shoot.Session{ID: "1"}, Sequences: c.sequences,
				Findings: []*audit.Finding{{Severity: c.severity, Look: "the shot list"}},
			}},
			Views: []*audit.ShotView{{View: &audit.View{Name: "ribs"}}},
		})
		if text != c.want {
			t.Errorf("severity %s:\n%q, want\n%q", c.severity, text, c.want)
		}
	}
}
