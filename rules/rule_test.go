package rules

import (
	"path/filepath"
	"slices"
	"testing"

	"prestrike/audit"
	"prestrike/audit/audittest"
)

// says holds a rule to its words in one of its sessions: message and action of
// each finding, joined by ": ".
func says(t *testing.T, rule *audit.Rule, session string, want ...string) {
	t.Helper()
	text, err := audittest.ReadFile(filepath.Join(sessionFolder, rule.ID, session+".txt"))
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, f := range findings(judge(t, text), rule) {
		got = append(got, f.Message+": "+f.Action)
	}
	slices.Sort(got)
	slices.Sort(want)
	if !slices.Equal(got, want) {
		t.Errorf("%s/%s says\n%q, want\n%q", rule.ID, session, got, want)
	}
}

// findings returns what a rule found, in sequences and sessions.
func findings(result *audit.Result, rule *audit.Rule) []*audit.Finding {
	var out []*audit.Finding
	keep := func(list []*audit.Finding) {
		for _, f := range list {
			if f.Rule == rule.ID {
				out = append(out, f)
			}
		}
	}
	for _, session := range result.Sessions {
		for _, q := range session.Sequences {
			keep(q.Findings)
		}
		keep(session.Findings)
	}
	return out
}

// measured holds the first finding of a rule in one of its sessions to a
// number, its limit and unit.
func measured(t *testing.T, rule *audit.Rule, session string, number, limit, within float64, unit string) {
	t.Helper()
	text, err := audittest.ReadFile(filepath.Join(sessionFolder, rule.ID, session+".txt"))
	if err != nil {
		t.Fatal(err)
	}
	list := findings(judge(t, text), rule)
	if len(list) == 0 {
		t.Fatalf("%s/%s: no finding", rule.ID, session)
	}
	f := list[0]
	n, okN := f.Measured.Get()
	l, okL := f.Limit.Get()
	if !okN || !okL || n < number-within || n > number+within || l < limit-within || l > limit+within || f.Unit != unit {
		t.Errorf("%s/%s: measured %v against %v %q, want %v against %v %q", rule.ID, session, f.Measured, f.Limit, f.Unit, number, limit, unit)
	}
}
