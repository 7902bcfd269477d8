package report

import (
	"bytes"
	"strings"
	"testing"

	"prestrike/audit"
	"prestrike/audit/audittest"
	"prestrike/audit/shoot"
)

// A line on a sequence names the view that it shows, and none where there is no shot list.
func TestLiveNamesTheView(t *testing.T) {
	const frames = "DCIM/100BXCAM/BX1_0001..0030.NEF every 1.3s time=2026-03-04T10:11:12.34+01:00 t=0.8 f=8 iso=100 mm=90 serial=4711\n"
	for head, want := range map[string]string{
		"":                                 "1.1 series 10:11, frames 0001 to 0030 (30)",
		"# view \"front, raking light\"\n": "1.1 series 10:11, frames 0001 to 0030 (30), front, raking light",
	} {
		text, err := audittest.Read(strings.NewReader(head + frames))
		if err != nil {
			t.Fatal(err)
		}
		result, err := audit.Judge(t.Context(), &shoot.Collection{Files: text.Files}, &text.Options)
		if err != nil {
			t.Fatal(err)
		}
		q := newSequence(result.Sessions[0].Sequences[0])
		if got := liveName(&q); got != want {
			t.Errorf("%q: %q, want %q", head, got, want)
		}
	}
}

// A line on a sequence that is corrected names what is no longer found, where something else
// is still open: the verdict alone would not show what has changed.
func TestCorrectedNamesWhatChanged(t *testing.T) {
	const frames = "DCIM/100BXCAM/BX1_0001..0030.NEF every 1.3s time=2026-03-04T10:11:12.34+01:00 t=0.8 f=8 iso=100 mm=90 serial=4711\n"
	missing, dark := &audit.Finding{Rule: "missing-frame", Title: "Missing frames"}, &audit.Finding{Rule: "dark-frame", Title: "Dark frames"}
	for verdict, want := range map[audit.Verdict]string{
		audit.VerdictGood:  "corrected  1.1 series 10:11, frames 0001 to 0030 (30) is now: good\n",
		audit.VerdictCheck: "corrected  1.1 series 10:11, frames 0001 to 0030 (30) is now: check; no longer found: Missing frames, Dark frames\n",
	} {
		text, err := audittest.Read(strings.NewReader(frames))
		if err != nil {
			t.Fatal(err)
		}
		result, err := audit.Judge(t.Context(), &shoot.Collection{Files: text.Files}, &text.Options)
		if err != nil {
			t.Fatal(err)
		}
		q := result.Sessions[0].Sequences[0]
		q.Verdict = verdict
		var b bytes.Buffer
		WriteLive(&b, audit.LiveEvent{Kind: audit.SequenceCorrected, Sequence: q, Settled: []*audit.Finding{missing, dark, missing}}, 200, false)
		if b.String() != want {
			t.Errorf("%q, want %q", b.String(), want)
		}
	}
}
