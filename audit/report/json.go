package report

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"regexp"
	"strconv"
	"strings"
	"time"
	"unicode/utf16"
	"unicode/utf8"

	"prestrike/audit"
	"prestrike/audit/shoot"
)

// The JSON form. Keys are always present, null stands for what is not known,
// and lists are never null. A change of meaning raises version.
type (
	jsonReport struct {
		Format   string        `json:"format"`
		Version  int           `json:"version"`
		Verdict  string        `json:"verdict"`
		Sessions []jsonSession `json:"sessions"`
		Files    jsonFiles     `json:"files"`
	}
	jsonSession struct {
		ID         string         `json:"id"`
		Start      *string        `json:"start"`
		End        *string        `json:"end"`
		Bodies     []jsonBody     `json:"bodies"`
		FrameCount int            `json:"frame_count"`
		Verdict    string         `json:"verdict"`
		Sequences  []jsonSequence `json:"sequences"`
		Findings   []jsonFinding  `json:"findings"`
		NotJudged  []jsonUnjudged `json:"not_judged"`
	}
	jsonBody struct {
		Make   *string `json:"make"`
		Model  *string `json:"model"`
		Serial *string `json:"serial"`
	}
	jsonSequence struct {
		ID           string         `json:"id"`
		Kind         string         `json:"kind"`
		Start        *string        `json:"start"`
		End          *string        `json:"end"`
		FrameCount   int            `json:"frame_count"`
		Cadence      *float64       `json:"cadence_s"`
		Settings     jsonSettings   `json:"settings"`
		Support      string         `json:"support"`
		Verdict      string         `json:"verdict"`
		SupersededBy *string        `json:"superseded_by"`
		Frames       []jsonFrame    `json:"frames"`
		Findings     []jsonFinding  `json:"findings"`
		NotJudged    []jsonUnjudged `json:"not_judged"`
	}
	jsonSettings struct {
		ExposureTime *float64 `json:"exposure_time_s"`
		FNumber      *float64 `json:"f_number"`
		ISO          *uint32  `json:"iso"`
		FocalLength  *float64 `json:"focal_length_mm"`
	}
	jsonFrame struct {
		Files  []string `json:"files"`
		Number *int     `json:"number"`
		Time   *string  `json:"time"`
	}
	jsonFinding struct {
		Rule     string   `json:"rule"`
		Severity string   `json:"severity"`
		Accepted bool     `json:"accepted"`
		Message  string   `json:"message"`
		Action   string   `json:"action"`
		Frames   []string `json:"frames"`
		Measured *float64 `json:"measured"`
		Limit    *float64 `json:"limit"`
		Unit     *string  `json:"unit"`
	}
	jsonUnjudged struct {
		Rule   string `json:"rule"`
		Reason string `json:"reason"`
	}
	jsonFiles struct {
		Read       int              `json:"read"`
		Frames     int              `json:"frames"`
		Other      int              `json:"other"`
		Unreadable []jsonUnreadable `json:"unreadable"`
	}
	jsonUnreadable struct {
		Path   string `json:"path"`
		Reason string `json:"reason"`
	}
)

const (
	jsonFormat  = "prestrike-report"
	jsonVersion = 2
)

func writeJSON(b *bytes.Buffer, r *audit.Result, _ *Options) error {
	out := jsonReport{
		Format: jsonFormat, Version: jsonVersion, Verdict: r.Verdict.String(),
		Sessions: make([]jsonSession, 0, len(r.Sessions)),
		Files: jsonFiles{
			Read: r.Files.Read, Frames: r.Files.Frames, Other: r.Files.Other,
			Unreadable: make([]jsonUnreadable, 0, len(r.Files.Unreadable)),
		},
	}
	for _, s := range r.Sessions {
		out.Sessions = append(out.Sessions, newJSONSession(s))
	}
	for _, f := range r.Files.Unreadable {
		out.Files.Unreadable = append(out.Files.Unreadable, jsonUnreadable{JSONText(f.Path), JSONText(reason(f))})
	}
	return EncodeJSON(b, out)
}

// reason says why a file cannot be read, without the path that it was opened
// by: a report must not depend on where the folder lies.
func reason(f *shoot.File) string {
	if f.Err == nil {
		return ""
	}
	if e, ok := errors.AsType[*fs.PathError](f.Err); ok {
		return e.Err.Error()
	}
	return strings.TrimPrefix(f.Err.Error(), "read "+f.Abs+": ")
}

func newJSONSession(s *audit.Session) jsonSession {
	first, last := timedEnds(s.Sequences)
	out := jsonSession{
		ID: s.ID, Start: jsonTime(first), End: jsonTime(last),
		Bodies: make([]jsonBody, 0, len(s.Bodies)), FrameCount: s.Frames(), Verdict: s.Verdict.String(),
		Sequences: make([]jsonSequence, 0, len(s.Sequences)),
		Findings:  newJSONFindings(s.Findings), NotJudged: newJSONUnjudged(s.NotJudged),
	}
	for _, b := range s.Bodies {
		out.Bodies = append(out.Bodies, jsonBody{Make: textOrNull(b.Make), Model: textOrNull(b.Model), Serial: textOrNull(b.Serial)})
	}
	for _, q := range s.Sequences {
		out.Sequences = append(out.Sequences, newJSONSequence(q))
	}
	return out
}

func newJSONSequence(q *audit.Reviewed) jsonSequence {
	first, last := timedEnds([]*audit.Reviewed{q})
	out := jsonSequence{
		ID: q.ID, Kind: q.Kind.String(), Start: jsonTime(first), End: jsonTime(last), FrameCount: len(q.Frames),
		Support: q.Support.String(), Verdict: q.Verdict.String(),
		Frames:   make([]jsonFrame, 0, len(q.Frames)),
		Findings: newJSONFindings(q.Findings), NotJudged: newJSONUnjudged(q.NotJudged),
	}
	if c, ok := cadence(q); ok {
		out.Cadence = new(c.Seconds())
	}
	if v, ok := q.Settings.ExposureTime.Get(); ok {
		out.Settings.ExposureTime = FiniteOrNull(v.Float())
	}
	if v, ok := q.Settings.FNumber.Get(); ok {
		out.Settings.FNumber = FiniteOrNull(v.Float())
	}
	if v, ok := q.Settings.ISO.Get(); ok {
		out.Settings.ISO = new(v)
	}
	if v, ok := q.Settings.FocalLength.Get(); ok {
		out.Settings.FocalLength = FiniteOrNull(v.Float())
	}
	if q.SupersededBy != nil {
		out.SupersededBy = new(q.SupersededBy.ID)
	}
	for _, f := range q.Frames {
		frame := jsonFrame{Files: make([]string, 0, len(f.Files)), Time: jsonTime(f)}
		for _, file := range f.Files {
			frame.Files = append(frame.Files, JSONText(file.Path))
		}
		if f.Number.Known {
			frame.Number = new(f.Number.N)
		}
		out.Frames = append(out.Frames, frame)
	}
	return out
}

func newJSONFindings(findings []*audit.Finding) []jsonFinding {
	list := make([]jsonFinding, 0, len(findings))
	for _, f := range findings {
		out := jsonFinding{
			Rule: f.Rule, Severity: f.Severity.String(), Accepted: f.Accepted,
			Message: JSONText(f.Message), Action: JSONText(f.Action), Frames: make([]string, 0, len(f.Frames)),
		}
		for _, frame := range f.Frames {
			out.Frames = append(out.Frames, JSONText(frame.Path()))
		}
		if v, ok := f.Measured.Get(); ok {
			out.Measured = FiniteOrNull(v)
		}
		if v, ok := f.Limit.Get(); ok {
			out.Limit = FiniteOrNull(v)
		}
		if out.Measured != nil || out.Limit != nil {
			out.Unit = new(f.Unit)
		}
		list = append(list, out)
	}
	return list
}

func newJSONUnjudged(reasons []audit.NotJudged) []jsonUnjudged {
	list := make([]jsonUnjudged, 0, len(reasons))
	for _, n := range reasons {
		list = append(list, jsonUnjudged{Rule: n.Rule, Reason: JSONText(n.Reason)})
	}
	return list
}

// timedEnds returns the earliest and the latest timed frame; nil where no
// frame records its time.
func timedEnds(sequences []*audit.Reviewed) (first, last *shoot.Frame) {
	for _, q := range sequences {
		for _, f := range q.Frames {
			if !f.Timed() {
				continue
			}
			if first == nil || f.Time.Before(first.Time) {
				first = f
			}
			if last == nil || !f.Time.Before(last.Time) {
				last = f
			}
		}
	}
	return first, last
}

// jsonTime writes the frame's time as RFC 3339 does, with as many decimals as
// the clock records and without an offset where none is recorded; nil where
// there is no time.
func jsonTime(f *shoot.Frame) *string {
	if f == nil || !f.Timed() {
		return nil
	}
	var offset *time.Duration
	if captured, ok := f.Meta().Captured.Get(); ok {
		if o, ok := captured.Offset.Get(); ok {
			// The frame's time may have been shifted to the zone of the body's first frame.
			offset = new(o + f.Time.Sub(captured.Wall))
		}
	}
	return new(FormatTime(f.Time, f.Resolution, offset))
}

// FormatTime writes a wall clock's reading as RFC 3339 does, with as many
// decimals as the resolution is worth, and without an offset where it is nil.
func FormatTime(wall time.Time, resolution time.Duration, offset *time.Duration) string {
	decimals := 0
	for step := time.Second; resolution > 0 && step > resolution && decimals < 9; step /= 10 {
		decimals++
	}
	layout := "2006-01-02T15:04:05"
	if decimals > 0 {
		layout += "." + strings.Repeat("0", decimals)
	}
	s := wall.Format(layout)
	if offset != nil {
		minutes := int(offset.Round(time.Minute).Minutes())
		sign := '+'
		if minutes < 0 {
			sign, minutes = '-', -minutes
		}
		s += fmt.Sprintf("%c%02d:%02d", sign, minutes/60, minutes%60)
	}
	return s
}

// FiniteOrNull returns v for a JSON number, which can be neither infinite nor NaN.
func FiniteOrNull(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}

func textOrNull(s string) *string {
	if s == "" {
		return nil
	}
	return new(JSONText(s))
}

// JSONText returns s for a JSON string, which can only hold UTF-8: as it is,
// or, where it holds other bytes, with those as \xNN and every backslash
// doubled. Text that already holds \x is treated the same, so that different
// names stay different.
func JSONText(s string) string {
	if utf8.ValidString(s) && !strings.Contains(s, `\x`) {
		return s
	}
	var b strings.Builder
	for len(s) > 0 {
		r, n := utf8.DecodeRuneInString(s)
		switch {
		case r == utf8.RuneError && n == 1:
			fmt.Fprintf(&b, `\x%02x`, s[0])
		case r == '\\':
			b.WriteString(`\\`)
		default:
			b.WriteRune(r)
		}
		s = s[n:]
	}
	return b.String()
}

// jsonBegins is how every JSON form of the program begins.
var jsonBegins = regexp.MustCompile(`^\s*\{\s*"format":\s*"prestrike-`)

func isJSON(begin, _ []byte) bool { return jsonBegins.Match(begin) }

// EncodeJSON writes v indented, with every character escaped that a terminal
// would act on or not show.
func EncodeJSON(b *bytes.Buffer, v any) error {
	var plain bytes.Buffer
	e := json.NewEncoder(&plain)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	if err := e.Encode(v); err != nil {
		return err
	}
	// Only the text inside strings can hold such characters; the newlines of
	// the indentation are the one exception.
	for text := plain.Bytes(); len(text) > 0; {
		r, n := utf8.DecodeRune(text)
		switch {
		case r == '\n' || strconv.IsPrint(r):
			b.Write(text[:n])
		case r > 0xFFFF:
			high, low := utf16.EncodeRune(r)
			fmt.Fprintf(b, `\u%04x\u%04x`, high, low)
		default:
			fmt.Fprintf(b, `\u%04x`, r)
		}
		text = text[n:]
	}
	return nil
}
