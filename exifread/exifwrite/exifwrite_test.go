package exifwrite_test

import (
	"encoding/binary"
	"encoding/hex"
	"errors"
	"strings"
	"testing"

	"prestrike/exifread/exifwrite"
)

// The layout is checked byte by byte against one worked out by hand from TIFF
// 6.0 section 2.
func TestBlockLayout(t *testing.T) {
	b := exifwrite.Block{
		Order: binary.BigEndian,
		IFD0:  []exifwrite.Entry{exifwrite.Short(0x0112, 6), exifwrite.ASCII(0x010F, "Borealis")},
		Exif:  []exifwrite.Entry{exifwrite.Rational(0x829A, [2]uint32{1, 125})},
	}
	got, err := b.Encode()
	if err != nil {
		t.Fatal(err)
	}
	want := strings.Join([]string{
		"4d4d002a00000008",
		"0003",
		"010f000200000009" + "00000032", // 8 + 2 + 3*12 + 4 = 50
		"0112000300000001" + "00060000",
		"8769000400000001" + "0000003c", // 50 + 9 + 1 pad = 60
		"00000000",
		hex.EncodeToString([]byte("Borealis")) + "00" + "00",
		"0001",
		"829a000500000001" + "0000004e", // 60 + 2 + 12 + 4 = 78
		"00000000",
		"000000010000007d",
	}, "")
	if hex.EncodeToString(got) != want {
		t.Errorf("block\n got %x\nwant %s", got, want)
	}
}

func TestInsertJPEGRefuses(t *testing.T) {
	if _, err := exifwrite.InsertJPEG([]byte("GIF89a"), nil); err == nil {
		t.Error("a GIF was taken for a JPEG")
	}
	_, err := exifwrite.InsertJPEG([]byte{0xFF, 0xD8}, make([]byte, 65536))
	if !errors.Is(err, exifwrite.ErrTooLong) {
		t.Errorf("65,536 bytes of Exif: got %v, want ErrTooLong", err)
	}
}
