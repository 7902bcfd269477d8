package copies

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"unsafe"

	"golang.org/x/sys/unix"
)

// openFile opens a file to be read. It follows no link and waits for no pipe,
// should one have taken the file's place, and leaves the time of the last access
// alone where the system lets it.
func openFile(name string) (*os.File, error) {
	const flags = unix.O_RDONLY | unix.O_NOFOLLOW | unix.O_NONBLOCK | unix.O_CLOEXEC
	f, err := os.OpenFile(name, flags|unix.O_NOATIME, 0)
	if errors.Is(err, fs.ErrPermission) { // of others' files the time is kept
		f, err = os.OpenFile(name, flags, 0)
	}
	return f, err
}

// changedAt returns when the file or its entry last changed.
func changedAt(s *syscall.Stat_t) int64 { return s.Ctim.Nano() }

// fromMedium has the next reading of a file come from its medium, and reports
// whether it will: no page of the file is left in memory. A cache inside the
// device is out of reach.
func fromMedium(f *os.File, size int64) bool {
	giveBack(f)
	if !resident(f, size) {
		return true
	}
	// Pages that were written and not yet stored cannot be given up.
	if unix.Fsync(int(f.Fd())) != nil {
		return false
	}
	giveBack(f)
	return !resident(f, size)
}

// readOnce has a file on a disk read past the system's memory, which costs a copy of
// every byte (O_DIRECT, open(2)). Files elsewhere, as on a network, are read through it,
// far ahead of what is asked for.
func readOnce(f *os.File) {
	var s unix.Stat_t
	if unix.Fstat(int(f.Fd()), &s) != nil || unix.Major(s.Dev) == 0 || setDirect(f, true) != nil {
		readAhead(f)
	}
}

func readAhead(f *os.File) { _ = unix.Fadvise(int(f.Fd()), 0, 0, unix.FADV_SEQUENTIAL) }

// setDirect sets whether a file is read past the system's memory.
func setDirect(f *os.File, on bool) error {
	flags, err := unix.FcntlInt(f.Fd(), unix.F_GETFL, 0)
	if err != nil {
		return err
	}
	if flags &^= unix.O_DIRECT; on {
		flags |= unix.O_DIRECT
	}
	_, err = unix.FcntlInt(f.Fd(), unix.F_SETFL, flags)
	return err
}

// fill reads a block, as [io.ReadFull] does. Blocks that begin at a page are read past the
// system's memory, as large ones of Go's do; where the file system refuses one for
// how it lies, or for what is left of the file, the rest is read through it.
func fill(f *os.File, block []byte) (int, error) {
	n, err := io.ReadFull(f, block)
	if !errors.Is(err, unix.EINVAL) || setDirect(f, false) != nil {
		return n, err
	}
	readAhead(f)
	m, err := io.ReadFull(f, block[n:])
	if err == io.EOF && n > 0 {
		err = io.ErrUnexpectedEOF
	}
	return n + m, err
}

// giveBack leaves the memory to files that are of more use in it.
func giveBack(f *os.File) { _ = unix.Fadvise(int(f.Fd()), 0, 0, unix.FADV_DONTNEED) }

// window is how much of a file is mapped at once to ask about its pages: no
// page is read by that, and it fits into the address space of 32 bits.
const window = 256 << 20

// resident reports whether any page of a file is in memory, or whether that
// cannot be decided: the system reports it only to whoever may write the file, and
// to others that all of it is (mincore(2)).
func resident(f *os.File, size int64) bool {
	page := int64(os.Getpagesize())
	state := make([]byte, (min(size, window)+page-1)/page)
	for at := int64(0); at < size; at += window {
		n := min(size-at, window)
		m, err := unix.Mmap(int(f.Fd()), at, int(n), unix.PROT_READ, unix.MAP_SHARED)
		if err != nil {
			return true
		}
		pages := state[:(n+page-1)/page]
		_, _, failed := unix.Syscall(unix.SYS_MINCORE, uintptr(unsafe.Pointer(&m[0])), uintptr(n), uintptr(unsafe.Pointer(&pages[0])))
		if unix.Munmap(m) != nil || failed != 0 {
			return true
		}
		for _, p := range pages {
			if p&1 != 0 {
				return true
			}
		}
	}
	return false
}

// mountOf names the mount that a folder is on. The name is not used again, so
// that another disk in the same place has another name. It is empty before Linux
// 6.8, which does not know.
func mountOf(dir string) string {
	var s unix.Statx_t
	if unix.Statx(unix.AT_FDCWD, dir, 0, unix.STATX_MNT_ID_UNIQUE, &s) != nil || s.Mask&unix.STATX_MNT_ID_UNIQUE == 0 {
		return ""
	}
	boot, err := os.ReadFile("/proc/sys/kernel/random/boot_id")
	if err != nil {
		return ""
	}
	return fmt.Sprintf("%s %d", strings.TrimSpace(string(boot)), s.Mnt_id)
}

// diskOf names the device that a folder lies on: the whole disk, not the
// partition.
func diskOf(dir string) string {
	var s unix.Stat_t
	if unix.Stat(dir, &s) != nil {
		return ""
	}
	dev := uint64(s.Dev)
	if unix.Major(dev) == 0 { // some file systems have numbers of their own
		if source := mountSource(dir); source != "" && unix.Stat(source, &s) == nil && s.Mode&unix.S_IFMT == unix.S_IFBLK {
			dev = uint64(s.Rdev)
		}
	}
	name := fmt.Sprintf("%d:%d", unix.Major(dev), unix.Minor(dev))
	at, err := filepath.EvalSymlinks("/sys/dev/block/" + name)
	if err != nil {
		return name
	}
	for range 8 { // a mapped device lies on another, and that one may be mapped too
		if _, err := os.Stat(filepath.Join(at, "partition")); err == nil {
			at = filepath.Dir(at)
		}
		below, err := os.ReadDir(filepath.Join(at, "slaves"))
		if err != nil || len(below) != 1 {
			break
		}
		next, err := filepath.EvalSymlinks(filepath.Join(at, "slaves", below[0].Name()))
		if err != nil {
			break
		}
		at = next
	}
	return filepath.Base(at)
}

// mountEscapes are how mountinfo writes blanks and backslashes (proc(5)).
var mountEscapes = strings.NewReplacer(`\040`, " ", `\011`, "\t", `\012`, "\n", `\134`, `\`)

// mountSource returns what is mounted where the folder is: a line of mountinfo
// has the place as its fifth field, and the source as the second after a dash
// (proc(5)).
func mountSource(dir string) string {
	text, err := os.ReadFile("/proc/self/mountinfo")
	if err != nil {
		return ""
	}
	source, length := "", -1
	for line := range strings.Lines(string(text)) {
		front, back, ok := strings.Cut(line, " - ")
		fields, rest := strings.Fields(front), strings.Fields(back)
		if !ok || len(fields) < 5 || len(rest) < 2 {
			continue
		}
		place := mountEscapes.Replace(fields[4])
		if in := place == "/" || dir == place || strings.HasPrefix(dir, place+"/"); in && len(place) >= length {
			source, length = mountEscapes.Replace(rest[1]), len(place)
		}
	}
	return source
}
