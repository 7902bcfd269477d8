// Package picturestest writes rendered runs as files, as a camera would, for tests
// of what inspects pictures.
package picturestest

import (
	"encoding/binary"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"prestrike/audit/pixels/pixelstest"
	"prestrike/exifread"
	"prestrike/exifread/exifwrite"
)

// Scene is what the made-up camera photographs: a relief 24 px of blur deep.
var Scene = sync.OnceValue(func() *pixelstest.Built {
	return pixelstest.Scene{
		Seed: 5, Width: 576, Height: 384, Shape: pixelstest.Relief, Depth: 24, Contrast: 1,
		PSF: 0.6, Breathing: 0.03, Electrons: 40000, Quality: 90,
	}.Build()
})

// Turned is Scene with the subject turned by 10 degrees.
var Turned = sync.OnceValue(func() *pixelstest.Built { return Scene().Yawed(10) })

// Covering is a run of a little over 1 px of blur a frame that begins before the
// relief and ends behind it.
func Covering() []pixelstest.Shot { return pixelstest.Run(3, 24, -0.12, 1.12, 0.04) }

// A Camera is how shots are recorded.
type Camera struct {
	Every time.Duration
	// Distance is the recorded focus distance of a focus, in m; nil for a
	// lens that records none.
	Distance func(focus float64) float64
	// Skip is how many frames are lost before frame i: their numbers, and the
	// time they took; nil for none. NumbersRunOn takes only the time.
	Skip         func(i int) int
	NumbersRunOn bool
	Change       func(i int, m *exifread.Metadata)
}

// Shoot writes the shots as files and returns their folder.
func (c Camera) Shoot(t testing.TB, shots []pixelstest.Shot) string {
	t.Helper()
	record := c.Change
	c.Change = func(i int, m *exifread.Metadata) {
		if c.Distance != nil {
			m.SubjectDistance = exifread.Of(exifread.Distance{State: exifread.DistanceMetres, Metres: c.Distance(shots[i].Focus)})
		}
		if record != nil {
			record(i, m)
		}
	}
	return c.Write(t, len(shots), func(i int) []byte { return Scene().JPEG(shots[i]) })
}

// Write writes n frames with the given pictures as files and returns their folder.
func (c Camera) Write(t testing.TB, n int, picture func(i int) []byte) string {
	t.Helper()
	folder := t.TempDir()
	begin := time.Date(2026, 3, 4, 10, 11, 12, 340_000_000, time.UTC)
	number := 0
	for i := range n {
		number++
		if c.Skip != nil {
			begin = begin.Add(time.Duration(c.Skip(i)) * c.Every)
			if !c.NumbersRunOn {
				number += c.Skip(i)
			}
		}
		m := &exifread.Metadata{
			Make: exifread.Of("Borealis"), Model: exifread.Of("BX-1"), BodySerial: exifread.Of("4711"), LensModel: exifread.Of("Borealis 90 mm macro"),
			ExposureTime: exifread.Of(exifread.Rational{Num: 8, Den: 10}), FNumber: exifread.Of(exifread.Rational{Num: 56, Den: 10}),
			Sensitivity: exifread.Of[uint32](100), FocalLength: exifread.Of(exifread.Rational{Num: 90, Den: 1}),
			ExposureProgram: exifread.Of(exifread.ProgramManual), ExposureMode: exifread.Of(exifread.ExposureManual),
			WhiteBalance: exifread.Of(exifread.WhiteBalanceManual),
			Captured: exifread.Of(exifread.Timestamp{
				Wall: begin.Add(time.Duration(i) * c.Every), Resolution: 10 * time.Millisecond, Offset: exifread.Of(time.Hour),
			}),
			Orientation: exifread.Of[uint16](1),
		}
		if c.Change != nil {
			c.Change(i, m)
		}
		block, err := exifwrite.Encode(m, binary.LittleEndian)
		if err != nil {
			t.Fatal(err)
		}
		file, err := exifwrite.InsertJPEG(picture(i), block)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(folder, fmt.Sprintf("BX1_%04d.JPG", number)), file, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	return folder
}
