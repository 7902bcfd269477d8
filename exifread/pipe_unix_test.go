//go:build unix

package exifread_test

import (
	"errors"
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"prestrike/audit/safefile"
	"prestrike/exifread"
)

// A pipe that takes the place of a file, at whatever moment, holds nobody who reads
// or decodes the file.
func TestPipeInPlaceOfAFileHoldsNobody(t *testing.T) {
	dir := t.TempDir()
	name, pipe := filepath.Join(dir, "BX1_0001.JPG"), filepath.Join(dir, "pipe")
	frame := plainJPEG(t, 16, 16)
	swap := func() {
		file := filepath.Join(dir, "file")
		if err := os.WriteFile(file, frame, 0o600); err != nil {
			t.Error(err)
		}
		if err := os.Rename(file, name); err != nil {
			t.Error(err)
		}
		if err := syscall.Mkfifo(pipe, 0o600); err != nil {
			t.Error(err)
		}
		if err := os.Rename(pipe, name); err != nil {
			t.Error(err)
		}
	}
	swap()
	whole := exifread.Preview{Length: int64(len(frame)), Width: 16, Height: 16}
	done := make(chan struct{})
	go func() {
		defer close(done)
		if _, err := exifread.ReadFile(t.Context(), name); !errors.Is(err, safefile.ErrNotRegular) {
			t.Errorf("read: %v", err)
		}
		if _, err := whole.Decode(t.Context(), name, nil); !errors.Is(err, safefile.ErrNotRegular) {
			t.Errorf("decoded: %v", err)
		}
		stop, stopped := make(chan struct{}), make(chan struct{})
		go func() {
			defer close(stopped)
			for {
				select {
				case <-stop:
					return
				default:
					swap()
				}
			}
		}()
		read, refused := 0, 0
		for began := time.Now(); time.Since(began) < 10*time.Second && read+refused < 20_000; {
			if _, err := exifread.ReadFile(t.Context(), name); err == nil {
				read++
			} else {
				refused++
			}
			_, _ = whole.Decode(t.Context(), name, nil) // it must only return
		}
		close(stop)
		<-stopped
		if read == 0 || refused == 0 {
			t.Errorf("%d times a file, %d times none: nothing was swapped", read, refused)
		}
	}()
	select {
	case <-done:
	case <-time.After(60 * time.Second):
		t.Fatal("still waiting after 60 s")
	}
}
