package png

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"hash/crc32"
	"image"
	"image/png"
	"slices"
	"strings"
	"testing"
	"time"

	"prestrike/exifread/internal/layout"
	"prestrike/exifread/internal/scan/scantest"
)

func chunk(kind string, parts ...[]byte) []byte {
	body := slices.Concat(append([][]byte{[]byte(kind)}, parts...)...)
	b := binary.BigEndian.AppendUint32(nil, uint32(len(body)-4))
	return binary.BigEndian.AppendUint32(append(b, body...), crc32.ChecksumIEEE(body))
}

func file(chunks ...[]byte) []byte {
	return slices.Concat([]byte(signature), slices.Concat(chunks...))
}

func deflate(t testing.TB, data []byte) []byte {
	t.Helper()
	var b bytes.Buffer
	w := zlib.NewWriter(&b)
	if _, err := w.Write(data); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// text is the older form of Exif: a name, the length, hexadecimal digits in
// lines of 72.
func text(name string, data []byte) []byte {
	digits := hex.EncodeToString(data)
	var b strings.Builder
	fmt.Fprintf(&b, "\n%s\n%8d\n", name, len(data))
	for len(digits) > 72 {
		b.WriteString(digits[:72] + "\n")
		digits = digits[72:]
	}
	b.WriteString(digits + "\n")
	return []byte(b.String())
}

var (
	tiff  = slices.Concat([]byte("MM\x00*\x00\x00\x00\x08\x00\x00\x00\x00\x00\x00"), bytes.Repeat([]byte{0}, 60))
	named = slices.Concat([]byte("Exif\x00\x00"), tiff)
	// header states 6000 x 4000.
	header = chunk("IHDR", []byte{0, 0, 0x17, 0x70, 0, 0, 0x0F, 0xA0, 8, 2, 0, 0, 0})
	data   = chunk("IDAT", bytes.Repeat([]byte{0x55}, 40))
	end    = chunk("IEND")
)

const headerEnd = 33

func TestScan(t *testing.T) {
	zipped := func(name string, data []byte) []byte {
		return chunk("zTXt", []byte("Raw profile type "+name+"\x00\x00"), deflate(t, text(name, data)))
	}
	for _, tt := range []struct {
		name  string
		file  []byte
		block layout.Block
	}{
		{"plain", file(header, data, end), layout.Block{}},
		{"eXIf", file(header, chunk("eXIf", tiff), data, end), layout.Block{Offset: headerEnd + 8, Length: 74}},
		{"eXIf behind the picture", file(header, data, data, chunk("eXIf", tiff), end), layout.Block{Offset: headerEnd + 52 + 52 + 8, Length: 74}},
		{"eXIf with a name", file(header, chunk("eXIf", named), data, end), layout.Block{Offset: headerEnd + 14, Length: 74}},
		{"compressed text exif", file(header, zipped("exif", named), data, end), layout.Block{Data: tiff}},
		{"compressed text APP1", file(header, zipped("APP1", named), data, end), layout.Block{Data: tiff}},
		{"plain text", file(header, chunk("tEXt", []byte("Raw profile type exif\x00"), text("exif", tiff)), data, end), layout.Block{Data: tiff}},
		{"text after eXIf", file(header, chunk("eXIf", tiff), zipped("exif", named), data, end), layout.Block{Offset: headerEnd + 8, Length: 74}},
		{"text before eXIf", file(header, zipped("exif", named), chunk("eXIf", tiff), data, end), layout.Block{Offset: int64(headerEnd + len(zipped("exif", named)) + 8), Length: 74}},
		{"APP1 of another kind", file(header, zipped("APP1", []byte("http://ns.example.org/ and so on")), data, end), layout.Block{}},
		{"text of another name", file(header, chunk("tEXt", []byte("Comment\x00"), text("exif", tiff)), data, end), layout.Block{}},
		{"more behind the end", append(file(header, data, end), "something else"...), layout.Block{}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			l, err := scantest.Check(t, Scan, tt.file)
			if err != nil || len(l.Problems) > 0 || l.Torn != "" || !l.Checked || l.Width != 6000 || l.Height != 4000 {
				t.Fatalf("%+v, %v; want a whole file of 6000 x 4000", l, err)
			}
			if tt.block.Length == 0 && tt.block.Data == nil {
				if len(l.Blocks) != 0 {
					t.Errorf("blocks %+v, want none", l.Blocks)
				}
				return
			}
			if len(l.Blocks) != 1 || l.Blocks[0].Offset != tt.block.Offset || l.Blocks[0].Length != tt.block.Length || !bytes.Equal(l.Blocks[0].Data, tt.block.Data) {
				t.Errorf("blocks %+v, want %+v", l.Blocks, tt.block)
			}
		})
	}
}

// A picture from another encoder, with image data in many chunks.
func TestManyChunksAreReadShort(t *testing.T) {
	m := image.NewNRGBA(image.Rect(0, 0, 500, 400))
	for i := range m.Pix {
		m.Pix[i] = byte(i * i >> 7)
	}
	var b bytes.Buffer
	if err := (&png.Encoder{CompressionLevel: png.NoCompression}).Encode(&b, m); err != nil {
		t.Fatal(err)
	}
	f := b.Bytes()
	c := &scantest.Counter{R: bytes.NewReader(f)}
	l, err := Scan(c, int64(len(f)))
	if err != nil || l.Width != 500 || l.Height != 400 || l.Torn != "" || !l.Checked {
		t.Fatalf("%+v, %v; want a whole file of 500 x 400", l, err)
	}
	if chunks := int64(bytes.Count(f, []byte("IDAT"))); chunks < 10 || c.Bytes > 4096+8*(chunks+2) {
		t.Errorf("%d chunks of %d bytes in all cost %d reads of %d bytes", chunks, len(f), c.Reads, c.Bytes)
	}
}

func TestCut(t *testing.T) {
	f := file(header, chunk("eXIf", tiff), data, data, end)
	scantest.Cut(t, Scan, f, len(f)-4, 1)
	for size, want := range map[int]string{
		headerEnd:                 "the file ends before its image data begins",
		headerEnd + 40:            "the file ends before its image data begins",
		headerEnd + 86 + 30:       "the file ends before its image data does",
		len(f) - 12:               "the file ends before its image data does: the end mark is missing",
		headerEnd + 86 + 52 + 3:   "the file ends before its image data does: the end mark is missing",
		headerEnd + 86 + 2*52 - 2: "the file ends before its image data does: the end mark is missing",
	} {
		if l, err := Scan(bytes.NewReader(f[:size]), int64(size)); err != nil || l.Torn != want {
			t.Errorf("%d of %d bytes: torn %q, %v, want %q", size, len(f), l.Torn, err, want)
		}
	}
}

func TestHostile(t *testing.T) {
	key := []byte("Raw profile type exif\x00")
	zkey := append(key, 0)
	bomb := deflate(t, slices.Concat(text("exif", tiff), make([]byte, 100<<20)))
	cut := deflate(t, text("exif", bytes.Repeat(tiff, 40)))
	for _, tt := range []struct {
		name               string
		file               []byte
		err, problem, torn string
	}{
		{name: "empty file", err: "does not begin as"},
		{name: "signature alone", file: file(), err: "header is missing"},
		{name: "signature cut", file: file()[:7], err: "does not begin as"},
		{name: "header cut", file: file(header)[:32], err: "header is missing"},
		{name: "another chunk first", file: file(data, header, end), err: "header is missing"},
		{name: "no image data", file: file(header, end), torn: "no image data"},
		{name: "chunk of 4 GiB", file: file(header, []byte("\xff\xff\xff\xffIDAT"), data), torn: "impossible size"},
		{name: "chunk of 2 GiB", file: file(header, []byte("\x7f\xff\xff\xffIDAT"), data), torn: "image data does"},
		{name: "control characters for a name", file: file(header, []byte("\xff\xff\xff\xff\x1b]0;")), torn: "impossible size", problem: `"\x1b]0;"`},
		{name: "a million empty chunks", file: file(header, data, bytes.Repeat(chunk("junk"), 1_000_000), end), problem: "more than 65536 chunks"},
		{name: "eXIf of noise", file: file(header, chunk("eXIf", []byte("<script>alert(1)</script>")), data, end), problem: "no Exif data"},
		{name: "empty eXIf", file: file(header, chunk("eXIf"), data, end), problem: "no Exif data"},
		{name: "100 MiB compressed to nothing", file: file(header, chunk("zTXt", zkey, bomb), data, end), problem: "more than"},
		{name: "compressed noise", file: file(header, chunk("zTXt", zkey, bytes.Repeat([]byte{0xA7}, 50)), data, end), problem: "damaged"},
		{name: "compressed data cut", file: file(header, chunk("zTXt", zkey, cut[:len(cut)-8]), data, end), problem: "damaged"},
		{name: "compressed in another way", file: file(header, chunk("zTXt", key, []byte{7}, cut), data, end), problem: "unknown way"},
		{name: "text without compressed data", file: file(header, chunk("zTXt", key), data, end), problem: "unknown way"},
		{name: "text that ends early", file: file(header, chunk("tEXt", key, text("exif", tiff)[:60]), data, end), problem: "ends early"},
		{name: "text with other letters", file: file(header, chunk("tEXt", key, []byte("\nexif\n 4\nxyz!\n")), data, end), problem: "damaged"},
		{name: "text with a negative length", file: file(header, chunk("tEXt", key, []byte("\nexif\n -4\n00000000\n")), data, end), problem: "without its length"},
		{name: "text with a length of 2^40", file: file(header, chunk("tEXt", key, []byte("\nexif\n 1099511627776\n00\n")), data, end), problem: "without its length"},
		{name: "text of noise", file: file(header, chunk("tEXt", key, []byte("\nexif\n 2\n0000\n")), data, end), problem: "no Exif data"},
		{name: "empty text", file: file(header, chunk("tEXt", key), data, end), problem: "without its length"},
		{name: "text of 3 MiB", file: file(header, chunk("tEXt", key, make([]byte, 3<<20)), data, end), problem: "was not read"},
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
	f.Add(file(header, chunk("eXIf", tiff), data, end))
	f.Add(file(header, chunk("tEXt", []byte("Raw profile type exif\x00"), text("exif", named)), data, end))
	f.Add(file(header, chunk("zTXt", []byte("Raw profile type APP1\x00\x00"), deflate(f, text("APP1", named))), data, end))
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
		if err == nil && l.Checked && l.Torn == "" && !bytes.Contains(data, []byte("IEND")) {
			t.Error("a file without an end mark passes as whole")
		}
	})
}
