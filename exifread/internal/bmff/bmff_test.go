package bmff

import (
	"bytes"
	"encoding/binary"
	"errors"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"prestrike/exifread/internal/layout"
	"prestrike/exifread/internal/scan/scantest"
)

// Pieces of files, built by hand.

func u8(v uint8) []byte   { return []byte{v} }
func u16(v uint16) []byte { return binary.BigEndian.AppendUint16(nil, v) }
func u32(v uint32) []byte { return binary.BigEndian.AppendUint32(nil, v) }
func u64(v uint64) []byte { return binary.BigEndian.AppendUint64(nil, v) }

func mk(kind string, parts ...[]byte) []byte {
	body := slices.Concat(parts...)
	return slices.Concat(u32(uint32(8+len(body))), []byte(kind), body)
}

// mk64 is mk with a 64-bit size.
func mk64(kind string, parts ...[]byte) []byte {
	body := slices.Concat(parts...)
	return slices.Concat(u32(1), []byte(kind), u64(uint64(16+len(body))), body)
}

// full is mk for a box with version and flags.
func full(kind string, version uint8, flags uint32, parts ...[]byte) []byte {
	return mk(kind, append([][]byte{u32(uint32(version)<<24 | flags)}, parts...)...)
}

func ftyp(major string, compatible ...string) []byte {
	return mk("ftyp", []byte(major), u32(0), []byte(strings.Join(compatible, "")))
}

func infe(id uint16, kind string) []byte {
	return full("infe", 2, 0, u16(id), u16(0), []byte(kind), u8(0))
}

func ispe(w, h uint32) []byte { return full("ispe", 0, 0, u32(w), u32(h)) }

// exifPayload is the content of an Exif item: the place of the TIFF header,
// then that.
var exifPayload = slices.Concat(u32(0), []byte("MM\x00*\x00\x00\x00\x08\x00\x00\x00\x00\x00\x00"))

const exifLen = 18

// picture is 100 bytes in place of image data.
var picture = bytes.Repeat([]byte{0x55}, 100)

// heif builds a file with item 1, a picture of 640 x 480, and item 2, its
// Exif data. The mdat box comes first, so that places are known: content
// begins at 32. Metadata boxes replace those of the same kind.
func heif(content []byte, replace ...[]byte) []byte {
	boxes := [][]byte{
		full("pitm", 0, 0, u16(1)),
		full("iinf", 0, 0, u16(2), infe(1, "hvc1"), infe(2, "Exif")),
		full("iref", 0, 0, mk("cdsc", u16(2), u16(1), u16(1))),
		full("iloc", 0, 0, u16(0x4400), u16(2),
			u16(1), u16(0), u16(1), u32(32), u32(100),
			u16(2), u16(0), u16(1), u32(132), u32(exifLen)),
		mk("iprp", mk("ipco", ispe(640, 480)), full("ipma", 0, 0, u32(1), u16(1), u8(1), u8(0x81))),
	}
	for _, r := range replace {
		kind := string(r[4:8])
		boxes = slices.DeleteFunc(boxes, func(b []byte) bool { return string(b[4:8]) == kind })
		boxes = append(boxes, r)
	}
	return slices.Concat(ftyp("heic", "mif1", "heic"), mk("mdat", content), full("meta", 0, 0, boxes...))
}

var content = slices.Concat(picture, exifPayload)

// crx completes the head of a real raw file with what follows by its tables:
// the metadata and preview boxes, and mdat, filled with zeros.
func crx(t testing.TB) []byte {
	t.Helper()
	head, err := os.ReadFile("testdata/crx-head.bin")
	if err != nil {
		t.Fatal(err)
	}
	const (
		previewAt = 0x1A650 // as in the head's table of places
		mdatAt    = 0x88BF0
		end       = mdatAt + 0x1423062
	)
	f := make([]byte, end)
	copy(f, head)
	jpeg := uint32(0x6E488 - 16 - 8 - 8 - 24)
	copy(f[previewAt:], slices.Concat(u32(0x6E488), []byte("uuid"), make([]byte, 16), u64(1),
		u32(24+jpeg), []byte("PRVW"), u32(0), u16(1), u16(1620), u16(1080), u16(1), u32(jpeg), []byte{0xFF, 0xD8}))
	copy(f[previewAt+0x6E488:], slices.Concat(u32(mdatAt-previewAt-0x6E488), []byte("free")))
	copy(f[mdatAt:], slices.Concat(u32(0x1423062), []byte("mdat")))
	return f
}

func TestBrand(t *testing.T) {
	for _, tt := range []struct {
		name  string
		head  []byte
		want  Kind
		major string
	}{
		{"raw", ftyp("crx ", "crx ", "isom"), KindRaw, "crx "},
		{"one coding", ftyp("heic", "mif1"), KindHEIF, "heic"},
		{"ten bits", ftyp("heix"), KindHEIF, "heix"},
		{"sequence", ftyp("hevc"), KindHEIF, "hevc"},
		{"general with HEIC", ftyp("mif1", "mif1", "heic"), KindHEIF, "mif1"},
		{"general alone", ftyp("mif1"), KindHEIF, "mif1"},
		{"general sequence", ftyp("msf1", "msf1"), KindHEIF, "msf1"},
		{"general with AVIF", ftyp("mif1", "mif1", "avif", "miaf"), KindAVIF, "mif1"},
		{"AVIF", ftyp("avif"), KindAVIF, "avif"},
		{"AVIF sequence", ftyp("avis", "msf1"), KindAVIF, "avis"},
		{"unknown with general", ftyp("bx1a", "mif1"), KindHEIF, "bx1a"},
		{"movie", ftyp("isom", "isom", "mp42"), KindOther, "isom"},
		{"brands behind the box do not count", slices.Concat(ftyp("isom"), []byte("heicheic")), KindOther, "isom"},
		{"box to the end of the file", slices.Concat(u32(0), []byte("ftypheic"), u32(0)), KindHEIF, "heic"},
		{"box longer than the head", slices.Concat(u32(5000), []byte("ftypisom"), u32(0), []byte("avif")), KindAVIF, "isom"},
		{"size below the header", slices.Concat(u32(4), []byte("ftypheic")), KindNone, ""},
		{"64-bit size", mk64("ftyp", []byte("heic"), u32(0)), KindNone, ""},
		{"cut in the brand", ftyp("heic")[:11], KindNone, ""},
		{"another box first", mk("moov", u64(0)), KindNone, ""},
		{"nothing", nil, KindNone, ""},
	} {
		if got, major := Brand(tt.head); got != tt.want || major != tt.major {
			t.Errorf("%s: Brand = %d, %q, want %d, %q", tt.name, got, major, tt.want, tt.major)
		}
	}
}

func TestRawFile(t *testing.T) {
	f := crx(t)
	c := &scantest.Counter{R: bytes.NewReader(f)}
	l, err := Scan(c, int64(len(f)))
	if err != nil {
		t.Fatal(err)
	}
	// Where the boxes lie was read from a dump of the file.
	want := []layout.Block{
		{Role: layout.RoleMain, Offset: 320, Length: 512},
		{Role: layout.RoleExif, Offset: 840, Length: 1536},
	}
	if len(l.Blocks) != 2 || !sameBlock(l.Blocks[0], want[0]) || !sameBlock(l.Blocks[1], want[1]) {
		t.Errorf("blocks %+v, want %+v", l.Blocks, want)
	}
	if l.Width != 5472 || l.Height != 3648 {
		t.Errorf("size %d x %d, want 5472 x 3648", l.Width, l.Height)
	}
	previews := []layout.Preview{
		{Offset: 18288, Length: 0x55ED, Width: 160, Height: 120},
		{Offset: 0x88C00, Length: 0x210E4F, Width: 5472, Height: 3648},
		{Offset: 0x1A650 + 56, Length: 0x6E488 - 56, Width: 1620, Height: 1080},
	}
	if !slices.Equal(l.Previews, previews) {
		t.Errorf("previews %+v, want %+v", l.Previews, previews)
	}
	if !l.Checked || l.Torn != "" || len(l.Problems) != 0 {
		t.Errorf("checked %v, torn %q, problems %v, want a whole file", l.Checked, l.Torn, l.Problems)
	}
	if c.Reads > 6 || c.Bytes > 32<<10 {
		t.Errorf("%d reads of %d bytes in all, want 6 of 32 KiB at most", c.Reads, c.Bytes)
	}
}

func sameBlock(a, b layout.Block) bool {
	return a.Role == b.Role && a.Offset == b.Offset && a.Length == b.Length && bytes.Equal(a.Data, b.Data)
}

func TestRawFileCut(t *testing.T) {
	f := crx(t)
	for _, tt := range []struct {
		name   string
		size   int
		blocks int
		torn   string
	}{
		{"one byte short", len(f) - 1, 2, "the file ends before its image data does: 1 byte of 21.1 MB missing"},
		{"in the raw data", 10_000_000, 2, "the file ends before its image data does: 11.7 MB of 21.1 MB missing"},
		{"before the image data", 200_000, 2, "the file ends before its image data: all 17.3 MB missing"},
		{"in the thumbnail", 20_000, 2, "the file ends before its list of contents does: 23 kB of 43 kB missing"},
		{"in the Exif data", 1000, 2, "the file ends before its list of contents does: 42 kB of 43 kB missing"},
		{"behind the first block", 836, 1, "the file ends before its list of contents does: 42 kB of 43 kB missing"},
	} {
		l, err := scantest.Check(t, Scan, f[:tt.size])
		if err != nil || l.Torn != tt.torn || len(l.Blocks) != tt.blocks {
			t.Errorf("%s: %v, torn %q, %d blocks; want %q, %d blocks", tt.name, err, l.Torn, len(l.Blocks), tt.torn, tt.blocks)
		}
	}
}

func TestHEIF(t *testing.T) {
	inPieces := slices.Concat(picture, exifPayload[:10], []byte("gap"), exifPayload[10:])
	withName := slices.Concat(picture, u32(6), []byte("Exif\x00\x00"), exifPayload[4:])
	wrong := slices.Concat(picture, u32(77), exifPayload[4:])
	bare := slices.Concat(picture, exifPayload[4:])
	exifAt := func(length uint32) []byte {
		return full("iloc", 0, 0, u16(0x4400), u16(2),
			u16(1), u16(0), u16(1), u32(32), u32(100),
			u16(2), u16(0), u16(1), u32(132), u32(length))
	}
	gridItem := slices.Concat(u8(0), u8(0), u8(1), u8(0), u16(1280), u16(900))
	gridItem32 := slices.Concat(u8(0), u8(1), u8(1), u8(0), u32(70_000), u32(50_000))
	for _, tt := range []struct {
		name          string
		file          []byte
		block         layout.Block
		width, height uint32
		preview       layout.Preview
	}{
		{
			name: "plain", file: heif(content),
			block: layout.Block{Offset: 136, Length: 14}, width: 640, height: 480,
		},
		{
			name: "with the name Exif before the header", file: heif(withName, exifAt(24)),
			block: layout.Block{Offset: 142, Length: 14}, width: 640, height: 480,
		},
		{
			name: "wrong place of the header", file: heif(wrong, exifAt(18)),
			block: layout.Block{Offset: 136, Length: 14}, width: 640, height: 480,
		},
		{
			name: "header without its place", file: heif(bare, exifAt(14)),
			block: layout.Block{Offset: 132, Length: 14}, width: 640, height: 480,
		},
		{
			name: "in pieces", file: heif(inPieces, full("iloc", 0, 0, u16(0x4400), u16(2),
				u16(1), u16(0), u16(1), u32(32), u32(100),
				u16(2), u16(0), u16(2), u32(132), u32(10), u32(145), u32(8))),
			block: layout.Block{Data: exifPayload[4:]}, width: 640, height: 480,
		},
		{
			name: "in the metadata box", file: heif(picture, mk("idat", []byte("abc"), exifPayload),
				full("iloc", 1, 0, u16(0x4400), u16(2),
					u16(1), u16(0), u16(0), u16(1), u32(32), u32(100),
					u16(2), u16(1), u16(0), u16(1), u32(3), u32(exifLen))),
			block: layout.Block{Offset: 32 + 100 + 12 + 14 + 56 + 26 + 56 + 8 + 3 + 4, Length: 14}, width: 640, height: 480,
		},
		{
			name: "32-bit item numbers, base offsets, extent numbers", file: heif(content,
				full("pitm", 1, 0, u32(1)),
				full("iinf", 1, 0, u32(2),
					full("infe", 3, 0, u32(1), u16(0), []byte("hvc1"), u8(0)),
					full("infe", 3, 0, u32(2), u16(0), []byte("Exif"), u8(0))),
				full("iref", 1, 0, mk("cdsc", u32(2), u16(1), u32(1))),
				full("iloc", 2, 0, u16(0x4884), u32(2),
					u32(1), u16(0), u16(0), u64(32), u16(1), u32(0), u32(0), u64(100),
					u32(2), u16(0), u16(0), u64(100), u16(1), u32(0), u32(32), u64(exifLen)),
				mk("iprp", mk("ipco", mk("free"), ispe(640, 480)), full("ipma", 1, 1, u32(1), u32(1), u8(2), u16(0x8001), u16(0x8002)))),
			block: layout.Block{Offset: 136, Length: 14}, width: 640, height: 480,
		},
		{
			name: "Exif data to the end of the file", file: slices.Concat(
				heif(content, exifAt(0))),
			block: layout.Block{Offset: 136, Length: int64(len(heif(content)) - 136)}, width: 640, height: 480,
		},
		{
			name: "Exif of the main picture, not of another",
			file: heif(slices.Concat(content, exifPayload),
				full("iinf", 0, 0, u16(3), infe(1, "hvc1"), infe(3, "Exif"), infe(2, "Exif")),
				full("iloc", 0, 0, u16(0x4400), u16(3),
					u16(1), u16(0), u16(1), u32(32), u32(100),
					u16(3), u16(0), u16(1), u32(132+exifLen), u32(exifLen),
					u16(2), u16(0), u16(1), u32(132), u32(exifLen))),
			block: layout.Block{Offset: 136, Length: 14}, width: 640, height: 480,
		},
		{
			name: "grid without a size property",
			file: heif(content, mk("idat", gridItem),
				full("iinf", 0, 0, u16(3), infe(1, "grid"), infe(3, "hvc1"), infe(2, "Exif")),
				full("iref", 0, 0, mk("dimg", u16(1), u16(2), u16(3), u16(3))),
				full("iloc", 1, 0, u16(0x4400), u16(3),
					u16(1), u16(1), u16(0), u16(1), u32(0), u32(8),
					u16(3), u16(0), u16(0), u16(1), u32(32), u32(100),
					u16(2), u16(0), u16(0), u16(1), u32(132), u32(exifLen)),
				mk("iprp", mk("ipco"))),
			block: layout.Block{Offset: 136, Length: 14}, width: 1280, height: 900,
		},
		{
			name: "grid of 32-bit size without a size property",
			file: heif(content, mk("idat", gridItem32),
				full("iinf", 0, 0, u16(2), infe(1, "grid"), infe(2, "Exif")),
				full("iloc", 1, 0, u16(0x4400), u16(2),
					u16(1), u16(1), u16(0), u16(1), u32(0), u32(12),
					u16(2), u16(0), u16(0), u16(1), u32(132), u32(exifLen)),
				mk("iprp", mk("ipco"))),
			block: layout.Block{Offset: 136, Length: 14}, width: 70_000, height: 50_000,
		},
		{
			name: "thumbnail in JPEG",
			file: heif(slices.Concat(content, []byte{0xFF, 0xD8, 0xFF, 0xD9}),
				full("iinf", 0, 0, u16(3), infe(1, "hvc1"), infe(2, "Exif"), infe(3, "jpeg")),
				full("iref", 0, 0, mk("thmb", u16(3), u16(1), u16(1))),
				full("iloc", 0, 0, u16(0x4400), u16(3),
					u16(1), u16(0), u16(1), u32(32), u32(100),
					u16(2), u16(0), u16(1), u32(132), u32(exifLen),
					u16(3), u16(0), u16(1), u32(132+exifLen), u32(4)),
				mk("iprp", mk("ipco", ispe(640, 480), ispe(160, 120)),
					full("ipma", 0, 0, u32(2), u16(1), u8(1), u8(1), u16(3), u8(1), u8(2)))),
			block: layout.Block{Offset: 136, Length: 14}, width: 640, height: 480,
			preview: layout.Preview{Offset: 132 + exifLen, Length: 4, Width: 160, Height: 120},
		},
	} {
		t.Run(tt.name, func(t *testing.T) {
			l, err := scantest.Check(t, Scan, tt.file)
			if err != nil || len(l.Problems) != 0 || !l.Checked || l.Torn != "" {
				t.Fatalf("error %v, problems %v, checked %v, torn %q", err, l.Problems, l.Checked, l.Torn)
			}
			if len(l.Blocks) != 1 || !sameBlock(l.Blocks[0], tt.block) {
				t.Errorf("blocks %+v, want %+v", l.Blocks, tt.block)
			}
			if l.Width != tt.width || l.Height != tt.height {
				t.Errorf("size %d x %d, want %d x %d", l.Width, l.Height, tt.width, tt.height)
			}
			if tt.preview.Length > 0 && !slices.Equal(l.Previews, []layout.Preview{tt.preview}) {
				t.Errorf("previews %+v, want %+v", l.Previews, tt.preview)
			}
		})
	}
}

// The long and the open form of a box size lead to the same places.
func TestBoxSizes(t *testing.T) {
	f := heif(content)
	long := slices.Concat(ftyp("heic", "mif1", "heic"), mk64("mdat", content[8:]), f[32+len(content):])
	if len(long) != len(f) {
		t.Fatal("the test's own file is wrong")
	}
	l, err := scantest.Check(t, Scan, long)
	if err != nil || l.Width != 640 || len(l.Blocks) != 1 || l.Blocks[0].Offset != 136 || l.Torn != "" {
		t.Errorf("64-bit size: %+v, %v", l, err)
	}
	// The metadata first, then an mdat box without an end.
	open := slices.Concat(ftyp("heic"), full("meta", 0, 0,
		full("pitm", 0, 0, u16(1)), full("iinf", 0, 0, u16(1), infe(1, "hvc1")),
		mk("iprp", mk("ipco", ispe(64, 48)), full("ipma", 0, 0, u32(1), u16(1), u8(1), u8(1)))),
		u32(0), []byte("mdat"), picture)
	l, err = scantest.Check(t, Scan, open)
	if err != nil || l.Width != 64 || l.Checked || l.Torn != "" {
		t.Errorf("open size without a table of places: %+v, %v; want not checked", l, err)
	}
}

func TestHEIFCut(t *testing.T) {
	// Metadata before the image data, as bodies write it.
	meta := func(at uint32) []byte {
		return full("meta", 0, 0, full("pitm", 0, 0, u16(1)),
			full("iinf", 0, 0, u16(2), infe(1, "hvc1"), infe(2, "Exif")),
			full("iloc", 0, 0, u16(0x4400), u16(2),
				u16(2), u16(0), u16(1), u32(at), u32(exifLen),
				u16(1), u16(0), u16(1), u32(at+exifLen), u32(100)),
			mk("iprp", mk("ipco", ispe(640, 480)), full("ipma", 0, 0, u32(1), u16(1), u8(1), u8(0x81))))
	}
	at := uint32(16 + len(meta(0)) + 8)
	f := slices.Concat(ftyp("heic"), meta(at), mk("mdat", exifPayload, picture))
	scantest.Cut(t, Scan, f, len(f), 1)
	l, err := Scan(bytes.NewReader(f), int64(len(f)-40))
	if want := "the file ends before its image data does: 40 bytes of 118 bytes missing"; err != nil || l.Torn != want {
		t.Errorf("40 bytes short: torn %q, %v, want %q", l.Torn, err, want)
	}
	if len(l.Blocks) != 1 {
		t.Errorf("40 bytes short: blocks %+v, want the Exif block", l.Blocks)
	}
	// Bytes behind the last box are nobody's loss.
	for _, tail := range []string{"\x00", "\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00", "some words behind the picture"} {
		l, err := scantest.Check(t, Scan, slices.Concat(f, []byte(tail)))
		if err != nil || !l.Checked || l.Torn != "" {
			t.Errorf("with %q behind: %+v, %v, want whole", tail, l, err)
		}
	}
}

func TestHostile(t *testing.T) {
	many := func(n int, b []byte) []byte { return bytes.Repeat(b, n) }
	var loop [][]byte // items that are made of each other
	for i := range uint16(200) {
		loop = append(loop, mk("dimg", u16(i), u16(2), u16((i+1)%200), u16((i+7)%200)))
	}
	moov := func(parts ...[]byte) []byte { return slices.Concat(ftyp("crx "), mk("moov", parts...)) }
	track := func(tables ...[]byte) []byte {
		entry := mk("CRAW", make([]byte, 24), u16(6000), u16(4000), make([]byte, 54))
		tables = append([][]byte{full("stsd", 0, 0, u32(1), entry)}, tables...)
		return moov(mk("trak", mk("mdia", mk("minf", mk("stbl", tables...)))))
	}
	for _, tt := range []struct {
		name    string
		file    []byte
		err     string // of the scan, or
		problem string // of what came out, or
		torn    string // the image data; all three empty: no crash is enough
	}{
		{name: "empty file", err: "does not begin with a file type box"},
		{name: "file type box alone", file: ftyp("heic"), err: "without the list of what is in it"},
		{name: "box of size 7", file: slices.Concat(ftyp("heic"), u32(7), []byte("meta")), err: "without the list"},
		{name: "box of size 7 behind the metadata", file: slices.Concat(heif(content), u32(7), []byte("free")), problem: "less than its own header"},
		{name: "64-bit size below its header", file: slices.Concat(ftyp("crx "), mk("moov"), u32(1), []byte("uuid"), u64(15)), problem: "less than its own header"},
		{name: "64-bit size of 2^63", file: slices.Concat(ftyp("crx "), mk("moov"), u32(1), []byte("uuid"), u64(1<<63)), problem: "impossible size"},
		{name: "64-bit size of 2^63-1", file: slices.Concat(ftyp("crx "), mk("moov"), u32(1), []byte("mdat"), u64(1<<63-1)), torn: "all more than 1 TB missing"},
		{name: "64-bit size cut off", file: slices.Concat(ftyp("crx "), mk("moov"), u32(1), []byte("mdat"), u32(0)), problem: "cut off in its size"},
		{name: "a million empty boxes", file: slices.Concat(ftyp("crx "), mk("moov"), many(1_000_000, mk("free"))), problem: "more than 4096 boxes"},
		{name: "a million empty boxes in moov", file: moov(many(1_000_000, mk("free"))), problem: "more than 4096 boxes"},
		{name: "boxes in boxes", file: moov(mk("uuid", make([]byte, 16), mk("uuid", make([]byte, 16), mk("CMT1", exifPayload))))},
		{name: "control characters for a name", file: slices.Concat(ftyp("crx "), mk("moov"), u32(3), []byte("\x1b]0;")), problem: `"\x1b]0;"`},
		{name: "CMT1 without a TIFF header", file: moov(mk("uuid", make([]byte, 16), mk("CMT1", []byte("<script>")))), problem: "no Exif data"},
		{name: "empty CMT1", file: moov(mk("uuid", make([]byte, 16), mk("CMT1"))), problem: "no Exif data"},
		{name: "uuid box shorter than an identifier", file: moov(mk("uuid", []byte("short")))},
		{name: "thumbnail past the end", file: moov(mk("uuid", make([]byte, 16), mk("THMB", u32(0), u16(160), u16(120), u32(1<<31), u32(0), u16(0xFFD8)))), problem: "before its preview"},
		{name: "sample at 2^63", file: track(full("stsz", 0, 0, u32(9), u32(1)), full("co64", 0, 0, u32(1), u64(1<<63))), problem: "impossible place"},
		{name: "sample past the end", file: track(full("stsz", 0, 0, u32(9), u32(1)), full("co64", 0, 0, u32(1), u64(1<<40))), torn: "all 9 bytes missing"},
		{name: "4 billion samples", file: track(full("stsz", 0, 0, u32(0), u32(1<<32-1)), full("stco", 0, 0, u32(1<<32-1), u32(8)))},
		{name: "table of item places of 300 kB", file: heif(content, full("iloc", 0, 0, make([]byte, 300_000))), problem: "was not read"},
		{name: "empty table of item places", file: heif(content, mk("iloc")), problem: "was not read"},
		{name: "4 billion items without a byte", file: heif(content, full("iloc", 2, 0, u16(0), u32(1<<32-1))), problem: "ends early"},
		{name: "65535 items of 65535 empty extents", file: heif(content, full("iloc", 0, 0, u16(0), u16(65535), many(40_000, slices.Concat(u16(2), u16(0), u16(65535))))), problem: "more than 8192 pieces"},
		{name: "place fields of 15 bytes", file: heif(content, full("iloc", 0, 0, u16(0xFFFF), u16(2), make([]byte, 100))), problem: "unknown form"},
		{name: "item at 2^64-1", file: heif(content, full("iloc", 0, 0, u16(0x8880), u16(1), u16(2), u16(0), u64(1<<64-1), u16(1), u64(1<<64-1), u64(1<<64-1))), problem: "impossible place"},
		{name: "Exif item in another file", file: heif(content, full("iloc", 0, 0, u16(0x4400), u16(1), u16(2), u16(1), u16(1), u32(132), u32(18))), problem: "another file"},
		{name: "Exif item in an idat box that is not there", file: heif(content, full("iloc", 1, 0, u16(0x4400), u16(1), u16(2), u16(1), u16(0), u16(1), u32(0), u32(18))), problem: "idat box that is missing"},
		{name: "Exif item past the idat box", file: heif(content, mk("idat", u32(0)), full("iloc", 1, 0, u16(0x4400), u16(1), u16(2), u16(1), u16(0), u16(1), u32(0), u32(18))), problem: "past the end of the idat box"},
		{name: "Exif item made from another", file: heif(content, full("iloc", 1, 0, u16(0x4400), u16(1), u16(2), u16(2), u16(0), u16(1), u32(0), u32(18))), problem: "made from another item"},
		{name: "Exif item without a place", file: heif(content, full("iloc", 0, 0, u16(0x4400), u16(0))), problem: "it has no data"},
		{name: "Exif item of 3 bytes", file: heif(content, full("iloc", 0, 0, u16(0x4400), u16(1), u16(2), u16(0), u16(1), u32(132), u32(3))), problem: "too few"},
		{name: "Exif item past the end", file: heif(content, full("iloc", 0, 0, u16(0x4400), u16(1), u16(2), u16(0), u16(1), u32(1<<30), u32(18))), problem: "before its Exif data"},
		{name: "Exif item of noise", file: heif(content, full("iloc", 0, 0, u16(0x4400), u16(1), u16(2), u16(0), u16(1), u32(40), u32(50))), problem: "no Exif data"},
		{name: "Exif item of 8000 pieces of one megabyte", file: heif(make([]byte, 1<<20), full("iloc", 0, 0, u16(0x4400), u16(1), u16(2), u16(0), u16(8000), many(8000, slices.Concat(u32(32), u32(1<<20))))), problem: "was not read"},
		{name: "4000 Exif items", file: heif(make([]byte, 1<<20),
			full("iinf", 0, 0, u16(4000), many(4000, infe(2, "Exif"))))},
		{name: "picture data past the end", file: heif(content, full("iloc", 0, 0, u16(0x4400), u16(1), u16(1), u16(0), u16(1), u32(32), u32(1<<30))), torn: "image data does"},
		{name: "picture data from past the end to the end", file: heif(content, full("iloc", 0, 0, u16(0x4400), u16(1), u16(1), u16(0), u16(1), u32(1<<30), u32(0))), torn: "image data"},
		{name: "items made of each other", file: heif(content, full("iref", 0, 0, loop...))},
		{name: "reference box of size 3", file: heif(content, full("iref", 0, 0, u32(3), []byte("dimg")))},
		{name: "references without end", file: heif(content, full("iref", 0, 0, mk("dimg", u16(1), u16(65535), u16(1))))},
		{name: "4 billion property associations", file: heif(content, mk("iprp", mk("ipco", ispe(8, 8)), full("ipma", 0, 0, u32(1<<32-1), u16(1), u8(255))))},
		{name: "property 127 of 1", file: heif(content, mk("iprp", mk("ipco", ispe(8, 8)), full("ipma", 0, 0, u32(1), u16(1), u8(1), u8(0x7F))))},
		{name: "metadata box twice", file: slices.Concat(heif(content), full("meta", 0, 0))},
		{name: "metadata box of 4 bytes", file: slices.Concat(ftyp("heic"), mk("meta", u32(0)))},
		{name: "item list cut in an entry", file: heif(content, full("iinf", 0, 0, u16(9), infe(2, "Exif")[:15]))},
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

// failing is a medium that gives up behind a place.
type failing struct {
	data []byte
	from int64
}

var errMedium = errors.New("input/output error")

func (f failing) ReadAt(p []byte, off int64) (int, error) {
	if off+int64(len(p)) > f.from {
		return 0, errMedium
	}
	return bytes.NewReader(f.data).ReadAt(p, off)
}

func TestMediumFails(t *testing.T) {
	f := crx(t)
	for _, from := range []int64{0, 5000, 30_000, 100_000, 300_000} {
		if _, err := Scan(failing{f, from}, int64(len(f))); !errors.Is(err, errMedium) {
			t.Errorf("a medium that fails from byte %d on: %v, want its error", from, err)
		}
	}
}

// A file may become shorter after its size was taken.
func TestFileShrinks(t *testing.T) {
	f := heif(content)
	for n := range f {
		l, err := Scan(bytes.NewReader(f[:n]), int64(len(f)))
		if err == nil && len(l.Blocks) > 0 {
			t.Errorf("%d of %d bytes: %+v, want an error or no block", n, len(f), l)
		}
	}
}

func FuzzScan(f *testing.F) {
	f.Add(heif(content))
	// The raw file's head without maker note, position and thumbnail.
	head := crx(f)[:42_560]
	f.Add(slices.Concat(head[:24], mk("moov", mk("uuid", head[40:2376]), head[40_288:42_552])))
	for _, folder := range scantest.Folders {
		for _, data := range scantest.Shared(f, folder, func(head []byte) bool {
			k, _ := Brand(head[:min(len(head), BrandBytes)])
			return k != KindNone
		}) {
			f.Add(data)
		}
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		_, err := scantest.Check(t, Scan, data)
		if kind, _ := Brand(data[:min(len(data), BrandBytes)]); kind == KindNone && err == nil {
			t.Error("a file without a brand was read")
		}
	})
}
