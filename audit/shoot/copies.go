package shoot

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"io"
	"slices"
	"strings"
	"time"

	"prestrike/audit/safefile"
	"prestrike/exifread"
)

// Copies of a frame are taken out before anything is grouped: they are no exposures, and
// would cut runs, turn clocks back and make up bodies.
//
// Two frames are one where the same body recorded the same moment and the same settings,
// and names, sizes or contents agree with that. How much must agree depends on the clock: one
// that counts hundredths of a second distinguishes exposures, one of whole seconds does not.
// Two names that a camera gave in one folder are two exposures, whatever the clock shows, or
// one file copied over another, which rules report.

// fineClock is the coarsest clock that distinguishes all exposures of one body.
const fineClock = 10 * time.Millisecond

// mostOfOneMoment bounds the frames of one body and moment that are compared each with
// each: more come from a clock that stands still. Those are compared by name alone.
const mostOfOneMoment = 64

// A moment is what two files of one exposure record alike.
type moment struct {
	at                       time.Time
	body                     Body
	lens                     string
	exposure, fNumber, focal exifread.Value[exifread.Rational]
	iso                      exifread.Value[uint32]
}

func (f *Frame) moment() moment {
	m := f.meta
	return moment{
		f.Time, f.named(), m.LensModel.Or(""),
		m.ExposureTime, m.FNumber, m.FocalLength, m.Sensitivity,
	}
}

// takeOutCopies returns the frames without those that are copies of another one, which
// gets them as its Copies. Of several copies the most complete one stays, and of those the
// one that bears the camera's name.
func takeOutCopies(frames []*Frame) []*Frame {
	type instant struct {
		at   time.Time
		size int64 // of frames without a time
	}
	instantOf := func(f *Frame) (instant, bool) {
		if f.Timed() {
			return instant{at: f.Time}, true
		}
		return instant{size: f.Files[0].Size}, f.Readable() && f.Files[0].Size > 0
	}
	count := make(map[instant]int32, len(frames))
	for _, f := range frames {
		if at, ok := instantOf(f); ok {
			count[at]++
		}
	}
	groups := map[moment]*[]*Frame{}
	bySize := map[int64][]*Frame{}
	for _, f := range frames {
		switch at, ok := instantOf(f); {
		case !ok || count[at] < 2:
		case f.Timed():
			m := f.moment()
			group := groups[m]
			if group == nil {
				group = new([]*Frame)
				groups[m] = group
			}
			*group = append(*group, f)
		default:
			bySize[at.size] = append(bySize[at.size], f)
		}
	}
	if len(groups)+len(bySize) == 0 {
		return frames
	}
	c := copyFinder{fine: map[Body]bool{}, copied: map[*Frame]bool{}}
	for _, f := range frames {
		if f.Timed() && f.Time.Nanosecond() != 0 && f.Resolution <= fineClock {
			c.fine[f.named()] = true
		}
	}
	for _, group := range groups {
		c.gather(*group)
	}
	for _, group := range bySize {
		c.gather(group)
	}
	copied := c.copied
	if len(copied) == 0 {
		return frames
	}
	var kept, out []*Frame
	for _, f := range frames {
		if copied[f] {
			out = append(out, f)
		} else {
			kept = append(kept, f)
		}
	}
	numberFrames(out)
	return kept
}

// A copyFinder knows which bodies' clocks distinguish exposures, and marks copies.
type copyFinder struct {
	fine   map[Body]bool
	copied map[*Frame]bool
}

// exact reports whether the frame's clock distinguishes exposures: sub-seconds that are 0 in
// all frames are those of a clock that does not know them.
func (c *copyFinder) exact(f *Frame) bool {
	return f.Timed() && f.Resolution <= fineClock && c.fine[f.named()]
}

// named returns the body that the frame records.
func (f *Frame) named() Body {
	return Body{Make: f.meta.Make.Or(""), Model: f.meta.Model.Or(""), Serial: serialOf(f)}
}

// gather finds the copies among frames of one moment, and marks them.
func (c *copyFinder) gather(group []*Frame) {
	if len(group) < 2 {
		return
	}
	sortAsOriginals(group)
	still := standsStill(group)
	var kept []*Frame
	byStem := map[string]*Frame{}
	for _, f := range group {
		stem := stemOf(f)
		original := byStem[stem]
		if original != nil && !c.sameName(original, f) {
			original = nil
		}
		if original == nil && len(group) <= mostOfOneMoment {
			if i := slices.IndexFunc(kept, func(k *Frame) bool { return derived(k, f) && c.sameUnderName(k, f) }); i >= 0 {
				original = kept[i]
			} else if i := slices.IndexFunc(kept, func(k *Frame) bool { return c.sameUnderOther(k, f, still || len(kept) > 1) }); i >= 0 {
				original = kept[i]
			}
		}
		if original == nil {
			kept = append(kept, f)
			if byStem[stem] == nil {
				byStem[stem] = f
			}
			continue
		}
		c.copied[f] = true
		original.Copies = append(original.Copies, f)
	}
}

// standsStill reports whether a camera named three frames of one folder and moment:
// then its clock does not distinguish exposures.
func standsStill(group []*Frame) bool {
	const several = 3
	named := map[string]int{}
	for _, f := range group {
		if dir, stem := splitPath(f.Path()); cameraName(stem) {
			named[dir]++
			if named[dir] >= several {
				return true
			}
		}
	}
	return false
}

// sortAsOriginals puts what is whole, more complete and named by the camera first among
// frames of one moment.
func sortAsOriginals(group []*Frame) {
	type ranked struct {
		f            *Frame
		rank, length int
	}
	list := make([]ranked, len(group))
	for i, f := range group {
		dir, stem := splitPath(f.Path())
		list[i] = ranked{f: f, length: len(stemOf(f))}
		for bit, yes := range [...]bool{dcfFolder(dir) != 0, len(f.Files) > 1, cameraName(stem), f.HasRaw(), f.whole()} {
			if yes {
				list[i].rank |= 1 << bit
			}
		}
	}
	slices.SortFunc(list, func(a, b ranked) int {
		if a.rank != b.rank {
			return b.rank - a.rank
		}
		return cmp.Or(a.length-b.length, cmp.Compare(a.f.Path(), b.f.Path()))
	})
	for i := range list {
		group[i] = list[i].f
	}
}

// whole reports whether nothing is known to be wrong with any file of the frame.
func (f *Frame) whole() bool {
	return !slices.ContainsFunc(f.Files, func(file *File) bool { return file.Err != nil || file.Torn() })
}

// cameraName reports whether a camera may have given the name (CIPA DC-009).
func cameraName(stem string) bool {
	_, _, ok := parseDCF(stem)
	return ok
}

func stemOf(f *Frame) string {
	_, stem := splitPath(f.Path())
	return strings.ToUpper(stem)
}

// sameName decides on two frames of one moment and one name, in two folders or with two
// endings.
func (c *copyFinder) sameName(a, b *Frame) bool {
	if !a.Timed() {
		return sameContent(a, b)
	}
	return c.exact(a) || serialOf(a) != "" || sized(a, b)
}

// sameUnderName decides on two frames of one moment, one of whose names was made from
// the other's.
func (c *copyFinder) sameUnderName(a, b *Frame) bool {
	if !a.Timed() {
		return sameContent(a, b)
	}
	return c.exact(a) || sized(a, b)
}

// sameUnderOther decides on two frames of one moment whose names have nothing in common.
// Crowded is true where the moment has other frames beside them.
func (c *copyFinder) sameUnderOther(a, b *Frame, crowded bool) bool {
	if !a.Timed() {
		return false // one size shows nothing, and to read all such files would take long
	}
	dirA, stemA := splitPath(a.Path())
	dirB, stemB := splitPath(b.Path())
	switch {
	case cameraName(stemA) && cameraName(stemB) && dirA == dirB:
		// One file copied over its neighbour is reported by a rule, as the other is lost.
		_, m, _ := parseDCF(stemA)
		_, n, _ := parseDCF(stemB)
		if m-n == 1 || n-m == 1 || crowded {
			return false
		}
		return c.exact(a) && serialOf(a) != "" && sized(a, b) || sameContent(a, b)
	case cameraName(stemA) && cameraName(stemB):
		return sameContent(a, b)
	case sized(a, b):
		return c.exact(a) || sameContent(a, b)
	}
	// Another format or size, made from the frame, in a folder of its own.
	return c.exact(a) && dirA != dirB && serialOf(a) != "" && !crowded
}

// derived reports whether one name was made from the other: "BX1_0007 copy",
// "copy of BX1_0007", "BX1_0007-2".
func derived(a, b *Frame) bool {
	long, short := stemOf(a), stemOf(b)
	if len(long) < len(short) {
		long, short = short, long
	}
	if len(long) == len(short) {
		return false
	}
	word := func(c byte) bool { return c >= '0' && c <= '9' || c >= 'A' && c <= 'Z' }
	if strings.HasPrefix(long, short) {
		return !word(long[len(short)])
	}
	return strings.HasSuffix(long, short) && !word(long[len(long)-len(short)-1])
}

// sized reports whether the frames have files of one format and one size.
func sized(a, b *Frame) bool { return twins(a, b) != nil }

// twins returns the first file of each frame that has one format and size with one of
// the other's; nil where there is none.
func twins(a, b *Frame) []*File {
	for _, x := range a.Files {
		for _, y := range b.Files {
			if x.Size > 0 && x.Size == y.Size && x.Meta.Format == y.Meta.Format {
				return []*File{x, y}
			}
		}
	}
	return nil
}

// sameContent reads two frames' files of one format and size, and reports whether they
// hold the same bytes. What cannot be read is not the same.
func sameContent(a, b *Frame) bool {
	pair := twins(a, b)
	if pair == nil {
		return false
	}
	x, okX := pair[0].hash()
	y, okY := pair[1].hash()
	return okX && okY && bytes.Equal(x, y)
}

// hash returns the SHA-256 of the file's content, read once.
func (f *File) hash() ([]byte, bool) {
	if f.sum == nil {
		in, err := safefile.Open(f.Abs)
		if err != nil {
			return nil, false
		}
		defer in.Close() // only read
		h := sha256.New()
		if n, err := io.Copy(h, io.LimitReader(in, f.Size+1)); err != nil || n != f.Size {
			return nil, false
		}
		f.sum = h.Sum(nil)
	}
	return f.sum, true
}
