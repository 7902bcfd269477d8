package scan

import (
	"errors"
	"io"
	"strings"
	"testing"
)

// counter counts reads and bytes.
type counter struct {
	r     io.ReaderAt
	reads int
	bytes int
}

func (c *counter) ReadAt(p []byte, off int64) (int, error) {
	n, err := c.r.ReadAt(p, off)
	c.reads++
	c.bytes += n
	return n, err
}

func TestReaderReadsOnceForWhatLiesTogether(t *testing.T) {
	data := strings.Repeat("0123456789", 2000)
	c := &counter{r: strings.NewReader(data)}
	r := NewReader(c, int64(len(data)))
	for off := int64(0); off < 4000; off += 10 {
		got, err := r.Peek(off, 10)
		if err != nil || string(got) != "0123456789" {
			t.Fatalf("Peek(%d, 10) = %q, %v", off, got, err)
		}
	}
	if c.reads != 1 || c.bytes != window {
		t.Errorf("400 neighbouring pieces cost %d reads of %d bytes in all, want 1 of %d", c.reads, c.bytes, window)
	}
	if _, err := r.PeekShort(19_000, 8); err != nil || c.reads != 2 || c.bytes != window+8 {
		t.Errorf("PeekShort: %v, %d reads of %d bytes in all, want 2 of %d", err, c.reads, c.bytes, window+8)
	}
	if got, err := r.Load(19_001, 4); err != nil || string(got) != "1234" || c.reads != 2 {
		t.Errorf("Load from the window = %q, %v after %d reads, want 1234 without another read", got, err, c.reads)
	}
	if got, err := r.Load(5, 6); err != nil || string(got) != "567890" {
		t.Errorf("Load(5, 6) = %q, %v", got, err)
	}
}

func TestReaderPastTheEnd(t *testing.T) {
	r := NewReader(strings.NewReader("abcdef"), 6)
	for _, tt := range []struct {
		off int64
		n   int
		ok  bool
	}{{0, 6, true}, {5, 1, true}, {6, 0, true}, {5, 2, false}, {6, 1, false}, {-1, 2, false}, {1<<63 - 1, 4, false}} {
		if _, err := r.Peek(tt.off, tt.n); (err == nil) != tt.ok {
			t.Errorf("Peek(%d, %d) error %v, want ok %v", tt.off, tt.n, err, tt.ok)
		}
		if _, err := r.Load(tt.off, tt.n); (err == nil) != tt.ok {
			t.Errorf("Load(%d, %d) error %v, want ok %v", tt.off, tt.n, err, tt.ok)
		}
	}
	shrunk := NewReader(strings.NewReader("abc"), 6)
	if _, err := shrunk.Peek(0, 6); !errors.Is(err, ErrPastEnd) {
		t.Errorf("a file that became shorter: %v, want ErrPastEnd", err)
	}
	if _, err := shrunk.Peek(0, 2); !errors.Is(err, ErrPastEnd) { // reads ahead to the stated size
		t.Errorf("a file that became shorter: %v, want ErrPastEnd", err)
	}
}

type badMedium struct{ err error }

func (b badMedium) ReadAt([]byte, int64) (int, error) { return 0, b.err }

func TestReaderKeepsErrorsOfTheMedium(t *testing.T) {
	want := errors.New("input/output error")
	r := NewReader(badMedium{want}, 100)
	if _, err := r.Peek(0, 4); !errors.Is(err, want) {
		t.Errorf("Peek: %v, want %v", err, want)
	}
	if _, err := r.Load(0, 4); !errors.Is(err, want) {
		t.Errorf("Load: %v, want %v", err, want)
	}
}

func TestTIFFStart(t *testing.T) {
	for _, tt := range []struct {
		in   string
		want int
	}{
		{"II*\x00rest", 0},
		{"MM\x00*rest", 0},
		{"Exif\x00\x00II*\x00", 6},
		{"Exif\x00\xffMM\x00*", 6}, // the second byte is padding of any value
		{"Exif\x00\x00JUNK", -1},
		{"Exif\x00\x00", -1},
		{"Exif\x00", -1},
		{"II", -1},
		{"", -1},
		{"http://ns", -1},
	} {
		if got := TIFFStart([]byte(tt.in)); got != tt.want {
			t.Errorf("TIFFStart(%q) = %d, want %d", tt.in, got, tt.want)
		}
	}
}

func TestMissing(t *testing.T) {
	const big = 1<<63 - 1
	for _, tt := range []struct {
		off, length, size int64
		want              int64
		cut               string
	}{
		{0, 100, 100, 0, ""},
		{50, 0, 20, 0, ""},
		{0, 101, 100, 1, "the file ends before its image data does: 1 byte of 101 bytes missing"},
		{200, 50, 100, 50, "the file ends before its image data: all 50 bytes missing"},
		{1000, 20_000_000, 4_001_000, 16_000_000, "the file ends before its image data does: 16.0 MB of 20.0 MB missing"},
		{1000, 40_000, 21_000, 20_000, "the file ends before its image data does: 20 kB of 40 kB missing"},
		{big, big, 10, big, "the file ends before its image data: all more than 1 TB missing"},
		{10, big, 20, big - 10, "the file ends before its image data does: more than 1 TB of more than 1 TB missing"},
	} {
		if got := Lack(tt.off, tt.length, tt.size); got != tt.want {
			t.Errorf("Lack(%d, %d, %d) = %d, want %d", tt.off, tt.length, tt.size, got, tt.want)
		}
		if got := Missing("image data", tt.off, tt.length, tt.size); got != tt.cut {
			t.Errorf("Missing(%d, %d, %d) = %q, want %q", tt.off, tt.length, tt.size, got, tt.cut)
		}
	}
}
