package exifread_test

import (
	"os"
	"testing"

	"prestrike/exifread"
)

// BenchmarkOpen64KiB is what reading is measured against: it opens the same
// file and reads its first 64 KiB.
func BenchmarkOpen64KiB(b *testing.B) {
	path := writeFrame(b, "frame.jpg", cameraJPEG(b, 6<<20))
	buf := make([]byte, 64<<10)
	for b.Loop() {
		f, err := os.Open(path)
		if err != nil {
			b.Fatal(err)
		}
		if _, err := f.Read(buf); err != nil {
			b.Fatal(err)
		}
		f.Close()
	}
}

func BenchmarkReadJPEG(b *testing.B) {
	benchmarkRead(b, writeFrame(b, "frame.jpg", cameraJPEG(b, 6<<20)))
}

func BenchmarkReadRaw(b *testing.B) {
	path := writeFrame(b, "frame.dng", cameraRaw(b))
	if err := os.Truncate(path, 45<<20); err != nil { // sparse
		b.Fatal(err)
	}
	benchmarkRead(b, path)
}

func benchmarkRead(b *testing.B, path string) {
	b.ReportAllocs()
	for b.Loop() {
		m, err := exifread.ReadFile(b.Context(), path)
		if err != nil {
			b.Fatal(err)
		}
		if m.Integrity.State != exifread.IntegrityWhole || !m.Captured.Known() {
			b.Fatalf("%s: %+v", path, m)
		}
	}
}
