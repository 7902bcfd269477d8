package rules

import (
	"strings"
	"testing"
	"time"

	"prestrike/audit"
	"prestrike/audit/audittest"
)

func TestClockStep(t *testing.T) {
	says(t, clockStep, "fault",
		"the clock showed 1 January 2000 at frames 0061 to 0090: set the camera's clock",
		"the clock went back by 58 min 38 s between frames 0030 and 0031: set the camera's clock; check the sequences around these frames yourself",
		"the clock showed 14 May 2031 at frames 0091 to 0120, and today is 4 March 2026: set the camera's clock, or that of this computer if the camera is right")
}

// The clock may be ahead of a body whose times are given by another's, and of a computer in
// any zone: what counts is what each showed. Where nobody knows what time it is, nothing is
// ahead.
func TestClockAhead(t *testing.T) {
	frames := "BX1_0001..0010.NEF every 1.3s time=2026-03-04T10:11:12.34+01:00 t=0.8 f=8 iso=100 mm=90 serial=4711\n"
	for now, want := range map[string]int{
		"": 0, "2026-03-04 10:12": 0, "2026-03-03 09:00": 0, "2026-03-03 08:00": 1, "2025-03-04 10:12": 1,
	} {
		directive := ""
		if now != "" {
			directive = "# now \"" + now + ":00\"\n"
		}
		text, err := audittest.Read(strings.NewReader(directive + frames))
		if err != nil {
			t.Fatal(err)
		}
		if now != "" { // by a computer that is not in UTC
			read := text.Options.Now
			text.Options.Now = func(last time.Time) time.Time {
				at := read(last)
				return time.Date(at.Year(), at.Month(), at.Day(), at.Hour(), at.Minute(), 0, 0, time.FixedZone("", -10*3600))
			}
		}
		result := judge(t, text)
		list := findings(result, clockStep)
		if len(list) != want || result.Verdict != audit.VerdictGood {
			t.Errorf("now %q: %d findings and verdict %s, want %d and good", now, len(list), result.Verdict, want)
		}
		for _, f := range list {
			if f.Severity != audit.Note || f.Title != "Camera clock is ahead" || len(f.Frames) != 10 {
				t.Errorf("now %q: %s %q at %d frames", now, f.Severity, f.Title, len(f.Frames))
			}
		}
	}
}
