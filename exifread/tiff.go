package exifread

import (
	"errors"
	"math"
	"slices"
	"strings"

	"prestrike/exifread/internal/ifd"
	"prestrike/exifread/internal/layout"
	"prestrike/exifread/internal/scan"
)

// An image is what one directory records of the picture it describes.
type image struct {
	name              string
	role              dirRole
	reduced           bool // NewSubfileType records that it is a smaller version of another
	width, height     uint32
	compression       uint16
	photometric       int32 // -1 where not recorded
	jpegAt, jpegLen   int64 // JPEGInterchangeFormat
	offsets, counts   ifd.Entry
	hasData           bool  // offsets and counts were found
	rw2Start          int64 // RawDataOffset, where there is one
	embedAt, embedLen int64 // the embedded picture of an RW2 file
}

// Values of Compression and PhotometricInterpretation (TIFF 6.0, TIFF/EP, DNG).
const (
	compressionOldJPEG = 6
	compressionJPEG    = 7
	photometricRGB     = 2
	photometricYCbCr   = 6
	photometricCFA     = 32803
	photometricLinear  = 34892
)

var errTooHigh = errors.New("a number that is too high")

func readImage(m *Metadata, file *ifd.File, d *directory) image {
	im := image{name: d.name, role: d.role, photometric: -1}
	var hasOffsets, hasCounts bool
	var sensor [4]int64 // top, left, bottom, right
	rw2 := file.Magic == ifd.MagicRW2
	number := func(e ifd.Entry, most uint64) int64 {
		n, err := file.Number(e)
		if err == nil && n > most {
			err = errTooHigh
		}
		if err != nil {
			m.problem(Problem{Where: d.name, Tag: e.Tag, Offset: e.At, What: err.Error()})
			return 0
		}
		return int64(n)
	}
	for _, e := range d.Entries {
		switch e.Tag {
		case tagNewSubfileType:
			im.reduced = number(e, math.MaxUint32)&1 != 0
		case tagImageWidth:
			im.width = uint32(number(e, math.MaxUint32))
		case tagImageLength:
			im.height = uint32(number(e, math.MaxUint32))
		case tagCompression:
			im.compression = uint16(number(e, math.MaxUint16))
		case tagPhotometric:
			im.photometric = int32(number(e, math.MaxUint16))
		case tagStripOffsets, tagTileOffsets:
			im.offsets, hasOffsets = e, true
		case tagStripByteCounts, tagTileByteCounts:
			im.counts, hasCounts = e, true
		case tagJPEGInterchange:
			im.jpegAt = number(e, math.MaxInt64/2)
		case tagJPEGInterchangeN:
			im.jpegLen = number(e, math.MaxInt64/2)
		case tagRW2SensorTop, tagRW2SensorLeft, tagRW2SensorBottom, tagRW2SensorRight:
			if rw2 {
				sensor[e.Tag-tagRW2SensorTop] = number(e, math.MaxUint16)
			}
		case tagRW2RawDataOffset:
			if rw2 {
				im.rw2Start = number(e, math.MaxUint32)
			}
		case tagRW2EmbeddedJPEG:
			if rw2 {
				im.embedAt, im.embedLen, _ = file.Place(e)
			}
		}
	}
	if sensor[2] > sensor[0] && sensor[3] > sensor[1] {
		im.width, im.height = uint32(sensor[3]-sensor[1]), uint32(sensor[2]-sensor[0])
	}
	im.hasData = hasOffsets && hasCounts
	return im
}

// sensorData reports whether the image is what the sensor gave, not a picture.
// Besides the photometric kinds there are the makers' own ways of coding it.
func (im *image) sensorData() bool {
	switch im.compression {
	case 32767, 32769, 32770, 32772, 34713, 65535:
		return true
	}
	return im.photometric == photometricCFA || im.photometric == photometricLinear
}

// readTIFF reads a file that is a TIFF structure as a whole.
func readTIFF(src *source, m *Metadata) error {
	file, err := ifd.Open(src, 0, src.size, &src.memo)
	if err != nil {
		return &FormatError{Format: m.Format, Problem: "the header cannot be read: " + err.Error()}
	}
	dirs := walkDirs(src, m, file, layout.RoleMain)
	if len(dirs) == 0 {
		return &FormatError{Format: m.Format, Offset: file.First, Problem: "the file ends before its first directory"}
	}
	f := src.newFacts(m)
	f.takeDirs(file, dirs)
	images := make([]image, 0, len(dirs))
	for i := range dirs {
		if dirs[i].role != dirExif {
			images = append(images, readImage(m, file, &dirs[i]))
		}
	}
	m.Format = tiffFormat(src, m, f, images)
	w, h := mainSize(m.Format, f, images)
	if w > 0 && h > 0 {
		m.Width, m.Height = Of(w), Of(h)
	}
	for i := range images {
		embeddedExif(src, f, &images[i])
	}
	f.finish()

	check := extents{file: file, size: src.size}
	for i := range images {
		check.image(m, &images[i])
	}
	m.Integrity = check.integrity()
	for i := range images {
		embedded(src, m, file, &images[i])
	}
	finishPreviews(src, m)
	if !m.HasExif && !m.Width.Known() {
		return &FormatError{Format: m.Format, Offset: file.First, Problem: "no value could be read from its directories"}
	}
	return nil
}

// makers distinguishes the raw files that are plain TIFF by what their Make
// begins with, in capitals.
var makers = []struct {
	prefix string
	format Format
}{
	{"NIKON", FormatNEF}, {"SONY", FormatARW}, {"PENTAX", FormatPEF}, {"RICOH", FormatPEF}, {"SAMSUNG", FormatSRW},
}

func tiffFormat(src *source, m *Metadata, f *facts, images []image) Format {
	if m.Format != FormatTIFF && m.Format != FormatBigTIFF {
		return m.Format
	}
	mark := src.first[:4]
	if _, err := src.ReadAt(mark, 8); err == nil && string(mark[:3]) == "CR\x02" {
		return FormatCR2
	}
	if f.dngVersion {
		return FormatDNG
	}
	if m.Format == FormatBigTIFF || !slices.ContainsFunc(images, func(im image) bool { return im.sensorData() }) {
		return m.Format
	}
	name := strings.ToUpper(m.Make.Or(""))
	for _, mk := range makers {
		if strings.HasPrefix(name, mk.prefix) {
			return mk.format
		}
	}
	return FormatTIFFRaw
}

// mainSize returns the pixels of the largest image that is not a reduced
// version; where all are, of none. In CR2 files only the Exif IFD shows it: the
// directory of the sensor data has no size and the others are previews.
func mainSize(format Format, f *facts, images []image) (w, h uint32) {
	if format == FormatCR2 && f.m.PixelXDimension.Known() && f.m.PixelYDimension.Known() {
		return 0, 0
	}
	area := uint64(0)
	raw := slices.ContainsFunc(images, func(im image) bool { return im.sensorData() && !im.reduced })
	for i := range images {
		im := &images[i]
		if a := uint64(im.width) * uint64(im.height); !im.reduced && a > area && (!raw || im.sensorData()) {
			area, w, h = a, im.width, im.height
		}
	}
	return w, h
}

// extents checks that what directories point to lies inside the file.
type extents struct {
	file    *ifd.File
	size    int64
	strips  uint64 // how many were inspected
	checked bool
	torn    string
}

func (x *extents) integrity() Integrity {
	switch {
	case x.torn != "":
		return Integrity{IntegrityTorn, x.torn}
	case x.checked:
		return Integrity{State: IntegrityWhole}
	}
	return Integrity{IntegrityUnchecked, "the file does not record where its image data ends"}
}

func (x *extents) image(m *Metadata, im *image) {
	what := "image data"
	if im.reduced || im.role == dirNext && !im.sensorData() {
		what = "embedded preview"
	}
	total, missing, err := x.sum(im)
	if err != nil {
		m.problem(Problem{Where: im.name, Tag: im.offsets.Tag, Offset: im.offsets.At, What: "the places of the image data cannot be read: " + err.Error()})
	}
	// Missing words it for one piece that lies across the file's end.
	x.note(scan.Missing(what, x.size-(total-missing), total, x.size), total > 0 && what == "image data")
	x.note(scan.Missing("embedded preview", im.jpegAt, im.jpegLen, x.size), false)
	x.note(scan.Missing("embedded preview", im.embedAt, im.embedLen, x.size), false)
}

func (x *extents) note(torn string, checked bool) {
	if torn != "" && (x.torn == "" || checked && !x.checked) {
		x.torn = torn
	}
	x.checked = x.checked || checked
}

// sum adds up the bytes of an image's strips or tiles, and of those the
// ones past the end of the file.
func (x *extents) sum(im *image) (total, missing int64, err error) {
	err = x.pieces(im, func(off, length int64) error {
		total += length
		missing += min(length, max(0, off+length-x.size))
		return nil
	})
	return total, missing, err
}

// pieces calls do with the place of each strip or tile of an image.
func (x *extents) pieces(im *image, do func(off, length int64) error) error {
	if !im.hasData {
		return nil
	}
	n := min(im.offsets.Count, im.counts.Count, maxStrips-x.strips)
	x.strips += n
	const chunk = 1024
	for i := uint64(0); i < n; i += chunk {
		k := int(min(chunk, n-i))
		offsets, err := x.file.Numbers(im.offsets, i, k)
		if err != nil {
			return err
		}
		counts, err := x.file.Numbers(im.counts, i, k)
		if err != nil {
			return err
		}
		for j := range offsets {
			off, length := int64(min(offsets[j], math.MaxInt64/4)), int64(min(counts[j], math.MaxInt32))
			if im.rw2Start > 0 {
				off = im.rw2Start // StripOffsets is then FFFFFFFF or not meant
			}
			if off == 0 || length == 0 { // a sparse tile, or not recorded
				continue
			}
			if err := do(off, length); err != nil {
				return err
			}
		}
	}
	return nil
}
