package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"prestrike/audit"
	"prestrike/audit/report"
	"prestrike/audit/shoot"
	"prestrike/audit/words"
	"prestrike/exifread"
	"prestrike/watch"
)

// finish prints the report on all that is there. The context is that of the watch,
// which has ended.
func (w *watching) finish(ctx context.Context) (status, error) {
	told := time.Now()
	w.c.takeDown()
	w.c.endLine()
	json := w.f.format == "json"
	// What is not inspected cannot be found: the report would be good.
	ctx = context.WithoutCancel(ctx)
	lost := w.readAll(ctx)
	if w.pictures != nil {
		w.opt.Measure = measureWith(w.c, json, w.pictures)
	}
	events, ruleErr := w.live.Look(ctx, w.now(), true, false)
	w.showEnd(events)
	if ruleErr != nil {
		w.say("not everything was judged: %s", ruleErr)
	}
	w.endPrograms(told)
	r := w.live.Result()
	if r.Files.Frames == 0 && !json {
		text := "No frames came.\n"
		if n := len(r.Files.Unfinished); n > 0 {
			text = fmt.Sprintf("No frames came. %s not complete yet.\n", words.Count(n, "copy is", "copies are"))
		}
		return statusNotAudited, w.write([]byte(text))
	}
	var b bytes.Buffer
	if json {
		if err := report.WriteReportJSON(&b, r); err != nil {
			return statusNotAudited, err
		}
	} else {
		form, err := report.ParseForm("table")
		if err != nil {
			return statusNotAudited, err
		}
		b.WriteByte('\n')
		opt := &report.Options{Width: w.c.textWidth(false), Colour: w.colour}
		if err := form.Write(&b, r, opt); err != nil {
			return statusNotAudited, err
		}
	}
	end := status(r.Verdict)
	if r.Files.Frames == 0 || end == statusGood && (ruleErr != nil || lost) {
		end = statusNotAudited
	}
	return end, w.write(b.Bytes())
}

// showEnd shows those who are not at the terminal what closed with the watch.
func (w *watching) showEnd(events []audit.LiveEvent) {
	for _, e := range events {
		w.set.Report(e, w.now())
	}
	state := w.set.State(w.now())
	for _, show := range w.besides {
		show(&state)
	}
}

// readAll takes in all that is in the folder at this moment: a watch hands out
// only what rests. It reports whether the watched folder cannot be read.
func (w *watching) readAll(ctx context.Context) (lost bool) {
	line := w.c.newProgress(w.f.format == "json", "reading", "reading what came last")
	c, err := shoot.CollectBy(ctx, []string{w.folder}, w.readers.last, line.tell)
	line.end()
	if err != nil {
		if _, statErr := os.ReadDir(w.folder); statErr != nil {
			gone := fmt.Errorf("%s cannot be read now: this is the report on what was read before", w.folder)
			w.say("%s", gone)
			w.live.Lost(gone)
			return true
		}
		c = &shoot.Collection{Problems: []error{err}} // there is nothing but what cannot be read
	}
	for _, p := range c.Problems {
		w.sayOnce(p.Error())
	}
	var files []*shoot.File
	for _, folder := range w.lost {
		kept := w.readers.below(folder)
		if _, err := os.ReadDir(folder); err == nil && len(kept) > 0 {
			// An empty folder is left of it, which is no problem to read.
			c.Problems = append(c.Problems, fmt.Errorf("%s is empty now", folder))
		}
		files = append(files, kept...)
	}
	c.Files = append(files, c.Files...)
	w.live.SetAll(c, w.now())
	return false
}

// A readCache holds what was read of each file when it rested, so that a file
// is read once, and again only after it has changed.
type readCache struct {
	folder string
	settle time.Duration
	mu     sync.Mutex
	files  map[string]reading // by the path to open
}

// A reading is what was read of a file the last time.
type reading struct {
	file *shoot.File // nil where it is no picture
	// handed is true where the watch took it for complete, with this size and time.
	handed  bool
	size    int64
	modTime time.Time
}

func newReadCache(folder string, settle time.Duration) *readCache {
	return &readCache{folder: folder, settle: settle, files: map[string]reading{}}
}

func (r *readCache) rel(path string) string {
	rel, err := filepath.Rel(r.folder, path)
	if err != nil {
		return filepath.ToSlash(path)
	}
	return filepath.ToSlash(rel)
}

// ready reads a file that rests, and returns an error where it looks as if
// more of it were still to come.
func (r *readCache) ready(ctx context.Context, path string, _ int64) error {
	f := shoot.ReadFile(ctx, path, r.rel(path))
	if err := ctx.Err(); err != nil {
		return err
	}
	r.mu.Lock()
	known := r.files[path]
	known.file = f
	r.files[path] = known
	r.mu.Unlock()
	switch {
	case f == nil:
		return nil
	case f.Err != nil:
		return f.Err
	case f.Torn():
		return errors.New(f.Meta.Integrity.Reason)
	}
	return nil
}

// take returns what was read of a file that is handed out.
func (r *readCache) take(e watch.Event) (rel string, f *shoot.File) {
	r.mu.Lock()
	defer r.mu.Unlock()
	rel = r.rel(e.Path)
	known := r.files[e.Path]
	if e.Err != nil && (known.file == nil || known.file.Err == nil && !known.file.Torn()) { // it could not be opened
		known.file = &shoot.File{Path: rel, Abs: e.Path, Size: e.Size, Meta: &exifread.Metadata{}, Err: e.Err}
	}
	known.handed, known.size, known.modTime = true, e.Size, e.ModTime
	r.files[e.Path] = known
	return rel, known.file
}

func (r *readCache) forget(path string) (rel string) {
	r.mu.Lock()
	defer r.mu.Unlock()
	delete(r.files, path)
	return r.rel(path)
}

// below returns the pictures that were handed out below a folder.
func (r *readCache) below(folder string) []*shoot.File {
	r.mu.Lock()
	defer r.mu.Unlock()
	var files []*shoot.File
	for path, known := range r.files {
		if known.handed && known.file != nil && strings.HasPrefix(path, folder+string(filepath.Separator)) {
			files = append(files, known.file)
		}
	}
	return files
}

const (
	// lastRead is how long one file may take to be read for the last report.
	lastRead = 10 * time.Second
	// stillComing is for how long after its last change a file that does not read
	// well may be one that is still being written: more than the pauses of a
	// card reader and a share, and than the clocks of two machines usually differ.
	stillComing = time.Minute
)

// last reads a file for the last report, unless it is as it was handed out. One
// that does not read well, or does not show whether it is complete, is
// unfinished where its last change is not long ago.
func (r *readCache) last(ctx context.Context, abs, rel string) *shoot.File {
	info, err := os.Stat(abs)
	r.mu.Lock()
	known := r.files[abs]
	r.mu.Unlock()
	if err == nil && known.handed && known.size == info.Size() && known.modTime.Equal(info.ModTime()) {
		return known.file
	}
	f := readWithin(ctx, lastRead, abs, rel)
	if f == nil || err != nil {
		return f
	}
	rested := time.Since(info.ModTime())
	switch {
	case f.Err != nil || f.Torn():
		f.Unfinished = rested < stillComing
	case f.Meta.Integrity.State != exifread.IntegrityWhole:
		f.Unfinished = rested < r.settle
	}
	return f
}

// readWithin reads a file, but waits no longer than so long for it: a share may
// not answer.
func readWithin(ctx context.Context, limit time.Duration, abs, rel string) *shoot.File {
	ctx, cancel := context.WithTimeout(ctx, limit)
	defer cancel()
	read := make(chan *shoot.File, 1)
	go func() {
		f := &shoot.File{Path: rel, Abs: abs, Meta: &exifread.Metadata{}}
		defer func() { read <- f }()
		defer exifread.Recovered(&f.Err)
		f = shoot.ReadFile(ctx, abs, rel)
	}()
	late := &shoot.File{
		Path: rel, Abs: abs, Meta: &exifread.Metadata{},
		Err: fmt.Errorf("reading it took longer than %s", shoot.FormatDuration(limit)),
	}
	select {
	case f := <-read:
		if f != nil && errors.Is(f.Err, context.DeadlineExceeded) {
			return late
		}
		return f
	case <-ctx.Done():
		return late
	}
}
