package report_test

import (
	"bytes"
	"context"
	"encoding/csv"
	"regexp"
	"slices"
	"strings"
	"testing"

	"prestrike/audit"
	"prestrike/audit/audittest"
	"prestrike/audit/pixels"
	"prestrike/audit/report"
	"prestrike/audit/shoot"
	"prestrike/exifread"
)

// rows reads what the CSV form wrote, each row by the names of its columns.
func rows(t *testing.T, text []byte) []map[string]string {
	t.Helper()
	records, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []map[string]string
	for _, record := range records[1:] {
		row := map[string]string{}
		for i, name := range records[0] {
			row[name] = record[i]
		}
		out = append(out, row)
	}
	return out
}

// TestCSVRows holds that there is a row per frame, with what was found about it.
func TestCSVRows(t *testing.T) {
	text := write(t, "csv", morningResult(t), nil)
	if !bytes.HasSuffix(text, []byte("\r\n")) || bytes.Count(text, []byte("\n")) != bytes.Count(text, []byte("\r\n")) {
		t.Error("not every line ends as RFC 4180 has it")
	}
	got := rows(t, text)
	if len(got) != 182 {
		t.Fatalf("%d rows, want one for each of 182 frames", len(got))
	}
	for _, c := range []struct {
		at     int
		column string
		want   string
	}{
		{0, "path", "BX1_0001.NEF"},
		{0, "interval_s", ""},
		{2, "interval_s", "1.3"},
		{0, "time", "2026-03-04T10:02:00.00+01:00"},
		{0, "working_f_number", ""},
		{181, "exposure_time_s", "0.008"},
		{1, "findings", "accepted white-balance"},
		{2, "findings", ""},
		{59, "findings", "retaken missing-frame"},
		{59, "verdict", "retaken"},
		{160, "findings", "check iso-drift; note interval-jitter"},
		{160, "iso", "200"},
		{160, "verdict", "check"},
	} {
		if have := got[c.at][c.column]; have != c.want {
			t.Errorf("row %d: %s is %q, want %q", c.at, c.column, have, c.want)
		}
	}
}

// TestCSVMeasures holds what is measured to the frame that it was measured of, and
// leaves out what was not.
func TestCSVMeasures(t *testing.T) {
	session, err := audittest.Read(strings.NewReader("BX1_0001..0004.JPG every 2s time=2026-03-04T10:02:00.00 make=Borealis body=BX-1 serial=1 f=8 t=0.5"))
	if err != nil {
		t.Fatal(err)
	}
	opt := session.Options
	opt.Measure = func(_ context.Context, runs []*shoot.Run) ([]shoot.Seen, error) {
		return []shoot.Seen{{Evidence: &pixels.Seen{Judgement: &pixels.Judgement{Frames: 4, Factor: 2, PerFrame: []pixels.FrameSummary{
			{Measured: true, EV: -0.5, Clipped: 0.012, Sharpest: 0.25, ShiftX: -3, ShiftY: 0.00001},
			{},
			{Measured: true},
			{Measured: true},
		}}}}}, nil
	}
	opt.WorkingFNumbers = func(v *audit.Review) map[*shoot.Frame]float64 {
		return map[*shoot.Frame]float64{v.Sequence.Frames[2]: 11.314}
	}
	r, err := audit.Judge(t.Context(), &shoot.Collection{Files: session.Files}, &opt)
	if err != nil {
		t.Fatal(err)
	}
	got := rows(t, write(t, "csv", r, nil))
	for column, want := range map[string][]string{
		"brightness_ev":    {"-0.5", "", "0", "0"},
		"clipped_percent":  {"1.2", "", "0", "0"},
		"sharpest_percent": {"25", "", "0", "0"},
		"shift_x_px":       {"-6", "", "0", "0"},
		"shift_y_px":       {"0", "", "0", "0"},
		"working_f_number": {"", "", "11.314", ""},
		"f_number":         {"8", "8", "8", "8"},
	} {
		var have []string
		for _, row := range got {
			have = append(have, row[column])
		}
		if !slices.Equal(have, want) {
			t.Errorf("%s is %q, want %q", column, have, want)
		}
	}
}

// hostileCells are texts that a spreadsheet or a reader of Markdown would act on.
var hostileCells = []string{
	"=1+1", "+1", "-1", "@SUM(A1)", " =1+1", "＝1", "\t=1", "\r=1", `="a",b` + "\r\n=c", "a\xff\x00", "'", `"`,
	"[a](javascript:alert(1))", "![x](http://example.org/x.png)", "<script>alert(1)</script>", "a|b\n|c", "# a", "1. a", "- a", "`a`", "https://example.org", "WWW.example.org", "a@example.org", "&lt;", "a\u202egpj",
}

// TestCSVCellsAreHarmless holds that no text from a file begins a formula or a row.
func TestCSVCellsAreHarmless(t *testing.T) {
	for _, text := range hostileCells {
		out := write(t, "csv", hostileResult(t, text), nil)
		got := rows(t, out)
		if len(got) != 3 {
			t.Fatalf("%q: %d rows, want 3", text, len(got))
		}
		for _, row := range got {
			for _, column := range []string{"path", "body_make", "body_model", "body_serial", "lens"} {
				cell := row[column]
				if cell == "" {
					t.Errorf("%q: %s is empty", text, column)
				} else if first := []rune(strings.TrimLeft(cell, " "))[0]; strings.ContainsRune("=+-@＝\t\r", first) {
					t.Errorf("%q: %s begins a formula: %q", text, column, cell)
				}
			}
		}
	}
}

// escaped is a character that shows as it is, by CommonMark 2.4.
var escaped = regexp.MustCompile(`\\[[:punct:]]`)

// TestMarkdownIsHarmless holds that no text from a file becomes a link, a picture, HTML,
// a cell or a block of its own.
func TestMarkdownIsHarmless(t *testing.T) {
	plain := strings.Count(string(write(t, "markdown", hostileResult(t, "plain"), nil)), "\n")
	for _, text := range hostileCells {
		out := string(write(t, "markdown", hostileResult(t, text), nil))
		if n := strings.Count(out, "\n"); n != plain {
			t.Errorf("%q: %d lines, want %d:\n%s", text, n, plain, out)
		}
		shown := escaped.ReplaceAllString(out, "")
		for _, bad := range []string{"[", "]", "<", "&", "://", "WWW.", "@", "`", "\n# a", "\n1. a"} {
			if strings.Contains(shown, bad) {
				t.Errorf("%q: %q reached the output:\n%s", text, bad, out)
			}
		}
		for line := range strings.Lines(shown) {
			if n := strings.Count(line, "|"); n != 0 && n != 12 {
				t.Errorf("%q: a row of %d cells: %s", text, n-1, line)
			}
		}
	}
}

// A sink is a place of a report that text from files comes to; it puts a text there.
type sink struct {
	name string
	put  func(r *audit.Result, text string)
}

var sinks = []sink{
	{"names of files", func(r *audit.Result, text string) {
		for _, q := range r.Sessions[0].Sequences {
			for i, f := range q.Frames {
				f.Files[0].Path = text
				f.Number.Known = i > 0
			}
		}
	}},
	{"make", func(r *audit.Result, text string) { r.Sessions[0].Bodies[0].Make = text }},
	{"model", func(r *audit.Result, text string) { r.Sessions[0].Bodies[0].Model = text }},
	{"serial number", func(r *audit.Result, text string) { r.Sessions[0].Bodies[0].Serial = text }},
	{"lens", func(r *audit.Result, text string) {
		for _, f := range r.Sessions[0].Sequences[0].Frames {
			f.Meta().LensModel = exifread.Of(text)
		}
	}},
	{"message of a finding", func(r *audit.Result, text string) { r.Sessions[0].Sequences[0].Findings[1].Message = "a " + text }},
	{"advice of a finding", func(r *audit.Result, text string) { r.Sessions[0].Sequences[0].Findings[1].Action = text }},
	{"message of an accepted finding", func(r *audit.Result, text string) { r.Sessions[0].Sequences[0].Findings[0].Message = text }},
	{"reason of an acceptance", func(r *audit.Result, text string) { r.Sessions[0].Sequences[0].Findings[0].Reason = text }},
	{"reason of what was not judged", func(r *audit.Result, text string) {
		q := r.Sessions[0].Sequences[0]
		q.NotJudged = append(slices.DeleteFunc(q.NotJudged, func(n audit.NotJudged) bool { return n.Rule == "diffraction" }), audit.NotJudged{Rule: "diffraction", Reason: text})
	}},
	{"how the support is known", func(r *audit.Result, text string) { r.Sessions[0].Sequences[0].SupportBy = text }},
	{"rule of an acceptance without use", func(r *audit.Result, text string) { unused(r).Rule = text }},
	{"frame of an acceptance without use", func(r *audit.Result, text string) { unused(r).Frame = text }},
	{"why an acceptance has no use", func(r *audit.Result, text string) { unused(r).Why = text }},
}

// unused is the one acceptance without use of a report.
func unused(r *audit.Result) *audit.UnusedAcceptance {
	if len(r.Unused) == 0 {
		r.Unused = []audit.UnusedAcceptance{{Acceptance: audit.Acceptance{Rule: "r", Frame: "f"}, Why: "w"}}
	}
	return &r.Unused[0]
}

// plainResult is a report with something in every sink.
func plainResult(t *testing.T) *audit.Result {
	t.Helper()
	return judge(t, "BX1_0001..0003.JPG every 1s time=2026-03-04T10:02:00.00 make=Borealis body=BX-1 serial=1 lens=L f=8 t=0.5",
		planted{"1.1", 1, 1, audit.Finding{Rule: "no-exif", Message: "m", Action: "a", Accepted: true, Reason: "r"}},
		planted{"1.1", 1, 2, audit.Finding{Rule: "iso-drift", Message: "m", Action: "a"}})
}

// hostileResult is a report whose every text that comes from files is this one.
func hostileResult(t *testing.T, text string) *audit.Result {
	t.Helper()
	r := plainResult(t)
	for _, s := range sinks {
		s.put(r, text)
	}
	return r
}

// TestFormsOfFrames holds that the forms which list frames ask for their working f-numbers.
func TestFormsOfFrames(t *testing.T) {
	for _, f := range report.Forms() {
		if listed := strings.Contains(string(write(t, f.Name, morningResult(t), nil)), "working_f_number"); listed && !f.Frames {
			t.Errorf("%s lists working f-numbers and does not ask for them", f.Name)
		}
	}
}
