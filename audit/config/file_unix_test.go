//go:build unix

package config

import (
	"os"
	"path/filepath"
	"syscall"
	"testing"
)

// TestReadDoesNotWait holds that neither a pipe nor a device in place of the
// configuration holds the program.
func TestReadDoesNotWait(t *testing.T) {
	pipe, device := filepath.Join(t.TempDir(), Name), filepath.Join(t.TempDir(), Name)
	if err := syscall.Mkfifo(pipe, 0o666); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink("/dev/zero", device); err != nil {
		t.Fatal(err)
	}
	for _, file := range []string{pipe, device} {
		wantConfigError(t, file, "not an ordinary file")
	}
}
