package safefile

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"
)

func TestPortable(t *testing.T) {
	for name, want := range map[string]string{
		"front, raking light": "front, raking light",
		"BX1_0043.NEF":        "BX1_0043.NEF",
		"":                    "_",
		".":                   "_",
		"..":                  "_",
		" . ":                 "_",
		".hidden":             "_.hidden",
		"-rf":                 "_rf",
		"a/b\\c":              "a_b_c",
		"../../etc/passwd":    "_.._.._etc_passwd",
		"what? 1:2 <b> *\"|":  "what_ 1_2 _b_ ___",
		"line\nbreak\x1b[2J":  "line_break_[2J",
		"\u202egnp.exe":       "_gnp.exe",
		"end. . ":             "end",
		"con":                 "_con",
		"NUL.txt":             "_NUL.txt",
		"com1":                "_com1",
		"LPT¹":                "_LPT¹",
		"com10":               "com10",
		"console":             "console",
		"\xff\xfe":            "__",
		"fossil ünder":        "fossil ünder",
	} {
		if got := Portable(name); got != want {
			t.Errorf("Portable(%q) is %q, want %q", name, got, want)
		}
	}
}

// FuzzPortable: whatever the name, the result is one element of a path, is taken by this
// system, and does not change when it is made portable again.
func FuzzPortable(f *testing.F) {
	for _, seed := range []string{"", "..", "a/b", "CON", "x.", "\x00", strings.Repeat("ü", 300), "-", " .a"} {
		f.Add(seed)
	}
	folder := f.TempDir()
	f.Fuzz(func(t *testing.T, name string) {
		got := Portable(name)
		if got != filepath.Base(got) || got == "." || got == ".." || strings.ContainsAny(got, "/\\\x00\n") || !utf8.ValidString(got) || len(got) > longestName+1 {
			t.Fatalf("Portable(%q) is %q", name, got)
		}
		if again := Portable(got); again != got && len(got) <= longestName {
			t.Fatalf("Portable(%q) is %q, and of that %q", name, got, again)
		}
		p := filepath.Join(folder, got)
		if err := os.Mkdir(p, 0o700); err != nil {
			t.Fatalf("%q: %v", got, err)
		}
		if err := os.Remove(p); err != nil {
			t.Fatal(err)
		}
	})
}
