package exifread

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	picture "image" // image is a directory of TIFF here
	"image/color"
	stdjpeg "image/jpeg"
	"io"
	"io/fs"
	"math"

	"prestrike/audit/safefile"
	"prestrike/exifread/internal/jpeg"
)

// What a picture for measuring may be. Previews of one to two megapixels show
// all that larger ones do, in a fraction of the time.
const (
	fewPixels  = 1_000_000
	manyPixels = 2_000_000
	// thumbPixels is above what a thumbnail has: 160 x 120 by the standard, up to
	// 320 x 240 in the wild. Nothing can be measured in one.
	thumbPixels = 100_000
	// maxPixelsPerByte is above what a wholly black picture comes to: a block
	// of 64 pixels takes half a byte at least. What claims more is made to
	// take memory.
	maxPixelsPerByte = 1000
	// maxScans is above what programs write of a progressive picture, some ten.
	// A scan of a few bytes may have the decoder go through the whole picture: with so
	// many, one of a few kilobytes takes as long as the largest sound picture.
	maxScans = 16
)

// MaxPictureBytes bounds the memory that decoding one picture takes. Of the
// largest that cameras write, it holds 100 megapixels with colour at half the
// width (4:2:2, 2 bytes a pixel), and 178 at a quarter (4:2:0, 1.5 bytes).
const MaxPictureBytes = 256 << 20

// ErrNoPreview means that a file holds no JPEG picture that could be decoded.
var ErrNoPreview = errors.New("no preview")

// Picture returns the place of the JPEG picture that serves best to inspect the
// file: of the embedded ones, and of the file itself where it is a JPEG file,
// the one nearest to one to two megapixels. A picture whose size is not recorded
// comes last. It returns [ErrNoPreview] where there is none.
func (m *Metadata) Picture() (Preview, error) {
	var best Preview
	for _, p := range m.Pictures() {
		if p.Length > 0 && (best.Length == 0 || p.Misfit() < best.Misfit()) {
			best = p
		}
	}
	if best.Length == 0 {
		return Preview{}, ErrNoPreview
	}
	return best, nil
}

// Pictures returns the places of all JPEG pictures of the file: of the embedded ones, and
// of the file itself where it is a JPEG file that is whole, as far as its structure shows.
func (m *Metadata) Pictures() []Preview {
	list := m.Previews
	if m.Format == FormatJPEG && m.Integrity.State != IntegrityTorn {
		w, _ := m.Width.Get()
		h, _ := m.Height.Get()
		list = append(list[:len(list):len(list)], Preview{Length: m.Size, Width: int(w), Height: int(h)})
	}
	return list
}

// Misfit returns how far the picture's size lies from one to two megapixels, in
// powers of two: 0 within, infinite where the size is not recorded. A thumbnail is
// farther than any other picture.
func (p Preview) Misfit() float64 {
	n := float64(p.Width) * float64(p.Height)
	switch {
	case n <= 0:
		return math.Inf(1)
	case n < thumbPixels:
		return 64 + math.Log2(fewPixels/n)
	case n < fewPixels:
		return math.Log2(fewPixels / n)
	case n > manyPixels:
		return math.Log2(n / manyPixels)
	}
	return 0
}

// Decode reads the picture from the file it was found in. It is given as
// stored, before Orientation. Its header is inspected before memory is taken: a
// picture that would take more than [MaxPictureBytes], or has more pixels than
// its bytes can hold, is refused, the former with a *TooLargeError. claim, where
// not nil, is called with the bytes that decoding takes, before they are taken:
// the picture itself and what is in use beside it, to within 256 KiB. Errors of the file system are
// *fs.PathError, among them [ErrShrunk] where the file ends before the picture;
// those of a picture that is damaged [ErrDamaged]; where the program itself
// failed at the picture, a *PanicError; soon after ctx is done, its error. All
// others mean that it is of a kind of JPEG that is not decoded.
func (p Preview) Decode(ctx context.Context, path string, claim func(bytes int64)) (picture.Image, error) {
	f, err := safefile.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close() // nothing was written that could get lost
	info, err := f.Stat()
	if err != nil {
		return nil, err
	}
	img, err := p.decodeFrom(ctx, f, info.Size(), claim)
	if errors.Is(err, ErrShrunk) {
		return nil, &fs.PathError{Op: "read", Path: path, Err: ErrShrunk}
	}
	return img, err
}

// decodeFrom is Decode from an open file of size bytes. Errors of r keep their type.
func (p Preview) decodeFrom(ctx context.Context, r io.ReaderAt, size int64, claim func(bytes int64)) (img picture.Image, err error) {
	defer Recovered(&err)
	if p.Length > size-p.Offset {
		return nil, ErrShrunk
	}
	m := &medium{ctx: ctx, r: r}
	img, err = p.decode(m, claim)
	_, foreign := errors.AsType[stdjpeg.UnsupportedError](err)
	_, large := errors.AsType[*TooLargeError](err)
	switch {
	case m.err != nil:
		return nil, m.err
	case large || foreign:
		return nil, err
	case err != nil:
		return nil, fmt.Errorf("%w: %w", ErrDamaged, err)
	}
	return img, nil
}

// A medium reads a file of which all that is asked for should be there. It
// keeps the first error, which is not the picture's.
type medium struct {
	ctx context.Context // of the one call that reads
	r   io.ReaderAt
	err error
}

// ReadAt implements io.ReaderAt.
func (m *medium) ReadAt(p []byte, off int64) (int, error) {
	if m.err == nil {
		m.err = m.ctx.Err()
	}
	if m.err != nil {
		return 0, m.err
	}
	n, err := m.r.ReadAt(p, off)
	switch {
	case n == len(p):
		err = nil
	case err == nil || errors.Is(err, io.EOF):
		err = ErrShrunk
	}
	m.err = err
	return n, err
}

// ErrDamaged means that a picture cannot be decoded to its end.
var ErrDamaged = errors.New("damaged picture")

// A TooLargeError means that a picture would take more memory to decode than
// MaxPictureBytes.
type TooLargeError struct {
	Width, Height int   // pixels
	Bytes         int64 // that decoding would take
}

// Error gives the size, what it would take, and the limit.
func (e *TooLargeError) Error() string {
	return fmt.Sprintf("the picture of %d x %d pixels would take %d MiB of memory to decode, and %d MiB is the limit",
		e.Width, e.Height, e.Bytes>>20, MaxPictureBytes>>20)
}

func (p Preview) decode(r io.ReaderAt, claim func(int64)) (picture.Image, error) {
	section := func(from, to int64) io.Reader { return io.NewSectionReader(r, from, to-from) }
	end := p.Offset + p.Length
	c, err := stdjpeg.DecodeConfig(section(p.Offset, end))
	if err != nil {
		return nil, err
	}
	f, err := jpeg.ReadFrame(r, p.Offset, p.Length)
	if err != nil {
		return nil, err
	}
	if f.Width != c.Width || f.Height != c.Height {
		return nil, errors.New("two sizes")
	}
	bytes := decodedBytes(f, c.ColorModel)
	switch {
	case bytes > MaxPictureBytes:
		return nil, &TooLargeError{c.Width, c.Height, bytes}
	case int64(c.Width)*int64(c.Height) > maxPixelsPerByte*p.Length:
		return nil, fmt.Errorf("%d x %d pixels in %d bytes", c.Width, c.Height, p.Length)
	}
	if claim != nil {
		claim(bytes)
	}
	const buffer = 64 << 10
	whole := io.MultiReader(section(p.Offset, f.End), &scans{r: section(f.End, end)})
	return stdjpeg.Decode(bufio.NewReaderSize(whole, int(min(buffer, p.Length))))
}

// decodedBytes returns the memory that the decoder of the standard library takes
// for a picture: a byte a sample; in a progressive one 4 more, for coefficients
// are kept as int32 until the last scan; and 4 a pixel where the samples are
// turned into RGBA or CMYK at the end. Each component has its share of samples in
// whole units of 8 x 8 (T.81 A.1.1, A.2.4).
func decodedBytes(f jpeg.Frame, model color.Model) int64 {
	if len(f.Components) == 1 { // its factors do not count
		f.Components = []jpeg.Component{{H: 1, V: 1}}
	}
	units := func(pixels, factor int) int64 {
		edge := 8 * max(factor, 1)
		return int64((pixels + edge - 1) / edge)
	}
	across, down := units(f.Width, f.Components[0].H), units(f.Height, f.Components[0].V)
	var samples int64
	for _, c := range f.Components {
		samples += across * down * 64 * int64(c.H*c.V)
	}
	bytes := samples
	if f.Progressive {
		bytes += 4 * samples
	}
	if model != color.GrayModel && model != color.YCbCrModel {
		bytes += 4 * int64(f.Width) * int64(f.Height)
	}
	return bytes
}

// scans reads a picture behind its frame header, and ends it before what no
// camera writes there: a scan too many, or an application segment that has the
// decoder turn the samples into other colours, for which no memory was counted.
type scans struct {
	r      io.Reader
	n      int
	marker bool // the last byte was the first of a marker
}

// Markers of T.81 table B.1.
const (
	mSOS   = 0xDA
	mAPP0  = 0xE0 // JFIF
	mAPP14 = 0xEE // the colours of the components
)

// Read implements io.Reader. It may read ahead past the end of the picture, so
// an error follows what comes before it.
func (s *scans) Read(p []byte) (int, error) {
	n, err := s.r.Read(p)
	for i := 0; i < n; i++ {
		if !s.marker {
			next := bytes.IndexByte(p[i:n], 0xFF)
			if next < 0 {
				break
			}
			s.marker = true
			i += next
			continue
		}
		b := p[i]
		if b == mSOS {
			s.n++
		}
		if b == mAPP0 || b == mAPP14 || s.n > maxScans {
			return i, fmt.Errorf("marker %02X where no camera writes it", b)
		}
		s.marker = b == 0xFF
	}
	return n, err
}
