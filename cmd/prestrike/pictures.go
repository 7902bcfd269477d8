package main

import (
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"runtime/debug"
	"strings"
	"sync"
	"time"

	"prestrike/audit"
	"prestrike/rules"
)

// measurePictures has the pictures of an audit looked at, with a line that tells
// how far it is, unless quiet. What was found is kept unless noCache says
// otherwise. It returns what looks at them, nil where nothing does.
func measurePictures(ctx context.Context, c *console, quiet, noCache bool, folders []string, opt *audit.Options) *rules.Pictures {
	if opt.Pixels == audit.PixelsOff {
		return nil
	}
	p := &rules.Pictures{All: opt.Pixels == audit.PixelsOn}
	if cache := newPictureCache(c, folders); cache != nil && !noCache {
		p.Cache = cache
	}
	opt.Measure = measureWith(ctx, c, quiet, p)
	return p
}

// measureWith returns what an audit calls to have pictures looked at.
func measureWith(ctx context.Context, c *console, quiet bool, p *rules.Pictures) func([]*audit.Sequence) error {
	return func(q []*audit.Sequence) error {
		if os.Getenv("GOGC") == "" {
			// Unlike what is read of files, a picture is garbage as soon as
			// it is measured. 500 frames of two megapixels take 39 MB in
			// place of the 51 MB that main's setting makes of it, and as long.
			defer debug.SetGCPercent(debug.SetGCPercent(100))
		}
		line := c.newProgress(quiet, "looking at pictures", "looking at pictures")
		line.tellLeft = true
		defer line.end()
		p.Progress = line.tell
		return p.Measure(ctx, q)
	}
}

const (
	// keptFor is how long what was found is kept without being asked for.
	keptFor = 60 * 24 * time.Hour
	// longestKept bounds what is read back: 100,000 frames.
	longestKept = 32 << 20
)

// A pictureCache is a folder of small files in the user's cache folder. It is
// safe to delete at any time. Nothing that goes wrong with it is told: the
// pictures are looked at again.
type pictureCache struct {
	folder string
	tidy   sync.Once
}

// newPictureCache returns nil where there is no cache folder, or where it lies in
// an audited one.
func newPictureCache(c *console, folders []string) *pictureCache {
	if c.cacheFolder == nil {
		return nil
	}
	base, err := c.cacheFolder()
	if err != nil {
		return nil
	}
	folder := filepath.Join(base, "prestrike", "pictures")
	for _, audited := range folders {
		if within(folder, audited) {
			return nil
		}
	}
	return &pictureCache{folder: folder}
}

// within reports whether a path lies in a folder or cannot be told from it. The
// path need not exist.
func within(path, folder string) bool {
	a, errA := filepath.Abs(path)
	b, errB := filepath.Abs(folder)
	if errA != nil || errB != nil {
		return true
	}
	if real, err := filepath.EvalSymlinks(b); err == nil {
		b = real
	}
	for parent := a; ; parent = filepath.Dir(parent) {
		if real, err := filepath.EvalSymlinks(parent); err == nil {
			a = filepath.Join(real, strings.TrimPrefix(a, parent))
			break
		}
		if parent == filepath.Dir(parent) {
			break
		}
	}
	rel, err := filepath.Rel(b, a)
	return err != nil && filepath.VolumeName(a) == filepath.VolumeName(b) ||
		err == nil && rel != ".." && !strings.HasPrefix(rel, ".."+string(filepath.Separator))
}

func (c *pictureCache) path(key string) string { return filepath.Join(c.folder, key+".json") }

// Get implements rules.PictureCache.
func (c *pictureCache) Get(key string) ([]byte, bool) {
	f, err := os.Open(c.path(key))
	if err != nil {
		return nil, false
	}
	defer f.Close() // nothing was written that could get lost
	text, err := io.ReadAll(io.LimitReader(f, longestKept))
	if err != nil {
		return nil, false
	}
	now := time.Now()
	_ = os.Chtimes(c.path(key), now, now) // it was asked for
	return text, true
}

// Put implements rules.PictureCache.
func (c *pictureCache) Put(key string, text []byte) {
	if os.MkdirAll(c.folder, 0o700) != nil {
		return
	}
	c.tidy.Do(c.removeOld)
	if err := c.write(key, text); err != nil {
		_ = os.Remove(c.path(key)) // rather nothing than half of it
	}
}

// write writes beside the place and moves there: another run may read it.
func (c *pictureCache) write(key string, text []byte) error {
	f, err := os.CreateTemp(c.folder, key+".*.part")
	if err != nil {
		return err
	}
	_, err = f.Write(text)
	if err = errors.Join(err, f.Close()); err == nil {
		err = os.Rename(f.Name(), c.path(key))
	}
	if err != nil {
		_ = os.Remove(f.Name())
	}
	return err
}

func (c *pictureCache) removeOld() {
	entries, err := os.ReadDir(c.folder)
	if err != nil {
		return
	}
	for _, e := range entries {
		if info, err := e.Info(); err == nil && info.Mode().IsRegular() && time.Since(info.ModTime()) > keptFor {
			_ = os.Remove(filepath.Join(c.folder, e.Name()))
		}
	}
}
