package exifread

import (
	"fmt"
	"math"
	"slices"
	"time"
	"unicode/utf8"
	"unique"

	"prestrike/exifread/internal/ifd"
)

// Tags by their names in CIPA DC-008, TIFF 6.0, TIFF/EP and the DNG
// specification. Directories of raw files can hold any of them.
const (
	tagRW2SensorTop     = 0x0004
	tagRW2SensorLeft    = 0x0005
	tagRW2SensorBottom  = 0x0006
	tagRW2SensorRight   = 0x0007
	tagRW2ISO           = 0x0017
	tagRW2EmbeddedJPEG  = 0x002E
	tagRW2RawDataOffset = 0x0118

	tagNewSubfileType    = 0x00FE
	tagImageWidth        = 0x0100
	tagImageLength       = 0x0101
	tagCompression       = 0x0103
	tagPhotometric       = 0x0106
	tagMake              = 0x010F
	tagModel             = 0x0110
	tagStripOffsets      = 0x0111
	tagOrientation       = 0x0112
	tagStripByteCounts   = 0x0117
	tagDateTime          = 0x0132
	tagTileOffsets       = 0x0144
	tagTileByteCounts    = 0x0145
	tagSubIFDs           = 0x014A
	tagJPEGInterchange   = 0x0201
	tagJPEGInterchangeN  = 0x0202
	tagExposureTime      = 0x829A
	tagFNumber           = 0x829D
	tagExifIFD           = 0x8769
	tagExposureProgram   = 0x8822
	tagSensitivity       = 0x8827
	tagTimeZoneOffset    = 0x882A
	tagSensitivityType   = 0x8830
	tagStandardOutput    = 0x8831
	tagRecommendedIndex  = 0x8832
	tagISOSpeed          = 0x8833
	tagExifVersion       = 0x9000
	tagDateTimeOriginal  = 0x9003
	tagDateTimeDigitized = 0x9004
	tagOffsetTime        = 0x9010
	tagOffsetOriginal    = 0x9011
	tagOffsetDigitized   = 0x9012
	tagExposureBias      = 0x9204
	tagMaxAperture       = 0x9205
	tagSubjectDistance   = 0x9206
	tagMeteringMode      = 0x9207
	tagLightSource       = 0x9208
	tagFlash             = 0x9209
	tagFocalLength       = 0x920A
	tagImageNumber       = 0x9211
	tagSubSecTime        = 0x9290
	tagSubSecOriginal    = 0x9291
	tagSubSecDigitized   = 0x9292
	tagPixelXDimension   = 0xA002
	tagPixelYDimension   = 0xA003
	tagFocalPlaneXRes    = 0xA20E
	tagFocalPlaneYRes    = 0xA20F
	tagFocalPlaneUnit    = 0xA210
	tagExposureMode      = 0xA402
	tagWhiteBalance      = 0xA403
	tagFocalLength35     = 0xA405
	tagBodySerial        = 0xA431
	tagLensSpecification = 0xA432
	tagLensMake          = 0xA433
	tagLensModel         = 0xA434
	tagLensSerial        = 0xA435
	tagCompositeImage    = 0xA460
	tagDNGVersion        = 0xC612
	tagDNGCameraSerial   = 0xC62F
	tagDNGLensInfo       = 0xC630
)

// wanted reports whether a tag means something here.
func wanted(tag uint16) bool { _, ok := slices.BinarySearch(wantedTags, tag); return ok }

var wantedTags = []uint16{
	tagRW2SensorTop, tagRW2SensorLeft, tagRW2SensorBottom, tagRW2SensorRight, tagRW2ISO, tagRW2EmbeddedJPEG,
	tagNewSubfileType, tagImageWidth, tagImageLength, tagCompression, tagPhotometric, tagMake, tagModel, tagStripOffsets, tagOrientation,
	tagStripByteCounts, tagRW2RawDataOffset, tagDateTime, tagTileOffsets, tagTileByteCounts, tagSubIFDs, tagJPEGInterchange, tagJPEGInterchangeN,
	tagExposureTime, tagFNumber, tagExifIFD, tagExposureProgram, tagSensitivity, tagTimeZoneOffset, tagSensitivityType, tagStandardOutput,
	tagRecommendedIndex, tagISOSpeed, tagExifVersion, tagDateTimeOriginal, tagDateTimeDigitized, tagOffsetTime, tagOffsetOriginal,
	tagOffsetDigitized, tagExposureBias, tagMaxAperture, tagSubjectDistance, tagMeteringMode, tagLightSource, tagFlash,
	tagFocalLength, tagImageNumber, tagSubSecTime, tagSubSecOriginal, tagSubSecDigitized, tagPixelXDimension, tagPixelYDimension,
	tagFocalPlaneXRes, tagFocalPlaneYRes, tagFocalPlaneUnit, tagExposureMode, tagWhiteBalance, tagFocalLength35,
	tagBodySerial, tagLensSpecification, tagLensMake, tagLensModel, tagLensSerial, tagCompositeImage,
	tagDNGVersion, tagDNGCameraSerial, tagDNGLensInfo,
}

// captured collects the parts of a capture time until all are known.
type captured struct {
	date   [3]Value[string] // DateTimeOriginal, DateTimeDigitized, DateTime
	subsec [3]Value[string]
	offset [3]Value[string]
	zone   Value[int64] // TimeZoneOffset (TIFF/EP), hours
	at     [3]problemAt
}

type problemAt struct {
	where string
	at    int64
	tag   uint16
}

// set takes a date for one of the three. One that can be read keeps its place
// against others; zeros and damage do not.
func (c *captured) set(i int, v ifd.Value, at problemAt) string {
	if held, ok := c.date[i].Get(); ok {
		if _, state := parseTime(held); state == timeKnown {
			return ""
		}
	}
	t, what := text(v)
	if s, ok := t.Get(); ok {
		if _, state := parseTime(s); state == timeKnown || !c.date[i].Known() {
			c.date[i], c.at[i] = t, at
		}
	}
	return what
}

// facts is what the directories of one file say, in whichever of its blocks,
// beyond what Metadata holds.
type facts struct {
	m        *Metadata
	captured captured
	// The three 32-bit sensitivities: standard output sensitivity, recommended
	// exposure index, ISO speed.
	sensitivity [3]Value[uint32]
	pixelX      Value[uint32]
	pixelY      Value[uint32]
	dngVersion  bool
	values      int // how many values were read
}

// take reads one entry into the field it belongs to. A field that is known
// already keeps its value.
func (f *facts) take(file *ifd.File, e ifd.Entry, where string) {
	v, err := file.Value(e)
	if err != nil {
		f.problem(where, e, err.Error())
		return
	}
	if what := f.set(e, v, where); what != "" {
		f.problem(where, e, what)
		return
	}
	f.values++
}

func (f *facts) problem(where string, e ifd.Entry, what string) {
	f.m.problem(Problem{Where: where, Tag: e.Tag, Offset: e.At, What: what})
}

// set returns what is wrong with the value, or "".
func (f *facts) set(e ifd.Entry, v ifd.Value, where string) string {
	m := f.m
	switch e.Tag {
	case tagMake:
		return setName(&m.Make, v)
	case tagModel:
		return setName(&m.Model, v)
	case tagBodySerial, tagDNGCameraSerial:
		return setSerial(&m.BodySerial, v)
	case tagLensMake:
		return setName(&m.LensMake, v)
	case tagLensModel:
		return setName(&m.LensModel, v)
	case tagLensSerial:
		return setSerial(&m.LensSerial, v)
	case tagLensSpecification, tagDNGLensInfo:
		return setLens(&m.LensSpecification, v)
	case tagExifVersion:
		return setName(&m.ExifVersion, v)

	case tagExposureTime:
		return setPositive(&m.ExposureTime, v)
	case tagFNumber:
		return setPositive(&m.FNumber, v)
	case tagFocalLength:
		return setPositive(&m.FocalLength, v)
	case tagFocalPlaneXRes:
		return setPositive(&m.FocalPlaneXResolution, v)
	case tagFocalPlaneYRes:
		return setPositive(&m.FocalPlaneYResolution, v)
	case tagMaxAperture:
		return setQuotient(&m.MaxApertureValue, v)
	case tagExposureBias:
		return setBias(&m.ExposureBias, v)
	case tagSubjectDistance:
		return setDistance(&m.SubjectDistance, v)

	case tagSensitivity, tagRW2ISO:
		return setFirstNonZero(&m.Sensitivity, v)
	case tagStandardOutput:
		return setFirstNonZero(&f.sensitivity[0], v)
	case tagRecommendedIndex:
		return setFirstNonZero(&f.sensitivity[1], v)
	case tagISOSpeed:
		return setFirstNonZero(&f.sensitivity[2], v)
	case tagFocalLength35:
		return setFirstNonZero(&m.FocalLength35, v)
	case tagImageNumber:
		return setNumber(&m.ImageNumber, v, 0, math.MaxUint32)
	case tagPixelXDimension:
		return setFirstNonZero(&f.pixelX, v)
	case tagPixelYDimension:
		return setFirstNonZero(&f.pixelY, v)

	// For these the standard says that 0 means "unknown" or "not defined".
	case tagSensitivityType:
		return setKnown(&m.SensitivityType, v, 7)
	case tagExposureProgram:
		return setKnown(&m.ExposureProgram, v, 255)
	case tagMeteringMode:
		return setKnown(&m.MeteringMode, v, 255)
	case tagLightSource:
		return setKnown(&m.LightSource, v, 255)
	case tagCompositeImage:
		return setKnown(&m.CompositeImage, v, 255)
	case tagFocalPlaneUnit:
		return setKnown(&m.FocalPlaneResolutionUnit, v, 5)
	case tagOrientation:
		return setKnown(&m.Orientation, v, 8)

	case tagExposureMode:
		return setNumber(&m.ExposureMode, v, 0, 255)
	case tagWhiteBalance:
		return setNumber(&m.WhiteBalance, v, 0, 255)
	case tagFlash:
		return setNumber(&m.Flash, v, 0, math.MaxUint16)

	case tagDateTimeOriginal:
		return f.captured.set(0, v, problemAt{where, e.At, e.Tag})
	case tagDateTimeDigitized:
		return f.captured.set(1, v, problemAt{where, e.At, e.Tag})
	case tagDateTime:
		return f.captured.set(2, v, problemAt{where, e.At, e.Tag})
	case tagSubSecOriginal:
		return setText(&f.captured.subsec[0], v)
	case tagSubSecDigitized:
		return setText(&f.captured.subsec[1], v)
	case tagSubSecTime:
		return setText(&f.captured.subsec[2], v)
	case tagOffsetOriginal:
		return setText(&f.captured.offset[0], v)
	case tagOffsetDigitized:
		return setText(&f.captured.offset[1], v)
	case tagOffsetTime:
		return setText(&f.captured.offset[2], v)
	case tagTimeZoneOffset:
		return setNumber(&f.captured.zone, v, -14, 14)

	case tagDNGVersion:
		f.dngVersion = true
	}
	return ""
}

// finish puts together what takes more than one tag.
func (f *facts) finish() {
	m := f.m
	// PhotographicSensitivity has 16 bits and stays at 65535 above; then one of
	// the 32-bit tags has the number. SensitivityType says which: a bit set of 1
	// standard output sensitivity, 2 recommended exposure index, 3 ISO speed and
	// their combinations (CIPA DC-008, tag 0x8830).
	if iso, ok := m.Sensitivity.Get(); !ok || iso == math.MaxUint16 {
		order := map[SensitivityType][]int{1: {0}, 2: {1}, 3: {2}, 4: {0, 1}, 5: {0, 2}, 6: {1, 2}, 7: {0, 1, 2}}[m.SensitivityType.Or(7)]
		for _, i := range order {
			if f.sensitivity[i].Known() {
				m.Sensitivity = f.sensitivity[i]
				break
			}
		}
	}
	if !m.Width.Known() || !m.Height.Known() {
		if f.pixelX.Known() && f.pixelY.Known() {
			m.Width, m.Height = f.pixelX, f.pixelY
		}
	}
	m.Captured = f.time()
	m.HasExif = m.HasExif || f.values > 0
}

// time makes the capture time of DateTimeOriginal, else of DateTimeDigitized,
// which for a camera is the same moment. DateTime is when the file was last
// changed: it counts for raw files only, which are never edited.
func (f *facts) time() Value[Timestamp] {
	c := &f.captured
	for i := range c.date {
		if i == 2 && !f.m.Format.Raw() {
			break
		}
		text, ok := c.date[i].Get()
		if !ok {
			continue
		}
		t, state := parseTime(text)
		switch state {
		case timeUnknown:
			continue
		case timeDamaged:
			at := c.at[i]
			f.m.problem(Problem{Where: at.where, Tag: at.tag, Offset: at.at, What: fmt.Sprintf("%q is no date and time", text)})
			continue
		}
		if s, ok := c.subsec[i].Get(); ok && t.Resolution == time.Second {
			t.addSubSeconds(s)
		}
		if s, ok := c.offset[i].Get(); ok {
			t.Offset = parseOffset(s)
		} else if h, ok := c.zone.Get(); ok && i == 0 {
			t.Offset = Of(time.Duration(h) * time.Hour)
		}
		return Of(t)
	}
	return Value[Timestamp]{}
}

// maxText is how much of a text is kept, in bytes: a line, where cameras write
// at most 64.
const maxText = 256

// text returns the value as a text without blanks around it. A text of blanks
// or of hyphens alone means that there was nothing to record.
func text(v ifd.Value) (Value[string], string) {
	b, ok := v.Bytes()
	if !ok {
		return Value[string]{}, "a number where a text belongs"
	}
	b = trimText(b)
	what := ""
	if len(b) > maxText {
		what = fmt.Sprintf("a text of %d bytes, of which %d are kept", len(b), maxText)
		b = b[:maxText]
		for n := 1; n < utf8.UTFMax && !utf8.Valid(b); n++ { // do not end inside a character
			if utf8.Valid(b[:len(b)-n]) {
				b = b[:len(b)-n]
			}
		}
	}
	if len(b) == 0 {
		return Value[string]{}, what
	}
	if !utf8.Valid(b) { // Latin-1: each byte is its own code point
		runes := make([]rune, len(b))
		for i, c := range b {
			runes[i] = rune(c)
		}
		b = []byte(string(runes))
	}
	return Of(string(b)), what
}

func trimText(b []byte) []byte {
	if i := slices.Index(b, 0); i >= 0 {
		b = b[:i]
	}
	hyphens := true
	start, end := -1, 0
	for i, c := range b {
		if c == ' ' || c == '\t' || c == '\r' || c == '\n' {
			continue
		}
		if start < 0 {
			start = i
		}
		end = i + 1
		hyphens = hyphens && c == '-'
	}
	if start < 0 || hyphens {
		return nil
	}
	return b[start:end]
}

func setText(to *Value[string], v ifd.Value) string {
	if to.Known() {
		return ""
	}
	t, what := text(v)
	*to = t
	return what
}

// setName is setText for texts that every frame of a session repeats, such as
// make and lens: one copy serves them all.
func setName(to *Value[string], v ifd.Value) string {
	what := setText(to, v)
	if s, ok := to.Get(); ok {
		*to = Of(unique.Make(s).Value())
	}
	return what
}

// setSerial is setText for serial numbers: all zeros is what a body writes
// that does not know its own.
func setSerial(to *Value[string], v ifd.Value) string {
	if to.Known() {
		return ""
	}
	what := setName(to, v)
	for _, c := range to.Or("") {
		if c != '0' && c != ' ' {
			return what
		}
	}
	*to = Value[string]{}
	return what
}

const notNumber = "not a number of the kind that belongs here"

// quotient returns the first number as a quotient; known is false where it is
// n/0, the standard's "unknown".
func quotient(v ifd.Value) (r Rational, known, ok bool) {
	num, den, ok := v.Rat(0)
	return Rational{num, den}, den != 0, ok
}

func setQuotient(to *Value[Rational], v ifd.Value) string {
	r, known, ok := quotient(v)
	if !ok {
		return notNumber
	}
	if known && !to.Known() {
		*to = Of(r)
	}
	return ""
}

// setPositive is for quantities that cannot be 0: 0 and FFFFFFFF are what
// bodies write that do not know them, such as the f-number of a lens without
// contacts.
func setPositive(to *Value[Rational], v ifd.Value) string {
	r, known, ok := quotient(v)
	switch {
	case !ok:
		return notNumber
	case !known || r.Num == 0 || r.Num == math.MaxUint32:
		return ""
	case r.Num < 0 != (r.Den < 0):
		return fmt.Sprintf("%s is less than 0", r)
	}
	if !to.Known() {
		*to = Of(r)
	}
	return ""
}

// setBias takes unsigned quotients for signed ones: some bodies write the
// wrong type.
func setBias(to *Value[Rational], v ifd.Value) string {
	r, known, ok := quotient(v)
	if !ok {
		return notNumber
	}
	if r.Num > math.MaxInt32 {
		r.Num = int64(int32(r.Num))
	}
	if known && !to.Known() {
		*to = Of(r)
	}
	return ""
}

// setDistance reads SubjectDistance: numerator 0 is unknown, FFFFFFFF is
// infinity (CIPA DC-008, tag 0x9206).
func setDistance(to *Value[Distance], v ifd.Value) string {
	r, known, ok := quotient(v)
	switch {
	case !ok:
		return notNumber
	case to.Known():
	case r.Num == math.MaxUint32:
		*to = Of(Distance{State: DistanceInfinity})
	case r.Num == 0:
		*to = Of(Distance{State: DistanceUnknown})
	case !known:
		return fmt.Sprintf("%s divides by 0", r)
	case r.Num < 0 != (r.Den < 0):
		return fmt.Sprintf("%s is less than 0", r)
	default:
		*to = Of(Distance{DistanceMetres, r.Float()})
	}
	return ""
}

func setLens(to *Value[LensSpecification], v ifd.Value) string {
	if to.Known() {
		return ""
	}
	if v.Len() != 4 {
		return fmt.Sprintf("%s where 4 belong", count(int64(v.Len()), "number"))
	}
	var parts [4]Value[float64]
	known := false
	for i := range parts {
		num, den, ok := v.Rat(i)
		if !ok {
			return notNumber
		}
		if num > 0 && den > 0 && num != math.MaxUint32 {
			parts[i] = Of(float64(num) / float64(den))
			known = true
		}
	}
	if known {
		*to = Of(LensSpecification{parts[0], parts[1], parts[2], parts[3]})
	}
	return ""
}

func setNumber[T ~uint16 | ~uint32 | ~int64](to *Value[T], v ifd.Value, least, most int64) string {
	n, ok := v.Int(0)
	if !ok {
		return notNumber
	}
	if n < least || n > most {
		return fmt.Sprintf("%d is outside %d to %d", n, least, most)
	}
	if !to.Known() {
		*to = Of(T(n))
	}
	return ""
}

// setKnown is setNumber for tags in which 0 stands for "unknown".
func setKnown[T ~uint16](to *Value[T], v ifd.Value, most int64) string {
	if n, ok := v.Int(0); ok && n == 0 {
		return ""
	}
	return setNumber(to, v, 1, most)
}

// setFirstNonZero takes the first number that is not 0, which is "unknown".
func setFirstNonZero(to *Value[uint32], v ifd.Value) string {
	for i := range min(v.Len(), 4) {
		n, ok := v.Int(i)
		if !ok {
			return notNumber
		}
		if n == 0 || n == math.MaxUint32 {
			continue
		}
		if n < 0 || n > math.MaxUint32 {
			return fmt.Sprintf("%d is outside 1 to %d", n, uint32(math.MaxUint32))
		}
		if !to.Known() {
			*to = Of(uint32(n))
		}
		return ""
	}
	return ""
}
