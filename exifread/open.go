package exifread

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"

	"prestrike/audit/safefile"
	"prestrike/exifread/internal/bmff"
	"prestrike/exifread/internal/jpeg"
	"prestrike/exifread/internal/jxl"
	"prestrike/exifread/internal/layout"
	"prestrike/exifread/internal/png"
	"prestrike/exifread/internal/raf"
	"prestrike/exifread/internal/scan"
	"prestrike/exifread/internal/webp"
)

// ReadFile reads what the file at path records of itself. The Metadata is never
// nil. Errors are those of Read, with the path in front of them, and those of
// opening and reading the file, which are *fs.PathError, [ErrShrunk] among
// them. What is no ordinary file is refused with [safefile.ErrNotRegular], also
// where it takes the file's place at that moment.
func ReadFile(ctx context.Context, path string) (*Metadata, error) {
	f, info, err := safefile.OpenListed(path)
	if err != nil {
		m := new(Metadata)
		if info, statErr := os.Stat(path); statErr == nil && info.Mode().IsRegular() {
			m.Size, m.Modified = info.Size(), info.ModTime()
		}
		return m, err
	}
	defer f.Close() // nothing was written that could get lost
	m, err := Read(ctx, f, info.Size())
	m.Modified = info.ModTime()
	return m, withPath(err, path)
}

// withPath names the file in an error that does not.
func withPath(err error, path string) error {
	if _, named := errors.AsType[*fs.PathError](err); err == nil || named {
		return err
	}
	if errors.Is(err, ErrShrunk) {
		return &fs.PathError{Op: "read", Path: path, Err: ErrShrunk}
	}
	return fmt.Errorf("read %s: %w", path, err)
}

// Read reads what a file of size bytes records of itself. The Metadata is never
// nil and holds all that could be read, also beside an error:
//
//   - nil: a picture of a known format, from which something can be shown. It
//     may be without capture data (HasExif), torn (Integrity), or damaged in
//     places (Problems).
//   - *FormatError: damaged beyond use.
//   - ErrNotPicture: nothing that is known.
//   - *UnsupportedError: a sound file of a kind that is not read.
//   - [ErrShrunk]: r ended before size; the content is not judged.
//   - *PanicError: the program failed at this content.
//   - the error of ctx, soon after it is done.
//   - any other: the medium could not be read, whatever the content.
func Read(ctx context.Context, r io.ReaderAt, size int64) (m *Metadata, err error) {
	m = &Metadata{Size: size}
	if size <= 0 {
		return m, &FormatError{Problem: "the file is empty"}
	}
	src := newSource(ctx, r, size)
	defer src.release()
	defer Recovered(&err)
	err = read(src, m)
	if src.err != nil { // not damage: the medium failed
		err = src.err
	}
	return m, err
}

func read(src *source, m *Metadata) error {
	n, err := src.ReadAt(src.first[:], 0)
	if err != nil && !errors.Is(err, io.EOF) {
		return err
	}
	head := src.first[:n]
	kind := sniff(head)
	if kind.unsupported != "" {
		return &UnsupportedError{What: kind.unsupported}
	}
	m.Format = kind.format
	switch {
	case m.Format == FormatUnknown:
		return unknown(src, head)
	case kind.scan == nil:
		return readTIFF(src, m)
	}
	l, err := kind.scan(src, src.size)
	if damage, ok := errors.AsType[*scan.Error](err); ok {
		return &FormatError{Format: m.Format, Offset: damage.Offset, Problem: damage.What}
	}
	if err != nil {
		return err
	}
	readLayout(src, m, &l)
	return nil
}

// A kind is what the first bytes of a file show.
type kind struct {
	format      Format
	scan        func(io.ReaderAt, int64) (layout.Layout, error) // nil for TIFF structures
	unsupported string                                          // a kind of file that is not read
}

// signatures lists how files begin. The first that fits counts.
var signatures = []struct {
	at    int
	bytes string
	kind  kind
}{
	{0, "\xFF\xD8\xFF", kind{format: FormatJPEG, scan: jpeg.Scan}},
	{0, "II*\x00", kind{format: FormatTIFF}},
	{0, "MM\x00*", kind{format: FormatTIFF}},
	{0, "II+\x00", kind{format: FormatBigTIFF}},
	{0, "MM\x00+", kind{format: FormatBigTIFF}},
	{0, "IIRO", kind{format: FormatORF}},
	{0, "IIRS", kind{format: FormatORF}},
	{0, "MMOR", kind{format: FormatORF}},
	{0, "IIU\x00", kind{format: FormatRW2}},
	{0, raf.Magic, kind{format: FormatRAF, scan: raf.Scan}},
	{0, "GIF8", kind{unsupported: "a GIF picture"}},
	{0, "8BPS", kind{unsupported: "a PSD picture"}},
	{0, "FOVb", kind{unsupported: "an X3F raw file"}},
	{0, "\x00MRM", kind{unsupported: "an MRW raw file"}},
	{6, "HEAPCCDR", kind{unsupported: "a CRW raw file"}},
	{0, "II\xBC\x01", kind{unsupported: "a JPEG XR picture"}},
	{0, "\x00\x00\x00\x0CjP  ", kind{unsupported: "a JPEG 2000 picture"}},
	{0, "\xFF\x4F\xFF\x51", kind{unsupported: "a JPEG 2000 picture"}},
	{0, "v/1\x01", kind{unsupported: "an OpenEXR picture"}},
	{0, "%PDF-", kind{unsupported: "a PDF document"}},
	{8, "AVI ", kind{unsupported: "a movie file (AVI)"}},
	{0, "\x1A\x45\xDF\xA3", kind{unsupported: "a movie file (Matroska)"}},
	{0, "\x00\x00\x01\xBA", kind{unsupported: "a movie file (MPEG)"}},
	{4, "moov", kind{unsupported: "a movie file (QuickTime)"}},
	{4, "mdat", kind{unsupported: "a movie file (QuickTime)"}},
	{4, "wide", kind{unsupported: "a movie file (QuickTime)"}},
}

func sniff(head []byte) kind {
	for _, s := range signatures {
		if len(head) >= s.at+len(s.bytes) && string(head[s.at:s.at+len(s.bytes)]) == s.bytes {
			return s.kind
		}
	}
	// BMP has only two letters; its reserved bytes are 0 and its header's size is one of few.
	if len(head) >= 18 && string(head[:2]) == "BM" && string(head[6:10]) == "\x00\x00\x00\x00" && head[15]|head[16]|head[17] == 0 {
		return kind{unsupported: "a BMP picture"}
	}
	switch {
	case png.Is(head):
		return kind{format: FormatPNG, scan: png.Scan}
	case webp.Is(head):
		return kind{format: FormatWebP, scan: webp.Scan}
	case jxl.Is(head):
		return kind{format: FormatJXL, scan: jxl.Scan}
	}
	switch k, _ := bmff.Brand(head); k {
	case bmff.KindRaw:
		return kind{format: FormatCR3, scan: bmff.Scan}
	case bmff.KindHEIF:
		return kind{format: FormatHEIF, scan: bmff.Scan}
	case bmff.KindAVIF:
		return kind{format: FormatAVIF, scan: bmff.Scan}
	case bmff.KindOther:
		return kind{unsupported: "a movie or other file (ISO base media)"}
	}
	return kind{}
}

// blankBytes is how much of a file that begins with one repeated byte is
// inspected, to report how far that goes.
const blankBytes = 128 << 20

// unknown distinguishes a file that was never filled from one that is something else.
func unknown(src *source, head []byte) error {
	blank := head[0]
	for _, c := range head {
		if c != blank {
			return ErrNotPicture
		}
	}
	buf := make([]byte, min(64<<10, src.size))
	for at := int64(0); at < src.size && at < blankBytes; at += int64(len(buf)) {
		b := buf[:min(int64(len(buf)), src.size-at)]
		if n, err := src.ReadAt(b, at); n < len(b) {
			return err
		}
		for i, c := range b {
			if c != blank {
				return &FormatError{Problem: fmt.Sprintf("the first %s are all %#02x", count(at+int64(i), "byte"), blank)}
			}
		}
	}
	if src.size > blankBytes {
		return &FormatError{Problem: fmt.Sprintf("the first %s are all %#02x", count(blankBytes, "byte"), blank)}
	}
	return &FormatError{Problem: fmt.Sprintf("every byte is 0x%02X", blank)}
}

// readLayout reads what a container points to.
func readLayout(src *source, m *Metadata, l *layout.Layout) {
	for _, p := range l.Problems {
		m.problem(Problem{Where: p.Where, Offset: p.Offset, What: p.What})
	}
	for _, p := range l.Previews {
		m.Previews = append(m.Previews, Preview(p))
	}
	if l.Width > 0 && l.Height > 0 {
		m.Width, m.Height = Of(l.Width), Of(l.Height)
	}
	f := src.newFacts(m)
	// The Exif IFD counts before IFD0, also where each has a block of its own.
	for _, role := range []layout.Role{layout.RoleExif, layout.RoleMain} {
		for i := range l.Blocks {
			if l.Blocks[i].Role == role {
				readBlock(src, f, &l.Blocks[i])
			}
		}
	}
	f.finish()
	switch {
	case l.Torn != "":
		m.Integrity = Integrity{IntegrityTorn, l.Torn}
	case l.Checked:
		m.Integrity = Integrity{State: IntegrityWhole}
	default:
		m.Integrity = Integrity{IntegrityUnchecked, "the file does not record where its image data ends"}
	}
	finishPreviews(src, m)
}
