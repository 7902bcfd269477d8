package watch

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/fsnotify/fsnotify"
	"github.com/google/go-cmp/cmp"
)

// A receiver keeps what a watch has reported so far.
type receiver struct {
	t    *testing.T
	root string

	mu      sync.Mutex
	told    sync.Cond // something was, or the test's time is up
	late    bool
	files   map[string]Event // those that are there, by path under the root
	kinds   map[string][]Kind
	remarks []Event
	stop    context.CancelFunc
	ended   chan struct{}
	once    sync.Once
}

// fast are options that keep a test short; its machine may be busy, so the
// settling time is not as short as it could be.
func fast() Options {
	return Options{Settle: fastSettle, Scan: time.Hour, Skip: skip}
}

// skip passes over hidden names and two of unfinished files.
func skip(name string, folder bool) bool {
	return strings.HasPrefix(name, ".") || folder && name == "@eaDir" ||
		!folder && (strings.HasSuffix(name, ".part") || strings.HasSuffix(name, ".tmp") || strings.HasSuffix(name, ".xmp"))
}

const fastSettle = 250 * time.Millisecond

// follow watches root until the test ends or done is called.
func follow(t *testing.T, root string, opts Options, adapt func(*system)) *receiver {
	t.Helper()
	w, err := New(root, opts)
	if err != nil {
		t.Fatal(err)
	}
	if adapt != nil {
		adapt(&w.sys)
	}
	ctx, cancel := context.WithCancel(t.Context())
	r := &receiver{
		t: t, root: root, files: map[string]Event{}, kinds: map[string][]Kind{},
		stop: cancel, ended: make(chan struct{}),
	}
	r.told.L = &r.mu
	go w.Run(ctx)
	go func() {
		defer close(r.ended)
		for e := range w.Events() {
			r.take(e)
		}
	}()
	t.Cleanup(r.done)
	return r
}

// done ends the watch.
func (r *receiver) done() {
	r.once.Do(func() {
		r.stop()
		<-r.ended
	})
}

func (r *receiver) take(e Event) {
	r.mu.Lock()
	defer r.mu.Unlock()
	defer r.told.Broadcast()
	name, err := filepath.Rel(r.root, e.Path)
	if err != nil {
		name = e.Path
	}
	name = filepath.ToSlash(name)
	old, there := r.files[name]
	switch e.Kind {
	case Found, Arrived:
		if there {
			r.t.Errorf("%v %s, which had been handed out as %v", e.Kind, name, old)
		}
		r.files[name] = e
	case Changed:
		if there && old.Size == e.Size && old.ModTime.Equal(e.ModTime) && (old.Err == nil) == (e.Err == nil) {
			r.t.Errorf("%s handed out twice in the same state %v", name, e)
		}
		r.files[name] = e
	case Removed:
		if !there {
			r.t.Errorf("removed %s, which had not been handed out", name)
		}
		delete(r.files, name)
	default:
		r.remarks = append(r.remarks, e)
		return
	}
	r.kinds[name] = append(r.kinds[name], e.Kind)
}

// eventually waits until ok holds of what was reported. It asks again at each event,
// and watches no clock but that of the whole test.
func (r *receiver) eventually(what string, ok func() bool) {
	r.t.Helper()
	if end, limited := r.t.Deadline(); limited {
		timer := time.AfterFunc(time.Until(end)-10*time.Second, func() {
			r.mu.Lock()
			defer r.mu.Unlock()
			r.late = true
			r.told.Broadcast()
		})
		defer timer.Stop()
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	for !ok() {
		if r.late {
			r.t.Fatalf("not before the test's time was up: %s; told: %v\nremarks: %v", what, r.kinds, r.remarks)
		}
		r.told.Wait()
	}
}

// wants waits until exactly these files are there, each with its size.
func (r *receiver) wants(what string, want map[string]int) {
	r.t.Helper()
	r.eventually(what, func() bool { return len(r.files) == len(want) && maps.Equal(r.sizes(), want) })
}

func (r *receiver) sizes() map[string]int {
	got := map[string]int{}
	for name, e := range r.files {
		got[name] = int(e.Size)
	}
	return got
}

func (r *receiver) remarked(k Kind, name string) func() bool {
	path := filepath.Join(r.root, name)
	if k == CaughtUp {
		path = ""
	}
	return func() bool {
		return slices.ContainsFunc(r.remarks, func(e Event) bool { return e.Kind == k && e.Path == path })
	}
}

func (r *receiver) count(k Kind) int {
	n := 0
	for _, e := range r.remarks {
		if e.Kind == k {
			n++
		}
	}
	return n
}

// steady lets pass the time in which anything wrong would be reported: a removal
// takes little over one settling time.
func (r *receiver) steady() { time.Sleep(3 * fastSettle) }

// history is what was reported of a file. Changed may come several times in a row
// where a busy machine writes a file in two steps.
func (r *receiver) history(name string) []Kind {
	r.mu.Lock()
	defer r.mu.Unlock()
	return slices.Compact(slices.Clone(r.kinds[name]))
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// write makes a file of n bytes, and the folders above it.
func write(t *testing.T, n int, elem ...string) {
	t.Helper()
	path := filepath.Join(elem...)
	must(t, os.MkdirAll(filepath.Dir(path), 0o755))
	must(t, os.WriteFile(path, make([]byte, n), 0o644))
}

// waysToWatch runs a test with events and by polling, which must agree.
func waysToWatch(t *testing.T, test func(t *testing.T, opts Options)) {
	t.Parallel()
	t.Run("events", func(t *testing.T) {
		t.Parallel()
		test(t, fast())
	})
	t.Run("polling", func(t *testing.T) {
		t.Parallel()
		opts := fast()
		opts.Poll = 50 * time.Millisecond
		opts.Scan = time.Second
		test(t, opts)
	})
}

func TestNewRefuses(t *testing.T) {
	dir := t.TempDir()
	write(t, 1, dir, "file")
	if _, err := New(filepath.Join(dir, "none"), Options{}); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("New of a missing folder: got %v, want %v", err, fs.ErrNotExist)
	}
	if _, err := New(filepath.Join(dir, "file"), Options{}); err == nil || !strings.Contains(err.Error(), "not a directory") {
		t.Errorf("New of a file: got %v, want an error that says not a directory", err)
	}
}

func TestFoundThenArrived(t *testing.T) {
	waysToWatch(t, func(t *testing.T, opts Options) {
		dir := t.TempDir()
		write(t, 10, dir, "DCIM", "100BXCAM", "BX1_0001.NEF")
		write(t, 11, dir, "DCIM", "100BXCAM", "BX1_0002.NEF")
		write(t, 12, dir, "DCIM", "100BXCAM", ".BX1_0003.NEF")
		write(t, 12, dir, ".Trash", "BX1_0003.NEF")
		r := follow(t, dir, opts, nil)
		r.eventually("caught up", r.remarked(CaughtUp, ""))
		r.wants("those at the start", map[string]int{"DCIM/100BXCAM/BX1_0001.NEF": 10, "DCIM/100BXCAM/BX1_0002.NEF": 11})

		write(t, 20, dir, "DCIM", "100BXCAM", "BX1_0003.NEF")
		write(t, 21, dir, "DCIM", "101BXCAM", "BX1_0004.NEF")
		write(t, 22, dir, "BX1_0005.NEF")
		r.wants("those since", map[string]int{
			"DCIM/100BXCAM/BX1_0001.NEF": 10, "DCIM/100BXCAM/BX1_0002.NEF": 11,
			"DCIM/100BXCAM/BX1_0003.NEF": 20, "DCIM/101BXCAM/BX1_0004.NEF": 21, "BX1_0005.NEF": 22,
		})
		r.steady()
		for name, want := range map[string][]Kind{"DCIM/100BXCAM/BX1_0001.NEF": {Found}, "BX1_0005.NEF": {Arrived}} {
			if got := r.history(name); !slices.Equal(got, want) {
				t.Errorf("%s: got %v, want %v", name, got, want)
			}
		}
		if n := r.count(CaughtUp); n != 1 {
			t.Errorf("caught up %d times, want once", n)
		}
	})
}

func TestNamesThatBecomeFinal(t *testing.T) {
	waysToWatch(t, func(t *testing.T, opts Options) {
		dir, outside := t.TempDir(), t.TempDir()
		r := follow(t, dir, opts, nil)
		want := map[string]int{}
		for i, temp := range []string{"a.NEF.part", ".b.NEF", "c.NEF.tmp"} {
			final := fmt.Sprintf("BX1_%04d.NEF", i)
			write(t, 30+i, dir, temp)
			time.Sleep(20 * time.Millisecond)
			must(t, os.Rename(filepath.Join(dir, temp), filepath.Join(dir, final)))
			want[final] = 30 + i
		}
		write(t, 50, outside, "moved.NEF")
		must(t, os.Rename(filepath.Join(outside, "moved.NEF"), filepath.Join(dir, "moved.NEF")))
		want["moved.NEF"] = 50
		write(t, 51, outside, "linked.NEF")
		must(t, os.Link(filepath.Join(outside, "linked.NEF"), filepath.Join(dir, "linked.NEF")))
		want["linked.NEF"] = 51
		write(t, 52, outside, "tree", "one", "two", "in.NEF")
		must(t, os.Rename(filepath.Join(outside, "tree"), filepath.Join(dir, "tree")))
		want["tree/one/two/in.NEF"] = 52
		write(t, 53, dir, "stays.part")
		write(t, 54, dir, "side.xmp")
		write(t, 55, dir, "@eaDir", "thumb.NEF")
		r.wants("final names", want)
		r.steady()
		r.wants("final names and no others", want)
	})
}

func TestRewrittenAndRemoved(t *testing.T) {
	waysToWatch(t, func(t *testing.T, opts Options) {
		dir := t.TempDir()
		write(t, 10, dir, "a.NEF")
		write(t, 10, dir, "b.NEF")
		write(t, 10, dir, "sub", "c.NEF")
		r := follow(t, dir, opts, nil)
		r.wants("at the start", map[string]int{"a.NEF": 10, "b.NEF": 10, "sub/c.NEF": 10})
		write(t, 15, dir, "a.NEF")
		must(t, os.Remove(filepath.Join(dir, "b.NEF")))
		must(t, os.RemoveAll(filepath.Join(dir, "sub")))
		r.wants("rewritten and removed", map[string]int{"a.NEF": 15})
		for name, want := range map[string][]Kind{"a.NEF": {Found, Changed}, "b.NEF": {Found, Removed}, "sub/c.NEF": {Found, Removed}} {
			if got := r.history(name); !slices.Equal(got, want) {
				t.Errorf("%s: got %v, want %v", name, got, want)
			}
		}
		write(t, 16, dir, "sub", "c.NEF")
		r.wants("there again", map[string]int{"a.NEF": 15, "sub/c.NEF": 16})
	})
}

// A renamed folder keeps its watch, under the old name, in the system; files
// that arrive in it later must be reported under the new name.
func TestFolderRenamedWithin(t *testing.T) {
	waysToWatch(t, func(t *testing.T, opts Options) {
		dir := t.TempDir()
		write(t, 10, dir, "a", "deep", "1.NEF")
		r := follow(t, dir, opts, nil)
		r.wants("at the start", map[string]int{"a/deep/1.NEF": 10})
		for i := range 20 {
			must(t, os.Rename(filepath.Join(dir, "a"), filepath.Join(dir, "b")))
			if i%2 == 1 {
				time.Sleep(time.Duration(i) * time.Millisecond)
			}
			must(t, os.Rename(filepath.Join(dir, "b"), filepath.Join(dir, "a")))
		}
		must(t, os.Rename(filepath.Join(dir, "a"), filepath.Join(dir, "b")))
		r.wants("under the new name", map[string]int{"b/deep/1.NEF": 10})
		write(t, 20, dir, "b", "deep", "2.NEF")
		write(t, 21, dir, "a", "deep", "3.NEF")
		r.wants("after the renames", map[string]int{"b/deep/1.NEF": 10, "b/deep/2.NEF": 20, "a/deep/3.NEF": 21})
	})
}

func TestFolderMovedOutAndBack(t *testing.T) {
	waysToWatch(t, func(t *testing.T, opts Options) {
		dir, outside := t.TempDir(), t.TempDir()
		write(t, 10, dir, "card", "1.NEF")
		r := follow(t, dir, opts, nil)
		r.wants("at the start", map[string]int{"card/1.NEF": 10})
		must(t, os.Rename(filepath.Join(dir, "card"), filepath.Join(outside, "card")))
		r.wants("moved out", map[string]int{})
		write(t, 20, outside, "card", "2.NEF")
		must(t, os.Rename(filepath.Join(outside, "card"), filepath.Join(dir, "card")))
		r.wants("back", map[string]int{"card/1.NEF": 10, "card/2.NEF": 20})
		write(t, 30, dir, "card", "3.NEF")
		r.wants("goes on", map[string]int{"card/1.NEF": 10, "card/2.NEF": 20, "card/3.NEF": 30})
	})
}

func TestRootLostAndBack(t *testing.T) {
	waysToWatch(t, func(t *testing.T, opts Options) {
		base := t.TempDir()
		dir, away := filepath.Join(base, "card"), filepath.Join(base, "pocket")
		write(t, 10, dir, "DCIM", "1.NEF")
		write(t, 10, dir, "DCIM", "2.NEF")
		r := follow(t, dir, opts, nil)
		r.wants("at the start", map[string]int{"DCIM/1.NEF": 10, "DCIM/2.NEF": 10})
		must(t, os.Rename(dir, away))
		r.eventually("folder lost", r.remarked(FolderLost, ""))
		r.steady()
		r.wants("a pulled card removes nothing", map[string]int{"DCIM/1.NEF": 10, "DCIM/2.NEF": 10})
		must(t, os.Remove(filepath.Join(away, "DCIM", "2.NEF")))
		write(t, 20, away, "DCIM", "3.NEF")
		must(t, os.Rename(away, dir))
		r.eventually("folder back", r.remarked(FolderBack, ""))
		r.wants("with its changes", map[string]int{"DCIM/1.NEF": 10, "DCIM/3.NEF": 20})
		write(t, 30, dir, "DCIM", "4.NEF")
		r.wants("goes on", map[string]int{"DCIM/1.NEF": 10, "DCIM/3.NEF": 20, "DCIM/4.NEF": 30})
		if got, want := r.history("DCIM/1.NEF"), []Kind{Found}; !slices.Equal(got, want) {
			t.Errorf("unchanged file: got %v, want %v", got, want)
		}
		if lost, back := r.count(FolderLost), r.count(FolderBack); lost != 1 || back != 1 {
			t.Errorf("said lost %d times and back %d times, want once each", lost, back)
		}
	})
}

func TestLinks(t *testing.T) {
	waysToWatch(t, func(t *testing.T, opts Options) {
		base := t.TempDir()
		dir := filepath.Join(base, "real")
		write(t, 10, dir, "a", "1.NEF")
		write(t, 20, base, "elsewhere", "2.NEF")
		must(t, os.Symlink(dir, filepath.Join(dir, "a", "loop")))
		must(t, os.Symlink(filepath.Join(base, "elsewhere"), filepath.Join(dir, "folder")))
		must(t, os.Symlink(filepath.Join(base, "elsewhere", "2.NEF"), filepath.Join(dir, "file.NEF")))
		must(t, os.Symlink(filepath.Join(base, "nowhere"), filepath.Join(dir, "dangling.NEF")))
		link := filepath.Join(base, "link")
		must(t, os.Symlink(dir, link))
		want := map[string]int{"a/1.NEF": 10, "file.NEF": 20}
		r := follow(t, link, opts, nil)
		r.wants("links to files only", want)
		write(t, 30, dir, "a", "3.NEF")
		want["a/3.NEF"] = 30
		r.wants("goes on", want)
		r.steady()
		r.wants("no loop", want)
		r.eventually("links to folders told", func() bool {
			return r.remarked(Linked, "a/loop")() && r.remarked(Linked, "folder")()
		})
		must(t, os.Symlink(filepath.Join(base, "elsewhere"), filepath.Join(dir, "later")))
		r.eventually("a later one too", r.remarked(Linked, "later"))
		r.mu.Lock()
		defer r.mu.Unlock()
		if n := r.count(Linked); n != 3 {
			t.Errorf("links to folders told %d times, want each of 3 once: %v", n, r.remarks)
		}
	})
}

// Relative folders give relative paths, as they were given.
func TestRelativeRoot(t *testing.T) {
	t.Chdir(t.TempDir())
	for _, root := range []string{".", "sub"} {
		must(t, os.MkdirAll(filepath.Join(root, "DCIM"), 0o755))
		r := follow(t, root, fast(), nil)
		r.eventually("caught up", r.remarked(CaughtUp, ""))
		write(t, 7, root, "DCIM", "1.NEF")
		write(t, 8, root, "2.NEF")
		r.eventually("relative paths", func() bool {
			return r.files["DCIM/1.NEF"].Path == filepath.Join(root, "DCIM", "1.NEF") && r.files["2.NEF"].Path == filepath.Join(root, "2.NEF")
		})
		r.done()
		must(t, os.RemoveAll(filepath.Join(root, "DCIM")))
	}
}

// A write through a memory map makes no event, a restored time makes one that
// shows little: the scan finds both.
func TestScanFindsWhatNoEventTold(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	write(t, 10, dir, "a.NEF")
	old := time.Now().Add(-time.Hour)
	must(t, os.Chtimes(filepath.Join(dir, "a.NEF"), old, old))
	opts := fast()
	opts.Scan = time.Second
	r := follow(t, dir, opts, func(sys *system) {
		sys.addWatch = func(*fsnotify.Watcher, string) error { return nil } // and no events come
	})
	r.wants("at the start", map[string]int{"a.NEF": 10})
	write(t, 11, dir, "a.NEF")
	write(t, 12, dir, "b.NEF")
	r.wants("without events", map[string]int{"a.NEF": 11, "b.NEF": 12})
	if diff := cmp.Diff([]Kind{Found, Changed}, r.history("a.NEF")); diff != "" {
		t.Errorf("a.NEF (-want +got):\n%s", diff)
	}
}
