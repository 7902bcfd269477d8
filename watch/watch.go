package watch

import (
	"context"
	"fmt"
	"hash/maphash"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"time"
)

// Options steer a watch. The zero value is good for a folder that a card
// reader or a tethered camera fills.
type Options struct {
	// Settle is how long a file's size and modification time must rest before
	// it may be complete; 0 means [DefaultSettle].
	Settle time.Duration
	// Poll, when above 0, asks for no events at all and lists the folders at
	// this interval. At 0, events are used wherever the file system sends
	// them, and other folders are listed every [DefaultPoll]. Listings that
	// take long are done less often than asked.
	Poll time.Duration
	// Scan is the interval of the slow inspection of everything, which finds what no
	// event reported; 0 means [DefaultScan]. Where it takes long it comes less often, up
	// to ten times.
	Scan time.Duration
	// Ready reports whether a file that rests reads well; nil error means
	// complete. It is called with the file's path and size, from several
	// goroutines at once, and must not hold the file open after it returns. Its
	// context is done when the watch ends; the watch does not wait for it then,
	// and takes no notice of what it returns. A file is handed out with Ready's
	// error when it rests for 8 × Settle and does not read well four times. A
	// nil Ready accepts every file that can be opened.
	Ready func(ctx context.Context, path string, size int64) error
	// Skip reports which files are never to be opened or handed out, and which
	// folders never to be entered, by their base name. Names that programs give
	// to files they still write belong here: such a file is taken up as soon as
	// it gets its last name. It is called from one goroutine. A nil Skip skips
	// nothing.
	Skip func(name string, folder bool) bool
	// Failed is called with the value of a panic in one of the watch's
	// goroutines, Ready's included, while it is recovered. The watch does not go
	// on as it should then: Failed ends the program, or has the watch end. A nil
	// Failed lets panics through.
	Failed func(v any)
}

const (
	// DefaultSettle outlasts the pauses of a card reader's and a camera's copy.
	DefaultSettle = 1500 * time.Millisecond
	// DefaultPoll is short enough for an answer while the subject is still
	// there, and costs a share one request for each folder.
	DefaultPoll = 2 * time.Second
	// DefaultScan keeps the cost of a tree of 50,000 files at rest well under
	// 1 % of a core.
	DefaultScan = 60 * time.Second
)

// Kind is what an [Event] reports.
type Kind int

// The first four kinds speak of a file, the others of a folder or the watch.
const (
	// Found is a complete file that was there at the start.
	Found Kind = iota + 1
	// Arrived is a complete file that came since.
	Arrived
	// Changed is a file handed out before that has another size or modification
	// time, or whose error has gone. It is complete again.
	Changed
	// Removed is a file handed out before that is no longer in its folder.
	Removed

	// CaughtUp comes once: all files that were there at the start have been
	// handed out, save those that are still growing or do not read well yet.
	CaughtUp
	// FolderLost is a folder that cannot be read for now, with the reason in
	// Err. Nothing is reported about the files under it until it is back.
	FolderLost
	// FolderBack is a folder that can be read again, or for the first time.
	FolderBack
	// Overflow means that the system dropped events; everything is inspected again.
	Overflow
	// Polling means that the folder and those under it are listed at an
	// interval, with the reason in Err. It is not reported where Options.Poll
	// asked for it.
	Polling
	// Linked is a symbolic link to a folder, which is not entered.
	Linked
)

var kindNames = [...]string{
	Found: "found", Arrived: "arrived", Changed: "changed", Removed: "removed", CaughtUp: "caught up",
	FolderLost: "folder lost", FolderBack: "folder back", Overflow: "overflow", Polling: "polling", Linked: "linked",
}

func (k Kind) String() string {
	if k < Found || int(k) >= len(kindNames) {
		return fmt.Sprintf("Kind(%d)", int(k))
	}
	return kindNames[k]
}

// An Event is something that happened in the watched tree.
type Event struct {
	Kind Kind
	// Path is the file or folder; it begins with the folder given to [New].
	Path string
	// Size is the file's size in bytes, ModTime its modification time, as they
	// were while it was read; both zero in events that hand out no file.
	Size    int64
	ModTime time.Time
	// Err is why a file does not read well, why a folder is lost, or why it is
	// polled; nil in all other events.
	Err error
}

// A Watcher follows one folder tree.
type Watcher struct {
	root   string
	opts   Options
	events chan Event
	sys    system
}

// New prepares to watch dir and what is under it. It fails when dir cannot be
// read or is no folder; later, nothing but the caller ends the watch.
func New(dir string, opts Options) (*Watcher, error) {
	opts.Settle = positiveOr(opts.Settle, DefaultSettle)
	opts.Scan = positiveOr(opts.Scan, DefaultScan)
	if opts.Skip == nil {
		opts.Skip = func(string, bool) bool { return false }
	}
	dir = filepath.Clean(dir)
	d, err := os.OpenFile(dir, openRead, 0)
	if err != nil {
		return nil, err
	}
	defer d.Close()
	info, err := d.Stat()
	if err != nil {
		return nil, err
	}
	if !info.IsDir() {
		return nil, fmt.Errorf("watch %s: %w", dir, syscall.ENOTDIR)
	}
	return &Watcher{root: dir, opts: opts, events: make(chan Event), sys: realSystem()}, nil
}

func positiveOr(d, otherwise time.Duration) time.Duration {
	if d > 0 {
		return d
	}
	return otherwise
}

// Events returns the channel on which everything is reported. It is closed when
// [Watcher.Run] returns. The order of two files is not that of their arrival;
// what concerns one path is in order. A slow receiver loses nothing, but what
// changes again before it is received is reported once: a file that comes and goes
// meanwhile is not reported at all.
func (w *Watcher) Events() <-chan Event { return w.events }

// Run watches until ctx is done, then closes the events channel. It must be
// called once, while another goroutine receives from [Watcher.Events]. It returns
// soon after ctx is done, and all its goroutines have ended then but those in
// which a file is still read. A system call on a share that does not answer can
// delay that.
func (w *Watcher) Run(ctx context.Context) {
	defer close(w.events)
	inbox := newInbox()
	news := make(chan news)
	s := &settler{
		settle: w.opts.Settle,
		scan:   w.opts.Scan,
		stat:   w.sys.statFile,
		check:  w.check,
		ask:    func(dir string) { inbox.add(dir, opCheck) },
		news:   news,
		out:    w.events,
		guard:  w.guard,
	}
	t := &tree{
		root:  w.root,
		opts:  w.opts,
		sys:   w.sys,
		inbox: inbox,
		news:  news,
		dirs:  map[string]*dir{},
		links: map[string]bool{},
		skip:  w.opts.Skip,
		trust: true,
		seed:  maphash.MakeSeed(),
		guard: w.guard,
	}
	var wg sync.WaitGroup
	wg.Go(func() {
		defer w.guard()
		s.run(ctx)
	})
	wg.Go(func() {
		defer w.guard()
		t.run(ctx)
	})
	wg.Wait()
}

// guard is deferred by every goroutine.
func (w *Watcher) guard() {
	if v := recover(); v != nil {
		if w.opts.Failed == nil {
			panic(v)
		}
		w.opts.Failed(v)
	}
}

// check opens a file that rests as want asks and has the caller read it. The
// stamp it returns is the file's own after reading: when it differs from want
// the file has changed, and the error shows nothing about it.
//
// Opening comes first because a client of NFS asks the server for the size when
// a file is opened, and answers from memory otherwise.
func (w *Watcher) check(ctx context.Context, path string, want stamp) (stamp, error) {
	f, err := os.OpenFile(path, openRead, 0)
	if err != nil {
		return want, err
	}
	info, err := f.Stat()
	f.Close()
	if err != nil {
		return want, err
	}
	if got := stampOf(info); got != want {
		return got, nil
	}
	if w.opts.Ready != nil {
		err = w.opts.Ready(ctx, path, want.size)
	}
	got, statErr := w.sys.statFile(path)
	if statErr != nil {
		return want, statErr
	}
	return got, err
}

// A stamp is what distinguishes two states of a file.
type stamp struct {
	size  int64
	mtime int64 // nanoseconds since 1970
}

// unknown is the stamp of a file that is there but cannot be inspected.
var unknown = stamp{size: -1}

func stampOf(info os.FileInfo) stamp {
	return stamp{info.Size(), info.ModTime().UnixNano()}
}

// under reports whether path is dir or lies under it.
func under(path, dir string) bool {
	if path == dir || dir == "." {
		return true
	}
	rest, ok := strings.CutPrefix(path, dir)
	return ok && (os.IsPathSeparator(rest[0]) || os.IsPathSeparator(dir[len(dir)-1]))
}
