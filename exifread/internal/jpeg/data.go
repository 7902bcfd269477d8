package jpeg

import (
	"bufio"
	"errors"
	"io"
)

const mAPP14 = 0xEE

// WriteData writes to w a JPEG picture without comments and application segments
// but APP14, and reports whether it came to its end marker.
func WriteData(w io.Writer, r io.Reader) (whole bool, err error) {
	out := bufio.NewWriterSize(w, 1<<16)
	d := dataWriter{in: bufio.NewReaderSize(r, 1<<16), out: out}
	whole, err = d.run()
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		whole, err = false, nil
	}
	return whole, errors.Join(err, out.Flush())
}

type dataWriter struct {
	in  *bufio.Reader
	out *bufio.Writer
}

// run copies segments until the end marker. A false without an error means that
// a marker stood where none may be.
func (d *dataWriter) run() (whole bool, err error) {
	started := false
	marker, err := d.marker()
	for err == nil {
		switch {
		case marker == mEOI:
			return started, d.put(0xFF, marker)
		case started == (marker == mSOI): // nothing yet, or a picture inside a picture
			return false, nil
		case !hasLength(marker) && !isSOF(marker):
			started = true
			err = d.put(0xFF, marker)
		default:
			err = d.segment(marker)
		}
		switch {
		case err != nil:
		case marker == mSOS:
			marker, err = d.coded()
		default:
			marker, err = d.marker()
		}
	}
	return false, err
}

// marker reads to the next marker, past what coded data left of fill bytes.
func (d *dataWriter) marker() (byte, error) {
	b, err := d.in.ReadByte()
	if err == nil && b != 0xFF {
		err = io.ErrUnexpectedEOF // as good as the end
	}
	for err == nil && b == 0xFF {
		b, err = d.in.ReadByte()
	}
	return b, err
}

// segment copies a segment that has a length, or passes over it.
func (d *dataWriter) segment(marker byte) error {
	var length [2]byte
	if _, err := io.ReadFull(d.in, length[:]); err != nil {
		return err
	}
	n := int64(length[0])<<8 | int64(length[1])
	if n < 2 {
		return io.ErrUnexpectedEOF
	}
	if marker == mCOM || marker >= mAPP0 && marker <= mAPP15 && marker != mAPP14 {
		_, err := io.CopyN(io.Discard, d.in, n-2)
		return err
	}
	if err := d.put(0xFF, marker, length[0], length[1]); err != nil {
		return err
	}
	_, err := io.CopyN(d.out, d.in, n-2)
	return err
}

// coded copies entropy-coded data with its restart markers, and returns the marker
// that ends it.
func (d *dataWriter) coded() (byte, error) {
	for {
		piece, err := d.in.ReadSlice(0xFF)
		if errors.Is(err, bufio.ErrBufferFull) {
			if err := d.put(piece...); err != nil {
				return 0, err
			}
			continue
		}
		if err != nil {
			return 0, err
		}
		if err := d.put(piece[:len(piece)-1]...); err != nil {
			return 0, err
		}
		c := byte(0xFF)
		for err == nil && c == 0xFF { // any number may stand before a marker
			c, err = d.in.ReadByte()
		}
		if err != nil || c != 0 && (c < mRST0 || c > mRST7) {
			return c, err
		}
		if err := d.put(0xFF, c); err != nil {
			return 0, err
		}
	}
}

func (d *dataWriter) put(b ...byte) error {
	_, err := d.out.Write(b)
	return err
}
