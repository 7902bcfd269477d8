package copies

import (
	"crypto/sha256"
	"errors"
	"fmt"
	"hash"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"prestrike/exifread"
)

// A fragileHash panics at what it is given.
type fragileHash struct{ hash.Hash }

func (fragileHash) Write([]byte) (int, error) { panic("out of paper") }

// TestFailureAtOneFile holds that the program failing at some files leaves them without
// a checksum and reports it, and that the others are read.
func TestFailureAtOneFile(t *testing.T) {
	const files, fails = 24, 3 // more failures than there are blocks
	dir := t.TempDir()
	for i := range files {
		if err := os.WriteFile(filepath.Join(dir, fmt.Sprintf("BX1_%04d.JPG", i)), make([]byte, 3*blockBytes), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	folder, err := List(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	var jobs []job
	for i, f := range folder.Files {
		j := job{folder: folder, file: f}
		if i%fails == 0 {
			j.also = []hash.Hash{fragileHash{sha256.New()}}
		}
		jobs = append(jobs, j)
	}
	done := make(chan error, 1)
	go func() { done <- new(reader).read(t.Context(), jobs) }()
	select {
	case err := <-done:
		if err != nil {
			t.Error(err)
		}
	case <-time.After(time.Minute):
		t.Fatal("still reading after a minute")
	}
	for i, f := range folder.Files {
		_, failed := errors.AsType[*exifread.PanicError](f.Err)
		if want := i%fails == 0; failed != want || f.Read == want {
			t.Errorf("%s: error %v, read %v; want failed %v", f.Path, f.Err, f.Read, want)
		}
	}
}

// TestFailureInTurn holds that the device is free again after a failure at a file.
func TestFailureInTurn(t *testing.T) {
	var turn sync.Mutex
	read := make(chan []byte, blocksAhead)
	_, _, err := inTurn(t.Context(), job{folder: &Folder{}}, &turn, newBlocks(), read) // without a file
	if _, failed := errors.AsType[*exifread.PanicError](err); !failed {
		t.Errorf("error %v", err)
	}
	if !turn.TryLock() {
		t.Error("the device is still taken")
	}
	if _, open := <-read; open {
		t.Error("blocks are still waited for")
	}
}
