package safefile_test

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"prestrike/audit/safefile"
)

func write(t *testing.T, path, content string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(content), 0o666); err != nil {
		t.Fatal(err)
	}
}

func root(t *testing.T, folder string) *os.Root {
	t.Helper()
	r, err := os.OpenRoot(folder)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { r.Close() })
	return r
}

func names(t *testing.T, folder string) []string {
	t.Helper()
	entries, err := os.ReadDir(folder)
	if err != nil {
		t.Fatal(err)
	}
	var list []string
	for _, e := range entries {
		list = append(list, e.Name())
	}
	return list
}

func TestOpenTakesOrdinaryFiles(t *testing.T) {
	folder := t.TempDir()
	write(t, filepath.Join(folder, "file"), "text")
	if err := os.Symlink("file", filepath.Join(folder, "link")); err != nil {
		t.Skip(err)
	}
	in := root(t, folder)
	for name, want := range map[string][2]bool{"file": {true, true}, "link": {true, false}, ".": {false, false}} {
		f, err := safefile.Open(filepath.Join(folder, name))
		if err == nil {
			f.Close()
		}
		g, errIn := safefile.OpenIn(in, name)
		if errIn == nil {
			g.Close()
		}
		if (err == nil) != want[0] || (errIn == nil) != want[1] {
			t.Errorf("%s: %v and, without links, %v; want opened: %v", name, err, errIn, want)
		}
		for _, err := range []error{err, errIn} {
			if _, named := errors.AsType[*fs.PathError](err); err != nil && (!named || !errors.Is(err, safefile.ErrNotRegular)) {
				t.Errorf("%s: %v is no %v with a path", name, err, safefile.ErrNotRegular)
			}
		}
	}
	if _, err := safefile.Open(filepath.Join(folder, "none")); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("of no file: %v", err)
	}
}

func TestReadAllStopsAtItsLimit(t *testing.T) {
	name := filepath.Join(t.TempDir(), "file")
	for size, want := range map[int]bool{1000: true, 1001: false} {
		write(t, name, string(make([]byte, size)))
		f, err := safefile.Open(name)
		if err != nil {
			t.Fatal(err)
		}
		content, err := safefile.ReadAll(f, 1000)
		f.Close()
		_, large := errors.AsType[*safefile.TooLargeError](err)
		if large == want || want && (err != nil || len(content) != size) {
			t.Errorf("%d of 1000 bytes: read %d, error %v", size, len(content), err)
		}
	}
}

func TestWriteIsWholeOrNot(t *testing.T) {
	folder := t.TempDir()
	in := root(t, folder)
	if err := safefile.Write(in, "new", []byte("one"), 0); err != nil {
		t.Fatal(err)
	}
	if err := safefile.Write(in, "new", []byte("two"), 0o600); err != nil {
		t.Fatal(err)
	}
	if text, err := os.ReadFile(filepath.Join(folder, "new")); err != nil || string(text) != "two" {
		t.Errorf("%q, %v", text, err)
	}
	// A folder cannot be replaced, so that this fails at the very end.
	if err := os.Mkdir(filepath.Join(folder, "taken"), 0o777); err != nil {
		t.Fatal(err)
	}
	if err := safefile.Write(in, "taken", []byte("one"), 0); err == nil {
		t.Error("a folder was replaced")
	}
	if got := names(t, folder); !slices.Equal(got, []string{"new", "taken"}) {
		t.Errorf("the folder holds %q", got)
	}
}

// TestWriteLeavesWhatALinkLeadsTo holds that a link is replaced and not written
// through.
func TestWriteLeavesWhatALinkLeadsTo(t *testing.T) {
	card, folder := t.TempDir(), t.TempDir()
	original := filepath.Join(card, "BX1_0001.JPG")
	write(t, original, "picture")
	if err := os.Symlink(original, filepath.Join(folder, "entry")); err != nil {
		t.Skip(err)
	}
	if err := safefile.Write(root(t, folder), "entry", []byte("new"), 0); err != nil {
		t.Fatal(err)
	}
	if text, err := os.ReadFile(original); err != nil || string(text) != "picture" {
		t.Errorf("the original holds %q, %v", text, err)
	}
}

func TestSweepTakesOldLeftOversOnly(t *testing.T) {
	folder := t.TempDir()
	old := time.Now().Add(-2 * time.Hour)
	for name, age := range map[string]time.Time{
		".prestrike-0123456789abcdef.tmp": old,
		".prestrike-1.tmp":                old, // of an earlier version
		".prestrike-fedcba9876543210.tmp": time.Now(),
		".prestrike-notes.tmp":            old,
		"prestrike-0123456789abcdef.tmp":  old,
		"BX1_0001.JPG":                    old,
	} {
		write(t, filepath.Join(folder, name), "x")
		if err := os.Chtimes(filepath.Join(folder, name), age, age); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Mkdir(filepath.Join(folder, ".prestrike-12.tmp"), 0o777); err != nil {
		t.Fatal(err)
	}
	if err := os.Chtimes(filepath.Join(folder, ".prestrike-12.tmp"), old, old); err != nil {
		t.Fatal(err)
	}
	safefile.Sweep(root(t, folder))
	want := []string{".prestrike-12.tmp", ".prestrike-fedcba9876543210.tmp", ".prestrike-notes.tmp", "BX1_0001.JPG", "prestrike-0123456789abcdef.tmp"}
	if got := names(t, folder); !slices.Equal(got, want) {
		t.Errorf("left %q, want %q", got, want)
	}
}
