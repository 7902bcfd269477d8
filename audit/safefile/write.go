package safefile

import (
	"crypto/rand"
	"encoding/hex"
	"errors"
	"io"
	"io/fs"
	"os"
	"regexp"
	"time"
)

// Write writes a file in a folder whole or not at all: to another name beside it,
// which then takes its place. A file or link of that name is replaced; what a link
// leads to stays as it is. Mode is that of the new file; 0 is what the system gives.
func Write(root *os.Root, name string, content []byte, mode fs.FileMode) error {
	return WriteFrom(root, name, mode, func(w io.Writer) error {
		_, err := w.Write(content)
		return err
	})
}

// WriteFrom is [Write] for content that a function writes, piece by piece.
func WriteFrom(root *os.Root, name string, mode fs.FileMode, write func(io.Writer) error) error {
	// A random name: a process number may come again, as in containers.
	// os.CreateTemp would keep the file from everyone else for good.
	unfinished := unfinishedName()
	f, err := root.OpenFile(unfinished, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
	if err != nil {
		return err
	}
	err = write(f)
	if err == nil && mode != 0 {
		err = f.Chmod(mode)
	}
	err = errors.Join(err, f.Sync(), f.Close())
	if err == nil {
		err = root.Rename(unfinished, name)
	}
	if err != nil {
		_ = root.Remove(unfinished) // the other error reports more
	}
	return err
}

func unfinishedName() string {
	var b [8]byte
	_, _ = rand.Read(b[:]) // never fails
	return ".prestrike-" + hex.EncodeToString(b[:]) + ".tmp"
}

// unfinished is how files are named until they are whole. Earlier versions had
// the number of the process in it.
var unfinished = regexp.MustCompile(`^\.prestrike-[0-9a-f]{1,16}\.tmp$`)

// Unfinished reports whether [Write] may have given a file this name.
func Unfinished(name string) bool { return unfinished.MatchString(name) }

// leftOver is the age from which an unfinished file belongs to a run that ended:
// writing takes seconds.
const leftOver = time.Hour

// Sweep removes the unfinished files that runs which were ended have left in a
// folder. It is no error where it cannot.
func Sweep(root *os.Root) {
	dir, err := root.Open(".")
	if err != nil {
		return
	}
	defer dir.Close()
	names, _ := dir.Readdirnames(-1) // those listed before an error are names too
	for _, name := range names {
		if !Unfinished(name) {
			continue
		}
		if info, err := root.Lstat(name); err == nil && info.Mode().IsRegular() && time.Since(info.ModTime()) > leftOver {
			_ = root.Remove(name)
		}
	}
}
