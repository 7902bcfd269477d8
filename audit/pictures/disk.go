package pictures

import (
	"prestrike/audit/safefile"

	"errors"
	"io"
	"os"
	"path/filepath"
	"sync"
	"time"
)

const (
	// keptFor is how long what was found is kept without being asked for.
	keptFor = 60 * 24 * time.Hour
	// longestKept bounds what is read back: 100,000 frames.
	longestKept = 32 << 20
)

// A Disk is a folder of small files. It is
// safe to delete at any time. Nothing that goes wrong with it is told: the
// pictures are looked at again.
type Disk struct {
	folder string
	tidy   sync.Once
}

// NewDisk returns a cache in a folder; nil where the folder lies in an audited one.
// The folder is made when something is kept.
func NewDisk(folder string, audited []string) *Disk {
	for _, a := range audited {
		if safefile.Within(folder, a) {
			return nil
		}
	}
	return &Disk{folder: folder}
}

func (c *Disk) path(key string) string { return filepath.Join(c.folder, key+".json") }

// Get implements [Cache].
func (c *Disk) Get(key string) ([]byte, bool) {
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
// Put implements [Cache].
func (c *Disk) Put(key string, text []byte) {
	if os.MkdirAll(c.folder, 0o700) != nil {
		return
	}
	c.tidy.Do(c.removeOld)
	if err := c.write(key, text); err != nil {
		_ = os.Remove(c.path(key)) // rather nothing than half of it
	}
}

// write writes beside the place and moves there: another run may read it.
func (c *Disk) write(key string, text []byte) error {
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

func (c *Disk) removeOld() {
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
