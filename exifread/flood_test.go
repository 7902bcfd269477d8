package exifread_test

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"slices"
	"strings"
	"testing"

	"github.com/andybalholm/brotli"

	"prestrike/exifread"
	"prestrike/exifread/exifwrite"
)

// isoBox is a box of ISO base media files and of JPEG XL.
func isoBox(kind string, content ...[]byte) []byte {
	body := concat(content...)
	return concat(binary.BigEndian.AppendUint32(nil, uint32(8+len(body))), []byte(kind), body)
}

// brob is a box of content that is compressed with Brotli.
func brob(t testing.TB, kind string, window int, content []byte) []byte {
	t.Helper()
	var b bytes.Buffer
	w := brotli.NewWriterOptions(&b, brotli.WriterOptions{Quality: 5, LGWin: window})
	if _, err := w.Write(content); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return isoBox("brob", []byte(kind), b.Bytes())
}

func jxlOf(boxes ...[]byte) []byte {
	return concat(append([][]byte{isoBox("JXL ", []byte("\r\n\x87\n")), isoBox("ftyp", []byte("jxl \x00\x00\x00\x00jxl "))}, boxes...)...)
}

func pngChunk(kind string, content []byte) []byte {
	b := concat(binary.BigEndian.AppendUint32(nil, uint32(len(content))), []byte(kind), content)
	return binary.BigEndian.AppendUint32(b, crc32.ChecksumIEEE(b[4:]))
}

func pngOf(chunks ...[]byte) []byte {
	front := concat([]byte("\x89PNG\r\n\x1a\n"), pngChunk("IHDR", []byte{0, 0, 0, 9, 0, 0, 0, 7, 8, 0, 0, 0, 0}))
	return concat(append(append([][]byte{front}, chunks...), pngChunk("IDAT", make([]byte, 8)), pngChunk("IEND", nil))...)
}

func deflated(t testing.TB, content []byte) []byte {
	t.Helper()
	var b bytes.Buffer
	w := zlib.NewWriter(&b)
	if _, err := w.Write(content); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// manyDirs is a TIFF structure of 40 directories of 200 entries each that lie
// over each other, so that a few kilobytes are read as 8,000 entries.
func manyDirs() []byte {
	const entries, dirs = 200, 40
	entry := []byte("\x03\x90\x02\x00\x40\x00\x00\x00\x08\x00\x00\x00") // DateTimeOriginal of 64 bytes at 8
	b := []byte("II*\x00\x08\x00\x00\x00")
	at := len(b)
	var list []byte
	for i := range dirs {
		list = binary.LittleEndian.AppendUint32(list, uint32(at+i*12))
	}
	// Each directory's count stands in the last bytes of an entry before it.
	binary.LittleEndian.PutUint16(entry[10:], 0)
	for range dirs + entries {
		b = append(b, 0xC8, 0x00)
		b = append(b, entry[2:]...)
	}
	return append(b, list...)
}

// What one file may cost is held whatever its container, also where it makes
// many claims that are small each.
func TestFloods(t *testing.T) {
	zeros := make([]byte, 2<<20)
	zip := concat([]byte("Raw profile type exif\x00\x00"), deflated(t, zeros))
	text := concat([]byte("Raw profile type APP1\x00"), zeros)
	picture := isoBox("jxlc", []byte{0xFF, 0x0A, 0, 0, 0, 0, 0, 0})
	repeat := func(n int, b []byte) []byte { return bytes.Repeat(b, n) }
	app := func(marker byte, content []byte) []byte {
		return concat([]byte{0xFF, marker}, binary.BigEndian.AppendUint16(nil, uint16(2+len(content))), content)
	}
	frame := plainJPEG(t, 16, 16)
	jpegOf := func(segments ...[]byte) []byte { return concat(frame[:2], concat(segments...), frame[2:]) }
	index := tiffOf(dir(1, 0, [4]uint32{0xB002, 7, 4096, 26}))
	index = append(index, make([]byte, 4096)...)
	crx := func(boxes ...[]byte) []byte {
		return concat(isoBox("ftyp", []byte("crx \x00\x00\x00\x01crx isom")), isoBox("moov", boxes...))
	}
	heif := func(boxes ...[]byte) []byte {
		return concat(isoBox("ftyp", []byte("heic\x00\x00\x00\x00mif1heic")), isoBox("meta", append([][]byte{make([]byte, 4)}, boxes...)...))
	}
	values := func(n int) []byte { // n texts of 4,000 bytes, one place for all
		entries := make([]exifwrite.Entry, n)
		for i := range entries {
			entries[i] = exifwrite.Raw(0x9003, 2, 4000, 8)
		}
		return append(encode(t, &exifwrite.Block{Exif: entries}), make([]byte, 4100)...)
	}
	for _, c := range []struct {
		name string
		file []byte
		want string // part of the error or of a problem; none where empty
	}{
		{"JPEG XL, 4,000 packed blocks of 2 MiB", jxlOf(picture, repeat(4000, brob(t, "Exif", 22, zeros))), "not read"},
		{"JPEG XL, 4,000 packed blocks of 400 kB", jxlOf(picture, repeat(4000, brob(t, "Exif", 22, zeros[:400_000]))), "not read"},
		{"JPEG XL, a window of 16 MiB four times", jxlOf(picture, repeat(4, isoBox("brob", []byte("Exif"), []byte("\x0F\xFF\xFF\xFF\x00\x00\x00")))), "damaged"},
		{"PNG, 1,500 packed texts of 2 MiB", pngOf(repeat(1500, pngChunk("zTXt", zip))), "not read"},
		{"PNG, texts of 2 MiB", pngOf(repeat(10, pngChunk("tEXt", text))), "not read"},
		{"PNG, texts of 100 kB", pngOf(repeat(100, pngChunk("tEXt", text[:100_000]))), "not read"},
		{"PNG, international texts", pngOf(repeat(1500, pngChunk("iTXt", concat([]byte("XML\x00\x01\x00\x00\x00"), deflated(t, zeros))))), ""},
		{"PNG, a million chunks", pngOf(repeat(1_000_000, pngChunk("tEXt", nil))), "chunks"},
		{"WebP, a million chunks", append([]byte("RIFF\xFF\xFF\xFF\x00WEBP"), repeat(1_000_000, []byte("JUNK\x01\x00\x00\x00xx"))...), "chunks"},
		{"JPEG, an index of pictures 1,000 times", jpegOf(repeat(1000, app(0xE2, concat([]byte("MPF\x00"), index)))), ""},
		{"JPEG, filling between 1,000 segments", jpegOf(repeat(1000, concat(make([]byte, 100), app(0xE5, make([]byte, 20))))), ""},
		{"JPEG, 4 blocks of long texts", jpegOf(repeat(4, app(0xE1, concat([]byte("Exif\x00\x00"), values(2000))))), "more than any camera"},
		{"JPEG, 4 blocks of many directories", jpegOf(repeat(4, app(0xE1, concat([]byte("Exif\x00\x00"), manyDirs())))), ""},
		{"raw file, 4,000 Exif blocks", crx(isoBox("uuid", make([]byte, 16), repeat(4000, isoBox("CMT1", values(200))))), "more"},
		{"raw file, 4,000 tracks of 1,000 boxes", crx(repeat(4000, isoBox("trak", isoBox("mdia", repeat(1000, isoBox("free")))))), "more boxes"},
		{"HEIF, 60 tables of 256 kB", heif(repeat(60, isoBox("iloc", make([]byte, 256<<10)))), "not read"},
		{"HEIF, thumbnails past the end", thumbnailFlood(heif), "missing"},
		{"RW2, 40 embedded pictures", embeddedFlood(), ""},
	} {
		m, err := timed(t, c.name, c.file)
		var said []string
		if err != nil {
			said = append(said, err.Error())
		}
		for _, p := range m.Problems {
			said = append(said, p.What)
		}
		if all := strings.Join(said, "; "); !strings.Contains(all, c.want) {
			t.Errorf("%s: said %q, want %q", c.name, all, c.want)
		}
	}
}

// thumbnailFlood has 3,000 thumbnails that lie past the end, and a table of
// properties that is searched for each.
func thumbnailFlood(heif func(...[]byte) []byte) []byte {
	const thumbs = 3000
	u16, u32 := func(n int) []byte { return binary.BigEndian.AppendUint16(nil, uint16(n)) }, func(n int) []byte { return binary.BigEndian.AppendUint32(nil, uint32(n)) }
	var infe, refs, places []byte
	for i := range thumbs {
		infe = append(infe, isoBox("infe", []byte{2, 0, 0, 0}, u16(i+2), u16(0), []byte("jpeg\x00"))...)
		refs = append(refs, isoBox("thmb", u16(i+2), u16(1), u16(1))...)
		places = append(places, concat(u16(i+2), u16(0), u16(1), u32(1<<30), u32(100))...)
	}
	const associations = 80_000
	return heif(
		isoBox("pitm", make([]byte, 4), u16(1)),
		isoBox("iinf", make([]byte, 4), u16(thumbs), infe),
		isoBox("iref", make([]byte, 4), refs),
		isoBox("iloc", make([]byte, 4), u16(0x4400), u16(thumbs), places),
		isoBox("iprp", isoBox("ipma", make([]byte, 4), u32(associations), bytes.Repeat([]byte{0xFF, 0xFF, 0}, associations))),
	)
}

// embeddedFlood is an RW2 file with a chain of 40 directories, each of which
// points to an embedded picture with a long header.
func embeddedFlood() []byte {
	const n = 40
	var dirs [][]byte
	front := 8 + n*(2+12+4)
	picture := append([]byte{0xFF, 0xD8}, bytes.Repeat([]byte{0xFF, 0xE5, 0x10, 0x00}, 1)...)
	picture = append(picture, bytes.Repeat(append([]byte{0xFF, 0xE5, 0x10, 0x00}, make([]byte, 0xFFE)...), 4000)...)
	picture = slices.Delete(picture, 2, 6)
	for i := range n {
		next := uint32(8 + (i+1)*18)
		if i == n-1 {
			next = 0
		}
		dirs = append(dirs, dir(1, next, [4]uint32{0x2E, 7, uint32(len(picture)), uint32(front)}))
	}
	b := append(tiffOf(dirs...), picture...)
	copy(b, "IIU\x00")
	return b
}

// pattern is a file of size bytes: front, then the same bytes over and over.
type pattern struct {
	front, again []byte
	size         int64
}

func (f *pattern) ReadAt(p []byte, off int64) (int, error) {
	if off >= f.size {
		return 0, io.EOF
	}
	if len(f.again) < 1<<16 {
		f.again = bytes.Repeat(f.again, 1+1<<16/len(f.again))
	}
	n := copy(p, f.front[min(off, int64(len(f.front))):])
	for n < len(p) {
		at := (off + int64(n) - int64(len(f.front))) % int64(len(f.again))
		n += copy(p[n:], f.again[at:])
	}
	return n, nil
}

// Files of gigabytes of one pattern, for whatever ends a walk.
func TestLongWalks(t *testing.T) {
	const size = 8 << 30
	frame := plainJPEG(t, 16, 16)
	front := frame[:len(frame)-2]
	for _, c := range []struct {
		name string
		file *pattern
	}{
		{"JPEG, tables without end", &pattern{front, []byte{0xFF, 0xC4, 0, 2}, size}},
		{"JPEG, FF without end", &pattern{front, []byte{0xFF}, size}},
		{"JPEG, escapes without end", &pattern{front, []byte{0xFF, 0}, size}},
		{"JPEG, zeros without end", &pattern{front, []byte{0}, size}},
		{"JPEG, 7 without end", &pattern{front, []byte{7}, size}},
		{"zeros", &pattern{nil, []byte{0}, size}},
		{"PNG, far chunks", &pattern{pngOf()[:33], pngChunk("tEXt", make([]byte, 100_000)), size}},
		{"WebP, far chunks", &pattern{[]byte("RIFF\xFF\xFF\xFF\xFFWEBP"), concat([]byte("ANMF\x10\x27\x00\x00"), make([]byte, 10_000)), size}},
		{"JPEG XL, far boxes", &pattern{jxlOf(), isoBox("free", make([]byte, 100_000)), size}},
		{"ISO media, far boxes", &pattern{isoBox("ftyp", []byte("heic\x00\x00\x00\x00heic")), isoBox("free", make([]byte, 100_000)), size}},
	} {
		var m *exifread.Metadata
		var err error
		r := &counting{r: c.file}
		before := allocated()
		best := quickest(func() { r.bytes = 0; m, err = exifread.Read(t.Context(), r, size) })
		if best > slowdown*maxTime {
			t.Errorf("%s: took %v", c.name, best)
		}
		if n := allocated() - before; n > 3*maxAlloc {
			t.Errorf("%s: %d bytes were allocated", c.name, n)
		}
		t.Logf("%s: %v, %d MB read, %v", c.name, best, r.bytes>>20, err)
		if _, damaged := errors.AsType[*exifread.FormatError](err); err != nil && !damaged {
			t.Errorf("%s: error %v", c.name, err)
		}
		if err == nil && m.Integrity.State == exifread.IntegrityWhole {
			t.Errorf("%s: whole", c.name)
		}
	}
}

// An Exif block that is packed with a window of 16 MiB is read as any other.
func TestPackedWithWideWindow(t *testing.T) {
	block, err := exifwrite.Encode(bx1(), binary.BigEndian)
	if err != nil {
		t.Fatal(err)
	}
	picture := isoBox("jxlc", []byte{0xFF, 0x0A, 0, 0, 0, 0, 0, 0})
	for _, window := range []int{16, 17, 18, 21, 22, 24} {
		content := concat(make([]byte, 4), block, bytes.Repeat(block, 1000))
		m, err := readBytes(jxlOf(brob(t, "Exif", window, content), picture))
		if err != nil || fmt.Sprint(m.Model) != "Borealis BX-1" {
			t.Errorf("window 2^%d: %v, model %v, %v", window, err, m.Model, m.Problems)
		}
	}
}
