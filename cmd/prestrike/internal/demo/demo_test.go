package demo_test

import (
	"bytes"
	"context"
	"errors"
	"image/jpeg"
	"math/bits"
	"os"
	"path/filepath"
	"testing"

	"prestrike/cmd/prestrike/internal/demo"
)

func write(t *testing.T, folder string) []string {
	t.Helper()
	n, err := demo.Small().Write(t.Context(), folder, nil)
	if err != nil {
		t.Fatal(err)
	}
	files, err := filepath.Glob(filepath.Join(folder, demo.Card, "DCIM", "100BXCAM", "BX1_*.JPG"))
	if err != nil {
		t.Fatal(err)
	}
	if len(files) != n {
		t.Errorf("Write says %d frames, the folder holds %d", n, len(files))
	}
	return files
}

func TestWrite(t *testing.T) {
	folder := filepath.Join(t.TempDir(), "new", "a")
	files := write(t, folder)
	t.Run("the same each time", func(t *testing.T) { sameAgain(t, files) })
	t.Run("lost frames are lost", func(t *testing.T) { lostFrames(t, files) })
	t.Run("one byte of the copy differs", func(t *testing.T) { copied(t, folder, files) })
}

func read(t *testing.T, file string) []byte {
	t.Helper()
	content, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	return content
}

func sameAgain(t *testing.T, first []string) {
	second := write(t, t.TempDir())
	if len(first) != len(second) {
		t.Fatalf("%d frames, then %d", len(first), len(second))
	}
	for i := range first {
		a := read(t, first[i])
		if filepath.Base(first[i]) != filepath.Base(second[i]) || !bytes.Equal(a, read(t, second[i])) {
			t.Errorf("%s and %s differ", first[i], second[i])
		}
		c, err := jpeg.DecodeConfig(bytes.NewReader(a))
		if err != nil || c.Width != demo.Small().Width || c.Height != demo.Small().Height {
			t.Errorf("%s: %d x %d pixels, error %v", first[i], c.Width, c.Height, err)
		}
	}
}

// lostFrames holds that the frames named as lost are the only ones that the numbering
// misses.
func lostFrames(t *testing.T, files []string) {
	fault := demo.Small().Faults()[0]
	if want := fault.Last - fault.First + 1; want != 2 {
		t.Fatalf("%d frames are lost, want 2", want)
	}
	last := 0
	for _, f := range demo.Small().Faults() {
		last = max(last, f.Last)
	}
	if len(files) != last-2 {
		t.Errorf("%d files, want %d: all up to %04d but two", len(files), last-2, last)
	}
}

// copied holds that the copy has every file of the card, and that one bit of one of them
// is another, in a file that is still a picture.
func copied(t *testing.T, folder string, files []string) {
	for _, file := range files {
		name := filepath.Base(file)
		original, copied := read(t, file), read(t, filepath.Join(folder, demo.Copy, "DCIM", "100BXCAM", name))
		if len(copied) != len(original) {
			t.Fatalf("%s: %d bytes in the copy, want %d", name, len(copied), len(original))
		}
		off, want := 0, 0
		for i := range original {
			off += bits.OnesCount8(original[i] ^ copied[i])
		}
		if name == demo.Small().Damaged() {
			want = 1
		}
		if off != want {
			t.Errorf("%s: %d bits differ in the copy, want %d", name, off, want)
		}
		if off > 0 {
			if _, err := jpeg.Decode(bytes.NewReader(copied)); err != nil {
				t.Errorf("%s in the copy: %v", name, err)
			}
		}
	}
}

func TestWriteRefusesAFullFolder(t *testing.T) {
	folder := t.TempDir()
	kept := filepath.Join(folder, "BX1_0001.JPG")
	if err := os.WriteFile(kept, []byte("kept"), 0o666); err != nil {
		t.Fatal(err)
	}
	if _, err := demo.Small().Write(t.Context(), folder, nil); !errors.Is(err, demo.ErrNotEmpty) {
		t.Errorf("error %v, want ErrNotEmpty", err)
	}
	entries, err := os.ReadDir(folder)
	if err != nil || len(entries) != 1 {
		t.Errorf("the folder holds %v, error %v; want it as it was", entries, err)
	}
}

// What was there stays, and folders that were made go again.
func TestStoppedWriteLeavesNothing(t *testing.T) {
	base := t.TempDir()
	for _, folder := range []string{base, filepath.Join(base, "new", "a")} {
		ctx, stop := context.WithCancel(t.Context())
		_, err := demo.Small().Write(ctx, folder, func(done, _ int) {
			if done == 5 {
				stop()
			}
		})
		stop()
		if !errors.Is(err, context.Canceled) {
			t.Errorf("error %v, want Canceled", err)
		}
		entries, err := os.ReadDir(base)
		if err != nil || len(entries) != 0 {
			t.Errorf("the folder holds %v, error %v; want it empty", entries, err)
		}
	}
}
