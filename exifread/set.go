package exifread

import (
	"bytes"
	"fmt"
	"math"
	"unicode/utf8"
	"unique"

	"prestrike/exifread/internal/ifd"
)

// maxText is how much of a text is kept, in bytes: a line, where cameras write
// at most 64.
const maxText = 256

// text returns the value as a text without blanks around it, and what is wrong with
// it, or "". A text of blanks or of hyphens alone means that there was nothing to record.
func text(v ifd.Value) (Value[string], string) {
	b, what := textBytes(v)
	if len(b) == 0 {
		return Value[string]{}, what
	}
	return Of(string(b)), what
}

// textBytes is [text] for the bytes, which are valid as long as the value's, and none
// where there is no text.
func textBytes(v ifd.Value) (b []byte, what string) {
	b, ok := v.Bytes()
	if !ok {
		return nil, "a number where a text belongs"
	}
	b = trimText(b)
	if len(b) > maxText {
		what = fmt.Sprintf("a text of %d bytes, of which %d are kept", len(b), maxText)
		b = b[:maxText]
		for n := 1; n < utf8.UTFMax && !utf8.Valid(b); n++ { // do not end inside a character
			if utf8.Valid(b[:len(b)-n]) {
				b = b[:len(b)-n]
			}
		}
	}
	if !utf8.Valid(b) { // Latin-1: each byte is its own code point
		runes := make([]rune, len(b))
		for i, c := range b {
			runes[i] = rune(c)
		}
		b = []byte(string(runes))
	}
	return b, what
}

func trimText(b []byte) []byte {
	if i := bytes.IndexByte(b, 0); i >= 0 {
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
func (f *facts) setName(to *Value[string], v ifd.Value) string {
	if to.Known() {
		return ""
	}
	b, what := textBytes(v)
	if len(b) > 0 {
		*to = Of(f.src.name(b))
	}
	return what
}

// keptNames is how many names a source keeps, of maxText bytes each at most.
const keptNames = 512

// name returns the text, of which there is one copy in memory. The source keeps some,
// as asking the whole program costs more.
func (s *source) name(b []byte) string {
	if kept, ok := s.names[string(b)]; ok {
		return kept
	}
	if s.names == nil || len(s.names) == keptNames {
		s.names = map[string]string{}
	}
	name := unique.Make(string(b)).Value()
	s.names[name] = name
	return name
}

// setSerial is setText for serial numbers: all zeros is what a body writes
// that does not know its own.
func (f *facts) setSerial(to *Value[string], v ifd.Value) string {
	if to.Known() {
		return ""
	}
	what := f.setName(to, v)
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

// setKnown is setNumber for tags in which 0 means "unknown".
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

// setZoom reads DigitalZoomRatio: a numerator of 0 means that it was not used
// (CIPA DC-008, tag 0xA404), which is a ratio of 1. 0/0 is unknown as elsewhere.
func setZoom(to *Value[Rational], v ifd.Value) string {
	if r, known, ok := quotient(v); ok && r.Num == 0 {
		if known && !to.Known() {
			*to = Of(Rational{1, 1})
		}
		return ""
	}
	return setPositive(to, v)
}

// setSources reads how many pictures a composite one was made of: those that
// were taken and those that were used, 0 for unknown (CIPA DC-008, tag 0xA461).
func setSources(to *Value[CompositeSources], v ifd.Value) string {
	var n [2]Value[uint16]
	for i := range n {
		k, ok := v.Int(i)
		if !ok {
			return notNumber
		}
		if k < 0 || k > math.MaxUint16 {
			return fmt.Sprintf("%d is outside 0 to %d", k, math.MaxUint16)
		}
		if k > 0 {
			n[i] = Of(uint16(k))
		}
	}
	if !to.Known() && (n[0].Known() || n[1].Known()) {
		*to = Of(CompositeSources{Taken: n[0], Used: n[1]})
	}
	return ""
}
