//go:build unix && !linux

package copies

import (
	"fmt"
	"io"
	"os"
	"syscall"

	"golang.org/x/sys/unix"
)

// openFile opens a file to be read. It follows no link and waits for no pipe,
// should one have taken the file's place.
func openFile(name string) (*os.File, error) {
	return os.OpenFile(name, unix.O_RDONLY|unix.O_NOFOLLOW|unix.O_NONBLOCK|unix.O_CLOEXEC, 0)
}

// changedAt does not know: the time's name differs from system to system.
func changedAt(*syscall.Stat_t) int64 { return 0 }

// fromMedium reports that what is read next may come from memory: this system
// has no way to see to it that it does not.
func fromMedium(*os.File, int64) bool { return false }

func readOnce(*os.File) {}

// fill reads a block, as [io.ReadFull] does.
func fill(f *os.File, block []byte) (int, error) { return io.ReadFull(f, block) }

func giveBack(*os.File) {}

func mountOf(string) string { return "" }

// diskOf names the file system that a folder lies on. Two on one disk are not
// recognised.
func diskOf(dir string) string {
	var s unix.Stat_t
	if unix.Stat(dir, &s) != nil {
		return ""
	}
	return fmt.Sprint(s.Dev)
}
