package pictures

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"slices"
	"strconv"
	"strings"

	"prestrike/audit/pixels"
	"prestrike/audit/shoot"
	"prestrike/exifread"
)

// Reasons for which there is nothing to inspect in a frame.
const (
	noPreview      = "no preview"
	foreignPreview = "the preview is of a kind that is not decoded"
	damagedPreview = "the preview is damaged"
	smallPreview   = "the preview is too small"
	unreadPicture  = "the picture could not be read"
	hugePicture    = "decoding the picture would take more than 256 MiB of memory"
	failedHere     = "the program failed here, please report it"
)

// framePictures are those of a frame's files, the best to inspect first.
type framePictures []candidate

// A candidate is a picture of a frame.
type candidate struct {
	file    *shoot.File
	preview exifread.Preview
	// key reports whether the picture may have changed: path, size and time of
	// change of its file, and where in it the picture lies.
	key string
}

// What means no picture, as no path is empty.
const (
	noOther = "\x00"     // at the end of a frame's key
	notRead = "\x00\x00" // in place of pictures that are to be tried again: no key begins with it
)

// picturesIn returns the pictures of a frame.
func picturesIn(f *shoot.Frame) framePictures {
	var list framePictures
	for _, file := range f.Files {
		p, err := file.Meta.Picture()
		if err != nil {
			continue
		}
		list = append(list, newCandidate(file, p))
	}
	slices.SortStableFunc(list, func(a, b candidate) int { return cmp.Compare(a.preview.Misfit(), b.preview.Misfit()) })
	return list
}

func newCandidate(file *shoot.File, p exifread.Preview) candidate {
	changed := ""
	if info, err := os.Stat(file.Abs); err == nil {
		changed = strconv.FormatInt(info.ModTime().UnixNano(), 10)
	}
	return candidate{file, p, file.Abs + "\x00" + strconv.FormatInt(file.Size, 10) + "\x00" + changed + "\x00" + fmt.Sprint(p) + "\x00"}
}

// key is made of the keys of the pictures.
func (list framePictures) key() string {
	var b strings.Builder
	for _, c := range list {
		b.WriteString(c.key)
	}
	return b.String() + noOther
}

// look measures the first picture that can be, or reports why there is none.
func (list framePictures) look(ctx context.Context, memory *budget) glance {
	g := glance{why: noPreview}
	again := false
	for _, c := range list {
		g.tried += c.key
		m, err := c.measure(ctx, memory)
		if err == nil {
			g.measure, g.why = m, ""
			break
		}
		// The file may be there again, or free, at the next inspection.
		_, medium := errors.AsType[*fs.PathError](err)
		again = again || medium || ctx.Err() != nil
		if g.why = c.whyNot(err); again {
			g.why = unreadPicture
		}
	}
	switch {
	case again:
		g.tried = notRead
	case g.measure == nil:
		g.tried += noOther // another may serve
	}
	return g
}

// measure decodes and measures the picture. It waits for memory where others hold
// too much.
func (c *candidate) measure(ctx context.Context, memory *budget) (m *pixels.FrameMeasure, err error) {
	defer exifread.Recovered(&err)
	var held int64
	defer func() { memory.give(held) }()
	img, err := c.preview.Decode(ctx, c.file.Abs, func(n int64) {
		memory.take(n)
		held = n
	})
	if err != nil {
		return nil, err
	}
	return pixels.Measure(img)
}

// whyNot returns why a picture could not be decoded.
func (c *candidate) whyNot(err error) string {
	_, failed := errors.AsType[*exifread.PanicError](err)
	_, large := errors.AsType[*exifread.TooLargeError](err)
	_, medium := errors.AsType[*fs.PathError](err)
	switch {
	case medium:
		return unreadPicture
	case errors.Is(err, pixels.ErrTooSmall):
		return smallPreview
	case large:
		return hugePicture
	case failed:
		return failedHere
	case !errors.Is(err, exifread.ErrDamaged):
		return foreignPreview
	case c.preview.Offset == 0 && c.preview.Length == c.file.Size:
		return pixels.DamagedFile
	}
	return damagedPreview
}
