package report

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"strings"
)

// markdownTitle begins every report in this form.
const markdownTitle = "# prestrike report: "

// writeMarkdown writes tables and findings for a note, a ticket or a mail, in
// CommonMark with tables of pipes. The verdict comes first: such a
// text is read from above.
func writeMarkdown(w io.Writer, m *model, opt *Options) error {
	b := bufio.NewWriter(w)
	fmt.Fprintf(b, "%s%s\n\n%s\n", markdownTitle, markdownText(m.head), markdownText(capital(sentence(m.closingTimed()))))
	for i := range m.sessions {
		s := &m.sessions[i]
		fmt.Fprintf(b, "\n## %s\n", markdownText(heading(s)))
		if !opt.Brief {
			columns, rows := cellsOf(s)
			b.WriteByte('\n')
			writeMarkdownTable(b, columns, rows)
		}
		writeMarkdownList(b, "", markdownFindings(s, opt.Brief, opt.Why))
		if opt.Brief {
			continue
		}
		var reasons []string
		for i := range s.reasons {
			reasons = append(reasons, s.reasons[i].sentence(opt.Why))
		}
		writeMarkdownList(b, "Not judged", reasons)
		for _, text := range []string{s.merged, s.support} {
			if text != "" {
				fmt.Fprintf(b, "\n%s\n", markdownText(text))
			}
		}
	}
	if !opt.Brief {
		writeMarkdownViews(b, m.views)
		b.WriteString("\n## Files\n")
		for _, line := range append(m.unused, m.files.sentence) {
			fmt.Fprintf(b, "\n%s\n", markdownText(line))
		}
	}
	return b.Flush()
}

func writeMarkdownViews(b *bufio.Writer, views []viewModel) {
	if len(views) == 0 {
		return
	}
	b.WriteString("\n## Shot list\n\n")
	for _, v := range views {
		text := v.name + ": " + v.state
		if v.sequence != "" && v.state == viewShot {
			text = v.name + ": " + v.sequence
		}
		fmt.Fprintf(b, "- %s\n", markdownText(text))
	}
}

func isMarkdown(begin, _ []byte) bool { return bytes.HasPrefix(begin, []byte(markdownTitle)) }

// markdownFindings are the instructions, the most urgent first, as the text is read
// from above; with the rules as the configuration names them where ids is set.
func markdownFindings(s *sessionModel, openOnly, ids bool) []string {
	var list []string
	for i := len(s.instructions) - 1; i >= 0; i-- {
		if l := s.instructions[i]; !openOnly || l.open() {
			text := l.word + ": " + l.head() + ": " + l.text
			if ids {
				text += " [" + l.rule + "]"
			}
			list = append(list, text)
		}
	}
	return list
}

func writeMarkdownList(b *bufio.Writer, title string, items []string) {
	if len(items) == 0 {
		return
	}
	if title != "" {
		fmt.Fprintf(b, "\n### %s\n", title)
	}
	b.WriteByte('\n')
	for _, item := range items {
		fmt.Fprintf(b, "- %s\n", markdownText(sentence(item)))
	}
}

func writeMarkdownTable(b *bufio.Writer, columns []Column, rows [][]string) {
	var heads, rules []string
	for _, c := range columns {
		heads = append(heads, markdownText(c.Head))
		if c.Right {
			rules = append(rules, "---:")
		} else {
			rules = append(rules, "---")
		}
	}
	line := func(cells []string) { fmt.Fprintf(b, "| %s |\n", strings.Join(cells, " | ")) }
	line(heads)
	line(rules)
	for _, row := range rows {
		cells := make([]string, len(row))
		for i, cell := range row {
			if cells[i] = cell; cell != notRecorded {
				cells[i] = markdownText(cell)
			}
		}
		line(cells)
	}
}

// sentence ends a text with a full stop.
func sentence(text string) string {
	if text == "" || strings.HasSuffix(text, ".") || strings.HasSuffix(text, ":") || strings.HasSuffix(text, "]") {
		return text
	}
	return text + "."
}

// markdownActs are characters that mean something within a line.
const markdownActs = "\\`*_{}[]<>#|~&@$!"

// markdownText returns text that shows as it is: no emphasis, link, picture, HTML, list or
// cell begins in it. Addresses are broken up, which some readers would make links of.
func markdownText(s string) string {
	s = Visible(s)
	var b strings.Builder
	for i, r := range s {
		switch {
		case strings.ContainsRune(markdownActs, r),
			i == 0 && strings.ContainsRune("+-=", r),
			strings.ContainsRune(".)", r) && i > 0 && strings.Trim(s[:i], "0123456789") == "" && strings.HasPrefix(s[i+1:], " "),
			strings.HasPrefix(s[i:], "://"),
			r == '.' && i >= 3 && strings.EqualFold(s[i-3:i], "www"):
			b.WriteByte('\\')
		}
		b.WriteRune(r)
	}
	return b.String()
}
