package tablet

import (
	"context"
	"errors"
	"time"

	"prestrike/audit/report"
)

// mostKept is how many pictures are kept for pages: those of a state, and of the one before
// it, which a page may still be asking for. Each has 300 KB at most.
const mostKept = 48

// A shelf keeps the pictures that were made last, by their names.
type shelf struct {
	made  map[string]*report.Picture // nil for one that could not be made
	order []string                   // the oldest first
}

func newShelf() *shelf { return &shelf{made: map[string]*report.Picture{}} }

func (s *shelf) get(name string) *report.Picture { return s.made[name] }

func (s *shelf) has(name string) bool {
	_, ok := s.made[name]
	return ok
}

func (s *shelf) put(name string, p *report.Picture) {
	if !s.has(name) {
		s.order = append(s.order, name)
	}
	s.made[name] = p
	for len(s.order) > mostKept {
		delete(s.made, s.order[0])
		s.order = s.order[1:]
	}
}

// A wanted is a picture that the state shows.
type wanted struct {
	name string
	make func() (*report.Picture, error)
}

// wantedNow lists what is needed at once: what to do, and the newest frame.
func (s *Server) wantedNow() []wanted {
	state := s.state
	if state == nil {
		return nil
	}
	var list []wanted
	if f := deciding(state); f != nil {
		key, rule := f.Key, f.Rule
		list = append(list, wanted{decidingName(f), func() (*report.Picture, error) { return s.gallery.Deciding(key, rule) }})
	}
	if f := state.Last; f != nil {
		path := f.Path
		list = append(list, wanted{newestName(f), func() (*report.Picture, error) { return s.gallery.Newest(path) }})
	}
	return list
}

// wantedLater lists what takes long: whole sequences.
func (s *Server) wantedLater() []wanted {
	if s.state == nil {
		return nil
	}
	var list []wanted
	for i := range s.state.Closed {
		q := &s.state.Closed[i]
		key := q.Key
		list = append(list, wanted{closedName(q), func() (*report.Picture, error) { return s.gallery.Closed(key) }})
	}
	return list
}

// restAfter is how many times as long as it took to make a picture the painter rests: the
// watch and its pictures come first.
const restAfter = 1

// paint makes the pictures of the latest state, one at a time, each time that it is woken.
func (s *Server) paint(ctx context.Context, woken <-chan struct{}, list func() []wanted) {
	for {
		select {
		case <-ctx.Done():
			return
		case <-woken:
		}
		for next := s.lacks(list); next != nil && ctx.Err() == nil; next = s.lacks(list) {
			began := time.Now()
			p, err := next.make()
			if errors.Is(err, ErrNotYet) {
				break // the next state asks for it again
			}
			s.mu.Lock()
			s.shelf.put(s.name("picture", next.name), p)
			s.mu.Unlock()
			if p != nil {
				s.spread()
			}
			select {
			case <-ctx.Done():
			case <-time.After(restAfter * time.Since(began)):
			}
		}
	}
}

// lacks returns the first picture of a list that was not made yet; nil for none.
func (s *Server) lacks(list func() []wanted) *wanted {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, w := range list() {
		if !s.shelf.has(s.name("picture", w.name)) {
			return &w
		}
	}
	return nil
}
