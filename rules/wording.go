package rules

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"prestrike/audit/pixels"
	"prestrike/audit/shoot"
	"prestrike/exifread"
)

// The words and numbers that findings of several rules are written with.

// The reasons for which these rules cannot judge; each names what would help.
const (
	noSensor        = "no sensor width: declare the body in prestrike.toml"
	noMagnification = "no magnification: give --magnification or --field-width, or declare the lens in prestrike.toml"
	noExposureTime  = "no exposure time recorded"
	noFNumber       = "no f-number recorded"
)

// ratio writes a magnification as photographers do: "1:2", "1.4:1".
func ratio(m float64) string {
	if m >= 0.995 {
		return twoFigures(m) + ":1"
	}
	return "1:" + twoFigures(1/m)
}

// twoFigures writes a number with the figures that matter: "0.56", "4.4", "44".
func twoFigures(x float64) string {
	if x >= 100 {
		return strconv.FormatFloat(x, 'f', 0, 64)
	}
	rounded, _ := strconv.ParseFloat(strconv.FormatFloat(x, 'g', 2, 64), 64)
	return strconv.FormatFloat(rounded, 'f', -1, 64)
}

// writeFNumber writes a computed f-number.
func writeFNumber(n float64) string {
	const hundredths = 100
	return shoot.FormatFNumber(exifread.Rational{Num: int64(math.Round(n * hundredths)), Den: hundredths})
}

// writeTime writes an exposure time in seconds.
func writeTime(seconds float64) string {
	const fine = 1_000_000
	if seconds < 1 {
		return shoot.FormatExposureTime(exifread.Rational{Num: fine, Den: int64(math.Round(fine / seconds))})
	}
	return shoot.FormatExposureTime(exifread.Rational{Num: int64(math.Round(seconds * fine)), Den: fine})
}

// times writes the exposure times of frames, the shortest and the longest: "1/60 s", "1/60 to 1/15 s".
func times(frames []*shoot.Frame) string {
	short, long := math.Inf(1), 0.0
	for _, f := range frames {
		t := exifread.Positive(f.Meta().ExposureTime)
		short, long = min(short, t), max(long, t)
	}
	a, b := writeTime(short), writeTime(long)
	if a == b {
		return a
	}
	return strings.TrimSuffix(a, " s") + " to " + b
}

// which names frames where they are not all of the sequence, as the beginning
// of a sentence: "frames 0003 to 0005: ".
func which(q *shoot.Sequence, frames []*shoot.Frame) string {
	if len(frames) == len(q.Frames) {
		return ""
	}
	return shoot.FrameRanges(q.Frames, frames) + ": "
}

// mostNamed is how many things a sentence names before it counts the rest.
const mostNamed = 3

// cadence writes the sequence's cadence.
func cadence(q *shoot.Sequence) string {
	c, ok := q.Cadence.Get()
	if !ok {
		return "at no steady cadence"
	}
	return "every " + shoot.FormatDuration(c)
}

// focusOrCamera names what moves, with the verb for one thing. Where the picture
// drifts as focus moves, as on rails, a knock along the drift cannot be distinguished from it.
func focusOrCamera(j *pixels.Judgement, verb string) string {
	if j.Signature.Kind == "drift" {
		return "focus or the camera " + verb
	}
	return "focus " + verb
}

// writePixels writes a length on the full-size frame: "about 3 pixels".
func writePixels(px float64) string {
	if px < 1 {
		return "under a pixel"
	}
	return "about " + twoFigures(px) + " pixels"
}

// writeEV writes a difference of brightness: "1.3 EV", "0.15 EV".
func writeEV(ev float64) string { return twoFigures(math.Abs(ev)) + " EV" }

// partOf names the part of a frame, as it is shown, that a box covers.
func partOf(f *shoot.Frame, b pixels.Box) string {
	switch words := b.Turned(int(f.Meta().Orientation.Or(1))).Words(); words {
	case "whole picture":
		return "all over the picture"
	case "centre", "right centre", "left centre", "upper centre", "lower centre":
		return "in the " + words
	default:
		return words
	}
}

// percent writes a share: "12 %".
func percent(share float64) string { return fmt.Sprintf("%.0f %%", 100*share) }

// writeMillimetres writes a length in mm: "0.56 mm".
func writeMillimetres(mm float64) string {
	if math.IsInf(mm, 0) {
		return "infinite"
	}
	return twoFigures(mm) + " mm"
}

// writeMetres writes a distance in mm as the scale of a lens shows it: "0.314 m".
func writeMetres(mm float64) string {
	digits := 4
	if mm >= 1000 {
		digits = 3
	}
	m, _ := strconv.ParseFloat(strconv.FormatFloat(mm/1000, 'g', digits, 64), 64)
	return strconv.FormatFloat(m, 'f', -1, 64) + " m"
}
