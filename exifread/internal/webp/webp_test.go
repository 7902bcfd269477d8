package webp

import (
	"bytes"
	"encoding/binary"
	"errors"
	"slices"
	"strings"
	"testing"

	"prestrike/exifread/internal/layout"
	"prestrike/exifread/internal/scan/scantest"
)

func le32(v uint32) []byte { return binary.LittleEndian.AppendUint32(nil, v) }

// chunk builds a chunk, padded to even length.
func chunk(kind string, parts ...[]byte) []byte {
	body := slices.Concat(parts...)
	return slices.Concat([]byte(kind), le32(uint32(len(body))), body, make([]byte, len(body)%2))
}

func riff(chunks ...[]byte) []byte {
	body := slices.Concat(chunks...)
	return slices.Concat([]byte("RIFF"), le32(uint32(4+len(body))), []byte("WEBP"), body)
}

var (
	tiff = []byte("II*\x00\x08\x00\x00\x00\x00\x00\x00\x00\x00\x00")
	data = bytes.Repeat([]byte{0x55}, 40)
	// lossy states 640 x 480: 0x280, 0x1E0 with a scale of 1 in the top bits.
	lossy = chunk("VP8 ", []byte{0x50, 1, 0, 0x9D, 1, 0x2A, 0x80, 0x42, 0xE0, 0x41}, data)
	// lossless states 640 x 480: 639 | 479<<14 = 0x77C27F.
	lossless = chunk("VP8L", []byte{0x2F, 0x7F, 0xC2, 0x77, 0x00}, data)
	// canvas states 6000 x 4000: 5999 = 0x176F, 3999 = 0xF9F.
	canvas = chunk("VP8X", []byte{8, 0, 0, 0, 0x6F, 0x17, 0, 0x9F, 0x0F, 0})
)

func TestScan(t *testing.T) {
	for _, tt := range []struct {
		name          string
		file          []byte
		block         layout.Block
		width, height uint32
	}{
		{"lossy", riff(lossy), layout.Block{}, 640, 480},
		{"lossless", riff(lossless), layout.Block{}, 640, 480},
		{"canvas before the picture's own size", riff(canvas, lossy), layout.Block{}, 6000, 4000},
		{"Exif", riff(canvas, lossy, chunk("EXIF", tiff)), layout.Block{Offset: 12 + 18 + 58 + 8, Length: 14}, 6000, 4000},
		{"Exif with its name", riff(canvas, lossy, chunk("EXIF", []byte("Exif\x00\x00"), tiff)), layout.Block{Offset: 12 + 18 + 58 + 14, Length: 14}, 6000, 4000},
		{"Exif before the picture, of odd length", riff(canvas, chunk("EXIF", tiff, []byte{0}), lossy), layout.Block{Offset: 12 + 18 + 8, Length: 15}, 6000, 4000},
		{"Exif twice", riff(canvas, lossy, chunk("EXIF", tiff), chunk("EXIF", tiff)), layout.Block{Offset: 12 + 18 + 58 + 8, Length: 14}, 6000, 4000},
		{"animation", riff(canvas, chunk("ANIM", data[:6]), chunk("ANMF", data)), layout.Block{}, 6000, 4000},
		{"more behind the end", append(riff(lossy), "something of another program's"...), layout.Block{}, 640, 480},
		{"without the last padding", func() []byte {
			f := riff(lossy, chunk("EXIF", tiff, []byte{0}))
			return f[:len(f)-1]
		}(), layout.Block{Offset: 12 + 58 + 8, Length: 15}, 640, 480},
		{"with the file's size for the content's", func() []byte {
			f := riff(lossy)
			binary.LittleEndian.PutUint32(f[4:], uint32(len(f)))
			return f
		}(), layout.Block{}, 640, 480},
	} {
		t.Run(tt.name, func(t *testing.T) {
			l, err := scantest.Check(t, Scan, tt.file)
			if err != nil || len(l.Problems) > 0 || l.Torn != "" || !l.Checked {
				t.Fatalf("%+v, %v; want a whole file", l, err)
			}
			if l.Width != tt.width || l.Height != tt.height {
				t.Errorf("size %d x %d, want %d x %d", l.Width, l.Height, tt.width, tt.height)
			}
			if tt.block.Length == 0 && len(l.Blocks) != 0 || tt.block.Length != 0 && (len(l.Blocks) != 1 || l.Blocks[0].Offset != tt.block.Offset || l.Blocks[0].Length != tt.block.Length) {
				t.Errorf("blocks %+v, want %+v", l.Blocks, tt.block)
			}
		})
	}
}

func TestCut(t *testing.T) {
	f := riff(canvas, lossy, chunk("EXIF", tiff))
	scantest.Cut(t, Scan, f, len(f)-8, 1)
	for size, want := range map[int]string{
		len(f) - 10:      "the file ends before its content does: 10 bytes of 102 bytes missing",
		12 + 18 + 8 + 10: "the file ends before its image data does: 40 bytes of 50 bytes missing",
		12 + 18:          "the file ends before its content does: 80 bytes of 102 bytes missing",
	} {
		if l, err := Scan(bytes.NewReader(f[:size]), int64(size)); err != nil || l.Torn != want {
			t.Errorf("%d of %d bytes: torn %q, %v, want %q", size, len(f), l.Torn, err, want)
		}
	}
}

func TestHostile(t *testing.T) {
	for _, tt := range []struct {
		name               string
		file               []byte
		err, problem, torn string
	}{
		{name: "empty file", err: "does not begin as"},
		{name: "cut in the name", file: riff()[:11], err: "does not begin as"},
		{name: "sound", file: slices.Concat([]byte("RIFF"), le32(4), []byte("WAVE")), err: "does not begin as"},
		{name: "no chunk", file: riff(), torn: "no image data"},
		{name: "Exif alone", file: riff(chunk("EXIF", tiff)), torn: "no image data"},
		{name: "4 GiB stated for nothing", file: slices.Concat([]byte("RIFF"), le32(1<<32-1), []byte("WEBP")), torn: "4295.0 MB"},
		{name: "content of 0 bytes", file: slices.Concat([]byte("RIFF"), le32(0), []byte("WEBP"), lossy), torn: "no image data"},
		{name: "chunk of 4 GiB", file: riff([]byte("VP8 \xff\xff\xff\xff"), data), torn: "image data does"},
		{name: "Exif chunk of 4 GiB", file: riff(lossy, []byte("EXIF\xff\xff\xff\xff"), tiff), problem: "Exif data does"},
		{name: "a million empty chunks", file: riff(lossy, bytes.Repeat(chunk("JUNK"), 1_000_000)), problem: "more than 65536 chunks"},
		{name: "empty chunks of each kind", file: riff(chunk("VP8X"), chunk("VP8 "), chunk("VP8L"), chunk("EXIF")), problem: "no Exif data"},
		{name: "Exif chunk of noise", file: riff(lossy, chunk("EXIF", []byte("<script>alert(1)</script>"))), problem: "no Exif data"},
		{name: "Exif chunk with a name alone", file: riff(lossy, chunk("EXIF", []byte("Exif\x00\x00"))), problem: "no Exif data"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			l, err := scantest.Check(t, Scan, tt.file)
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
	f.Add(riff(canvas, lossy, chunk("EXIF", tiff)))
	f.Add(riff(lossless, chunk("EXIF", []byte("Exif\x00\x00"), tiff)))
	for _, folder := range scantest.Folders {
		for _, data := range scantest.Shared(f, folder, Is) {
			f.Add(data)
		}
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		l, err := scantest.Check(t, Scan, data)
		if (err == nil) != Is(data) {
			t.Errorf("begins as WebP: %v, error %v", Is(data), err)
		}
		if err == nil && !l.Checked {
			t.Error("not checked")
		}
	})
}
