package main

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"prestrike/audit"
	"prestrike/audit/config"
	"prestrike/rules"
)

// What the starting file writes of the rules are their defaults, to the last digit: who
// removes the # before a line changes nothing.
func TestStartingFileHasTrueDefaults(t *testing.T) {
	all := rules.All()
	text := regexp.MustCompile(`(?m)^# (\[rule|[a-z-]+ = )`).ReplaceAllString(string(config.StartingFile(all)), "$1")
	at := strings.Index(text, "[rule.")
	if at < 0 {
		t.Fatal("no rules in the starting file")
	}
	text = text[at:]
	name := filepath.Join(t.TempDir(), config.Name)
	if err := os.WriteFile(name, []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
	opt := audit.Options{Rules: all}
	if _, err := config.Read(&opt, name); err != nil {
		t.Fatalf("%v, in\n%s", err, text)
	}
	for _, r := range all {
		if opt.Severities[r.ID] != r.Severity {
			t.Errorf("%s: severity %v, want %v", r.ID, opt.Severities[r.ID], r.Severity)
		}
		for _, p := range r.Params {
			if got, ok := opt.Params[r.ID][p.Name]; !ok || got != p.Default {
				t.Errorf("%s, %s: written as %v, want %v", r.ID, p.Name, got, p.Default)
			}
		}
	}
	if regexp.MustCompile(`[0-9]e[+-]?[0-9]|\d\.\d{6}`).MatchString(text) {
		t.Errorf("a number as no photographer writes it in\n%s", text)
	}
}
