package exifread

import (
	"bytes"
	"cmp"
	"errors"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"prestrike/exifread/internal/ifd"
	"prestrike/exifread/internal/jpeg"
	"prestrike/exifread/internal/layout"
	"prestrike/exifread/internal/scan"
)

// Limits on one file. Honest files stay far below them.
const (
	maxPointers = 40 // of one list of directories
	maxProblems = 30
	maxPreviews = 16
	maxStrips   = 1 << 16 // strips or tiles of all images
	maxSizeRead = 4       // previews whose own header is read for their pixel size
)

// problem notes one thing that could not be read.
func (m *Metadata) problem(p Problem) {
	switch n := len(m.Problems); {
	case n < maxProblems:
		m.Problems = append(m.Problems, p)
	case n == maxProblems:
		m.Problems = append(m.Problems, Problem{Where: p.Where, Offset: p.Offset, What: "more is damaged; the rest is not listed"})
	}
}

// A directory is one IFD and what it is for.
type directory struct {
	ifd.Dir
	name string
	role dirRole
}

type dirRole uint8

const (
	dirMain dirRole = iota // IFD0
	dirExif
	dirNext // behind IFD0 in the chain
	dirSub
)

// walkDirs reads IFD0, the Exif IFD, the SubIFDs and the chain behind IFD0, or
// for RoleExif the first directory alone, as an Exif IFD.
func walkDirs(m *Metadata, file *ifd.File, role layout.Role) []directory {
	type pointer struct {
		off  int64
		role dirRole
		name string
	}
	first := pointer{file.First, dirMain, "IFD0"}
	if role == layout.RoleExif {
		first = pointer{file.First, dirExif, "Exif IFD"}
	}
	var (
		dirs  []directory
		queue = []pointer{first}
		seen  []int64
		chain int // directories behind IFD0
		subs  int
	)
	for len(queue) > 0 {
		p := queue[0]
		queue = queue[1:]
		if slices.Contains(seen, p.off) {
			m.problem(Problem{Where: p.name, Offset: file.Base() + p.off, What: "the directory was read already: directories point in a circle"})
			continue
		}
		seen = append(seen, p.off)
		d, err := file.Dir(p.off, wanted)
		if errors.Is(err, ifd.ErrTooMany) {
			m.problem(Problem{Where: p.name, Offset: file.Base() + p.off, What: err.Error()})
			return dirs
		}
		if err != nil {
			m.problem(Problem{Where: p.name, Offset: file.Base() + p.off, What: "the directory cannot be read: " + err.Error()})
			continue
		}
		if d.Cut != "" {
			m.problem(Problem{Where: p.name, Offset: file.Base() + p.off, What: d.Cut})
		}
		dirs = append(dirs, directory{d, p.name, p.role})

		for _, e := range d.Entries {
			switch {
			case e.Tag == tagExifIFD && p.role != dirExif:
				if off, ok := pointers(m, file, e, p.name); ok {
					queue = append(queue, pointer{off[0], dirExif, "Exif IFD"})
				}
			case e.Tag == tagSubIFDs && p.role != dirExif:
				off, _ := pointers(m, file, e, p.name)
				for _, o := range off {
					queue = append(queue, pointer{o, dirSub, "SubIFD " + strconv.Itoa(subs)})
					subs++
				}
			}
		}
		if d.Next != 0 && (p.role == dirMain || p.role == dirNext) {
			chain++
			queue = append(queue, pointer{d.Next, dirNext, "IFD" + strconv.Itoa(chain)})
		}
	}
	return dirs
}

func pointers(m *Metadata, file *ifd.File, e ifd.Entry, where string) ([]int64, bool) {
	v, err := file.Value(e)
	if err != nil {
		m.problem(Problem{Where: where, Tag: e.Tag, Offset: e.At, What: err.Error()})
		return nil, false
	}
	var off []int64
	for i := range min(v.Len(), maxPointers) {
		n, ok := v.Int(i)
		if !ok || n < 0 {
			m.problem(Problem{Where: where, Tag: e.Tag, Offset: e.At, What: "no offset of a directory"})
			break
		}
		off = append(off, n)
	}
	return off, len(off) > 0
}

// takeDirs reads the values of the directories. The Exif IFD comes first:
// where IFD0 repeats one of its tags, it counts.
func (f *facts) takeDirs(file *ifd.File, dirs []directory) {
	for _, role := range []dirRole{dirExif, dirMain} {
		for i := range dirs {
			if dirs[i].role != role {
				continue
			}
			for _, e := range dirs[i].Entries {
				if e.Tag >= tagMake && !structural(e.Tag) || e.Tag == tagRW2ISO && file.Magic == ifd.MagicRW2 {
					f.take(file, e, dirs[i].name)
				}
			}
		}
	}
}

// structural reports whether a tag tells how the file is built; those are read
// where they are needed.
func structural(tag uint16) bool {
	switch tag {
	case tagStripOffsets, tagStripByteCounts, tagRW2RawDataOffset, tagTileOffsets, tagTileByteCounts,
		tagSubIFDs, tagJPEGInterchange, tagJPEGInterchangeN, tagExifIFD:
		return true
	}
	return false
}

// readBlock reads an Exif block of a container. What is known already is kept.
func readBlock(src *source, f *facts, b *layout.Block) {
	m := f.m
	r, base, length := io.ReaderAt(src), b.Offset, b.Length
	if b.Data != nil {
		r, base, length = bytes.NewReader(b.Data), 0, int64(len(b.Data))
	}
	length = min(length, max(0, src.size-base))
	if b.Data != nil {
		length = int64(len(b.Data))
	}
	file, err := ifd.Open(r, base, length)
	if err != nil {
		m.problem(Problem{Where: "Exif block", Offset: base, What: "the block cannot be read: " + err.Error()})
		return
	}
	file.Memo, file.Budget = &src.memo, &src.budget
	dirs := walkDirs(m, file, b.Role)
	f.takeDirs(file, dirs)
	if b.Data != nil {
		return // its previews are not in the file as such
	}
	for i := range dirs {
		if dirs[i].role == dirExif {
			continue
		}
		im := readImage(m, file, &dirs[i])
		if im.jpegLen <= 0 {
			continue
		}
		// Some bodies keep a larger preview outside the block.
		if base+im.jpegAt > src.size-im.jpegLen {
			m.problem(Problem{Where: dirs[i].name, Tag: tagJPEGInterchange, Offset: base, What: "the thumbnail lies past the end of the file"})
			continue
		}
		m.Previews = append(m.Previews, Preview{Offset: base + im.jpegAt, Length: im.jpegLen})
	}
}

// An image is what one directory says of the picture it describes.
type image struct {
	name              string
	role              dirRole
	reduced           bool // NewSubfileType says that it is a smaller version of another
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
	file, err := ifd.Open(src, 0, src.size)
	if err != nil {
		return &FormatError{Format: m.Format, Problem: "the header cannot be read: " + err.Error()}
	}
	file.Memo, file.Budget = &src.memo, &src.budget
	dirs := walkDirs(m, file, layout.RoleMain)
	if len(dirs) == 0 {
		return &FormatError{Format: m.Format, Offset: file.First, Problem: "the file ends before its first directory"}
	}
	f := facts{m: m}
	f.takeDirs(file, dirs)
	images := make([]image, 0, len(dirs))
	for i := range dirs {
		if dirs[i].role != dirExif {
			images = append(images, readImage(m, file, &dirs[i]))
		}
	}
	m.Format = tiffFormat(src, m, &f, images)
	w, h := mainSize(m.Format, &f, images)
	if w > 0 && h > 0 {
		m.Width, m.Height = Of(w), Of(h)
	}
	for i := range images {
		embeddedExif(src, &f, &images[i])
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

// makers tells apart the raw files that are plain TIFF by what their Make
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
	var mark [4]byte
	if _, err := src.ReadAt(mark[:], 8); err == nil && string(mark[:3]) == "CR\x02" {
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
// version; where all are, of none. In CR2 files only the Exif IFD tells: the
// directory of the sensor data has no size and the others are previews.
func mainSize(format Format, f *facts, images []image) (w, h uint32) {
	if format == FormatCR2 && f.pixelX.Known() && f.pixelY.Known() {
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
	strips  uint64 // how many were looked at
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
	return Integrity{IntegrityUnchecked, "the file does not say where its image data ends"}
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
			if off == 0 || length == 0 { // a sparse tile, or not told
				continue
			}
			if err := do(off, length); err != nil {
				return err
			}
		}
	}
	return nil
}

// embedded adds the JPEG pictures of an image's directory to the previews.
func embedded(src *source, m *Metadata, file *ifd.File, im *image) {
	add := func(off, length int64, width, height uint32) {
		if length > 0 && off > 0 && off <= src.size-length && len(m.Previews) < maxPreviews {
			m.Previews = append(m.Previews, Preview{off, length, int(width), int(height)})
		}
	}
	add(im.jpegAt, im.jpegLen, 0, 0)
	if im.embedLen > 0 {
		add(im.embedAt, im.embedLen, 0, 0)
	}
	picture := im.photometric == photometricRGB || im.photometric == photometricYCbCr || im.photometric < 0
	if (im.compression != compressionOldJPEG && im.compression != compressionJPEG) || !picture || !im.hasData || im.offsets.Count != 1 || im.counts.Count != 1 {
		return
	}
	offsets, err := file.Numbers(im.offsets, 0, 1)
	if err != nil {
		return // noted by the check of the image data
	}
	counts, err := file.Numbers(im.counts, 0, 1)
	if err != nil {
		return
	}
	add(int64(min(offsets[0], math.MaxInt64/4)), int64(min(counts[0], math.MaxInt64/4)), 0, 0)
}

// embeddedExif reads the Exif block in the embedded picture of an RW2 file,
// which says more than the file's own directories. Of several pictures the
// first is looked at.
func embeddedExif(src *source, f *facts, im *image) {
	length := min(im.embedLen, src.size-im.embedAt)
	if length <= 0 || src.embedded {
		return
	}
	src.embedded = true
	b, ok, err := jpeg.FirstExif(io.NewSectionReader(src, im.embedAt, length), length)
	if err != nil || !ok {
		return // the picture itself is looked at with the previews
	}
	b.Offset += im.embedAt
	readBlock(src, f, &b)
}

// finishPreviews gives the previews their pixel sizes, as far as a few short
// reads tell, and sorts them, largest first.
func finishPreviews(src *source, m *Metadata) {
	slices.SortStableFunc(m.Previews, func(a, b Preview) int { return cmp.Compare(b.Length, a.Length) })
	m.Previews = slices.CompactFunc(m.Previews, func(a, b Preview) bool { return a.Offset == b.Offset && a.Length == b.Length })
	m.Previews = m.Previews[:min(len(m.Previews), maxPreviews)]
	reads := 0
	kept := m.Previews[:0]
	for _, p := range m.Previews {
		if p.Width == 0 && reads < maxSizeRead {
			reads++
			w, h, ok := jpeg.Size(src, p.Offset, min(p.Length, src.size-p.Offset))
			if !ok {
				continue // no picture that can be shown: lossless sensor data, or damaged
			}
			p.Width, p.Height = w, h
		}
		kept = append(kept, p)
	}
	m.Previews = slices.Clip(kept)
	slices.SortStableFunc(m.Previews, func(a, b Preview) int {
		return cmp.Or(cmp.Compare(b.Width*b.Height, a.Width*a.Height), cmp.Compare(b.Length, a.Length))
	})
}

// count prints a number of things: "1 byte", "12,000 bytes".
func count(n int64, thing string) string {
	s := strconv.FormatInt(n, 10)
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	if n == 1 {
		return s + " " + thing
	}
	return s + " " + thing + "s"
}
