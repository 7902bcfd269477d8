package shoot

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"prestrike/exifread"
)

// shot is a frame's file on the disk, made at a time that the clock shows to a step.
func shot(t *testing.T, dir, name, content string, at time.Time, step time.Duration) *File {
	t.Helper()
	abs := filepath.Join(dir, filepath.FromSlash(name))
	if err := os.MkdirAll(filepath.Dir(abs), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(abs, []byte(content), 0o644); err != nil {
		t.Fatal(err)
	}
	m := &exifread.Metadata{
		Format: exifread.FormatJPEG, Size: int64(len(content)), HasExif: true,
		Model: exifread.Of("BX-1"), ExposureTime: exifread.Of(exifread.Rational{Num: 1, Den: 60}),
	}
	if !at.IsZero() {
		m.Captured = exifread.Of(exifread.Timestamp{Wall: at.Truncate(step), Resolution: step})
	}
	return &File{Path: name, Abs: abs, Size: m.Size, Meta: m}
}

func TestTakeOutCopies(t *testing.T) {
	const second, hundredth = time.Second, 10 * time.Millisecond
	at := time.Date(2026, 3, 4, 10, 11, 12, 340e6, time.UTC)
	type file struct {
		name, content string
		after         time.Duration // since the first
	}
	for _, c := range []struct {
		what   string
		step   time.Duration
		serial bool
		files  []file
		copies string // of the first file
		kept   int
	}{
		{
			"the same bytes under another name, whole seconds", second, false,
			[]file{{"BX1_0001.JPG", "ammonite", 0}, {"signature.JPG", "ammonite", 0}},
			"signature.JPG", 1,
		},
		{
			"other bytes of the same length under another name, whole seconds", second, false,
			[]file{{"BX1_0001.JPG", "ammonite", 0}, {"signature.JPG", "ammonita", 0}},
			"", 2,
		},
		{
			"the same length under another name, hundredths", hundredth, false,
			[]file{{"BX1_0001.JPG", "ammonite", 0}, {"signature.JPG", "ammonita", 0}},
			"signature.JPG", 1,
		},
		{
			"a hundredth later", hundredth, false,
			[]file{{"BX1_0001.JPG", "ammonite", 0}, {"signature.JPG", "ammonite", hundredth}},
			"", 2,
		},
		{
			"three copies by a file browser", second, false,
			[]file{{"BX1_0001.JPG", "ammonite", 0}, {"BX1_0001 copy.JPG", "ammonite", 0}, {"BX1_0001-2.JPG", "ammonite", 0}, {"copy of BX1_0001.JPG", "ammonite", 0}},
			"BX1_0001-2.JPG BX1_0001 copy.JPG copy of BX1_0001.JPG", 1,
		},
		{
			"a name that begins alike but counts on", second, false,
			[]file{{"IMG_1.JPG", "ammonite", 0}, {"IMG_12.JPG", "ammonita", 0}},
			"", 2,
		},
		{
			"a smaller picture in a folder of its own", hundredth, true,
			[]file{{"card/BX1_0001.JPG", "ammonite", 0}, {"small/fossil 1.JPG", "amm", 0}},
			"small/fossil 1.JPG", 1,
		},
		{
			"a smaller picture, and nobody knows from which body", hundredth, false,
			[]file{{"card/BX1_0001.JPG", "ammonite", 0}, {"small/fossil 1.JPG", "amm", 0}},
			"", 2,
		},
		{
			"a smaller picture beside two frames of its moment", hundredth, true,
			[]file{{"card/BX1_0001.JPG", "ammonite", 0}, {"card/BX1_0002.JPG", "ammonite's", 0}, {"small/fossil 1.JPG", "amm", 0}},
			"", 3,
		},
		{
			"two names by the camera in one folder, one after the other", hundredth, true,
			[]file{{"BX1_0001.JPG", "ammonite", 0}, {"BX1_0002.JPG", "ammonite", 0}},
			"", 2,
		},
		{
			"two bodies that release at one moment and count on their own", hundredth, false,
			[]file{{"a/BX1_0001.JPG", "ammonite", 0}, {"b/BX1_0701.JPG", "ammonita", 0}},
			"", 2,
		},
		{
			"one name in two folders, whole seconds, other length, no serial number", second, false,
			[]file{{"a/BX1_0001.JPG", "ammonite", 0}, {"b/BX1_0001.JPG", "fossil", 0}},
			"", 2,
		},
		{
			"the same with a serial number", second, true,
			[]file{{"a/BX1_0001.JPG", "ammonite", 0}, {"b/BX1_0001.JPG", "fossil", 0}},
			"b/BX1_0001.JPG", 1,
		},
		{
			"a clock that stands still", hundredth, true,
			[]file{{"BX1_0001.JPG", "ammonite", 0}, {"BX1_0003.JPG", "ammonita", 0}, {"BX1_0005.JPG", "ammonitu", 0}},
			"", 3,
		},
	} {
		t.Run(c.what, func(t *testing.T) {
			dir := t.TempDir()
			var files []*File
			for _, f := range c.files {
				made := shot(t, dir, f.name, f.content, at.Add(f.after), c.step)
				if c.serial {
					made.Meta.BodySerial = exifread.Of("4711")
				}
				files = append(files, made)
			}
			frames := takeOutCopies(makeFrames(files))
			var copies []string
			for _, f := range frames {
				for _, again := range f.Copies {
					if f.Path() != c.files[0].name {
						t.Errorf("%s is said to be a copy of %s", again.Path(), f.Path())
					}
					copies = append(copies, again.Path())
				}
			}
			if got := strings.Join(copies, " "); got != c.copies {
				t.Errorf("copies of the first: %q, want %q", got, c.copies)
			}
			if len(frames) != c.kept {
				t.Errorf("%d frames stay, want %d", len(frames), c.kept)
			}
		})
	}
}

// Without a time only the content of a file whose name was made from the other's counts.
func TestCopiesWithoutTime(t *testing.T) {
	dir := t.TempDir()
	var files []*File
	for _, f := range [][2]string{{"BX1_0001.JPG", "ammonite"}, {"BX1_0001 copy.JPG", "ammonite"}, {"BX1_0002.JPG", "ammonita"}, {"BX1_0002 copy.JPG", "ammonito"}} {
		files = append(files, shot(t, dir, f[0], f[1], time.Time{}, time.Second))
	}
	frames := takeOutCopies(makeFrames(files))
	if len(frames) != 3 {
		t.Errorf("%d frames stay, want 3", len(frames))
	}
}

// The frame that is whole stays, wherever it lies.
func TestWholeFrameStays(t *testing.T) {
	dir := t.TempDir()
	at := time.Date(2026, 3, 4, 10, 11, 12, 340e6, time.UTC)
	torn := shot(t, dir, "a/BX1_0001.JPG", "ammo", at, 10*time.Millisecond)
	torn.Meta.Integrity.State = exifread.IntegrityTorn
	frames := takeOutCopies(makeFrames([]*File{torn, shot(t, dir, "b/BX1_0001.JPG", "ammonite", at, 10*time.Millisecond)}))
	if len(frames) != 1 || frames[0].Path() != "b/BX1_0001.JPG" || len(frames[0].Copies) != 1 {
		t.Errorf("%d frames, first %s with %d copies", len(frames), frames[0].Path(), len(frames[0].Copies))
	}
}
