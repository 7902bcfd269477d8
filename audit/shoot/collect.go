package shoot

import (
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
)

// A Collection is what was found and read in folders.
type Collection struct {
	Files []*File // pictures, readable or not, by path
	Other int     // files that are no pictures
	// Problems are folders and files that could not be looked at, in plain
	// words, by path. Files among them that are there but cannot be read
	// are in Files too.
	Problems []error
}

// Collect finds the picture files below folders and reads them. Symbolic links
// are followed, each folder once. Progress, where not nil, is called with the
// number of files read and found, never from two goroutines at once. An error
// means that nothing could be collected, or that ctx ended.
func Collect(ctx context.Context, folders []string, progress func(done, total int)) (*Collection, error) {
	c := &Collection{}
	w := walker{seen: map[string]bool{}, collection: c}
	for _, dir := range folders {
		info, err := os.Stat(dir)
		switch {
		case errors.Is(err, fs.ErrNotExist):
			c.problem("%s: no such folder: check the name, and that the card or disk is connected", dir)
			continue
		case err != nil:
			c.problem("%s: %w", dir, plain(err))
			continue
		case !info.IsDir():
			c.problem("%s is a file: give the folder that it lies in", dir)
			continue
		}
		front := ""
		if len(folders) > 1 {
			front = folderName(dir)
			if slices.ContainsFunc(folders, func(o string) bool { return o != dir && folderName(o) == front }) {
				front = filepath.ToSlash(filepath.Clean(dir))
			}
		}
		if err := w.walk(ctx, dir, front); err != nil {
			return nil, err
		}
	}
	if len(c.Problems) >= len(folders) && len(w.found) == 0 {
		return nil, errors.Join(c.Problems...)
	}
	if err := c.read(ctx, w.found, progress); err != nil {
		return nil, err
	}
	slices.SortFunc(c.Files, func(a, b *File) int { return strings.Compare(a.Path, b.Path) })
	return c, nil
}

func (c *Collection) problem(format string, args ...any) {
	c.Problems = append(c.Problems, fmt.Errorf(format, args...))
}

// folderName returns the name that a folder given on the command line goes by.
func folderName(dir string) string {
	if abs, err := filepath.Abs(dir); err == nil {
		dir = abs
	}
	return filepath.Base(dir)
}

// plain takes the operation and the path out of an error of the operating
// system, where the line says both in other words.
func plain(err error) error {
	var p *fs.PathError
	if errors.As(err, &p) {
		return p.Err
	}
	return err
}

type found struct{ path, abs string }

type walker struct {
	seen       map[string]bool // folders, by their real path
	collection *Collection
	found      []found
}

func (w *walker) walk(ctx context.Context, dir, rel string) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	real, err := filepath.EvalSymlinks(dir)
	if err == nil {
		real, err = filepath.Abs(real)
	}
	if err != nil {
		w.collection.problem("%s: the folder cannot be read: %w", dir, plain(err))
		return nil
	}
	if w.seen[real] {
		return nil
	}
	w.seen[real] = true
	entries, err := os.ReadDir(dir)
	if err != nil {
		w.collection.problem("%s: the folder cannot be read: %w", dir, plain(err))
		// What was listed before the error still counts.
	}
	for _, e := range entries {
		name := e.Name()
		if strings.HasPrefix(name, ".") {
			continue
		}
		abs, at := filepath.Join(dir, name), path.Join(rel, name)
		mode := e.Type()
		if mode&fs.ModeSymlink != 0 {
			info, err := os.Stat(abs)
			if err != nil {
				w.collection.problem("%s: the link leads nowhere: %w", abs, plain(err))
				continue
			}
			mode = info.Mode().Type()
		}
		switch {
		case mode.IsDir():
			if ignoredFolders[strings.ToLower(name)] {
				continue
			}
			if err := w.walk(ctx, abs, at); err != nil {
				return err
			}
		case mode.IsRegular() && !Ignored(name):
			w.found = append(w.found, found{at, abs})
		default:
			w.collection.Other++
		}
	}
	return nil
}

// ignoredFolders hold what systems keep for themselves.
var ignoredFolders = map[string]bool{
	"system volume information": true, "$recycle.bin": true, "lost+found": true, "@eadir": true, "__macosx": true,
}

// Ignored reports whether a file of this base name is passed over without a
// look: hidden files, sidecars, databases of thumbnails, video, sound and text.
func Ignored(name string) bool {
	lower := strings.ToLower(name)
	return strings.HasPrefix(name, ".") || lower == "thumbs.db" || otherExtensions[path.Ext(lower)]
}

var otherExtensions = map[string]bool{
	".xmp": true, ".thm": true, ".pp3": true, ".dop": true, ".cos": true, ".on1": true, ".acr": true, ".lrcat": true, ".db": true,
	".mov": true, ".mp4": true, ".m4v": true, ".avi": true, ".mts": true, ".m2ts": true, ".mxf": true, ".mpg": true, ".mpeg": true, ".3gp": true, ".lrv": true, ".mkv": true, ".webm": true,
	".wav": true, ".mp3": true, ".m4a": true, ".aac": true, ".flac": true, ".ogg": true,
	".txt": true, ".md": true, ".csv": true, ".json": true, ".xml": true, ".html": true, ".htm": true, ".pdf": true, ".log": true, ".ini": true, ".toml": true, ".yaml": true, ".yml": true,
	".ctg": true, ".dat": true, ".bin": true, ".bdm": true, ".cpi": true, ".mpl": true, ".bup": true, ".ifo": true, ".inp": true, ".int": true, ".sec": true,
	".zip": true, ".exe": true, ".dll": true, ".go": true, ".py": true, ".sh": true, ".svg": true, ".doc": true, ".docx": true, ".xls": true, ".xlsx": true, ".odt": true, ".part": true, ".tmp": true,
}

// readers is how many files are read at once: enough to keep a card reader or
// a network share busy, few enough not to make a disk seek.
func readers() int { return min(max(runtime.GOMAXPROCS(0), 4), 16) }

func (c *Collection) read(ctx context.Context, list []found, progress func(done, total int)) error {
	files := make([]*File, len(list))
	notPicture := make([]bool, len(list))
	var next, done atomic.Int64
	var mu sync.Mutex
	var wg sync.WaitGroup
	for range readers() {
		wg.Go(func() {
			for ctx.Err() == nil {
				i := int(next.Add(1)) - 1
				if i >= len(list) {
					return
				}
				files[i] = ReadFile(ctx, list[i].abs, list[i].path)
				notPicture[i] = files[i] == nil
				n := int(done.Add(1))
				if progress != nil {
					mu.Lock()
					progress(n, len(list))
					mu.Unlock()
				}
			}
		})
	}
	wg.Wait()
	if err := ctx.Err(); err != nil {
		return err
	}
	for i, f := range files {
		switch {
		case f == nil:
			c.Other++
		case errors.Is(f.Err, fs.ErrNotExist):
			c.problem("%s: the file vanished while the folder was read: run the report again", list[i].abs)
		default:
			if f.Err != nil && isSystem(f.Err) {
				c.problem("%s: the file cannot be read: %w", list[i].abs, plain(f.Err))
			}
			c.Files = append(c.Files, f)
		}
	}
	return nil
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
