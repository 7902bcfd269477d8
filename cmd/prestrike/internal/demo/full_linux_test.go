package demo_test

import (
	"errors"
	"os"
	"path/filepath"
	"syscall"
	"testing"

	"prestrike/cmd/prestrike/internal/demo"

	"golang.org/x/sys/unix"
)

// A disk that is full half way holds afterwards what it held before.
func TestFullDiskKeepsNothing(t *testing.T) {
	disk := t.TempDir()
	if err := unix.Mount("none", disk, "tmpfs", 0, "size=256k"); err != nil {
		t.Skipf("no file system may be mounted here: %v", err)
	}
	defer unix.Unmount(disk, unix.MNT_DETACH)
	kept := filepath.Join(disk, "kept")
	if err := os.WriteFile(kept, []byte("kept"), 0o666); err != nil {
		t.Fatal(err)
	}
	written := 0
	_, err := demo.Small().Write(t.Context(), filepath.Join(disk, "new", "a"), func(int, int) { written++ })
	if !errors.Is(err, syscall.ENOSPC) || written == 0 {
		t.Errorf("error %v after %d frames, want a full disk after some", err, written)
	}
	entries, err := os.ReadDir(disk)
	if err != nil || len(entries) != 1 || entries[0].Name() != "kept" {
		t.Errorf("the disk holds %v, error %v; want what was there alone", entries, err)
	}
}
