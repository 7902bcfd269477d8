package report

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
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

// The JSON form. Keys are always present, null means what is not known,
// and lists are never null. A change of meaning raises version.
type (
	jsonReport struct {
		Format   string        `json:"format"`
		Version  int           `json:"version"`
		Verdict  string        `json:"verdict"`
		Sessions []jsonSession `json:"sessions"`
		Views    []jsonView    `json:"views"`
		TimeLeft *jsonTimeLeft `json:"time_left"`
		Files    jsonFiles     `json:"files"`
	}
	jsonView struct {
		Name     string  `json:"name"`
		Sequence *string `json:"sequence"`
		State    string  `json:"state"`
		Optional bool    `json:"optional"`
	}
	// jsonTimeLeft is how long what is open of the shot list takes, and how long until the
	// courier comes; null where no courier comes that day.
	jsonTimeLeft struct {
		Left          float64     `json:"left_s"` // below 0 once the courier was to come
		OpenViews     int         `json:"open_views"`
		Needed        *float64    `json:"needed_s"`         // as likely too long as too short
		NeededCareful *float64    `json:"needed_careful_s"` // enough in 4 of 5 cases
		Fits          *bool       `json:"fits"`             // the careful estimate
		FewerFrames   []jsonFewer `json:"fewer_frames"`     // with which it fits
		ViewsThatFit  *int        `json:"views_that_fit"`   // as listed, in the order of the list
	}
	jsonFewer struct {
		View      string   `json:"view"`
		Frames    int      `json:"frames"`
		StepRatio float64  `json:"step_ratio"` // focus steps, in those planned
		Overlap   *float64 `json:"overlap"`    // share of the sharp depth; null where the list has none
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
		// ClockAhead is by how much times of its frames were put back; null where they stand as recorded.
		ClockAhead *float64 `json:"clock_ahead_s"`
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
		SupportBy    string         `json:"support_by"`
		Seen         []jsonSeen     `json:"seen"`
		Verdict      string         `json:"verdict"`
		SupersededBy *string        `json:"superseded_by"`
		PatchedBy    []string       `json:"patched_by"`
		Patches      *string        `json:"patches"`
		View         *string        `json:"view"`
		Frames       []jsonFrame    `json:"frames"`
		Merged       []jsonFrame    `json:"merged"`
		Findings     []jsonFinding  `json:"findings"`
		NotJudged    []jsonUnjudged `json:"not_judged"`
	}
	// jsonSeen is an answer of the pictures to a question about the whole sequence.
	jsonSeen struct {
		Question string   `json:"question"`
		Answer   string   `json:"answer"` // "yes", "no" or "not known"
		With     *string  `json:"with"`   // the other sequence, where the question is about two
		Measured *float64 `json:"measured"`
		Unit     *string  `json:"unit"`
		Reason   *string  `json:"reason"` // why they cannot tell
	}
	jsonSettings struct {
		ExposureTime *float64 `json:"exposure_time_s"`
		FNumber      *float64 `json:"f_number"`
		ISO          *uint32  `json:"iso"`
		FocalLength  *float64 `json:"focal_length_mm"`
	}
	jsonFrame struct {
		Files  []string `json:"files"`
		Copies []string `json:"copies"`
		Number *int     `json:"number"`
		Time   *string  `json:"time"`
	}
	jsonFinding struct {
		Rule     string   `json:"rule"`
		Title    string   `json:"title"`
		Severity string   `json:"severity"`
		Accepted bool     `json:"accepted"`
		Closed   bool     `json:"closed"`
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
		Merged     int              `json:"merged"`
		Copies     int              `json:"copies"`
		Earlier    int              `json:"earlier"`
		Since      *string          `json:"since"`
		Other      int              `json:"other"`
		Unreadable []jsonUnreadable `json:"unreadable"`
		Unread     []jsonUnread     `json:"unread"`
		Unfinished []string         `json:"unfinished"`
	}
	jsonUnread struct {
		Path *string `json:"path"`
		Kind string  `json:"kind"`
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

// writeJSON writes one sequence after the other: 100,000 frames at once would take
// more memory than reading them did.
func writeJSON(w io.Writer, m *model, _ *Options) error {
	out := jsonReport{
		Format: jsonFormat, Version: jsonVersion, Verdict: m.verdict.String(), Sessions: []jsonSession{}, Views: make([]jsonView, 0, len(m.views)),
		Files: jsonFiles{
			Read: m.files.read, Frames: m.files.frames, Merged: m.files.merged, Copies: m.files.copies, Earlier: m.files.earlier, Since: m.files.since, Other: m.files.other,
			Unreadable: make([]jsonUnreadable, 0, len(m.files.unreadable)),
			Unread:     make([]jsonUnread, 0, len(m.files.unread)), Unfinished: make([]string, 0, len(m.files.unfinished)),
		},
	}
	for _, v := range m.views {
		out.Views = append(out.Views, jsonView{JSONText(v.name), textOrNull(v.sequence), v.state, v.optional})
	}
	out.TimeLeft = newJSONTimeLeft(m.time)
	for _, f := range m.files.unreadable {
		out.Files.Unreadable = append(out.Files.Unreadable, jsonUnreadable{JSONText(f.path), JSONText(f.reason)})
	}
	for _, p := range m.files.unread {
		out.Files.Unread = append(out.Files.Unread, jsonUnread{textOrNull(p.Path), problemWords[p.Kind]})
	}
	for _, path := range m.files.unfinished {
		out.Files.Unfinished = append(out.Files.Unfinished, JSONText(path))
	}
	err := writeAround(w, out, "", "sessions", len(m.sessions), func(i int, margin string) error {
		session := &m.sessions[i]
		return writeAround(w, newJSONSession(session), margin, "sequences", len(session.sequences), func(i int, margin string) error {
			text, err := encode(newJSONSequence(&session.sequences[i]), margin)
			if err == nil {
				_, err = w.Write(text)
			}
			return err
		})
	})
	if err == nil {
		_, err = io.WriteString(w, "\n")
	}
	return err
}

func thousandths(v float64) float64 { return math.Round(1000*v) / 1000 }

func newJSONTimeLeft(t timeModel) *jsonTimeLeft {
	left, ok := t.left.Get()
	if !ok {
		return nil
	}
	out := &jsonTimeLeft{Left: math.Round(left.Seconds()), OpenViews: t.needed.Views, FewerFrames: []jsonFewer{}}
	fit, ok := t.fit.Get()
	if !ok {
		return out
	}
	out.Needed, out.NeededCareful = new(math.Round(t.needed.Median.Seconds())), new(math.Round(t.needed.Careful.Seconds()))
	out.Fits, out.ViewsThatFit = new(fit.AsListed), new(fit.Views)
	for _, f := range fit.Fewer {
		fewer := jsonFewer{View: JSONText(f.View.Name), Frames: f.Frames, StepRatio: thousandths(f.StepRatio)}
		if overlap, known := f.Overlap.Get(); known {
			fewer.Overlap = new(thousandths(overlap))
		}
		out.FewerFrames = append(out.FewerFrames, fewer)
	}
	return out
}

// writeAround writes an object whose list of a name is empty, with n items in
// that list. each writes one item, its lines after the first behind a margin.
func writeAround(w io.Writer, object any, margin, name string, n int, each func(i int, margin string) error) error {
	text, err := encode(object, margin)
	if err != nil {
		return err
	}
	// Inside a string quotation marks have a backslash before them, so that this is the list.
	begin, end, _ := bytes.Cut(text, []byte(`"`+name+`": []`))
	var b bytes.Buffer
	b.Write(begin)
	fmt.Fprintf(&b, `"%s": [`, name)
	inner := margin + indent + indent
	for i := range n {
		if i > 0 {
			b.WriteByte(',')
		}
		b.WriteString("\n" + inner)
		if _, err := b.WriteTo(w); err != nil {
			return err
		}
		if err := each(i, inner); err != nil {
			return err
		}
	}
	if n > 0 {
		b.WriteString("\n" + margin + indent)
	}
	b.WriteByte(']')
	b.Write(end)
	_, err = b.WriteTo(w)
	return err
}

// newJSONSession is the session without its sequences.
func newJSONSession(s *sessionModel) jsonSession {
	out := jsonSession{
		ID: s.id, Start: jsonTime(s.first), End: jsonTime(s.last),
		Bodies: make([]jsonBody, 0, len(s.bodies)), FrameCount: s.frames, Verdict: s.verdict.String(),
		Sequences: []jsonSequence{},
		Findings:  newJSONFindings(s.findings), NotJudged: newJSONUnjudged(s.notJudged),
	}
	for _, b := range s.bodies {
		body := jsonBody{Make: textOrNull(b.Make), Model: textOrNull(b.Model), Serial: textOrNull(b.Serial)}
		if b.Clock.Of != nil {
			body.ClockAhead = FiniteOrNull(b.Clock.Ahead.Seconds())
		}
		out.Bodies = append(out.Bodies, body)
	}
	return out
}

func newJSONSequence(q *sequenceModel) jsonSequence {
	out := jsonSequence{
		ID: q.id, Kind: q.kind.String(), Start: jsonTime(q.first), End: jsonTime(q.last), FrameCount: len(q.frames),
		Support: q.support.String(), SupportBy: q.supportBy, Seen: newJSONSeen(q), Verdict: q.verdict.String(),
		View: textOrNull(q.view), Frames: newJSONFrames(q.frames), Merged: newJSONFrames(q.merged),
		Findings: newJSONFindings(q.findings), NotJudged: newJSONUnjudged(q.notJudged),
	}
	if c, ok := q.cadence.Get(); ok {
		out.Cadence = new(c.Seconds())
	}
	if v, ok := q.settings.ExposureTime.Get(); ok {
		out.Settings.ExposureTime = FiniteOrNull(v.Float())
	}
	if v, ok := q.settings.FNumber.Get(); ok {
		out.Settings.FNumber = FiniteOrNull(v.Float())
	}
	if v, ok := q.settings.ISO.Get(); ok {
		out.Settings.ISO = new(v)
	}
	if v, ok := q.settings.FocalLength.Get(); ok {
		out.Settings.FocalLength = FiniteOrNull(v.Float())
	}
	out.PatchedBy = []string{}
	switch {
	case q.patch:
		out.Patches = new(q.with[0])
	case len(q.with) > 0:
		out.PatchedBy = q.with
	}
	if q.supersededBy != "" {
		out.SupersededBy = new(q.supersededBy)
	}
	return out
}

func newJSONFrames(frames []*shoot.Frame) []jsonFrame {
	out := make([]jsonFrame, 0, len(frames))
	for _, f := range frames {
		frame := jsonFrame{Files: make([]string, 0, len(f.Files)), Copies: []string{}, Time: jsonTime(f)}
		for _, file := range f.Files {
			frame.Files = append(frame.Files, JSONText(file.Path))
		}
		for _, c := range f.Copies {
			for _, file := range c.Files {
				frame.Copies = append(frame.Copies, JSONText(file.Path))
			}
		}
		if f.Number.Known {
			frame.Number = new(f.Number.N)
		}
		out = append(out, frame)
	}
	return out
}

func newJSONFindings(findings []*audit.Finding) []jsonFinding {
	list := make([]jsonFinding, 0, len(findings))
	for _, f := range findings {
		out := jsonFinding{
			Rule: f.Rule, Title: title(f.Title, f.Rule), Severity: f.Severity.String(), Accepted: f.Accepted, Closed: f.Closed,
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

// jsonTime writes the frame's time as RFC 3339 does, with as many decimals as
// the clock records and without an offset where none is recorded; nil where
// there is no time.
func jsonTime(f *shoot.Frame) *string {
	if f == nil || !f.Timed() {
		return nil
	}
	var offset *time.Duration
	if zone, ok := f.Zone().Get(); ok {
		offset = new(zone)
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

// indent is how much deeper each level of JSON stands.
const indent = "  "

// EncodeJSON writes v indented, with every character escaped that a terminal
// would act on or not show.
func EncodeJSON(b *bytes.Buffer, v any) error {
	text, err := encode(v, "")
	if err != nil {
		return err
	}
	b.Write(text)
	b.WriteByte('\n')
	return nil
}

// encode is EncodeJSON with a margin before each line but the first, and no line
// end after the last.
func encode(v any, margin string) ([]byte, error) {
	var plain bytes.Buffer
	e := json.NewEncoder(&plain)
	e.SetEscapeHTML(false)
	e.SetIndent(margin, indent)
	if err := e.Encode(v); err != nil {
		return nil, err
	}
	text := bytes.TrimSuffix(plain.Bytes(), []byte("\n"))
	var b bytes.Buffer
	written := 0 // of the text
	for at := 0; at < len(text); {
		// Only the text inside strings can hold such characters; the newlines of
		// the indentation are the one exception.
		r, n := rune(text[at]), 1
		if r >= utf8.RuneSelf {
			r, n = utf8.DecodeRune(text[at:])
		}
		if r == '\n' || strconv.IsPrint(r) {
			at += n
			continue
		}
		b.Write(text[written:at])
		if r > 0xFFFF {
			high, low := utf16.EncodeRune(r)
			fmt.Fprintf(&b, `\u%04x\u%04x`, high, low)
		} else {
			fmt.Fprintf(&b, `\u%04x`, r)
		}
		at += n
		written = at
	}
	if written == 0 { // as nearly always
		return text, nil
	}
	b.Write(text[written:])
	return b.Bytes(), nil
}
