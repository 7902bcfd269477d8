package pictures

import (
	"context"
	"image"
	"runtime"
	"strings"
	"sync"
	"sync/atomic"

	"prestrike/audit/shoot"
	"prestrike/audit/slate"
	"prestrike/exifread"
)

// slatesVersion is changed whenever [slate.Read] may read something else in a picture.
const slatesVersion = "slates 1"

// A SlateReader reads the slates that were photographed, on all processors and within
// the budget of memory. The zero value is ready for use.
type SlateReader struct {
	// Progress, where not nil, is called with how many frames are done. Calls come one at
	// a time, from several goroutines.
	Progress func(done, total int)
	// Cache, where not nil, keeps what was read from one run to the next.
	Cache Cache
}

// Read searches frames for the codes of slates. Frames that show none are left out, and
// so are those whose pictures cannot be decoded. It returns the context's error where it
// was stopped, and an error where the program itself failed.
func (p *SlateReader) Read(ctx context.Context, frames []*shoot.Frame) (map[*shoot.Frame]slate.Reading, error) {
	found := map[*shoot.Frame]slate.Reading{}
	memory := newBudget(decodingBytes)
	var mu sync.Mutex
	var failed error
	fail := func(err error) {
		if err != nil && failed == nil {
			failed = err
		}
	}
	done := 0
	var next atomic.Int64
	var workers sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), len(frames)) {
		workers.Go(func() {
			var err error
			defer func() {
				mu.Lock()
				defer mu.Unlock()
				fail(err)
			}()
			defer exifread.Recovered(&err)
			for ctx.Err() == nil {
				i := int(next.Add(1)) - 1
				if i >= len(frames) {
					return
				}
				r, err := p.read(ctx, frames[i], memory)
				func() {
					mu.Lock()
					defer mu.Unlock()
					fail(err)
					if r != (slate.Reading{}) {
						found[frames[i]] = r
					}
					if done++; p.Progress != nil {
						p.Progress(done, len(frames))
					}
				}()
			}
		})
	}
	workers.Wait()
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	return found, failed
}

// The words that are kept for what a frame shows.
const (
	keptNothing = "nothing"
	keptUnread  = "unread"
)

// read reads the first picture of a frame that can be decoded.
func (p *SlateReader) read(ctx context.Context, f *shoot.Frame, memory *budget) (r slate.Reading, err error) {
	defer exifread.Recovered(&err)
	list := picturesIn(f)
	key := keyOf(slatesVersion+"\x00"+version, []string{list.key()})
	if p.Cache != nil {
		if text, ok := p.Cache.Get(key); ok {
			if text, ok := unsealed(key, text); ok {
				switch word := string(text); {
				case word == keptNothing:
					return slate.Reading{}, nil
				case word == keptUnread:
					return slate.Reading{Unread: true}, nil
				case slate.Valid(word):
					return slate.Reading{Text: word}, nil
				}
			}
		}
	}
	for i := range list {
		m, give, err := list[i].luma(ctx, memory)
		if err != nil {
			continue
		}
		r = slate.Read(m)
		give()
		if p.Cache != nil {
			word := keptNothing
			switch {
			case r.Text != "":
				word = strings.Clone(r.Text)
			case r.Unread:
				word = keptUnread
			}
			p.Cache.Put(key, sealed(key, []byte(word)))
		}
		return r, nil
	}
	return slate.Reading{}, nil
}

// slateSide is the long side, in pixels, down to which larger pictures are reduced for
// reading slates: a code of a tenth of the width then has modules of 4 px and more.
const slateSide = 2000

// luma decodes a picture to its luma, reduced to about [slateSide]. give hands the
// memory back.
func (c *candidate) luma(ctx context.Context, memory *budget) (m *image.Gray, give func(), err error) {
	var held int64
	give = func() { memory.give(held) }
	img, err := c.preview.Decode(ctx, c.file.Abs, func(n int64) {
		memory.take(n)
		held = n
	})
	if err != nil {
		give()
		return nil, nil, err
	}
	switch p := img.(type) {
	case *image.YCbCr: // the luma as it is, without a copy
		m = &image.Gray{Pix: p.Y, Stride: p.YStride, Rect: image.Rect(0, 0, p.Rect.Dx(), p.Rect.Dy())}
	case *image.Gray:
		m = p
	default:
		b := img.Bounds()
		m = image.NewGray(image.Rect(0, 0, b.Dx(), b.Dy()))
		for y := range b.Dy() {
			for x := range b.Dx() {
				m.Set(x, y, img.At(b.Min.X+x, b.Min.Y+y))
			}
		}
	}
	return slate.Reduced(m, slateSide), give, nil
}
