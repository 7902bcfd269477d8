package watch

import (
	"maps"
	"slices"
	"sync"

	"github.com/fsnotify/fsnotify"
)

// op is what an inbox remembers of a path: which kinds of event it had.
type op uint8

const (
	opCreated op = 1 << iota // something appeared under this name
	opWritten
	opAttrib // its attributes changed
	opGone   // removed or renamed away
	opCheck  // a folder whose listing is wanted
)

// maxInbox paths wait at most, some 20 MB; past that, all are to be inspected.
const maxInbox = 100_000

// An inbox gathers what to inspect. Events of one path become one, so it can
// always take more without growing, and its senders never wait: the system's
// own queue of events is short.
type inbox struct {
	wake chan struct{} // holds a token when there is something to take

	mu       sync.Mutex
	paths    map[string]op
	overflow bool
}

func newInbox() *inbox {
	return &inbox{wake: make(chan struct{}, 1), paths: map[string]op{}}
}

func (b *inbox) add(path string, o op) {
	b.mu.Lock()
	b.paths[path] |= o
	if len(b.paths) > maxInbox {
		b.paths, b.overflow = map[string]op{}, true
	}
	b.mu.Unlock()
	b.signal()
}

func (b *inbox) overflowed() {
	b.mu.Lock()
	b.overflow = true
	b.mu.Unlock()
	b.signal()
}

func (b *inbox) signal() {
	select {
	case b.wake <- struct{}{}:
	default:
	}
}

// A batch is what an inbox held.
type batch struct {
	paths    map[string]op
	overflow bool
}

func (b *inbox) take() batch {
	b.mu.Lock()
	defer b.mu.Unlock()
	got := batch{b.paths, b.overflow}
	b.paths, b.overflow = map[string]op{}, false
	return got
}

// sorted returns the paths with folders before what is in them.
func (b batch) sorted() []string { return slices.Sorted(maps.Keys(b.paths)) }

func opOf(o fsnotify.Op) op {
	var got op
	if o.Has(fsnotify.Create) {
		got |= opCreated
	}
	if o.Has(fsnotify.Remove) || o.Has(fsnotify.Rename) {
		got |= opGone
	}
	if o.Has(fsnotify.Write) {
		got |= opWritten
	}
	if o.Has(fsnotify.Chmod) {
		got |= opAttrib
	}
	return got
}
