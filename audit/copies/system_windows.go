package copies

import (
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"golang.org/x/sys/windows"
)

func openFile(name string) (*os.File, error) { return os.Open(name) }

// fromMedium reports that what is read next may come from memory: reading past
// it takes another way of reading altogether on this system.
func fromMedium(*os.File, int64) bool { return false }

func readOnce(*os.File) {}

// fill reads a block, as [io.ReadFull] does.
func fill(f *os.File, block []byte) (int, error) { return io.ReadFull(f, block) }

func giveBack(*os.File) {}

func mountOf(string) string { return "" }

// diskOf names the volume that a folder lies on. Two on one disk are not
// recognised.
func diskOf(dir string) string { return filepath.VolumeName(dir) }

// identify opens the file, as the listing of a folder does not have its number.
func identify(name string, _ fs.FileInfo) identity {
	f, err := os.Open(name)
	if err != nil {
		return identity{}
	}
	defer f.Close() // nothing was written that could get lost
	var info windows.ByHandleFileInformation
	if windows.GetFileInformationByHandle(windows.Handle(f.Fd()), &info) != nil {
		return identity{}
	}
	return identity{
		known: true, dev: uint64(info.VolumeSerialNumber),
		ino: uint64(info.FileIndexHigh)<<32 | uint64(info.FileIndexLow),
	}
}
