package rules

import (
	"strings"
	"testing"

	"prestrike/audit"
	"prestrike/audit/audittest"
)

// A magnification that nothing shows keeps no good verdict unqualified, but of a focus
// sequence, whose steps another rule judges or reports as not judged.
func TestMagnificationThatNothingShows(t *testing.T) {
	const (
		set   = ` time=2026-03-04T10:11:12.34+01:00 t=0.8 f=8 iso=100 mm=90 serial=4711 lens="Borealis 90 mm macro" wb=manual program=manual mode=manual`
		focus = "# view side kind=focus m=0.5\nDCIM/100BXCAM/BX1_0002..0031.NEF every 1.3s" + set
		one   = "# view side kind=single m=0.5\nDCIM/100BXCAM/BX1_0002.NEF" + set
	)
	for _, c := range []struct {
		name, text string
		want       audit.Severity // of what is not judged
		steps      bool           // something else is not judged of the steps
	}{
		{"focus", focus, audit.Note, true},
		{"single", one, audit.Check, false},
	} {
		text, err := audittest.Read(strings.NewReader(c.text + "\n"))
		if err != nil {
			t.Fatal(err)
		}
		s := judge(t, text).Sessions[0]
		if s.Verdict != audit.VerdictGood {
			t.Errorf("%s: verdict %v", c.name, s.Verdict)
		}
		found := false
		for _, n := range s.NotJudged {
			if n.Rule == viewDiffers.ID {
				found = n.Severity == c.want && n.Reason == "view side: no magnification recorded or declared to compare with"
			}
		}
		if !found {
			t.Errorf("%s: not judged %+v", c.name, s.NotJudged)
		}
		steps := false
		for _, n := range s.Sequences[0].NotJudged {
			steps = steps || n.Rule == focusGap.ID && n.Severity > audit.Note
		}
		if steps != c.steps {
			t.Errorf("%s: steps not judged: %v, want %v", c.name, steps, c.steps)
		}
	}
}
