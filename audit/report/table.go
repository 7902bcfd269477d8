package report

import (
	"bytes"
	"io"
	"regexp"
	"strings"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/audit/words"
)

// writeTable writes the report for people: a table per session with its
// findings below, the most urgent last, and the verdict as the very last line,
// above the prompt, where the eye rests.
func writeTable(w io.Writer, m *model, opt *Options) error {
	var b bytes.Buffer
	ink := ink(opt.Colour)
	width := opt.width()
	for i := range m.sessions {
		s := &m.sessions[i]
		if !opt.Brief {
			Paragraph(&b, "", 2, heading(s), width)
			b.WriteByte('\n')
			if err := writeRows(&b, s, width, ink); err != nil {
				return err
			}
			b.WriteByte('\n')
			writeMarks(&b, s, width)
		}
		if writeInstructions(&b, s.instructions, width, ink, opt) {
			b.WriteByte('\n')
		}
		if !opt.Brief {
			listed := writeNotJudged(&b, s.reasons, width, opt.Why)
			if s.merged != "" {
				Paragraph(&b, "", 2, s.merged, width)
			}
			if s.support != "" {
				Paragraph(&b, "", 2, s.support, width)
			}
			if listed || s.merged != "" || s.support != "" {
				b.WriteByte('\n')
			}
		}
	}
	if !opt.Brief {
		writeViews(&b, m.views, width)
		for _, line := range m.unused {
			Paragraph(&b, "", 2, line, width)
		}
		Paragraph(&b, "", 2, m.files.sentence, width)
	}
	writeClosing(&b, m.verdict, m.head, m.closingTimed(), width, ink)
	_, err := w.Write(b.Bytes())
	return err
}

// writeMarks writes a line of marks for each focus run with a finding that one shows.
func writeMarks(b *bytes.Buffer, s *sessionModel, width int) {
	ids := 0
	var marked []*sequenceModel
	for i := range s.sequences {
		if q := &s.sequences[i]; (q.kind == shoot.Focus || q.kind == shoot.Series) && q.marks() != nil {
			marked = append(marked, q)
			ids = max(ids, len(q.id))
		}
	}
	if len(marked) == 0 {
		return
	}
	for _, q := range marked {
		m := q.marks()
		Paragraph(b, q.id+strings.Repeat(" ", ids-len(q.id)+2), ids+2, m.Line+" "+m.Words, width)
	}
	Paragraph(b, "", 0, marksKey, width)
	b.WriteByte('\n')
}

// What a table begins with, the session or, in a brief one, a finding or the
// closing line; and the closing line, with the lines that it is wrapped to.
var (
	tableBegins = regexp.MustCompile(`^(Session \d+: |\d+ picture files?, |(check|reshoot) +\S|(GOOD|CHECK|RESHOOT)[:, ])`)
	tableEnds   = regexp.MustCompile(`(^|\n)(GOOD|CHECK|RESHOOT)[:, ].*\n( +.*\n)*$`)
)

func isTable(begin, end []byte) bool { return tableBegins.Match(begin) && tableEnds.Match(end) }

// cellsOf returns the session's rows as visible text, with their columns.
func cellsOf(s *sessionModel) ([]Column, [][]string) {
	columns := []Column{
		{Head: "id"},
		{Head: "body"},
		{Head: "time", Drop: 6},
		{Head: "kind", Drop: 8},
		{Head: "frames", Cut: true},
		{Head: "count", Short: "n", Right: true, Drop: 7},
		{Head: "focal", Right: true, Drop: 2},
		{Head: "f-number", Short: "f-no", Right: true, Drop: 4},
		{Head: "exposure", Short: "expos.", Right: true, Drop: 5},
		{Head: "ISO", Right: true, Drop: 3},
		{Head: "cadence", Short: "every", Right: true, Drop: 1},
		{Head: "verdict"},
	}
	withBody := len(s.bodies) > 1
	if !withBody {
		columns = append(columns[:1], columns[2:]...)
	}
	var rows [][]string
	for _, r := range rowsOf(s) {
		cells := []string{r.id, r.body, r.time, r.kind, r.frames, r.count, r.focal, r.fNumber, r.exposure, r.iso, r.cadence, r.verdict}
		for i := range cells {
			cells[i] = Visible(cells[i])
		}
		if !withBody {
			cells = append(cells[:1], cells[2:]...)
		}
		rows = append(rows, cells)
	}
	return columns, rows
}

func writeRows(b *bytes.Buffer, s *sessionModel, width int, ink ink) error {
	columns, rows := cellsOf(s)
	return Grid(b, columns, rows, width, func(column int, cell string) string {
		if column == len(columns)-1 {
			return ink.mark(cell, cell)
		}
		return cell
	})
}

// writeInstructions reports whether it wrote any.
func writeInstructions(b *bytes.Buffer, list []instruction, width int, ink ink, opt *Options) bool {
	var shown []instruction
	longest := 0
	for _, i := range list {
		if opt.Brief && !i.open() {
			continue
		}
		shown = append(shown, i)
		longest = max(longest, len(i.word))
	}
	for _, i := range shown {
		text := i.head() + ": " + i.text
		if opt.Why {
			text += " [" + i.rule + "]"
		}
		Paragraph(b, ink.mark(i.word, i.word)+strings.Repeat(" ", longest-len(i.word)+2), longest+2, text, width)
	}
	return len(shown) > 0
}

// notJudgedLines is how many lines the reasons may take unless all are asked for.
const notJudgedLines = 2

// writeNotJudged writes why rules could not judge, and reports whether it did: unless all
// is set, only where more than a note could have come of it.
func writeNotJudged(b *bytes.Buffer, reasons []reason, width int, all bool) bool {
	if len(reasons) == 0 {
		return false
	}
	if all {
		Paragraph(b, "", 2, "Not judged:", width)
		for i := range reasons {
			Paragraph(b, "  ", 4, reasons[i].sentence(true), width)
		}
		return true
	}
	var list []string
	for i := range reasons {
		if !reasons[i].minor { // the verdict is the same, whatever it would have been
			list = append(list, strings.TrimSuffix(reasons[i].sentence(false), "."))
		}
	}
	if len(list) == 0 {
		return false
	}
	for shown := len(list); ; shown-- {
		text := "Not judged: " + strings.Join(list[:shown], "; ")
		if left := len(list) - shown; left > 0 {
			if shown > 0 {
				text += "; and " + words.Count(left, "more reason", "more reasons") + ", all listed by --why"
			} else {
				text += words.Count(left, "reason", "reasons") + ", listed by --why"
			}
		}
		if shown == 0 || len(wrap(Visible(text+"."), width-2)) <= notJudgedLines {
			Paragraph(b, "", 2, text+".", width)
			return true
		}
	}
}

// ink is true where words are also marked with terminal colours.
type ink bool

// mark colours text by a word. Only what is urgent has colour.
func (i ink) mark(word, text string) string {
	if !i {
		return text
	}
	switch word {
	case audit.Reshoot.String():
		return "\x1b[1;31m" + text + "\x1b[0m"
	case audit.Check.String():
		return "\x1b[1;33m" + text + "\x1b[0m"
	}
	return text
}
