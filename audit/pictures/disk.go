package pictures

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"sync"
	"time"

	"prestrike/audit/safefile"
)

const (
	// keptFor is how long what was found is kept without being asked for.
	keptFor = 60 * 24 * time.Hour
	// renewedAfter is the age from which what is asked for is written again: its
	// age counts from then. The time of the file itself is never set, as the file
	// may have another name elsewhere.
	renewedAfter = keptFor / 2
	// longestKept bounds what is read back: 100,000 frames.
	longestKept = 32 << 20
)

// A Disk keeps what was found in a folder of small files, one a sequence. It may be
// deleted at any time. Where a file cannot be written or read, the pictures are
// inspected again.
//
// Only files of its own making are touched: by name, and by how they begin where one
// is removed or replaced. No link is followed below the user's cache folder. A folder
// that holds anything else is left alone.
type Disk struct {
	base   string           // the user's cache folder
	remark func(error)      // nil where nothing is reported
	now    func() time.Time // time.Now, but for tests

	mu      sync.Mutex
	foreign bool // it is left alone
	looked  bool // the folder was there and is our own
	swept   bool
}

// diskFolders are those below the user's cache folder, the last one for the files.
var diskFolders = []string{"prestrike", "pictures"}

// NewDisk returns a cache in the user's cache folder; nil where that lies in an
// audited folder. Remark, where not nil, is called once with why a folder is left alone. The
// folders are made when something is kept.
func NewDisk(base string, audited []string, remark func(error)) *Disk {
	d := &Disk{base: base, remark: remark, now: time.Now}
	for _, a := range audited {
		if safefile.Within(d.folder(), a) {
			return nil
		}
	}
	return d
}

func (d *Disk) folder() string {
	return filepath.Join(append([]string{d.base}, diskFolders...)...)
}

// Get implements [Cache].
func (d *Disk) Get(key string) ([]byte, bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	root := d.open(false)
	if root == nil {
		return nil, false
	}
	defer root.Close()
	f, err := safefile.OpenIn(root, key+entryEnd)
	if err != nil {
		return nil, false
	}
	defer f.Close() // nothing was written that could get lost
	text, err := safefile.ReadAll(f, longestKept)
	if err != nil || !ours(text) {
		return nil, false
	}
	if info, err := f.Stat(); err == nil && d.now().Sub(info.ModTime()) > renewedAfter {
		_ = safefile.Write(root, key+entryEnd, text, 0o600) // else it is inspected again some day
	}
	return text, true
}

// Put implements [Cache].
func (d *Disk) Put(key string, text []byte) {
	d.mu.Lock()
	defer d.mu.Unlock()
	root := d.open(true)
	if root == nil {
		return
	}
	defer root.Close()
	if !d.swept {
		d.swept = true
		d.removeOld(root)
	}
	if name := key + entryEnd; d.ownEntry(root, name) {
		_ = safefile.Write(root, name, text, 0o600) // else the pictures are inspected again
	}
}

// ownEntry reports whether there is no file of the name, or one that [Disk.Put] has
// written, or an empty one.
func (d *Disk) ownEntry(root *os.Root, name string) bool {
	f, err := safefile.OpenIn(root, name)
	if errors.Is(err, fs.ErrNotExist) {
		return true
	}
	if err != nil {
		return false
	}
	defer f.Close() // nothing was written that could get lost
	head := make([]byte, headBytes)
	n, _ := f.ReadAt(head, 0) // what could not be read is not ours
	info, err := f.Stat()
	return err == nil && (info.Size() == 0 || ours(head[:n]))
}

// headBytes are enough to know what was kept.
const headBytes = 128

// ours reports whether a file that begins so was written by encode, or by an earlier
// version, which began with the checksum.
func ours(head []byte) bool {
	return bytes.HasPrefix(head, []byte(kept)) || earlier.Match(head)
}

var earlier = regexp.MustCompile(`^[0-9a-f]{64}\n\{"Judgement":`)

const entryEnd = ".json"

// Names of our own making; parts are what earlier versions left unfinished.
var (
	entryName = regexp.MustCompile(`^[0-9a-f]{64}\.json$`)
	partName  = regexp.MustCompile(`^[0-9a-f]{64}\.[0-9]+\.part$`)
)

// systemNames are files that systems put into any folder that is inspected.
var systemNames = map[string]bool{".DS_Store": true, "Thumbs.db": true, "desktop.ini": true}

// open returns the folder, or nil where there is none or it is left alone. With create
// it makes those that are lacking.
func (d *Disk) open(create bool) *os.Root {
	if d.foreign {
		return nil
	}
	if create {
		if err := os.MkdirAll(d.base, 0o700); err != nil {
			return nil
		}
	}
	root, err := os.OpenRoot(d.base)
	if err != nil {
		return nil
	}
	for _, name := range diskFolders {
		below := d.below(root, name, create)
		_ = root.Close() // nothing was written
		if root = below; root == nil {
			return nil
		}
	}
	if d.looked {
		return root
	}
	if name := foreignIn(root); name != "" {
		d.leave(fmt.Errorf("%s holds %s, which this program did not write: the folder is not used, and pictures are inspected again; move that file away", d.folder(), name))
		_ = root.Close() // nothing was written
		return nil
	}
	d.looked = true
	return root
}

// below returns a folder in a folder, but never what a link leads to.
func (d *Disk) below(root *os.Root, name string, create bool) *os.Root {
	info, err := root.Lstat(name)
	if errors.Is(err, fs.ErrNotExist) && create {
		_ = root.Mkdir(name, 0o700) // another run may have been faster
		info, err = root.Lstat(name)
	}
	if err != nil {
		return nil
	}
	if !info.IsDir() {
		d.leave(fmt.Errorf("%s is not a folder, or is a link: it is not used, and pictures are inspected again; move it away", filepath.Join(root.Name(), name)))
		return nil
	}
	below, err := root.OpenRoot(name)
	if err != nil {
		return nil
	}
	if opened, err := below.Stat("."); err != nil || !os.SameFile(info, opened) { // a link took its place
		_ = below.Close() // nothing was written
		return nil
	}
	return below
}

// leave has the folder left alone from now on, and reports why.
func (d *Disk) leave(why error) {
	d.foreign = true
	if d.remark != nil {
		d.remark(why)
	}
}

// foreignIn returns the name of something in the folder that is not of our making;
// empty where there is none.
func foreignIn(root *os.Root) string {
	for _, name := range namesIn(root) {
		if systemNames[name] {
			continue
		}
		if !entryName.MatchString(name) && !partName.MatchString(name) && !safefile.Unfinished(name) {
			return name
		}
		if info, err := root.Lstat(name); err == nil && !info.Mode().IsRegular() {
			return name
		}
	}
	return ""
}

func namesIn(root *os.Root) []string {
	dir, err := root.Open(".")
	if err != nil {
		return nil
	}
	defer dir.Close()                // nothing was written
	names, _ := dir.Readdirnames(-1) // those before an error are names too
	return names
}

// removeOld removes what was not asked for in a long time, and what runs that were
// ended left unfinished.
func (d *Disk) removeOld(root *os.Root) {
	safefile.Sweep(root)
	for _, name := range namesIn(root) {
		if !entryName.MatchString(name) && !partName.MatchString(name) {
			continue
		}
		info, err := root.Lstat(name)
		if err == nil && d.now().Sub(info.ModTime()) > keptFor && d.ownEntry(root, name) {
			_ = root.Remove(name) // else the next run may
		}
	}
}
