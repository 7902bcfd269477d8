package main

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"prestrike/audit"
	"prestrike/audit/config"
	"prestrike/audit/shoot"
	"prestrike/rules"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
)

// inForce are the options that a configuration file leaves, with the defaults of what it
// does not set.
func inForce(t *testing.T, text string) audit.Options {
	t.Helper()
	all := rules.All()
	name := filepath.Join(t.TempDir(), config.Name)
	if err := os.WriteFile(name, []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
	o := audit.Options{Rules: all}
	if _, err := config.Read(&o, name); err != nil {
		t.Fatalf("%v, in\n%s", err, text)
	}
	if o.SessionGap == 0 {
		o.SessionGap = shoot.DefaultSessionGap
	}
	if o.RetakeWithin == 0 {
		o.RetakeWithin = audit.DefaultRetakeWithin
	}
	severities, params := map[string]audit.Severity{}, map[string]map[string]float64{}
	for _, r := range all {
		severities[r.ID], params[r.ID] = r.Severity, map[string]float64{}
		if s, ok := o.Severities[r.ID]; ok {
			severities[r.ID] = s
		}
		for _, p := range r.Params {
			params[r.ID][p.Name] = p.Default
			if v, ok := o.Params[r.ID][p.Name]; ok {
				params[r.ID][p.Name] = v
			}
		}
	}
	o.Severities, o.Params = severities, params
	return o
}

// Who removes the # before a line of the starting file, before several or before all,
// changes nothing: what it writes are the settings that hold, to the last digit. An entry of
// a list is read as a whole, and changes only its list.
func TestStartingFileChangesNothing(t *testing.T) {
	setting, head := regexp.MustCompile(`^# [a-z-]+ = `), regexp.MustCompile(`^# \[\[`)
	lines := strings.Split(string(config.StartingFile(rules.All())), "\n")
	none := inForce(t, "")
	same := func(what string, text []string, but ...string) {
		t.Helper()
		got := inForce(t, strings.Join(text, "\n"))
		if diff := cmp.Diff(none, got, cmpopts.IgnoreFields(audit.Options{}, append(but, "Rules")...)); diff != "" {
			t.Errorf("%s changes what holds (-without +with):\n%s", what, diff)
		}
	}
	same("the starting file", lines)
	all, settings := append([]string{}, lines...), 0
	for i := 0; i < len(lines); i++ {
		with := append([]string{}, lines...)
		first := i
		switch {
		case head.MatchString(lines[i]):
			for ; i < len(lines) && (head.MatchString(lines[i]) || setting.MatchString(lines[i])); i++ {
				with[i] = strings.TrimPrefix(lines[i], "# ")
			}
			same(lines[first], with, "Bodies", "Lenses", "FocusSteps", "Views", "Accept", "Retaken")
		case setting.MatchString(lines[i]):
			settings++
			all[i] = strings.TrimPrefix(lines[i], "# ")
			with[i] = all[i]
			same(lines[first], with)
		}
	}
	same("all settings together", all)
	if settings < 100 {
		t.Errorf("%d settings, want those of all rules", settings)
	}
	if numbers := regexp.MustCompile(`[0-9]e[+-]?[0-9]|\d\.\d{6}`).FindString(strings.Join(lines, "\n")); numbers != "" {
		t.Errorf("a number as no photographer writes it: %s", numbers)
	}
}
