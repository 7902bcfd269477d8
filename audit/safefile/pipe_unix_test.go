//go:build unix

package safefile_test

import (
	"errors"
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"prestrike/audit/safefile"
)

// TestOpenDoesNotWait holds that neither a pipe that nobody writes to nor a device
// without an end holds the program.
func TestOpenDoesNotWait(t *testing.T) {
	folder := t.TempDir()
	if err := syscall.Mkfifo(filepath.Join(folder, "pipe"), 0o666); err != nil {
		t.Fatal(err)
	}
	for link, to := range map[string]string{"to-pipe": "pipe", "to-device": "/dev/zero"} {
		if err := os.Symlink(to, filepath.Join(folder, link)); err != nil {
			t.Fatal(err)
		}
	}
	in := root(t, folder)
	done := make(chan struct{})
	go func() {
		defer close(done)
		for _, name := range []string{"pipe", "to-pipe", "to-device"} {
			if _, err := safefile.Open(filepath.Join(folder, name)); !errors.Is(err, safefile.ErrNotRegular) {
				t.Errorf("%s: %v", name, err)
			}
			if _, err := safefile.OpenIn(in, name); !errors.Is(err, safefile.ErrNotRegular) {
				t.Errorf("%s, without links: %v", name, err)
			}
		}
	}()
	select {
	case <-done:
	case <-time.After(30 * time.Second):
		t.Fatal("still waiting after 30 s")
	}
}
