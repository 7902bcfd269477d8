package exifread

import (
	"bytes"
	"errors"
	"io"
	"slices"
	"strconv"

	"prestrike/exifread/internal/ifd"
	"prestrike/exifread/internal/layout"
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
func walkDirs(src *source, m *Metadata, file *ifd.File, role layout.Role) []directory {
	type pointer struct {
		off  int64
		role dirRole
		name string
	}
	first := pointer{file.First, dirMain, "IFD0"}
	if role == layout.RoleExif {
		first = pointer{file.First, dirExif, "Exif IFD"}
	}
	var ( // most files need no more memory than this
		pointers [8]pointer
		places   [8]int64
		values   [8]int64
	)
	var (
		queue = append(pointers[:0], first)
		seen  = places[:0]
		chain int // directories behind IFD0
		subs  int
		from  = len(src.dirs) // those before are of another structure
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
			break
		}
		if err != nil {
			m.problem(Problem{Where: p.name, Offset: file.Base() + p.off, What: "the directory cannot be read: " + err.Error()})
			continue
		}
		if d.Cut != "" {
			m.problem(Problem{Where: p.name, Offset: file.Base() + p.off, What: d.Cut})
		}
		src.dirs = append(src.dirs, directory{d, p.name, p.role})

		for _, e := range d.Entries {
			switch {
			case e.Tag == tagExifIFD && p.role != dirExif:
				if off := offsets(values[:0], m, file, e, p.name); len(off) > 0 {
					queue = append(queue, pointer{off[0], dirExif, "Exif IFD"})
				}
			case e.Tag == tagSubIFDs && p.role != dirExif:
				for _, o := range offsets(values[:0], m, file, e, p.name) {
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
	return src.dirs[from:len(src.dirs):len(src.dirs)]
}

// offsets appends the offsets of directories that an entry holds.
func offsets(off []int64, m *Metadata, file *ifd.File, e ifd.Entry, where string) []int64 {
	v, err := file.Value(e)
	if err != nil {
		m.problem(Problem{Where: where, Tag: e.Tag, Offset: e.At, What: err.Error()})
		return off
	}
	for i := range min(v.Len(), maxPointers) {
		n, ok := v.Int(i)
		if !ok || n < 0 {
			m.problem(Problem{Where: where, Tag: e.Tag, Offset: e.At, What: "no offset of a directory"})
			break
		}
		off = append(off, n)
	}
	return off
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
				t := find(e.Tag)
				if t.take != nil && (e.Tag >= tagFirstCommon || file.Magic == ifd.MagicRW2) {
					f.take(file, e, t, dirs[i].name)
				}
			}
		}
	}
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
	file, err := ifd.Open(r, base, length, &src.memo)
	if err != nil {
		m.problem(Problem{Where: "Exif block", Offset: base, What: "the block cannot be read: " + err.Error()})
		return
	}
	dirs := walkDirs(src, m, file, b.Role)
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
