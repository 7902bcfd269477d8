package report

import (
	"bytes"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/olekukonko/tablewriter"
	"github.com/olekukonko/tablewriter/pkg/twwidth"
	"github.com/olekukonko/tablewriter/renderer"
	"github.com/olekukonko/tablewriter/tw"
)

// Visible returns s with everything that would not show as itself escaped:
// control characters (C0, C1, newlines), bidirectional overrides, unusual
// blanks, and bytes that are not UTF-8.
func Visible(s string) string {
	clean := true
	for _, r := range s {
		if r == utf8.RuneError || !strconv.IsPrint(r) {
			clean = false
			break
		}
	}
	if clean {
		return s
	}
	var b strings.Builder
	for len(s) > 0 {
		r, n := utf8.DecodeRuneInString(s)
		switch {
		case r == utf8.RuneError && n == 1:
			fmt.Fprintf(&b, `\x%02x`, s[0])
		case strconv.IsPrint(r):
			b.WriteRune(r)
		default:
			q := strconv.QuoteRune(r)
			b.WriteString(q[1 : len(q)-1])
		}
		s = s[n:]
	}
	return b.String()
}

// textWidth returns the columns that s takes on a screen, whatever the locale.
func textWidth(s string) int { return twwidth.WidthWithOptions(s, twwidth.Options{}) }

// Columns returns the columns that visible text takes on a screen.
func Columns(s string) int { return textWidth(s) }

// wrap breaks visible text into lines of at most width columns, at blanks, and
// within a word only where the word alone is wider. A percent sign stays with its
// number.
func wrap(text string, width int) []string {
	var lines []string
	line, used := "", 0
	words := strings.Fields(text)
	for i := 0; i < len(words); i++ {
		word := words[i]
		if i+1 < len(words) && strings.HasPrefix(words[i+1], "%") {
			i++
			word += " " + words[i]
		}
		w := textWidth(word)
		if used > 0 && used+1+w > width {
			lines = append(lines, line)
			line, used = "", 0
		}
		if used > 0 {
			line, used = line+" ", used+1
		}
		if used+w <= width {
			line, used = line+word, used+w
			continue
		}
		for _, r := range word { // only a word wider than a line comes here
			w := textWidth(string(r))
			if used > 0 && used+w > width {
				lines = append(lines, line)
				line, used = "", 0
			}
			line, used = line+string(r), used+w
		}
	}
	if used > 0 {
		lines = append(lines, line)
	}
	return lines
}

// Paragraph writes text behind a prefix, wrapped to the width, with its control
// characters escaped and later lines indented. The prefix holds no text from
// files and may hold colours; it takes indent columns.
func Paragraph(b *bytes.Buffer, prefix string, indent int, text string, width int) {
	for i, line := range wrap(Visible(text), max(width-indent, narrowest/2)) {
		if i == 0 {
			b.WriteString(prefix)
		} else {
			b.WriteString(strings.Repeat(" ", indent))
		}
		b.WriteString(line)
		b.WriteByte('\n')
	}
}

// A Column is one column of a [Grid].
type Column struct {
	Head  string
	Short string // the head where space is short; empty for the same
	Right bool   // numbers stand at the right
	// Drop is the order in which columns are left out where the rows are wider than the
	// screen: 1 first, 0 never.
	Drop int
	// Cut lets cells of the column be shortened where no column is left to leave out.
	Cut bool
}

// Grid writes rows of visible text in columns, as tight as the width asks for. Where that
// is not enough, columns are left out by their Drop, and named below; then cells of the
// column with Cut are shortened. A row is never wrapped. What still does not fit is written
// over the edge rather than lost. mark, where given, may add terminal colours to a cell.
func Grid(b *bytes.Buffer, columns []Column, rows [][]string, width int, mark func(column int, cell string) string) error {
	kept, left, over := fitting(columns, rows, width)
	rows = shortened(columns, rows, over)
	if len(left) > 0 {
		var fewer []Column
		for _, i := range kept {
			fewer = append(fewer, columns[i])
		}
		less := make([][]string, len(rows))
		for r, row := range rows {
			for _, i := range kept {
				less[r] = append(less[r], row[i])
			}
		}
		columns, rows = fewer, less
	}
	if err := writeGrid(b, columns, rows, width, func(column int, cell string) string {
		if mark == nil {
			return cell
		}
		return mark(kept[column], cell)
	}); err != nil {
		return err
	}
	if len(left) > 0 {
		Paragraph(b, "", 2, "Left out in this width: "+strings.Join(left, ", ")+".", width)
	}
	return nil
}

// shortened returns the rows with the cells of the column with Cut shortened by a number of
// columns of the screen.
func shortened(columns []Column, rows [][]string, over int) [][]string {
	const least = 8 // of a cell: what is shorter names no frame
	i := slices.IndexFunc(columns, func(c Column) bool { return c.Cut })
	if over <= 0 || i < 0 {
		return rows
	}
	room := max(columnWidth("", rows, i)-over, least)
	less := make([][]string, len(rows))
	for r, row := range rows {
		less[r] = slices.Clone(row)
		less[r][i] = shortenedRight(row[i], room)
	}
	return less
}

// fitting returns the places of the columns that fit the width, the heads of those that do
// not, and by how many columns of the screen the rows are too wide even so.
func fitting(columns []Column, rows [][]string, width int) (kept []int, left []string, over int) {
	short := make([]string, len(columns))
	for i, c := range columns {
		kept = append(kept, i)
		short[i] = c.Head
		if c.Short != "" {
			short[i] = c.Short
		}
	}
	taken := func() int {
		total := len(kept) - 1
		for _, i := range kept {
			total += columnWidth(short[i], rows, i)
		}
		return total
	}
	dropped := map[int]bool{}
	for order := 1; taken() > width; order++ {
		i := slices.IndexFunc(columns, func(c Column) bool { return c.Drop == order })
		if i < 0 {
			break
		}
		dropped[i] = true
		kept = slices.DeleteFunc(kept, func(k int) bool { return k == i })
	}
	for i, c := range columns {
		if dropped[i] {
			left = append(left, c.Head)
		}
	}
	return kept, left, taken() - width
}

// columnWidth returns the columns of the screen that a column of the grid takes.
func columnWidth(head string, rows [][]string, i int) int {
	w := textWidth(head)
	for _, row := range rows {
		w = max(w, textWidth(row[i]))
	}
	return w
}

// writeGrid writes all columns.
func writeGrid(b *bytes.Buffer, columns []Column, rows [][]string, width int, mark func(column int, cell string) string) error {
	heads := make([]string, len(columns))
	short := make([]string, len(columns))
	align := make([]tw.Align, len(columns))
	for i, c := range columns {
		heads[i], short[i] = c.Head, c.Head
		if c.Short != "" {
			short[i] = c.Short
		}
		align[i] = tw.AlignLeft
		if c.Right {
			align[i] = tw.AlignRight
		}
	}
	gap := "  "
	if gridWidth(heads, rows, 2) > width {
		gap = " "
		if gridWidth(heads, rows, 1) > width {
			heads = short
		}
	}

	var drawn bytes.Buffer
	t := tablewriter.NewTable(&drawn,
		tablewriter.WithRenderer(renderer.NewBlueprint(tw.Rendition{
			Borders: tw.BorderNone,
			Symbols: tw.NewSymbols(tw.StyleASCII),
			Settings: tw.Settings{
				Separators: tw.Separators{ShowHeader: tw.On, BetweenColumns: tw.Off, BetweenRows: tw.Off},
				Lines:      tw.Lines{ShowTop: tw.Off, ShowBottom: tw.Off, ShowHeaderLine: tw.On, ShowFooterLine: tw.Off},
			},
		})),
		// The width of a character must not depend on the locale of the day.
		tablewriter.WithEastAsian(tw.Off),
		tablewriter.WithPadding(tw.Padding{Right: gap, Overwrite: true}),
		tablewriter.WithTrimSpace(tw.Off),
		tablewriter.WithHeaderAutoFormat(tw.Off),
		tablewriter.WithHeaderAutoWrap(tw.WrapNone),
		tablewriter.WithRowAutoWrap(tw.WrapNone),
		tablewriter.WithHeaderAlignmentConfig(tw.CellAlignment{PerColumn: align}),
		tablewriter.WithRowAlignmentConfig(tw.CellAlignment{PerColumn: align}),
	)
	t.Header(heads)
	for _, row := range rows {
		cells := make([]string, len(row))
		for i, cell := range row {
			cells[i] = mark(i, cell)
		}
		if err := t.Append(cells); err != nil {
			return err
		}
	}
	if err := t.Render(); err != nil {
		return err
	}
	for line := range strings.Lines(drawn.String()) {
		line = strings.TrimRight(line, " \n")
		if strings.Trim(line, "-") == "" { // the rule under the heads also runs under the last gap
			line = line[:max(len(line)-len(gap), 0)]
		}
		b.WriteString(line + "\n")
	}
	return nil
}

// gridWidth returns the columns of the screen that a grid takes with gaps of a width.
func gridWidth(heads []string, rows [][]string, gap int) int {
	total := gap * (len(heads) - 1)
	for i, head := range heads {
		total += columnWidth(head, rows, i)
	}
	return total
}
