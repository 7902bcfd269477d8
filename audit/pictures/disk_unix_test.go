//go:build unix

package pictures

import (
	"path/filepath"
	"syscall"
	"testing"
	"time"
)

// TestDiskDoesNotWait holds that a pipe in place of an entry, also one that comes
// while the program runs, does not hold it.
func TestDiskDoesNotWait(t *testing.T) {
	for _, late := range []bool{false, true} {
		s := newShelf(t)
		s.Put(keyB, entryB)
		if !late {
			s.open()
		}
		if err := syscall.Mkfifo(filepath.Join(s.folder, keyA+entryEnd), 0o666); err != nil {
			t.Fatal(err)
		}
		done := make(chan struct{})
		go func() {
			defer close(done)
			if text, ok := s.Get(keyA); ok {
				t.Errorf("believed %q", text)
			}
			s.Put(keyA, entryA)
		}()
		select {
		case <-done:
		case <-time.After(30 * time.Second):
			t.Fatal("still waiting after 30 s")
		}
	}
}
