package demo_test

import (
	"bytes"
	"context"
	"errors"
	"image/jpeg"
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
	files, err := filepath.Glob(filepath.Join(folder, "DCIM", "100BXCAM", "BX1_*.JPG"))
	if err != nil {
		t.Fatal(err)
	}
	if len(files) != n {
		t.Errorf("Write says %d frames, the folder holds %d", n, len(files))
	}
	return files
}

func TestWriteIsTheSameEachTime(t *testing.T) {
	first, second := write(t, filepath.Join(t.TempDir(), "new", "a")), write(t, t.TempDir())
	if len(first) != len(second) {
		t.Fatalf("%d frames, then %d", len(first), len(second))
	}
	for i := range first {
		a, err := os.ReadFile(first[i])
		if err != nil {
			t.Fatal(err)
		}
		b, err := os.ReadFile(second[i])
		if err != nil {
			t.Fatal(err)
		}
		if filepath.Base(first[i]) != filepath.Base(second[i]) || !bytes.Equal(a, b) {
			t.Errorf("%s and %s differ", first[i], second[i])
		}
		c, err := jpeg.DecodeConfig(bytes.NewReader(a))
		if err != nil || c.Width != demo.Small().Width || c.Height != demo.Small().Height {
			t.Errorf("%s: %d x %d pixels, error %v", first[i], c.Width, c.Height, err)
		}
	}
}

// TestLostFramesAreLost holds that the frames named as lost are the only ones
// that the numbering misses.
func TestLostFramesAreLost(t *testing.T) {
	files := write(t, t.TempDir())
	fault := demo.Small().Faults()[0]
	if want := fault.Last - fault.First + 1; want != 2 {
		t.Fatalf("%d frames are lost, want 2", want)
	}
	faults := demo.Small().Faults()
	last := faults[len(faults)-1].Last
	if len(files) != last-2 {
		t.Errorf("%d files, want %d: all up to %04d but two", len(files), last-2, last)
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

func TestStoppedWriteLeavesNothing(t *testing.T) {
	folder := t.TempDir()
	ctx, stop := context.WithCancel(t.Context())
	_, err := demo.Small().Write(ctx, folder, func(done, _ int) {
		if done == 5 {
			stop()
		}
	})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("error %v, want Canceled", err)
	}
	entries, err := os.ReadDir(folder)
	if err != nil || len(entries) != 0 {
		t.Errorf("the folder holds %v, error %v; want it empty", entries, err)
	}
}
