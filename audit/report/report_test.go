package report_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"prestrike/audit"
	"prestrike/audit/audittest"
	"prestrike/audit/report"
	"prestrike/audit/shoot"
	"prestrike/exifread"

	"github.com/google/go-cmp/cmp"
	"github.com/olekukonko/tablewriter/pkg/twwidth"
)

// morning is a session with one of everything: a good sequence, one with lost
// frames and its retake, a time-lapse with a drift, single frames.
const morning = `
BX1_0001.NEF time=2026-03-04T10:02:00.00+01:00 make=Borealis body=BX-1 serial=1003217 lens=Borealis_90 mm=90 f=5.6 t=0.8 iso=100 program=manual size=6000x4000
BX1_0002..0041.NEF every 1.3s after 60s
BX1_0042..0060.NEF every 1.3s after 400s
BX1_0063..0081.NEF every 1.3s after 3.9s
BX1_0082..0121.NEF every 1.3s after 200s
BX1_0122..0161.NEF every 10s after 1500s f=11 t=3.2
BX1_0162..0181.NEF every 10s after 10s iso=200
BX1_0182.NEF after 300s iso=100
BX1_0183.NEF after 45s t=1/125
BX1_0184.NEF after 80s
`

// planted is a finding to be made by a rule of the same name.
type planted struct {
	sequence    string
	first, last int // frames by their place in the sequence
	finding     audit.Finding
}

// ruleTitles are what findings of the planted rules lead with.
var ruleTitles = map[string]string{
	"missing-frame": "Missing frames", "iso-drift": "ISO changes", "interval-jitter": "Uneven interval",
	"white-balance": "Automatic white balance", "diffraction": "Diffraction",
}

// oneView is what is known of pictures that all show the same view.
type oneView struct{}

func (oneView) SameView(any) (same, known bool, apart float64) { return true, true, 0.01 }

// judge audits a session written as text with rules that find what is planted,
// and one that cannot judge what has no sensor pitch.
func judge(t *testing.T, text string, finds ...planted) *audit.Result {
	t.Helper()
	session, err := audittest.Read(strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	opt := session.Options
	for _, p := range finds {
		i := slices.IndexFunc(opt.Rules, func(r *audit.Rule) bool { return r.ID == p.finding.Rule })
		if i < 0 {
			rule := &audit.Rule{ID: p.finding.Rule, Title: ruleTitles[p.finding.Rule], Severity: audit.Check}
			rule.Check = func(v *audit.Review) error {
				for _, p := range finds {
					if p.sequence == v.Sequence.ID && p.finding.Rule == rule.ID {
						f := p.finding
						f.Frames = v.Sequence.Frames[p.first : p.last+1]
						v.Found(f)
					}
				}
				return nil
			}
			opt.Rules = append(opt.Rules, rule)
		}
	}
	opt.Rules = append(opt.Rules, &audit.Rule{ID: "diffraction", Title: ruleTitles["diffraction"], Severity: audit.Check, Check: func(v *audit.Review) error {
		v.Unjudged("no sensor pitch")
		return nil
	}})
	opt.Measure = func(_ context.Context, runs []*shoot.Run) ([]shoot.Seen, error) {
		seen := make([]shoot.Seen, len(runs))
		for i := range runs {
			seen[i].Evidence = oneView{}
		}
		return seen, nil
	}
	r, err := audit.Judge(t.Context(), &shoot.Collection{Files: session.Files}, &opt)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func morningResult(t *testing.T) *audit.Result {
	r := judge(t, morning,
		planted{"1.3", 18, 19, audit.Finding{
			Rule: "missing-frame", Severity: audit.Reshoot,
			Message: "frames 0061 and 0062 are missing and the pause fits two frames", Action: "shoot this sequence again",
			Measured: exifread.Of(2.0), Limit: exifread.Of(1.0), Unit: "frames",
		}},
		planted{"1.5", 40, 59, audit.Finding{
			Rule: "iso-drift", Message: "frames 0162 to 0181 are at ISO 200, the rest at 100",
			Action: "look whether the clip can bear the step, else shoot it again with the ISO fixed",
		}},
		planted{"1.5", 0, 59, audit.Finding{
			Rule: "interval-jitter", Severity: audit.Note, Message: "the interval is uneven by up to 0.2 s", Action: "no need to act",
		}},
		planted{"1.2", 0, 0, audit.Finding{
			Rule: "white-balance", Message: "white balance is automatic", Accepted: true, Reason: "grey card in every view",
		}},
	)
	r.Files.Other = 3
	return r
}

// golden compares with a file of testdata/golden; UPDATE=1 rewrites it.
func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	path := filepath.Join("..", "..", "testdata", "golden", name)
	if os.Getenv("UPDATE") != "" {
		if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, got, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(want), string(got)); diff != "" {
		t.Errorf("%s (-want +got):\n%s", name, diff)
	}
}

func write(t *testing.T, form string, r *audit.Result, opt *report.Options) []byte {
	t.Helper()
	f, err := report.ParseForm(form)
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := f.Write(&b, r, opt); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestGoldens(t *testing.T) {
	r := morningResult(t)
	for name, opt := range map[string]*report.Options{
		"report.txt":        nil,
		"report_80.txt":     {Width: 80},
		"report_brief.txt":  {Brief: true},
		"report_colour.txt": {Colour: true, Brief: true},
	} {
		golden(t, name, write(t, "table", r, opt))
	}
	golden(t, "report.json", write(t, "json", r, nil))
	golden(t, "report.csv", write(t, "csv", r, nil))
	golden(t, "report.md", write(t, "markdown", r, nil))
}

// TestIsReport holds that what each form writes is known again, and nothing else.
func TestIsReport(t *testing.T) {
	nothing := &audit.Result{}
	for _, f := range report.Forms() {
		for name, r := range map[string]*audit.Result{"morning": morningResult(t), "nothing": nothing} {
			for _, opt := range []*report.Options{nil, {Brief: true}, {Width: 40}} {
				text := write(t, f.Name, r, opt)
				if !report.IsReport(text, text) {
					t.Errorf("%s of %s, %+v: not known again:\n%s", f.Name, name, opt, text)
				}
			}
		}
	}
	for _, text := range []string{
		"", "GOOD", "Session notes\nCHECK: the tripod\n", "{\"format\": \"else\"}\n", "[shoot]\nplanned-frames = 50\n",
		"<x:xmpmeta></x:xmpmeta>\n", "Session 1: notes\nGOOD: light\nthen packed up\n",
	} {
		if report.IsReport([]byte(text), []byte(text)) {
			t.Errorf("taken for a report: %q", text)
		}
	}
}

// TestWidth holds that nothing is wider than asked for, whatever the findings.
func TestWidth(t *testing.T) {
	r := morningResult(t)
	for _, width := range []int{80, 90, 100, 120} {
		for line := range strings.Lines(string(write(t, "table", r, &report.Options{Width: width}))) {
			if got := twwidth.WidthNoCache(strings.TrimSuffix(line, "\n")); got > width {
				t.Errorf("width %d: a line of %d columns: %q", width, got, line)
			}
			if strings.TrimRight(line, " \n") != strings.TrimSuffix(line, "\n") {
				t.Errorf("width %d: blanks at the end of %q", width, line)
			}
		}
	}
}

// hostile is text as a file may hold it: terminal commands, lines of its own,
// a bidirectional override, and a byte that is not UTF-8.
const hostile = "a\x1b]0;owned\x07\x9b31m\nsecond\r\u202eexe\u2066\u0085\u2028\xff<b>,=1+1"

func TestHostileTextIsEscaped(t *testing.T) {
	r := judge(t, morning, planted{"1.2", 0, 1, audit.Finding{Rule: "no-exif", Message: "frame " + hostile, Action: "look at " + hostile}})
	for _, s := range r.Sessions {
		for _, b := range s.Bodies {
			b.Model, b.Serial = hostile, hostile
		}
		for _, q := range s.Sequences {
			q.NotJudged = append(q.NotJudged, audit.NotJudged{Rule: "diffraction", Reason: hostile})
			for _, f := range q.Frames {
				for _, file := range f.Files {
					file.Path = "DCIM/" + hostile
				}
			}
		}
	}
	r.Files.Unreadable = []*shoot.File{{Path: hostile, Err: errors.New(hostile), Meta: &exifread.Metadata{}}}
	for _, f := range report.Forms() {
		out := write(t, f.Name, r, nil)
		if !utf8.Valid(out) {
			t.Errorf("%s: not UTF-8", f.Name)
		}
		text := string(out)
		if f.Name == "csv" { // RFC 4180 ends lines so
			text = strings.ReplaceAll(text, "\r\n", "\n")
		}
		for _, c := range text {
			if c != '\n' && (c < ' ' || c >= 0x7f && c < 0xa0 || c == '\u202e' || c == '\u2066' || c == '\u2028') {
				t.Errorf("%s: the character %U reached the output", f.Name, c)
			}
		}
		if strings.Contains(string(out), "\nsecond") {
			t.Errorf("%s: a file's newline made a line of its own", f.Name)
		}
	}
}

func TestJSONKeepsNamesApart(t *testing.T) {
	names := []string{"a\xff", "a\xfe", `a\xff`, `a\\xff`, "a\ufffd", "a\xc3\xbf", "aÿ\xff", `a\`, "a\n", "ä"}
	seen := map[string]string{}
	for _, name := range names {
		quoted, err := json.Marshal(report.JSONText(name))
		if err != nil {
			t.Fatal(err)
		}
		if other, ok := seen[string(quoted)]; ok && other != name {
			t.Errorf("%q and %q are both %s", other, name, quoted)
		}
		seen[string(quoted)] = name
	}
	if got := report.JSONText("DCIM/100BXCAM/Größe.NEF"); got != "DCIM/100BXCAM/Größe.NEF" {
		t.Errorf("an ordinary name became %q", got)
	}
}

// TestJSONKeys holds the keys of the JSON form, which programs depend on, and
// that nothing but a value that is not known is null.
func TestJSONKeys(t *testing.T) {
	var got map[string]any
	if err := json.Unmarshal(write(t, "json", morningResult(t), nil), &got); err != nil {
		t.Fatal(err)
	}
	first := func(v any, key string) map[string]any { return v.(map[string]any)[key].([]any)[0].(map[string]any) }
	session := first(got, "sessions")
	var sequence map[string]any // one that has a finding
	for _, q := range session["sequences"].([]any) {
		if len(q.(map[string]any)["findings"].([]any)) > 0 {
			sequence = q.(map[string]any)
		}
	}
	for _, c := range []struct {
		what string
		v    any
		want string
	}{
		{"the report", got, "files format sessions time_left verdict version views"},
		{"a session", session, "bodies end findings frame_count id not_judged sequences start verdict"},
		{"a body", first(session, "bodies"), "clock_ahead_s make model serial"},
		{"a sequence", sequence, "cadence_s end findings frame_count frames id kind merged not_judged patched_by patches seen settings start superseded_by support support_by verdict view"},
		{"settings", sequence["settings"], "exposure_time_s f_number focal_length_mm iso"},
		{"a frame", first(sequence, "frames"), "copies files number time"},
		{"a finding", first(sequence, "findings"), "accepted action closed frames limit measured message rule severity title unit"},
		{"a reason", first(sequence, "not_judged"), "reason rule"},
		{"files", got["files"], "copies earlier frames merged other read since unfinished unread unreadable"},
	} {
		var keys []string
		for k := range c.v.(map[string]any) {
			keys = append(keys, k)
		}
		slices.Sort(keys)
		if have := strings.Join(keys, " "); have != c.want {
			t.Errorf("%s has the keys %s, want %s", c.what, have, c.want)
		}
	}
}

// TestJSONOfNothing holds that lists are never null.
func TestJSONOfNothing(t *testing.T) {
	out := string(write(t, "json", &audit.Result{}, nil))
	want := `{"format":"prestrike-report","version":2,"verdict":"good","sessions":[],"views":[],"time_left":null,"files":{"read":0,"frames":0,"merged":0,"copies":0,"earlier":0,"since":null,"other":0,"unreadable":[],"unread":[],"unfinished":[]}}`
	var b bytes.Buffer
	if err := json.Compact(&b, []byte(out)); err != nil {
		t.Fatal(err)
	}
	if b.String() != want {
		t.Errorf("got  %s\nwant %s", b.String(), want)
	}
	session := judge(t, "unnamed.jpg noexif")
	out = string(write(t, "json", session, nil))
	for _, key := range []string{"sessions", "bodies", "sequences", "frames", "findings", "not_judged", "files", "unreadable"} {
		if strings.Contains(out, fmt.Sprintf("%q: null", key)) {
			t.Errorf("%s is null", key)
		}
	}
}

// TestReasonsHoldNoPlace holds that a report does not show where the folder lies.
func TestReasonsHoldNoPlace(t *testing.T) {
	r := &audit.Result{}
	r.Files.Unreadable = []*shoot.File{
		{Path: "a.NEF", Abs: "/cards/1/a.NEF", Err: fmt.Errorf("read /cards/1/a.NEF: %w", errors.New("the file is empty"))},
		{Path: "b.NEF", Abs: "/cards/1/b.NEF", Err: &fs.PathError{Op: "open", Path: "/cards/1/b.NEF", Err: fs.ErrPermission}},
	}
	out := string(write(t, "json", r, nil))
	for _, want := range []string{`"reason": "the file is empty"`, fmt.Sprintf(`"reason": %q`, fs.ErrPermission)} {
		if !strings.Contains(out, want) {
			t.Errorf("no %s in\n%s", want, out)
		}
	}
	if strings.Contains(out, "/cards") {
		t.Errorf("the place of the folder in\n%s", out)
	}
}

// TestTimes holds how times are written: as exact as the clock, with the
// offset that belongs to the reading.
func TestTimes(t *testing.T) {
	for _, c := range []struct{ line, want string }{
		{"A_0001.JPG time=2026-03-04T10:11:12.34+01:00", "2026-03-04T10:11:12.34+01:00"},
		{"A_0001.JPG time=2026-03-04T10:11:12-03:30", "2026-03-04T10:11:12-03:30"},
		{"A_0001.JPG time=2026-03-04T10:11:12.000", "2026-03-04T10:11:12.000"},
		{"A_0001.JPG time=2026-03-04T23:59:59", "2026-03-04T23:59:59"},
	} {
		out := string(write(t, "json", judge(t, c.line), nil))
		for _, key := range []string{"time", "start", "end"} {
			if want := fmt.Sprintf("%q: %q", key, c.want); !strings.Contains(out, want) {
				t.Errorf("%s: no %s in\n%s", c.line, want, out)
			}
		}
	}
}

// TestSinglesShareARow holds that a day of single frames stays short, and that
// those to be shot again are not hidden among the others.
func TestSinglesShareARow(t *testing.T) {
	r := judge(t, "BX1_0001..0300.JPG every 1s time=2026-03-04T09:00:00.00 make=Borealis body=BX-1 t=1/125 f=8 iso=100 mm=90")
	session := r.Sessions[0]
	var frames []*shoot.Frame
	for _, q := range session.Sequences {
		frames = append(frames, q.Frames...)
	}
	session.Sequences = nil
	for i, f := range frames {
		q := &audit.Reviewed{Sequence: &shoot.Sequence{
			Run: &shoot.Run{Body: f.Body, Frames: []*shoot.Frame{f}},
			ID:  fmt.Sprintf("1.%d", i+1), Kind: shoot.Single, Support: shoot.Handheld,
		}}
		switch {
		case i == 99:
			q.Findings = []*audit.Finding{{Rule: "unreadable-file", Severity: audit.Reshoot, Message: "no picture can be read from it", Action: "shoot it again", Frames: q.Frames}}
			q.Verdict = audit.VerdictReshoot
		case i%2 == 0:
			message := "1/125 s may be too slow"
			if i%4 == 0 {
				message = fmt.Sprintf("frame %s may be shaken", f.Label())
			}
			q.Findings = []*audit.Finding{{Rule: "handheld-shutter", Severity: audit.Check, Message: message, Action: "look at it at 100 %", Frames: q.Frames}}
			q.Verdict = audit.VerdictCheck
		}
		session.Sequences = append(session.Sequences, q)
	}
	r.Verdict = audit.VerdictReshoot
	out := string(write(t, "table", r, nil))
	if n := strings.Count(out, "\n"); n > 25 {
		t.Errorf("%d lines:\n%s", n, out)
	}
	for _, want := range []string{"\n1.1-99 ", "\n1.100 ", "\n1.101-300 ", "unreadable-file", "and 72 more", "; 1.3, 1.7, 1.11, ", "RESHOOT: shoot 1.100 again"} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q in\n%s", want, out)
		}
	}
}

// TestFindingsLeadWithTitles holds that a finding leads with its plain name, that the
// rule is named only where it is asked for, and that what several sequences share is
// written once.
func TestFindingsLeadWithTitles(t *testing.T) {
	finding := func(message string) audit.Finding {
		return audit.Finding{Rule: "iso-drift", Severity: audit.Note, Message: message, Action: "shoot it again"}
	}
	r := judge(t, morning, planted{"1.2", 0, 1, finding("ISO varies")}, planted{"1.4", 0, 1, finding("ISO varies")}, planted{"1.5", 0, 1, finding("one frame differs")})
	want := "note  ISO changes (1.2, 1.4 and 1.5): 1.2 and 1.4: ISO varies; 1.5: one frame differs. Shoot it again."
	for _, c := range []struct {
		why      bool
		wants    []string
		wantsNot string
	}{
		{false, []string{want + "\n", "Not judged: \"Diffraction\" (all sequences): no sensor pitch.\n"}, "["},
		{true, []string{want + " [iso-drift]\n", "  \"Diffraction\" (all sequences): no sensor pitch. [diffraction]\n"}, "Uneven"},
	} {
		out := string(write(t, "table", r, &report.Options{Why: c.why, Width: 200}))
		for _, want := range c.wants {
			if !strings.Contains(out, want) {
				t.Errorf("why %v: no %q in\n%s", c.why, want, out)
			}
		}
		if strings.Contains(out, c.wantsNot) {
			t.Errorf("why %v: %q in\n%s", c.why, c.wantsNot, out)
		}
	}
}

// TestReasonOfTheSessionToo holds that a reason that all sequences and the session as a whole
// share is that of all sequences, and not of one more than there are.
func TestReasonOfTheSessionToo(t *testing.T) {
	r := judge(t, morning)
	r.Sessions[0].NotJudged = []audit.NotJudged{{Rule: "dust", Title: "Dust on the sensor", Reason: "no sensor pitch"}}
	want := "Not judged: \"Diffraction\" and \"Dust on the sensor\" (all sequences): no sensor pitch.\n"
	if out := string(write(t, "table", r, nil)); !strings.Contains(out, want) {
		t.Errorf("no %q in\n%s", want, out)
	}
}

// TestNotesNotJudgedAreListedOnRequest holds that the table names what was not judged where
// more than a note could have come of it, and --why, the page and JSON the rest too.
func TestNotesNotJudgedAreListedOnRequest(t *testing.T) {
	const reason = "the backdrop may not have moved"
	r := judge(t, morning)
	r.Sessions[0].NotJudged = []audit.NotJudged{{Rule: "dust", Title: "Dust on the sensor", Reason: reason, Severity: audit.Note}}
	for form, opt := range map[string]*report.Options{"table": {Why: true}, "html": nil, "markdown": nil, "json": nil} {
		if out := string(write(t, form, r, opt)); !strings.Contains(out, reason) {
			t.Errorf("%s: no %q in\n%s", form, reason, out)
		}
	}
	if out := string(write(t, "table", r, nil)); strings.Contains(out, reason) || strings.Contains(out, "Dust") {
		t.Errorf("the table names a note that was not judged:\n%s", out)
	}
	r.Sessions[0].NotJudged[0].Severity = audit.Check
	if out := string(write(t, "table", r, &report.Options{Width: 200})); !strings.Contains(out, reason) {
		t.Errorf("the table does not name a check that was not judged:\n%s", out)
	}
}

// TestBracketsHaveNoCadence holds that no time is stated from frame to frame
// where the exposure times differ.
func TestBracketsHaveNoCadence(t *testing.T) {
	r := judge(t, morning)
	q := r.Sessions[0].Sequences[1]
	for _, c := range []struct {
		kind            shoot.Kind
		inTable, inJSON string
	}{{shoot.Series, " 1.3 s  good", `"cadence_s": 1.3,`}, {shoot.Bracket, "        good", `"cadence_s": null,`}} {
		q.Kind = c.kind
		r.Sessions[0].Sequences = []*audit.Reviewed{q}
		if out := string(write(t, "table", r, nil)); !strings.Contains(out, c.inTable) {
			t.Errorf("%s: no %q in\n%s", c.kind, c.inTable, out)
		}
		if out := string(write(t, "json", r, nil)); !strings.Contains(out, c.inJSON) {
			t.Errorf("%s: no %q in\n%s", c.kind, c.inJSON, out)
		}
	}
}

// TestOrder holds that the most urgent stands last, and the verdict very last.
func TestOrder(t *testing.T) {
	out := string(write(t, "table", morningResult(t), nil))
	at := -1
	for _, want := range []string{"\nretaken ", "\naccepted ", "\nnote ", "\ncheck ", "Not judged: ", "Support assumed: ", "\nCHECK: inspect 1.5 before you go on. Not judged: \"Diffraction\" (no sensor pitch). 1.4 repeats 1.3.\n"} {
		i := strings.Index(out, want)
		if i <= at {
			t.Errorf("%q does not stand behind what is less urgent:\n%s", want, out)
		}
		at = i
	}
	if !strings.HasSuffix(out, "(no sensor pitch). 1.4 repeats 1.3.\n") {
		t.Errorf("the verdict is not the last line:\n%s", out)
	}
}

func TestManyReasonsStayShort(t *testing.T) {
	r := morningResult(t)
	for i := range 40 {
		q := r.Sessions[0].Sequences[i%len(r.Sessions[0].Sequences)]
		q.NotJudged = append(q.NotJudged, audit.NotJudged{Rule: fmt.Sprintf("rule-%d", i), Reason: fmt.Sprintf("nothing recorded of the kind %d", i)})
	}
	out := string(write(t, "table", r, nil))
	_, after, _ := strings.Cut(out, "Not judged: ")
	told, _, _ := strings.Cut(after, "Support")
	if strings.Count(told, "\n") > 2 || !strings.Contains(told, "more reasons") {
		t.Errorf("what was not judged takes more than two lines, or does not say that it is cut:\n%s", told)
	}
}

func TestTwoBodiesAreToldApart(t *testing.T) {
	r := judge(t, `
A_0001..0020.JPG time=2026-03-04T10:00:00.00 every 1s make=Borealis body=BX-1 serial=1 t=0.5 f=8 iso=100
B_0001..0020.JPG time=2026-03-04T10:10:00.00 every 1s make=Borealis body=BX-2 serial=2 t=0.5 f=8 iso=100
`)
	out := string(write(t, "table", r, nil))
	for _, want := range []string{"A = Borealis BX-1 no. 1", "B = Borealis BX-2 no. 2", "body"} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q in\n%s", want, out)
		}
	}
}

type failing struct{}

func (failing) Write([]byte) (int, error) { return 0, errors.New("disk full") }

func TestWriteErrorsAreTold(t *testing.T) {
	for _, f := range report.Forms() {
		if err := f.Write(failing{}, &audit.Result{}, nil); err == nil {
			t.Errorf("%s: a failing writer went unnoticed", f.Name)
		}
	}
}

func TestVisible(t *testing.T) {
	for _, c := range []struct{ in, want string }{
		{"BX1_0001.JPG", "BX1_0001.JPG"},
		{"Größe 感 µ.jpg", "Größe 感 µ.jpg"},
		{"a\tb\nc", `a\tb\nc`},
		{"\x1b[31m", `\x1b[31m`},
		{"\u009b31m", `\u009b31m`},
		{"\xff", `\xff`},
		{"gpj.\u202eexe", `gpj.\u202eexe`},
		{"\u200bzero", `\u200bzero`},
	} {
		if got := report.Visible(c.in); got != c.want {
			t.Errorf("Visible(%q) = %q, want %q", c.in, got, c.want)
		}
	}
}
