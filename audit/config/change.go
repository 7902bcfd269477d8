package config

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"prestrike/audit"
	"prestrike/audit/safefile"
)

// ErrChanged reports that a file was changed by others meanwhile.
var ErrChanged = errors.New("the file was changed meanwhile")

// A Step is one change of the text of a configuration file. What it does not mean stays as
// it is, with comments and order.
type Step func(text []byte) ([]byte, error)

// A Change is what was written to a configuration file, as long as it may be taken back.
type Change struct {
	file          string
	before, after []byte
	made          bool // the file was not there before
}

// Write changes a configuration file, which is made where it is not there: all steps, or
// none. Nothing is written where the file has mistakes, or where it would have some then:
// these errors are of *[Error], others those of the system or [ErrChanged].
func Write(file string, rules []*audit.Rule, steps ...Step) (*Change, error) {
	before, made, err := present(file)
	if err != nil {
		return nil, err
	}
	// A step may rely on the form of the file.
	if _, err := read(&audit.Options{Rules: rules}, file, before); err != nil {
		return nil, err
	}
	after := before
	for _, step := range steps {
		if after, err = step(after); err != nil {
			return nil, &Error{file, 0, fmt.Sprintf("cannot write the entry: %v", err)}
		}
	}
	if _, err := read(&audit.Options{Rules: rules}, file, after); err != nil {
		return nil, err
	}
	c := &Change{file: file, before: before, after: after, made: made}
	return c, c.put(before, made, after)
}

// TakeBack restores the file as it was before the change. It returns [ErrChanged] where the
// file is no longer as it was written.
func (c *Change) TakeBack() error {
	if !c.made {
		return c.put(c.after, false, c.before)
	}
	now, _, err := present(c.file)
	if err != nil {
		return err
	}
	if !bytes.Equal(now, c.after) {
		return ErrChanged
	}
	return os.Remove(c.file)
}

// put writes the file whole or not at all, where it still is as it was.
func (c *Change) put(was []byte, absent bool, text []byte) error {
	file := c.file
	// A link is followed: the file that it leads to is the configuration.
	if real, err := filepath.EvalSymlinks(file); err == nil {
		file = real
	}
	folder, err := os.OpenRoot(filepath.Dir(file))
	if err != nil {
		return err
	}
	defer folder.Close()
	var mode fs.FileMode
	if info, err := folder.Stat(filepath.Base(file)); err == nil {
		mode = info.Mode().Perm()
	}
	now, none, err := present(c.file)
	if err != nil {
		return err
	}
	if none != absent || !bytes.Equal(now, was) {
		return ErrChanged
	}
	return safefile.Write(folder, filepath.Base(file), text, mode)
}

// present returns the content of a configuration file; none is true where there is no file.
func present(file string) (text []byte, none bool, err error) {
	text, err = readFile(file)
	if err == nil {
		return text, false, nil
	}
	if _, gone := os.Lstat(file); errors.Is(gone, fs.ErrNotExist) {
		return nil, true, nil
	}
	return nil, false, err
}

// Fingerprint returns what differs wherever the content of one of the files does. A file
// that cannot be read counts as empty.
func Fingerprint(files ...string) string {
	sum := sha256.New()
	for _, file := range files {
		text, err := readFile(file)
		if err != nil {
			text = nil
		}
		fmt.Fprintf(sum, "%q %d\n%s", file, len(text), text)
	}
	return hex.EncodeToString(sum.Sum(nil)[:16])
}
