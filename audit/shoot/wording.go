package shoot

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"prestrike/audit/words"
	"prestrike/exifread"
)

// A nominal is a value as a camera's screen shows it, and the values it
// means: 1/60 s is 1/64 s in truth, f/11 is f/11.3.
type nominal struct {
	label string
	shown float64 // EV of the value on the screen
	truth float64 // EV of the step of the scale that it means
}

// snapWithin is how near, in EV, a recorded value must come to a nominal or to
// its true value to be shown as the nominal. The worst nominal is 0.1 EV from
// the truth, so that values 1/6 EV apart are never shown alike; odd values, as
// phones record them, stay as they are.
const snapWithin = 0.03

// snap returns the label of the nominal that the EV means.
func snap(scale []nominal, ev float64) (string, bool) {
	best, label := snapWithin, ""
	for _, n := range scale {
		if d := math.Abs(ev - n.shown); d <= best {
			best, label = d, n.label
		}
	}
	if label != "" {
		return label, true
	}
	for _, n := range scale {
		if d := math.Abs(ev - n.truth); d <= best {
			best, label = d, n.label
		}
	}
	return label, label != ""
}

// timeScale holds exposure times and apertureScale f-numbers: the third-stop
// scale, then what the half-stop scale has beside it.
var (
	timeScale = append(
		newScale(3, timeEV, "1/32000", "1/25000", "1/20000", "1/16000", "1/12800", "1/10000",
			"1/8000", "1/6400", "1/5000", "1/4000", "1/3200", "1/2500", "1/2000", "1/1600", "1/1250", "1/1000",
			"1/800", "1/640", "1/500", "1/400", "1/320", "1/250", "1/200", "1/160", "1/125", "1/100",
			"1/80", "1/60", "1/50", "1/40", "1/30", "1/25", "1/20", "1/15", "1/13", "1/10", "1/8", "1/6", "1/5", "1/4",
			"0.3", "0.4", "0.5", "0.6", "0.8", "1", "1.3", "1.6", "2", "2.5", "3.2", "4", "5", "6", "8", "10", "13", "15", "20", "25", "30"),
		newScale(2, timeEV, "1/6000", "1/3000", "1/1500", "1/750", "1/350", "1/180", "1/90", "1/45", "0.7", "1.5")...)
	apertureScale = append(
		newScale(3, apertureEV, "1", "1.1", "1.4", "1.6", "1.8", "2", "2.2", "2.5", "2.8", "3.2", "3.5", "4", "4.5", "5", "5.6", "6.3", "7.1",
			"8", "9", "10", "11", "13", "14", "16", "18", "20", "22", "25", "29", "32", "36", "40", "45", "51", "57", "64"),
		newScale(2, apertureEV, "1.2", "1.7", "2.4", "3.3", "4.8", "6.7", "9.5", "19", "27", "38")...)
)

// newScale builds the scale of the labels, with a number of steps to the EV.
func newScale(steps float64, ev func(float64) float64, labels ...string) []nominal {
	scale := make([]nominal, 0, len(labels))
	for _, label := range labels {
		numerator, denominator, fraction := strings.Cut(label, "/")
		v, _ := strconv.ParseFloat(numerator, 64)
		if fraction {
			d, _ := strconv.ParseFloat(denominator, 64)
			v /= d
		}
		shown := ev(v)
		scale = append(scale, nominal{label, shown, math.Round(shown*steps) / steps})
	}
	return scale
}

func timeEV(seconds float64) float64 { return math.Log2(seconds) }
func apertureEV(n float64) float64   { return 2 * math.Log2(n) }

// FormatExposureTime writes an exposure time in seconds as a camera's screen
// shows it: "1/125 s", "0.8 s", "30 s". Odd values stay odd ("1/48.3 s").
func FormatExposureTime(t exifread.Rational) string {
	s := t.Float()
	if !(s > 0) || math.IsInf(s, 0) {
		return t.String() + " s"
	}
	// A third of a second is recorded as 1/3 by bodies that show 0.3, and
	// 1/1.3 is another way to show 0.8.
	if 3*t.Num == t.Den {
		return "0.3 s"
	}
	if 13*t.Num == 10*t.Den {
		return "0.8 s"
	}
	if label, ok := snap(timeScale, timeEV(s)); ok {
		return label + " s"
	}
	switch {
	case s >= 1:
		return decimal(s, 1) + " s"
	case s >= 0.29:
		return decimal(s, 2) + " s"
	case s > 0.01:
		return "1/" + decimal(1/s, 1) + " s"
	default:
		return "1/" + decimal(1/s, 0) + " s"
	}
}

// FormatSeconds writes an exposure time that was declared, in seconds, as
// [FormatExposureTime] writes recorded ones.
func FormatSeconds(seconds float64) string {
	if seconds < 0.3 {
		return FormatExposureTime(exifread.Rational{Num: 1, Den: int64(math.Round(1 / seconds))})
	}
	return FormatExposureTime(exifread.Rational{Num: int64(math.Round(seconds * 1000)), Den: 1000})
}

// FormatFNumber writes an f-number as a camera's screen shows it: "f/5.6",
// "f/11". Odd values stay odd ("f/4.9").
func FormatFNumber(n exifread.Rational) string {
	f := n.Float()
	if !(f > 0) || math.IsInf(f, 0) {
		return "f/" + n.String()
	}
	if label, ok := snap(apertureScale, apertureEV(f)); ok {
		return "f/" + label
	}
	if f < 2 { // where a tenth is more than 1/6 EV
		return "f/" + decimal(f, 2)
	}
	return "f/" + decimal(f, 1)
}

// FormatISO writes a sensitivity: "ISO 100".
func FormatISO(iso uint32) string { return "ISO " + strconv.FormatUint(uint64(iso), 10) }

// FormatFocalLength writes a focal length in mm: "90 mm", "4.2 mm".
func FormatFocalLength(f exifread.Rational) string {
	mm := f.Float()
	if math.IsNaN(mm) || math.IsInf(mm, 0) {
		return f.String() + " mm"
	}
	return decimal(mm, 1) + " mm"
}

// BodyLetter names the bodies of a session by their places: A, B, ..., then 27, 28, ...
func BodyLetter(i int) string {
	if i < 26 {
		return string(rune('A' + i))
	}
	return strconv.Itoa(i + 1)
}

// FormatDuration writes a time between frames to the two figures that matter
// on the set: "0.12 s", "1.3 s", "12 s", "2 min 5 s", "3 h 10 min".
func FormatDuration(d time.Duration) string {
	sign := ""
	if d < 0 {
		sign, d = "-", -d
	}
	switch s := d.Seconds(); {
	case s < 0.995:
		return sign + decimal(s, 2) + " s"
	case s < 9.95:
		return sign + decimal(s, 1) + " s"
	case s < 119.5:
		return sign + decimal(s, 0) + " s"
	case s < 2*3600-0.5:
		whole := int64(s + 0.5)
		return fmt.Sprintf("%s%s", sign, twoUnits(whole/60, "min", whole%60, "s"))
	default:
		whole := int64(s/60 + 0.5)
		return fmt.Sprintf("%s%s", sign, twoUnits(whole/60, "h", whole%60, "min"))
	}
}

func twoUnits(a int64, unitA string, b int64, unitB string) string {
	if b == 0 {
		return fmt.Sprintf("%d %s", a, unitA)
	}
	return fmt.Sprintf("%d %s %d %s", a, unitA, b, unitB)
}

// decimal writes a number with at most a number of decimals and no zeros at the end.
func decimal(v float64, decimals int) string {
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s
}

// Label names the frame as the camera's screen does: by its number with the
// zeros of its name ("0118"), or by its file name where that has no number.
// File names are hostile text; long ones are cut.
func (f *Frame) Label() string {
	if f.Number.Known {
		return f.Number.Label()
	}
	return ShortName(f.Name())
}

// quoted is the label in a sentence.
func (f *Frame) quoted() string {
	if f.Number.Known {
		return f.Number.Label()
	}
	return QuotedName(f.Name())
}

// QuotedName writes a file name in a sentence: cut where it is too long, and in quotes
// where it would not be seen as one word.
func QuotedName(name string) string {
	word := func(r rune) bool { return unicode.IsLetter(r) || unicode.IsDigit(r) || strings.ContainsRune("._-", r) }
	if name = ShortName(name); strings.ContainsFunc(name, func(r rune) bool { return !word(r) }) {
		return `"` + name + `"`
	}
	return name
}

// Label writes the number with the zeros of its name.
func (n Number) Label() string { return fmt.Sprintf("%0*d", min(n.Digits, 20), n.N) }

// longestName is more than any camera's file name, and fits a line.
const longestName = 40

// ShortName cuts a file name that is too long for a sentence, in the middle.
func ShortName(name string) string {
	if utf8.RuneCountInString(name) <= longestName {
		return name
	}
	r := []rune(name)
	return string(r[:longestName/2]) + "..." + string(r[len(r)-longestName/2+3:])
}

// FrameRange names frames that follow each other, one at least: "frame 0118", "frames 0118
// and 0119", "frames 0118 to 0157".
func FrameRange(frames []*Frame) string {
	first, last := frames[0], frames[len(frames)-1]
	switch len(frames) {
	case 1:
		return "frame " + first.quoted()
	case 2:
		return "frames " + first.quoted() + " and " + last.quoted()
	}
	return "frames " + first.quoted() + " to " + last.quoted()
}

// mostRanges keeps a sentence readable.
const mostRanges = 4

// FrameRanges names some frames of a sequence by runs of neighbours, the first
// few of them and how many frames are left: "frames 0118 to 0121, 0130, 0140
// to 0142 and 7 more". Frames without a number are named one by one, as their names show
// no order. Both lists are in the order of the sequence; frames
// that are not of the sequence are left out.
func FrameRanges(sequence, frames []*Frame) string {
	type run struct{ first, last int }
	var runs []run
	total, next := 0, 0
	for i, f := range sequence {
		if next >= len(frames) || frames[next] != f {
			continue
		}
		next++
		total++
		if n := len(runs); n > 0 && runs[n-1].last == i-1 && f.Number.Known && sequence[i-1].Number.Known {
			runs[n-1].last = i
		} else {
			runs = append(runs, run{i, i})
		}
	}
	var parts []string
	named := 0
	for _, r := range runs {
		first, last := sequence[r.first].quoted(), sequence[r.last].quoted()
		run := []string{first + " to " + last}
		switch r.last - r.first {
		case 0:
			run = []string{first}
		case 1:
			run = []string{first, last}
		}
		if len(parts)+len(run) > mostRanges {
			break
		}
		parts = append(parts, run...)
		named += r.last - r.first + 1
	}
	text := "frame "
	if total != 1 {
		text = "frames "
	}
	if left := total - named; left > 0 {
		return text + strings.Join(parts, ", ") + fmt.Sprintf(" and %d more", left)
	}
	return text + words.List(parts, mostRanges)
}
