package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"prestrike/audit/config"
	"prestrike/audit/report"
	"prestrike/audit/safefile"
	"prestrike/audit/shoot"
	"prestrike/exifread"
)

// A target is where a result goes.
type target struct {
	path      string // of a regular file, links resolved; empty for what only takes a stream
	w         io.Writer
	overwrite bool // whatever is there may be replaced
}

// openTarget finds where a result can go, before any work is done. An empty
// name and "-" mean standard output. Folders are those that are audited.
func openTarget(c *console, o *output, folders []string) (*target, error) {
	name := o.file
	if name == "" || name == "-" {
		return &target{w: c.out}, nil
	}
	t := &target{path: name, overwrite: o.overwrite}
	resolved, err := filepath.EvalSymlinks(name)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		if _, err := os.Lstat(name); err == nil {
			return nil, fmt.Errorf("cannot write %s: it is a link to nowhere: name another file", name)
		}
		if info, err := os.Stat(filepath.Dir(name)); err != nil || !info.IsDir() {
			return nil, fmt.Errorf("cannot write %s: there is no folder %s: make it first, or name a file in another folder", name, filepath.Dir(name))
		}
	case err != nil:
		return nil, t.failed(err)
	default:
		t.path = resolved
		info, err := os.Stat(resolved)
		switch {
		case err != nil:
			return nil, t.failed(err)
		case info.IsDir():
			return nil, fmt.Errorf("cannot write %s: it is a folder: name a file in it", name)
		case !info.Mode().IsRegular(): // a device or a pipe
			w, err := os.OpenFile(resolved, os.O_WRONLY, 0)
			if err != nil {
				return nil, t.failed(err)
			}
			return &target{w: w}, nil
		}
	}
	if err := t.ofShoot(folders); err != nil {
		return nil, err
	}
	return t, t.replaceable()
}

// ofShoot returns an error where the name is one of a picture, a sidecar or a
// configuration: written there, a result would be taken for one. That holds where
// no such file is there yet, too.
func (t *target) ofShoot(folders []string) error {
	base := strings.ToLower(filepath.Base(t.path))
	ext := filepath.Ext(base)
	inside := slices.ContainsFunc(folders, func(f string) bool { return safefile.Within(t.path, f) })
	what := ""
	switch {
	case base == config.Name || inside && ext == ".toml":
		what = "a configuration"
	case inside && exifread.PictureExtension(base):
		what = "a picture"
	case inside && (shoot.Sidecar(base) || ext == ".thm"): // the latter beside films
		what = "a sidecar"
	default:
		return nil
	}
	return fmt.Errorf("will not write %s, which is the name of %s: name a file that ends in .txt or .json", t.path, what)
}

// endBytes is how much of the beginning and of the end of a file is inspected.
const endBytes = 64 << 10

// replaceable returns an error unless there is no file yet, or one that may be
// replaced: an empty one, an earlier result, any where the user asked for it.
func (t *target) replaceable() error {
	f, err := safefile.Open(t.path)
	switch {
	case errors.Is(err, fs.ErrNotExist), err == nil && t.overwrite:
		if err == nil {
			_ = f.Close() // nothing was written
		}
		return nil
	case err != nil:
		return t.failed(err)
	}
	defer f.Close() // nothing was written that could get lost
	info, err := f.Stat()
	if err != nil {
		return t.failed(err)
	}
	begin, err := io.ReadAll(io.NewSectionReader(f, 0, endBytes))
	if err != nil {
		return t.failed(err)
	}
	end, err := io.ReadAll(io.NewSectionReader(f, max(0, info.Size()-endBytes), endBytes))
	if err != nil {
		return t.failed(err)
	}
	if info.Size() > 0 && !report.IsReport(begin, end) && !framesBegin.Match(begin) && !copiesBegin.Match(begin) && !slatesBegin.Match(begin) {
		return fmt.Errorf("will not write over %s, which is no earlier result: name another file, or write --overwrite to replace it", t.path)
	}
	return nil
}

// protect returns an error where the target is one of the files, by whatever name.
func (t *target) protect(files []string) error {
	if t.path == "" {
		return nil
	}
	info, err := os.Stat(t.path)
	if err != nil {
		return nil // there is none, so that nothing can be written over
	}
	for _, f := range files {
		if other, err := os.Stat(f); err == nil && os.SameFile(info, other) {
			return fmt.Errorf("will not write over %s, which is one of the files that were read: name another file", t.path)
		}
	}
	return nil
}

// write writes the result, to a file whole or not at all.
func (t *target) write(content []byte) error {
	return t.writeFrom(func(w io.Writer) error {
		_, err := w.Write(content)
		return err
	})
}

// writeFrom is write for a result that comes piece by piece.
func (t *target) writeFrom(write func(io.Writer) error) error {
	if t.path == "" {
		return write(t.w)
	}
	if err := t.replaceable(); err != nil { // it may have come since
		return err
	}
	folder, err := os.OpenRoot(filepath.Dir(t.path))
	if err != nil {
		return t.failed(err)
	}
	defer folder.Close()
	safefile.Sweep(folder)
	var mode fs.FileMode
	if info, err := os.Stat(t.path); err == nil {
		mode = info.Mode().Perm()
	}
	if err := safefile.WriteFrom(folder, filepath.Base(t.path), mode, write); err != nil {
		return t.failed(err)
	}
	return nil
}

// failed reports what to do about an error of the system.
func (t *target) failed(err error) error {
	return notWritten(t.path, err, "name a file in another folder", "name a file in a folder that you may write to")
}
