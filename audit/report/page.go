package report

import (
	"bytes"
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"slices"
	"strings"
	"time"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/audit/words"
)

// The page: everything on one self-contained HTML page, with pictures. It asks for nothing
// from anywhere, and shows everything with scripts off.

var (
	//go:embed page/page.html
	pageHTML string
	//go:embed page/page.css
	pageCSS string
	//go:embed page/page.js
	pageJS string
)

var pageTemplate = template.Must(template.New("page").Parse(pageHTML))

// pageBegins is how every page begins.
const pageBegins = "<!doctype html>\n<!-- prestrike report -->\n"

func isPage(begin, _ []byte) bool { return bytes.HasPrefix(begin, []byte(pageBegins)) }

// A page is what the template writes. Its pictures are made when the template comes to
// them, one at a time.
type page struct {
	Verdict  shape
	Closing  string
	Time     string // how long what is open takes, a sentence; empty for none
	TimeFits shape
	Steps    []*pageFinding // what to do, in order
	Views    []pageView
	Sessions []*pageSession
	Files    []string // what became of files, a sentence each
	Policy   string
	Style    template.CSS
	Script   template.JS
}

// A pageView is a view of the shot list.
type pageView struct {
	Name, Sequence, State string
	Shape                 shape
	Link                  bool // the sequence has a section
}

// pageViews are the views of the shot list; sessions are those of the page.
func pageViews(m *model, sessions []*pageSession) []pageView {
	linked := map[string]bool{}
	for _, s := range sessions {
		for _, q := range s.Sequences {
			linked[q.ID] = !q.Plain
		}
	}
	var out []pageView
	for _, v := range m.views {
		of := pageView{Name: Visible(v.name), Sequence: v.sequence, State: Visible(v.state), Link: linked[v.sequence]}
		switch v.state {
		case viewShot:
			of.Shape = shapeOf("good")
		case viewAgain:
			of.Shape = shapeOf("reshoot")
		case viewLeft:
			of.Shape = shapeOf("note")
		default:
			of.Shape = shapeOf("check")
		}
		out = append(out, of)
	}
	return out
}

// shape shows whether what is open fits into the time left.
func (t timeModel) shape() shape {
	fit, ok := t.fit.Get()
	left, _ := t.left.Get()
	switch {
	case !ok && left >= 0:
		return shapeOf("note")
	case fit.AsListed:
		return shapeOf("good")
	}
	return shapeOf("check")
}

// A shape is a verdict or severity as a word and the name of its shape.
type shape struct{ Word, Name string }

// shapes has the shape of each word: they differ without colour.
var shapes = map[string]string{
	"good": "disk", "check": "triangle", "reshoot": "square", "note": "ring", wordRetaken: "turned", wordAccepted: "ticked", wordClosed: "ticked",
}

func shapeOf(word string) shape { return shape{word, shapes[word]} }

type pageSession struct {
	ID, Heading     string
	Sequences       []*pageSequence
	Findings        []*pageFinding
	Reasons         []string
	Support, Merged string
}

// A pageSequence is one sequence on the page. Its methods make pictures.
type pageSequence struct {
	model *sequenceModel
	at    *pageWriter
	ID    string
	Kind  string
	View  string // its name in the shot list; empty for none
	// Facts are how many frames there are, when and how they were made.
	Facts    []fact
	Count    string
	Span     string
	Verdict  shape
	Retake   string // the ID of the retake
	Findings []*pageFinding
	Accepted []*pageFinding
	Reasons  []unjudged
	// Plain sequences have a tile and no section: there is nothing to report of them.
	Plain bool
	// Marks are how the frames lie, in words and signs.
	Marks *frameMarks
}

type fact struct{ Name, Value string }

type unjudged struct{ Title, Text string }

// A pageFinding is one finding with its pictures.
type pageFinding struct {
	at       *pageWriter
	finding  *audit.Finding
	sequence *sequenceModel // nil for one of a session
	frames   []*shoot.Frame // of the sequence, or of the session's sequences
	Where    string
	Anchor   string
	Shape    shape
	Title    string
	Rule     string
	Message  string
	Action   string
	Accept   string // lines for the configuration; empty where they cannot be written
	Key      bool   // among what to do: one picture
}

// writePage writes the page.
func writePage(w io.Writer, m *model, opt *Options) error {
	p := &page{
		Verdict: shapeOf(m.verdict.String()), Closing: Visible(capital(sentence(m.closing))), Policy: PagePolicy(),
		Style: template.CSS(pageCSS), Script: template.JS(pageJS), // both are our own
	}
	if head := strings.TrimPrefix(m.head, strings.ToUpper(p.Verdict.Word)); head != "" {
		p.Verdict.Word += Visible(head)
	}
	at := newPageWriter(m, opt)
	for i := range m.sessions {
		p.Sessions = append(p.Sessions, at.session(&m.sessions[i]))
	}
	p.Time, p.TimeFits = Visible(m.time.sentence), m.time.shape()
	p.Steps, p.Views = at.steps(p.Sessions), pageViews(m, p.Sessions)
	p.Files = append(slices.Clone(m.unused), m.files.sentence)
	for _, f := range m.files.unreadable {
		p.Files = append(p.Files, sentence(Visible(f.path)+": "+Visible(f.reason)))
	}
	for i := range p.Files {
		p.Files[i] = Visible(p.Files[i])
	}
	if _, err := io.WriteString(w, pageBegins); err != nil {
		return err
	}
	return pageTemplate.Execute(w, p)
}

// PagePolicy forbids the page everything but its own pictures, style and script (Content
// Security Policy, level 3).
func PagePolicy() string {
	hash := func(text string) string {
		sum := sha256.Sum256([]byte(text))
		return "'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"
	}
	return "default-src 'none'; img-src data:; style-src " + hash(pageCSS) + "; script-src " + hash(pageJS) + "; base-uri 'none'; form-action 'none'"
}

// session builds what the page shows of a session.
func (at *pageWriter) session(s *sessionModel) *pageSession {
	out := &pageSession{ID: s.id, Heading: Visible(heading(s)), Support: Visible(s.support), Merged: Visible(s.merged)}
	var all []*shoot.Frame
	for i := range s.sequences {
		all = append(all, s.sequences[i].frames...)
		out.Sequences = append(out.Sequences, at.sequence(s, &s.sequences[i]))
	}
	for _, f := range s.findings {
		out.Findings = append(out.Findings, at.finding("session "+s.id, nil, all, f))
	}
	for _, r := range s.reasons {
		out.Reasons = append(out.Reasons, Visible(r.sentence(false)))
	}
	return out
}

func (at *pageWriter) sequence(s *sessionModel, q *sequenceModel) *pageSequence {
	out := &pageSequence{model: q, at: at, ID: q.id, Kind: q.kind.String(), View: Visible(q.view), Verdict: shape{q.verdictWord(), shapeOf(q.verdictAlone()).Name}, Retake: q.supersededBy}
	n := len(q.frames)
	out.Count = words.Count(n, "frame", "frames")
	out.Span = Visible(frameSpan(q.frames[0], q.frames[n-1]))
	r := newRow([]sequenceModel{*q})
	add := func(name, value string) {
		if value != "" && value != notRecorded {
			out.Facts = append(out.Facts, fact{name, Visible(value)})
		}
	}
	add("Frames", out.Span)
	if q.first != nil {
		add("Began", q.first.Time.Format("15:04:05"))
		if took := q.last.Time.Sub(q.first.Time); took >= time.Second {
			add("Took", shoot.FormatDuration(took))
		}
	}
	if len(s.bodies) > 1 {
		add("Body", shoot.BodyLetter(q.body)+", "+bodyName(s.bodies[q.body]))
	}
	add("Lens", q.frames[0].Meta().LensModel.Or(""))
	add("Focal length", r.focal)
	add("F-number", r.fNumber)
	add("Exposure", r.exposure)
	add("ISO", r.iso)
	add("Every", r.cadence)
	add("Support", q.support.String())
	for _, f := range q.findings {
		made := at.finding(q.id, q, q.frames, f)
		if f.Accepted {
			out.Accepted = append(out.Accepted, made)
		} else {
			out.Findings = append(out.Findings, made)
		}
	}
	slices.SortStableFunc(out.Findings, func(a, b *pageFinding) int { return int(b.finding.Severity) - int(a.finding.Severity) })
	for _, u := range q.notJudged {
		out.Reasons = append(out.Reasons, unjudged{Visible(title(u.Title, u.Rule)), Visible(sentence(u.Reason))})
	}
	out.Plain = q.kind == shoot.Single && len(q.findings) == 0
	out.Marks = q.marks()
	return out
}

func (at *pageWriter) finding(where string, q *sequenceModel, frames []*shoot.Frame, f *audit.Finding) *pageFinding {
	at.findings++
	out := &pageFinding{
		at: at, finding: f, sequence: q, frames: frames, Where: where, Anchor: fmt.Sprintf("finding-%d", at.findings), Rule: f.Rule,
		Title: Visible(title(f.Title, f.Rule)), Message: Visible(capital(sentence(f.Message))),
	}
	var of *audit.Reviewed
	if q != nil {
		of = q.reviewed
	}
	word, _, action := worded(of, f)
	out.Shape, out.Action = shapeOf(word), Visible(capital(sentence(action)))
	if out.Open() {
		of := f.Frames
		if q != nil {
			of = q.frames
		}
		if len(of) > 0 {
			out.Accept = acceptLines(f.Rule, at.nameOf(of[0]))
		}
	}
	return out
}

// Open reports whether the finding still counts.
func (f *pageFinding) Open() bool { return f.Shape.Name == "square" || f.Shape.Name == "triangle" }

// steps lists what is to be done, the most urgent first: open findings, then notes that
// ask to be inspected.
func (at *pageWriter) steps(sessions []*pageSession) []*pageFinding {
	var steps []*pageFinding
	add := func(f *pageFinding) {
		if f.Open() || f.Shape.Word == "note" && f.finding.Look != "" {
			key := *f
			key.Key = true
			steps = append(steps, &key)
		}
	}
	for _, s := range sessions {
		for _, f := range s.Findings {
			add(f)
		}
		for _, q := range s.Sequences {
			for _, f := range q.Findings {
				add(f)
			}
		}
	}
	slices.SortStableFunc(steps, func(a, b *pageFinding) int { return int(b.finding.Severity) - int(a.finding.Severity) })
	return steps
}

// acceptLines are the lines of a configuration that accept a finding; empty where the name
// cannot be written in one, as TOML holds UTF-8 alone.
func acceptLines(rule, frame string) string {
	quoted, ok := tomlString(frame)
	if !ok {
		return ""
	}
	return fmt.Sprintf("[[accept]]\nrule = %q\nframe = %s\nreason = \"write why this is meant, or sharp enough\"\n", rule, quoted)
}

// Plots are the sequence's drawings.
func (q *pageSequence) Plots() []pagePlot {
	var out []pagePlot
	for _, p := range q.model.plots() {
		out = append(out, pagePlot{p.title, Visible(p.alt), p.svg()})
	}
	return out
}

type pagePlot struct {
	Title, Alt string
	SVG        template.HTML
}
