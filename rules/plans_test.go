package rules

import (
	"slices"
	"strings"
	"testing"

	"prestrike/audit"
	"prestrike/audit/audittest"
	"prestrike/audit/shoot"
)

// A plan that nothing in the shoot meets is named, once, and one that is met is not.
func TestPlansNotMet(t *testing.T) {
	const (
		one    = "DCIM/100BXCAM/BX1_0001.NEF time=2026-03-04T10:11:12.34+01:00 t=0.8 f=8 iso=100 mm=90 serial=4711 mode=manual\n"
		run    = "DCIM/100BXCAM/BX1_0001..0040.NEF every 1.3s time=2026-03-04T10:11:12.34+01:00 t=0.8 f=8 iso=100 mm=90 serial=4711 mode=manual\n"
		again  = "DCIM/100BXCAM/BX1_0041..0080.NEF after 60s\n"
		later  = "DCIM/100BXCAM/BX1_0041..0080.NEF after 5h\n"
		single = "DCIM/100BXCAM/BX1_0041.NEF after 5h\n"
	)
	for _, c := range []struct {
		name, text string
		want       []string
	}{
		{"nothing planned", one, nil},
		{"a single frame for a sequence", "# planned 40\n" + one, []string{"no sequence of the planned 40 frames"}},
		{"the sequence", "# planned 40\n" + run, nil},
		{"the sequence in the first of two sessions", "# planned 40\n" + run + single, nil},
		{"two sessions, said once", "# planned 40\n" + one + "DCIM/100BXCAM/BX1_0002.NEF after 5h\n", []string{"no sequence of the planned 40 frames"}},
		{"a single frame for a time-lapse", "# planned-time-lapse 240\n" + one, []string{"no time-lapse of the planned 240 frames"}},
		{"a run too short for the time-lapse", "# planned-time-lapse 41\n" + run, []string{"no time-lapse of the planned 41 frames"}},
		{"a run that may be the time-lapse", "# planned-time-lapse 40\n" + run, nil},
		{"one of three views", "# planned-views 3\n" + run, []string{"1 of 3 planned views"}},
		{"no view, said once", "# planned-views 3\n# planned 40\n" + one, []string{"0 of 3 planned views"}},
		{"two views", "# planned-views 2\n" + run + again, nil},
		{"two views with a pause of hours", "# planned-views 2\n" + run + later, nil},
	} {
		session, err := audittest.Read(strings.NewReader(c.text))
		if err != nil {
			t.Fatal(c.name, err)
		}
		opt := session.Options
		opt.Rules = []*audit.Rule{shortSequence}
		result, err := audit.Judge(t.Context(), &shoot.Collection{Files: session.Files}, &opt)
		if err != nil {
			t.Fatal(c.name, err)
		}
		var got []string
		for _, s := range result.Sessions {
			for _, f := range s.Findings {
				got = append(got, f.Message)
			}
		}
		wanted := audit.VerdictGood
		if c.want != nil {
			wanted = audit.VerdictCheck
		}
		if !slices.Equal(got, c.want) || result.Verdict != wanted {
			t.Errorf("%s: %q, verdict %v; want %q, %v", c.name, got, result.Verdict, c.want, wanted)
		}
	}
}
