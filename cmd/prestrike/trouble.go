package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"syscall"
)

// systemWords takes call and path out of an error of the system, where the sentence
// around it names the file.
func systemWords(err error) error {
	if number, ok := errors.AsType[syscall.Errno](err); ok {
		return number
	}
	if p, ok := errors.AsType[*fs.PathError](err); ok {
		return p.Err
	}
	if l, ok := errors.AsType[*os.LinkError](err); ok {
		return l.Err
	}
	return err
}

// notWritten reports that a file or folder cannot be written and what to do: where it
// is not permitted, and otherwise. A full disk asks for the same everywhere.
func notWritten(path string, err error, otherwise, notPermitted string) error {
	what := otherwise
	switch {
	case errors.Is(err, fs.ErrPermission):
		what = notPermitted
	case errors.Is(err, syscall.ENOSPC):
		what = "make room on the disk, or name a place on another"
	}
	return fmt.Errorf("cannot write %s: %w: %s", path, systemWords(err), what)
}
