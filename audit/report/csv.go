package report

import (
	"bytes"
	"encoding/csv"
	"io"
	"strconv"
	"strings"
	"unicode/utf8"

	"prestrike/audit"
	"prestrike/audit/pixels"
	"prestrike/audit/shoot"
	"prestrike/exifread"
)

// A csvColumn is one column of the CSV form. Its name is stable: programs depend on it.
type csvColumn struct {
	name string
	cell func(*csvRow) string
}

// A csvRow is what the cells of one frame are made of.
type csvRow struct {
	session  *sessionModel
	sequence *sequenceModel
	at       int // place in the sequence
	frame    *shoot.Frame
	meta     *exifread.Metadata
	measured *pixels.FrameSummary // nil where the picture was not measured
	found    []*audit.Finding     // about the frame, in its sequence
	also     []*audit.Finding     // about the frame, in its session
}

// csvColumns are the columns in their order. An empty cell is not known.
var csvColumns = []csvColumn{
	{"path", func(r *csvRow) string { return csvText(r.frame.Path()) }},
	{"session", func(r *csvRow) string { return r.session.id }},
	{"sequence", func(r *csvRow) string { return r.sequence.id }},
	{"kind", func(r *csvRow) string { return r.sequence.kind.String() }},
	{"view", func(r *csvRow) string { return csvText(r.sequence.view) }},
	{"number", func(r *csvRow) string {
		if !r.frame.Number.Known {
			return ""
		}
		return strconv.Itoa(r.frame.Number.N)
	}},
	{"time", func(r *csvRow) string {
		if t := jsonTime(r.frame); t != nil {
			return *t
		}
		return ""
	}},
	{"interval_s", func(r *csvRow) string {
		if r.at == 0 || !r.frame.Timed() || !r.sequence.frames[r.at-1].Timed() {
			return ""
		}
		return csvNumber(r.frame.Time.Sub(r.sequence.frames[r.at-1].Time).Seconds())
	}},
	{"body_make", func(r *csvRow) string { return csvText(r.session.bodies[r.sequence.body].Make) }},
	{"body_model", func(r *csvRow) string { return csvText(r.session.bodies[r.sequence.body].Model) }},
	{"body_serial", func(r *csvRow) string { return csvText(r.session.bodies[r.sequence.body].Serial) }},
	{"lens", func(r *csvRow) string { return csvText(r.meta.LensModel.Or("")) }},
	{"focal_length_mm", func(r *csvRow) string { return csvRational(r.meta.FocalLength) }},
	{"f_number", func(r *csvRow) string { return csvRational(r.meta.FNumber) }},
	{"working_f_number", func(r *csvRow) string {
		if n, ok := r.sequence.working[r.frame]; ok {
			return csvNumber(n)
		}
		return ""
	}},
	{"exposure_time_s", func(r *csvRow) string { return csvRational(r.meta.ExposureTime) }},
	{"iso", func(r *csvRow) string {
		if v, ok := r.meta.Sensitivity.Get(); ok {
			return strconv.FormatUint(uint64(v), 10)
		}
		return ""
	}},
	{"distance_m", func(r *csvRow) string {
		if d, ok := r.meta.SubjectDistance.Get(); ok && d.State == exifread.DistanceMetres {
			return csvNumber(d.Metres)
		}
		return ""
	}},
	{"brightness_ev", csvMeasure(func(s *csvRow) float64 { return s.measured.EV })},
	{"clipped_percent", csvMeasure(func(s *csvRow) float64 { return 100 * s.measured.Clipped })},
	{"sharpest_percent", csvMeasure(func(s *csvRow) float64 { return 100 * s.measured.Sharpest })},
	{"shift_x_px", csvMeasure(func(s *csvRow) float64 { return s.pixels(s.measured.ShiftX) })},
	{"shift_y_px", csvMeasure(func(s *csvRow) float64 { return s.pixels(s.measured.ShiftY) })},
	{"verdict", func(r *csvRow) string { return r.sequence.verdictWord() }},
	{"findings", func(r *csvRow) string { return csvText(r.findings()) }},
}

// writeCSV writes a row per frame as RFC 4180 has it, in UTF-8.
func writeCSV(w io.Writer, m *model, _ *Options) error {
	out := csv.NewWriter(w)
	out.UseCRLF = true
	cells := make([]string, len(csvColumns))
	for i, c := range csvColumns {
		cells[i] = c.name
	}
	if err := out.Write(cells); err != nil {
		return err
	}
	for i := range m.sessions {
		s := &m.sessions[i]
		also := aboutFrames(s.findings)
		for k := range s.sequences {
			q := &s.sequences[k]
			found := aboutFrames(q.findings)
			for at, f := range q.frames {
				r := &csvRow{
					session: s, sequence: q, at: at, frame: f, meta: f.Meta(),
					measured: q.measured(at), found: found[f], also: also[f],
				}
				for c := range csvColumns {
					cells[c] = csvColumns[c].cell(r)
				}
				if err := out.Write(cells); err != nil {
					return err
				}
			}
		}
	}
	out.Flush()
	return out.Error()
}

// isCSV knows the row of heads again.
func isCSV(begin, _ []byte) bool {
	var names []string
	for _, c := range csvColumns {
		names = append(names, c.name)
	}
	return bytes.HasPrefix(begin, []byte(strings.Join(names, ",")+"\r\n"))
}

// findings names what was found about the frame, one after the other.
func (r *csvRow) findings() string {
	var list []string
	add := func(found []*audit.Finding, retaken bool) {
		for _, f := range found {
			word := f.Severity.String()
			switch {
			case f.Accepted:
				word = wordAccepted
			case f.Closed:
				word = wordClosed
			case retaken:
				word = wordRetaken
			}
			list = append(list, word+" "+f.Rule)
		}
	}
	add(r.found, r.sequence.supersededBy != "")
	add(r.also, false)
	return strings.Join(list, "; ")
}

// pixels turns px of the analysed picture into pixels of the picture inspected.
func (r *csvRow) pixels(px float64) float64 { return px * float64(r.sequence.seen.Judgement.Factor) }

func csvMeasure(value func(*csvRow) float64) func(*csvRow) string {
	return func(r *csvRow) string {
		if r.measured == nil {
			return ""
		}
		return csvNumber(value(r))
	}
}

// csvNumber writes a number with at most four significant decimals, and without an
// exponent.
func csvNumber(v float64) string {
	if FiniteOrNull(v) == nil {
		return ""
	}
	text := strings.TrimRight(strings.TrimRight(strconv.FormatFloat(v, 'f', 4, 64), "0"), ".")
	if text == "-0" {
		return "0"
	}
	return text
}

// csvRational writes a recorded value with enough digits that 1/8000 s keeps its own.
func csvRational(v exifread.Value[exifread.Rational]) string {
	r, ok := v.Get()
	if !ok || FiniteOrNull(r.Float()) == nil {
		return ""
	}
	return strconv.FormatFloat(r.Float(), 'f', -1, 32)
}

// csvText makes text from a file harmless: what a terminal would act on is escaped, and
// before what a spreadsheet takes for the beginning of a formula stands an apostrophe.
// The characters are those of the OWASP Foundation's page on CSV injection.
func csvText(s string) string {
	s = Visible(s)
	if first, _ := utf8.DecodeRuneInString(strings.TrimLeft(s, " ")); strings.ContainsRune("=+-@＝＋－＠", first) {
		return "'" + s
	}
	return s
}

// aboutFrames gathers findings by the frames that they are about.
func aboutFrames(findings []*audit.Finding) map[*shoot.Frame][]*audit.Finding {
	var about map[*shoot.Frame][]*audit.Finding
	for _, f := range findings {
		for _, frame := range f.Frames {
			if about == nil {
				about = map[*shoot.Frame][]*audit.Finding{}
			}
			about[frame] = append(about[frame], f)
		}
	}
	return about
}
