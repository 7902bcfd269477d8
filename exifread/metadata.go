// Package exifread reads what a camera recorded with a frame: one file in, one
// Metadata out, with a list of what could not be read.
//
// Tags go by the names of CIPA DC-008 (Exif). Files are recognised by their
// content. Only headers and directories are read, through an io.ReaderAt, and
// originals are opened read-only.
package exifread

import "time"

// Metadata is what one file records of itself. Fields hold what the file
// recorded; whatever is derived from it has a method.
type Metadata struct {
	Format Format // what the content is; FormatUnknown where nothing was recognised
	Size   int64  // file size, bytes
	// Modified is the modification time that the file system keeps, which
	// ReadFile fills in; zero where not known. Cards keep it in local time, to 2 s.
	Modified time.Time

	// HasExif is true where an Exif (or raw TIFF) directory was found and at
	// least one value could be read from it.
	HasExif     bool
	ExifVersion Value[string] // as recorded, for example "0232"

	Make, Model                     Value[string]
	BodySerial                      Value[string] // BodySerialNumber
	LensMake, LensModel, LensSerial Value[string]
	LensSpecification               Value[LensSpecification]

	ExposureTime     Value[Rational] // seconds, more than 0
	FNumber          Value[Rational] // more than 0
	MaxApertureValue Value[Rational] // APEX value of the smallest f-number
	// Sensitivity is PhotographicSensitivity, or where that saturates at
	// 65535 the fitting one of the 32-bit tags 0x8831 to 0x8833.
	Sensitivity     Value[uint32]
	SensitivityType Value[SensitivityType]
	FocalLength     Value[Rational] // mm, more than 0
	FocalLength35   Value[uint32]   // FocalLengthIn35mmFilm, mm, more than 0
	ExposureProgram Value[ExposureProgram]
	ExposureMode    Value[ExposureMode]
	ExposureBias    Value[Rational] // ExposureBiasValue, EV
	MeteringMode    Value[uint16]   // as numbered by CIPA DC-008
	Flash           Value[Flash]
	LightSource     Value[uint16] // as numbered by CIPA DC-008
	WhiteBalance    Value[WhiteBalance]
	// DigitalZoomRatio is 1 where the zoom was not used, and more where the
	// picture was cut out and made larger.
	DigitalZoomRatio Value[Rational]
	SceneCaptureType Value[uint16] // as numbered by CIPA DC-008: 0 standard
	CustomRendered   Value[uint16] // as numbered by CIPA DC-008: 0 normal processing
	SubjectDistance  Value[Distance]
	// SubjectDistanceRange is 1 macro, 2 close, 3 distant.
	SubjectDistanceRange Value[uint16]
	Captured             Value[Timestamp] // DateTimeOriginal with its sub-seconds and offset

	Orientation   Value[uint16] // 1 to 8
	Width, Height Value[uint32] // pixels of the main image as stored, before Orientation
	// PixelXDimension and PixelYDimension are what Exif records of that size. Where
	// they differ from Width and Height, the picture was changed after it was made.
	PixelXDimension, PixelYDimension Value[uint32]

	// FocalPlaneXResolution is pixels per FocalPlaneResolutionUnit. Some bodies
	// mean those of the picture, some those of the whole sensor, also where the
	// picture is smaller.
	FocalPlaneXResolution Value[Rational]
	FocalPlaneYResolution Value[Rational]
	// FocalPlaneResolutionUnit is 2 inch, 3 cm; 4 mm and 5 µm are met in the
	// wild. Where absent the standard's default is 2.
	FocalPlaneResolutionUnit Value[uint16]

	ImageNumber Value[uint32]
	// CompositeImage is 1 for a picture of one exposure, 2 for one put together of
	// several, 3 for one that the body put together while it was shot.
	CompositeImage   Value[uint16]
	CompositeSources Value[CompositeSources]
	Software         Value[string] // what wrote the file last: the body, or a program

	Previews []Preview // every embedded JPEG picture, largest first

	// Integrity is what the structure shows of the image data.
	Integrity Integrity
	// Problems lists what could not be read; the values around it are kept.
	Problems []Problem
}

// A Format is a kind of file, recognised by content.
type Format uint8

// The formats that are read. Raw formats that are plain TIFF and cannot be
// distinguished by content count as FormatTIFF unless their tags show more.
const (
	FormatUnknown Format = iota
	FormatJPEG
	FormatTIFF
	FormatBigTIFF
	FormatDNG
	FormatNEF
	FormatARW
	FormatCR2
	FormatPEF
	FormatSRW
	FormatTIFFRaw // another raw built on TIFF
	FormatORF
	FormatRW2
	FormatRAF
	FormatCR3 // ISO base media, brand "crx "
	FormatHEIF
	FormatAVIF
	FormatPNG
	FormatWebP
	FormatJXL
)

// String names the format by its usual extension, in capitals.
func (f Format) String() string { return formatNames[f] }

// Raw reports whether the format holds sensor data rather than a finished picture.
func (f Format) Raw() bool { return f >= FormatDNG && f <= FormatCR3 }

var formatNames = [...]string{
	FormatUnknown: "unknown", FormatJPEG: "JPEG", FormatTIFF: "TIFF", FormatBigTIFF: "BigTIFF",
	FormatDNG: "DNG", FormatNEF: "NEF", FormatARW: "ARW", FormatCR2: "CR2", FormatPEF: "PEF", FormatSRW: "SRW",
	FormatTIFFRaw: "TIFF raw", FormatORF: "ORF", FormatRW2: "RW2", FormatRAF: "RAF", FormatCR3: "CR3",
	FormatHEIF: "HEIF", FormatAVIF: "AVIF", FormatPNG: "PNG", FormatWebP: "WebP", FormatJXL: "JPEG XL",
}

// A Timestamp is the wall clock of the body when the frame was made.
type Timestamp struct {
	Wall       time.Time            // the clock's reading, in UTC whatever its zone; sub-seconds included
	Resolution time.Duration        // 1 s without sub-seconds, else the last digit's worth
	Offset     Value[time.Duration] // OffsetTimeOriginal: wall clock minus UTC
}

// LensSpecification is the tag of that name: focal lengths in mm and the
// smallest f-number at each. An unknown (0/0) part is not recorded.
type LensSpecification struct {
	MinFocal, MaxFocal                     Value[float64]
	MinFNumberMinFocal, MinFNumberMaxFocal Value[float64]
}

// CompositeSources is SourceImageNumberOfCompositeImage: how many pictures a
// composite one was made of. An unknown (0) part is not recorded.
type CompositeSources struct{ Taken, Used Value[uint16] }

// A SensitivityType is which ISO 12232 quantity Sensitivity is: 1 standard
// output sensitivity, 2 recommended exposure index, 3 ISO speed, 4 to 7
// combinations of them (CIPA DC-008, tag 0x8830).
type SensitivityType uint16

// An ExposureProgram is numbered as in CIPA DC-008, tag 0x8822.
type ExposureProgram uint16

// The programs that rules ask for.
const (
	ProgramManual           ExposureProgram = 1
	ProgramNormal           ExposureProgram = 2
	ProgramAperturePriority ExposureProgram = 3
	ProgramShutterPriority  ExposureProgram = 4
)

// An ExposureMode is numbered as in CIPA DC-008, tag 0xA402.
type ExposureMode uint16

// The exposure modes.
const (
	ExposureAuto    ExposureMode = 0
	ExposureManual  ExposureMode = 1
	ExposureBracket ExposureMode = 2
)

// A WhiteBalance is numbered as in CIPA DC-008, tag 0xA403.
type WhiteBalance uint16

// The white balance modes.
const (
	WhiteBalanceAuto   WhiteBalance = 0
	WhiteBalanceManual WhiteBalance = 1
)

// A Flash is the bit field of CIPA DC-008, tag 0x9209.
type Flash uint16

// A FlashMode is how the body was set to use its flash.
type FlashMode uint8

// The modes (CIPA DC-008, tag 0x9209, bits 3 and 4).
const (
	FlashModeUnknown    FlashMode = iota
	FlashModeCompulsory           // fires at every frame
	FlashModeSuppressed           // never fires
	FlashModeAuto
)

// Mode returns how the body was set to use its flash.
func (f Flash) Mode() FlashMode { return FlashMode(f >> 3 & 3) }

// Absent reports whether the body has no flash of its own and saw no other.
func (f Flash) Absent() bool { return f&0x20 != 0 }

// Fired reports whether the flash fired, as far as the body knew: an
// studio flash that seems not to have fired can still have lit the frame.
func (f Flash) Fired() bool { return f&1 != 0 }

// A Distance is a SubjectDistance as recorded.
type Distance struct {
	State  DistanceState
	Metres float64 // where State is DistanceMetres
}

// A DistanceState is what a SubjectDistance holds.
type DistanceState uint8

// The standard reserves 0 for unknown and a numerator of FFFFFFFF for infinity.
const (
	DistanceUnknown DistanceState = iota
	DistanceInfinity
	DistanceMetres
)

// A Preview is the place of an embedded JPEG picture.
type Preview struct {
	Offset, Length int64 // bytes from the start of the file
	Width, Height  int   // pixels; 0 where the file does not record it
}

// Integrity is what a file's structure shows of its image data, without
// decoding it.
type Integrity struct {
	State  IntegrityState
	Reason string // what was seen, where State is not IntegrityWhole
}

// An IntegrityState is the outcome of the check of the image data.
type IntegrityState uint8

const (
	IntegrityUnchecked IntegrityState = iota // nothing in the format shows it
	IntegrityWhole                           // all image data lies inside the file and ends where it should
	IntegrityTorn                            // image data ends early
)

// A Problem is one thing that could not be read.
type Problem struct {
	Where  string // the directory or box, for example "Exif IFD"
	Tag    uint16 // the tag where it is one entry, else 0
	Offset int64  // bytes from the start of the file
	What   string // what is wrong, in plain words
}
