package audittest

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"path"
	"regexp"
	"strconv"
	"strings"
	"time"

	"prestrike/audit/shoot"
	"prestrike/exifread"
)

// line is what a frame line says or inherits.
type line struct {
	meta       exifread.Metadata
	every      time.Duration
	jitter     float64
	resolution time.Duration
	offset     exifread.Value[time.Duration]
	timed      bool // a time= stands above
	bytes      int64

	// for one line only
	after                  exifread.Value[time.Duration]
	start                  exifread.Value[time.Time]
	untimed                bool
	noexif                 bool
	unchecked              bool
	unreadable, torn       string
	distanceTo             exifread.Value[float64]
	first, last            int
	digits                 int
	before, behind, folder string
	endings                []string
}

func newLine() line {
	l := line{every: time.Second}
	l.meta.Make = exifread.Of("Borealis")
	l.meta.Model = exifread.Of("BX-1")
	l.meta.ExifVersion = exifread.Of("0232")
	l.meta.Orientation = exifread.Of(uint16(1))
	l.meta.Width, l.meta.Height = exifread.Of(uint32(8256)), exifread.Of(uint32(5504))
	return l
}

// forget drops what holds for one line only.
func (l *line) forget() {
	l.after, l.start, l.untimed = exifread.Value[time.Duration]{}, exifread.Value[time.Time]{}, false
	l.noexif, l.unchecked, l.unreadable, l.torn = false, false, "", ""
	if d, ok := l.distanceTo.Get(); ok {
		l.meta.SubjectDistance = metres(d)
	}
	l.distanceTo = exifread.Value[float64]{}
}

// path reads a path, whose name may hold a run of numbers and several endings.
func (l *line) path(p string) error {
	l.folder = path.Dir(p)
	base := path.Base(p)
	stem, endings, _ := strings.Cut(base, ".")
	l.first, l.last, l.digits = 0, 0, 0
	l.before, l.behind = stem, ""
	if before, rest, ok := strings.Cut(base, ".."); ok {
		from := len(before)
		for from > 0 && isDigit(before[from-1]) {
			from--
		}
		to := 0
		for to < len(rest) && isDigit(rest[to]) {
			to++
		}
		first, err1 := strconv.Atoi(before[from:])
		last, err2 := strconv.Atoi(rest[:to])
		if err1 != nil || err2 != nil || last < first {
			return fmt.Errorf("%q: no run of numbers", base)
		}
		l.first, l.last, l.digits, l.before = first, last, len(before)-from, before[:from]
		l.behind, endings, _ = strings.Cut(rest[to:], ".")
	}
	l.endings = strings.Split(endings, "+")
	return nil
}

func isDigit(c byte) bool { return c >= '0' && c <= '9' }

func (l *line) set(key, value string) (err error) {
	m := &l.meta
	switch key {
	case "every":
		l.every, err = time.ParseDuration(value)
	case "after":
		l.after, err = of(time.ParseDuration(value))
	case "jitter":
		var percent float64
		percent, err = strconv.ParseFloat(strings.TrimSuffix(value, "%"), 64)
		l.jitter = percent / 100
	case "time":
		err = l.setTime(value)
	case "t":
		m.ExposureTime, err = rational(value)
	case "f":
		m.FNumber, err = rational(value)
	case "mm":
		m.FocalLength, err = rational(value)
	case "bias":
		m.ExposureBias, err = rational(value)
	case "iso":
		m.Sensitivity, err = number[uint32](value)
	case "isotype":
		m.SensitivityType, err = number[exifread.SensitivityType](value)
	case "mm35":
		m.FocalLength35, err = number[uint32](value)
	case "orient":
		m.Orientation, err = number[uint16](value)
	case "make":
		m.Make = word(value)
	case "body":
		m.Model = word(value)
	case "serial":
		m.BodySerial = word(value)
	case "lens":
		m.LensModel = word(value)
	case "lensserial":
		m.LensSerial = word(value)
	case "wb":
		m.WhiteBalance, err = named(value, map[string]exifread.WhiteBalance{
			"auto": exifread.WhiteBalanceAuto, "manual": exifread.WhiteBalanceManual,
		})
	case "program":
		m.ExposureProgram, err = named(value, map[string]exifread.ExposureProgram{
			"manual": exifread.ProgramManual, "normal": exifread.ProgramNormal,
			"aperture": exifread.ProgramAperturePriority, "shutter": exifread.ProgramShutterPriority,
		})
	case "mode":
		m.ExposureMode, err = named(value, map[string]exifread.ExposureMode{
			"auto": exifread.ExposureAuto, "manual": exifread.ExposureManual, "bracket": exifread.ExposureBracket,
		})
	case "flash":
		m.Flash, err = named(value, map[string]exifread.Flash{"fired": 1, "off": 0})
	case "size":
		w, h, _ := strings.Cut(value, "x")
		if value == "-" {
			w, h = "-", "-"
		}
		var errH error
		m.Width, err = number[uint32](w)
		m.Height, errH = number[uint32](h)
		err = errors.Join(err, errH)
	case "dist":
		err = l.setDistance(value)
	case "plane":
		x, y, _ := strings.Cut(value, "x")
		if value == "-" {
			x, y = "-", "-"
		}
		var errY error
		m.FocalPlaneXResolution, err = rational(x)
		m.FocalPlaneYResolution, errY = rational(y)
		m.FocalPlaneResolutionUnit = exifread.Of[uint16](3)
		err = errors.Join(err, errY)
	case "widest":
		m.LensSpecification = exifread.Value[exifread.LensSpecification]{}
		if value != "-" {
			var n float64
			n, err = strconv.ParseFloat(value, 64)
			m.LensSpecification = exifread.Of(exifread.LensSpecification{MinFNumberMinFocal: exifread.Of(n)})
		}
	case "bytes":
		l.bytes, err = strconv.ParseInt(value, 10, 64)
	case "unreadable":
		l.unreadable = value
	case "torn":
		l.torn = value
	case "unchecked":
		l.unchecked = true
	case "noexif":
		l.noexif = true
	default:
		err = errors.New("no such key")
	}
	return err
}

var timeForm = regexp.MustCompile(`^(\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d)(?:\.(\d{1,9}))?(Z|[+-]\d\d:\d\d)?$`)

func (l *line) setTime(value string) error {
	if value == "-" {
		l.untimed = true
		return nil
	}
	part := timeForm.FindStringSubmatch(value)
	if part == nil {
		return errors.New("write a time as 2026-03-04T10:11:12.34+01:00, without what the camera does not record")
	}
	start, err := time.Parse("2006-01-02T15:04:05", part[1])
	if err != nil {
		return err
	}
	l.resolution = time.Second
	for range part[2] {
		l.resolution /= 10
	}
	if part[2] != "" {
		digits, err := strconv.Atoi(part[2])
		if err != nil {
			return err
		}
		start = start.Add(time.Duration(digits) * l.resolution)
	}
	l.offset = exifread.Value[time.Duration]{}
	if part[3] != "" {
		zone, err := time.Parse("Z07:00", part[3])
		if err != nil {
			return err
		}
		_, seconds := zone.Zone()
		l.offset = exifread.Of(time.Duration(seconds) * time.Second)
	}
	l.start, l.timed = exifread.Of(start), true
	return nil
}

func (l *line) setDistance(value string) error {
	switch value {
	case "-":
		l.meta.SubjectDistance = exifread.Value[exifread.Distance]{}
		return nil
	case "unknown":
		l.meta.SubjectDistance = exifread.Of(exifread.Distance{State: exifread.DistanceUnknown})
		return nil
	case "inf":
		l.meta.SubjectDistance = exifread.Of(exifread.Distance{State: exifread.DistanceInfinity})
		return nil
	}
	from, to, walks := strings.Cut(value, "..")
	d, err := strconv.ParseFloat(from, 64)
	if err != nil {
		return err
	}
	l.meta.SubjectDistance = metres(d)
	if walks {
		l.distanceTo, err = of(strconv.ParseFloat(to, 64))
	}
	return err
}

func metres(d float64) exifread.Value[exifread.Distance] {
	return exifread.Of(exifread.Distance{State: exifread.DistanceMetres, Metres: d})
}

func of[T any](v T, err error) (exifread.Value[T], error) { return exifread.Of(v), err }

func word(s string) exifread.Value[string] {
	if s == "-" {
		return exifread.Value[string]{}
	}
	return exifread.Of(s)
}

func number[T uint16 | uint32 | exifread.SensitivityType](s string) (exifread.Value[T], error) {
	if s == "-" {
		return exifread.Value[T]{}, nil
	}
	n, err := strconv.ParseUint(s, 10, 32)
	return exifread.Of(T(n)), err
}

func named[T ~uint16](s string, names map[string]T) (exifread.Value[T], error) {
	if s == "-" {
		return exifread.Value[T]{}, nil
	}
	if v, ok := names[s]; ok {
		return exifread.Of(v), nil
	}
	n, err := strconv.ParseUint(s, 10, 16)
	return exifread.Of(T(n)), err
}

// rational reads a fraction, or a decimal as tenths, hundredths, ... of one.
func rational(s string) (exifread.Value[exifread.Rational], error) {
	if s == "-" {
		return exifread.Value[exifread.Rational]{}, nil
	}
	numerator, denominator, fraction := strings.Cut(s, "/")
	r := exifread.Rational{Den: 1}
	var err error
	if fraction {
		r.Num, err = strconv.ParseInt(numerator, 10, 32)
		if err == nil {
			r.Den, err = strconv.ParseInt(denominator, 10, 32)
		}
		return exifread.Of(r), err
	}
	whole, decimals, _ := strings.Cut(s, ".")
	for range decimals {
		r.Den *= 10
	}
	r.Num, err = strconv.ParseInt(whole+decimals, 10, 64)
	return exifread.Of(r), err
}

// frames adds the files of the line that was read last.
func (p *parser) frames(lineNumber int) error {
	l := &p.line
	if !l.timed && !l.untimed && !l.noexif && l.unreadable == "" {
		return errors.New("no time= here or above")
	}
	random := rand.New(rand.NewPCG(1, uint64(lineNumber)))
	for n := l.first; n <= l.last; n++ {
		switch start, ok := l.start.Get(); {
		case ok && n == l.first:
			p.last = start
		default:
			step := l.every
			if after, ok := l.after.Get(); ok && n == l.first {
				step = after
			}
			scatter := min(max(random.NormFloat64(), -3), 3) * l.jitter
			p.last = p.last.Add(step + time.Duration(scatter*float64(step)))
		}
		if to, ok := l.distanceTo.Get(); ok && l.last > l.first {
			from := l.meta.SubjectDistance.Or(exifread.Distance{}).Metres
			share := float64(n-l.first) / float64(l.last-l.first)
			p.add(n, metres(from+(to-from)*share))
			continue
		}
		p.add(n, l.meta.SubjectDistance)
	}
	return nil
}

func (p *parser) add(n int, distance exifread.Value[exifread.Distance]) {
	l := &p.line
	stem := l.before
	if l.digits > 0 {
		stem += fmt.Sprintf("%0*d", l.digits, n) + l.behind
	}
	for _, ending := range l.endings {
		name := path.Join(l.folder, stem+"."+ending)
		format := formats[strings.ToLower(ending)]
		size := l.bytes
		if size == 0 {
			size = 8e6
			if format.Raw() {
				size = 45e6
			}
		}
		file := &shoot.File{Path: name, Abs: name, Size: size, Meta: &exifread.Metadata{Size: size}}
		p.text.Files = append(p.text.Files, file)
		if l.unreadable != "" {
			file.Err = errors.New(l.unreadable)
			continue
		}
		if l.noexif {
			file.Meta.Width, file.Meta.Height = l.meta.Width, l.meta.Height
		} else {
			*file.Meta = l.meta
			file.Meta.Size, file.Meta.HasExif = size, true
			file.Meta.SubjectDistance = distance
			if !l.untimed {
				file.Meta.Captured = exifread.Of(exifread.Timestamp{
					Wall: p.last.Truncate(l.resolution), Resolution: l.resolution, Offset: l.offset,
				})
			}
		}
		file.Meta.Format = format
		switch {
		case l.torn != "":
			file.Meta.Integrity = exifread.Integrity{State: exifread.IntegrityTorn, Reason: l.torn}
		case !l.unchecked:
			file.Meta.Integrity.State = exifread.IntegrityWhole
		}
	}
}

var formats = map[string]exifread.Format{
	"jpg": exifread.FormatJPEG, "jpeg": exifread.FormatJPEG, "tif": exifread.FormatTIFF, "dng": exifread.FormatDNG,
	"nef": exifread.FormatNEF, "arw": exifread.FormatARW, "cr2": exifread.FormatCR2, "pef": exifread.FormatPEF,
	"srw": exifread.FormatSRW, "orf": exifread.FormatORF, "rw2": exifread.FormatRW2, "raf": exifread.FormatRAF,
	"cr3": exifread.FormatCR3, "hif": exifread.FormatHEIF, "heic": exifread.FormatHEIF, "avif": exifread.FormatAVIF,
	"png": exifread.FormatPNG, "webp": exifread.FormatWebP, "jxl": exifread.FormatJXL,
}
