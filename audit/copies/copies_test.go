package copies

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

// A tree is files by path. What begins with "-> " is a symbolic link, with "= " a
// hard link, both to a path from the top of all trees.
type tree map[string]string

func (files tree) write(t *testing.T, top, name string) string {
	t.Helper()
	dir := filepath.Join(top, name)
	if err := os.MkdirAll(dir, 0o777); err != nil {
		t.Fatal(err)
	}
	var names []string
	for at := range files {
		names = append(names, at)
	}
	slices.SortFunc(names, func(a, b string) int { // links after what they lead to
		return strings.Compare(fmt.Sprint(strings.HasPrefix(files[a], "= "), a), fmt.Sprint(strings.HasPrefix(files[b], "= "), b))
	})
	for _, at := range names {
		to, content := filepath.Join(dir, filepath.FromSlash(at)), files[at]
		err := os.MkdirAll(filepath.Dir(to), 0o777)
		switch {
		case err != nil:
		case strings.HasPrefix(content, "-> "):
			err = os.Symlink(filepath.Join(top, content[3:]), to)
		case strings.HasPrefix(content, "= "):
			err = os.Link(filepath.Join(top, content[2:]), to)
		default:
			err = os.WriteFile(to, []byte(content), 0o666)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

// said is what a comparison found, a line for each thing.
func said(a *Answer) []string {
	var lines []string
	for _, f := range a.Empty {
		lines = append(lines, "empty "+f.Path)
	}
	for _, c := range a.Copies {
		for _, m := range c.Missing {
			lines = append(lines, m.File.Path+" "+m.Sentence())
		}
		for _, m := range c.Edited {
			lines = append(lines, "edited "+m.File.Path)
		}
		if len(c.Twice) > 0 {
			lines = append(lines, "twice "+strings.Join(c.Twice, " "))
		}
		if c.Same > 0 {
			lines = append(lines, fmt.Sprintf("same %d", c.Same))
		}
		for _, l := range c.Links {
			lines = append(lines, "link "+l)
		}
	}
	return lines
}

// picture is a file of some content, longer than what is read of its beginning.
func picture(seed byte) string {
	b := make([]byte, endBytes+5000)
	x := uint32(seed) + 1
	for i := range b {
		x = x*1664525 + 1013904223
		b[i] = byte(x >> 24)
	}
	return string(b)
}

func flip(s string, at int) string {
	b := []byte(s)
	b[at] ^= 0x10
	return string(b)
}

// The table is long, and clearer whole: each line is a way in which a copy may be
// wrong or odd, and what is to be reported of it.
func TestCompare(t *testing.T) {
	one, two, three := picture(1), picture(2), picture(3)
	card := tree{"DCIM/100BX/BX1_0001.JPG": one, "DCIM/100BX/BX1_0002.JPG": two, "DCIM/100BX/BX1_0003.JPG": three}
	for _, c := range []struct {
		name       string
		card, copy tree
		want       []string
	}{
		{"all there", card, card, nil},
		{"renamed and moved", card, tree{"a/x.jpg": one, "b/c/y": two, "BX1_0001.JPG": three}, nil},
		{"missing", card, tree{"BX1_0001.JPG": one, "BX1_0003.JPG": three}, []string{"DCIM/100BX/BX1_0002.JPG is not there"}},
		{
			"a flipped bit", card,
			tree{"BX1_0001.JPG": one, "BX1_0002.JPG": flip(two, endBytes+77), "BX1_0003.JPG": three},
			[]string{"DCIM/100BX/BX1_0002.JPG has other bytes there, from byte 1048654 on (BX1_0002.JPG)"},
		},
		{
			"a flipped bit in a renamed file", card,
			tree{"1.jpg": one, "2.jpg": flip(two, endBytes+77), "3.jpg": three},
			[]string{"DCIM/100BX/BX1_0002.JPG has other bytes there, from byte 1048654 on (2.jpg)"},
		},
		{
			"a flipped bit at the beginning of a renamed file", card,
			tree{"1.JPG": one, "2.JPG": flip(two, 9), "3.JPG": three},
			[]string{"DCIM/100BX/BX1_0002.JPG has other bytes there, from byte 10 on (2.JPG)"},
		},
		{
			"the only file, renamed and damaged",
			tree{"a.mov": one},
			tree{"x/b.mov": flip(one, endBytes+77)},
			[]string{"a.mov has other bytes there, from byte 1048654 on (x/b.mov)"},
		},
		{
			"another file of that size", card,
			tree{"1.JPG": one, "2.JPG": picture(9), "3.JPG": three},
			[]string{"DCIM/100BX/BX1_0002.JPG is not there"},
		},
		{
			"cut", card,
			tree{"BX1_0001.JPG": one, "BX1_0002.JPG": two[:700], "BX1_0003.JPG": three},
			[]string{"DCIM/100BX/BX1_0002.JPG is cut there, after 700 of 1053576 bytes (BX1_0002.JPG)"},
		},
		{
			"cut and renamed", card,
			tree{"1.jpg": one, "2.jpg": two[:endBytes+1], "3.jpg": three},
			[]string{"DCIM/100BX/BX1_0002.JPG is cut there, after 1048577 of 1053576 bytes (2.jpg)"},
		},
		{
			"longer", card,
			tree{"BX1_0001.JPG": one, "BX1_0002.JPG": two + "x", "BX1_0003.JPG": three},
			[]string{"DCIM/100BX/BX1_0002.JPG is longer there, 1 bytes more (BX1_0002.JPG)"},
		},
		{
			"names of others", card,
			tree{"BX1_0002.JPG": one, "BX1_0003.JPG": three},
			[]string{"DCIM/100BX/BX1_0002.JPG is not there"},
		},
		{
			"one name in two folders", // as a counter that starts again gives it
			tree{"100BX/BX1_0001.JPG": one, "101BX/BX1_0001.JPG": two},
			tree{"101BX/BX1_0001.JPG": one, "sorted/BX1_0001.JPG": two},
			nil,
		},
		{
			"one name in two folders, one lost",
			tree{"100BX/BX1_0001.JPG": one, "101BX/BX1_0001.JPG": two},
			tree{"BX1_0001.JPG": one},
			[]string{"101BX/BX1_0001.JPG is not there"},
		},
		{"equal files, both there", tree{"a.jpg": one, "b.jpg": one}, tree{"x/a.jpg": one, "y/a.jpg": one}, nil},
		{
			"equal files, one there",
			tree{"a.jpg": one, "b.jpg": one},
			tree{"x/b.jpg": one},
			[]string{"a.jpg is on the card 2 times with the same bytes, and there 1"},
		},
		{
			"a hard link is no copy",
			tree{"a.jpg": one, "b.jpg": one},
			tree{"b.jpg": one, "c.jpg": "= copy/b.jpg"},
			[]string{"a.jpg is on the card 2 times with the same bytes, and there 1"},
		},
		{
			"hard links to the card's own files", card,
			tree{"a.jpg": "= card/DCIM/100BX/BX1_0001.JPG", "b.jpg": two, "c.jpg": three},
			[]string{"DCIM/100BX/BX1_0001.JPG is not there", "same 1"},
		},
		{
			"symbolic links out of the tree", card,
			tree{"BX1_0001.JPG": "-> card/DCIM/100BX/BX1_0001.JPG", "b.jpg": two, "c.jpg": three, "loop": "-> copy"},
			[]string{"DCIM/100BX/BX1_0001.JPG is not there", "link BX1_0001.JPG", "link loop"},
		},
		{"empty", tree{"a.jpg": one, "b.jpg": "", ".keep": "", "c": ""}, tree{"a.jpg": one}, []string{"empty b.jpg"}},
		{
			"sidecars",
			tree{"a.jpg": one, "a.xmp": "<as shot>", "b.xmp": "<b>"},
			tree{"a.jpg": one, "a.xmp": "<edited>", "only.xmp": "<new>"},
			[]string{"b.xmp is not there", "edited a.xmp"},
		},
		{
			"housekeeping and what systems keep",
			tree{"a.jpg": one, "MISC/AUTPRINT.MRK": "x", "DCIM/X.CTG": "y", "System Volume Information/w": "z", ".Trashes/a": "q", "._a.jpg": "r", ".DS_Store": "s"},
			tree{"a.jpg": one},
			nil,
		},
		{
			"hidden and unknown files",
			tree{"a.jpg": one, ".hidden": "h", "CLIP.MP4": "film", "NOTE.WAV": "sound", "x.unknown": "u"},
			tree{"a.jpg": one},
			[]string{".hidden is not there", "CLIP.MP4 is not there", "NOTE.WAV is not there", "x.unknown is not there"},
		},
		{"in the bin of the copy", tree{"a.jpg": one}, tree{".Trashes/a.jpg": one}, []string{"a.jpg is not there"}},
		{
			"twice, and another card not", card,
			tree{
				"c1/DCIM/100BX/BX1_0001.JPG": one, "c1/DCIM/100BX/BX1_0002.JPG": two, "c1/DCIM/100BX/BX1_0003.JPG": three,
				"c2/DCIM/100BX/BX1_0001.JPG": one, "c2/DCIM/100BX/BX1_0002.JPG": two, "c2/DCIM/100BX/BX1_0003.JPG": three,
			},
			[]string{"twice c1 c2"},
		},
		{
			"one file twice", card, tree{
				"c1/BX1_0001.JPG": one, "c1/BX1_0002.JPG": two, "c1/BX1_0003.JPG": three, "c2/BX1_0003.JPG": three,
			}, nil,
		},
	} {
		t.Run(c.name, func(t *testing.T) {
			top := t.TempDir()
			from := c.card.write(t, top, "card")
			to := c.copy.write(t, top, "copy")
			before := snapshot(t, top)
			a, err := Compare(t.Context(), from, []string{to}, &Options{})
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(c.want, said(a)); diff != "" {
				t.Errorf("(-want +got)\n%s", diff)
			}
			if diff := cmp.Diff(before, snapshot(t, top)); diff != "" {
				t.Errorf("something was touched (-before +after)\n%s", diff)
			}
		})
	}
}

// snapshot is what a tree is, so that a change would show.
func snapshot(t *testing.T, top string) []string {
	t.Helper()
	var lines []string
	err := filepath.Walk(top, func(name string, info os.FileInfo, err error) error {
		if err == nil {
			lines = append(lines, fmt.Sprint(name, info.Size(), info.Mode(), info.ModTime()))
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return lines
}

func TestEachCopyIsComparedOnItsOwn(t *testing.T) {
	top := t.TempDir()
	card := tree{"a.jpg": "one", "b.jpg": "two"}.write(t, top, "card")
	x := tree{"a.jpg": "one", "b.jpg": "two"}.write(t, top, "x")
	y := tree{"a.jpg": "one"}.write(t, top, "y")
	z := tree{"a.jpg": "= x/a.jpg", "b.jpg": "two"}.write(t, top, "z")
	a, err := Compare(t.Context(), card, []string{x, y, z}, &Options{})
	if err != nil {
		t.Fatal(err)
	}
	want := []string{"b.jpg is not there", "a.jpg is not there", "same 1"}
	if diff := cmp.Diff(want, said(a)); diff != "" {
		t.Errorf("(-want +got)\n%s", diff)
	}
	for _, c := range a.Copies {
		if c.Disk != a.Card.Disk || c.Disk == "" {
			t.Errorf("%s lies on %q, the card on %q", c.Path, c.Disk, a.Card.Disk)
		}
	}
}

func TestFoldersThatCannotBeCompared(t *testing.T) {
	top := t.TempDir()
	card := tree{"a.jpg": "one", "in/b.jpg": "two"}.write(t, top, "card")
	tree{"link": "-> card/in"}.write(t, top, "links")
	tree{"MISC/a": "x"}.write(t, top, "nothing")
	for _, c := range []struct{ card, copy, want string }{
		{card, card, "this is the same folder as"},
		{card, filepath.Join(card, "in"), "this is inside"},
		{card, filepath.Join(top, "links", "link"), "this is inside"},
		{filepath.Join(card, "in"), card, "lies inside this folder"},
		{card, filepath.Join(top, "gone"), "no such folder"},
		{card, filepath.Join(card, "a.jpg"), "this is a file"},
		{filepath.Join(top, "nothing"), card, "no files in it that should be copied"},
	} {
		_, err := Compare(t.Context(), c.card, []string{c.copy}, &Options{})
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s with %s: error %v, want %q", c.card, c.copy, err, c.want)
		}
	}
}

func TestCopyGrowsWhileItIsRead(t *testing.T) {
	top := t.TempDir()
	content := strings.Repeat("0123456789abcdef", (2*blocksAhead*blockBytes)/16)
	card := tree{"a.mov": content}.write(t, top, "card")
	dir := tree{"a.mov": content}.write(t, top, "copy")
	grown := false
	a, err := Compare(t.Context(), card, []string{dir}, &Options{Progress: func(done, _ int64) {
		// Reading is no farther ahead of what is reported than the blocks ahead: the copy is
		// not read to its end.
		if done > 0 && !grown {
			grown = true
			f, err := os.OpenFile(filepath.Join(dir, "a.mov"), os.O_APPEND|os.O_WRONLY, 0)
			if err != nil {
				t.Error(err)
				return
			}
			defer f.Close()
			if _, err := f.WriteString("more"); err != nil {
				t.Error(err)
			}
		}
	}})
	if err != nil {
		t.Fatal(err)
	}
	want := []string{"a.mov cannot be read there: " + ErrChanging.Error()}
	if diff := cmp.Diff(want, said(a)); diff != "" {
		t.Errorf("(-want +got)\n%s", diff)
	}
}

// A file is not relied on that was written to when its first block had been read, be it longer
// then or the same again.
func TestFileChangesBetweenBlocks(t *testing.T) {
	content := strings.Repeat("0123456789abcdef", 3*blockBytes/16)
	for name, change := range map[string]func(f *os.File) error{
		"unchanged": func(*os.File) error { return nil },
		"longer": func(f *os.File) error {
			_, err := f.WriteAt([]byte("more"), int64(len(content)))
			return err
		},
		"the same again, later": func(f *os.File) error {
			return os.Chtimes(f.Name(), time.Time{}, time.Now().Add(time.Minute))
		},
	} {
		dir := tree{"a.mov": content}.write(t, t.TempDir(), "copy")
		folder, err := List(t.Context(), dir)
		if err != nil {
			t.Fatal(err)
		}
		f, err := os.OpenFile(filepath.Join(dir, "a.mov"), os.O_WRONLY, 0)
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		free, read := make(chan []byte, 1), make(chan []byte)
		free <- make([]byte, blockBytes)
		failed := make(chan error, 1)
		go func() {
			_, _, err := inTurn(t.Context(), job{folder: folder, file: folder.Files[0]}, new(sync.Mutex), free, read)
			failed <- err
		}()
		blocks := 0
		for block := range read {
			if blocks++; blocks == 1 {
				if err := change(f); err != nil {
					t.Error(err)
				}
			}
			free <- block[:cap(block)]
		}
		if err := <-failed; (err == ErrChanging) != (name != "unchanged") || name == "unchanged" && err != nil {
			t.Errorf("%s: %v after %d blocks", name, err, blocks)
		}
	}
}

// A stopped check goes on where it was, and reads again what has changed.
func TestResume(t *testing.T) {
	top := t.TempDir()
	files := tree{}
	for i := range 40 {
		files[fmt.Sprintf("BX1_%04d.JPG", i)] = picture(byte(i))
	}
	card, dir := files.write(t, top, "card"), files.write(t, top, "copy")
	log := filepath.Join(top, "cache", "x.journal")
	all := int64(2 * 40 * len(picture(0)))

	stopAt := func(n int64) {
		t.Helper()
		ctx, stop := context.WithCancel(t.Context())
		defer stop()
		_, err := Compare(ctx, card, []string{dir}, &Options{Journal: log, Progress: func(done, _ int64) {
			if done >= n {
				stop()
			}
		}})
		if err != context.Canceled {
			t.Fatalf("stopped: %v", err)
		}
	}
	goOn := func(now time.Time) (read int64, a *Answer) {
		t.Helper()
		a, err := Compare(t.Context(), card, []string{dir}, &Options{Journal: log, Now: now, Progress: func(_, total int64) { read = total }})
		if err != nil {
			t.Fatal(err)
		}
		if got := said(a); len(got) > 0 {
			t.Errorf("found %v", got)
		}
		if _, err := os.Stat(log); !os.IsNotExist(err) {
			t.Errorf("the journal is still there: %v", err)
		}
		return read, a
	}

	stopAt(all / 2)
	torn, err := os.OpenFile(log, os.O_APPEND|os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	fmt.Fprint(torn, `{"Folder":0,"Path":"QlgxXz`)
	torn.Close()
	stopAt(all / 4) // goes on, and is stopped again
	read, _ := goOn(time.Time{})
	if read > all/2 || read == 0 {
		t.Errorf("%d of %d bytes were read after two stops", read, all)
	}
	if read, _ := goOn(time.Time{}); read != all {
		t.Errorf("a new check read %d of %d bytes", read, all)
	}
	stopAt(all / 2)
	if read, _ := goOn(time.Now().Add(journalLife + time.Minute)); read != all {
		t.Errorf("a day later %d of %d bytes were read", read, all)
	}

	// Same size, same time of change of content, other bytes: only the time of
	// the last change of the file's entry shows it.
	stopAt(all - 1)
	name := filepath.Join(dir, "BX1_0000.JPG")
	info, err := os.Stat(name)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(name, []byte(flip(picture(0), 5)), 0o666); err != nil {
		t.Fatal(err)
	}
	if err := os.Chtimes(name, info.ModTime(), info.ModTime()); err != nil {
		t.Fatal(err)
	}
	a, err := Compare(t.Context(), card, []string{dir}, &Options{Journal: log})
	if err != nil {
		t.Fatal(err)
	}
	if got := said(a); len(got) != 1 || !strings.HasPrefix(got[0], "BX1_0000.JPG has other bytes") {
		t.Errorf("found %v", got)
	}
}

// Where the disk may be another, nothing that was kept is trusted.
func TestJournalOfAnotherDisk(t *testing.T) {
	line := journalLine{Mount: "a", Dev: 1, Ino: 2, Size: 3, Modified: 4, Changed: 1_230_000_000}
	file := &File{Size: 3, modified: 4, id: identity{known: true, dev: 1, ino: 2, changed: 1_230_000_000}}
	for mount, want := range map[string]bool{"a": true, "b": false, "": false} {
		if got := line.holds(&Folder{mount: mount, dev: 1}, file); got != want {
			t.Errorf("mount %q: %v", mount, got)
		}
	}
}

func TestEditedMetadata(t *testing.T) {
	jpeg, err := os.ReadFile(filepath.Join("..", "..", "testdata", "ammonite", "DCIM", "100BXCAM", "BX1_0002.JPG"))
	if err != nil {
		t.Fatal(err)
	}
	comment := append([]byte{0xFF, 0xD8, 0xFF, 0xFE, 0, 7}, "rated"...)
	edited := append(comment, jpeg[2:]...)
	dng, err := os.ReadFile(filepath.Join("..", "..", "testdata", "frames", "small.dng"))
	if err != nil {
		t.Fatal(err)
	}
	broken := bytes.Clone(edited)
	broken[len(broken)-100] ^= 1
	top := t.TempDir()
	card := tree{"a.JPG": string(jpeg), "b.JPG": string(jpeg) + "x", "c.dng": string(dng)}.write(t, top, "card")
	dir := tree{"a.JPG": string(edited), "b.JPG": string(broken), "c.dng": string(dng) + "more metadata"}.write(t, top, "copy")
	a, err := Compare(t.Context(), card, []string{dir}, &Options{})
	if err != nil {
		t.Fatal(err)
	}
	want := []string{
		"a.JPG has other metadata there; the picture itself is whole",
		"b.JPG has other bytes there, from byte 4 on",
		"c.dng has other metadata there; the picture itself is whole",
	}
	if diff := cmp.Diff(want, said(a)); diff != "" {
		t.Errorf("(-want +got)\n%s", diff)
	}
}
