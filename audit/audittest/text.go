// Package audittest writes capture sessions as text, for tests: a line per
// frame or per run of frames, and the findings wanted.
//
//	## A focus sequence of 50 frames that lost numbers 0020 and 0021.
//	# want missing-frame reshoot 0019-0022
//	DCIM/100BXCAM/BX1_0001..0019.NEF every 1.3s time=2026-03-04T10:11:12.34+01:00 t=0.8 f=8 iso=100 mm=90
//	DCIM/100BXCAM/BX1_0022..0050.NEF after 3.9s
//
// A frame line is a path, then words and key=value pairs. Two numbers joined by
// two dots in the path make a run of frames, the endings joined by + a pair
// ("BX1_0001..0050.NEF+JPG"). What a line does not say is inherited from the
// line above; "-" takes a value away. The words and keys are:
//
//	every D       time from each frame to the next
//	after D       time from the last frame above to the first of this line;
//	              without it, and without time=, the frames run on
//	jitter P%     scatter of every single step, the same at each reading
//	time=T        of the first frame; the digits of its seconds give the clock's
//	              resolution; "-" holds for this line only, while time goes on
//	t= f= iso= isotype= mm= mm35=      exposure time, f-number, ...: decimals or fractions
//	make= body= serial=                Make, Model, BodySerialNumber
//	lens= lensserial=                  LensModel, LensSerialNumber
//	wb=           auto or manual
//	program=      manual, normal, aperture, shutter or a number
//	mode=         auto, manual or bracket
//	bias=         ExposureBiasValue
//	flash=        fired or off
//	orient= size=WxH
//	dist=         SubjectDistance: metres, inf or unknown; a..b walks through the line
//	plane=        FocalPlaneXResolution and FocalPlaneYResolution, pixels to the cm: 2293x2293
//	widest=       smallest f-number of LensSpecification
//	bytes=        size of each file
//	unreadable="reason" torn="reason" unchecked noexif    hold for this line only
//
// Lines that begin with ## are comments, those with a single # say how the
// session is to be audited and what is wanted:
//
//	# planned 50
//	# support handheld
//	# param iso-drift tolerance 0.5
//	# magnification 0.5
//	# field-width 36                      mm
//	# light mains50
//	# body BX-1 width=36 pixels=8256 f-numbers=effective
//	# lens "Borealis 90 mm macro" closest=310 largest=1 pupil=0.8 stops=3 f-numbers=nominal
//	# want RULE SEVERITY FIRST-LAST       a finding, by its first and last frame
//	# want-not-judged RULE REASON         part of the reason is enough
//	# want-verdict reshoot                of the whole audit
package audittest

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"prestrike/audit"
	"prestrike/exifread"
)

// A Text is a session read from text.
type Text struct {
	Files   []*audit.File
	Options audit.Options // without rules
	// Wants are the findings wanted, NotJudged what must not be judged.
	Wants     []Want
	NotJudged []NotJudged
	Verdict   string // wanted; empty where the text does not say
}

// A Want is a finding wanted.
type Want struct {
	Rule, Severity, First, Last string
}

// String writes the finding as a want line does.
func (w Want) String() string {
	return fmt.Sprintf("%s %s %s-%s", w.Rule, w.Severity, w.First, w.Last)
}

// NotJudged is a rule that must say that it could not decide, and a part of
// its reason.
type NotJudged struct{ Rule, Reason string }

// ReadFile reads the session in the named file.
func ReadFile(name string) (*Text, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	t, err := Read(f)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return t, nil
}

// Read reads a session. An error names the line.
func Read(r io.Reader) (*Text, error) {
	p := parser{text: &Text{}, line: newLine()}
	s := bufio.NewScanner(r)
	for n := 1; s.Scan(); n++ {
		if err := p.read(strings.TrimSpace(s.Text()), n); err != nil {
			return nil, fmt.Errorf("line %d: %w", n, err)
		}
	}
	return p.text, s.Err()
}

type parser struct {
	text *Text
	line line
	last time.Time // of the last frame, before the clock's resolution cuts it
}

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

func (p *parser) read(text string, n int) error {
	switch {
	case text == "" || strings.HasPrefix(text, "##"):
		return nil
	case strings.HasPrefix(text, "#"):
		words, err := split(text[1:])
		if err != nil {
			return err
		}
		return p.directive(words)
	}
	words, err := split(text)
	if err != nil {
		return err
	}
	p.line.forget()
	if err := p.line.path(words[0]); err != nil {
		return err
	}
	for i := 1; i < len(words); i++ {
		word := words[i]
		key, value, pair := strings.Cut(word, "=")
		if !pair && slices.Contains([]string{"every", "after", "jitter"}, word) {
			i++
			if i == len(words) {
				return fmt.Errorf("%s needs a value", word)
			}
			key, value = word, words[i]
		}
		if err := p.line.set(key, value); err != nil {
			return fmt.Errorf("%s: %w", word, err)
		}
	}
	return p.frames(n)
}

func (p *parser) directive(words []string) error {
	if len(words) == 0 {
		return nil
	}
	opt := &p.text.Options
	switch name, args := words[0], words[1:]; {
	case name == "planned" && len(args) == 1:
		n, err := strconv.Atoi(args[0])
		opt.PlannedFrames = n
		return err
	case name == "support" && len(args) == 1:
		for s := audit.SupportAuto; s <= audit.Handheld; s++ {
			if s.String() == args[0] {
				opt.Support = s
				return nil
			}
		}
		return fmt.Errorf("%q is no support", args[0])
	case name == "param" && len(args) == 3:
		v, err := strconv.ParseFloat(args[2], 64)
		if opt.Params == nil {
			opt.Params = map[string]map[string]float64{}
		}
		if opt.Params[args[0]] == nil {
			opt.Params[args[0]] = map[string]float64{}
		}
		opt.Params[args[0]][args[1]] = v
		return err
	case name == "magnification" && len(args) == 1:
		m, err := strconv.ParseFloat(args[0], 64)
		opt.Magnification = m
		return err
	case name == "field-width" && len(args) == 1:
		w, err := strconv.ParseFloat(args[0], 64)
		opt.FieldWidth = w
		return err
	case name == "light" && len(args) == 1:
		light, err := audit.ParseLight(args[0])
		opt.Light = light
		return err
	case name == "body" && len(args) > 1:
		b := audit.BodyFacts{Model: args[0]}
		pixels := 0.0
		err := facts(args[1:], map[string]*float64{"width": &b.SensorWidth, "pixels": &pixels}, &b.FNumbers)
		b.PixelWidth = int(pixels)
		opt.Bodies = append(opt.Bodies, b)
		return err
	case name == "lens" && len(args) > 1:
		l := audit.LensFacts{Model: args[0]}
		err := facts(args[1:], map[string]*float64{
			"closest": &l.ClosestFocus, "largest": &l.LargestMagnification, "pupil": &l.PupilMagnification, "stops": &l.Stabilisation,
		}, &l.FNumbers)
		opt.Lenses = append(opt.Lenses, l)
		return err
	case name == "want" && len(args) == 3:
		w := Want{Rule: args[0], Severity: args[1], First: args[2], Last: args[2]}
		if first, last, ok := strings.Cut(args[2], "-"); ok {
			w.First, w.Last = first, last
		}
		if _, err := audit.ParseSeverity(w.Severity); err != nil {
			return err
		}
		p.text.Wants = append(p.text.Wants, w)
		return nil
	case name == "want-not-judged" && len(args) >= 2:
		p.text.NotJudged = append(p.text.NotJudged, NotJudged{args[0], strings.Join(args[1:], " ")})
		return nil
	case name == "want-verdict" && len(args) == 1:
		p.text.Verdict = args[0]
		return nil
	default:
		return fmt.Errorf("%q is no directive with %d values; comments begin with ##", name, len(args))
	}
}

// facts reads what is declared of a body or a lens.
func facts(pairs []string, numbers map[string]*float64, kind *audit.FNumbers) error {
	for _, pair := range pairs {
		key, value, _ := strings.Cut(pair, "=")
		if key == "f-numbers" {
			for k := audit.FNumbersUnknown; k <= audit.FNumbersEffective; k++ {
				if k.String() == value {
					*kind = k
				}
			}
			if kind.String() != value {
				return fmt.Errorf("%q: f-numbers are nominal, effective or unknown", value)
			}
			continue
		}
		to := numbers[key]
		if to == nil {
			return fmt.Errorf("%q is no fact", key)
		}
		v, err := strconv.ParseFloat(value, 64)
		if err != nil {
			return err
		}
		*to = v
	}
	return nil
}

// split cuts a line at spaces outside double quotes, and takes the quotes off.
func split(s string) ([]string, error) {
	var words []string
	var word strings.Builder
	quoted, any := false, false
	for _, r := range s {
		switch {
		case r == '"':
			quoted, any = !quoted, true
		case (r == ' ' || r == '\t') && !quoted:
			if any {
				words = append(words, word.String())
			}
			word.Reset()
			any = false
		default:
			word.WriteRune(r)
			any = true
		}
	}
	if quoted {
		return nil, errors.New("a quote is not closed")
	}
	if any {
		words = append(words, word.String())
	}
	return words, nil
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
		file := &audit.File{Path: name, Abs: name, Size: size, Meta: &exifread.Metadata{Size: size}}
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

// Mismatches compares the outcome of an audit with what the text wants: a
// missing and a surplus finding are both told. Of what was not judged only the
// rules named are compared, or all where none is.
func (t *Text) Mismatches(result *audit.Result, rules ...string) []string {
	var found []Want
	var notJudged []audit.NotJudged
	var told []string
	collect := func(findings []*audit.Finding, open []audit.NotJudged) {
		for _, f := range findings {
			w := Want{Rule: f.Rule, Severity: f.Severity.String()}
			if len(f.Frames) > 0 {
				w.First, w.Last = f.Frames[0].Label(), f.Frames[len(f.Frames)-1].Label()
			}
			found = append(found, w)
			told = append(told, f.Message)
		}
		notJudged = append(notJudged, open...)
	}
	for _, session := range result.Sessions {
		for _, q := range session.Sequences {
			collect(q.Findings, q.NotJudged)
		}
		collect(session.Findings, session.NotJudged)
	}
	var out []string
	for _, w := range t.Wants {
		if i := slices.Index(found, w); i >= 0 {
			found, told = slices.Delete(found, i, i+1), slices.Delete(told, i, i+1)
			continue
		}
		out = append(out, fmt.Sprintf("missing finding: %v", w))
	}
	for i, w := range found {
		out = append(out, fmt.Sprintf("surplus finding: %v: %s", w, told[i]))
	}
	if len(rules) > 0 {
		notJudged = slices.DeleteFunc(notJudged, func(n audit.NotJudged) bool { return !slices.Contains(rules, n.Rule) })
	}
	for _, w := range t.NotJudged {
		i := slices.IndexFunc(notJudged, func(n audit.NotJudged) bool {
			return n.Rule == w.Rule && strings.Contains(n.Reason, w.Reason)
		})
		if i < 0 {
			out = append(out, fmt.Sprintf("judged, but should not be: %s: %s", w.Rule, w.Reason))
			continue
		}
		notJudged = slices.Delete(notJudged, i, i+1)
	}
	for _, n := range notJudged {
		out = append(out, fmt.Sprintf("not judged: %s: %s (%d frames)", n.Rule, n.Reason, n.Frames))
	}
	if got := result.Verdict.String(); t.Verdict != "" && got != t.Verdict {
		out = append(out, fmt.Sprintf("verdict %s, want %s", got, t.Verdict))
	}
	return out
}
