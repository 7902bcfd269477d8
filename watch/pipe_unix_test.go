//go:build unix

package watch

import (
	"errors"
	"path/filepath"
	"syscall"
	"testing"
	"time"
)

// A pipe that is named as the folder is refused, and not waited for.
func TestPipeIsNoFolder(t *testing.T) {
	pipe := filepath.Join(t.TempDir(), "pipe")
	if err := syscall.Mkfifo(pipe, 0o600); err != nil {
		t.Fatal(err)
	}
	done := make(chan error, 1)
	go func() {
		_, err := New(pipe, Options{})
		done <- err
	}()
	select {
	case err := <-done:
		if !errors.Is(err, syscall.ENOTDIR) {
			t.Errorf("error %v, want %v", err, syscall.ENOTDIR)
		}
	case <-time.After(30 * time.Second):
		t.Fatal("still waiting after 30 s")
	}
}
