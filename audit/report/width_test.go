package report_test

import (
	"bytes"
	"fmt"
	"strings"
	"testing"

	"prestrike/audit"
	"prestrike/audit/report"

	"github.com/olekukonko/tablewriter/pkg/twwidth"
)

// widths are those of narrow and wide screens, and on both sides of the usual 80.
var widths = []int{40, 50, 60, 72, 79, 80, 100, 200}

// keepsTo fails where a line is wider than the screen or ends with blanks.
func keepsTo(t *testing.T, what string, width int, text string) {
	t.Helper()
	for line := range strings.Lines(text) {
		line = strings.TrimSuffix(line, "\n")
		if got := twwidth.WidthNoCache(line); got > width {
			t.Errorf("%s at %d columns: a line of %d: %q", what, width, got, line)
		}
		if strings.TrimRight(line, " ") != line {
			t.Errorf("%s at %d columns: blanks end %q", what, width, line)
		}
	}
}

// manySequences is a session of 60 focus sequences by two bodies, whose files have names
// of a form that the formatted string makes.
func manySequences(name string) string {
	var b strings.Builder
	for i := range 60 {
		body := fmt.Sprintf("body=BX-%d serial=100321%d", i%2+1, i%2)
		fmt.Fprintf(&b, "card/%s frames=12 every 1.3s time=2026-03-04T%02d:%02d:00.00+01:00 make=Borealis %s lens=Borealis_90 mm=90 f=5.6 t=0.8 iso=100 program=manual size=6000x4000 dist=0.30..0.31\n",
			fmt.Sprintf(name, i), 9+i/12, i%12*5, body)
	}
	return b.String()
}

// No form for people is wider than its screen, and no row of the table is wrapped,
// whatever the names of files and folders are, however many sequences there are, and
// however often a sequence was patched.
func TestRowsStayRows(t *testing.T) {
	for name, text := range map[string]string{
		"morning":    morning,
		"60":         manySequences("BX%02d_{150405.00}.JPG"),
		"wide":       manySequences("菊石の化石の正面と側面の写真%02d第一列_{150405.00}.JPG"),
		"combining":  manySequences("a\u0301m\u0302mo\u0308ni\u0303te\u0301s\u030cpi\u0300ra\u0306l%02d_{150405.00}.JPG"),
		"long":       manySequences("the-front-of-the-ammonite-in-raking-light-%02d_{150405.00}.JPG"),
		"one letter": manySequences("%02d{150405.00}.JPG"),
	} {
		r := judge(t, text, planted{"1.2", 0, 3, audit.Finding{Rule: "iso-drift", Message: "ISO went from 100 to 200 at 0079 and stayed", Action: "shoot it again"}})
		sequences := r.Sessions[0].Sequences
		patched := sequences[1]
		for _, p := range sequences[2:6] {
			p.Patches, patched.PatchedBy = patched, append(patched.PatchedBy, p)
		}
		for _, width := range widths {
			out := string(write(t, "table", r, &report.Options{Width: width}))
			keepsTo(t, name, width, out)
			if rows := tableRows(out); rows != len(sequences)-4 && name != "morning" {
				t.Errorf("%s at %d columns: %d rows, want %d:\n%s", name, width, rows, len(sequences)-4, out)
			}
		}
	}
}

// tableRows counts the lines between the rule under the heads and what is below the rows.
func tableRows(out string) int {
	rows, inside := 0, false
	for line := range strings.Lines(out) {
		switch {
		case strings.Trim(line, "-\n") == "" && len(line) > 2:
			inside = true
		case line == "\n" || strings.HasPrefix(line, "Left out"):
			inside = false
		case inside:
			rows++
		}
	}
	return rows
}

// Columns leave a narrow screen in the order of what they matter for: what names a
// sequence, its frames and its verdict stay.
func TestColumnsLeaveInOrder(t *testing.T) {
	r := judge(t, manySequences("BX%02d_{150405.00}.JPG"))
	order := []string{"cadence", "focal", "ISO", "f-number", "exposure", "time", "count", "kind"}
	before := 0
	for _, width := range []int{200, 100, 80, 79, 72, 60, 50, 40} {
		out := string(write(t, "table", r, &report.Options{Width: width}))
		_, text, named := strings.Cut(out, "Left out in this width: ")
		text, _, _ = strings.Cut(text, ".\n")
		left := 0
		if named {
			left = strings.Count(text, ",") + 1
		}
		for i, head := range order {
			if gone := strings.Contains(strings.Join(strings.Fields(text), " "), head); gone != (i < left) {
				t.Errorf("%d columns: %q left out, want the first %d of %q", width, text, left, order)
			}
		}
		if left < before || width >= 80 && left > 0 {
			t.Errorf("%d columns: %d columns left out, %d in a wider one", width, left, before)
		}
		before = left
		for _, stays := range []string{"id", "body", "frames", "verdict"} {
			if strings.Contains(text, stays) {
				t.Errorf("%d columns: %s left out", width, stays)
			}
		}
	}
}

// The lines of a watch keep to the screen.
func TestLiveKeepsToTheWidth(t *testing.T) {
	for _, name := range []string{"BX%02d_{150405.00}.JPG", "菊石の化石の正面と側面の写真%02d第一列_{150405.00}.JPG", "the-front-of-the-ammonite-in-raking-light-%02d_{150405.00}.JPG"} {
		r := judge(t, manySequences(name), planted{"1.2", 0, 3, audit.Finding{Rule: "iso-drift", Message: "ISO went from 100 to 200 at 0079 and stayed", Action: "shoot it again"}})
		for _, width := range widths {
			for _, kind := range []audit.LiveKind{audit.SequenceClosed, audit.SequenceCorrected, audit.SequenceOverdue, audit.SequenceStalled} {
				q := r.Sessions[0].Sequences[1]
				var b bytes.Buffer
				report.WriteLive(&b, audit.LiveEvent{Kind: kind, Sequence: q, Findings: q.Findings, Reason: "after 6 s of quiet"}, width, false)
				keepsTo(t, kind.String(), width, b.String())
			}
		}
	}
}
