// Package png finds the Exif block and the size of PNG pictures (W3C PNG,
// third edition). It also reads the older form of Exif in text chunks named
// "Raw profile type".
package png

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"io"
	"strconv"

	"prestrike/exifread/internal/layout"
	"prestrike/exifread/internal/scan"
)

// fewChunks is how many chunks are walked with reading ahead: those in front of
// the image data of an honest file.
const fewChunks = 256

const signature = "\x89PNG\r\n\x1a\n"

// Is reports whether a file begins as a PNG picture does; eight bytes are
// enough.
func Is(head []byte) bool { return bytes.HasPrefix(head, []byte(signature)) }

// Scan finds what a PNG file holds. The error is a *scan.Error where the
// container is damaged beyond use, else that of the reader.
func Scan(r io.ReaderAt, size int64) (layout.Layout, error) {
	s := &scanner{r: scan.NewPieces(r, size)}
	head := s.r.Peek(0, int(min(size, 33)))
	if s.r.Err != nil {
		return layout.Layout{}, s.r.Err
	}
	if !Is(head) {
		return layout.Layout{}, &scan.Error{What: "the file does not begin as a PNG picture"}
	}
	if len(head) < 33 || string(head[12:16]) != "IHDR" {
		return layout.Layout{}, &scan.Error{Offset: 8, What: "the picture's header is missing"}
	}
	s.l.Width, s.l.Height = binary.BigEndian.Uint32(head[16:]), binary.BigEndian.Uint32(head[20:])
	s.l.Checked = true
	s.chunks()
	if s.r.Err != nil {
		return layout.Layout{}, s.r.Err
	}
	if s.text != nil && len(s.l.Blocks) == 0 {
		s.l.Blocks = []layout.Block{{Data: s.text}}
	}
	return s.l, nil
}

type scanner struct {
	r      *scan.Pieces
	l      layout.Layout
	budget scan.Budget
	text   []byte // a TIFF structure from a text chunk; eXIf comes first
}

// chunks walks the chunks to IEND, which ends a whole picture.
func (s *scanner) chunks() {
	size := s.r.Size()
	data := false
	for at, n := int64(len(signature)), 0; s.r.Err == nil; n++ {
		if !s.budget.Step() {
			s.l.Checked = false
			s.l.AddProblem("PNG", at, "more than %d chunks: the rest was not read", n)
			return
		}
		// Image data comes in many chunks far apart: no reading ahead there.
		read := s.r.Peek
		if data || n >= fewChunks {
			read = s.r.PeekShort
		}
		h := read(at, 8)
		if h == nil {
			if !data {
				s.l.Torn = "the file ends before its image data begins"
			} else {
				s.l.Torn = "the file ends before its image data does: the end mark is missing"
			}
			return
		}
		length, kind, body := int64(binary.BigEndian.Uint32(h)), string(h[4:8]), at+8
		if length > 1<<31-1 {
			s.l.Torn = "the image data is damaged: a piece of it states an impossible size"
			s.l.AddProblem("PNG", at, "chunk %+q states an impossible size", kind)
			return
		}
		switch kind {
		case "IEND":
			if !data {
				s.l.Torn = "the file holds no image data"
			}
			return
		case "IDAT":
			data = true
			if scan.Lack(body, length, size) > 0 {
				s.l.Torn = "the file ends before its image data does"
				return
			}
		case "eXIf":
			s.exif(body, min(length, size-body))
		case "zTXt", "tEXt":
			if s.text == nil && s.rawProfile(body, length) {
				s.textExif(body, length, kind == "zTXt")
			}
		}
		at = body + length + 4 // the checksum
	}
}

// exif adds the block of an eXIf chunk.
func (s *scanner) exif(body, length int64) {
	if len(s.l.Blocks) > 0 {
		return // the first holds
	}
	skip := scan.TIFFStart(s.r.Peek(body, int(min(length, 16))))
	if skip < 0 {
		if s.r.Err == nil {
			s.l.AddProblem("eXIf chunk", body, "no Exif data where it should be")
		}
		return
	}
	s.l.Blocks = append(s.l.Blocks, layout.Block{Offset: body + int64(skip), Length: length - int64(skip)})
}

const rawProfile = "Raw profile type "

// rawProfile reports whether a text chunk is one of the older forms of Exif.
func (s *scanner) rawProfile(body, length int64) bool {
	h := s.r.PeekShort(body, int(min(length, 32)))
	key, _, ok := bytes.Cut(h, []byte{0})
	name, is := bytes.CutPrefix(key, []byte(rawProfile))
	return ok && is && (string(name) == "exif" || string(name) == "APP1")
}

// textExif keeps the TIFF structure of a text chunk: a keyword, then a name, a
// length and hexadecimal digits in lines. In zTXt the text is compressed.
func (s *scanner) textExif(body, length int64, packed bool) {
	const where = "text chunk"
	if !s.budget.Try() || !s.budget.Take(length) {
		s.l.AddProblem(where, body, "Exif data in a text of %d bytes was not read: more than any camera writes", length)
		return
	}
	chunk := s.r.Load(body, int(length))
	_, text, ok := bytes.Cut(chunk, []byte{0})
	if !ok {
		return // the file ends inside it, as the walk will see
	}
	if packed {
		if len(text) < 1 || text[0] != 0 {
			s.l.AddProblem(where, body, "compressed in an unknown way")
			return
		}
		z, err := zlib.NewReader(bytes.NewReader(text[1:]))
		if err != nil {
			s.l.AddProblem(where, body, "the compressed Exif data is damaged")
			return
		}
		most := s.budget.Left()
		if text, err = io.ReadAll(io.LimitReader(z, most+1)); err != nil {
			s.l.AddProblem(where, body, "the compressed Exif data is damaged")
		}
		if !s.budget.Take(int64(len(text))) {
			s.budget.Take(most)
			s.l.AddProblem(where, body, "compressed Exif data of more than %d bytes was not read", most)
			return
		}
	}
	data, err := profile(text)
	if err != nil {
		s.l.AddProblem(where, body, "%v", err)
	}
	skip := scan.TIFFStart(data)
	if skip < 0 {
		if err == nil && !bytes.HasPrefix(data, []byte("http")) { // XMP goes by the name APP1 too
			s.l.AddProblem(where, body, "no Exif data where it should be")
		}
		return
	}
	s.text = data[skip:]
}

// profile decodes a name, a length, and as many bytes in hexadecimal digits.
// With an error it returns the bytes before the damage.
func profile(text []byte) ([]byte, error) {
	text = bytes.TrimLeft(text, "\r\n ")
	_, text, _ = bytes.Cut(text, []byte{'\n'})
	count, text, _ := bytes.Cut(bytes.TrimLeft(text, "\r\n "), []byte{'\n'})
	want, err := strconv.ParseUint(string(bytes.TrimSpace(count)), 10, 31)
	if err != nil {
		return nil, errors.New("the Exif data in the text is without its length")
	}
	digits := make([]byte, 0, len(text))
	for _, c := range text {
		if c != '\n' && c != '\r' && c != ' ' {
			digits = append(digits, c)
		}
	}
	data := make([]byte, len(digits)/2)
	n, err := hex.Decode(data, digits[:len(digits)/2*2])
	data = data[:n]
	switch {
	case err != nil:
		return data, errors.New("the Exif data in the text is damaged")
	case uint64(n) < want:
		return data, errors.New("the Exif data in the text ends early")
	}
	return data[:want], nil
}
