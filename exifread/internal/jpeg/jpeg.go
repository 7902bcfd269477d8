// Package jpeg finds Exif blocks, embedded pictures, the pixel size and the
// end of JPEG files (ITU-T T.81; CIPA DC-008 for Exif, CIPA DC-007 for the
// index of several pictures in one file). No picture is decoded.
package jpeg

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"sync"

	"prestrike/exifread/internal/ifd"
	"prestrike/exifread/internal/layout"
	"prestrike/exifread/internal/scan"
)

// The markers of ITU-T T.81 table B.1 that matter here.
const (
	mSOF0  = 0xC0
	mSOF2  = 0xC2
	mDHT   = 0xC4
	mJPG   = 0xC8
	mDAC   = 0xCC
	mRST0  = 0xD0
	mRST7  = 0xD7
	mSOI   = 0xD8
	mEOI   = 0xD9
	mSOS   = 0xDA
	mDQT   = 0xDB
	mDNL   = 0xDC
	mDRI   = 0xDD
	mAPP0  = 0xE0
	mAPP1  = 0xE1
	mAPP2  = 0xE2
	mAPP15 = 0xEF
	mCOM   = 0xFE
	mTEM   = 0x01
)

// Limits. Honest files stay far below them.
const (
	maxSegments = 4096
	maxGarbage  = 4096      // bytes skipped between segments, in all
	maxBlocks   = 4         // Exif segments
	maxPictures = 64        // entries of an index of pictures
	maxWalk     = 128 << 20 // bytes behind the header that are walked for the end of the picture
	maxProblems = 16

	maxComponents = 4 // of a frame; decoders know no more
)

// Scan finds what a JPEG file holds. The error is a *scan.Error where the file
// ends or breaks before anything that can be shown, else that of the reader.
func Scan(r io.ReaderAt, size int64) (layout.Layout, error) {
	s := newScanner(r, size)
	defer s.release()
	soi, err := s.peek(0, 2)
	if err != nil && !errors.Is(err, scan.ErrPastEnd) {
		return layout.Layout{}, err
	}
	if err != nil || soi[0] != 0xFF || soi[1] != mSOI {
		return layout.Layout{}, &scan.Error{What: "the start marker is missing"}
	}
	if err := s.header(); err != nil {
		return layout.Layout{}, err
	}
	if s.data == 0 && len(s.l.Blocks) == 0 && s.l.Width == 0 {
		return layout.Layout{}, &scan.Error{Offset: s.at, What: s.stop}
	}
	if err := s.end(); err != nil {
		return layout.Layout{}, err
	}
	return s.l, nil
}

// scanners are kept, as their memory would make most of the garbage of a read.
var scanners = sync.Pool{New: func() any { return new(scanner) }}

func newScanner(r io.ReaderAt, size int64) *scanner {
	s := scanners.Get().(*scanner)
	*s = scanner{r: r, size: size, walker: s.walker}
	return s
}

// release gives the scanner back; nothing may hold on to it.
func (s *scanner) release() {
	*s = scanner{walker: s.walker}
	scanners.Put(s)
}

type scanner struct {
	r    io.ReaderAt
	size int64
	l    layout.Layout
	buf  [64]byte

	at      int64  // how far the header was walked
	data    int64  // where entropy-coded data begins; 0 where the header ends before
	stop    string // why the header ended before image data
	garbage int64  // bytes skipped between segments
	walked  int64  // bytes behind the header that were read
	indexed bool   // an index of pictures was read
	primary int64  // bytes of the main picture by the index of pictures; 0 where there is none

	walker *bufio.Reader // once the end of a picture was walked to
}

// peek returns n bytes at off, at most 64, valid until the next call. The
// error is scan.ErrPastEnd where the file ends before, else that of the reader.
func (s *scanner) peek(off int64, n int) ([]byte, error) {
	if off > s.size-int64(n) {
		return nil, scan.ErrPastEnd
	}
	return s.buf[:n], scan.ReadFull(s.r, s.buf[:n], off)
}

// header walks the segments up to the first scan.
func (s *scanner) header() error {
	s.at = 2
	for range maxSegments {
		b, err := s.peek(s.at, 4)
		if errors.Is(err, scan.ErrPastEnd) {
			s.stop = "the file ends inside its header"
			return nil
		}
		if err != nil {
			return err
		}
		marker := b[1]
		switch {
		case b[0] != 0xFF:
			if ok, err := s.skipGarbage(); err != nil || !ok {
				return err
			}
			continue
		case marker == 0xFF: // fill byte (T.81 B.1.1.2)
			s.at++
			continue
		case marker == mEOI:
			s.stop = "the picture ends before its image data begins"
			return nil
		case marker == mTEM || marker >= mRST0 && marker <= mSOI: // no length
			s.at += 2
			continue
		case marker == 0 || marker < mSOF0:
			s.stop = "the header is damaged"
			return nil
		}
		length := int64(b[2])<<8 | int64(b[3])
		if length < 2 {
			s.stop = "the header is damaged"
			return nil
		}
		end := s.at + 2 + length
		if end > s.size {
			// What lies inside may still be read: Exif stands at the front.
			if err := s.segment(marker, s.at+4, s.size-s.at-4); err != nil {
				return err
			}
			s.stop = "the file ends inside its header"
			return nil
		}
		if marker == mSOS {
			s.data = end
			return nil
		}
		if err := s.segment(marker, s.at+4, length-2); err != nil {
			return err
		}
		s.at = end
	}
	s.stop = "the header has no end"
	return nil
}

// skipGarbage goes on to the next marker, as decoders do.
func (s *scanner) skipGarbage() (bool, error) {
	b := make([]byte, min(maxGarbage-s.garbage, s.size-s.at))
	if err := scan.ReadFull(s.r, b, s.at); err != nil {
		return false, err
	}
	for i := 0; i+1 < len(b); i++ {
		if b[i] == 0xFF && b[i+1] >= mSOF0 && b[i+1] != 0xFF {
			s.problem("JPEG header", s.at, fmt.Sprintf("%d bytes that belong to no segment", i))
			s.at += int64(i)
			s.garbage += int64(i)
			return true, nil
		}
	}
	s.stop = "the header is damaged"
	return false, nil
}

func (s *scanner) problem(where string, at int64, what string) {
	if len(s.l.Problems) < maxProblems {
		s.l.Problems = append(s.l.Problems, layout.Problem{Where: where, Offset: at, What: what})
	}
}

// segment inspects one segment whose content of n bytes begins at off.
func (s *scanner) segment(marker byte, off, n int64) error {
	switch {
	case marker == mAPP1 && n > 6:
		id, err := s.peek(off, 6)
		if err != nil {
			return err
		}
		// The sixth byte is a pad; some writers leave something else there.
		if string(id[:5]) == "Exif\x00" && len(s.l.Blocks) < maxBlocks {
			s.l.Blocks = append(s.l.Blocks, layout.Block{Role: layout.RoleMain, Offset: off + 6, Length: n - 6})
		}
	case marker == mAPP2 && n > 4:
		id, err := s.peek(off, 4)
		if err != nil {
			return err
		}
		if string(id) == "MPF\x00" && !s.indexed {
			s.indexed = true
			s.pictures(off+4, n-4)
		}
	case isSOF(marker) && n >= 6 && s.l.Width == 0:
		b, err := s.peek(off, 5)
		if err != nil {
			return err
		}
		s.l.Height = uint32(b[1])<<8 | uint32(b[2]) // 0 where it follows the first scan (DNL)
		s.l.Width = uint32(b[3])<<8 | uint32(b[4])
	}
	return nil
}

func isSOF(marker byte) bool {
	return marker >= mSOF0 && marker <= 0xCF && marker != mDHT && marker != mJPG && marker != mDAC
}

// The index of pictures: tag 0xB002, 16 bytes a picture (CIPA DC-007 5.2.3.3).
const (
	tagMPEntry     = 0xB002
	mpEntryBytes   = 16
	formatMask     = 0x07000000 // 0 for JPEG
	typeMask       = 0x00FFFFFF
	typeLargeThumb = 0x010000 // 0x010001 VGA, 0x010002 full HD, and larger ones later
)

// pictures reads the index of pictures at off: larger previews stand behind
// the main picture, which its first entry measures.
func (s *scanner) pictures(off, n int64) {
	f, err := ifd.Open(s.r, off, n, new(ifd.Memo))
	if err != nil {
		s.problem("index of pictures", off, err.Error())
		return
	}
	d, err := f.Dir(f.First, func(tag uint16) bool { return tag == tagMPEntry })
	if err != nil {
		s.problem("index of pictures", off, "its directory cannot be read: "+err.Error())
		return
	}
	for _, e := range d.Entries {
		v, err := f.Value(e)
		b, ok := v.Bytes()
		if err != nil || !ok {
			s.problem("index of pictures", e.At, "the list cannot be read")
			continue
		}
		for i := range min(len(b)/mpEntryBytes, maxPictures) {
			p := b[i*mpEntryBytes:]
			kind, length, at := f.Order.Uint32(p), int64(f.Order.Uint32(p[4:])), int64(f.Order.Uint32(p[8:]))
			if i == 0 {
				s.primary = length
				continue
			}
			// Other kinds show something else: another angle, a part of a
			// panorama, a map of brightness.
			if kind&formatMask != 0 || kind&typeMask&^0xFFFF != typeLargeThumb || length == 0 {
				continue
			}
			if at += off; at > s.size-length {
				s.problem("index of pictures", e.At, "a preview lies past the end of the file")
				continue
			}
			s.l.Previews = append(s.l.Previews, layout.Preview{Offset: at, Length: length})
		}
	}
}

// end finds out whether the image data is whole, and records it in the layout.
//
// Entropy-coded data cannot hold the end marker: each byte FF in it is
// followed by 00 (T.81 F.1.2.3). So a file whose last bytes are FFD9, padding
// aside, was written up to the end of a scan, and a file that was cut off is not
// (but for a cut exactly behind such bytes, in a trailer). That takes one small
// read; only files that end in something else are walked.
func (s *scanner) end() error {
	s.l.Checked = true
	if s.data == 0 {
		s.l.Torn = s.stop
		return nil
	}
	last, whole, err := s.tail(s.size)
	if err == nil && whole && s.l.Height == 0 {
		return s.lines(last)
	}
	if err != nil || whole {
		return err
	}
	if s.primary > s.data && s.primary < s.size {
		if _, whole, err := s.tail(s.primary); err != nil || whole {
			return err
		}
	}
	found, walked, err := s.walk(last)
	switch {
	case err != nil:
		return err
	case found:
	case !walked:
		s.l.Checked = false
	case last < s.size && s.size-last > 512:
		// A card that was pulled, or a copy that broke off, leaves the space
		// it had set aside.
		s.l.Torn = fmt.Sprintf("the image data breaks off at byte %s of %s; the rest of the file is empty", grouped(last), grouped(s.size))
	default:
		s.l.Torn = fmt.Sprintf("the image data breaks off at byte %s, where the file ends; its end marker is missing", grouped(s.size))
	}
	return nil
}

// lines reads the number of lines where the header leaves it to a segment
// behind the only scan (T.81 B.2.5), which then stands before the end marker
// that ends at last.
func (s *scanner) lines(last int64) error {
	const length = 8 // FFDC 0004 lines FFD9
	if last < s.data+length {
		return nil
	}
	b, err := s.peek(last-length, 6)
	if err == nil && b[0] == 0xFF && b[1] == mDNL && b[2] == 0 && b[3] == 4 {
		s.l.Height = uint32(b[4])<<8 | uint32(b[5])
	}
	return err
}

// tail reports where the last byte before end that is no padding (00, FF)
// stands, as the offset behind it, and whether an end marker is there.
func (s *scanner) tail(end int64) (last int64, whole bool, err error) {
	// Most files end with the marker. Padding is up to a block of a card, and
	// rarely the whole rest of the file.
	buf := s.buf[:]
	for least := max(s.data, end-maxWalk+s.walked); end > least; {
		b := buf[:min(int64(len(buf)), end-s.data)]
		start := end - int64(len(b))
		if err := scan.ReadFull(s.r, b, start); err != nil {
			return end, false, err
		}
		s.walked += int64(len(b))
		i := len(b) - 1
		for i >= 0 && (b[i] == 0 || b[i] == 0xFF) {
			i--
		}
		if i >= 0 {
			last = start + int64(i) + 1
			if b[i] != mEOI {
				return last, false, nil
			}
			if i > 0 {
				return last, b[i-1] == 0xFF, nil
			}
			if start == s.data {
				return last, false, nil
			}
			var one [1]byte
			err := scan.ReadFull(s.r, one[:], start-1)
			return last, one[0] == 0xFF, err
		}
		end = start
		if len(buf) < 64<<10 {
			buf = make([]byte, 32*len(buf))
		}
	}
	return end, false, nil
}

// walk goes through the scans up to limit to their end marker. walked is
// false where they are too long or too many to be walked.
func (s *scanner) walk(limit int64) (found, walked bool, err error) {
	n := limit - s.data
	if n <= 0 {
		return false, true, nil
	}
	if s.walker == nil {
		s.walker = bufio.NewReaderSize(nil, 64<<10)
	}
	r := s.walker
	most := max(0, maxWalk-s.walked)
	r.Reset(io.NewSectionReader(s.r, s.data, min(n, most)))
	defer r.Reset(nil)
	for segments := 0; segments < maxSegments; {
		if _, err = r.ReadSlice(0xFF); errors.Is(err, bufio.ErrBufferFull) {
			continue
		}
		marker := byte(0xFF)
		for err == nil && marker == 0xFF {
			marker, err = r.ReadByte()
		}
		if err == nil && marker == mEOI {
			return true, true, nil
		}
		if err == nil && hasLength(marker) { // between the scans of a progressive picture
			segments++
			var b []byte
			if b, err = r.Peek(2); err == nil {
				_, err = r.Discard(max(2, int(b[0])<<8|int(b[1])))
			}
		}
		if errors.Is(err, io.EOF) || errors.Is(err, scan.ErrPastEnd) {
			return false, n <= most, nil
		}
		if err != nil {
			return false, false, err
		}
	}
	return false, false, nil
}

func hasLength(marker byte) bool {
	switch marker {
	case mDHT, mDAC, mSOS, mDQT, mDNL, mDRI, mCOM:
		return true
	}
	return marker >= mAPP0 && marker <= mAPP15
}

// Size returns the pixel size of the embedded picture of length bytes at off,
// and whether it is one that a picture viewer shows: coding by DCT with 8 bits,
// not the lossless coding of sensor data.
func Size(r io.ReaderAt, off, length int64) (width, height int, ok bool) {
	const few = 64 // segments; those of a preview are a handful
	f, err := frame(r, off, length, few)
	return f.Width, f.Height, err == nil
}

// A Frame is what the frame header of a picture records (T.81 B.2.2).
type Frame struct {
	Width, Height int
	Progressive   bool
	Components    []Component
	End           int64 // offset behind the header
}

// A Component is one colour of a picture, with its sampling factors.
type Component struct{ H, V int }

// ReadFrame reads the frame header of the picture of length bytes at off. It
// comes to the same header as the decoder of the standard library, which passes
// over bytes between segments. The error is a *scan.Error where there is no
// header of a kind that is decoded, else that of the reader.
func ReadFrame(r io.ReaderAt, off, length int64) (Frame, error) {
	return frame(r, off, length, maxSegments+maxGarbage)
}

// frame is ReadFrame within a number of steps: a segment each, or a byte between two.
func frame(r io.ReaderAt, off, length int64, steps int) (Frame, error) {
	s := newScanner(r, off+length)
	defer s.release()
	b, err := s.peek(off, 2)
	if err == nil && (b[0] != 0xFF || b[1] != mSOI) {
		return Frame{}, &scan.Error{Offset: off, What: "the start marker is missing"}
	}
	at := off + 2
	for ; err == nil && steps > 0; steps-- {
		if b, err = s.peek(at, 4); err != nil {
			break
		}
		marker := b[1]
		switch {
		case b[0] != 0xFF, marker == 0xFF: // no segment, or a fill byte (T.81 B.1.1.2)
			at++
			continue
		case marker == 0, marker >= mRST0 && marker <= mRST7: // nothing follows
			at += 2
			continue
		case marker >= mSOF0 && marker <= mSOF2:
			return s.frameAt(at)
		case isSOF(marker), !hasLength(marker), marker == mSOS:
			return Frame{}, &scan.Error{Offset: at, What: "no picture of a kind that is decoded"}
		}
		n := int64(b[2])<<8 | int64(b[3])
		if n < 2 {
			return Frame{}, &scan.Error{Offset: at, What: "the header is damaged"}
		}
		at += 2 + n
	}
	if err == nil || errors.Is(err, scan.ErrPastEnd) {
		err = &scan.Error{Offset: at, What: "the header has no end"}
	}
	return Frame{}, err
}

// frameAt reads the frame header whose marker stands at at.
func (s *scanner) frameAt(at int64) (Frame, error) {
	const fixed = 10 // bytes before the components, which take 3 each
	b, err := s.peek(at, fixed)
	if err != nil {
		return Frame{}, err
	}
	n := int(b[9])
	length := int64(b[2])<<8 | int64(b[3])
	f := Frame{
		Width: int(b[7])<<8 | int(b[8]), Height: int(b[5])<<8 | int(b[6]),
		Progressive: b[1] == mSOF2, End: at + 2 + length,
	}
	if n == 0 || n > maxComponents || length != int64(fixed-2+3*n) {
		return Frame{}, &scan.Error{Offset: at, What: "the frame header is damaged"}
	}
	if b, err = s.peek(at, fixed+3*n); err != nil {
		return Frame{}, err
	}
	for c := b[fixed:]; len(c) > 0; c = c[3:] {
		f.Components = append(f.Components, Component{H: int(c[1] >> 4), V: int(c[1] & 15)})
	}
	return f, nil
}

// grouped prints n with a comma after each thousand.
func grouped(n int64) string {
	s := fmt.Sprint(n)
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return s
}

// FirstExif returns the first Exif block of a JPEG file, without inspecting how
// the file ends.
func FirstExif(r io.ReaderAt, size int64) (b layout.Block, ok bool, err error) {
	s := &scanner{r: r, size: size}
	if err := s.header(); err != nil || len(s.l.Blocks) == 0 {
		return b, false, err
	}
	return s.l.Blocks[0], true, nil
}
