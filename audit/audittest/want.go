package audittest

import (
	"fmt"
	"slices"
	"strings"

	"prestrike/audit"
)

// A Want is a finding wanted.
type Want struct {
	Rule, Severity, First, Last string
}

// String writes the finding as a want line does.
func (w Want) String() string {
	return fmt.Sprintf("%s %s %s-%s", w.Rule, w.Severity, w.First, w.Last)
}

// NotJudged is a rule that must report that it could not decide, and a part of
// its reason.
type NotJudged struct{ Rule, Reason string }

// Mismatches compares the outcome of an audit with what the text wants: a
// missing and a surplus finding are both reported. Of what was not judged only the
// rules named are compared, or all where none is named.
func (t *Text) Mismatches(result *audit.Result, rules ...string) []string {
	var found []Want
	var notJudged []audit.NotJudged
	var told []string
	collect := func(findings []*audit.Finding, open []audit.NotJudged) {
		for _, f := range findings {
			w := Want{Rule: f.Rule, Severity: f.Severity.String()}
			if len(f.Frames) > 0 {
				w.First, w.Last = f.Frames[0].Label(), f.Frames[len(f.Frames)-1].Label()
			}
			found = append(found, w)
			told = append(told, f.Message)
		}
		notJudged = append(notJudged, open...)
	}
	for _, session := range result.Sessions {
		for _, q := range session.Sequences {
			collect(q.Findings, q.NotJudged)
		}
		collect(session.Findings, session.NotJudged)
	}
	var out []string
	for _, w := range t.Wants {
		if i := slices.Index(found, w); i >= 0 {
			found, told = slices.Delete(found, i, i+1), slices.Delete(told, i, i+1)
			continue
		}
		out = append(out, fmt.Sprintf("missing finding: %v", w))
	}
	for i, w := range found {
		out = append(out, fmt.Sprintf("surplus finding: %v: %s", w, told[i]))
	}
	if len(rules) > 0 {
		notJudged = slices.DeleteFunc(notJudged, func(n audit.NotJudged) bool { return !slices.Contains(rules, n.Rule) })
	}
	for _, w := range t.NotJudged {
		i := slices.IndexFunc(notJudged, func(n audit.NotJudged) bool {
			return n.Rule == w.Rule && strings.Contains(n.Reason, w.Reason)
		})
		if i < 0 {
			out = append(out, fmt.Sprintf("judged, but should not be: %s: %s", w.Rule, w.Reason))
			continue
		}
		notJudged = slices.Delete(notJudged, i, i+1)
	}
	for _, n := range notJudged {
		out = append(out, fmt.Sprintf("not judged: %s: %s (%d frames)", n.Rule, n.Reason, n.Frames))
	}
	if got := result.Verdict.String(); t.Verdict != "" && got != t.Verdict {
		out = append(out, fmt.Sprintf("verdict %s, want %s", got, t.Verdict))
	}
	return out
}
