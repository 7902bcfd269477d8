package exifwrite

import (
	"encoding/binary"
	"fmt"
	"math"
	"strings"
	"time"

	"prestrike/exifread"
)

// FromMetadata returns the block that states what m holds as recorded; what
// is not recorded gets no entry. Previews are places in another file, so they
// are left out; set Thumbnail for one. Text outside ASCII is written as type
// 129.
func FromMetadata(m *exifread.Metadata) (*Block, error) {
	var w fields
	w.dir = &w.b.IFD0
	w.text(0x010F, m.Make)
	w.text(0x0110, m.Model)
	w.short(0x0112, m.Orientation)
	w.text(0x0131, m.Software)

	w.dir = &w.b.Exif
	w.rational(0x829A, m.ExposureTime)
	w.rational(0x829D, m.FNumber)
	if v, ok := m.ExposureProgram.Get(); ok {
		w.add(Short(0x8822, uint16(v)))
	}
	w.sensitivity(m)
	if v, ok := m.ExifVersion.Get(); ok {
		w.add(Undefined(0x9000, []byte(v)))
	}
	w.captured(m.Captured)
	if v, ok := m.ExposureBias.Get(); ok {
		w.srational(0x9204, v)
	}
	w.rational(0x9205, m.MaxApertureValue)
	if v, ok := m.SubjectDistance.Get(); ok {
		w.distance(v)
	}
	w.short(0x9207, m.MeteringMode)
	w.short(0x9208, m.LightSource)
	if v, ok := m.Flash.Get(); ok {
		w.add(Short(0x9209, uint16(v)))
	}
	w.rational(0x920A, m.FocalLength)
	w.long(0x9211, m.ImageNumber)
	if x, y := m.PixelXDimension, m.PixelYDimension; x.Known() || y.Known() {
		w.long(0xA002, x)
		w.long(0xA003, y)
	} else {
		w.long(0xA002, m.Width)
		w.long(0xA003, m.Height)
	}
	w.rational(0xA20E, m.FocalPlaneXResolution)
	w.rational(0xA20F, m.FocalPlaneYResolution)
	w.short(0xA210, m.FocalPlaneResolutionUnit)
	w.short(0xA401, m.CustomRendered)
	if v, ok := m.ExposureMode.Get(); ok {
		w.add(Short(0xA402, uint16(v)))
	}
	if v, ok := m.WhiteBalance.Get(); ok {
		w.add(Short(0xA403, uint16(v)))
	}
	w.rational(0xA404, m.DigitalZoomRatio)
	if v, ok := m.FocalLength35.Get(); ok {
		w.add(Short(0xA405, uint16(min(v, math.MaxUint16))))
	}
	w.short(0xA406, m.SceneCaptureType)
	w.short(0xA40C, m.SubjectDistanceRange)
	w.text(0xA431, m.BodySerial)
	if v, ok := m.LensSpecification.Get(); ok {
		w.lens(v)
	}
	w.text(0xA433, m.LensMake)
	w.text(0xA434, m.LensModel)
	w.text(0xA435, m.LensSerial)
	w.short(0xA460, m.CompositeImage)
	if v, ok := m.CompositeSources.Get(); ok {
		w.add(Short(0xA461, v.Taken.Or(0), v.Used.Or(0)))
	}
	return &w.b, w.err
}

// Encode returns the Exif block of FromMetadata in the byte order.
func Encode(m *exifread.Metadata, order binary.AppendByteOrder) ([]byte, error) {
	b, err := FromMetadata(m)
	if err != nil {
		return nil, err
	}
	b.Order = order
	return b.Encode()
}

type fields struct {
	b   Block
	dir *[]Entry
	err error
}

func (w *fields) add(e Entry) { *w.dir = append(*w.dir, e) }

func (w *fields) text(tag uint16, v exifread.Value[string]) {
	s, ok := v.Get()
	if !ok {
		return
	}
	if strings.ContainsFunc(s, func(r rune) bool { return r > 0x7F }) {
		w.add(UTF8(tag, s))
		return
	}
	w.add(ASCII(tag, s))
}

func (w *fields) short(tag uint16, v exifread.Value[uint16]) {
	if n, ok := v.Get(); ok {
		w.add(Short(tag, n))
	}
}

func (w *fields) long(tag uint16, v exifread.Value[uint32]) {
	if n, ok := v.Get(); ok {
		w.add(Long(tag, n))
	}
}

func (w *fields) rational(tag uint16, v exifread.Value[exifread.Rational]) {
	r, ok := v.Get()
	if !ok {
		return
	}
	if r.Num < 0 || r.Num > math.MaxUint32 || r.Den < 0 || r.Den > math.MaxUint32 {
		w.fail(tag, r)
		return
	}
	w.add(Rational(tag, [2]uint32{uint32(r.Num), uint32(r.Den)}))
}

func (w *fields) srational(tag uint16, r exifread.Rational) {
	if r.Num != int64(int32(r.Num)) || r.Den != int64(int32(r.Den)) {
		w.fail(tag, r)
		return
	}
	w.add(SRational(tag, [2]int32{int32(r.Num), int32(r.Den)}))
}

func (w *fields) fail(tag uint16, r exifread.Rational) {
	if w.err == nil {
		w.err = fmt.Errorf("tag %#04x: %s does not fit 32 bits", tag, r)
	}
}

// sensitivity writes PhotographicSensitivity, which saturates at 65535; the
// true number then stands in the tag that SensitivityType names.
func (w *fields) sensitivity(m *exifread.Metadata) {
	iso, ok := m.Sensitivity.Get()
	if ok {
		w.add(Short(0x8827, uint16(min(iso, math.MaxUint16))))
	}
	kind, known := m.SensitivityType.Get()
	if !known && iso > math.MaxUint16 {
		kind, known = 2, true
	}
	if !known {
		return
	}
	w.add(Short(0x8830, uint16(kind)))
	if iso > math.MaxUint16 {
		switch kind {
		case 1, 4, 5, 7:
			w.add(Long(0x8831, iso))
		case 3:
			w.add(Long(0x8833, iso))
		default:
			w.add(Long(0x8832, iso))
		}
	}
}

func (w *fields) captured(v exifread.Value[exifread.Timestamp]) {
	t, ok := v.Get()
	if !ok {
		return
	}
	w.add(ASCII(0x9003, t.Wall.Format("2006:01:02 15:04:05")))
	if off, ok := t.Offset.Get(); ok {
		sign := '+'
		if off < 0 {
			sign, off = '-', -off
		}
		w.add(ASCII(0x9011, fmt.Sprintf("%c%02d:%02d", sign, int(off.Hours()), int(off.Minutes())%60)))
	}
	if t.Resolution <= 0 || t.Resolution >= time.Second {
		return
	}
	digits := 0
	for unit := time.Second; unit > t.Resolution && unit > 1; unit /= 10 {
		digits++
	}
	w.add(ASCII(0x9291, fmt.Sprintf("%09d", t.Wall.Nanosecond())[:digits]))
}

func (w *fields) distance(d exifread.Distance) {
	v := [2]uint32{0, 1}
	switch d.State {
	case exifread.DistanceInfinity:
		v = [2]uint32{math.MaxUint32, 1}
	case exifread.DistanceMetres:
		v = quotient(d.Metres)
	}
	w.add(Rational(0x9206, v))
}

func (w *fields) lens(s exifread.LensSpecification) {
	var v [4][2]uint32 // 0/0 is "unknown"
	for i, part := range []exifread.Value[float64]{s.MinFocal, s.MaxFocal, s.MinFNumberMinFocal, s.MinFNumberMaxFocal} {
		if x, ok := part.Get(); ok {
			v[i] = quotient(x)
		}
	}
	w.add(Rational(0xA432, v[:]...))
}

// quotient states x with as many decimals as fit, at most nine.
func quotient(x float64) [2]uint32 {
	den := uint32(1)
	for ; den < 1_000_000_000; den *= 10 {
		if n := x * float64(den); math.Abs(n-math.Round(n)) < 1e-9*math.Max(1, n) || n*10 > math.MaxUint32 {
			break
		}
	}
	return [2]uint32{uint32(math.Round(x * float64(den))), den}
}
