package shoot

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"sync/atomic"

	"prestrike/exifread"

	"golang.org/x/sync/errgroup"
)

// A Collection is what was found and read in folders.
type Collection struct {
	Files []*File // pictures, readable or not, by path
	Other int     // files that are no pictures
	// Unfinished are the paths, as in reports, of copies of frames that are not
	// complete: under a copier's name, and no file of the last name is there.
	Unfinished []string
	// Problems are folders and files that could not be inspected, in plain
	// words, by path. Files among them that are there but cannot be read
	// are in Files too. Those that Collect met are each a [Problem].
	Problems []error
}

// Collect finds the picture files below folders and reads them. Progress, where
// not nil, is called with the number of files read and found, never from two
// goroutines at once. An error means that nothing could be collected, or that
// ctx ended.
//
// A symbolic link to a file counts as that file. One to a folder is not entered:
// where it leads out of the given folders it is among the problems. The given
// folders themselves may be links. Devices, pipes and sockets are other files,
// and never opened.
func Collect(ctx context.Context, folders []string, progress func(done, total int)) (*Collection, error) {
	return CollectBy(ctx, folders, ReadFile, progress)
}

// CollectBy is [Collect] with another way to read a file, such as one that
// knows some files already. It is called as ReadFile is, from several
// goroutines at once.
func CollectBy(ctx context.Context, folders []string, read func(ctx context.Context, abs, rel string) *File, progress func(done, total int)) (*Collection, error) {
	c := &Collection{}
	w := walker{seen: map[string]bool{}, collection: c}
	for _, dir := range folders {
		if real, err := realPath(dir); err == nil {
			w.roots = append(w.roots, real)
		}
	}
	walked := make([]bool, len(folders)) // without a problem
	for i, dir := range folders {
		info, err := os.Stat(dir)
		switch {
		case errors.Is(err, fs.ErrNotExist):
			c.problem(NotFound, dir, "%s: no such folder: check the name, and that the card or disk is connected", dir)
			continue
		case err != nil:
			c.problem(NotRead, dir, "%s: %w", dir, plain(err))
			continue
		case !info.IsDir():
			c.problem(NotRead, dir, "%s is a file: give the folder that it lies in", dir)
			continue
		}
		front := ""
		if len(folders) > 1 {
			front = folderName(dir)
			if slices.ContainsFunc(folders, func(o string) bool { return o != dir && folderName(o) == front }) {
				front = filepath.ToSlash(filepath.Clean(dir))
			}
		}
		before := len(c.Problems) + len(c.Unfinished)
		if err := w.walk(ctx, dir, front); err != nil {
			return nil, err
		}
		walked[i] = len(c.Problems)+len(c.Unfinished) == before
	}
	if len(c.Problems) >= len(folders) && len(w.found) == 0 {
		return nil, errors.Join(c.Problems...)
	}
	if err := c.read(ctx, w.found, read, progress); err != nil {
		return nil, err
	}
	if len(c.Files) > 0 {
		w.empty(folders, walked)
	}
	slices.SortFunc(c.Files, func(a, b *File) int { return strings.Compare(a.Path, b.Path) })
	return c, nil
}

func (c *Collection) problem(kind ProblemKind, path, format string, args ...any) {
	c.Problems = append(c.Problems, &Problem{kind, filepath.ToSlash(path), fmt.Errorf(format, args...)})
}

// folderName returns the name that a folder given on the command line goes by.
func folderName(dir string) string {
	if abs, err := filepath.Abs(dir); err == nil {
		dir = abs
	}
	return filepath.Base(dir)
}

// plain takes the operation and the path out of an error of the operating
// system, where the line has both in other words.
func plain(err error) error {
	var p *fs.PathError
	if errors.As(err, &p) {
		return p.Err
	}
	return err
}

type found struct {
	path, abs string
	folder    string // the real path of the folder that it lies in
	picture   bool   // once it was read
}

type walker struct {
	roots      []string        // the real paths of the given folders
	seen       map[string]bool // folders, by their real path
	collection *Collection
	found      []found
}

func (w *walker) walk(ctx context.Context, dir, rel string) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	real, err := realPath(dir)
	if err != nil {
		w.collection.problem(NotRead, cmp.Or(rel, dir), "%s: the folder cannot be read: %w", dir, plain(err))
		return nil
	}
	if w.seen[real] {
		return nil
	}
	w.seen[real] = true
	entries, err := os.ReadDir(dir)
	if err != nil {
		w.collection.problem(NotRead, cmp.Or(rel, dir), "%s: the folder cannot be read: %w", dir, plain(err))
		// What was listed before the error still counts.
	}
	w.found = slices.Grow(w.found, len(entries))
	// Joined once for the folder: a name in it is joined by being added.
	absFront := strings.TrimSuffix(filepath.Join(dir, "x"), "x")
	front := strings.TrimSuffix(path.Join(rel, "x"), "x")
	for _, e := range entries {
		name := e.Name()
		if hidden(name) {
			continue
		}
		abs, at := absFront+name, front+name
		mode := e.Type()
		if mode&fs.ModeSymlink != 0 {
			info, err := os.Stat(abs)
			if err != nil {
				kind := NotFound
				if PassedOver(name, false) {
					kind = LinkElsewhere // no frame is missed
				}
				w.collection.problem(kind, at, "%s: the link leads nowhere: %w", abs, plain(err))
				continue
			}
			mode = info.Mode().Type()
			if mode.IsDir() {
				w.linked(abs, at)
				continue
			}
		}
		switch {
		case mode.IsDir():
			if PassedOver(name, true) {
				w.passedOver(entries, name, at)
				continue
			}
			if err := w.walk(ctx, abs, at); err != nil {
				return err
			}
		case mode.IsRegular() && !PassedOver(name, false):
			w.found = append(w.found, found{path: at, abs: abs, folder: real})
		case mode.IsRegular() && w.passedOver(entries, name, at):
		default:
			w.collection.Other++
		}
	}
	return nil
}

// passedOver notes an entry that is an unfinished copy of a frame, and reports
// whether it is one. Where the frame lies beside it, the copy was finished.
func (w *walker) passedOver(entries []fs.DirEntry, name, at string) bool {
	frame := UnfinishedFrame(name)
	if frame == "" {
		return false
	}
	if slices.ContainsFunc(entries, func(e fs.DirEntry) bool { return strings.EqualFold(e.Name(), frame) }) {
		return false
	}
	w.collection.Unfinished = append(w.collection.Unfinished, path.Join(path.Dir(at), frame))
	return true
}

// empty notes the given folders, of those walked without a problem, in which there
// is no picture. A folder that lies in another one has its pictures all the same.
func (w *walker) empty(folders []string, walked []bool) {
	if len(folders) < 2 {
		return
	}
	for i, dir := range folders {
		real, err := realPath(dir)
		if !walked[i] || err != nil || slices.ContainsFunc(w.found, func(f found) bool { return f.picture && inside(f.folder, real) }) {
			continue
		}
		w.collection.problem(Empty, dir, "%s: no picture files there: check the name, and that the card or disk is connected", dir)
	}
}

// linked notes a link to a folder, unless the folder lies in a given one and is
// read in its own place, or would not be entered under this name either.
func (w *walker) linked(abs, at string) {
	if PassedOver(path.Base(at), true) {
		return
	}
	if err := notFollowed(abs, w.roots); err != nil {
		w.collection.problem(LinkElsewhere, at, "%w", err)
	}
}

// NotFollowed reports of a link to a folder, met below the folder root, that it is
// not entered. It returns nil where the link leads to what is below root anyway.
func NotFollowed(link, root string) error {
	real, err := realPath(root)
	if err != nil {
		return nil // then there is more to report than this
	}
	return notFollowed(link, []string{real})
}

func notFollowed(link string, roots []string) error {
	real, err := realPath(link)
	if err == nil && slices.ContainsFunc(roots, func(root string) bool { return inside(real, root) }) {
		return nil
	}
	return fmt.Errorf("%s is a link to another folder, and is not followed: to have the frames there audited, name that folder", link)
}

// realPath returns the absolute path without links.
func realPath(dir string) (string, error) {
	real, err := filepath.EvalSymlinks(dir)
	if err != nil {
		return "", err
	}
	return filepath.Abs(real)
}

// inside reports whether a path is a folder or lies in it; both are absolute.
func inside(path, folder string) bool {
	rel, err := filepath.Rel(folder, path)
	return err == nil && filepath.IsLocal(rel)
}

// readers is how many files are read at once: enough to keep a card reader or
// a network share busy, few enough not to make a disk seek.
func readers() int { return min(max(runtime.GOMAXPROCS(0), 4), 16) }

func (c *Collection) read(ctx context.Context, list []found, read func(ctx context.Context, abs, rel string) *File, progress func(done, total int)) error {
	files := make([]*File, len(list))
	notPicture := make([]bool, len(list))
	var next, done atomic.Int64
	var mu sync.Mutex
	tell := func(done int) {
		mu.Lock()
		defer mu.Unlock()
		progress(done, len(list))
	}
	group, within := errgroup.WithContext(ctx)
	for range readers() {
		group.Go(func() (failed error) {
			defer exifread.Recovered(&failed)
			for within.Err() == nil {
				i := int(next.Add(1)) - 1
				if i >= len(list) {
					break
				}
				files[i] = guarded(ctx, read, list[i])
				notPicture[i] = files[i] == nil
				n := int(done.Add(1))
				if progress != nil {
					tell(n)
				}
			}
			return nil
		})
	}
	failed := group.Wait()
	if err := cmp.Or(ctx.Err(), failed); err != nil {
		return err
	}
	for i, f := range files {
		list[i].picture = f != nil
		switch {
		case f == nil:
			c.Other++
		case errors.Is(f.Err, fs.ErrNotExist):
			c.problem(NotFound, list[i].path, "%s: the file vanished while the folder was read: run the report again", list[i].abs)
		default:
			if f.Err != nil && isSystem(f.Err) {
				c.problem(HasRule, list[i].path, "%s: the file cannot be read: %w", list[i].abs, plain(f.Err))
			}
			c.Files = append(c.Files, f)
		}
	}
	return nil
}

// guarded reads one file. Where that panics, no picture can be read from the file: the
// others are read on.
func guarded(ctx context.Context, read func(ctx context.Context, abs, rel string) *File, at found) (file *File) {
	var err error
	defer func() {
		if err != nil {
			file = &File{Path: filepath.ToSlash(at.path), Abs: at.abs, Meta: &exifread.Metadata{}, Err: err}
		}
	}()
	defer exifread.Recovered(&err)
	return read(ctx, at.abs, at.path)
}

// isSystem reports whether an error came from the operating system rather than
// from the content of the file.
func isSystem(err error) bool {
	var p *fs.PathError
	return errors.As(err, &p)
}

// ReadFile reads one file for an audit; rel is its path in reports. It returns
// nil where the file is no picture: neither by content nor by name.
func ReadFile(ctx context.Context, abs, rel string) *File {
	return guarded(ctx, readFile, found{abs: abs, path: rel})
}

func readFile(ctx context.Context, abs, rel string) *File {
	m, err := exifread.ReadFile(ctx, abs)
	failed, programFailed := errors.AsType[*exifread.PanicError](err)
	if err != nil && !isSystem(err) && !programFailed && !exifread.PictureExtension(rel) {
		var unsupported *exifread.UnsupportedError
		if errors.Is(err, exifread.ErrNotPicture) || errors.As(err, &unsupported) || m == nil || m.Format == exifread.FormatUnknown {
			return nil
		}
	}
	if m == nil {
		m = &exifread.Metadata{}
	}
	// Reports name the file themselves.
	if damaged, ok := errors.AsType[*exifread.FormatError](err); ok {
		err = damaged
	} else if unsupported, ok := errors.AsType[*exifread.UnsupportedError](err); ok {
		err = unsupported
	} else if errors.Is(err, exifread.ErrNotPicture) {
		err = exifread.ErrNotPicture
	} else if programFailed {
		err = failed
	}
	return &File{Path: filepath.ToSlash(rel), Abs: abs, Size: m.Size, Meta: m, Err: err}
}
