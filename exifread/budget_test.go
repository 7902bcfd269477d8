package exifread_test

import (
	"io"
	"os"
	"path/filepath"
	"testing"
	"unsafe"

	"prestrike/exifread"
)

// sparse is a file of size bytes: front, then zeros.
type sparse struct {
	front []byte
	size  int64
}

func (s *sparse) ReadAt(p []byte, off int64) (int, error) {
	if off >= s.size {
		return 0, io.EOF
	}
	var err error
	if int64(len(p)) > s.size-off {
		p, err = p[:s.size-off], io.EOF
	}
	clear(p)
	if off < int64(len(s.front)) {
		copy(p, s.front[off:])
	}
	return len(p), err
}

// counting counts what is read.
type counting struct {
	r     io.ReaderAt
	reads int
	bytes int64
}

func (c *counting) ReadAt(p []byte, off int64) (int, error) {
	n, err := c.r.ReadAt(p, off)
	c.reads++
	c.bytes += int64(n)
	return n, err
}

// Raw files of 45 MiB take at most 64 KiB and 8 reads each, on average.
func TestRawReadBudget(t *testing.T) {
	const size = 45 << 20
	raws := map[string][]byte{"made-up raw file": cameraRaw(t)}
	for _, path := range moduleImages(t) {
		switch ext := filepath.Ext(path); ext {
		case ".arw", ".cr2", ".dng", ".nef", ".pef":
			b, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			raws[ext] = b
		}
	}
	if len(raws) != 6 {
		t.Fatalf("%d raw files, want 6", len(raws))
	}
	var reads int
	var read int64
	for name, b := range raws {
		c := &counting{r: &sparse{b, size}}
		m, err := exifread.Read(t.Context(), c, size)
		if err != nil || !m.HasExif || !m.Captured.Known() {
			t.Errorf("%s: %v, %+v", name, err, m)
		}
		t.Logf("%s: %d bytes in %d reads, %v", name, c.bytes, c.reads, m.Integrity)
		reads += c.reads
		read += c.bytes
	}
	if n := len(raws); reads > 8*n || read > int64(n)<<16 {
		t.Errorf("%d raw files took %d bytes in %d reads", n, read, reads)
	}
}

// A good JPEG is never read whole.
func TestJPEGReadBudget(t *testing.T) {
	b := cameraJPEG(t, 6<<20)
	m, err := readBytes(b)
	if err != nil || m.Integrity.State != exifread.IntegrityWhole {
		t.Fatalf("%v, %+v", err, m.Integrity)
	}
	c := &counting{r: &sparse{b, int64(len(b))}}
	if _, err := exifread.Read(t.Context(), c, int64(len(b))); err != nil {
		t.Fatal(err)
	}
	if c.bytes > 64<<10 || c.reads > 6 {
		t.Errorf("%d bytes in %d reads", c.bytes, c.reads)
	}
}

// A frame of two files has 4 KiB of memory in all.
func TestMetadataIsSmall(t *testing.T) {
	if n := unsafe.Sizeof(exifread.Metadata{}); n > 1024 {
		t.Errorf("Metadata has %d bytes", n)
	}
}
