package exifread

import (
	"math"

	"prestrike/exifread/internal/ifd"
)

// Tags that show how a file is built, by their names in TIFF 6.0, TIFF/EP, Exif
// and what open readers of RW2 files agree on.
const (
	tagRW2SensorTop     = 0x0004
	tagRW2SensorLeft    = 0x0005
	tagRW2SensorBottom  = 0x0006
	tagRW2SensorRight   = 0x0007
	tagRW2EmbeddedJPEG  = 0x002E
	tagNewSubfileType   = 0x00FE
	tagImageWidth       = 0x0100
	tagImageLength      = 0x0101
	tagCompression      = 0x0103
	tagPhotometric      = 0x0106
	tagStripOffsets     = 0x0111
	tagStripByteCounts  = 0x0117
	tagRW2RawDataOffset = 0x0118
	tagTileOffsets      = 0x0144
	tagTileByteCounts   = 0x0145
	tagSubIFDs          = 0x014A
	tagJPEGInterchange  = 0x0201
	tagJPEGInterchangeN = 0x0202
	tagExifIFD          = 0x8769

	tagRW2ISO = 0x0017
	// Below it stand the tags of RW2 files, which mean something there alone.
	tagFirstCommon = 0x00FE
)

// A tag is one that means something here.
type tag struct {
	number uint16
	name   string // in CIPA DC-008, TIFF 6.0, TIFF/EP or the DNG specification
	// take puts the value into the field that it belongs to, and returns what is
	// wrong with it, or "". A field that is known already keeps its value. It is
	// nil for what reports how the file is built; that is read where it is needed.
	take func(f *facts, v ifd.Value) string
}

// tags lists all tags that are read, by number. Directories of raw files can
// hold any of them.
var tags = []tag{
	{tagRW2SensorTop, "SensorTopBorder", nil},
	{tagRW2SensorLeft, "SensorLeftBorder", nil},
	{tagRW2SensorBottom, "SensorBottomBorder", nil},
	{tagRW2SensorRight, "SensorRightBorder", nil},
	{tagRW2ISO, "ISOSpeed", func(f *facts, v ifd.Value) string { return setFirstNonZero(&f.m.Sensitivity, v) }},
	{tagRW2EmbeddedJPEG, "JpgFromRaw", nil},
	{tagNewSubfileType, "NewSubfileType", nil},
	{tagImageWidth, "ImageWidth", nil},
	{tagImageLength, "ImageLength", nil},
	{tagCompression, "Compression", nil},
	{tagPhotometric, "PhotometricInterpretation", nil},
	{0x010F, "Make", func(f *facts, v ifd.Value) string { return f.setName(&f.m.Make, v) }},
	{0x0110, "Model", func(f *facts, v ifd.Value) string { return f.setName(&f.m.Model, v) }},
	{tagStripOffsets, "StripOffsets", nil},
	{0x0112, "Orientation", func(f *facts, v ifd.Value) string { return setKnown(&f.m.Orientation, v, 8) }},
	{tagStripByteCounts, "StripByteCounts", nil},
	{tagRW2RawDataOffset, "RawDataOffset", nil},
	{0x0131, "Software", func(f *facts, v ifd.Value) string { return f.setName(&f.m.Software, v) }},
	{0x0132, "DateTime", func(f *facts, v ifd.Value) string { return f.setDate(2, v) }},
	{tagTileOffsets, "TileOffsets", nil},
	{tagTileByteCounts, "TileByteCounts", nil},
	{tagSubIFDs, "SubIFDs", nil},
	{tagJPEGInterchange, "JPEGInterchangeFormat", nil},
	{tagJPEGInterchangeN, "JPEGInterchangeFormatLength", nil},
	{0x829A, "ExposureTime", func(f *facts, v ifd.Value) string { return setPositive(&f.m.ExposureTime, v) }},
	{0x829D, "FNumber", func(f *facts, v ifd.Value) string { return setPositive(&f.m.FNumber, v) }},
	{tagExifIFD, "Exif IFD", nil},
	{0x8822, "ExposureProgram", func(f *facts, v ifd.Value) string { return setKnown(&f.m.ExposureProgram, v, 255) }},
	{0x8827, "PhotographicSensitivity", func(f *facts, v ifd.Value) string { return setFirstNonZero(&f.m.Sensitivity, v) }},
	{0x882A, "TimeZoneOffset", func(f *facts, v ifd.Value) string { return setNumber(&f.captured.zone, v, -14, 14) }},
	{0x8830, "SensitivityType", func(f *facts, v ifd.Value) string { return setKnown(&f.m.SensitivityType, v, 7) }},
	{0x8831, "StandardOutputSensitivity", func(f *facts, v ifd.Value) string { return setFirstNonZero(&f.sensitivity[0], v) }},
	{0x8832, "RecommendedExposureIndex", func(f *facts, v ifd.Value) string { return setFirstNonZero(&f.sensitivity[1], v) }},
	{0x8833, "ISOSpeed", func(f *facts, v ifd.Value) string { return setFirstNonZero(&f.sensitivity[2], v) }},
	{0x9000, "ExifVersion", func(f *facts, v ifd.Value) string { return f.setName(&f.m.ExifVersion, v) }},
	{0x9003, "DateTimeOriginal", func(f *facts, v ifd.Value) string { return f.setDate(0, v) }},
	{0x9004, "DateTimeDigitized", func(f *facts, v ifd.Value) string { return f.setDate(1, v) }},
	{0x9010, "OffsetTime", func(f *facts, v ifd.Value) string { return setText(&f.captured.offset[2], v) }},
	{0x9011, "OffsetTimeOriginal", func(f *facts, v ifd.Value) string { return setText(&f.captured.offset[0], v) }},
	{0x9012, "OffsetTimeDigitized", func(f *facts, v ifd.Value) string { return setText(&f.captured.offset[1], v) }},
	{0x9204, "ExposureBiasValue", func(f *facts, v ifd.Value) string { return setBias(&f.m.ExposureBias, v) }},
	{0x9205, "MaxApertureValue", func(f *facts, v ifd.Value) string { return setQuotient(&f.m.MaxApertureValue, v) }},
	{0x9206, "SubjectDistance", func(f *facts, v ifd.Value) string { return setDistance(&f.m.SubjectDistance, v) }},
	{0x9207, "MeteringMode", func(f *facts, v ifd.Value) string { return setKnown(&f.m.MeteringMode, v, 255) }},
	{0x9208, "LightSource", func(f *facts, v ifd.Value) string { return setKnown(&f.m.LightSource, v, 255) }},
	{0x9209, "Flash", func(f *facts, v ifd.Value) string { return setNumber(&f.m.Flash, v, 0, math.MaxUint16) }},
	{0x920A, "FocalLength", func(f *facts, v ifd.Value) string { return setPositive(&f.m.FocalLength, v) }},
	{0x9211, "ImageNumber", func(f *facts, v ifd.Value) string { return setNumber(&f.m.ImageNumber, v, 0, math.MaxUint32) }},
	{0x9290, "SubSecTime", func(f *facts, v ifd.Value) string { return setText(&f.captured.subsec[2], v) }},
	{0x9291, "SubSecTimeOriginal", func(f *facts, v ifd.Value) string { return setText(&f.captured.subsec[0], v) }},
	{0x9292, "SubSecTimeDigitized", func(f *facts, v ifd.Value) string { return setText(&f.captured.subsec[1], v) }},
	{0xA002, "PixelXDimension", func(f *facts, v ifd.Value) string { return setFirstNonZero(&f.m.PixelXDimension, v) }},
	{0xA003, "PixelYDimension", func(f *facts, v ifd.Value) string { return setFirstNonZero(&f.m.PixelYDimension, v) }},
	{0xA20E, "FocalPlaneXResolution", func(f *facts, v ifd.Value) string { return setPositive(&f.m.FocalPlaneXResolution, v) }},
	{0xA20F, "FocalPlaneYResolution", func(f *facts, v ifd.Value) string { return setPositive(&f.m.FocalPlaneYResolution, v) }},
	{0xA210, "FocalPlaneResolutionUnit", func(f *facts, v ifd.Value) string { return setKnown(&f.m.FocalPlaneResolutionUnit, v, 5) }},
	{0xA401, "CustomRendered", func(f *facts, v ifd.Value) string { return setNumber(&f.m.CustomRendered, v, 0, 255) }},
	{0xA402, "ExposureMode", func(f *facts, v ifd.Value) string { return setNumber(&f.m.ExposureMode, v, 0, 255) }},
	{0xA403, "WhiteBalance", func(f *facts, v ifd.Value) string { return setNumber(&f.m.WhiteBalance, v, 0, 255) }},
	{0xA404, "DigitalZoomRatio", func(f *facts, v ifd.Value) string { return setZoom(&f.m.DigitalZoomRatio, v) }},
	{0xA405, "FocalLengthIn35mmFilm", func(f *facts, v ifd.Value) string { return setFirstNonZero(&f.m.FocalLength35, v) }},
	{0xA406, "SceneCaptureType", func(f *facts, v ifd.Value) string { return setNumber(&f.m.SceneCaptureType, v, 0, 255) }},
	{0xA40C, "SubjectDistanceRange", func(f *facts, v ifd.Value) string { return setKnown(&f.m.SubjectDistanceRange, v, 255) }},
	{0xA431, "BodySerialNumber", func(f *facts, v ifd.Value) string { return f.setSerial(&f.m.BodySerial, v) }},
	{0xA432, "LensSpecification", func(f *facts, v ifd.Value) string { return setLens(&f.m.LensSpecification, v) }},
	{0xA433, "LensMake", func(f *facts, v ifd.Value) string { return f.setName(&f.m.LensMake, v) }},
	{0xA434, "LensModel", func(f *facts, v ifd.Value) string { return f.setName(&f.m.LensModel, v) }},
	{0xA435, "LensSerialNumber", func(f *facts, v ifd.Value) string { return f.setSerial(&f.m.LensSerial, v) }},
	{0xA460, "CompositeImage", func(f *facts, v ifd.Value) string { return setKnown(&f.m.CompositeImage, v, 255) }},
	{0xA461, "SourceImageNumberOfCompositeImage", func(f *facts, v ifd.Value) string { return setSources(&f.m.CompositeSources, v) }},
	{0xC612, "DNGVersion", func(f *facts, _ ifd.Value) string { f.dngVersion = true; return "" }},
	{0xC62F, "CameraSerialNumber", func(f *facts, v ifd.Value) string { return f.setSerial(&f.m.BodySerial, v) }},
	{0xC630, "LensInfo", func(f *facts, v ifd.Value) string { return setLens(&f.m.LensSpecification, v) }},
}

// places holds, for each number, one more than the place of its tag: each entry of
// each directory is asked for.
var places = func() *[math.MaxUint16 + 1]uint8 {
	p := new([math.MaxUint16 + 1]uint8)
	for i := range tags {
		p[tags[i].number] = uint8(i + 1)
	}
	return p
}()

// find returns the tag of that number, or nil where it means nothing here.
func find(number uint16) *tag {
	if i := places[number]; i > 0 {
		return &tags[i-1]
	}
	return nil
}

func wanted(number uint16) bool { return find(number) != nil }

// TagName returns the standard's name of a tag, or "" where it is not read.
func TagName(number uint16) string {
	if t := find(number); t != nil {
		return t.name
	}
	return ""
}
