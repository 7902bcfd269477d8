// Package raf finds what RAF raw files hold: a header with three places, an
// embedded JPEG picture with the Exif block, and a short directory of the raw
// data. The format is not published; the places are those that open readers
// agree on.
package raf

import (
	"encoding/binary"
	"errors"
	"io"

	"prestrike/exifread/internal/jpeg"
	"prestrike/exifread/internal/layout"
	"prestrike/exifread/internal/scan"
)

// Magic is how a file begins.
const Magic = "FUJIFILMCCD-RAW "

// The header: offset and length of the picture, of the raw data's directory
// and of the raw data, as big-endian 32-bit numbers from byte 84 on.
const (
	placesAt    = 84
	headerBytes = placesAt + 6*4
)

// The raw data's directory: a count, then records of tag, length and value.
const (
	tagFullSize    = 0x0100 // height, width with the borders
	tagCroppedSize = 0x0111 // height, width of the picture
	maxRecords     = 1024
)

// Scan finds what a RAF file holds. The error is a *scan.Error where not even
// its embedded picture can be found, else that of the reader.
func Scan(r io.ReaderAt, size int64) (layout.Layout, error) {
	win := scan.NewReader(r, size)
	b, err := win.Peek(0, headerBytes)
	if errors.Is(err, scan.ErrPastEnd) {
		return layout.Layout{}, &scan.Error{Offset: size, What: "the file ends inside its header"}
	}
	if err != nil {
		return layout.Layout{}, err
	}
	var place [6]int64
	for i := range place {
		place[i] = int64(binary.BigEndian.Uint32(b[placesAt+4*i:]))
	}
	picture, pictureLen, dir, dirLen, raw, rawLen := place[0], place[1], place[2], place[3], place[4], place[5]

	var l layout.Layout
	for _, torn := range []string{
		scan.Missing("embedded picture", picture, pictureLen, size),
		scan.Missing("image data", raw, rawLen, size),
	} {
		if torn != "" {
			l.Torn = torn
		}
	}
	l.Checked = rawLen > 0 || l.Torn != ""
	if picture >= size || pictureLen == 0 {
		if picture != 0 && picture >= size {
			return l, &scan.Error{Offset: picture, What: "the file ends before its embedded picture, which holds the capture data"}
		}
		return l, &scan.Error{Offset: placesAt, What: "the header names no embedded picture, which holds the capture data"}
	}
	pictureLen = min(pictureLen, size-picture)

	inner, err := jpeg.Scan(io.NewSectionReader(r, picture, pictureLen), pictureLen)
	if _, damaged := errors.AsType[*scan.Error](err); err != nil && !damaged {
		return layout.Layout{}, err
	} else if damaged {
		l.Problems = append(l.Problems, layout.Problem{Where: "embedded picture", Offset: picture, What: err.Error()})
	} else {
		for _, block := range inner.Blocks {
			block.Offset += picture
			l.Blocks = append(l.Blocks, block)
		}
		l.Previews = append(l.Previews, layout.Preview{
			Offset: picture, Length: pictureLen, Width: int(inner.Width), Height: int(inner.Height),
		})
		for _, p := range inner.Problems {
			p.Offset += picture
			l.Problems = append(l.Problems, p)
		}
	}
	l.Width, l.Height, err = pixels(win, dir, min(dirLen, size-dir))
	return l, err
}

// pixels reads the size of the image from the raw data's directory.
func pixels(win *scan.Reader, dir, n int64) (width, height uint32, err error) {
	b, err := win.Peek(dir, 4)
	if n < 4 || errors.Is(err, scan.ErrPastEnd) {
		return 0, 0, nil // the directory is not there: the Exif block may record it
	}
	if err != nil {
		return 0, 0, err
	}
	count := min(binary.BigEndian.Uint32(b), maxRecords)
	at := dir + 4
	for range count {
		if b, err = win.Peek(at, 8); err != nil || at+8 > dir+n {
			break
		}
		tag, length := binary.BigEndian.Uint16(b), int64(binary.BigEndian.Uint16(b[2:]))
		if length >= 4 && (tag == tagCroppedSize || tag == tagFullSize && width == 0) {
			height, width = uint32(binary.BigEndian.Uint16(b[4:])), uint32(binary.BigEndian.Uint16(b[6:]))
		}
		at += 4 + length
	}
	if errors.Is(err, scan.ErrPastEnd) {
		err = nil
	}
	return width, height, err
}
