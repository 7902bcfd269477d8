package exifread_test

import (
	"bytes"
	"context"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"prestrike/exifread"
)

// A broken medium serves a file and goes wrong at one of its reads, counted
// from 0. how is given what the read asks for and the file.
type broken struct {
	file []byte
	at   int
	how  func(b *broken, p []byte, off int64) (int, error)

	reads int
	size  int64 // of the file by now, where how changes it; -1 for the whole
}

func (b *broken) ReadAt(p []byte, off int64) (int, error) {
	n := b.reads
	b.reads++
	if n == b.at {
		return b.how(b, p, off)
	}
	return b.sound(p, off)
}

func (b *broken) sound(p []byte, off int64) (int, error) {
	file := b.file
	if b.size >= 0 {
		file = file[:min(b.size, int64(len(file)))]
	}
	return bytes.NewReader(file).ReadAt(p, off)
}

var errMedium = errors.New("the card was pulled")

// waysToBreak are what a medium does, and what Read must then report. A cut that no
// later read meets goes unseen.
var waysToBreak = []struct {
	name   string
	how    func(b *broken, p []byte, off int64) (int, error)
	want   error
	unseen bool
}{
	{"fails", func(*broken, []byte, int64) (int, error) { return 0, errMedium }, errMedium, false},
	{"fails half-way", func(b *broken, p []byte, off int64) (int, error) {
		n, _ := b.sound(p[:len(p)/2], off)
		return n, errMedium
	}, errMedium, false},
	{"returns nothing", func(*broken, []byte, int64) (int, error) { return 0, nil }, exifread.ErrShrunk, false},
	{"is empty from now on", func(b *broken, p []byte, off int64) (int, error) {
		b.size = 0
		return b.sound(p, off)
	}, exifread.ErrShrunk, false},
	{"is cut inside what is read", func(b *broken, p []byte, off int64) (int, error) {
		b.size = off + int64(len(p))/2
		return b.sound(p, off)
	}, exifread.ErrShrunk, false},
	{"is cut to half", func(b *broken, p []byte, off int64) (int, error) {
		b.size = int64(len(b.file)) / 2
		return b.sound(p, off)
	}, exifread.ErrShrunk, true},
	{"panics", func(*broken, []byte, int64) (int, error) { panic("made to fail \x1b[31m") }, nil, false},
}

// realFiles are all real files at hand.
func realFiles(t *testing.T) []string {
	files := filesUnder(t, framesDir)
	if _, err := os.Stat(sharedDir); err == nil {
		files = append(files, filesUnder(t, sharedDir)...)
	}
	if len(files) < 15 {
		t.Fatalf("only %d files", len(files))
	}
	return files
}

// At every read of every real file the medium goes wrong in every way: the
// error reports it, and never is a panic let through.
func TestReadFromBrokenMedium(t *testing.T) {
	files := realFiles(t)
	if testing.Short() {
		files = files[:15]
	}
	runs := 0
	for _, path := range files {
		file, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if len(file) == 0 {
			continue
		}
		whole := &broken{file: file, at: -1, size: -1}
		_, wholeErr := exifread.Read(t.Context(), whole, int64(len(file)))
		for at := range min(whole.reads, 100) {
			for _, way := range waysToBreak {
				m, err := exifread.Read(t.Context(), &broken{file: file, at: at, how: way.how, size: -1}, int64(len(file)))
				runs++
				if m == nil {
					t.Fatalf("%s, read %d %s: no Metadata", path, at, way.name)
				}
				failed, programFailed := errors.AsType[*exifread.PanicError](err)
				switch {
				case way.want == nil: // the panic
					if !programFailed || !strings.Contains(failed.Error(), "please report") || !strings.Contains(failed.Error(), "made to fail") ||
						strings.Contains(failed.Error(), "\x1b") || !strings.HasPrefix(failed.Place, "broken_test.go:") {
						t.Errorf("%s, read %d %s: error %v", path, at, way.name, err)
					}
				case programFailed:
					t.Errorf("%s, read %d %s: %v", path, at, way.name, err)
				case errors.Is(err, way.want):
				case way.unseen && (err == nil) == (wholeErr == nil):
				default:
					t.Errorf("%s, read %d %s: error %v, want %v", path, at, way.name, err, way.want)
				}
			}
		}
	}
	t.Logf("%d files, %d reads that went wrong", len(files), runs)
}

// What is read of a file after another went wrong is not touched by that.
func TestReadAfterPanic(t *testing.T) {
	file := cameraJPEG(t, 30_000)
	for range 20 {
		_, err := exifread.Read(t.Context(), &broken{file: file, at: 1, how: waysToBreak[len(waysToBreak)-1].how, size: -1}, int64(len(file)))
		if _, ok := errors.AsType[*exifread.PanicError](err); !ok {
			t.Fatalf("error %v, want that of a panic", err)
		}
		if m, err := readBytes(file); err != nil || m.Model.Or("") != "Borealis BX-1" || m.Captured.Or(exifread.Timestamp{}).Wall.Year() != 2026 {
			t.Fatalf("%v, %+v", err, m)
		}
	}
}

func TestDecodeFromBrokenMedium(t *testing.T) {
	file := greyFile(t, 900, 700, 77)
	size := int64(len(file))
	p := exifread.Preview{Length: size}
	whole := &broken{file: file, at: -1, size: -1}
	if _, err := exifread.DecodeFrom(p, t.Context(), whole, size, nil); err != nil {
		t.Fatal(err)
	}
	if whole.reads < 5 {
		t.Fatalf("only %d reads", whole.reads)
	}
	for at := range whole.reads {
		for _, way := range waysToBreak {
			_, err := exifread.DecodeFrom(p, t.Context(), &broken{file: file, at: at, how: way.how, size: -1}, size, nil)
			_, programFailed := errors.AsType[*exifread.PanicError](err)
			if way.want == nil && !programFailed || way.want != nil && !errors.Is(err, way.want) && !(way.unseen && err == nil) {
				t.Errorf("read %d %s: error %v, want %v", at, way.name, err, way.want)
			}
		}
	}
	if _, err := exifread.DecodeFrom(p, t.Context(), bytes.NewReader(file), size-1, nil); !errors.Is(err, exifread.ErrShrunk) {
		t.Errorf("file shorter than the picture: error %v", err)
	}
}

// The error of a file that shrinks or goes names it, and is the medium's.
func TestShrunkFileIsNamed(t *testing.T) {
	name := writeFrame(t, "BX1_0007.JPG", greyFile(t, 96, 64, 77))
	_, err := exifread.Preview{Length: 1 << 20}.Decode(t.Context(), name, nil)
	if e, ok := errors.AsType[*fs.PathError](err); !ok || e.Path != name || !errors.Is(err, exifread.ErrShrunk) {
		t.Errorf("decoding: error %v", err)
	}
	// Some files of the system state a size that they do not have.
	const stated = "/sys/kernel/mm/transparent_hugepage/enabled"
	if info, err := os.Stat(stated); err != nil || info.Size() < 4096 {
		t.Skip("no file at hand that is shorter than its size")
	}
	_, err = exifread.ReadFile(t.Context(), stated)
	if e, ok := errors.AsType[*fs.PathError](err); !ok || e.Path != stated || !errors.Is(err, exifread.ErrShrunk) {
		t.Errorf("reading: error %v", err)
	}
}

// stopping ends its context at one of its reads.
type stopping struct {
	io.ReaderAt
	cancel func()
	left   int
}

func (s *stopping) ReadAt(p []byte, off int64) (int, error) {
	if s.left--; s.left < 0 {
		s.cancel()
	}
	return s.ReaderAt.ReadAt(p, off)
}

// Once the context is done, one more read is made at most.
func TestStopWhileReading(t *testing.T) {
	blank := make([]byte, 8<<20) // is read to its end
	picture := greyFile(t, 3000, 2000, 77)
	for _, after := range []int{0, 1, 3} {
		ctx, cancel := context.WithCancel(t.Context())
		r := &stopping{bytes.NewReader(blank), cancel, after}
		if _, err := exifread.Read(ctx, r, int64(len(blank))); !errors.Is(err, context.Canceled) || r.left < -2 {
			t.Errorf("reading, after %d reads: error %v, %d reads more", after, err, -r.left)
		}
		cancel()

		ctx, cancel = context.WithCancel(t.Context())
		r = &stopping{bytes.NewReader(picture), cancel, after}
		_, err := exifread.DecodeFrom(exifread.Preview{Length: int64(len(picture))}, ctx, r, int64(len(picture)), nil)
		if !errors.Is(err, context.Canceled) || r.left < -2 {
			t.Errorf("decoding, after %d reads: error %v, %d reads more", after, err, -r.left)
		}
		cancel()
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := exifread.ReadFile(ctx, filepath.Join(framesDir, "exif.jpg")); !errors.Is(err, context.Canceled) {
		t.Errorf("before reading: error %v", err)
	}
}
