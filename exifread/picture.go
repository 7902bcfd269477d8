package exifread

import (
	"bufio"
	"errors"
	"fmt"
	picture "image" // image is a directory of TIFF here
	"image/jpeg"
	"io"
	"math"
	"os"
)

// What a picture for measuring may be. Previews of one to two megapixels show
// all that larger ones do, in a fraction of the time.
const (
	fewPixels  = 1_000_000
	manyPixels = 2_000_000
	// maxPixels bounds the memory of one decoded picture: no camera makes
	// JPEG pictures of more.
	maxPixels = 100_000_000
	// maxPixelsPerByte is above what a wholly black picture comes to: a block
	// of 64 pixels takes half a byte at least. What claims more is made to
	// take memory.
	maxPixelsPerByte = 1000
)

// ErrNoPreview says that a file holds no JPEG picture that could be decoded.
var ErrNoPreview = errors.New("no preview")

// Picture returns the place of the JPEG picture that serves best to look at the
// file: of the embedded ones, and of the file itself where it is a JPEG file,
// the one nearest to one to two megapixels. A picture whose size is not told
// comes last. It returns [ErrNoPreview] where there is none.
func (m *Metadata) Picture() (Preview, error) {
	list := m.Previews
	if m.Format == FormatJPEG && m.Integrity.State != IntegrityTorn {
		w, _ := m.Width.Get()
		h, _ := m.Height.Get()
		list = append(list[:len(list):len(list)], Preview{Length: m.Size, Width: int(w), Height: int(h)})
	}
	var best Preview
	for _, p := range list {
		if p.Length > 0 && (best.Length == 0 || p.Misfit() < best.Misfit()) {
			best = p
		}
	}
	if best.Length == 0 {
		return Preview{}, ErrNoPreview
	}
	return best, nil
}

// Misfit returns how far the picture's size lies from one to two megapixels, in
// powers of two: 0 within, infinite where the size is not told.
func (p Preview) Misfit() float64 {
	n := float64(p.Width) * float64(p.Height)
	switch {
	case n <= 0:
		return math.Inf(1)
	case n < fewPixels:
		return math.Log2(fewPixels / n)
	case n > manyPixels:
		return math.Log2(n / manyPixels)
	}
	return 0
}

// Decode reads the picture from the file it was found in. It is given as
// stored, before Orientation. Its size is looked at before memory is taken: a
// picture of more than 100 megapixels, or of more than its bytes can hold, is
// refused. Errors of the file system are *fs.PathError; all others say that the
// picture is damaged or of a kind of JPEG that is not decoded.
func (p Preview) Decode(path string) (picture.Image, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close() // nothing was written that could get lost
	return p.decode(f)
}

func (p Preview) decode(r io.ReaderAt) (picture.Image, error) {
	section := func() io.Reader {
		const buffer = 64 << 10
		return bufio.NewReaderSize(io.NewSectionReader(r, p.Offset, p.Length), int(min(buffer, max(p.Length, 1))))
	}
	c, err := jpeg.DecodeConfig(section())
	if err != nil {
		return nil, fmt.Errorf("damaged preview: %w", err)
	}
	n := int64(c.Width) * int64(c.Height)
	switch {
	case n > maxPixels:
		return nil, fmt.Errorf("preview of %d x %d pixels is too large", c.Width, c.Height)
	case n > maxPixelsPerByte*p.Length:
		return nil, fmt.Errorf("damaged preview: %d x %d pixels in %d bytes", c.Width, c.Height, p.Length)
	}
	img, err := jpeg.Decode(section())
	if err != nil {
		return nil, fmt.Errorf("damaged preview: %w", err)
	}
	return img, nil
}
