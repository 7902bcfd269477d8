package shoot

import (
	"cmp"
	"path"
	"slices"
	"strings"
	"time"

	"prestrike/exifread"
)

// pairTolerance is how far the times of a raw file and the JPEG of its frame
// may lie apart: bodies may stamp them when each is written.
const pairTolerance = 2 * time.Second

// makeFrames pairs raw files with the JPEG or HEIF of the same folder and
// stem, or of the same stem and capture time in another folder, where a body
// wrote the two to different cards.
func makeFrames(files []*File) []*Frame {
	files = slices.Clone(files)
	slices.SortFunc(files, func(a, b *File) int { return strings.Compare(a.Path, b.Path) })
	type name struct{ dir, stem string }
	frames := make([]*Frame, 0, len(files))
	open := make(map[name][]*Frame, len(files))
	for _, f := range files {
		dir, stem := splitPath(f.Path)
		key := name{dir, strings.ToUpper(stem)}
		before := open[key]
		if i := slices.IndexFunc(before, func(fr *Frame) bool { return pairs(fr, f) }); i >= 0 {
			before[i].Files = append(before[i].Files, f)
			continue
		}
		frame := &Frame{Files: []*File{f}}
		frames = append(frames, frame)
		if len(before) == 0 { // as nearly always; frames themselves can hold the one
			before = frames[len(frames)-1 : len(frames) : len(frames)]
		} else {
			before = append(before, frame)
		}
		open[key] = before
	}
	frames = pairAcrossFolders(frames)
	for _, f := range frames {
		f.settle()
	}
	return frames
}

// pairs reports whether file belongs to the frame: at most one raw file, and
// at most one file of each other format beside it.
func pairs(frame *Frame, file *File) bool {
	raws := 0
	if file.Raw() {
		raws++
	}
	for _, have := range frame.Files {
		if have.Raw() {
			raws++
		}
		if have.Meta.Format == file.Meta.Format && have.Err == nil && file.Err == nil {
			return false
		}
		a, okA := have.Meta.Captured.Get()
		b, okB := file.Meta.Captured.Get()
		if okA && okB && a.Wall.Sub(b.Wall).Abs() > pairTolerance {
			return false
		}
	}
	return raws == 1
}

func pairAcrossFolders(frames []*Frame) []*Frame {
	type key struct {
		stem, make, model string
		at                time.Time
	}
	keyOf := func(f *Frame) (key, bool) {
		file := f.Files[0]
		at, ok := file.Meta.Captured.Get()
		if len(f.Files) != 1 || !ok || file.Err != nil {
			return key{}, false
		}
		_, stem := splitPath(file.Path)
		return key{strings.ToUpper(stem), file.Meta.Make.Or(""), file.Meta.Model.Or(""), at.Wall}, true
	}
	raws := map[key]*Frame{}
	for _, f := range frames {
		if !f.Files[0].Raw() {
			continue
		}
		if k, ok := keyOf(f); ok {
			raws[k] = f
		}
	}
	if len(raws) == 0 {
		return frames
	}
	return slices.DeleteFunc(frames, func(f *Frame) bool {
		k, ok := keyOf(f)
		if !ok || f.Files[0].Raw() {
			return false
		}
		raw := raws[k]
		if raw == nil || len(raw.Files) != 1 {
			return false
		}
		raw.Files = append(raw.Files, f.Files[0])
		return true
	})
}

// settle orders the frame's files and takes its metadata and time from the
// best of them.
func (f *Frame) settle() {
	slices.SortFunc(f.Files, func(a, b *File) int {
		if a.Raw() != b.Raw() {
			if a.Raw() {
				return -1
			}
			return 1
		}
		return cmp.Compare(a.Path, b.Path)
	})
	f.meta = f.Files[0].Meta
	for _, file := range f.Files {
		if file.Err == nil && file.Meta.HasExif {
			f.meta = file.Meta
			break
		}
	}
	if at, ok := f.meta.Captured.Get(); ok {
		f.Time, f.Resolution = at.Wall, at.Resolution
	}
}

// zone returns the frame's offset from UTC where it records one.
func (f *Frame) zone() (time.Duration, bool) {
	at, ok := f.meta.Captured.Get()
	if !ok {
		return 0, false
	}
	return at.Offset.Get()
}

// exposureTime returns the exposure time, s.
func (f *Frame) exposureTime() exifread.Value[exifread.Rational] { return f.meta.ExposureTime }

// sensitivity returns the ISO of the frame.
func (f *Frame) sensitivity() exifread.Value[uint32] { return f.meta.Sensitivity }

// ExposureSeconds returns the exposure time in seconds, 0 where not recorded.
func (f *Frame) ExposureSeconds() float64 {
	if t, ok := f.meta.ExposureTime.Get(); ok {
		return t.Float()
	}
	return 0
}

func folder(p string) string { return path.Dir(p) }
