package pictures

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

// What tests keep, as the program would.
var (
	keyA, keyB = strings.Repeat("a", 64), strings.Repeat("b", 64)
	entryA     = []byte(kept + strings.Repeat("0", 64) + "\nA")
	entryB     = []byte(kept + strings.Repeat("1", 64) + "\nB")
)

// A shelf is a cache in a folder of its own, and what it remarks.
type shelf struct {
	*Disk
	base, folder string
	remarks      []string
}

func newShelf(t *testing.T) *shelf {
	t.Helper()
	s := &shelf{base: t.TempDir()}
	s.open()
	s.folder = s.Disk.folder()
	return s
}

// open has another run begin.
func (s *shelf) open() {
	s.Disk = NewDisk(s.base, nil, func(why error) { s.remarks = append(s.remarks, why.Error()) })
}

func makeFolder(t *testing.T, path string) {
	t.Helper()
	if err := os.MkdirAll(path, 0o777); err != nil {
		t.Fatal(err)
	}
}

// put writes a file of an age.
func put(t *testing.T, path string, content []byte, age time.Duration) {
	t.Helper()
	makeFolder(t, filepath.Dir(path))
	if err := os.WriteFile(path, content, 0o666); err != nil {
		t.Fatal(err)
	}
	at := time.Now().Add(-age)
	if err := os.Chtimes(path, at, at); err != nil {
		t.Fatal(err)
	}
}

// state is the content and the time of every file below a folder, links not followed.
func state(t *testing.T, folder string) map[string]string {
	t.Helper()
	out := map[string]string{}
	err := filepath.WalkDir(folder, func(path string, e os.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		info, err := e.Info()
		if err != nil {
			return err
		}
		what := info.Mode().String() + " " + info.ModTime().String()
		if info.Mode().IsRegular() {
			text, err := os.ReadFile(path)
			if err != nil {
				return err
			}
			what += " " + string(text)
		}
		out[path] = what
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func TestDiskKeeps(t *testing.T) {
	s := newShelf(t)
	if _, ok := s.Get(keyA); ok {
		t.Error("found before anything was kept")
	}
	s.Put(keyA, entryB)
	s.Put(keyA, entryA)
	s.Put(keyB, entryB)
	s.open()
	for key, want := range map[string][]byte{keyA: entryA, keyB: entryB} {
		if got, ok := s.Get(key); !ok || string(got) != string(want) {
			t.Errorf("%s: %q, %v; want %q", key[:1], got, ok, want)
		}
	}
	if len(s.remarks) > 0 {
		t.Errorf("remarks %q", s.remarks)
	}
}

// TestDiskForgets holds that what was not asked for in a long time goes, and what is
// asked for stays.
func TestDiskForgets(t *testing.T) {
	s := newShelf(t)
	old := strings.Repeat("c", 64)
	name := func(key string) string { return filepath.Join(s.folder, key+entryEnd) }
	put(t, name(keyA), entryA, keptFor-time.Hour)
	put(t, name(old), []byte(strings.Repeat("0", 64)+"\n{\"Judgement\":{}}"), keptFor+time.Hour) // of an earlier version
	put(t, name(strings.Repeat("d", 64)), entryA, keptFor+time.Hour)
	put(t, filepath.Join(s.folder, old+".123.part"), nil, keptFor+time.Hour)
	put(t, filepath.Join(s.folder, ".prestrike-0123456789abcdef.tmp"), nil, 2*time.Hour)
	put(t, filepath.Join(s.folder, "Thumbs.db"), []byte("of the system"), keptFor+time.Hour)
	if _, ok := s.Get(keyA); !ok {
		t.Error("not found")
	}
	s.Put(keyB, entryB)
	var got []string
	for path := range state(t, s.folder) {
		got = append(got, filepath.Base(path))
	}
	slices.Sort(got)
	if want := []string{"Thumbs.db", keyA + entryEnd, keyB + entryEnd}; !slices.Equal(got, want) {
		t.Errorf("left %q, want %q", got, want)
	}
	if info, err := os.Stat(name(keyA)); err != nil || time.Since(info.ModTime()) > time.Hour {
		t.Errorf("what was asked for is as old as before: %v, %v", info, err)
	}
}

// TestDiskLeavesOthersAlone holds that nothing changes in a folder that holds what is
// not of the cache's making, wherever that lies, and that this is reported once.
func TestDiskLeavesOthersAlone(t *testing.T) {
	const old = keptFor + 24*time.Hour
	link := func(t *testing.T, to, name string) {
		makeFolder(t, filepath.Dir(name))
		if err := os.Symlink(to, name); err != nil {
			t.Skip(err)
		}
	}
	for name, lay := range map[string]func(t *testing.T, s *shelf, card string){
		"a frame among the files": func(t *testing.T, s *shelf, _ string) {
			put(t, filepath.Join(s.folder, "BX1_0001.JPG"), []byte("picture"), old)
			put(t, filepath.Join(s.folder, keyA+entryEnd), entryA, old)
		},
		"the folder is a link to a card": func(t *testing.T, s *shelf, card string) {
			link(t, card, s.folder)
		},
		"the folder above is a link to a card": func(t *testing.T, s *shelf, card string) {
			makeFolder(t, filepath.Join(card, "pictures"))
			put(t, filepath.Join(card, "pictures", keyA+entryEnd), []byte("picture"), old)
			link(t, card, filepath.Dir(s.folder))
		},
		"the folder is a link inside the user's cache folder": func(t *testing.T, s *shelf, _ string) {
			put(t, filepath.Join(s.base, "other", keyA+entryEnd), entryA, old)
			link(t, filepath.Join("..", "other"), s.folder)
		},
		"an entry is a link to a frame": func(t *testing.T, s *shelf, card string) {
			link(t, filepath.Join(card, "BX1_0001.JPG"), filepath.Join(s.folder, keyA+entryEnd))
		},
		"an entry is a folder": func(t *testing.T, s *shelf, _ string) {
			put(t, filepath.Join(s.folder, keyA+entryEnd, "BX1_0001.JPG"), []byte("picture"), old)
		},
		"the folder is a file": func(t *testing.T, s *shelf, _ string) {
			put(t, s.folder, []byte("picture"), old)
		},
	} {
		t.Run(name, func(t *testing.T) {
			s, card := newShelf(t), t.TempDir()
			put(t, filepath.Join(card, "BX1_0001.JPG"), []byte("picture"), old)
			put(t, filepath.Join(card, keyB+entryEnd), []byte("picture"), old)
			lay(t, s, card)
			before := []map[string]string{state(t, s.base), state(t, card)}
			for range 2 {
				if text, ok := s.Get(keyA); ok {
					t.Errorf("believed %q", text)
				}
				s.Put(keyA, entryA)
				s.Put(keyB, entryB)
			}
			after := []map[string]string{state(t, s.base), state(t, card)}
			if diff := cmp.Diff(before, after); diff != "" {
				t.Errorf("changed (-before +after):\n%s", diff)
			}
			if len(s.remarks) != 1 || !strings.Contains(s.remarks[0], "is not used") {
				t.Errorf("remarks %q, want one", s.remarks)
			}
		})
	}
}

// TestDiskLeavesHardLinks holds that an original that goes by the name of an entry as
// well keeps both names, its content and its time.
func TestDiskLeavesHardLinks(t *testing.T) {
	s, card := newShelf(t), t.TempDir()
	original := filepath.Join(card, "BX1_0001.JPG")
	put(t, original, []byte("picture"), keptFor+time.Hour)
	makeFolder(t, s.folder)
	for _, key := range []string{keyA, keyB} {
		if err := os.Link(original, filepath.Join(s.folder, key+entryEnd)); err != nil {
			t.Skip(err)
		}
	}
	before := []map[string]string{state(t, s.base), state(t, card)}
	if text, ok := s.Get(keyA); ok {
		t.Errorf("believed %q", text)
	}
	s.Put(keyA, entryA)
	if diff := cmp.Diff(before, []map[string]string{state(t, s.base), state(t, card)}); diff != "" {
		t.Errorf("changed (-before +after):\n%s", diff)
	}

	// One of an entry: another name of it keeps content and time.
	s = newShelf(t)
	name := filepath.Join(s.folder, keyA+entryEnd)
	put(t, name, entryA, keptFor-time.Hour)
	saved := filepath.Join(card, "saved")
	if err := os.Link(name, saved); err != nil {
		t.Fatal(err)
	}
	want := state(t, card)
	if _, ok := s.Get(keyA); !ok {
		t.Error("not found")
	}
	s.Put(keyA, entryB)
	if diff := cmp.Diff(want, state(t, card)); diff != "" {
		t.Errorf("changed by another name (-before +after):\n%s", diff)
	}
}

// TestDiskOutsideAudited holds that nothing is kept in an audited folder.
func TestDiskOutsideAudited(t *testing.T) {
	base := t.TempDir()
	if NewDisk(base, []string{filepath.Dir(base)}, nil) != nil {
		t.Error("a cache in an audited folder")
	}
	if NewDisk(base, []string{t.TempDir()}, nil) == nil {
		t.Error("no cache outside the audited folder")
	}
}
