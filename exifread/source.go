package exifread

import (
	"context"
	"errors"
	"io"
	"sync"

	"prestrike/exifread/internal/bmff"
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
	ctx  context.Context // of the one call that reads the file
	r    io.ReaderAt
	size int64
	err  error

	head  page
	pages [pageCount]page
	next  int // the page to be replaced next

	memo     ifd.Memo
	names    map[string]string // texts that many files repeat
	dirs     []directory       // of all structures of the file
	facts    facts
	embedded bool // the file's embedded picture was searched for an Exif block
	first    [bmff.BrandBytes]byte
	headBuf  [headBytes]byte
	pageBuf  [pageCount][pageBytes]byte
}

type page struct {
	at int64
	b  []byte
}

// sources keeps the caches, so that reading thousands of files makes a handful.
var sources = sync.Pool{New: func() any { return new(source) }}

func newSource(ctx context.Context, r io.ReaderAt, size int64) *source {
	s := sources.Get().(*source)
	s.ctx, s.r, s.size, s.err, s.next = ctx, r, size, nil, 0
	s.memo.Next()
	s.dirs, s.embedded = s.dirs[:0], false
	s.head.b = nil
	for i := range s.pages {
		s.pages[i].b = nil
	}
	return s
}

// newFacts returns empty facts that fill m.
func (s *source) newFacts(m *Metadata) *facts {
	s.facts = facts{m: m, src: s}
	return &s.facts
}

// release gives the cache back; nothing may hold on to the source.
func (s *source) release() {
	s.ctx, s.r, s.facts = nil, nil, facts{}
	sources.Put(s)
}

// ReadAt implements io.ReaderAt. Bytes from size on do not exist.
func (s *source) ReadAt(p []byte, off int64) (int, error) {
	if s.err != nil && errors.Is(s.err, ErrShrunk) { // what follows would be of another file
		return 0, s.err
	}
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
		return s.fetch(p, off)
	}
	return copy(p, s.cached(off, len(p))), nil
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
	p.at = off
	_, err := s.fetch(p.b, off)
	if err != nil {
		p.b = nil
	}
	return err
}

// fetch fills p, all of which lies within the size, from the medium.
func (s *source) fetch(p []byte, off int64) (int, error) {
	if err := s.ctx.Err(); err != nil {
		return 0, s.note(err)
	}
	n, err := s.r.ReadAt(p, off)
	switch {
	case n >= len(p):
		return len(p), nil
	case err == nil || errors.Is(err, io.EOF):
		err = ErrShrunk
	}
	return max(n, 0), s.note(err)
}

// note keeps the first error, which is the cause of those that follow.
func (s *source) note(err error) error {
	if s.err == nil {
		s.err = err
	}
	return err
}
