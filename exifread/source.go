package exifread

import (
	"errors"
	"io"
	"sync"

	"prestrike/exifread/internal/ifd"
)

// Headers and directories lie close together, most often at the front, and are
// asked for a few bytes at a time. One larger read at the front and a few small
// ones elsewhere answer all of that within the budget of 64 KiB and 8 reads.
const (
	headBytes = 16 << 10
	pageBytes = 4 << 10
	pageCount = 8
)

// A source reads a file through a small cache. It remembers the first error of
// the medium, which is not damage of the content.
type source struct {
	r    io.ReaderAt
	size int64
	err  error

	head  page
	pages [pageCount]page
	next  int // the page to be replaced next

	memo    ifd.Memo
	headBuf [headBytes]byte
	pageBuf [pageCount][pageBytes]byte
}

type page struct {
	at int64
	b  []byte
}

// sources keeps the caches, so that reading thousands of files makes a handful.
var sources = sync.Pool{New: func() any { return new(source) }}

func newSource(r io.ReaderAt, size int64) *source {
	s := sources.Get().(*source)
	s.r, s.size, s.err, s.next = r, size, nil, 0
	s.head.b = nil
	for i := range s.pages {
		s.pages[i].b = nil
	}
	return s
}

// release gives the cache back; nothing may hold on to the source.
func (s *source) release() {
	s.r = nil
	sources.Put(s)
}

// ReadAt implements io.ReaderAt. Bytes from size on do not exist.
func (s *source) ReadAt(p []byte, off int64) (int, error) {
	if off < 0 || off >= s.size {
		return 0, io.EOF
	}
	short := int64(len(p)) > s.size-off
	if short {
		p = p[:s.size-off]
	}
	n, err := s.read(p, off)
	if err == nil && short {
		err = io.EOF
	}
	return n, err
}

func (s *source) read(p []byte, off int64) (int, error) {
	if b := s.cached(off, len(p)); b != nil {
		return copy(p, b), nil
	}
	switch {
	case off+int64(len(p)) <= headBytes && s.head.b == nil:
		s.head.b = s.headBuf[:min(headBytes, s.size)]
		if err := s.fill(&s.head, 0); err != nil {
			return 0, err
		}
	case len(p) <= pageBytes:
		// A page starts where it is needed: directories are read onwards.
		pg := &s.pages[s.next]
		pg.b = s.pageBuf[s.next][:min(pageBytes, s.size-off)]
		s.next = (s.next + 1) % pageCount
		if err := s.fill(pg, off); err != nil {
			return 0, err
		}
	default:
		n, err := s.r.ReadAt(p, off)
		if n == len(p) {
			err = nil
		}
		return n, s.note(err)
	}
	if b := s.cached(off, len(p)); b != nil {
		return copy(p, b), nil
	}
	return 0, io.EOF // the file is shorter than its size said
}

// cached returns n bytes at off, or nil where they are not held.
func (s *source) cached(off int64, n int) []byte {
	if b := s.head.slice(off, n); b != nil {
		return b
	}
	for i := range s.pages {
		if b := s.pages[i].slice(off, n); b != nil {
			return b
		}
	}
	return nil
}

func (p *page) slice(off int64, n int) []byte {
	if p.b == nil || off < p.at || off+int64(n) > p.at+int64(len(p.b)) {
		return nil
	}
	return p.b[off-p.at:][:n]
}

func (s *source) fill(p *page, off int64) error {
	n, err := s.r.ReadAt(p.b, off)
	if n < len(p.b) && s.note(err) != nil && !errors.Is(err, io.EOF) {
		p.b = nil
		return err
	}
	p.at, p.b = off, p.b[:n]
	return nil
}

func (s *source) note(err error) error {
	if err != nil && !errors.Is(err, io.EOF) && s.err == nil {
		s.err = err
	}
	return err
}
