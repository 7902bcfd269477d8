package report

import (
	"bytes"
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"prestrike/audit"
	"prestrike/audit/shoot"
)

// WriteLive writes an event of a live audit for people: a line for a sequence
// that is closed or corrected, below it what was found. A sequence that is only
// opened is shown by [LiveLine].
func WriteLive(b *bytes.Buffer, e audit.LiveEvent, width int, colour bool) {
	q, ink := newSequence(e.Sequence), ink(colour)
	switch e.Kind {
	case audit.SequenceClosed:
		word := q.verdictWord()
		Paragraph(b, ink.mark(word, fmt.Sprintf("%-9s", word)), 9, fmt.Sprintf("%s (closed %s)", liveName(&q), e.Reason), width)
	case audit.SequenceCorrected:
		word := q.verdictWord()
		text := fmt.Sprintf("%s is now: %s", liveName(&q), word)
		if q.supersededBy == "" && q.verdict > audit.VerdictGood && len(e.Settled) > 0 { // else the word is enough
			text += "; no longer found: " + settledTitles(e.Settled)
		}
		Paragraph(b, "corrected  ", 11, text, width)
	case audit.SequenceOverdue:
		Paragraph(b, ink.mark("check", "overdue  "), 9, liveName(&q)+": "+e.Reason+": check the camera, its battery and its card", width)
	case audit.SequenceStalled:
		Paragraph(b, ink.mark("check", "stalled  "), 9, liveName(&q)+": "+e.Reason+": check the camera, its battery and its card; press Enter if the sequence is over", width)
	}
	for _, f := range e.Findings {
		writeLiveFinding(b, q.id, f, width, ink)
	}
}

// settledTitles names findings, each of them once.
func settledTitles(list []*audit.Finding) string {
	var titles []string
	for _, f := range list {
		if t := title(f.Title, f.Rule); !slices.Contains(titles, t) {
			titles = append(titles, t)
		}
	}
	return strings.Join(titles, ", ")
}

func writeLiveFinding(b *bytes.Buffer, id string, f *audit.Finding, width int, ink ink) {
	word := f.Severity.String()
	text := fmt.Sprintf("%s (%s): %s", title(f.Title, f.Rule), id, sentences(f.Message, f.Action))
	Paragraph(b, ink.mark(word, fmt.Sprintf("%-9s", word)), 9, text, width)
}

// Headline writes what was found in a sequence, without what to do, on one line:
// "Missing frames (1.2): ...".
func Headline(id string, f *audit.Finding) string {
	return Visible(fmt.Sprintf("%s (%s): %s", title(f.Title, f.Rule), id, f.Message))
}

// liveName names a sequence in a line: "1.2 focus 10:02, frames 0002 to 0041 (40)", and
// behind that the view of the shot list that it shows.
func liveName(q *sequenceModel) string {
	at := ""
	if q.first != nil {
		at = " " + q.first.Time.Format("15:04")
	}
	n := len(q.frames)
	name := fmt.Sprintf("%s %s%s, %s", q.id, q.kind, at, shoot.FrameRange(q.frames))
	if n > 1 {
		name += fmt.Sprintf(" (%d)", n)
	}
	if q.view != "" {
		name += ", " + shoot.ShortName(q.view)
	}
	return name
}

type jsonLive struct {
	Event    string        `json:"event"`
	Sequence *jsonSequence `json:"sequence"`
	Findings []jsonFinding `json:"findings"`
	Reason   *string       `json:"reason"`
}

type jsonLiveTimed struct {
	jsonLive
	TimeLeft *jsonTimeLeft `json:"time_left"`
}

// WriteLiveJSON writes an event of a live audit, with how much time is left in what was
// audited so far, as one JSON object on one line.
func WriteLiveJSON(b *bytes.Buffer, e audit.LiveEvent, r *audit.Result) error {
	return encodeLine(b, jsonLiveTimed{
		jsonLive{Event: e.Kind.String(), Sequence: jsonOf(e.Sequence), Findings: newJSONFindings(e.Findings), Reason: textOrNull(e.Reason)},
		newJSONTimeLeft(newTime(r)),
	})
}

// WriteFindingJSON writes one finding and the sequence that it is about as one
// JSON object on one line.
func WriteFindingJSON(b *bytes.Buffer, q *audit.Reviewed, f *audit.Finding) error {
	return encodeLine(b, jsonLive{Event: "finding", Sequence: jsonOf(q), Findings: newJSONFindings([]*audit.Finding{f})})
}

// WriteReportJSON writes the whole report as one JSON object on one line, as
// the last of a live audit.
func WriteReportJSON(b *bytes.Buffer, r *audit.Result) error {
	var whole, line bytes.Buffer
	if err := writeJSON(&whole, newModel(r), nil); err != nil {
		return err
	}
	if err := json.Compact(&line, whole.Bytes()); err != nil {
		return err
	}
	b.WriteString(`{"event":"report","report":`)
	b.Write(line.Bytes())
	b.WriteString("}\n")
	return nil
}

func jsonOf(q *audit.Reviewed) *jsonSequence {
	m := newSequence(q)
	return new(newJSONSequence(&m))
}

// encodeLine writes v on one line, escaped as [EncodeJSON] does.
func encodeLine(b *bytes.Buffer, v any) error {
	var pretty bytes.Buffer
	if err := EncodeJSON(&pretty, v); err != nil {
		return err
	}
	if err := json.Compact(b, pretty.Bytes()); err != nil {
		return err
	}
	b.WriteByte('\n')
	return nil
}

// WriteClosing writes the last line of the table: the verdict on everything,
// and what to do.
func WriteClosing(b *bytes.Buffer, r *audit.Result, width int, colour bool) {
	head, text := closing(r)
	writeClosing(b, r.Verdict, head, withTime(text, newTime(r)), width, ink(colour))
}

// WriteTimeLeft writes how long the open views take and how much time is left; nothing
// where no courier comes, or nothing is open.
func WriteTimeLeft(b *bytes.Buffer, r *audit.Result, width int) {
	if t := newTime(r); t.sentence != "" {
		Paragraph(b, "time     ", 9, t.sentence, width)
	}
}

func writeClosing(b *bytes.Buffer, v audit.Verdict, head, text string, width int, ink ink) {
	word := strings.ToUpper(v.String())
	indent := len(word + ": ")
	limits, plain := strings.CutPrefix(head, word)
	switch {
	case !plain || limits == "":
		word += ": "
	case limits[0] == ' ':
		text, word = limits+": "+text, word+" "
	default:
		text = limits + ": " + text
	}
	Paragraph(b, ink.mark(v.String(), word), indent, text, width)
}
