// Package tablet serves the page beside the set: what a [board.State] says, in letters that
// are read from three metres, with its pictures, for a tablet or a telephone on a stand.
//
// A [Server] is shown the states of a watch and hands them to every page that is open. It
// knows nothing of files: what a page may ask for is made by a [Gallery], under names that
// the server draws by lot. No path from a request reaches the file system.
package tablet

import (
	"context"
	"errors"
	"io"
	"net"
	"sync"

	"prestrike/audit/board"
	"prestrike/audit/report"
)

// A Gallery makes the pictures of a page. It is safe for use by several goroutines. Keys of
// sequences are those of a [board.Sequence]. A picture is nil where none can be made; the
// error is [ErrNotYet] where it may be later.
type Gallery interface {
	// Newest makes the picture of the newest frame, which has a file of this path.
	Newest(path string) (*report.Picture, error)
	// Deciding makes the picture that decides what a rule found in a sequence.
	Deciding(key, rule string) (*report.Picture, error)
	// Closed makes a sequence as one picture.
	Closed(key string) (*report.Picture, error)
	// WriteSequence writes a page on one sequence. It returns [report.ErrGone] where there
	// is none.
	WriteSequence(ctx context.Context, w io.Writer, key string) error
}

// ErrNotYet reports that what a picture is of is not known yet.
var ErrNotYet = errors.New("not known yet")

// Options steer a server.
type Options struct {
	Access
	Gallery Gallery // nil for no pictures
	Writer  Writer  // nil for a page that is for reading alone
}

// A Server serves the page of a set. Its methods are safe for use by several goroutines.
type Server struct {
	*site
	gallery Gallery
	writer  Writer
	turns   chan struct{} // of those who write

	// The lock of the site is held for these.
	state *board.State
	keys  map[string]string // of sequences that a page may open, by their names
	shelf *shelf
	// standing is what pages may declare; nil where they may not.
	standing *shownStanding

	quick chan struct{} // wakes the painter of what is needed at once
	slow  chan struct{} // and that of whole sequences
}

// New makes a server that has no state yet.
func New(opt Options) *Server {
	opt.Writes = opt.Writer != nil
	return &Server{
		site: newSite(opt.Access), gallery: opt.Gallery, writer: opt.Writer, turns: make(chan struct{}, mostAtOnce), keys: map[string]string{}, shelf: newShelf(),
		quick: make(chan struct{}, 1), slow: make(chan struct{}, 1),
	}
}

// Show takes in the state of the set, which must not change any more.
func (s *Server) Show(state *board.State) {
	s.mu.Lock()
	s.state = state
	clear(s.keys)
	if q := state.Sequence; q != nil {
		s.keys[s.name("sequence", q.Key)] = q.Key
	}
	for i := range state.Closed {
		s.keys[s.name("sequence", state.Closed[i].Key)] = state.Closed[i].Key
	}
	for i := range state.Findings {
		if key := state.Findings[i].Key; key != "" {
			s.keys[s.name("sequence", key)] = key
		}
	}
	s.mu.Unlock()
	s.spread()
	wake(s.quick)
	wake(s.slow)
}

// Serve answers requests on a listener until ctx ends, and then closes it. The error is nil
// where it ended by ctx.
func (s *Server) Serve(ctx context.Context, l net.Listener) error {
	painting, stop := context.WithCancel(ctx)
	var painters sync.WaitGroup
	if s.gallery != nil {
		painters.Go(func() {
			defer s.guard()
			s.paint(painting, s.quick, s.wantedNow)
		})
		painters.Go(func() {
			defer s.guard()
			s.paint(painting, s.slow, s.wantedLater)
		})
	}
	err := s.serve(ctx, l, s.Handler())
	stop()
	painters.Wait()
	return err
}
