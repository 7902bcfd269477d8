package watch

import (
	"context"
	"errors"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/fsnotify/fsnotify"
)

// failing makes the reading of some folders fail while on is set, as a disk
// error or a lost permission does.
func failing(on *atomic.Bool, err error, dirs ...string) func(*system) {
	return func(sys *system) {
		real := sys.readDir
		sys.readDir = func(path string) ([]fs.DirEntry, error) {
			if on.Load() && slices.Contains(dirs, path) {
				return nil, &fs.PathError{Op: "open", Path: path, Err: err}
			}
			return real(path)
		}
	}
}

func TestPermissionLostAndGiven(t *testing.T) {
	waysToWatch(t, func(t *testing.T, opts Options) {
		dir := t.TempDir()
		write(t, 10, dir, "a", "1.NEF")
		write(t, 10, dir, "b", "2.NEF")
		sub := filepath.Join(dir, "a")
		var on atomic.Bool
		r := follow(t, dir, opts, failing(&on, syscall.EACCES, sub))
		r.wants("at the start", map[string]int{"a/1.NEF": 10, "b/2.NEF": 10})
		on.Store(true)
		must(t, os.Chmod(sub, 0o700)) // makes the event that a change of permission does
		write(t, 20, dir, "a", "3.NEF")
		r.eventually("a lost", r.remarked(FolderLost, "a"))
		write(t, 20, dir, "b", "4.NEF")
		r.eventually("b goes on", func() bool { return r.files["b/4.NEF"].Size == 20 })
		r.steady()
		on.Store(false)
		r.eventually("a back", r.remarked(FolderBack, "a"))
		want := map[string]int{"a/1.NEF": 10, "b/2.NEF": 10, "a/3.NEF": 20, "b/4.NEF": 20}
		r.wants("what came meanwhile", want)
		write(t, 30, dir, "a", "5.NEF")
		want["a/5.NEF"] = 30
		r.wants("goes on", want)
		r.mu.Lock()
		defer r.mu.Unlock()
		if lost, back := r.count(FolderLost), r.count(FolderBack); lost != 1 || back != 1 {
			t.Errorf("said lost %d times and back %d times, want once each", lost, back)
		}
		for _, e := range r.remarks {
			if e.Kind == FolderLost && !errors.Is(e.Err, fs.ErrPermission) {
				t.Errorf("lost because of %v, want %v", e.Err, fs.ErrPermission)
			}
		}
	})
}

// A dying disk fails in every folder; it is reported once, for the uppermost.
func TestDiskErrorIsSaidOnce(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	want, dirs := map[string]int{}, []string{dir}
	for _, name := range []string{"a", "b", "c", "d"} {
		write(t, 10, dir, name, "1.NEF")
		want[name+"/1.NEF"] = 10
		dirs = append(dirs, filepath.Join(dir, name))
	}
	var on atomic.Bool
	opts := fast()
	opts.Poll, opts.Scan = 50*time.Millisecond, 200*time.Millisecond
	r := follow(t, dir, opts, failing(&on, syscall.EIO, dirs...))
	r.wants("at the start", want)
	on.Store(true)
	r.eventually("lost", r.remarked(FolderLost, ""))
	r.steady()
	on.Store(false)
	r.eventually("back", r.remarked(FolderBack, ""))
	r.steady()
	r.mu.Lock()
	defer r.mu.Unlock()
	if lost, back := r.count(FolderLost), r.count(FolderBack); lost != 1 || back != 1 {
		t.Errorf("said lost %d times and back %d times, want once each: %v", lost, back, r.remarks)
	}
	if got := r.sizes(); !maps.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
}

// A folder that may not be read from the start is reported, and taken up later.
func TestFolderNeverRead(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	write(t, 10, dir, "a", "1.NEF")
	var on atomic.Bool
	on.Store(true)
	opts := fast()
	opts.Poll = 50 * time.Millisecond
	r := follow(t, dir, opts, failing(&on, syscall.EACCES, filepath.Join(dir, "a")))
	r.eventually("lost", r.remarked(FolderLost, "a"))
	r.eventually("caught up", r.remarked(CaughtUp, ""))
	on.Store(false)
	r.wants("its files", map[string]int{"a/1.NEF": 10})
}

func TestLimitOfWatches(t *testing.T) {
	for _, limit := range []error{syscall.ENOSPC, syscall.EMFILE} {
		t.Run(limit.Error(), func(t *testing.T) {
			t.Parallel()
			if !atLimit(limit) {
				t.Skip("no such limit on this system")
			}
			dir := t.TempDir()
			for _, name := range []string{"a", "b", "c"} {
				write(t, 10, dir, name, "1.NEF")
			}
			n := 0
			r := follow(t, dir, fast(), func(sys *system) {
				real := sys.addWatch
				sys.addWatch = func(w *fsnotify.Watcher, path string) error {
					if n++; n > 2 {
						return limit
					}
					return real(w, path)
				}
			})
			want := map[string]int{"a/1.NEF": 10, "b/1.NEF": 10, "c/1.NEF": 10}
			r.wants("at the start", want)
			write(t, 20, dir, "a", "2.NEF")
			write(t, 20, dir, "new", "deep", "2.NEF")
			want["a/2.NEF"], want["new/deep/2.NEF"] = 20, 20
			r.wants("by polling", want)
			r.mu.Lock()
			defer r.mu.Unlock()
			if n := r.count(Polling); n != 1 {
				t.Errorf("said polling %d times, want once: %v", n, r.remarks)
			}
			for _, e := range r.remarks {
				if e.Kind == Polling && !errors.Is(e.Err, limit) {
					t.Errorf("polling because of %v, want %v", e.Err, limit)
				}
			}
		})
	}
}

// On a file system that sends no events, and whose folders keep their time
// when a file comes, everything is found all the same.
func TestSilentFileSystem(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("takes 8 s of waiting")
	}
	dir := t.TempDir()
	write(t, 10, dir, "a", "1.NEF")
	when := time.Now().Add(-time.Hour)
	opts := fast()
	opts.Scan = 2 * time.Second
	freeze := func() { must(t, os.Chtimes(filepath.Join(dir, "a"), when, when)) }
	freeze()
	r := follow(t, dir, opts, func(sys *system) {
		sys.silent = func(string) string { return "a share" }
		sys.addWatch = func(*fsnotify.Watcher, string) error { return nil }
	})
	want := map[string]int{"a/1.NEF": 10}
	r.wants("at the start", want)
	time.Sleep(racy) // after this, a time that stands still is believed
	for _, name := range []string{"2.NEF", "3.NEF", "4.NEF"} {
		write(t, 20, dir, "a", name)
		freeze()
		want["a/"+name] = 20
		r.wants("with "+name, want)
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	if n := r.count(Polling); n != 1 {
		t.Errorf("said polling %d times, want once: %v", n, r.remarks)
	}
}

// TestPanicIsHandedOut holds that the caller hears of a panic in a goroutine of the
// watch, which would else end the program, and that the watch can be ended then.
func TestPanicIsHandedOut(t *testing.T) {
	dir := t.TempDir()
	write(t, 10, dir, "1.NEF")
	failed := make(chan any, 1)
	w, err := New(dir, Options{
		Settle: time.Millisecond,
		Ready:  func(context.Context, string, int64) error { panic("at a file") },
		Failed: func(v any) { failed <- v },
	})
	must(t, err)
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		w.Run(ctx)
	}()
	go func() {
		for range w.Events() {
		}
	}()
	if v := <-failed; v != "at a file" {
		t.Errorf("handed out %v", v)
	}
	cancel()
	<-ended
}
