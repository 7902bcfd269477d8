package exifread_test

import (
	"bytes"
	"image"
	"image/jpeg"
	"os"
	"path/filepath"
	"testing"
	"time"

	"prestrike/exifread"
	"prestrike/exifread/exifwrite"
)

// bx1 is what the made-up body of the tests records with a frame.
func bx1() *exifread.Metadata {
	return &exifread.Metadata{
		ExifVersion: exifread.Of("0232"),
		Make:        exifread.Of("Borealis"), Model: exifread.Of("Borealis BX-1"), BodySerial: exifread.Of("BX100042"),
		LensMake: exifread.Of("Borealis"), LensModel: exifread.Of("Borealis 90 mm macro"), LensSerial: exifread.Of("L7"),
		LensSpecification: exifread.Of(exifread.LensSpecification{
			MinFocal: exifread.Of(90.0), MaxFocal: exifread.Of(90.0),
			MinFNumberMinFocal: exifread.Of(2.8), MinFNumberMaxFocal: exifread.Of(2.8),
		}),
		ExposureTime: exifread.Of(exifread.Rational{Num: 8, Den: 10}), FNumber: exifread.Of(exifread.Rational{Num: 56, Den: 10}),
		MaxApertureValue: exifread.Of(exifread.Rational{Num: 297, Den: 100}), Sensitivity: exifread.Of(uint32(100)),
		SensitivityType: exifread.Of(exifread.SensitivityType(2)), FocalLength: exifread.Of(exifread.Rational{Num: 90, Den: 1}),
		FocalLength35: exifread.Of(uint32(135)), ExposureProgram: exifread.Of(exifread.ProgramManual),
		ExposureMode: exifread.Of(exifread.ExposureManual), ExposureBias: exifread.Of(exifread.Rational{Num: -1, Den: 3}),
		MeteringMode: exifread.Of(uint16(5)), Flash: exifread.Of(exifread.Flash(16)), LightSource: exifread.Of(uint16(4)),
		WhiteBalance: exifread.Of(exifread.WhiteBalanceManual), SubjectDistance: exifread.Of(exifread.Distance{State: exifread.DistanceMetres, Metres: 0.312}),
		Captured: exifread.Of(exifread.Timestamp{
			Wall: time.Date(2026, 3, 4, 10, 11, 12, 340e6, time.UTC), Resolution: 10 * time.Millisecond, Offset: exifread.Of(time.Hour),
		}),
		Orientation: exifread.Of(uint16(1)), Width: exifread.Of(uint32(48)), Height: exifread.Of(uint32(32)),
		FocalPlaneXResolution: exifread.Of(exifread.Rational{Num: 25600, Den: 10}), FocalPlaneYResolution: exifread.Of(exifread.Rational{Num: 25600, Den: 10}),
		FocalPlaneResolutionUnit: exifread.Of(uint16(3)), ImageNumber: exifread.Of(uint32(1234)), CompositeImage: exifread.Of(uint16(3)),
		CompositeSources: exifread.Of(exifread.CompositeSources{Taken: exifread.Of(uint16(12)), Used: exifread.Of(uint16(10))}),
		PixelXDimension:  exifread.Of(uint32(96)), PixelYDimension: exifread.Of(uint32(64)), Software: exifread.Of("Borealis 1.02"),
		DigitalZoomRatio: exifread.Of(exifread.Rational{Num: 3, Den: 2}),
		SceneCaptureType: exifread.Of(uint16(0)), CustomRendered: exifread.Of(uint16(1)), SubjectDistanceRange: exifread.Of(uint16(2)),
	}
}

// plainJPEG is a picture without capture data.
func plainJPEG(t testing.TB, width, height int) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := jpeg.Encode(&b, image.NewGray(image.Rect(0, 0, width, height)), nil); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// cameraJPEG is a frame of the made-up body of about the given size: the
// image data is lengthened by what is no marker.
func cameraJPEG(t testing.TB, size int) []byte {
	t.Helper()
	block, err := exifwrite.FromMetadata(bx1())
	if err != nil {
		t.Fatal(err)
	}
	block.Exif = append(block.Exif, exifwrite.Undefined(0x927C, make([]byte, 20<<10))) // a maker note
	block.Thumbnail = plainJPEG(t, 160, 120)
	b := insert(t, plainJPEG(t, 48, 32), encode(t, block))
	if more := size - len(b); more > 0 {
		filler := bytes.Repeat([]byte("ammonite"), more/8+1)[:more]
		b = append(append(b[:len(b)-2:len(b)-2], filler...), 0xFF, 0xD9)
	}
	return b
}

// cameraRaw is the front of a raw file of 45 MiB of the made-up body: a
// preview directory in front, the sensor data in a SubIFD, a preview at byte
// 200,000.
func cameraRaw(t testing.TB) []byte {
	t.Helper()
	m := bx1()
	m.Width, m.Height = exifread.Value[uint32]{}, exifread.Value[uint32]{}
	block, err := exifwrite.FromMetadata(m)
	if err != nil {
		t.Fatal(err)
	}
	preview := plainJPEG(t, 1620, 1080)
	block.IFD0 = append(block.IFD0, exifwrite.Byte(0xC612, 1, 4, 0, 0), exifwrite.Long(0x00FE, 1),
		exifwrite.Long(0x0201, 200_000), exifwrite.Long(0x0202, uint32(len(preview))))
	block.Exif = append(block.Exif, exifwrite.Undefined(0x927C, make([]byte, 20<<10)))
	block.SubIFDs = [][]exifwrite.Entry{{
		exifwrite.Long(0x00FE, 0), exifwrite.Short(0x0100, 6000), exifwrite.Short(0x0101, 4000), exifwrite.Short(0x0106, 32803),
		exifwrite.Short(0x0103, 1), exifwrite.Long(0x0111, 1<<20), exifwrite.Long(0x0117, 44<<20),
	}}
	b := encode(t, block)
	b = append(b, make([]byte, 200_000-len(b))...)
	return append(b, preview...)
}

func encode(t testing.TB, b *exifwrite.Block) []byte {
	t.Helper()
	out, err := b.Encode()
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func insert(t testing.TB, jpeg, exif []byte) []byte {
	t.Helper()
	out, err := exifwrite.InsertJPEG(jpeg, exif)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func writeFrame(t testing.TB, name string, b []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, b, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}
