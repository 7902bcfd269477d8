package exifread

import (
	"context"
	"errors"
	"fmt"
	"io"

	"prestrike/exifread/internal/ifd"
	"prestrike/exifread/internal/jpeg"
	"prestrike/exifread/internal/layout"
)

// ErrNoPictureData means that the data of a picture cannot be decided from its
// metadata.
var ErrNoPictureData = errors.New("the data of the picture cannot be separated from its metadata")

// PictureData writes to w what a JPEG file or a TIFF-based file of size bytes
// holds of its picture, without metadata, previews and whatever follows: what is
// equal of two files shows the same picture. Of a JPEG file that is every segment
// from the start marker to the end marker but comments and application segments
// (ITU-T T.81, annex B), of which the one that reports how colours are coded is kept
// (APP14). Of a TIFF file it is the strips or tiles of sensor data, or where there
// is none those of every full image (TIFF 6.0, sections 3 and 15).
//
// It returns [ErrNoPictureData] for other files and for such that end before their
// picture does, errors of reading and writing, and a *[PanicError] where the program
// itself failed.
func PictureData(ctx context.Context, w io.Writer, r io.ReaderAt, size int64) (err error) {
	defer Recovered(&err)
	var head [16]byte
	if size < int64(len(head)) {
		return ErrNoPictureData
	}
	if _, err := r.ReadAt(head[:], 0); err != nil && !errors.Is(err, io.EOF) {
		return err
	}
	switch kind := sniff(head[:]); {
	case kind.format == FormatJPEG:
		whole, err := jpeg.WriteData(w, io.NewSectionReader(r, 0, size))
		if err == nil && !whole {
			err = ErrNoPictureData
		}
		return err
	case kind.format != FormatUnknown && kind.scan == nil:
		return tiffData(ctx, w, r, size)
	}
	return ErrNoPictureData
}

func tiffData(ctx context.Context, w io.Writer, r io.ReaderAt, size int64) error {
	src := newSource(ctx, r, size)
	defer src.release()
	file, err := ifd.Open(src, 0, size, &src.memo)
	if err != nil {
		return errors.Join(ErrNoPictureData, src.err)
	}
	var m Metadata
	dirs := walkDirs(src, &m, file, layout.RoleMain)
	var sensor, full []image
	for i := range dirs {
		if dirs[i].role == dirExif {
			continue
		}
		switch im := readImage(&m, file, &dirs[i]); {
		case !im.hasData:
		case im.sensorData():
			sensor = append(sensor, im)
		case !im.reduced:
			full = append(full, im)
		}
	}
	if len(sensor) == 0 {
		sensor = full
	}
	x := extents{file: file, size: size}
	written := int64(0)
	for i := range sensor {
		im := &sensor[i]
		// What the bytes mean belongs to the picture.
		if _, err := fmt.Fprintln(w, im.width, im.height, im.compression, im.photometric); err != nil {
			return err
		}
		err := x.pieces(im, func(off, length int64) error {
			if off > size-length {
				return ErrNoPictureData
			}
			written += length
			_, err := io.Copy(w, io.NewSectionReader(r, off, length))
			return err
		})
		if err != nil {
			return errors.Join(err, src.err)
		}
	}
	if written == 0 {
		return ErrNoPictureData
	}
	return src.err
}
