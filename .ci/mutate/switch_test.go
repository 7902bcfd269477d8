package main

import (
	"errors"
	"os"
	"path/filepath"
	"testing"
)

const sample = `package sample

import "fmt"

const (
	least, most = 2, 9
	twice       = 2 * least
)

const limit float64 = 1.5

const seen = 3

const words = "all"

type set struct{ n int }

func (s *set) add(n int, more ...int) (sum int) {
	for _, m := range more {
		n += m
	}
	s.n += n
	return s.n
}

func (set) name(_ int, _ string) string { return "set" }

func within(v float64) bool { return v < limit }

func between(n int) bool { return n > 1 && n < most }

func forget(s *set) { s.n = 0 }

func safe(f func()) (err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("failed: %v", r)
		}
	}()
	f()
	return nil
}

func all() string { return words + fmt.Sprint(twice) }
`

const sampleTest = `package sample

import "testing"

func TestAll(t *testing.T) {
	s := new(set)
	if s.add(1, 2, 3) != 6 || s.name(0, "") != "set" || !within(1.4) || within(1.6) || !between(8) || between(9) || safe(func() { panic(1) }) == nil || all() != "all4" || seen != 3 {
		t.Error("wrong")
	}
	if forget(s); s.n != 0 {
		t.Error("not forgotten")
	}
}
`

// TestTogether holds what becomes of edits: which are chosen when tests run and which are built
// by themselves, and that those survive which no test notices.
func TestTogether(t *testing.T) {
	dir := t.TempDir()
	root, work := filepath.Join(dir, "root"), filepath.Join(dir, "work")
	if err := os.MkdirAll(filepath.Join(root, "sample"), 0o755); err != nil {
		t.Fatal(err)
	}
	for name, text := range map[string]string{"go.mod": "module sample\n\ngo 1.26\n", "sample/sample.go": sample, "sample/sample_test.go": sampleTest} {
		if err := os.WriteFile(filepath.Join(root, filepath.FromSlash(name)), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	rows := []struct {
		old, new string
		together bool
		survives bool
	}{
		{"n += m", "n -= m", true, false},
		{"n += m", "n = m + n", true, true},
		{`return "set"`, `return ""`, true, false},
		{"s.n = 0", "s.n = 1", true, false},
		{"limit float64 = 1.5", "limit float64 = 3", true, false},
		{"limit float64 = 1.5", "limit float64 = 1.55", true, true},
		{"least, most = 2, 9", "least, most = 2, 10", true, false},
		{"least, most = 2, 9", "least, most = 3, 9", false, false}, // another constant is made of it
		{"seen = 3", "seen = 4", false, false},                     // a test reads it
		{"r != nil", "r == nil", false, false},                     // the function recovers
		{"s *set) add(n int", "s *set) add(n int, _ ...struct{}", false, true},
	}
	var edits []edit
	for _, r := range rows {
		edits = append(edits, edit{Name: r.new, Old: r.old, New: r.new, Package: "sample", Tests: "TestAll"})
	}
	all, err := newTogether(filepath.Join(dir, "all"), root, edits, false)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := all.clean(2); err != nil {
		t.Fatal(err)
	}
	if err := copyTree(work, root); err != nil {
		t.Fatal(err)
	}
	for i, r := range rows {
		if all.holds[i] != r.together {
			t.Errorf("%s: in the tree of all: %v", r.new, all.holds[i])
		}
		a := all.try(i, work, edits[i])
		if last := i == len(rows)-1; last { // it does not compile
			if a.verdict == nil || errors.Is(a.verdict, errSurvived) {
				t.Errorf("%s: %v", r.new, a.verdict)
			}
		} else if errors.Is(a.verdict, errSurvived) != r.survives || a.verdict != nil && !r.survives {
			t.Errorf("%s: %v\n%s", r.new, a.verdict, a.out)
		}
	}
}
