package report

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"prestrike/audit"
	"prestrike/audit/shoot"
)

// A view is the report in words, as every form for people shows it. Its
// strings may hold hostile text still.
type view struct {
	sessions []sessionView
	files    string // what became of the files
}

type sessionView struct {
	heading   string
	rows      []row
	tellBody  bool       // the bodies must be told apart
	findings  []findLine // the most urgent last
	notJudged []string   // by how many sequences they hold for
	support   string
}

// A row is one sequence, or a run of single frames.
type row struct {
	id, body, time, kind, frames, count    string
	focal, fNumber, exposure, iso, cadence string
	verdict                                string
	sequences                              []*audit.Reviewed
}

// A findLine is one finding, or several of one rule, as an instruction.
type findLine struct {
	word  string // how urgent: a severity, or why it no longer counts
	where string // IDs
	text  string
}

// The words in place of a severity or verdict where a finding no longer counts.
const (
	wordRetaken  = "retaken"
	wordAccepted = "accepted"
)

// notRecorded stands in a cell for what the files do not say.
const notRecorded = "-"

// varies stands in a cell for values that differ from frame to frame.
const varies = "varies"

func newView(r *audit.Result, opt *Options) *view {
	v := &view{files: filesLine(&r.Files)}
	for _, s := range r.Sessions {
		v.sessions = append(v.sessions, sessionView{
			heading:   heading(s),
			rows:      rowsOf(s),
			tellBody:  len(s.Bodies) > 1,
			findings:  findLines(s),
			notJudged: notJudged(s),
			support:   support(s, r.Support),
		})
	}
	return v
}

// heading names the session, its day, bodies and frames.
func heading(s *audit.Session) string {
	var b strings.Builder
	fmt.Fprintf(&b, "Session %s: ", s.ID)
	start, end := s.Start(), s.End()
	const day = "2 January 2006"
	switch {
	case start.IsZero():
		b.WriteString("no times recorded")
	case start.Format(day) == end.Format(day):
		b.WriteString(start.Format(day+", 15:04") + " to " + end.Format("15:04"))
	default:
		b.WriteString(start.Format(day+", 15:04") + " to " + end.Format(day+", 15:04"))
	}
	for i, body := range s.Bodies {
		b.WriteString("; ")
		if len(s.Bodies) > 1 {
			b.WriteString(bodyLetter(i) + " = ")
		}
		b.WriteString(bodyName(body))
	}
	b.WriteString("; " + plural(s.Frames(), "frame"))
	return b.String()
}

func bodyName(b *shoot.Body) string {
	name := b.Model
	if !strings.HasPrefix(strings.ToLower(b.Model), strings.ToLower(b.Make)) {
		name = strings.TrimSpace(b.Make + " " + b.Model)
	}
	if name == "" {
		name = "unknown body"
	}
	if b.Serial != "" {
		name += " no. " + b.Serial
	}
	if b.Index > 0 {
		name += fmt.Sprintf(" (body %d)", b.Index)
	}
	return name
}

// bodyLetter names the bodies of a session A, B, ..., then 27, 28, ...
func bodyLetter(i int) string {
	if i < 26 {
		return string(rune('A' + i))
	}
	return strconv.Itoa(i + 1)
}

// rowsOf returns a row per sequence. Single frames in a row share one, so that
// a day of single frames stays one line; those to be shot again do not share
// with others.
func rowsOf(s *audit.Session) []row {
	letters := map[*shoot.Body]string{}
	for i, b := range s.Bodies {
		letters[b] = bodyLetter(i)
	}
	class := func(q *audit.Reviewed) string {
		if q.SupersededBy == nil && q.Verdict != audit.VerdictReshoot {
			return ""
		}
		return verdictWord(q)
	}
	var rows []row
	for i := 0; i < len(s.Sequences); {
		n := 1
		for q := s.Sequences[i]; q.Kind == shoot.Single && i+n < len(s.Sequences); n++ {
			next := s.Sequences[i+n]
			if next.Kind != shoot.Single || next.Body != q.Body || class(next) != class(q) {
				break
			}
		}
		r := newRow(s.Sequences[i : i+n])
		r.body = letters[s.Sequences[i].Body]
		rows = append(rows, r)
		i += n
	}
	return rows
}

func newRow(sequences []*audit.Reviewed) row {
	first, last := sequences[0], sequences[len(sequences)-1]
	var frames []*shoot.Frame
	worst := first
	for _, q := range sequences {
		frames = append(frames, q.Frames...)
		if q.Verdict > worst.Verdict {
			worst = q
		}
	}
	r := row{
		id:        idRange(first.ID, last.ID),
		time:      notRecorded,
		kind:      first.Kind.String(),
		frames:    frameSpan(frames[0], frames[len(frames)-1]),
		count:     strconv.Itoa(len(frames)),
		cadence:   notRecorded,
		verdict:   verdictWord(worst),
		sequences: sequences,
	}
	if t := first.Start(); !t.IsZero() {
		r.time = t.Format("15:04")
	}
	if c, ok := cadence(first); ok {
		r.cadence = shoot.FormatDuration(c)
	} else if first.Kind == shoot.Single || first.Kind == shoot.Bracket {
		r.cadence = ""
	}
	if len(sequences) == 1 && first.Kind != shoot.Bracket && first.Kind != shoot.Single {
		r.settings(first.Settings)
	} else {
		r.common(frames)
	}
	return r
}

// cadence returns the time from one frame's start to the next, where it is one.
// In a bracket it is not: the exposure times differ, and the pace between them
// would be taken for it.
func cadence(q *audit.Reviewed) (time.Duration, bool) {
	if q.Kind == shoot.Bracket {
		return 0, false
	}
	return q.Cadence.Get()
}

// settings fills in what most frames of a sequence agree on.
func (r *row) settings(s shoot.Settings) {
	r.focal, r.fNumber, r.exposure, r.iso = notRecorded, notRecorded, notRecorded, notRecorded
	if v, ok := s.FocalLength.Get(); ok {
		r.focal = shoot.FormatFocalLength(v)
	}
	if v, ok := s.FNumber.Get(); ok {
		r.fNumber = shoot.FormatFNumber(v)
	}
	if v, ok := s.ExposureTime.Get(); ok {
		r.exposure = shoot.FormatExposureTime(v)
	}
	if v, ok := s.ISO.Get(); ok {
		r.iso = strconv.FormatUint(uint64(v), 10)
	}
}

// common fills in what the frames agree on; of exposure times that differ, as
// in a bracket, the shortest and the longest.
func (r *row) common(frames []*shoot.Frame) {
	var focal, fNumber, exposure, iso []string
	shortest, longest := frames[0], frames[0]
	for _, f := range frames {
		m := f.Meta()
		cells := row{}
		cells.settings(shoot.Settings{ExposureTime: m.ExposureTime, FNumber: m.FNumber, ISO: m.Sensitivity, FocalLength: m.FocalLength})
		focal = append(focal, cells.focal)
		fNumber = append(fNumber, cells.fNumber)
		exposure = append(exposure, cells.exposure)
		iso = append(iso, cells.iso)
		if t, ok := m.ExposureTime.Get(); ok {
			if s, ok := shortest.Meta().ExposureTime.Get(); !ok || t.Float() < s.Float() {
				shortest = f
			}
			if l, ok := longest.Meta().ExposureTime.Get(); !ok || t.Float() > l.Float() {
				longest = f
			}
		}
	}
	same := func(cells []string) string {
		if slices.ContainsFunc(cells, func(c string) bool { return c != cells[0] }) {
			return varies
		}
		return cells[0]
	}
	r.focal, r.fNumber, r.exposure, r.iso = same(focal), same(fNumber), same(exposure), same(iso)
	if r.exposure == varies && !slices.Contains(exposure, notRecorded) {
		from, _ := shortest.Meta().ExposureTime.Get()
		to, _ := longest.Meta().ExposureTime.Get()
		r.exposure = strings.TrimSuffix(shoot.FormatExposureTime(from), " s") + "-" + shoot.FormatExposureTime(to)
	}
}

// verdictWord is what stands in the last column.
func verdictWord(q *audit.Reviewed) string {
	if q.SupersededBy != nil {
		return wordRetaken
	}
	return q.Verdict.String()
}

// idRange writes the sequences from first to last: "1.2", "1.2-9".
func idRange(first, last string) string {
	if first == last {
		return first
	}
	_, place, ok := strings.Cut(last, ".")
	if !ok {
		place = last
	}
	return first + "-" + place
}

// frameSpan writes the first and the last frame: "0001-0050".
func frameSpan(first, last *shoot.Frame) string {
	if first == last {
		return frameCell(first, 17)
	}
	return frameCell(first, 8) + "-" + frameCell(last, 8)
}

// frameCell names a frame in at most so many characters: what tells frames
// apart stands at the end of their names.
func frameCell(f *shoot.Frame, most int) string {
	r := []rune(f.Label())
	if len(r) <= most {
		return string(r)
	}
	return "…" + string(r[len(r)-most+1:])
}

// mostAlike is how many findings of one rule are told in full; sequences
// beyond are only named.
const mostAlike = 4

// findLines returns the session's findings: what no longer counts first, then
// by rising severity. Findings of one rule stay together, and those that say
// the same are told once.
func findLines(s *audit.Session) []findLine {
	type group struct {
		word, rule string
		order      int
	}
	type entry struct {
		text  string
		where []string
	}
	type say struct {
		group
		text string
	}
	groups, said := map[group][]*entry{}, map[say]*entry{}
	var order []group
	add := func(where string, q *audit.Reviewed, f *audit.Finding) {
		g := group{word: f.Severity.String(), rule: f.Rule, order: 2 + int(f.Severity)}
		text := f.Message
		if f.Action != "" {
			text += ": " + f.Action
		}
		switch {
		case f.Accepted:
			g.word, g.order = wordAccepted, 1
			text = f.Message
			if f.Reason != "" {
				text += " (meant: " + f.Reason + ")"
			}
		case q != nil && q.SupersededBy != nil:
			g.word, g.order = wordRetaken, 0
			text = f.Message + ": " + q.SupersededBy.ID + " looks like its retake; if that shows another view, shoot " + q.ID + " again"
		}
		if groups[g] == nil {
			order = append(order, g)
		}
		if e := said[say{g, text}]; e != nil {
			if e.where[len(e.where)-1] != where {
				e.where = append(e.where, where)
			}
			return
		}
		e := &entry{text, []string{where}}
		said[say{g, text}] = e
		groups[g] = append(groups[g], e)
	}
	for _, f := range s.Findings {
		add(s.ID, nil, f)
	}
	for _, q := range s.Sequences {
		for _, f := range q.Findings {
			add(q.ID, q, f)
		}
	}
	slices.SortStableFunc(order, func(a, b group) int { return a.order - b.order })
	var lines []findLine
	for _, g := range order {
		told := groups[g]
		if len(told) > mostAlike+1 {
			told = told[:mostAlike]
		}
		for _, e := range told {
			text := e.text
			if len(e.where) > 1 {
				text += " (the same in " + list(e.where[1:], 6) + ")"
			}
			lines = append(lines, findLine{g.word, e.where[0], text + " [" + g.rule + "]"})
		}
		if left := groups[g][len(told):]; len(left) > 0 {
			var where []string
			for _, e := range left {
				where = append(where, e.where...)
			}
			lines = append(lines, findLine{
				g.word, "more",
				fmt.Sprintf("%d findings of the same kind, in %s [%s]", len(left), list(slices.Compact(where), 8), g.rule),
			})
		}
	}
	return lines
}

// notJudged groups the reasons for which rules could not decide, those of the
// most sequences first.
func notJudged(s *audit.Session) []string {
	type reason struct {
		text  string
		rules []string
		where []string
	}
	var reasons []*reason
	byText := map[string]*reason{}
	add := func(where string, list []audit.NotJudged) {
		for _, n := range list {
			r := byText[n.Reason]
			if r == nil {
				r = &reason{text: n.Reason}
				byText[n.Reason] = r
				reasons = append(reasons, r)
			}
			if !slices.Contains(r.rules, n.Rule) {
				r.rules = append(r.rules, n.Rule)
			}
			if len(r.where) == 0 || r.where[len(r.where)-1] != where {
				r.where = append(r.where, where)
			}
		}
	}
	add("session", s.NotJudged)
	for _, q := range s.Sequences {
		add(q.ID, q.NotJudged)
	}
	slices.SortStableFunc(reasons, func(a, b *reason) int { return len(b.where) - len(a.where) })
	var lines []string
	for _, r := range reasons {
		where := list(r.where, 3)
		switch {
		case len(r.where) == len(s.Sequences) && len(r.where) > 1:
			where = "all sequences"
		case len(r.where) > 4:
			where = plural(len(r.where), "sequence")
		}
		lines = append(lines, fmt.Sprintf("%s: %s (%s)", strings.Join(r.rules, ", "), r.text, where))
	}
	return lines
}

// support says what the rules took to hold the camera.
func support(s *audit.Session, declared shoot.Support) string {
	if declared != shoot.SupportAuto {
		return "Support: " + declared.String() + ", as declared."
	}
	by := map[shoot.Support][]string{}
	for _, q := range s.Sequences {
		by[q.Support] = append(by[q.Support], q.ID)
	}
	tripod, handheld := by[shoot.Tripod], by[shoot.Handheld]
	switch {
	case len(handheld) == 0:
		return "Support assumed: tripod."
	case len(tripod) == 0:
		return "Support assumed: handheld."
	case len(handheld) <= len(tripod):
		return "Support assumed: handheld for " + list(handheld, 4) + ", tripod for the rest."
	default:
		return "Support assumed: tripod for " + list(tripod, 4) + ", handheld for the rest."
	}
}

// filesLine says what became of every file.
func filesLine(c *audit.FileCounts) string {
	var b strings.Builder
	b.WriteString(plural(c.Read, "picture file") + ", " + plural(c.Frames, "frame"))
	if c.Other > 0 {
		b.WriteString("; " + plural(c.Other, "other file") + " passed over")
	}
	if n := len(c.Unreadable); n > 0 {
		var names []string
		for _, f := range c.Unreadable {
			names = append(names, shoot.ShortName(f.Path))
		}
		b.WriteString("; no picture can be read from " + list(names, 3))
	}
	switch {
	case c.Unread == 1:
		b.WriteString("; 1 folder or file could not be read")
	case c.Unread > 1:
		fmt.Fprintf(&b, "; %d folders or files could not be read", c.Unread)
	}
	b.WriteString(".")
	return b.String()
}

// closing says what to do now.
func closing(r *audit.Result) string {
	var again, look, retaken []string
	for _, s := range r.Sessions {
		again, look = addOpen(again, look, "session "+s.ID, worst(s.Findings))
		for _, q := range s.Sequences {
			if q.SupersededBy == nil {
				again, look = addOpen(again, look, q.ID, q.Verdict)
			} else {
				retaken = append(retaken, q.SupersededBy.ID+" repeats "+q.ID)
			}
		}
	}
	const most = 6
	switch {
	case len(again) > 0 && len(look) > 0:
		return "shoot " + list(again, most) + " again while the subject is here, then look at " + list(look, most) + "."
	case len(again) > 0:
		return "shoot " + list(again, most) + " again while the subject is here."
	case len(look) > 0:
		return "look at " + list(look, most) + " before you go on."
	case len(retaken) > 0:
		return "nothing found to shoot again, if " + list(retaken, most) + ". Still look at the frames that matter at 100 % before the subject leaves."
	default:
		return "nothing found to shoot again. Still look at the frames that matter at 100 % before the subject leaves."
	}
}

func addOpen(again, look []string, what string, v audit.Verdict) ([]string, []string) {
	switch v {
	case audit.VerdictReshoot:
		again = append(again, what)
	case audit.VerdictCheck:
		look = append(look, what)
	}
	return again, look
}

// worst returns the verdict of findings that belong to no sequence.
func worst(findings []*audit.Finding) audit.Verdict {
	v := audit.VerdictGood
	for _, f := range findings {
		if !f.Accepted {
			switch f.Severity {
			case audit.Reshoot:
				v = max(v, audit.VerdictReshoot)
			case audit.Check:
				v = max(v, audit.VerdictCheck)
			}
		}
	}
	return v
}

// list joins words for a sentence, at most so many: "1.2, 1.3 and 4 more".
func list(words []string, most int) string {
	if len(words) > most+1 {
		return strings.Join(words[:most], ", ") + fmt.Sprintf(" and %d more", len(words)-most)
	}
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:len(words)-1], ", ") + " and " + words[len(words)-1]
}

func plural(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return strconv.Itoa(n) + " " + noun + "s"
}
