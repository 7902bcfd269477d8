package exifread

import (
	"cmp"
	"io"
	"math"
	"slices"

	"prestrike/exifread/internal/ifd"
	"prestrike/exifread/internal/jpeg"
)

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
// which records more than the file's own directories. Of several pictures the
// first is inspected.
func embeddedExif(src *source, f *facts, im *image) {
	length := min(im.embedLen, src.size-im.embedAt)
	if length <= 0 || src.embedded {
		return
	}
	src.embedded = true
	b, ok, err := jpeg.FirstExif(io.NewSectionReader(src, im.embedAt, length), length)
	if err != nil || !ok {
		return // the picture itself is inspected with the previews
	}
	b.Offset += im.embedAt
	readBlock(src, f, &b)
}

// finishPreviews gives the previews their pixel sizes, as far as a few short
// reads show, and sorts them, largest first.
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
