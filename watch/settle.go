package watch

import (
	"context"
	"errors"
	"io/fs"
	"path/filepath"
	"syscall"
	"time"
)

const (
	// patience is in how many inspections a resting file may read badly before it is
	// handed out all the same. The n-th comes after 2^n settling times of rest.
	patience = 4
	// longRest since its modification time, a file that was there at the start
	// need not rest again; more than the clocks of two machines usually differ.
	longRest = time.Minute
	// readers open files at once: two keep a disk and a share busy while the
	// caller's check computes.
	readers = 2
	// slowRead is after what time a file that is being read holds no place among
	// the readers any more, so that it does not hold the others; aside is how many
	// such files there may be before it does.
	slowRead = 2 * time.Second
	aside    = 8
	// quantum is the shortest time from one round of inspections to the next.
	quantum = 10 * time.Millisecond
	// slice is the longest time one round of inspections may take, so that events
	// are handed on while a slow share answers.
	slice = 50 * time.Millisecond
	// sweepEvery is how often a share of all files is inspected, sweepMost how
	// many at most: 0.03 % of a core where an inspection takes 6 µs. To wake is
	// dearer than to inspect a file: therefore more at a time and less often.
	sweepEvery = 2 * time.Second
	sweepMost  = 100
)

// A settler keeps every file of the tree and decides when it is complete. It
// learns what to inspect and finds out the rest itself.
type settler struct {
	settle, scan time.Duration
	stat         func(path string) (stamp, error)
	check        func(ctx context.Context, path string, want stamp) (stamp, error) // see Watcher.check
	ask          func(dir string)                                                  // wants a folder's listing; never waits
	news         <-chan news
	out          chan<- Event
	guard        func() // deferred by every goroutine

	folders map[string]*folder
	files   int
	active  map[*file]bool      // to be inspected when their time comes
	wake    time.Time           // no later than the first of these times; zero if none
	looked  time.Time           // when the last round of inspections ended
	queue   []job               // resting files, to be opened
	opening map[*file]time.Time // since when
	results chan job
	outbox  outbox
	sweep   []*file             // those not yet inspected in this round
	retry   map[*file]time.Time // when to open those again that read badly
	mark    uint32              // of the listing being compared

	waiting  int  // files found at the start that CaughtUp waits for
	walked   bool // the first walk of the tree has ended
	caughtUp bool
}

// A folder is one with files in it, or one that is lost.
type folder struct {
	path  string
	files map[string]*file
	lost  bool
}

// A file is kept small, for there are many; what only matters while it is not at
// rest is in its activity.
type file struct {
	folder *folder
	name   string
	told   stamp // as it was handed out
	bad    error // with which it was handed out
	*activity
	mark    uint32
	handed  bool
	initial bool // was there at the start
	waited  bool // CaughtUp waits for it
	gone    bool // no longer kept
}

type activity struct {
	seen     stamp     // at the last inspection
	looked   bool      // there was one
	since    time.Time // it rests
	next     time.Time // look
	missing  time.Time // not there since
	looks    int       // in which it rested and did not read well
	after    time.Duration
	checking bool // queued or being opened
	touched  bool // while checking
}

func (f *file) path() string { return filepath.Join(f.folder.path, f.name) }

// A job is a file to be opened, and what came of it.
type job struct {
	file *file
	path string
	want stamp
	got  stamp
	err  error
}

// news is what a settler receives.
type news struct {
	kind    newsKind
	path    string   // of the folder
	names   []string // of files in it
	initial bool     // they were there at the start
	remark  Kind
	err     error
}

type newsKind int

const (
	newsTouched newsKind = iota // something happened to the named files of a folder
	newsListed                  // a folder holds the named files and no others
	newsGone                    // a folder is no more, its parent was read
	newsLost                    // a folder and those under it cannot be read for now
	newsBack                    // and can be read again
	newsRescan                  // events were dropped
	newsWalked                  // the first walk has ended
	newsRemark
)

func (s *settler) run(ctx context.Context) {
	s.folders, s.active, s.retry = map[string]*folder{}, map[*file]bool{}, map[*file]time.Time{}
	s.opening, s.results = map[*file]time.Time{}, make(chan job)
	timer := time.NewTimer(time.Hour)
	defer timer.Stop()
	sweep := time.NewTicker(sweepEvery)
	defer sweep.Stop()
	var armed time.Time
	for {
		var out chan<- Event
		event, ok := s.outbox.peek()
		if ok {
			out = s.out
		}
		if armed != s.wake {
			armed = s.wake
			if armed.IsZero() {
				timer.Stop()
			} else {
				timer.Reset(max(time.Until(armed), time.Until(s.looked.Add(quantum))))
			}
		}
		select {
		case <-ctx.Done():
			return
		case n := <-s.news:
			s.hear(n, time.Now())
		case <-timer.C:
			armed = time.Time{}
			s.look(time.Now())
			s.open(ctx, time.Now())
		case <-sweep.C:
			s.sweepSome(time.Now())
			s.open(ctx, time.Now())
		case j := <-s.results:
			delete(s.opening, j.file)
			s.judge(j, time.Now())
			s.open(ctx, time.Now())
		case out <- event:
			s.outbox.pop()
		}
	}
}

// open has resting files read as long as there is room.
func (s *settler) open(ctx context.Context, now time.Time) {
	quick := 0
	for f, since := range s.opening {
		if now.Sub(since) < slowRead {
			quick++
		} else {
			s.settled(f)
		}
	}
	for len(s.queue) > 0 && quick < readers && len(s.opening) < readers+aside {
		j := s.queue[0]
		s.queue[0] = job{}
		s.queue = s.queue[1:]
		quick++
		s.opening[j.file] = now
		go func() {
			defer s.guard()
			j.got, j.err = s.check(ctx, j.path, j.want)
			select {
			case <-ctx.Done():
			case s.results <- j:
			}
		}()
	}
}

func (s *settler) hear(n news, now time.Time) {
	switch n.kind {
	case newsTouched:
		d := s.folder(n.path)
		for _, name := range n.names {
			if f := d.files[name]; f != nil {
				s.touch(f, now)
			} else {
				s.add(d, name, n.initial, now)
			}
		}
	case newsListed:
		s.listed(n, now)
	case newsGone:
		for _, d := range s.foldersUnder(n.path) {
			for _, f := range d.files {
				s.absent(f, now)
			}
			d.lost = false
			s.tidy(d)
		}
	case newsLost:
		s.folder(n.path) // so that it is known as lost, files or none
		for _, d := range s.foldersUnder(n.path) {
			d.lost = true
			for _, f := range d.files {
				s.settled(f)
			}
		}
		s.outbox.push(Event{Kind: FolderLost, Path: n.path, Err: n.err})
	case newsBack:
		s.lookAgain(n.path, now)
		s.outbox.push(Event{Kind: FolderBack, Path: n.path})
	case newsRescan:
		s.lookAgain(n.path, now)
		s.outbox.push(Event{Kind: Overflow, Path: n.path})
	case newsWalked:
		s.walked = true
		s.settled(nil)
	case newsRemark:
		s.outbox.push(Event{Kind: n.remark, Path: n.path, Err: n.err})
	}
}

// lookAgain has every file under a folder inspected afresh.
func (s *settler) lookAgain(path string, now time.Time) {
	for _, d := range s.foldersUnder(path) {
		d.lost = false
		for _, f := range d.files {
			s.touch(f, now)
			f.missing = time.Time{}
		}
		s.tidy(d)
	}
}

// listed compares what a folder holds with what is known of it.
func (s *settler) listed(n news, now time.Time) {
	d := s.folder(n.path)
	s.mark++
	for _, name := range n.names {
		f := d.files[name]
		if f == nil {
			f = s.add(d, name, n.initial, now)
		} else if f.activity != nil && !f.missing.IsZero() {
			s.touch(f, now)
		}
		f.mark = s.mark
	}
	if len(d.files) > len(n.names) {
		for _, f := range d.files {
			if f.mark != s.mark {
				s.absent(f, now)
			}
		}
	}
	s.tidy(d)
}

func (s *settler) folder(path string) *folder {
	d := s.folders[path]
	if d == nil {
		d = &folder{path: path, files: map[string]*file{}}
		s.folders[path] = d
	}
	return d
}

func (s *settler) foldersUnder(path string) []*folder {
	var found []*folder
	for p, d := range s.folders {
		if under(p, path) {
			found = append(found, d)
		}
	}
	return found
}

func (s *settler) tidy(d *folder) {
	if len(d.files) == 0 && !d.lost {
		delete(s.folders, d.path)
	}
}

func (s *settler) add(d *folder, name string, initial bool, now time.Time) *file {
	f := &file{folder: d, name: name, initial: initial, waited: initial}
	d.files[name] = f
	s.files++
	if initial {
		s.waiting++
	}
	s.touch(f, now)
	return f
}

// touch has a file inspected now, and its rest begin anew.
func (s *settler) touch(f *file, now time.Time) {
	if f.activity == nil {
		f.activity = &activity{}
	}
	f.since = now
	f.looks = 0
	s.lookAt(f, now)
}

// lookAt plans the next inspection of a file.
func (s *settler) lookAt(f *file, t time.Time) {
	f.next = t
	if f.checking {
		f.touched = true // the verdict comes first, and is void
		return
	}
	s.active[f] = true
	if s.wake.IsZero() || t.Before(s.wake) {
		s.wake = t
	}
}

// rest ends a file's activity; only the sweep inspects it from then on.
func (s *settler) rest(f *file) {
	delete(s.active, f)
	f.activity = nil
}

// forget drops a file that is no more.
func (s *settler) forget(f *file) {
	f.gone = true
	delete(s.active, f)
	delete(s.retry, f)
	delete(f.folder.files, f.name)
	s.files--
	s.settled(f)
}

// settled notes that the first is known of a file that CaughtUp waits for.
func (s *settler) settled(f *file) {
	if f != nil && f.waited {
		f.waited = false
		s.waiting--
	}
	if s.walked && s.waiting == 0 && !s.caughtUp {
		s.caughtUp = true
		s.outbox.push(Event{Kind: CaughtUp})
	}
}

// look inspects every file whose time has come.
func (s *settler) look(now time.Time) {
	s.wake = time.Time{}
	for f := range s.active {
		switch {
		case f.folder.lost: // inspected when it is back
		case !f.next.After(now) && time.Since(now) < slice:
			s.lookNow(f, now)
		}
		if s.active[f] && !f.folder.lost && (s.wake.IsZero() || f.next.Before(s.wake)) {
			s.wake = f.next
		}
	}
	s.looked = time.Now()
}

func (s *settler) lookNow(f *file, now time.Time) {
	st, err := s.stat(f.path())
	if notThere(err) {
		s.notSeen(f, now)
		return
	}
	if err != nil {
		st = unknown
	}
	f.missing = time.Time{}
	if !f.looked || st != f.seen {
		grows := f.looked
		f.seen, f.looked = st, true
		f.since, f.looks = now, 0
		if grows {
			s.settled(f)
		}
	}
	if f.handed && f.bad == nil && st == f.told {
		// What was complete may go on after a pause, where no event reports
		// it; so it is inspected again for a while, ever less often.
		if f.after == 0 || f.after > s.scan {
			s.rest(f)
			return
		}
		s.lookAt(f, now.Add(f.after))
		f.after *= 2
		return
	}
	need := s.settle << f.looks
	if f.initial && !f.handed && f.looks == 0 && now.Sub(time.Unix(0, st.mtime)) > longRest && err == nil {
		need = 0
	}
	if now.Sub(f.since) >= need {
		f.checking = true
		delete(s.active, f)
		s.queue = append(s.queue, job{file: f, path: f.path(), want: st})
		return
	}
	next := now.Add(s.settle / 3)
	if done := f.since.Add(need); done.Before(next) {
		next = done
	}
	s.lookAt(f, next)
}

// notSeen is for a file that an inspection did not find.
func (s *settler) notSeen(f *file, now time.Time) {
	if !f.handed { // it never was complete, and nobody has heard of it
		d := f.folder
		s.forget(f)
		s.tidy(d)
		return
	}
	f.looked = false
	if f.missing.IsZero() {
		f.missing = now
	} else if now.Sub(f.missing) >= s.settle {
		// It is removed only if its folder can be read without it.
		s.ask(f.folder.path)
	}
	s.lookAt(f, now.Add(s.settle))
}

// absent is for a file that its folder, just read, does not hold.
func (s *settler) absent(f *file, now time.Time) {
	switch {
	case !f.handed:
		s.forget(f)
	case f.activity == nil || f.missing.IsZero():
		s.touch(f, now)
		f.missing, f.looked = now, false
	case now.Sub(f.missing) >= s.settle:
		path := f.path()
		s.forget(f)
		s.outbox.push(Event{Kind: Removed, Path: path})
	}
}

// judge takes the verdict on a file that was opened.
func (s *settler) judge(j job, now time.Time) {
	f := j.file
	if f.gone {
		return
	}
	touched := f.touched
	f.checking, f.touched = false, false
	switch {
	case notThere(j.err), f.folder.lost, touched:
		s.lookAt(f, now)
	case j.got != j.want:
		f.seen, f.since, f.looks = j.got, now, 0
		s.settled(f)
		s.lookAt(f, now.Add(s.settle/3))
	case j.err == nil:
		s.hand(f, j.got, nil, now)
	case inUse(j.err) && now.Sub(f.since) < longRest: // whoever writes it still holds it
		s.settled(f)
		s.lookAt(f, now.Add(s.settle))
	case f.handed && f.bad != nil && j.got == f.told: // as bad as it was
		s.retry[f] = now.Add(s.scan)
		s.rest(f)
	case f.looks+1 < patience:
		f.looks++
		s.settled(f)
		s.lookAt(f, f.since.Add(s.settle<<f.looks))
	default:
		s.hand(f, j.got, j.err, now)
	}
}

// hand hands out a file as it is now.
func (s *settler) hand(f *file, st stamp, err error, now time.Time) {
	e := Event{Kind: Arrived, Path: f.path(), Size: st.size, ModTime: time.Unix(0, st.mtime), Err: err}
	switch {
	case f.handed:
		e.Kind = Changed
	case f.initial:
		e.Kind = Found
	}
	if st == unknown {
		e.Size, e.ModTime = 0, time.Time{}
	}
	f.told, f.bad, f.handed, f.looks = st, err, true, 0
	s.outbox.push(e)
	s.settled(f)
	delete(s.retry, f)
	if err != nil {
		s.retry[f] = now.Add(s.scan)
	}
	if err != nil || now.Sub(e.ModTime) > longRest {
		s.rest(f)
		return
	}
	f.after = 2 * s.settle
	s.lookAt(f, now.Add(f.after))
}

// sweepSome inspects some of the files at rest, so that in the
// time of a scan all are, or in a longer time where they are very many.
func (s *settler) sweepSome(now time.Time) {
	if len(s.sweep) == 0 {
		if s.files == 0 {
			return
		}
		s.sweep = make([]*file, 0, s.files)
		for _, d := range s.folders {
			for _, f := range d.files {
				s.sweep = append(s.sweep, f)
			}
		}
	}
	n := min(s.files/max(int(s.scan/sweepEvery), 1)+1, sweepMost, len(s.sweep))
	for ; n > 0 && time.Since(now) < 2*slice; n-- {
		f := s.sweep[0]
		s.sweep = s.sweep[1:]
		if f.gone || f.folder.lost || f.activity != nil {
			continue
		}
		st, err := s.stat(f.path())
		if err != nil && !notThere(err) {
			st = unknown
		}
		if st != f.told || f.bad != nil && now.After(s.retry[f]) {
			s.touch(f, now)
		}
	}
}

// notThere reports whether an error means that there is no such file.
func notThere(err error) bool {
	return errors.Is(err, fs.ErrNotExist) || errors.Is(err, syscall.ENOTDIR)
}
