package watch

import (
	"context"
	"errors"
	"fmt"
	"hash/maphash"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"syscall"
	"time"

	"github.com/fsnotify/fsnotify"
)

const (
	// racy is how long after a folder's modification time was first seen a
	// listing may still miss a change that leaves that time the same: the
	// clock of FAT ticks every 2 s.
	racy = 3 * time.Second
)

var (
	errNoDisk  = errors.New("the disk is no longer there")
	errTooMany = fmt.Errorf("more than %d files, each of which would need an open descriptor", fileLimit)
)

// A system is what a watch needs of the operating system; tests replace parts.
type system struct {
	stat, lstat func(string) (fs.FileInfo, error)
	readDir     func(string) ([]fs.DirEntry, error)
	silent      func(dir string) string // the file system's name if it sends no events, else ""
	addWatch    func(*fsnotify.Watcher, string) error
	stall       func() // called before each event is read
}

func realSystem() system {
	return system{
		stat:     os.Stat,
		lstat:    os.Lstat,
		readDir:  os.ReadDir,
		silent:   silent,
		addWatch: (*fsnotify.Watcher).Add,
		stall:    func() {},
	}
}

// statFile is stat for a file, following links; folders and devices are no files.
func (sys system) statFile(path string) (stamp, error) {
	info, err := sys.stat(path)
	if err != nil {
		return stamp{}, err
	}
	if !info.Mode().IsRegular() {
		return stamp{}, &fs.PathError{Op: "stat", Path: path, Err: fs.ErrNotExist}
	}
	return stampOf(info), nil
}

// A tree keeps the folders: it watches and lists them, and informs the settler
// what it finds.
type tree struct {
	root  string
	opts  Options
	sys   system
	skip  func(name string, folder bool) bool
	inbox *inbox
	news  chan<- news
	guard func() // deferred by every goroutine

	ctx     context.Context // of run
	dirs    map[string]*dir
	links   map[string]bool   // links to folders, reported once
	events  *fsnotify.Watcher // nil when there are none, or the root is lost
	closed  chan struct{}     // closed when nobody reads events any more
	deaf    bool              // events are of no use, or not asked for
	trust   bool              // folders' modification times show changes
	initial bool              // during the first walk
	silent  bool              // some folders send no events
	files   int               // in all folders
	// listings counts the listings made, listed those until the last check.
	listings, listed int
	scanned          time.Time // when all folders were last listed
	seed             maphash.Seed
}

// A dir is a folder that was found.
type dir struct {
	info    fs.FileInfo         // which folder it is; nil if it never could be read
	subs    map[string]struct{} // folders in it, by name
	files   int                 // number of files in it
	names   uint64              // hash of all names in it
	changed time.Time           // when its modification time was first seen
	listed  time.Time           // when it was last listed
	silent  bool                // sends no events
	lost    bool                // cannot be read for now
}

// A mode is how thoroughly to inspect a folder that is known.
type mode int

const (
	look  mode = iota // for being the same folder; list it only if polled and changed
	list              // list it in any case
	renew             // put the watch on it anew and list it
)

func (t *tree) run(ctx context.Context) {
	t.ctx = ctx
	defer t.close()
	t.initial = true
	t.deaf = t.opts.Poll > 0
	t.open()
	began := time.Now()
	t.visit(t.root, list)
	rest := t.untilScan(time.Since(began))
	t.initial = false
	t.tell(news{kind: newsWalked})

	every := positiveOr(t.opts.Poll, DefaultPoll)
	check := time.NewTimer(every)
	defer check.Stop()
	t.scanned = time.Now()
	due := time.Time{} // the next check of all folders
	for {
		select {
		case <-ctx.Done():
			return
		case <-t.inbox.wake:
			t.handle(t.inbox.take())
		case <-check.C:
			start, m := time.Now(), look
			if start.Before(due) && t.stands() {
				check.Reset(min(every, time.Until(due)))
				continue
			}
			if start.Sub(t.scanned) >= rest {
				m, t.scanned = list, start
			}
			t.visit(t.root, m)
			spent := time.Since(start)
			if m == list {
				rest = t.untilScan(spent)
			}
			pause := t.pause(every, spent)
			due = start.Add(pause)
			if t.deaf || t.silent {
				check.Reset(pause)
			} else {
				check.Reset(min(every, pause))
			}
		}
	}
}

// tell informs the settler.
func (t *tree) tell(n news) {
	select {
	case t.news <- n:
	case <-t.ctx.Done():
	}
}

// open begins to read events. Its reader does nothing else and never waits:
// what is not read in time overflows, and fsnotify blocks Add and Remove while
// an error waits to be read.
func (t *tree) open() {
	if t.deaf || t.events != nil {
		return
	}
	w, err := fsnotify.NewWatcher()
	if err != nil {
		t.goDeaf(err)
		return
	}
	t.events, t.closed = w, make(chan struct{})
	go func(closed chan struct{}) {
		defer close(closed)
		defer t.guard()
		for {
			t.sys.stall()
			select {
			case e, ok := <-w.Events:
				if !ok {
					return
				}
				t.inbox.add(filepath.Clean(e.Name), opOf(e.Op))
			case err, ok := <-w.Errors:
				switch {
				case !ok:
					return
				case errors.Is(err, fsnotify.ErrEventOverflow):
					t.inbox.overflowed()
				default:
					t.inbox.add(t.root, opCheck)
				}
			}
		}
	}(t.closed)
}

func (t *tree) close() {
	if t.events != nil {
		t.events.Close()
		<-t.closed
		t.events = nil
	}
}

// goDeaf gives events up for polling, and reports why.
func (t *tree) goDeaf(err error) {
	t.close()
	if !t.deaf {
		t.deaf = true
		t.tell(news{kind: newsRemark, remark: Polling, path: t.root, err: err})
	}
}

// handle inspects where something happened. What went is handled before what
// came, since a renamed folder keeps its watch under its old name: put on the
// new name before the old one is taken off, a watch would report the old name
// or be lost with it.
func (t *tree) handle(b batch) {
	if b.overflow {
		t.close()
		t.open()
		t.visit(t.root, renew)
		t.tell(news{kind: newsRescan, path: t.root})
		return
	}
	paths := b.sorted()
	for _, p := range paths {
		if b.paths[p]&opGone != 0 {
			t.unwatch(p)
		}
	}
	touched := map[string][]string{}
	for _, p := range paths {
		if t.ctx.Err() != nil {
			return
		}
		o, d := b.paths[p], t.dirs[p]
		switch {
		case o&opCheck != 0:
			t.answer(p)
		case d != nil && o&(opGone|opCreated) != 0:
			t.visit(p, renew)
		case d != nil && o&opAttrib != 0: // perhaps its permissions
			t.visit(p, list)
		case d != nil:
			// Written to: what came or went in it has its own events.
		default:
			parent := filepath.Dir(p)
			if d := t.dirs[parent]; d == nil || d.lost {
				continue // the echo of a folder that went
			}
			name := filepath.Base(p)
			if o&opCreated != 0 && !t.skip(name, true) {
				info, err := t.sys.lstat(p)
				if err == nil && info.IsDir() {
					t.visit(p, list)
					continue
				}
				if err == nil && info.Mode()&fs.ModeSymlink != 0 && t.linked(parent, name) {
					continue
				}
			}
			if !t.skip(name, false) {
				touched[parent] = append(touched[parent], name)
			}
		}
	}
	for _, parent := range slices.Sorted(maps.Keys(touched)) {
		t.tell(news{kind: newsTouched, path: parent, names: touched[parent]})
	}
}

// answer reports what a folder holds in which files are missed, after making
// sure of every folder on the way to it.
func (t *tree) answer(path string) {
	var way []string
	for p := path; p != t.root; p = filepath.Dir(p) {
		way = append(way, p)
	}
	way = append(way, t.root)
	for _, p := range slices.Backward(way) {
		d := t.identify(p)
		if d == nil {
			return // and what became of it has been reported
		}
		if p == path || d.lost || d.listed.IsZero() {
			t.visit(p, list)
			return
		}
	}
}

// visit makes sure that a folder is the one it was, watches and lists it where
// needed, and goes on to the folders in it.
func (t *tree) visit(path string, m mode) {
	if t.ctx.Err() != nil {
		return
	}
	d := t.identify(path)
	if d == nil {
		return
	}
	if d.lost {
		if _, err := t.sys.readDir(path); err != nil {
			return
		}
		d.lost = false
		m = renew
		if path == t.root {
			t.open()
		}
		t.tell(news{kind: newsBack, path: path})
	}
	fresh := d.listed.IsZero()
	if fresh || m == renew {
		t.watch(path, d) // first, so that nothing comes between listing and watching
	}
	polled := (t.deaf || d.silent) && (!t.trust || d.listed.Before(d.changed.Add(racy)))
	if fresh || m != look || polled {
		if !t.list(path, d) {
			return
		}
	}
	for _, name := range slices.Sorted(maps.Keys(d.subs)) {
		t.visit(filepath.Join(path, name), m)
	}
}

// identify makes sure that a folder is there and notes when it is new, another
// than it was, or changed. It returns nil if it cannot be inspected, having
// told so.
func (t *tree) identify(path string) *dir {
	stat := t.sys.lstat
	if path == t.root {
		stat = t.sys.stat
	}
	info, err := stat(path)
	if err == nil && !info.IsDir() {
		err = &fs.PathError{Op: "open", Path: path, Err: syscall.ENOTDIR}
	}
	if err != nil {
		t.missing(path, err)
		return nil
	}
	os.SameFile(info, info) // on Windows, has it remember which folder it is
	d := t.dirs[path]
	switch {
	case d == nil:
		d = t.newDir(path)
	case d.info == nil:
	case !os.SameFile(d.info, info):
		if t.pulled(path, d, info) {
			t.lose(path, errNoDisk)
			return nil
		}
		t.unwatch(path)
		d.listed = time.Time{}
	case !d.info.ModTime().Equal(info.ModTime()):
		d.info, d.changed = info, time.Now()
		return d
	default:
		return d
	}
	d.info, d.changed = info, time.Now()
	t.findSilent(path, d)
	return d
}

func (t *tree) newDir(path string) *dir {
	d := &dir{subs: map[string]struct{}{}}
	t.dirs[path] = d
	if path != t.root {
		t.dirs[filepath.Dir(path)].subs[filepath.Base(path)] = struct{}{}
	}
	return d
}

// findSilent notes whether the folder's file system sends events.
func (t *tree) findSilent(path string, d *dir) {
	if path != t.root {
		if parent := t.dirs[filepath.Dir(path)]; sameDevice(parent.info, d.info) {
			d.silent = parent.silent
			return
		}
	}
	name, was := t.sys.silent(path), d.silent
	d.silent = name != ""
	t.silent = t.silent || d.silent
	if d.silent && !was && !t.deaf {
		t.tell(news{
			kind: newsRemark, remark: Polling, path: path,
			err: fmt.Errorf("%s does not report every change", name),
		})
	}
}

// pulled reports whether the folder is now an empty one on another device:
// what is left where a disk was mounted.
func (t *tree) pulled(path string, d *dir, now fs.FileInfo) bool {
	if d.files+len(d.subs) == 0 || sameDevice(d.info, now) {
		return false
	}
	entries, err := t.sys.readDir(path)
	return err == nil && len(entries) == 0
}

// missing is for a folder that cannot be inspected.
func (t *tree) missing(path string, err error) {
	if path == t.root {
		t.lose(path, err)
		return
	}
	parent := t.identify(filepath.Dir(path))
	if parent == nil {
		return
	}
	d := t.dirs[path]
	switch {
	case !notThere(err):
		t.lose(path, err)
	case d != nil && d.info != nil && !sameDevice(parent.info, d.info):
		t.lose(path, errNoDisk)
	default:
		t.gone(path)
	}
}

// lose notes that a folder cannot be read for now; if the reason lies further
// up, the uppermost folder that cannot be read.
func (t *tree) lose(path string, err error) {
	for p := filepath.Dir(path); path != t.root && under(p, t.root); p = filepath.Dir(p) {
		if _, e := t.sys.readDir(p); e != nil {
			path, err = p, e
		}
		if p == t.root {
			break
		}
	}
	d := t.dirs[path]
	if d == nil {
		d = t.newDir(path)
	}
	t.unwatch(path)
	if path == t.root {
		t.close()
	}
	if !d.lost {
		d.lost = true
		t.tell(news{kind: newsLost, path: path, err: err})
	}
}

// gone notes that a folder is no longer in its parent.
func (t *tree) gone(path string) {
	t.unwatch(path)
	t.forget(path)
	delete(t.dirs[filepath.Dir(path)].subs, filepath.Base(path))
	t.tell(news{kind: newsGone, path: path})
}

func (t *tree) forget(path string) {
	d := t.dirs[path]
	if d == nil {
		return
	}
	for name := range d.subs {
		t.forget(filepath.Join(path, name))
	}
	t.files -= d.files
	delete(t.dirs, path)
}

func (t *tree) watch(path string, d *dir) {
	if t.events == nil {
		return
	}
	err := t.sys.addWatch(t.events, path)
	switch {
	case err == nil, notThere(err), errors.Is(err, fs.ErrPermission):
		// If not nil, listing it will show it.
	case atLimit(err):
		t.goDeaf(fmt.Errorf("the system's limit of watched folders is reached: %w", err))
	case !d.silent:
		d.silent, t.silent = true, true
		t.tell(news{kind: newsRemark, remark: Polling, path: path, err: err})
	}
}

// unwatch takes the watches off a folder and those under it.
func (t *tree) unwatch(path string) {
	d := t.dirs[path]
	if d == nil || t.events == nil {
		return
	}
	_ = t.events.Remove(path) // it may have gone with its folder
	for name := range d.subs {
		t.unwatch(filepath.Join(path, name))
	}
}

// list reads a folder and reports what files it holds. It reports whether it
// could be read.
func (t *tree) list(path string, d *dir) bool {
	start := time.Now()
	t.listings++
	entries, err := t.sys.readDir(path)
	if notThere(err) {
		t.missing(path, err)
		return false
	}
	if err != nil {
		t.lose(path, err)
		return false
	}
	subs := map[string]struct{}{}
	var names []string
	var hash maphash.Hash
	hash.SetSeed(t.seed)
	for _, e := range entries {
		name := e.Name()
		hash.WriteString(name)
		hash.WriteByte(0)
		switch {
		case e.IsDir():
			if !t.skip(name, true) {
				subs[name] = struct{}{}
			}
		case e.Type()&fs.ModeSymlink != 0 && t.linked(path, name):
		case e.Type()&(fs.ModeDevice|fs.ModeNamedPipe|fs.ModeSocket) == 0 && !t.skip(name, false):
			names = append(names, name)
		}
	}
	t.learn(path, d, hash.Sum64())
	d.listed = start
	t.files += len(names) - d.files
	d.files = len(names)
	for name := range d.subs {
		if _, ok := subs[name]; !ok {
			t.missing(filepath.Join(path, name), fs.ErrNotExist)
		}
	}
	for name := range subs {
		d.subs[name] = struct{}{}
	}
	if fileLimit > 0 && t.files > fileLimit && !t.deaf {
		t.goDeaf(errTooMany)
	}
	t.tell(news{kind: newsListed, path: path, names: names, initial: t.initial})
	return !d.lost
}

// linked reports whether a link leads to a folder, and reports it once.
func (t *tree) linked(dir, name string) bool {
	path := filepath.Join(dir, name)
	if info, err := t.sys.stat(path); err != nil || !info.IsDir() {
		return false
	}
	if !t.links[path] && !t.skip(name, true) {
		t.links[path] = true
		t.tell(news{kind: newsRemark, remark: Linked, path: path})
	}
	return true
}

// learn compares the names in a folder with those of its last listing, and
// trusts no modification time any more if it did not show the difference.
func (t *tree) learn(path string, d *dir, names uint64) {
	differ := !d.listed.IsZero() && names != d.names
	d.names = names
	if !differ || d.listed.Before(d.changed.Add(racy)) {
		return
	}
	if info, err := t.sys.stat(path); err == nil && info.ModTime().Equal(d.info.ModTime()) {
		t.trust = false
	}
}
