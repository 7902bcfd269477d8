package copies

import (
	"bytes"
	"io"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

func TestReadsFromTheMedium(t *testing.T) {
	name := filepath.Join(t.TempDir(), "a.jpg")
	content := strings.Repeat("x", 3<<20)
	if err := os.WriteFile(name, []byte(content), 0o666); err != nil {
		t.Fatal(err)
	}
	var fs syscall.Statfs_t
	if err := syscall.Statfs(name, &fs); err != nil {
		t.Fatal(err)
	}
	const tmpfs, overlay = 0x01021994, 0x794c7630
	if fs.Type == tmpfs || fs.Type == overlay {
		t.Skip("the folder for tests lies in memory")
	}
	f, err := openFile(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	size := int64(len(content))
	if !resident(f, size) {
		t.Error("just written, and not in memory")
	}
	if !fromMedium(f, size) || resident(f, size) {
		t.Error("still in memory")
	}
	if _, err := io.Copy(io.Discard, f); err != nil {
		t.Fatal(err)
	}
	if !resident(f, size) {
		t.Error("just read, and not in memory")
	}
	// One byte alone is found at the end of all the others.
	if !fromMedium(f, size) {
		t.Fatal("still in memory")
	}
	if _, err := f.ReadAt(make([]byte, 1), size-1); err != nil {
		t.Fatal(err)
	}
	if !resident(f, size) {
		t.Error("the last page is not seen")
	}
}

// A file on a disk is read past the system's memory; where a read of that kind is refused,
// what is read is the same.
func TestReadsPastTheMemory(t *testing.T) {
	name := filepath.Join(t.TempDir(), "a.jpg")
	content := make([]byte, 2*blockBytes+777)
	for i := range content {
		content[i] = byte(i * 7 >> 3)
	}
	if err := os.WriteFile(name, content, 0o666); err != nil {
		t.Fatal(err)
	}
	size := int64(len(content))
	for _, shift := range []int{0, 1} { // a block that begins at a page, and one that does not
		f, err := openFile(name)
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		var s syscall.Stat_t
		if err := syscall.Fstat(int(f.Fd()), &s); err != nil {
			t.Fatal(err)
		}
		disk := unix.Major(s.Dev) != 0 && fromMedium(f, size)
		readOnce(f)
		block := make([]byte, blockBytes+4096)[shift:]
		block = block[:blockBytes]
		var got []byte
		for i, want := range []int{blockBytes, blockBytes, 777, 0} {
			n, err := fill(f, block)
			if n != want || (err == io.EOF) != (i == 3) || (err == io.ErrUnexpectedEOF) != (i == 2) || err != nil && i < 2 {
				t.Errorf("shift %d, block %d: %d bytes, error %v", shift, i, n, err)
			}
			got = append(got, block[:n]...)
		}
		if !bytes.Equal(got, content) {
			t.Errorf("shift %d: other bytes are read than the file holds", shift)
		}
		switch {
		case !disk:
			t.Log("the folder for tests is on no disk: nothing is read past the memory")
		case shift == 0 && resident(f, size-777): // the rest may be read through it
			t.Error("what was read is in memory")
		}
	}
}

// What lies in memory cannot be read from anywhere else, and that is reported.
func TestMemoryIsNoMedium(t *testing.T) {
	top, err := os.MkdirTemp("/dev/shm", "prestrike-test")
	if err != nil {
		t.Skip(err)
	}
	t.Cleanup(func() { os.RemoveAll(top) })
	card := tree{"a.jpg": "one"}.write(t, top, "card")
	dir := tree{"a.jpg": "one"}.write(t, top, "copy")
	a, err := Compare(t.Context(), card, []string{dir}, &Options{})
	if err != nil {
		t.Fatal(err)
	}
	if !a.Needed[0].Cached || !a.Copies[0].Files[0].Cached {
		t.Error("a file in memory was read from a medium")
	}
}

// Pipes are not opened, by their names or in place of a file.
func TestPipesAreNotOpened(t *testing.T) {
	top := t.TempDir()
	card := tree{"a.jpg": "one"}.write(t, top, "card")
	dir := tree{"a.jpg": "one"}.write(t, top, "copy")
	for _, name := range []string{filepath.Join(card, "pipe"), filepath.Join(dir, "pipe.jpg")} {
		if err := syscall.Mkfifo(name, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	done := make(chan struct{})
	go func() {
		defer close(done)
		a, err := Compare(t.Context(), card, []string{dir}, &Options{})
		if err != nil {
			t.Error(err)
			return
		}
		if got := said(a); len(got) > 0 || len(a.Card.Special) != 1 || len(a.Copies[0].Special) != 1 {
			t.Errorf("found %v, special %v and %v", got, a.Card.Special, a.Copies[0].Special)
		}
		// As where the file was replaced after it was listed.
		file := &File{Path: "pipe.jpg", Size: 3}
		r := &reader{}
		if err := r.read(t.Context(), []job{{folder: a.Copies[0].Folder, file: file}}); err != nil || file.Err != errNotRegular {
			t.Errorf("a pipe in place of a file: %v, %v", err, file.Err)
		}
	}()
	select {
	case <-done:
	case <-time.After(30 * time.Second):
		t.Fatal("still waiting after 30 s")
	}
}

// The time of the last access stays as it is.
func TestAccessTimeStays(t *testing.T) {
	name := filepath.Join(t.TempDir(), "a.jpg")
	if err := os.WriteFile(name, []byte("one"), 0o666); err != nil {
		t.Fatal(err)
	}
	old := time.Now().Add(-48 * time.Hour)
	if err := os.Chtimes(name, old, old); err != nil {
		t.Fatal(err)
	}
	at := func() syscall.Timespec {
		var s syscall.Stat_t
		if err := syscall.Stat(name, &s); err != nil {
			t.Fatal(err)
		}
		return s.Atim
	}
	before := at()
	f, err := openFile(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if _, err := io.Copy(io.Discard, f); err != nil {
		t.Fatal(err)
	}
	if at() != before {
		t.Error("the time of the last access has changed")
	}
}
