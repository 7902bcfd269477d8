package copies

import (
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"path"
	"strings"

	"prestrike/exifread"
)

// A Problem is why a file of the card is not in a copy.
type Problem uint8

const (
	Absence     Problem = iota // nothing like it is there
	TooFew                     // equal files of the card are there fewer times
	Differs                    // a file that should be it has other bytes
	Cut                        // a file is there that ends too early
	Longer                     // a file is there that goes on after its end
	Metadata                   // the same picture, with other metadata
	Unreadable                 // a file is there that cannot be read
	NotCompared                // the card's own file cannot be read
)

// String returns the word that JSON uses.
func (p Problem) String() string {
	return [...]string{"absent", "too-few", "differs", "cut", "longer", "metadata-edited", "unreadable", "card-unreadable"}[p]
}

// A Fault is a file of the card that is not in a copy as it is on the card.
type Fault struct {
	File    *File // of the card
	Problem Problem
	Like    *File // of the copy: what it seems to have become; nil where nothing does
	At      int64 // the first byte that differs, from 0, or -1 where that is not known; where it is cut, how many bytes are there
	// How many equal files are there and on the card, for TooFew.
	There, Wanted int
}

// Sentence reports what is wrong, without the name of the card's file.
func (f Fault) Sentence() string {
	like := ""
	if f.Like != nil && f.Like.Path != f.File.Path {
		like = " (" + f.Like.Path + ")"
	}
	switch f.Problem {
	case TooFew:
		return fmt.Sprintf("is on the card %d times with the same bytes, and there %d", f.Wanted, f.There)
	case Differs:
		if f.At < 0 {
			return "has other bytes there" + like
		}
		return fmt.Sprintf("has other bytes there, from byte %d on%s", f.At+1, like)
	case Cut:
		return fmt.Sprintf("is cut there, after %d of %d bytes%s", f.At, f.File.Size, like)
	case Longer:
		return fmt.Sprintf("is longer there, %d bytes more%s", f.Like.Size-f.File.Size, like)
	case Metadata:
		return "has other metadata there; the picture itself is whole" + like
	case Unreadable:
		return fmt.Sprintf("cannot be read there: %v%s", f.Like.Err, like)
	case NotCompared:
		return fmt.Sprintf("cannot be read on the card: %v", f.File.Err)
	}
	return "is not there"
}

const (
	endBytes = 1 << 20
	// Files beyond these are only reported as absent: reading them all again
	// would take as long as the comparison.
	explainedMost = 200
	endsMost      = 1000
)

// explain finds what became of missing files: files of their names, or that
// begin alike, beside those that were found.
func (a *Answer) explain(ctx context.Context, c *Copy, missing []Fault) error {
	if len(missing) == 0 {
		return nil
	}
	named := map[string][]*File{}
	folders := map[string]bool{}
	for f := range c.used {
		folders[path.Dir(f.Path)] = true
	}
	var near []*File // what may be renamed and damaged
	for _, f := range c.own {
		if c.used[f] || f.Kind == Housekeeping {
			continue
		}
		name := strings.ToLower(path.Base(f.Path))
		named[name] = append(named[name], f)
		if (len(folders) == 0 || folders[path.Dir(f.Path)]) && len(near) < endsMost {
			near = append(near, f)
		}
	}
	var e ends
	for i := range missing {
		m := &missing[i]
		if err := ctx.Err(); err != nil {
			return err
		}
		if i >= explainedMost {
			break
		}
		if m.Problem != Absence {
			continue
		}
		like := nearest(m.File, named[strings.ToLower(path.Base(m.File.Path))])
		switch {
		case a.Card == nil && like != nil && like.Err != nil:
			m.Problem, m.Like = Unreadable, like
		case a.Card == nil && like != nil:
			m.Problem, m.Like, m.At = Differs, like, -1
		case like != nil:
			a.compare(ctx, c, m, like)
		case a.Card != nil:
			e.read(c, near)
			if like := e.alike(a.Card.abs(m.File), m.File); like != nil {
				a.compare(ctx, c, m, like)
			}
		}
	}
	return ctx.Err()
}

// ends are the files of a copy by how they begin and end, so that one that was
// renamed and is damaged is recognised. Size alone shows nothing: many raw files
// are of one size.
type ends struct {
	done         bool
	heads, tails map[Sum][]*File
}

func (e *ends) read(c *Copy, files []*File) {
	if e.done {
		return
	}
	e.done = true
	e.heads, e.tails = map[Sum][]*File{}, map[Sum][]*File{}
	for _, f := range files {
		if head, tail, ok := endSums(c.abs(f)); ok {
			e.heads[head] = append(e.heads[head], f)
			e.tails[tail] = append(e.tails[tail], f)
		}
	}
}

func (e *ends) alike(name string, f *File) *File {
	head, tail, ok := endSums(name)
	if !ok {
		return nil
	}
	if like := nearest(f, e.heads[head]); like != nil {
		return like
	}
	return nearest(f, e.tails[tail])
}

// nearest returns the file of the same size and path before others.
func nearest(f *File, among []*File) *File {
	var best *File
	score := -1
	for _, o := range among {
		s := 0
		if o.Size == f.Size {
			s += 2
		}
		if o.Path == f.Path {
			s++
		}
		if s > score {
			best, score = o, s
		}
	}
	return best
}

// endSums returns the SHA-256 of the first and of the last bytes of a file.
func endSums(name string) (first, last Sum, ok bool) {
	f, err := openFile(name)
	if err != nil {
		return first, last, false
	}
	defer f.Close() // nothing was written that could get lost
	info, err := f.Stat()
	if err != nil || !info.Mode().IsRegular() || info.Size() == 0 {
		return first, last, false
	}
	sum := func(at int64) Sum {
		h := sha256.New()
		_, e := io.Copy(h, io.NewSectionReader(f, at, endBytes))
		err = errors.Join(err, e)
		return Sum(h.Sum(nil))
	}
	first, last = sum(0), sum(max(0, info.Size()-endBytes))
	return first, last, err == nil
}

// compare reports how a file of the copy differs from the card's.
func (a *Answer) compare(ctx context.Context, c *Copy, m *Fault, like *File) {
	if like.Err != nil {
		m.Problem, m.Like = Unreadable, like
		return
	}
	at, err := firstDifference(ctx, a.Card.abs(m.File), c.abs(like))
	if err != nil {
		if ctx.Err() == nil {
			like.Err = plain(err)
			m.Problem, m.Like = Unreadable, like
		}
		return
	}
	m.Like, m.At = like, at
	switch {
	case at < 0: // it was put right meanwhile, or still changes
		like.Err = ErrChanging
		m.Problem = Unreadable
	case at == like.Size:
		m.Problem = Cut
	case at == m.File.Size:
		m.Problem = Longer
	default:
		m.Problem = Differs
	}
	if m.Problem != Cut && at >= 0 && m.File.Kind == Content && samePicture(ctx, a.Card.abs(m.File), c.abs(like)) {
		m.Problem = Metadata
	}
}

// firstDifference returns the first byte in which two files differ, or where the
// shorter one ends; -1 where they are equal.
func firstDifference(ctx context.Context, a, b string) (int64, error) {
	f, err := openFile(a)
	if err != nil {
		return 0, err
	}
	defer f.Close() // nothing was written that could get lost
	g, err := openFile(b)
	if err != nil {
		return 0, err
	}
	defer g.Close() // nothing was written that could get lost
	fromMedium(g, 1)
	x, y := make([]byte, blockBytes), make([]byte, blockBytes)
	for at := int64(0); ; {
		if err := ctx.Err(); err != nil {
			return 0, err
		}
		n, errF := io.ReadFull(f, x)
		k, errG := io.ReadFull(g, y)
		both := min(n, k)
		if !bytes.Equal(x[:both], y[:both]) {
			for i := range both {
				if x[i] != y[i] {
					return at + int64(i), nil
				}
			}
		}
		at += int64(both)
		for _, err := range []error{errF, errG} {
			if err != nil && err != io.EOF && err != io.ErrUnexpectedEOF {
				return 0, err
			}
		}
		switch {
		case n != k:
			return at, nil
		case n < blockBytes:
			return -1, nil
		}
	}
}

// samePicture reports whether two files show the same picture for sure, and
// differ in their metadata only.
func samePicture(ctx context.Context, a, b string) bool {
	x, ok := pictureSum(ctx, a)
	if !ok {
		return false
	}
	y, ok := pictureSum(ctx, b)
	return ok && x == y
}

func pictureSum(ctx context.Context, name string) (Sum, bool) {
	f, err := openFile(name)
	if err != nil {
		return Sum{}, false
	}
	defer f.Close() // nothing was written that could get lost
	info, err := f.Stat()
	if err != nil {
		return Sum{}, false
	}
	h := sha256.New()
	if exifread.PictureData(ctx, h, f, info.Size()) != nil {
		return Sum{}, false
	}
	return Sum(h.Sum(nil)), true
}
