package report_test

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"testing"

	"prestrike/audit"
	"prestrike/audit/report"
	"prestrike/audit/shoot"
)

// TestClosingsSideBySide writes the last lines of all verdicts with whatever can be in them,
// to be read one below the other in testdata/golden/closing.txt. All have one form: the
// verdict, what to do now, what was not judged, every sequence that was repeated or closed,
// what was missed, and the shot list.
func TestClosingsSideBySide(t *testing.T) {
	sequence := func(id string, v audit.Verdict) *audit.Reviewed {
		return &audit.Reviewed{Sequence: &shoot.Sequence{ID: id}, Verdict: v}
	}
	// Each part adds to the result, and returns what must stand in the last line.
	parts := []struct {
		name string
		add  func(r *audit.Result) []string
	}{
		{"nothing else", func(*audit.Result) []string { return nil }},
		{"retaken", func(r *audit.Result) []string {
			first := sequence("1.3", audit.VerdictReshoot)
			first.SupersededBy = sequence("1.4", audit.VerdictGood)
			r.Sessions[0].Sequences = append(r.Sessions[0].Sequences, first, first.SupersededBy)
			return []string{"1.4 repeats 1.3"}
		}},
		{"twelve retaken", func(r *audit.Result) []string {
			var want []string
			for i := range 12 {
				first := sequence(fmt.Sprintf("1.%d", 20+2*i), audit.VerdictReshoot)
				first.SupersededBy = sequence(fmt.Sprintf("1.%d", 21+2*i), audit.VerdictGood)
				r.Sessions[0].Sequences = append(r.Sessions[0].Sequences, first, first.SupersededBy)
				want = append(want, first.SupersededBy.ID+" repeats "+first.ID)
			}
			return want
		}},
		{"patched", func(r *audit.Result) []string {
			hole := sequence("1.5", audit.VerdictGood)
			patch := sequence("1.6", audit.VerdictGood)
			patch.Patches, hole.PatchedBy = hole, []*audit.Reviewed{patch}
			r.Sessions[0].Sequences = append(r.Sessions[0].Sequences, hole, patch)
			return []string{"1.6 closes 1.5"}
		}},
		{"accepted", func(r *audit.Result) []string {
			q := sequence("1.7", audit.VerdictGood)
			q.Findings = []*audit.Finding{{Rule: "iso-drift", Severity: audit.Check, Accepted: true, Look: "the light"}}
			r.Sessions[0].Sequences = append(r.Sessions[0].Sequences, q)
			return nil
		}},
		{"a note", func(r *audit.Result) []string {
			q := sequence("1.8", audit.VerdictGood)
			q.Findings = []*audit.Finding{{Rule: "near-edge", Severity: audit.Note, Look: "the front"}}
			r.Sessions[0].Sequences = append(r.Sessions[0].Sequences, q)
			return []string{"the front of 1.8"}
		}},
		{"not judged", func(r *audit.Result) []string {
			q := sequence("1.9", audit.VerdictGood)
			q.NotJudged = []audit.NotJudged{{Rule: "moved", Reason: "no preview", Severity: audit.Check, Pictures: true}}
			r.Sessions[0].Sequences = append(r.Sessions[0].Sequences, q)
			return []string{"ot judged: the pictures of 1.9"}
		}},
		{"views missing", func(r *audit.Result) []string {
			r.Sessions[0].Findings = append(r.Sessions[0].Findings, &audit.Finding{Severity: audit.Check, Look: "the shot list"})
			r.Views = []*audit.ShotView{{View: &audit.View{Name: "ribs"}}}
			r.Verdict = max(r.Verdict, audit.VerdictCheck)
			return []string{"the shot list", "0 of 1 views shot; missing: ribs"}
		}},
		{"views missing, the shoot over", func(r *audit.Result) []string {
			r.Sessions[0].Findings = append(r.Sessions[0].Findings, &audit.Finding{Severity: audit.Reshoot, Look: "the shot list"})
			r.Views = []*audit.ShotView{{View: &audit.View{Name: "ribs"}}}
			r.Verdict = audit.VerdictReshoot
			return []string{"the missing views", "0 of 1 views shot; missing: ribs"}
		}},
		{"a second session", func(r *audit.Result) []string {
			r.Sessions = append(r.Sessions, &audit.Session{Session: &shoot.Session{ID: "2"}, Sequences: []*audit.Reviewed{
				sequence("2.1", audit.VerdictReshoot), sequence("2.2", audit.VerdictCheck),
			}})
			r.Verdict = audit.VerdictReshoot
			return []string{"2.1", "2.2"}
		}},
		{"a copy not complete", func(r *audit.Result) []string {
			r.Files.Unfinished = []string{"card/BX1_0099.NEF.part"}
			r.Verdict = max(r.Verdict, audit.VerdictCheck)
			return []string{"BX1_0099.NEF.part is not complete yet"}
		}},
	}
	alone := slices.Clone(parts)
	parts = append(parts, struct {
		name string
		add  func(r *audit.Result) []string
	}{"all of these", func(r *audit.Result) (want []string) {
		for _, p := range alone {
			want = append(want, p.add(r)...)
		}
		return slices.DeleteFunc(want, func(w string) bool { return w == "the shot list" }) // the shoot is over
	}})
	var all bytes.Buffer
	for _, p := range parts {
		fmt.Fprintf(&all, "%s:\n", p.name)
		for _, v := range []audit.Verdict{audit.VerdictGood, audit.VerdictCheck, audit.VerdictReshoot} {
			r := &audit.Result{Verdict: v, Sessions: []*audit.Session{{Session: &shoot.Session{ID: "1"}, Sequences: []*audit.Reviewed{sequence("1.1", audit.VerdictGood)}}}}
			if v >= audit.VerdictCheck {
				r.Sessions[0].Sequences = append(r.Sessions[0].Sequences, sequence("1.2", audit.VerdictCheck))
			}
			if v == audit.VerdictReshoot {
				r.Sessions[0].Sequences = append(r.Sessions[0].Sequences, sequence("1.10", v), sequence("1.11", v), sequence("1.12", v), sequence("1.14", v))
			}
			want := p.add(r)
			if r.Verdict != v {
				continue // what it adds has another verdict
			}
			var b bytes.Buffer
			report.WriteClosing(&b, r, 100, false)
			line := strings.Join(strings.Fields(b.String()), " ")
			for _, w := range want {
				if !strings.Contains(line, w) {
					t.Errorf("%s, %s: no %q in %q", p.name, v, w, line)
				}
			}
			if !strings.HasPrefix(line, strings.ToUpper(v.String())) || !strings.HasSuffix(line, ".") {
				t.Errorf("%s, %s: another form: %q", p.name, v, line)
			}
			if !report.IsReport([]byte("1 picture file, 1 frame.\n"), b.Bytes()) {
				t.Errorf("%s, %s: not recognised as the end of a table of ours: %q", p.name, v, line)
			}
			all.Write(b.Bytes())
		}
		all.WriteByte('\n')
	}
	golden(t, "closing.txt", bytes.TrimSuffix(all.Bytes(), []byte("\n")))
}
