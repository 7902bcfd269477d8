package jxl

import (
	"bytes"
	"encoding/binary"
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/andybalholm/brotli"

	"prestrike/exifread/internal/layout"
	"prestrike/exifread/internal/scan/scantest"
)

func u32(v uint32) []byte { return binary.BigEndian.AppendUint32(nil, v) }
func u64(v uint64) []byte { return binary.BigEndian.AppendUint64(nil, v) }

func mk(kind string, parts ...[]byte) []byte {
	body := slices.Concat(parts...)
	return slices.Concat(u32(uint32(8+len(body))), []byte(kind), body)
}

// container builds a file of the container form.
func container(boxes ...[]byte) []byte {
	return slices.Concat([]byte(signature), mk("ftyp", []byte("jxl \x00\x00\x00\x00jxl ")), slices.Concat(boxes...))
}

var (
	tiff = []byte("II*\x00\x08\x00\x00\x00\x00\x00\x00\x00\x00\x00")
	// square is a codestream's start that states 8 x 8 (small, ratio 1:1), and
	// a few bytes of data.
	square = slices.Concat([]byte{0xFF, 0x0A, 0b01_00000_1, 0}, bytes.Repeat([]byte{0x55}, 60))
)

func pack(t testing.TB, data []byte) []byte {
	t.Helper()
	var b bytes.Buffer
	w := brotli.NewWriter(&b)
	if _, err := w.Write(data); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// bitString packs a string of bits, the least significant of a byte first, as
// the standard writes them.
func bitString(s string) []byte {
	s = strings.ReplaceAll(s, " ", "")
	b := make([]byte, (len(s)+7)/8)
	for i, c := range s {
		if c == '1' {
			b[i/8] |= 1 << (i % 8)
		}
	}
	return b
}

// The sizes were encoded by hand from ISO/IEC 18181-1, SizeHeader: a bit
// "small", the height (small: 5 bits, in eights less one; else 2 bits that
// choose 9, 13, 18 or 30 bits, less one), 3 bits of ratio, the width if 0.
func TestSize(t *testing.T) {
	for _, tt := range []struct {
		name, bits    string // each number with its least significant bit first
		width, height uint32
	}{
		{"small square", "1 00000 100", 8, 8},
		{"small, width on its own", "1 11111 000 01000", 24, 256},
		{"9 and 9 bits", "0 00 100000010 000 00 111000110", 200, 130},
		{"13 bits, 3:2", "0 10 1111100111110 001", 6000, 4000},
		{"13 bits, 16:9", "0 10 1110110000100 101", 1920, 1080},
		{"18 bits, 4:3", "0 01 111101101000100010 110", 93_333, 70_000},
		{"30 bits", "0 11 " + strings.Repeat("1", 30) + " 000 11 " + strings.Repeat("1", 30), 1 << 30, 1 << 30},
		{"the largest, 2:1", "0 11 " + strings.Repeat("1", 30) + " 111", 1 << 31, 1 << 30},
	} {
		if w, h, ok := size(bitString(tt.bits)); !ok || w != tt.width || h != tt.height {
			t.Errorf("%s: %d x %d, %v, want %d x %d", tt.name, w, h, ok, tt.width, tt.height)
		}
	}
	for _, cut := range []string{"", "0000 0000", "0 00 100000010 000 00"} {
		if w, h, ok := size(bitString(cut)); ok {
			t.Errorf("cut size header %q: %d x %d, want none", cut, w, h)
		}
	}
}

func TestScan(t *testing.T) {
	exif := slices.Concat(u32(0), tiff)
	named := slices.Concat(u32(6), []byte("Exif\x00\x00"), tiff)
	for _, tt := range []struct {
		name    string
		file    []byte
		block   layout.Block
		checked bool
	}{
		{"bare codestream", square, layout.Block{}, false},
		{"container", container(mk("jxlc", square)), layout.Block{}, true},
		{"container with 64-bit size", container(slices.Concat(u32(1), []byte("jxlc"), u64(uint64(16+len(square))), square)), layout.Block{}, true},
		{"container with open size", container(slices.Concat(u32(0), []byte("jxlc"), square)), layout.Block{}, false},
		{"Exif box", container(mk("Exif", exif), mk("jxlc", square)), layout.Block{Offset: 44, Length: 14}, true},
		{"Exif box behind the picture", container(mk("jxlc", square), mk("Exif", exif)), layout.Block{Offset: 44 + 8 + 64, Length: 14}, true},
		{"Exif box with a name", container(mk("Exif", named), mk("jxlc", square)), layout.Block{Offset: 50, Length: 14}, true},
		{"Exif box with a wrong place", container(mk("Exif", u32(900), tiff), mk("jxlc", square)), layout.Block{Offset: 44, Length: 14}, true},
		{"compressed Exif box", container(mk("brob", []byte("Exif"), pack(t, exif)), mk("jxlc", square)), layout.Block{Data: tiff}, true},
		{"compressed other box", container(mk("brob", []byte("xml "), pack(t, exif)), mk("jxlc", square)), layout.Block{}, true},
		{"plain before compressed", container(mk("Exif", exif), mk("brob", []byte("Exif"), pack(t, named)), mk("jxlc", square)), layout.Block{Offset: 44, Length: 14}, true},
		{"in parts", container(mk("jxlp", u32(0), square[:20]), mk("jxlp", u32(1<<31|1), square[20:])), layout.Block{}, true},
	} {
		t.Run(tt.name, func(t *testing.T) {
			l, err := scantest.Check(t, Scan, tt.file)
			if err != nil || len(l.Problems) > 0 || l.Torn != "" || l.Checked != tt.checked || l.Width != 8 || l.Height != 8 {
				t.Fatalf("%+v, %v; want 8 x 8, checked %v", l, err, tt.checked)
			}
			switch {
			case tt.block.Length == 0 && tt.block.Data == nil:
				if len(l.Blocks) != 0 {
					t.Errorf("blocks %+v, want none", l.Blocks)
				}
			case len(l.Blocks) != 1 || l.Blocks[0].Offset != tt.block.Offset || l.Blocks[0].Length != tt.block.Length || !bytes.Equal(l.Blocks[0].Data, tt.block.Data):
				t.Errorf("blocks %+v, want %+v", l.Blocks, tt.block)
			}
		})
	}
}

func TestCut(t *testing.T) {
	one := container(mk("Exif", u32(0), tiff), mk("jxlc", square))
	scantest.Cut(t, Scan, one, len(one), 1)
	parts := container(mk("jxlp", u32(0), square[:20]), mk("jxlp", u32(1), square[20:40]), mk("jxlp", u32(1<<31|2), square[40:]))
	scantest.Cut(t, Scan, parts, len(parts), 1)
	for _, tt := range []struct {
		file  []byte
		short int
		want  string
	}{
		{one, 10, "the file ends before its image data does: 10 bytes of 64 bytes missing"},
		{one, 64, "the file ends before its image data: all 64 bytes missing"},
		{parts, 36, "the file ends before its image data does: the last part is missing"},
	} {
		n := len(tt.file) - tt.short
		if l, err := Scan(bytes.NewReader(tt.file[:n]), int64(n)); err != nil || l.Torn != tt.want {
			t.Errorf("%d of %d bytes: torn %q, %v, want %q", n, len(tt.file), l.Torn, err, tt.want)
		}
	}
}

func TestHostile(t *testing.T) {
	bomb := pack(t, slices.Concat(u32(0), tiff, make([]byte, 100<<20)))
	random := pack(t, slices.Concat(u32(0), tiff, bytes.Repeat([]byte("ammonite"), 1000)))
	picture := mk("jxlc", square)
	for _, tt := range []struct {
		name               string
		file               []byte
		err, problem, torn string
	}{
		{name: "empty file", err: "does not begin as"},
		{name: "signature cut", file: []byte(signature)[:11], err: "does not begin as"},
		{name: "signature alone", file: []byte(signature), err: "ends before its picture"},
		{name: "no picture", file: container(mk("Exif", u32(0), tiff)), err: "ends before its picture"},
		{name: "codestream of two bytes", file: []byte{0xFF, 0x0A}, torn: "before its image data begins"},
		{name: "codestream cut in its size", file: square[:3], torn: "before its image data begins"},
		{name: "picture of noise", file: container(mk("jxlc", []byte("noise and more noise"))), problem: "does not begin as it should"},
		{name: "box of size 7", file: container(picture, u32(7), []byte("free")), problem: "less than its own header"},
		{name: "box of size 2^63", file: container(picture, u32(1), []byte("free"), u64(1<<63)), problem: "impossible size"},
		{name: "box of size 2^63-1", file: container(u32(1), []byte("jxlc"), u64(1<<63-1), square), torn: "more than 1 TB"},
		{name: "64-bit size cut off", file: container(picture, u32(1), []byte("free"), u32(0)), problem: "impossible size"},
		{name: "a million empty boxes", file: container(picture, bytes.Repeat(mk("free"), 1_000_000)), problem: "more than 4096 boxes"},
		{name: "control characters for a name", file: container(picture, u32(3), []byte("\x1b]0;")), problem: `"\x1b]0;"`},
		{name: "Exif box of noise", file: container(mk("Exif", []byte("<script>alert(1)</script>")), picture), problem: "no Exif data"},
		{name: "empty Exif box", file: container(mk("Exif"), picture), problem: "no Exif data"},
		{name: "Exif box of 3 bytes", file: container(mk("Exif", []byte("abc")), picture), problem: "no Exif data"},
		{name: "100 MiB compressed to nothing", file: container(mk("brob", []byte("Exif"), bomb), picture), problem: "more than"},
		{name: "compressed box of 3 MiB", file: container(mk("brob", []byte("Exif"), make([]byte, 3<<20)), picture), problem: "was not read"},
		{name: "compressed noise", file: container(mk("brob", []byte("Exif"), bytes.Repeat([]byte{0xA7}, 500)), picture), problem: "damaged"},
		{name: "compressed data cut", file: container(mk("brob", []byte("Exif"), random[:len(random)-3]), picture), problem: "damaged"},
		{name: "brob box of 2 bytes", file: container(mk("brob", []byte("Ex")), picture)},
		{name: "parts without a last", file: container(mk("jxlp", u32(0), square)), torn: "the last part is missing"},
		{name: "part of 2 bytes", file: container(mk("jxlp", []byte{0, 0})), torn: "the last part is missing"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			start := time.Now()
			l, err := scantest.Check(t, Scan, tt.file)
			if d := time.Since(start); d > 2*time.Second {
				t.Errorf("two scans took %v", d)
			}
			switch {
			case tt.err != "":
				if err == nil || !strings.Contains(err.Error(), tt.err) {
					t.Errorf("error %v, want one with %q", err, tt.err)
				}
				return
			case err != nil:
				t.Fatalf("error %v", err)
			}
			if tt.problem != "" && !slices.ContainsFunc(l.Problems, func(p layout.Problem) bool { return strings.Contains(p.What, tt.problem) }) {
				t.Errorf("problems %+v, want one with %q", l.Problems, tt.problem)
			}
			if tt.torn == "" && l.Torn != "" || !strings.Contains(l.Torn, tt.torn) {
				t.Errorf("torn %q, want %q", l.Torn, tt.torn)
			}
		})
	}
}

type badMedium struct{}

var errMedium = errors.New("input/output error")

func (badMedium) ReadAt([]byte, int64) (int, error) { return 0, errMedium }

func TestMediumFails(t *testing.T) {
	if _, err := Scan(badMedium{}, 100); !errors.Is(err, errMedium) {
		t.Errorf("Scan: %v, want %v", err, errMedium)
	}
}

func FuzzScan(f *testing.F) {
	f.Add(square)
	f.Add(container(mk("Exif", u32(0), tiff), mk("jxlc", square)))
	f.Add(container(mk("brob", []byte("Exif"), pack(f, slices.Concat(u32(0), tiff))), mk("jxlp", u32(1<<31), square)))
	for _, folder := range scantest.Folders {
		for _, data := range scantest.Shared(f, folder, Is) {
			f.Add(data)
		}
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		l, err := scantest.Check(t, Scan, data)
		if err == nil && !Is(data) {
			t.Error("a file without a signature was read")
		}
		if bytes.HasPrefix(data, []byte{0xFF, 0x0A}) && l.Torn == "" && err == nil && (l.Width == 0 || l.Height == 0) && len(l.Problems) == 0 {
			t.Errorf("a codestream without a size: %+v", l)
		}
	})
}
