package copies

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
)

// A File is one regular file below a folder.
type File struct {
	Path string // from the top of its folder, with forward slashes; hostile
	Size int64  // bytes
	Kind Kind

	Sum    Sum   // of the content; valid where Read
	Read   bool  // the whole content was read
	Err    error // why it was not
	Cached bool  // it may have been read from the computer's memory and not from the medium
	Kept   bool  // Sum is of an earlier run that was stopped

	modified int64 // nanoseconds since 1970
	id       identity
}

// A Sum is the SHA-256 of a file.
type Sum [32]byte

// A Folder is a card or a copy, with everything in it.
type Folder struct {
	Path     string   // as it was given
	Files    []*File  // by path
	Links    []string // symbolic links, which are not followed
	Special  []string // pipes, devices and sockets, which are not opened
	Linked   int      // further names of files that are in the list already (hard links)
	Problems []error  // folders that could not be read, in plain words
	Disk     string   // names the device that it lies on; empty where that is not known

	root  string // absolute, links resolved
	mount string // names the mount as long as it lasts; empty where that is not known
	dev   uint64 // of the folder itself
}

// An Absent error means that a folder cannot be compared.
type Absent struct {
	Path    string
	Problem string
}

func (e *Absent) Error() string { return e.Path + ": " + e.Problem }

// List lists what is in a folder, without opening any file.
func List(ctx context.Context, dir string) (*Folder, error) {
	info, err := os.Stat(dir)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, &Absent{dir, "no such folder: check the name, and that the card or disk is connected"}
	case err != nil:
		return nil, &Absent{dir, plain(err).Error()}
	case !info.IsDir():
		return nil, &Absent{dir, "this is a file: name the folder that it lies in"}
	}
	root, err := filepath.EvalSymlinks(dir)
	if err == nil {
		root, err = filepath.Abs(root)
	}
	if err != nil {
		return nil, &Absent{dir, plain(err).Error()}
	}
	f := &Folder{Path: dir, root: root, Disk: diskOf(root), mount: mountOf(root)}
	f.dev = identify(root, info).dev
	if err := f.walk(ctx, root, "", Content); err != nil {
		return nil, err
	}
	return f, nil
}

func (f *Folder) walk(ctx context.Context, dir, rel string, kind Kind) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	entries, err := os.ReadDir(dir)
	if err != nil {
		f.problem("%s: the folder cannot be read: %w", filepath.Join(f.Path, filepath.FromSlash(rel)), plain(err))
		// What was listed before the error still counts.
	}
	for _, e := range entries {
		at := path.Join(rel, e.Name())
		switch mode := e.Type(); {
		case mode.IsDir():
			below := max(kind, folderKind(at))
			if below == passedOver {
				continue
			}
			if err := f.walk(ctx, filepath.Join(dir, e.Name()), at, below); err != nil {
				return err
			}
		case mode&fs.ModeSymlink != 0:
			f.Links = append(f.Links, at)
		case !mode.IsRegular():
			f.Special = append(f.Special, at)
		default:
			f.add(e, filepath.Join(dir, e.Name()), at, kind)
		}
	}
	return nil
}

func (f *Folder) add(e fs.DirEntry, abs, rel string, kind Kind) {
	own := fileKind(e.Name())
	if own == passedOver {
		return
	}
	if kind == Housekeeping {
		own = Housekeeping
	}
	info, err := e.Info()
	if err != nil {
		f.problem("%s: the file cannot be examined: %w", filepath.Join(f.Path, filepath.FromSlash(rel)), plain(err))
		return
	}
	f.Files = append(f.Files, &File{
		Path: rel, Size: info.Size(), Kind: own,
		modified: info.ModTime().UnixNano(), id: identify(abs, info),
	})
}

func (f *Folder) problem(format string, args ...any) {
	f.Problems = append(f.Problems, fmt.Errorf(format, args...))
}

// abs returns where a file of the folder is.
func (f *Folder) abs(file *File) string { return filepath.Join(f.root, filepath.FromSlash(file.Path)) }

// plain takes the operation and the path out of an error of the operating
// system, where the line has both in other words.
func plain(err error) error {
	if p, ok := errors.AsType[*fs.PathError](err); ok {
		return p.Err
	}
	return err
}

// An identity distinguishes one file from every other, whatever its names.
type identity struct {
	known    bool
	dev, ino uint64
	changed  int64 // when the file or its entry last changed, nanoseconds since 1970; 0 where not known
}

// key is what an identity is looked up by.
type key struct{ dev, ino uint64 }

func (id identity) key() key { return key{id.dev, id.ino} }
