package main

import (
	"bytes"
	"fmt"
	"math"
	"strconv"
	"strings"

	"prestrike/audit/report"
	"prestrike/rules/optics"
)

// focusTable writes a focus plan for people.
func focusTable(b *bytes.Buffer, t *optics.FocusTask, p *optics.FocusPlan, sensor foundSensor, pupilAssumed bool, width int) error {
	report.Paragraph(b, "", 2, fmt.Sprintf("Subject: %v deep at magnification %s, %v wide in the frame", t.Depth, decimals(p.Magnification, 3),
		sensor.Width/optics.Length(p.Magnification)), width)
	report.Paragraph(b, "", 2, "Sensor: "+sensor.String(), width)
	b.WriteByte('\n')
	if err := focusRows(b, t, p, width); err != nil {
		return err
	}
	b.WriteByte('\n')
	report.Paragraph(b, "", 2, "< recommended: "+p.Why, width)
	report.Paragraph(b, "", 2, sentence(p.InOneFrame()), width)
	switch far := p.AtFarEnd(); {
	case far != "":
		report.Paragraph(b, "", 2, sentence(far), width)
	case t.Focal == 0 && t.NumericalAperture == 0 && p.Rows[p.Recommended].Frames > 1 && p.Magnification*float64(t.Depth/shortFocal) > farEndShare:
		report.Paragraph(b, "", 2, "Magnification and step are those at the nearest point; --focal-length shows those at the farthest.", width)
	}
	if r := p.Rows[p.Recommended]; sensor.camera.Setting > 0 && r.Frames > 1 {
		report.Paragraph(b, "", 2, sensor.camera.sentence(&r, t.WorkingFNumbers), width)
	}
	b.WriteByte('\n')
	focusWords(b, t, p, pupilAssumed, width)
	return nil
}

const (
	// shortFocal is a short focal length for a lens to come close with.
	shortFocal = 50 * optics.Millimetre
	// farEndShare is the depth over the focal length, times the magnification,
	// from which the step at the far end is 10 % wider: (1 + 0.049)² is 1.1.
	farEndShare = 0.049
)

func focusRows(b *bytes.Buffer, t *optics.FocusTask, p *optics.FocusPlan, width int) error {
	columns := []report.Column{
		{Head: "f-number", Short: "f", Right: true},
		{Head: "works as", Short: "works", Right: true, Drop: 2},
		{Head: "sharp depth mm", Short: "sharp mm", Right: true, Drop: 3},
		{Head: "focus step mm", Short: "step mm", Right: true},
		{Head: "frames", Right: true},
		{Head: "detail left MP", Short: "MP left", Right: true, Drop: 4},
		{Head: "diffraction", Short: "Q", Right: true, Drop: 1},
	}
	if t.Exposure > 0 {
		columns = append(columns, report.Column{Head: "time", Right: true})
	}
	columns = append(columns, report.Column{})
	places := 3
	for _, r := range p.Rows {
		if r.Step < 0.02*optics.Millimetre {
			places = 5
		}
	}
	mm := func(l optics.Length) string {
		if v := l.Millimetres(); !math.IsNaN(v) && !math.IsInf(v, 0) {
			return strconv.FormatFloat(v, 'f', places, 64)
		}
		return "no end"
	}
	var rows [][]string
	for i, r := range p.Rows {
		set := r.Aperture
		if t.NumericalAperture == 0 && !t.WorkingFNumbers {
			set = "f/" + decimals(r.FNumber, 2)
		}
		row := []string{
			set, "f/" + decimals(r.Working, 1), mm(r.Used), mm(r.Step),
			strconv.Itoa(r.Frames), megapixels(r.MegapixelsLeft), strconv.FormatFloat(r.Q, 'f', 2, 64),
		}
		if t.Exposure > 0 {
			row = append(row, duration(r.Total))
		}
		mark := ""
		if i == p.Recommended {
			mark = "<"
		}
		rows = append(rows, append(row, mark))
	}
	return report.Grid(b, columns, rows, width, nil)
}

// focusWords explains the columns in plain words, with the terms in brackets.
func focusWords(b *bytes.Buffer, t *optics.FocusTask, p *optics.FocusPlan, pupilAssumed bool, width int) {
	blur := fmt.Sprintf("a blur of %v or %s pixels (geometric)", p.Blur, decimals(float64(p.Blur/p.Pitch), 1))
	depth := "the larger of what " + blur + " and what diffraction (wave) allow"
	if t.GeometryOnly {
		depth = "what " + blur + " allows"
	}
	report.Paragraph(b, "", 0, fmt.Sprintf("Sharp depth (depth of field), both sides together: %s. Neighbouring frames overlap by %s %%.",
		depth, decimals(100*t.Overlap, 1)), width)
	report.Paragraph(b, "", 0, fmt.Sprintf("Diffraction (Q): above %s it shows at 100 %%, above %s it takes the finest detail, from %s on no sharpening brings it back.",
		decimals(optics.QNotice, 2), decimals(optics.QWarning, 2), decimals(optics.QCutoff, 2)), width)
	if pupilAssumed {
		report.Paragraph(b, "", 0, "Assumed: pupil magnification 1, a symmetric lens (--pupil).", width)
	}
}

// sentence begins a sentence with a capital and ends it.
func sentence(s string) string { return strings.ToUpper(s[:1]) + s[1:] + "." }

// exactTime returns what a marked shutter time is in truth (30 s is 32 s), and
// any other time as it is.
func exactTime(t optics.Seconds) optics.Seconds {
	s, ok := optics.SnapShutter(t, optics.ThirdStops)
	if ok && math.Abs(s.Marked/float64(t)-1) < 1e-6 {
		return optics.Seconds(s.Exact)
	}
	return t
}

// duration writes a time in one form, to three digits below a minute: "31.8 s",
// "1 min 50 s", "2 h 5 min".
func duration(t optics.Seconds) string {
	if t < 59.95 {
		return t.String()
	}
	two := func(units int64, large string, of int64, small string) string {
		if units%of == 0 {
			return fmt.Sprintf("%d %s", units/of, large)
		}
		return fmt.Sprintf("%d %s %d %s", units/of, large, units%of, small)
	}
	if seconds := int64(math.Round(float64(t))); seconds < 3600 {
		return two(seconds, "min", 60, "s")
	}
	return two(int64(math.Round(float64(t)/60)), "h", 60, "min")
}

// megapixels writes a count to a tenth, below one to a hundredth.
func megapixels(mp float64) string {
	if mp < 1 {
		return decimals(mp, 2)
	}
	return decimals(mp, 1)
}

// decimals writes a number with at most a number of decimals and no zeros at the end.
func decimals(v float64, most int) string {
	s := strconv.FormatFloat(v, 'f', most, 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s
}
