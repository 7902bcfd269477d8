package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"unicode/utf8"
)

// A target is where a result goes.
type target struct {
	path string // of a regular file, links resolved; empty for what only takes a stream
	w    io.Writer

	there bool        // a file is there already
	mode  fs.FileMode // its permissions
}

// openTarget finds where a result can go, before any work is done. An empty
// name and "-" stand for standard output.
func openTarget(c *console, name string) (*target, error) {
	if name == "" || name == "-" {
		return &target{w: c.out}, nil
	}
	resolved, err := filepath.EvalSymlinks(name)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		if _, err := os.Lstat(name); err == nil {
			return nil, fmt.Errorf("cannot write %s: it is a link to nowhere", name)
		}
		if info, err := os.Stat(filepath.Dir(name)); err != nil || !info.IsDir() {
			return nil, fmt.Errorf("cannot write %s: there is no folder %s", name, filepath.Dir(name))
		}
		return &target{path: name}, nil
	case err != nil:
		return nil, fmt.Errorf("cannot write %s: %w", name, err)
	}
	info, err := os.Stat(resolved)
	if err != nil {
		return nil, fmt.Errorf("cannot write %s: %w", name, err)
	}
	switch {
	case info.IsDir():
		return nil, fmt.Errorf("cannot write %s: it is a folder: name a file in it", name)
	case !info.Mode().IsRegular(): // a device or a pipe
		w, err := os.OpenFile(resolved, os.O_WRONLY, 0)
		if err != nil {
			return nil, fmt.Errorf("cannot write %s: %w", name, err)
		}
		return &target{w: w}, nil
	}
	t := &target{path: resolved, mode: info.Mode().Perm(), there: true}
	return t, t.earlierResult()
}

// earlierResult returns an error unless the file that is there may be replaced:
// no picture, film or sound file ever is.
func (t *target) earlierResult() error {
	f, err := os.Open(t.path)
	if err != nil {
		return fmt.Errorf("cannot write %s: %w", t.path, err)
	}
	defer f.Close()
	head := make([]byte, 512)
	n, err := io.ReadFull(f, head)
	if err != nil && !errors.Is(err, io.EOF) && !errors.Is(err, io.ErrUnexpectedEOF) {
		return fmt.Errorf("cannot write %s: %w", t.path, err)
	}
	if !isText(head[:n]) {
		return fmt.Errorf("will not write over %s, which is no earlier result: name another file", t.path)
	}
	return nil
}

// protect returns an error where the target is one of the files, by whatever name.
func (t *target) protect(files []string) error {
	if !t.there {
		return nil
	}
	info, err := os.Stat(t.path)
	if err != nil {
		return nil // gone, so that nothing can be written over
	}
	for _, f := range files {
		if other, err := os.Stat(f); err == nil && os.SameFile(info, other) {
			return fmt.Errorf("will not write over %s, which is one of the files that were read: name another file", t.path)
		}
	}
	return nil
}

// isText reports whether a file that begins so is text. The last character may
// be cut.
func isText(head []byte) bool {
	if bytes.IndexByte(head, 0) >= 0 {
		return false
	}
	for range utf8.UTFMax {
		if utf8.Valid(head) {
			return true
		}
		head = head[:len(head)-1]
	}
	return false
}

// write writes the result, to a file whole or not at all.
func (t *target) write(content []byte) error {
	if t.path == "" {
		_, err := t.w.Write(content)
		return err
	}
	// os.CreateTemp would keep the file from everyone else for good.
	unfinished := filepath.Join(filepath.Dir(t.path), fmt.Sprintf(".prestrike-%d.tmp", os.Getpid()))
	f, err := os.OpenFile(unfinished, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
	if err != nil {
		return fmt.Errorf("cannot write %s: %w", t.path, err)
	}
	defer os.Remove(unfinished) // does nothing once it is renamed
	_, err = f.Write(content)
	err = errors.Join(err, f.Sync(), f.Close())
	if err == nil && t.there {
		err = os.Chmod(unfinished, t.mode)
	}
	if err == nil {
		err = os.Rename(unfinished, t.path)
	}
	if err != nil {
		return fmt.Errorf("cannot write %s: %w", t.path, err)
	}
	return nil
}
