package audittest

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"path"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"prestrike/audit/shoot"
	"prestrike/exifread"
)

// line is what a frame line states or inherits.
type line struct {
	meta       exifread.Metadata
	every      time.Duration
	jitter     float64
	resolution time.Duration
	offset     exifread.Value[time.Duration]
	timed      bool // time= is on this line or above
	dead       bool // every counts from the end of the exposure
	bytes      int64
	bytesTo    int64 // sizes lie between bytes and bytesTo; 0 where all are alike
	jpegWidth  exifread.Value[uint32]
	jpegHeight exifread.Value[uint32]
	modified   func(written time.Time) time.Time

	// for one line only
	cycles                 map[string][]string
	count                  int // frames of names without numbers
	reversed               bool
	copyOf                 string
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
	l.cycles, l.count, l.reversed, l.copyOf = map[string][]string{}, 0, false, ""
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

// set takes one word or pair of a frame line.
//
// whole: each key is one case, read by itself; there is one list of keys to keep.
func (l *line) set(key, value string) (err error) {
	if values := strings.Split(value, ","); len(values) > 1 && slices.Contains([]string{"t", "f", "iso", "bias", "flash"}, key) {
		for _, v := range values {
			err = errors.Join(err, l.set(key, v))
		}
		l.cycles[key] = values
		return errors.Join(err, l.set(key, values[0]))
	}
	m := &l.meta
	switch key {
	case "every", "dead":
		l.every, err = time.ParseDuration(value)
		l.dead = key == "dead"
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
		m.Width, m.Height, err = dimensions(value)
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
	case "lensspec":
		m.LensSpecification, err = lensSpecification(value)
	case "composite":
		m.CompositeImage, err = number[uint16](value)
	case "jpegsize":
		l.jpegWidth, l.jpegHeight, err = dimensions(value)
	case "modified":
		err = l.setModified(value)
	case "frames":
		l.count, err = strconv.Atoi(value)
	case "reversed":
		l.reversed = true
	case "copyof":
		l.copyOf = value
	case "widest":
		m.LensSpecification = exifread.Value[exifread.LensSpecification]{}
		if value != "-" {
			var n float64
			n, err = strconv.ParseFloat(value, 64)
			m.LensSpecification = exifread.Of(exifread.LensSpecification{MinFNumberMinFocal: exifread.Of(n)})
		}
	case "bytes":
		from, to, _ := strings.Cut(value, "..")
		l.bytes, err = strconv.ParseInt(from, 10, 64)
		l.bytesTo = 0
		if to != "" && err == nil {
			l.bytesTo, err = strconv.ParseInt(to, 10, 64)
		}
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

// lensForm is a lens as lens barrels are marked: 24-70/2.8-4. A value that a lens
// does not record is left out: "60-60/-".
var lensForm = regexp.MustCompile(`^([\d.]*)-([\d.]*)/([\d.]*)-([\d.]*)$`)

func lensSpecification(value string) (exifread.Value[exifread.LensSpecification], error) {
	if value == "-" {
		return exifread.Value[exifread.LensSpecification]{}, nil
	}
	part := lensForm.FindStringSubmatch(value)
	if part == nil {
		return exifread.Value[exifread.LensSpecification]{}, errors.New("write a lens as 24-70/2.8-4")
	}
	var spec exifread.LensSpecification
	var errs []error
	for i, to := range []*exifread.Value[float64]{&spec.MinFocal, &spec.MaxFocal, &spec.MinFNumberMinFocal, &spec.MinFNumberMaxFocal} {
		if part[i+1] == "" {
			continue
		}
		var err error
		*to, err = of(strconv.ParseFloat(part[i+1], 64))
		errs = append(errs, err)
	}
	return exifread.Of(spec), errors.Join(errs...)
}

// cardClock is the step of the times that a memory card's file system keeps.
const cardClock = 2 * time.Second

// setModified reads how files come by their modification times.
func (l *line) setModified(value string) error {
	if value == "-" {
		l.modified = nil
		return nil
	}
	if later, ok := strings.CutPrefix(value, "kept"); ok {
		var d time.Duration
		var err error
		if later != "" {
			d, err = time.ParseDuration(later)
		}
		l.modified = func(written time.Time) time.Time { return written.Add(d).Truncate(cardClock) }
		return err
	}
	copied, err := time.Parse(time.RFC3339, value)
	l.modified = func(time.Time) time.Time { return copied }
	return err
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

// dimensions reads a width and a height: 8256x5504.
func dimensions(value string) (width, height exifread.Value[uint32], err error) {
	w, h, _ := strings.Cut(value, "x")
	if value == "-" {
		w, h = "-", "-"
	}
	width, errW := number[uint32](w)
	height, errH := number[uint32](h)
	return width, height, errors.Join(errW, errH)
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
func (p *parser) frames() error {
	l := &p.line
	if !l.timed && !l.untimed && !l.noexif && l.unreadable == "" && l.copyOf == "" {
		return errors.New("no time= here or above")
	}
	if l.count > 0 && l.digits > 0 {
		return errors.New("frames= is for names without a run of numbers")
	}
	if l.copyOf != "" {
		return p.copies()
	}
	random := rand.New(rand.NewPCG(1, p.seed))
	count := max(l.last-l.first+1, l.count)
	inherited := l.meta
	defer func() { l.meta = inherited }()
	for i := range count {
		l.meta = inherited
		for key, values := range l.cycles {
			if err := l.set(key, values[i%len(values)]); err != nil {
				return err
			}
		}
		switch start, ok := l.start.Get(); {
		case ok && i == 0:
			p.last = start
		default:
			step := l.every
			if l.dead {
				step += p.exposed
			}
			if after, ok := l.after.Get(); ok && i == 0 {
				step = after
			}
			scatter := min(max(random.NormFloat64(), -3), 3) * l.jitter
			p.last = p.last.Add(step + time.Duration(scatter*float64(step)))
		}
		p.exposed = time.Duration(l.meta.ExposureTime.Or(exifread.Rational{Den: 1}).Float() * float64(time.Second))
		if to, ok := l.distanceTo.Get(); ok && count > 1 {
			from := l.meta.SubjectDistance.Or(exifread.Distance{}).Metres
			l.meta.SubjectDistance = metres(from + (to-from)*float64(i)/float64(count-1))
		}
		n := l.first + i
		if l.reversed {
			n = l.last - i
		}
		p.add(n, random)
	}
	return nil
}

// copies adds what holds the same bytes as files above, beginning with copyof,
// under the names of the line. No time passes.
func (p *parser) copies() error {
	l := &p.line
	from := slices.IndexFunc(p.text.Files, func(f *shoot.File) bool { return f.Path == l.copyOf })
	if from < 0 {
		return fmt.Errorf("copyof: %q does not stand above", l.copyOf)
	}
	above := len(p.text.Files)
	for i := range max(l.last-l.first+1, l.count) {
		for _, ending := range l.endings {
			if from == above {
				return errors.New("copyof: so many files do not stand above")
			}
			f := *p.text.Files[from]
			meta := *f.Meta
			f.Meta = &meta
			from++
			f.Path = path.Join(l.folder, l.stem(l.first+i, p.last)+"."+ending)
			f.Abs = f.Path
			p.text.Files = append(p.text.Files, &f)
		}
	}
	return nil
}

// stem returns the name of a frame without its ending: with its number, and
// with the time in place of a layout between braces.
func (l *line) stem(n int, at time.Time) string {
	stem := l.before
	if l.digits > 0 {
		stem += fmt.Sprintf("%0*d", l.digits, n) + l.behind
	}
	if before, rest, ok := strings.Cut(stem, "{"); ok {
		layout, behind, _ := strings.Cut(rest, "}")
		stem = before + strings.ReplaceAll(at.Format(layout), ",", "") + behind
	}
	return stem
}

func (p *parser) add(n int, random *rand.Rand) {
	l := &p.line
	for _, ending := range l.endings {
		name := path.Join(l.folder, l.stem(n, p.last)+"."+ending)
		format := formats[strings.ToLower(ending)]
		size := l.bytes
		switch {
		case l.bytesTo > 0:
			size += random.Int64N(l.bytesTo - l.bytes + 1)
		case size == 0 && format.Raw():
			size = 45e6
		case size == 0:
			size = 8e6
		}
		file := &shoot.File{Path: name, Abs: name, Size: size, Meta: &exifread.Metadata{}}
		p.text.Files = append(p.text.Files, file)
		switch {
		case l.unreadable != "":
			file.Err = errors.New(l.unreadable)
		case l.noexif:
			file.Meta.Width, file.Meta.Height = l.meta.Width, l.meta.Height
		default:
			*file.Meta = l.meta
			file.Meta.HasExif = true
			if !l.untimed {
				file.Meta.Captured = exifread.Of(exifread.Timestamp{
					Wall: p.last.Truncate(l.resolution), Resolution: l.resolution, Offset: l.offset,
				})
			}
		}
		file.Meta.Size = size
		if l.modified != nil {
			file.Meta.Modified = l.modified(p.last.Add(p.exposed - l.offset.Or(0)))
		}
		if l.unreadable != "" {
			continue
		}
		if l.jpegWidth.Known() && !format.Raw() {
			file.Meta.Width, file.Meta.Height = l.jpegWidth, l.jpegHeight
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
