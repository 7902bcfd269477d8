package main

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"image"
	"image/jpeg"
	"time"

	"github.com/andybalholm/brotli"

	"prestrike/exifread"
	"prestrike/exifread/exifwrite"
)

// A hostile is a file that is made to do harm.
type hostile struct {
	what, name string // the latter as the file is called
	content    func() []byte
	torn       bool // it is a frame that is not whole
}

// frame is a sound frame, taken number times 8 s after the first.
func frame(number int) []byte {
	picture := image.NewGray(image.Rect(0, 0, 480, 320))
	random := uint32(7)
	for i := range picture.Pix {
		random = random*1664525 + 1013904223
		picture.Pix[i] = byte(random >> 25)
	}
	var b bytes.Buffer
	must(jpeg.Encode(&b, picture, nil))
	return recorded(b.Bytes(), number)
}

// recorded is a picture with what a camera records.
func recorded(picture []byte, number int) []byte {
	block, err := exifwrite.Encode(&exifread.Metadata{
		Make: exifread.Of("Borealis"), Model: exifread.Of("BX-1"), LensModel: exifread.Of("Borealis 90 mm macro"),
		ExposureTime: exifread.Of(exifread.Rational{Num: 1, Den: 8}), FNumber: exifread.Of(exifread.Rational{Num: 56, Den: 10}),
		Sensitivity: exifread.Of[uint32](100), FocalLength: exifread.Of(exifread.Rational{Num: 90, Den: 1}),
		Captured: exifread.Of(exifread.Timestamp{Wall: time.Date(2026, 3, 4, 10, 11, 8*number, 0, time.UTC), Resolution: time.Second}),
	}, binary.LittleEndian)
	must(err)
	whole, err := exifwrite.InsertJPEG(picture, block)
	must(err)
	return whole
}

// must is for what fails only where this command is wrong.
func must(err error) {
	if err != nil {
		panic(err)
	}
}

func join(parts ...[]byte) []byte { return bytes.Join(parts, nil) }

// box is a box of ISO base media files and of JPEG XL.
func box(kind string, content ...[]byte) []byte {
	body := join(content...)
	return join(binary.BigEndian.AppendUint32(nil, uint32(8+len(body))), []byte(kind), body)
}

func jxl(boxes ...[]byte) []byte {
	return join(box("JXL ", []byte("\r\n\x87\n")), box("ftyp", []byte("jxl \x00\x00\x00\x00jxl ")), join(boxes...), box("jxlc", []byte{0xFF, 0x0A, 0, 0, 0, 0, 0, 0}))
}

// brob is a box of JPEG XL that holds another, compressed with Brotli.
func brob(kind string, content []byte) []byte {
	var b bytes.Buffer
	w := brotli.NewWriterLevel(&b, 5)
	_, err := w.Write(content)
	must(err)
	must(w.Close())
	return box("brob", []byte(kind), b.Bytes())
}

func chunk(kind string, content []byte) []byte {
	b := join(binary.BigEndian.AppendUint32(nil, uint32(len(content))), []byte(kind), content)
	return binary.BigEndian.AppendUint32(b, crc32.ChecksumIEEE(b[4:]))
}

func png(chunks []byte) []byte {
	return join([]byte("\x89PNG\r\n\x1a\n"), chunk("IHDR", []byte{0, 0, 0, 9, 0, 0, 0, 7, 8, 0, 0, 0, 0}), chunks, chunk("IDAT", make([]byte, 8)), chunk("IEND", nil))
}

func deflated(content []byte) []byte {
	var b bytes.Buffer
	w := zlib.NewWriter(&b)
	_, err := w.Write(content)
	must(err)
	must(w.Close())
	return b.Bytes()
}

// dirs are directories of a TIFF structure, one behind the other from byte 8 on.
func tiff(dirs ...[]byte) []byte { return join([]byte("II*\x00\x08\x00\x00\x00"), join(dirs...)) }

// dir is a directory that claims count entries and has those given (tag, type, count,
// value).
func dir(count uint16, next uint32, entries ...[4]uint32) []byte {
	b := binary.LittleEndian.AppendUint16(nil, count)
	for _, e := range entries {
		b = binary.LittleEndian.AppendUint16(b, uint16(e[0]))
		b = binary.LittleEndian.AppendUint16(b, uint16(e[1]))
		b = binary.LittleEndian.AppendUint32(b, e[2])
		b = binary.LittleEndian.AppendUint32(b, e[3])
	}
	return binary.LittleEndian.AppendUint32(b, next)
}

// segmented is a frame with more segments behind its start marker.
func segmented(n int, marker byte, content []byte) []byte {
	f := frame(4)
	one := join([]byte{0xFF, marker}, binary.BigEndian.AppendUint16(nil, uint16(2+len(content))), content)
	return join(f[:2], bytes.Repeat(one, n), f[2:])
}

// header is the beginning of a JPEG of one grey, up to its scan, and where in it the
// frame header is.
func header(width, height uint16) (front []byte, frame int) {
	var b bytes.Buffer
	must(jpeg.Encode(&b, image.NewGray(image.Rect(0, 0, 8, 8)), nil))
	f := b.Bytes()
	frame = bytes.Index(f, []byte{0xFF, 0xC0})
	binary.BigEndian.PutUint16(f[frame+5:], height)
	binary.BigEndian.PutUint16(f[frame+7:], width)
	return f[:bytes.Index(f, []byte{0xFF, 0xDA})], frame
}

// scan is a scan of the one component, with coefficients from first to last.
func scan(first, last, precision byte, bits []byte) []byte {
	return join([]byte{0xFF, 0xDA, 0, 8, 1, 1, 0, first, last, precision}, bits)
}

func blocks(width, height uint16) int { return (int(width) + 7) / 8 * ((int(height) + 7) / 8) }

// flat is a sound picture of one grey: 6 bits for 64 pixels.
func flat(width, height uint16) []byte {
	front, _ := header(width, height)
	// No difference, 00, and no more coefficients, 1010 (ITU-T T.81, tables K.3 and K.5).
	return join(front, scan(0, 63, 0, bytes.Repeat([]byte{0x28, 0xA2, 0x8A}, blocks(width, height)/4+1)), []byte{0xFF, 0xD9})
}

// refined is a sound progressive picture of one grey whose coefficients are refined over
// and over: each time the decoder goes through all of them.
func refined(width, height uint16, times int) []byte {
	front, frame := header(width, height)
	front[frame+1] = 0xC2
	// A code of one bit for a run of at least 2^14 blocks without more (T.81, G.1.2.2).
	table := join([]byte{0xFF, 0xC4, 0, 20, 0x10, 1}, make([]byte, 15), []byte{0xE0})
	var run []byte // a 0 and 14 bits of 1, eight times: 15 bytes
	for i := range 15 {
		var b byte
		for bit := range 8 {
			b <<= 1
			if (i*8+bit)%15 != 0 {
				b |= 1
			}
		}
		if run = append(run, b); b == 0xFF {
			run = append(run, 0)
		}
	}
	runs := bytes.Repeat(run, blocks(width, height)/32767/8+1)
	first := scan(0, 0, 0, make([]byte, blocks(width, height)/4+1))
	again := scan(1, 63, 0x10, runs)
	return join(front, first, table, scan(1, 63, 0x01, runs), bytes.Repeat(again, times), []byte{0xFF, 0xD9})
}

// claimed is a picture whose header claims this size, with 12 MB of zeros for its pixels.
func claimed(width, height uint16, progressive bool) []byte {
	front, frame := header(width, height)
	if progressive {
		front[frame+1] = 0xC2
		return join(front, scan(0, 0, 0, make([]byte, 12<<20)), []byte{0xFF, 0xD9})
	}
	return join(front, scan(0, 63, 0, make([]byte, 12<<20)), []byte{0xFF, 0xD9})
}

// media is a file of ISO base media, a raw file or one of HEIF.
func media(brand string, boxes ...[]byte) []byte {
	if brand == "crx " {
		return join(box("ftyp", []byte("crx \x00\x00\x00\x01crx isom")), box("moov", boxes...))
	}
	return join(box("ftyp", []byte(brand+"\x00\x00\x00\x00mif1"+brand)), box("meta", append([][]byte{make([]byte, 4)}, boxes...)...))
}

// runFrames is how many frames a run of large pictures has: pictures are only inspected
// in a run.
const runFrames = 4

// pictures are pictures that are hard to decode.
func pictures() []hostile {
	return []hostile{
		{what: "4,290 megapixels claimed", name: "", content: func() []byte { return claimed(65500, 65500, false) }},
		{what: "200 megapixels claimed", name: "", content: func() []byte { return claimed(20000, 10000, false) }},
		{what: "50 megapixels claimed, progressive", name: "", content: func() []byte { return claimed(10000, 5000, true) }},
		{what: "a row of 65,535 pixels", name: "", content: func() []byte { return claimed(65535, 1, false) }},
		{what: "65 sound megapixels", name: "", content: func() []byte { return flat(10000, 6500) }},
		{what: "240 sound megapixels", name: "", content: func() []byte { return flat(20000, 12000) }},
		{what: "300 sound megapixels", name: "", content: func() []byte { return flat(20000, 15000) }},
		{what: "50 megapixels, refined 30 times", name: "", content: func() []byte { return refined(10000, 5000, 30) }},
		{what: "12 megapixels, refined 5,000 times", name: "", content: func() []byte { return refined(4000, 3000, 5000) }},
	}
}

// hostiles are the files that do harm by their content.
//
// whole: a list of cases, one a line, each read by itself.
func hostiles() []hostile {
	zeros := make([]byte, 2<<20)
	width, height := [4]uint32{0x100, 4, 1, 60}, [4]uint32{0x101, 4, 1, 40}
	repeat := bytes.Repeat
	nested := func(n int) []byte {
		b := []byte{}
		for range n {
			b = box("moov", b)
		}
		return b
	}
	exif := func(block []byte) []byte { return join([]byte("Exif\x00\x00"), block) }
	list := []hostile{
		{what: "brob bomb, 4,000 boxes of 2 MiB", name: "BX1_0004.JXL", content: func() []byte { return jxl(repeat(brob("Exif", zeros), 4000)) }},
		{what: "brob bomb, one box of 1 GiB", name: "BX1_0004.JXL", content: func() []byte { return jxl(brob("Exif", make([]byte, 64<<20))) }},
		{what: "brob in brob", name: "BX1_0004.JXL", content: func() []byte { return jxl(repeat(brob("brob", brob("Exif", zeros)), 2000)) }},
		{what: "brob, wide windows", name: "BX1_0004.JXL", content: func() []byte {
			return jxl(repeat(box("brob", []byte("Exif"), []byte("\x0F\xFF\xFF\xFF\x00\x00\x00")), 1000))
		}},
		{what: "zTXt bomb, 1,500 chunks of 2 MiB", name: "BX1_0004.PNG", content: func() []byte {
			return png(repeat(chunk("zTXt", join([]byte("Raw profile type exif\x00\x00"), deflated(zeros))), 1500))
		}},
		{what: "iTXt bomb, 1,500 chunks of 2 MiB", name: "BX1_0004.PNG", content: func() []byte {
			return png(repeat(chunk("iTXt", join([]byte("Raw profile type exif\x00\x01\x00\x00\x00"), deflated(zeros))), 1500))
		}},
		{what: "iCCP bomb", name: "BX1_0004.PNG", content: func() []byte {
			return png(repeat(chunk("iCCP", join([]byte("x\x00\x00"), deflated(zeros))), 1500))
		}},
		{what: "200,000 empty chunks", name: "BX1_0004.PNG", content: func() []byte { return png(repeat(chunk("tEXt", nil), 200_000)) }},
		{what: "200,000 chunks of RIFF", name: "BX1_0004.WEBP", content: func() []byte {
			return join([]byte("RIFF\xFF\xFF\xFF\x00WEBP"), repeat([]byte("JUNK\x01\x00\x00\x00xx"), 200_000))
		}},
		{what: "directory that follows itself", name: "BX1_0004.DNG", content: func() []byte { return tiff(dir(2, 8, width, height)) }},
		{what: "two directories in a circle", name: "BX1_0004.NEF", content: func() []byte { return tiff(dir(2, 38, width, height), dir(2, 8, width, height)) }},
		{what: "Exif directory that is the first", name: "BX1_0004.TIF", content: func() []byte { return tiff(dir(3, 0, width, height, [4]uint32{0x8769, 4, 1, 8})) }},
		{what: "a million sub-directories", name: "BX1_0004.ARW", content: func() []byte {
			return join(tiff(dir(3, 0, width, height, [4]uint32{0x14A, 4, 1 << 20, 8})), make([]byte, 5<<20))
		}},
		{what: "16 sub-directories that are one", name: "BX1_0004.ARW", content: func() []byte {
			return join(tiff(dir(3, 0, width, height, [4]uint32{0x14A, 4, 16, 50})), repeat([]byte{8, 0, 0, 0}, 16))
		}},
		{what: "65,535 entries of 4 KiB at one place", name: "BX1_0004.TIF", content: func() []byte {
			return join([]byte("II*\x00\x08\x00\x00\x00\xFF\xFF"), repeat([]byte{0x0F, 0x01, 2, 0, 0, 16, 0, 0, 8, 0, 0, 0}, 65535))
		}},
		{what: "strips without number", name: "BX1_0004.DNG", content: func() []byte {
			return tiff(dir(4, 0, width, height, [4]uint32{0x111, 4, 0xFFFFFFFF, 8}, [4]uint32{0x117, 4, 0xFFFFFFFF, 8}))
		}},
		{what: "preview of 4 GB", name: "BX1_0004.DNG", content: func() []byte {
			return tiff(dir(4, 0, width, height, [4]uint32{0x201, 4, 1, 8}, [4]uint32{0x202, 4, 1, 0xFFFFFFFF}))
		}},
		{what: "40 MB claimed for a time", name: "BX1_0004.JPG", content: func() []byte {
			return segmented(1, 0xE1, exif(tiff(dir(1, 0, [4]uint32{0x829A, 7, 40 << 20, 8}))))
		}},
		{what: "3,000 Exif segments", name: "BX1_0004.JPG", content: func() []byte { return segmented(3000, 0xE1, exif(tiff(dir(2, 8, width, height)))) }},
		{what: "1,000 lists of pictures", name: "BX1_0004.JPG", content: func() []byte {
			return segmented(1000, 0xE2, join([]byte("MPF\x00"), tiff(dir(1, 0, [4]uint32{0xB002, 7, 4096, 26})), make([]byte, 4096)))
		}},
		{what: "start markers only", name: "BX1_0004.JPG", content: func() []byte { return repeat([]byte{0xFF, 0xD8}, 500_000) }},
		{what: "8 MB of fill bytes", name: "BX1_0004.JPG", content: func() []byte { f := frame(4); return join(f[:len(f)-2], repeat([]byte{0xFF}, 8<<20), []byte("x")) }},
		{what: "8 MB of tables", name: "BX1_0004.JPG", content: func() []byte {
			f := frame(4)
			return join(f[:len(f)-2], repeat([]byte{0xFF, 0xC4, 0, 2}, 2<<20), []byte("x"))
		}},
		{what: "4,000 Exif blocks", name: "BX1_0004.CR3", content: func() []byte {
			return media("crx ", box("uuid", make([]byte, 16), repeat(box("CMT1", tiff(dir(2, 8, width, height))), 4000)))
		}},
		{what: "4,000 tracks of 100 boxes", name: "BX1_0004.CR3", content: func() []byte {
			return media("crx ", repeat(box("trak", box("mdia", repeat(box("free"), 100))), 4000))
		}},
		{what: "2,000 boxes in each other", name: "BX1_0004.CR3", content: func() []byte { return media("crx ", nested(2000)) }},
		{what: "tables of 256 kB", name: "BX1_0004.HIF", content: func() []byte { return media("heic", repeat(box("iloc", make([]byte, 256<<10)), 60)) }},
		{what: "a box of 2^63 bytes", name: "BX1_0004.HIF", content: func() []byte {
			return join(box("ftyp", []byte("heic\x00\x00\x00\x00mif1heic")), []byte("\x00\x00\x00\x01meta\x7F\xFF\xFF\xFF\xFF\xFF\xFF\xFF"))
		}},
		{what: "a flood of boxes", name: "BX1_0004.HIF", content: func() []byte { return media("heic", repeat(box("infe"), 200_000)) }},
		{what: "raw file of FF", name: "BX1_0004.RAF", content: func() []byte { return join([]byte("FUJIFILMCCD-RAW 0201"), repeat([]byte{0xFF}, 4096)) }},
		{what: "64 MB of zeros", name: "BX1_0004.NEF", content: func() []byte { return make([]byte, 64<<20) }},
		{what: "an empty file", name: "BX1_0004.JPG", content: func() []byte { return nil }},
		{what: "no picture", name: "BX1_0004.JPG", content: func() []byte { return []byte("\x1b]0;owned\a\r\n=1+1") }},
	}
	escape := "\x1b[2J\x1b]0;x\a\r\n"
	list = append(list, hostile{what: "control characters in texts", name: "BX1_0004.JPG", content: func() []byte {
		block, err := (&exifwrite.Block{
			IFD0: []exifwrite.Entry{exifwrite.ASCII(0x010F, escape), exifwrite.ASCII(0x0110, "BX-1"+escape+"\u202e\u009b")},
			Exif: []exifwrite.Entry{exifwrite.ASCII(0xA431, "4711"+escape), exifwrite.ASCII(0xA434, "\xff\xfe"+escape)},
		}).Encode()
		must(err)
		return segmented(1, 0xE1, exif(block))
	}})
	for i, name := range []string{
		"BX1_\x1b[2J\x1b[1;31m_0004.JPG", "BX1_\n0004.JPG", "BX1_\r0004.JPG", "BX1_\t0004.JPG", "BX1_\x9b31m0004.JPG", "BX1_\u009b31m_0004.JPG", "\xff\xfe0004.JPG",
		"\u202eGPJ.4000.JPG", "=HYPERLINK(1)_0004.JPG", "-o.JPG", "<script>alert(1)<_0004.JPG", "BX1_\x7f0004.JPG", "GOOD\nprestrike: all is well.JPG",
		"\u2066\u2028\u2029_0004.JPG", string(repeat([]byte("x"), 251)) + ".JPG",
	} {
		list = append(list, hostile{what: fmt.Sprintf("name %d, %+q", i, name[:min(30, len(name))]), name: name, content: func() []byte { return frame(4) }})
		list = append(list, hostile{what: fmt.Sprintf("name %d, torn", i), name: name, torn: true, content: func() []byte { f := frame(4); return f[:len(f)/2] }})
	}
	return list
}
