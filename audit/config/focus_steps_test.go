package config

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"prestrike/audit"
)

// TestFocusSteps: the last of a body with a lens holds, others stay, and half of one is a
// mistake with its line.
func TestFocusSteps(t *testing.T) {
	file := filepath.Join(t.TempDir(), Name)
	if err := os.WriteFile(file, []byte("# Ours.\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	macro := audit.FocusStep{Body: "BX-1", Lens: "Borealis 90 mm macro", Setting: 3, FNumber: 8, Growth: 1.5}
	zoom := audit.FocusStep{Body: "BX-1", Lens: "Borealis \"50\" mm", Setting: 5, FNumber: 5.6, FNumbers: audit.FNumbersEffective, Growth: 0.7}
	again := macro
	again.Body, again.Setting = "bx-1", 4
	for _, s := range []audit.FocusStep{macro, zoom, again} {
		if err := AddFocusStep(file, nil, s); err != nil {
			t.Fatal(err)
		}
	}
	o := &audit.Options{}
	if _, err := Read(o, file); err != nil {
		t.Fatal(err)
	}
	if len(o.FocusSteps) != 2 || o.FocusSteps[0] != zoom || o.FocusSteps[1] != again {
		t.Errorf("read %+v", o.FocusSteps)
	}
	text, err := os.ReadFile(file)
	if err != nil || !strings.HasPrefix(string(text), "# Ours.\n") {
		t.Errorf("%v, the file is\n%s", err, text)
	}
	for mistake, want := range map[string]string{
		"[[focus-step]]\nbody = \"BX-1\"\n":               ":1: a focus-step needs body, lens, setting, f-number and growth-px",
		"[focus-step]\nbody = \"BX-1\"\n":                 "[[focus-step]]",
		"\n[[focus-step]]\nbody = \"B\"\nsetting = 0\n":   ":4: ",
		"[[focus-step]]\nbody = \"BX-1\"\ngrowth = 1.5\n": "growth-px",
	} {
		if _, err := read(&audit.Options{}, Name, []byte(mistake)); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %q", mistake, err, want)
		}
	}
	if err := AddFocusStep(file, nil, audit.FocusStep{Body: "BX-1", Setting: 3, FNumber: 8, Growth: 1.5}); err == nil {
		t.Error("a step without a lens is written")
	}
}
