package config

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"prestrike/audit"
)

func readsConfig(t *testing.T, file string) error {
	t.Helper()
	done := make(chan error, 1)
	go func() {
		_, err := Read(&audit.Options{Rules: []*audit.Rule{configRule}}, file)
		done <- err
	}()
	select {
	case err := <-done:
		return err
	case <-time.After(30 * time.Second):
		t.Fatalf("%s: still reading after 30 s", file)
		return nil
	}
}

func wantConfigError(t *testing.T, file, text string) {
	t.Helper()
	err := readsConfig(t, file)
	if c, ok := errors.AsType[*Error](err); !ok || c.File != file || !strings.Contains(c.Text, text) {
		t.Errorf("%s: error %v, want one that names the file and %q", file, err, text)
	}
}

// TestReadLimit holds that a file of any size takes no more memory than a
// configuration does.
func TestReadLimit(t *testing.T) {
	file := filepath.Join(t.TempDir(), Name)
	if err := os.WriteFile(file, []byte("#"+strings.Repeat(" ", maxBytes-1)), 0o666); err != nil {
		t.Fatal(err)
	}
	if err := readsConfig(t, file); err != nil {
		t.Errorf("of 1 MiB: %v", err)
	}
	for _, size := range []int64{maxBytes + 1, 2 << 30} { // mostly a hole, which takes no room
		if err := os.Truncate(file, size); err != nil {
			t.Fatal(err)
		}
		wantConfigError(t, file, "larger than 1 MiB: it is no configuration")
	}
}

// TestReadDepth holds that depth and number are bounded as the size is: the
// decoder's time grows with the square of the keys.
func TestReadDepth(t *testing.T) {
	file := filepath.Join(t.TempDir(), Name)
	for text, want := range map[string]string{
		"a = " + strings.Repeat("[", maxBytes-10):       "too many keys",
		strings.Repeat("a.", maxBytes/2-10) + "a = 1":   "too many keys",
		strings.Repeat("[[accept]]\n", maxBytes/11):     "too many keys",
		"a = " + strings.Repeat("[", maxKeys-10) + "\n": "",
		strings.Repeat("a", maxBytes-10) + " = 1":       "there is no key",
	} {
		if err := os.WriteFile(file, []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
		wantConfigError(t, file, want)
	}
}

// TestReadLines holds that mistakes are named with their lines, also behind
// many others.
func TestReadLines(t *testing.T) {
	file := filepath.Join(t.TempDir(), Name)
	text := strings.Repeat("[[accept]]\nrule = \"iso-drift\"\n\nreason = \"meant\"\n", 100) + "[shoot]\n# lamps\nlight = \"candle\"\n"
	if err := os.WriteFile(file, []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
	err := readsConfig(t, file)
	if c, ok := errors.AsType[*Error](err); !ok || c.Line != 403 {
		t.Errorf("error %v, want one in line 403", err)
	}
}

// TestFindNamesWhatIsNoFile holds that what has the name of the
// configuration is an error where it is no file, and not passed over.
func TestFindNamesWhatIsNoFile(t *testing.T) {
	outer := t.TempDir()
	if err := os.WriteFile(filepath.Join(outer, Name), nil, 0o666); err != nil {
		t.Fatal(err)
	}
	folder := filepath.Join(outer, "card")
	name := filepath.Join(folder, Name)
	if err := os.MkdirAll(name, 0o777); err != nil {
		t.Fatal(err)
	}
	got, err := Find(folder)
	if err != nil || got != name {
		t.Fatalf("found %q, %v; want %q", got, err, name)
	}
	wantConfigError(t, got, "not an ordinary file: write the configuration to a file")
	if err := os.Remove(name); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink("nowhere", name); err != nil {
		t.Skip(err)
	}
	if got, err = Find(folder); err != nil || got != name {
		t.Fatalf("found %q, %v; want %q", got, err, name)
	}
	wantConfigError(t, got, "where it leads to if it is a link")
}

// FuzzRead holds that no file ends the program, that every mistake names the
// file, and that what is taken over lies in its range.
func FuzzRead(f *testing.F) {
	f.Add([]byte("[shoot]\nsupport = \"tripod\"\nplanned-frames = 50\nsession-gap = \"3h\"\nmagnification = 1.0\nlight = \"mains50\"\n"))
	f.Add([]byte("[[body]]\nmodel = \"BX-1\"\nsensor-width-mm = 36.0\npixel-width = 8256\nf-numbers = \"nominal\"\n"))
	f.Add([]byte("[[lens]]\nmodel = \"Borealis 90 mm macro\"\nclosest-focus-mm = 290\nlargest-magnification = 1.0\n"))
	f.Add([]byte("[rule.iso-drift]\nseverity = \"reshoot\"\ntolerance = 0.5\n[[accept]]\nrule = \"iso-drift\"\nreason = \"meant\"\n"))
	f.Add([]byte("[shoot]\nmagnification = nan\n[rule.iso-drift]\ntolerance = inf\n"))
	f.Add([]byte("[shoot]\nplaned-frames = 50\n[rule]\niso-drift = 1\n"))
	f.Add([]byte("[[view]]\nname = \"front\"\nkind = \"focus\"\nframes = 40\nfewest-frames = 34\nmagnification = \"1:2\"\n"))
	f.Add([]byte("[shoot\n\"\xff"))
	f.Add([]byte("[view]\nname = “front”\nframes =\nframes = 50 frames\nthe end\n[[Lens]]\nmodel = 1,5 # x\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		o := &audit.Options{Rules: []*audit.Rule{configRule}}
		settings, err := read(o, "file", data)
		if err != nil {
			all := []error{err}
			if joined, ok := err.(interface{ Unwrap() []error }); ok {
				all = joined.Unwrap()
			}
			for _, err := range all {
				if c, ok := errors.AsType[*Error](err); !ok || c.File != "file" {
					t.Errorf("error without its file: %v", err)
				}
			}
			return
		}
		for _, s := range settings {
			if s.Key == "" || !strings.HasPrefix(s.Origin, "file:") {
				t.Errorf("setting without key or place: %+v", s)
			}
		}
		if v, declared := o.Params["iso-drift"]["tolerance"]; declared && !(v >= 0 && v <= 2) {
			t.Errorf("tolerance %v", v)
		}
		for _, v := range []float64{o.Magnification, o.FieldWidth} {
			if math.IsNaN(v) || v < 0 || v > 100_000 {
				t.Errorf("declared %v", v)
			}
		}
	})
}
