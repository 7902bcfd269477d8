// Package values reads values as photographers write them: 1:2, 10mm, 1/30,
// 2m30s, 30%, 45MP, f/8. All commands read theirs here, so that one way of
// writing holds everywhere.
//
// An error names what was read, what is accepted, and an example. It is for
// people: it never holds a word of a programming language.
package values

import (
	"fmt"
	"math"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"prestrike/rules/optics"
)

// An Error says that a text is no value of its kind.
type Error struct {
	Read   string // as given, but for a user and a password; hostile text
	Wanted string // what is accepted, with examples
}

// Error reports what was read and what is accepted.
func (e *Error) Error() string { return fmt.Sprintf("cannot read %q: write %s", e.Read, e.Wanted) }

// A Kind is one kind of value: how it is read, what is accepted, and how it is
// written back.
type Kind[T any] struct {
	Wanted string // what is accepted, with examples, behind "write"
	read   func(string) (T, bool)
	write  func(T) string
}

// Read reads a value. The error is an [*Error].
func (k Kind[T]) Read(s string) (T, error) {
	v, ok := k.read(strings.TrimSpace(s))
	if !ok {
		var none T
		return none, &Error{withoutUser(s), k.Wanted}
	}
	return v, nil
}

// withoutUser leaves out what stands before an @, where addresses have a user and a
// password: an error is read by others, too.
func withoutUser(s string) string {
	at := strings.LastIndexByte(s, '@')
	if at < 0 {
		return s
	}
	from := 0
	if i := strings.Index(s[:at], "://"); i >= 0 {
		from = i + len("://")
	}
	return s[:from] + "…" + s[at:]
}

// Write writes a value as it may be read again.
func (k Kind[T]) Write(v T) string { return k.write(v) }

// The kinds of value. Numbers are finite and 0 or more; which of them make
// sense is for the caller to say.
var (
	// Magnification is size on the sensor over size of the subject: 1:2 is 0.5.
	Magnification = Kind[float64]{"a magnification such as 1:2, 2:1 or 0.5", readMagnification, writeMagnification}
	// Length is a length, in mm where no unit is given.
	Length = Kind[optics.Length]{"a length such as 10mm, 1cm or 0.4in; without a unit it is in mm", readLength, writeLength}
	// Share is a part of the whole, up to 1: 30% is 0.3.
	Share = Kind[float64]{"a share such as 30% or 0.3", readShare, writeShare}
	// Time is a time above 0, in seconds where no unit is given.
	Time = Kind[optics.Seconds]{"a time such as 1/30, 0.5, 90s, 2m30s or 3h; without a unit it is in seconds", readTime, writeTime}
	// Seconds is a Time as a plain number.
	Seconds = Kind[float64]{Time.Wanted, func(s string) (float64, bool) { t, ok := readTime(s); return float64(t), ok }, func(v float64) string { return Text(v, seconds) }}
	// FrameRate is the number of frames a second of a clip.
	FrameRate = Kind[float64]{"frames a second such as 25 or 25fps", readFrameRate, writeNumber}
	// Number is a number.
	Number = Kind[float64]{"a number such as 2 or 0.58", readNumber, writeNumber}
	// Count is a whole number.
	Count = Kind[int]{"a whole number such as 2", readCount, strconv.Itoa}
	// FNumber is an f-number: f/8 or 8.
	FNumber = Kind[float64]{"an f-number such as 8 or f/8", readFNumber, writeNumber}
	// FNumbers is one f-number, a list, or a range of full stops.
	FNumbers = Kind[Apertures]{"f-numbers such as 4-22, 8 or 5.6, 8, 11, the smaller first; decimals with a point", readFNumbers, Apertures.String}
	// SequenceID is the ID of a sequence, its session before the point.
	SequenceID = Kind[string]{"the ID of a sequence as in the report, such as 1.2", readSequenceID, func(s string) string { return s }}
	// Pixels is a size in pixels, long side first. Megapixels are those of a
	// sensor of shape 3:2.
	Pixels = Kind[Size]{"pixels such as 8256x5504, or megapixels of a 3:2 sensor such as 45MP", readPixels, Size.String}
	// Address is where a page is served.
	Address = Kind[string]{"an address such as 192.168.1.5:8140, or :8140 for all networks of this computer", readAddress, func(s string) string { return s }}
	// Broker is an MQTT broker with the prefix of its topics.
	Broker = Kind[*url.URL]{"an address with a prefix such as mqtt://192.168.1.2:1883/studio or mqtts://broker.museum.example/studio, without user and password, which PRESTRIKE_MQTT_USER and PRESTRIKE_MQTT_PASSWORD hold", readBroker, (*url.URL).String}
	// Megabytes is a size of files in bytes, in MB where no unit is given.
	Megabytes = Kind[float64]{"a size such as 45MB; without a unit it is in MB", readBytes(1e6), writeBytes("MB", 1e6)}
	// Gigabytes is a size of files in bytes, in GB where no unit is given.
	Gigabytes = Kind[float64]{"a size such as 64GB or 1TB; without a unit it is in GB", readBytes(1e9), writeBytes("GB", 1e9)}
)

// OneOf is the kind of a word of several, in capitals or not.
func OneOf(words ...string) Kind[string] {
	last := len(words) - 1
	return Kind[string]{strings.Join(words[:last], ", ") + " or " + words[last], func(s string) (string, bool) {
		at := slices.IndexFunc(words, func(w string) bool { return strings.EqualFold(w, s) })
		if at < 0 {
			return "", false
		}
		return words[at], true
	}, func(s string) string { return s }}
}

func readSequenceID(s string) (string, bool) {
	session, place, ok := strings.Cut(s, ".")
	_, okSession := readCount(session)
	_, okPlace := readCount(place)
	return s, ok && okSession && okPlace
}

// number reads a plain decimal number that is finite and 0 or more. Names of
// numbers and exponents are no way to write one on the set. A comma may stand
// for the point: not where it may part thousands, as in 1,500.
func number(s string) (float64, bool) {
	if s == "" || strings.Trim(s, digits) != "" {
		return 0, false
	}
	if whole, decimals, comma := strings.Cut(s, ","); comma {
		if whole == "" || decimals == "" || strings.ContainsAny(decimals, ",.") || strings.Contains(whole, ".") || len(decimals) == 3 && whole != "0" {
			return 0, false
		}
		s = whole + "." + decimals
	}
	v, err := strconv.ParseFloat(s, 64)
	return v, err == nil && !math.IsInf(v, 0)
}

// digits are the characters of a number.
const digits = "0123456789.,"

func readNumber(s string) (float64, bool) { return number(s) }

func writeNumber(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

func readCount(s string) (int, bool) {
	v, err := strconv.ParseUint(s, 10, 31)
	return int(v), err == nil && strings.Trim(s, "0123456789") == ""
}

// quotient reads two numbers with a sign between them, the second not 0.
func quotient(s, sign string) (float64, bool) {
	above, below, ok := strings.Cut(s, sign)
	a, okA := number(strings.TrimSpace(above))
	b, okB := number(strings.TrimSpace(below))
	if !ok || !okA || !okB || b == 0 || math.IsInf(a/b, 0) {
		return 0, false
	}
	return a / b, true
}

func readMagnification(s string) (float64, bool) {
	for _, sign := range []string{":", "/"} {
		if strings.Contains(s, sign) {
			return quotient(s, sign)
		}
	}
	return number(strings.TrimSpace(strings.TrimRight(s, "x×X")))
}

// writeMagnification writes a magnification without short decimals as a ratio: 1:3.
func writeMagnification(m float64) string {
	if text := writeNumber(m); len(text) <= len("0.1234") {
		return text
	}
	const largest = 1000
	if n := math.Round(1 / m); n <= largest && 1/n == m {
		return "1:" + writeNumber(n)
	}
	return writeNumber(m)
}

// unit splits a number from the unit behind it.
func unit(s string) (v float64, name string, ok bool) {
	end := strings.LastIndexAny(s, digits) + 1
	v, ok = number(strings.TrimSpace(s[:end]))
	return v, strings.TrimSpace(s[end:]), ok
}

var lengths = map[string]optics.Length{
	"": optics.Millimetre, "mm": optics.Millimetre, "cm": optics.Centimetre, "m": optics.Metre,
	"in": optics.Inch, `"`: optics.Inch, "inch": optics.Inch,
	"µm": optics.Micrometre, "μm": optics.Micrometre, "um": optics.Micrometre,
}

func readLength(s string) (optics.Length, bool) {
	v, name, ok := unit(s)
	one, known := lengths[strings.ToLower(name)]
	l := optics.Length(v) * one
	return l, ok && known && !math.IsInf(float64(l), 0)
}

func writeLength(l optics.Length) string { return writeNumber(l.Millimetres()) + "mm" }

func readShare(s string) (float64, bool) {
	if v, ok := quotient(s, "/"); ok {
		return v, v <= 1
	}
	v, name, ok := unit(s)
	switch name {
	case "%":
		v /= 100
	case "":
	default:
		return 0, false
	}
	return v, ok && v <= 1
}

func writeShare(v float64) string { return writeNumber(math.Round(v*1e6)/1e4) + "%" }

// timeUnits are the names of units of time; a camera writes 2" for 2 s.
var timeUnits = map[string]float64{
	"h": 3600, "hr": 3600, "hrs": 3600, "hour": 3600, "hours": 3600,
	"m": 60, "min": 60, "mins": 60, "minute": 60, "minutes": 60,
	"s": 1, "sec": 1, "secs": 1, "second": 1, "seconds": 1, `"`: 1,
	"ms": 1e-3, "us": 1e-6, "µs": 1e-6, "μs": 1e-6,
}

// readTime reads numbers with units, the larger first, or one number of seconds without,
// which may be a fraction.
func readTime(s string) (optics.Seconds, bool) {
	sum, last := 0.0, math.Inf(1)
	for rest := strings.ToLower(s); rest != ""; {
		text := rest[:len(rest)-len(strings.TrimLeft(rest, digits+"/ "))]
		rest = rest[len(text):]
		name := rest
		if at := strings.IndexAny(rest, digits+" "); at >= 0 {
			name = rest[:at]
		}
		rest = strings.TrimSpace(rest[len(name):])
		one, known := timeUnits[name]
		if name == "" && math.IsInf(last, 1) {
			one, known = 1, true
		}
		v, ok := number(strings.TrimSpace(text))
		if !ok && one == 1 {
			v, ok = quotient(text, "/")
		}
		if !ok || !known || one >= last {
			return 0, false
		}
		sum, last = sum+v*one, one
	}
	return optics.Seconds(sum), sum > 0 && !math.IsInf(sum, 0)
}

func writeTime(t optics.Seconds) string {
	if t == 0 {
		return ""
	}
	return t.String()
}

// Shown writes seconds as cameras show them, such as "1/30 s", and reports whether that is
// read as the same time to a hundredth, far less than the smallest step of a camera.
func Shown(seconds float64) (text string, same bool) {
	text = writeTime(optics.Seconds(seconds))
	read, ok := readTime(text)
	return text, ok && math.Abs(float64(read)/seconds-1) < 0.01
}

// Duration returns a time as the standard library counts it: at most a year, and
// above 0 where t is.
func Duration(t optics.Seconds) time.Duration {
	const year = 365 * 24 * 3600
	return time.Duration(math.Ceil(float64(min(t, year)) * float64(time.Second)))
}

func readFNumber(s string) (float64, bool) {
	s = strings.TrimPrefix(strings.TrimPrefix(strings.ToLower(s), "f"), "/")
	return number(strings.TrimSpace(s))
}

// Apertures are the f-numbers of a list or a range.
type Apertures struct {
	List []float64
	// Range reports that they were given as a range, so that any f-number
	// between the first and the last will do.
	Range bool
}

// String writes a range by its ends, a list by its members.
func (a Apertures) String() string {
	if a.Range {
		return writeNumber(a.List[0]) + "-" + writeNumber(a.List[len(a.List)-1])
	}
	var words []string
	for _, n := range a.List {
		words = append(words, writeNumber(n))
	}
	return strings.Join(words, ",")
}

// Between returns the range from one f-number to another, in full stops.
func Between(lo, hi float64) Apertures { return Apertures{optics.StopsBetween(lo, hi), true} }

func readFrameRate(s string) (float64, bool) {
	return number(strings.TrimSpace(strings.TrimSuffix(strings.ToLower(s), "fps")))
}

func readFNumbers(s string) (Apertures, bool) {
	s = strings.NewReplacer("–", "-", " to ", "-").Replace(s)
	if len(s) == len("5,6") && s[1] == ',' {
		return Apertures{}, false // f/5.6, or f/5 and f/6
	}
	if from, to, ok := strings.Cut(s, "-"); ok {
		lo, okLo := readFNumber(strings.TrimSpace(from))
		hi, okHi := readFNumber(strings.TrimSpace(to))
		if !okLo || !okHi || !(lo > 0 && lo <= hi) {
			return Apertures{}, false
		}
		return Between(lo, hi), true
	}
	var a Apertures
	for part := range strings.SplitSeq(s, ",") { // which is no decimal comma here
		n, ok := readFNumber(strings.TrimSpace(part))
		if !ok {
			return Apertures{}, false
		}
		a.List = append(a.List, n)
	}
	return a, true
}

// A Size is a size in pixels.
type Size struct{ Long, Short int }

// String writes the size; nothing where it is not given.
func (s Size) String() string {
	if s == (Size{}) {
		return ""
	}
	return fmt.Sprintf("%dx%d", s.Long, s.Short)
}

var megapixels = map[string]bool{"mp": true, "mpx": true, "mpix": true, "megapixel": true, "megapixels": true}

func readPixels(s string) (Size, bool) {
	s = strings.ReplaceAll(strings.ToLower(s), "×", "x")
	if v, name, ok := unit(s); megapixels[name] {
		if !ok || v < 0.1 || v > 1000 {
			return Size{}, false
		}
		long := math.Round(math.Sqrt(v * 1e6 * 3 / 2))
		return Size{int(long), int(math.Round(long * 2 / 3))}, true
	}
	w, h, ok := strings.Cut(s, "x")
	width, okW := readCount(strings.TrimSpace(w))
	height, okH := readCount(strings.TrimSpace(h))
	return Size{max(width, height), min(width, height)}, ok && okW && okH && width > 0 && height > 0
}

var bytesUnits = map[string]float64{
	"kb": 1e3, "mb": 1e6, "gb": 1e9, "tb": 1e12, "k": 1e3, "m": 1e6, "g": 1e9, "t": 1e12,
	"kib": 1 << 10, "mib": 1 << 20, "gib": 1 << 30, "tib": 1 << 40,
}

func readBytes(without float64) func(string) (float64, bool) {
	return func(s string) (float64, bool) {
		v, name, ok := unit(s)
		one, known := bytesUnits[strings.ToLower(name)]
		if name == "" {
			one, known = without, true
		}
		return v * one, ok && known && !math.IsInf(v*one, 0)
	}
}

func writeBytes(name string, one float64) func(float64) string {
	return func(v float64) string { return writeNumber(v/one) + name }
}
