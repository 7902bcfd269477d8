package audit_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"prestrike/audit"
	"prestrike/audit/audittest"
)

// A declared retake holds whatever the frames show, where both sequences are there, and the
// later one counts with its own verdict; a declaration that does not hold says why.
func TestDeclaredRetakes(t *testing.T) {
	const (
		next    = "DCIM/100BXCAM/BX1_0025..0048.NEF after 20m iso=100 f=11\n"
		bad     = "DCIM/100BXCAM/BX1_0025..0043.NEF after 20m iso=100 f=11\nDCIM/100BXCAM/BX1_0044..0048.NEF iso=800\n"
		evening = "DCIM/100BXCAM/BX1_0025..0048.NEF after 300m iso=100 f=11\n"
		third   = "DCIM/100BXCAM/BX1_0049..0072.NEF after 20m iso=100 f=16\n"
	)
	by := func(pairs ...string) func(*audit.Options) {
		return func(o *audit.Options) {
			for i := 0; i < len(pairs); i += 2 {
				o.Retaken = append(o.Retaken, audit.Retaken{Sequence: pairs[i], By: pairs[i+1]})
			}
		}
	}
	for _, tt := range []struct {
		name, text string
		change     func(*audit.Options)
		want       audit.Verdict
		superseded []string
		unused     []string
	}{
		{name: "not declared", text: faulty + next, want: audit.VerdictCheck},
		{name: "declared", text: faulty + next, change: by("BX1_0007.NEF", "BX1_0030.NEF"), want: audit.VerdictGood, superseded: []string{"1.1 by 1.2"}},
		{name: "by the end of a path", text: faulty + next, change: by("100BXCAM/BX1_0007.NEF", "100BXCAM/BX1_0030.NEF"), want: audit.VerdictGood, superseded: []string{"1.1 by 1.2"}},
		{name: "in a later session", text: faulty + evening, change: by("BX1_0001.NEF", "BX1_0048.NEF"), want: audit.VerdictGood, superseded: []string{"1.1 by 2.1"}},
		{name: "the retake is faulty as well", text: faulty + bad, change: by("BX1_0001.NEF", "BX1_0030.NEF"), want: audit.VerdictCheck, superseded: []string{"1.1 by 1.2"}},
		{name: "twice again", text: faulty + bad + third, change: by("BX1_0001.NEF", "BX1_0030.NEF", "BX1_0030.NEF", "BX1_0050.NEF"), want: audit.VerdictGood, superseded: []string{"1.1 by 1.2", "1.2 by 1.3"}},
		{name: "no such sequence", text: faulty + next, change: by("BX1_0107.NEF", "BX1_0030.NEF"), want: audit.VerdictCheck, unused: []string{"BX1_0107.NEF: no frame has this name"}},
		{name: "no such retake", text: faulty + next, change: by("BX1_0007.NEF", "BX1_0130.NEF"), want: audit.VerdictCheck, unused: []string{"BX1_0130.NEF: no frame has this name"}},
		{name: "one sequence", text: faulty + next, change: by("BX1_0007.NEF", "BX1_0008.NEF"), want: audit.VerdictCheck, unused: []string{"both frames are in 1.1: name one of the later sequence"}},
		{name: "exchanged", text: faulty + next, change: by("BX1_0030.NEF", "BX1_0007.NEF"), want: audit.VerdictCheck, unused: []string{"1.1 was shot before 1.2: exchange the two"}},
		{
			name: "twice declared", text: faulty + next + third, change: by("BX1_0007.NEF", "BX1_0030.NEF", "BX1_0001.NEF", "BX1_0050.NEF"), want: audit.VerdictGood,
			superseded: []string{"1.1 by 1.2"}, unused: []string{"1.1 is declared as retaken by 1.2 already: remove one of the two"},
		},
		{
			name: "two frames of a name", text: faulty + strings.ReplaceAll(next, "DCIM", "b/DCIM") + "c/DCIM/100BXCAM/BX1_0025..0048.NEF after 60s iso=100 body=BX-2\n",
			change: by("BX1_0007.NEF", "BX1_0030.NEF"), want: audit.VerdictCheck,
			unused: []string{"BX1_0030.NEF: 2 frames have this name, as b/DCIM/100BXCAM/BX1_0030 and c/DCIM/100BXCAM/BX1_0030: write more of the path"},
		},
	} {
		t.Run(tt.name, func(t *testing.T) {
			result := judge(t, tt.text, tt.change)
			var superseded, unused []string
			for _, s := range result.Sessions {
				for _, q := range s.Sequences {
					if q.SupersededBy != nil {
						superseded = append(superseded, q.ID+" by "+q.SupersededBy.ID)
					}
				}
			}
			for _, u := range result.UnusedRetaken {
				unused = append(unused, u.Why)
			}
			if result.Verdict != tt.want {
				t.Errorf("verdict %v, want %v", result.Verdict, tt.want)
			}
			if diff := cmp.Diff([][]string{tt.superseded, tt.unused}, [][]string{superseded, unused}); diff != "" {
				t.Errorf("superseded and unused (-want +got):\n%s", diff)
			}
		})
	}
}

// A folder that fills is judged anew by other options, all of it: also what had closed, and
// a session to which nothing comes any more.
func TestReconsider(t *testing.T) {
	session, err := audittest.Read(strings.NewReader(faulty + "DCIM/100BXCAM/BX1_0025..0048.NEF after 300m iso=100 f=11\n"))
	if err != nil {
		t.Fatal(err)
	}
	opt := session.Options
	opt.Rules = []*audit.Rule{isoRule}
	live := audit.NewLive(&opt)
	now := time.Date(2026, 3, 4, 18, 0, 0, 0, time.UTC)
	for _, f := range session.Files {
		live.Put(f.Path, f, now)
	}
	look := func() (told []string) {
		t.Helper()
		events, err := live.Look(t.Context(), now, true, false)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range events {
			told = append(told, e.Kind.String()+" "+e.Sequence.ID)
		}
		return told
	}
	look()
	before := live.Result()
	if before.Verdict != audit.VerdictCheck {
		t.Fatalf("verdict %v", before.Verdict)
	}
	first := before.Sessions[0].Sequences[0]
	for _, step := range []struct {
		change  func(*audit.Options)
		want    []string
		verdict audit.Verdict
	}{
		{func(o *audit.Options) {
			o.Accept = []audit.Acceptance{{Rule: "iso", Frame: "BX1_0001.NEF", Reason: "meant"}}
		}, []string{"corrected 1.1"}, audit.VerdictGood},
		{func(o *audit.Options) {}, []string{"corrected 1.1"}, audit.VerdictCheck},
		{func(o *audit.Options) {
			o.Retaken = []audit.Retaken{{Sequence: "BX1_0001.NEF", By: "BX1_0025.NEF"}}
		}, []string{"corrected 1.1"}, audit.VerdictGood},
		{func(o *audit.Options) {
			o.Retaken = []audit.Retaken{{Sequence: "BX1_0001.NEF", By: "BX1_0025.NEF"}}
		}, nil, audit.VerdictGood},
	} {
		changed := opt
		step.change(&changed)
		live.Reconsider(&changed)
		if told := look(); !slices.Equal(told, step.want) || live.Result().Verdict != step.verdict {
			t.Errorf("told %q, verdict %v; want %q, %v", told, live.Result().Verdict, step.want, step.verdict)
		}
	}
	if first.Verdict != audit.VerdictCheck || first.Findings[0].Accepted || first.SupersededBy != nil {
		t.Error("the result before has changed, which others may still read")
	}
}
