package audit_test

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"prestrike/audit"
	"prestrike/audit/audittest"
	"prestrike/audit/shoot"
	"prestrike/exifread"
)

// isoRule finds frames whose ISO differs from that of most: enough of a rule
// to judge with.
var isoRule = &audit.Rule{
	ID: "iso", Title: "ISO differs", Severity: audit.Check, Doc: "ISO differs.", Source: "common practice",
	Params: []audit.Param{{Name: "most", Unit: "frames", Doc: "frames that may differ", Default: 0, Min: 0, Max: 10}},
	Check: func(v *audit.Review) error {
		most, ok := v.Sequence.Settings.ISO.Get()
		if !ok {
			v.Unjudged("no ISO recorded", v.Sequence.Frames...)
			return nil
		}
		var odd []*shoot.Frame
		for _, f := range v.Sequence.Frames {
			if iso, ok := f.Meta().Sensitivity.Get(); ok && iso != most {
				odd = append(odd, f)
			}
		}
		if float64(len(odd)) > v.Param("most") {
			first, _ := odd[0].Meta().Sensitivity.Get()
			v.Found(audit.Finding{Message: "ISO differs", Action: "shoot again", Frames: odd, Provisional: first < 200, Measured: exifread.Of(float64(len(odd)))})
		}
		return nil
	},
}

func judge(t *testing.T, text string, change func(*audit.Options)) *audit.Result {
	t.Helper()
	session, err := audittest.Read(strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	opt := session.Options
	opt.Rules = []*audit.Rule{isoRule}
	if change != nil {
		change(&opt)
	}
	result, err := audit.Judge(t.Context(), &shoot.Collection{Files: session.Files}, &opt)
	if err != nil {
		t.Fatal(err)
	}
	return result
}

// shows is what the pictures of a run show: the same word for the same view. Of "" they
// show nothing.
type shows string

func (s shows) SameView(pictures any) (same, known bool, apart float64) {
	other, _ := pictures.(shows)
	return s == other, s != "" && other != "", 0
}

// views has the pictures of each run show what is named, in their order.
func views(names ...string) func(*audit.Options) {
	return func(o *audit.Options) {
		o.Measure = func(_ context.Context, runs []*shoot.Run) ([]shoot.Seen, error) {
			seen := make([]shoot.Seen, len(runs))
			for i := range runs {
				seen[i].Evidence = shows(names[i])
			}
			return seen, nil
		}
	}
}

const faulty = "DCIM/100BXCAM/BX1_0001..0019.NEF every 1.3s time=2026-03-04T10:11:12.34+01:00 t=1/60 f=8 iso=100 mm=90\n" +
	"DCIM/100BXCAM/BX1_0020..0024.NEF iso=800\n"

func TestVerdicts(t *testing.T) {
	tests := []struct {
		name, text string
		change     func(*audit.Options)
		want       audit.Verdict
		superseded []string // sequences and their retakes
	}{
		{name: "clean", text: "DCIM/100BXCAM/BX1_0001..0024.NEF every 1.3s time=2026-03-04T10:11:12.34+01:00 t=1/60 f=8 iso=100 mm=90", want: audit.VerdictGood},
		{name: "faulty", text: faulty, want: audit.VerdictCheck},
		{name: "a retake soon after makes it good", text: faulty + "DCIM/100BXCAM/BX1_0025..0048.NEF after 60s iso=100", change: views("front", "front"), want: audit.VerdictGood, superseded: []string{"1.1 by 1.2"}},
		{name: "the next view is no retake", text: faulty + "DCIM/100BXCAM/BX1_0025..0048.NEF after 60s iso=100", change: views("front", "side"), want: audit.VerdictCheck},
		{name: "what nobody sees is no retake", text: faulty + "DCIM/100BXCAM/BX1_0025..0048.NEF after 60s iso=100", want: audit.VerdictCheck},
		{
			name: "a retake behind the next view", text: faulty + "DCIM/100BXCAM/BX1_0025..0048.NEF after 60s iso=100\nDCIM/100BXCAM/BX1_0049..0072.NEF after 60s iso=100",
			change: views("front", "side", "front"), want: audit.VerdictGood, superseded: []string{"1.1 by 1.3"},
		},
		{
			name: "a retake is known behind one that cannot be told", text: faulty + "DCIM/100BXCAM/BX1_0025..0048.NEF after 60s iso=100\nDCIM/100BXCAM/BX1_0049..0072.NEF after 60s iso=100",
			change: views("front", "", "front"), want: audit.VerdictGood, superseded: []string{"1.1 by 1.3"},
		},
		{
			name: "all planned views are there without it", text: faulty + "DCIM/100BXCAM/BX1_0025..0048.NEF after 60s iso=100", change: func(o *audit.Options) { o.PlannedViews = 1 },
			want: audit.VerdictGood, superseded: []string{"1.1 by 1.2"},
		},
		{name: "a planned view would be lacking", text: faulty + "DCIM/100BXCAM/BX1_0025..0048.NEF after 60s iso=100", change: func(o *audit.Options) { o.PlannedViews = 2 }, want: audit.VerdictCheck},
		{name: "the pictures show a planned view, and not the retake", text: faulty + "DCIM/100BXCAM/BX1_0025..0048.NEF after 60s iso=100", change: func(o *audit.Options) {
			o.PlannedViews = 1
			views("front", "side")(o)
		}, want: audit.VerdictCheck},
		{name: "two tries, then a good one", text: faulty + "DCIM/100BXCAM/BX1_0025..0043.NEF after 60s iso=100\nDCIM/100BXCAM/BX1_0044..0048.NEF iso=400\n" +
			"DCIM/100BXCAM/BX1_0049..0072.NEF after 60s iso=100", change: views("front", "front", "front"), want: audit.VerdictGood, superseded: []string{"1.1 by 1.3", "1.2 by 1.3"}},
		{name: "too few frames are no retake", text: faulty + "DCIM/100BXCAM/BX1_0025..0040.NEF after 60s iso=100", change: views("front", "front"), want: audit.VerdictCheck},
		{name: "another f-number is no retake", text: faulty + "DCIM/100BXCAM/BX1_0025..0048.NEF after 60s iso=100 f=11", change: views("front", "front"), want: audit.VerdictCheck},
		{name: "a turned camera is no retake", text: faulty + "DCIM/100BXCAM/BX1_0025..0048.NEF after 60s iso=100 orient=6", change: views("front", "front"), want: audit.VerdictCheck},
		{name: "another focal length is no retake", text: faulty + "DCIM/100BXCAM/BX1_0025..0048.NEF after 60s iso=100 mm=60", change: views("front", "front"), want: audit.VerdictCheck},
		{name: "sixteen minutes later is no retake", text: faulty + "DCIM/100BXCAM/BX1_0025..0048.NEF after 16m iso=100", change: views("front", "front"), want: audit.VerdictCheck},
		{name: "sixteen minutes later is one where declared", text: faulty + "DCIM/100BXCAM/BX1_0025..0048.NEF after 16m iso=100", change: func(o *audit.Options) {
			o.RetakeWithin = 20 * time.Minute
			views("front", "front")(o)
		}, want: audit.VerdictGood, superseded: []string{"1.1 by 1.2"}},
		{name: "another body is no retake", text: faulty + "b/DCIM/100BXCAM/BX1_0025..0048.NEF after 60s iso=100 body=BX-2", change: views("front", "front"), want: audit.VerdictCheck},
		{name: "severity from the options", text: faulty, change: func(o *audit.Options) { o.Severities = map[string]audit.Severity{"iso": audit.Reshoot} }, want: audit.VerdictReshoot},
		{name: "parameter from the options", text: faulty, change: func(o *audit.Options) { o.Params = map[string]map[string]float64{"iso": {"most": 5}} }, want: audit.VerdictGood},
		{name: "accepted for this sequence", text: faulty, change: func(o *audit.Options) {
			o.Accept = []audit.Acceptance{{Rule: "iso", Frame: "BX1_0001.NEF", Reason: "meant"}}
		}, want: audit.VerdictGood},
		{name: "accepted by a frame inside", text: faulty, change: func(o *audit.Options) {
			o.Accept = []audit.Acceptance{{Rule: "iso", Frame: "BX1_0012.NEF", Reason: "meant"}}
		}, want: audit.VerdictGood},
		{name: "accepted for another sequence", text: faulty + "DCIM/100BXCAM/BX1_0025..0048.NEF after 60s iso=100", change: func(o *audit.Options) {
			o.Accept = []audit.Acceptance{{Rule: "iso", Frame: "BX1_0030.NEF", Reason: "meant"}}
		}, want: audit.VerdictCheck},
		{name: "another rule accepted", text: faulty, change: func(o *audit.Options) {
			o.Accept = []audit.Acceptance{{Rule: "size-change", Reason: "meant"}}
		}, want: audit.VerdictCheck},
		{name: "rule off", text: faulty, change: func(o *audit.Options) { o.Off = map[string]bool{"iso": true} }, want: audit.VerdictGood},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			result := judge(t, tt.text, tt.change)
			if result.Verdict != tt.want {
				t.Errorf("verdict %v, want %v", result.Verdict, tt.want)
			}
			var superseded []string
			for _, s := range result.Sessions {
				for _, q := range s.Sequences {
					if q.SupersededBy != nil {
						superseded = append(superseded, q.ID+" by "+q.SupersededBy.ID)
					}
				}
			}
			if diff := cmp.Diff(tt.superseded, superseded); diff != "" {
				t.Errorf("superseded (-want +got):\n%s", diff)
			}
		})
	}
}

func TestNotJudgedIsCounted(t *testing.T) {
	result := judge(t, "DCIM/100BXCAM/BX1_0001..0024.NEF every 1.3s time=2026-03-04T10:11:12.34+01:00 t=1/60 f=8 mm=90", nil)
	want := []audit.NotJudged{{Rule: "iso", Title: "ISO differs", Reason: "no ISO recorded", Frames: 24, Severity: audit.Check}}
	if diff := cmp.Diff(want, result.Sessions[0].Sequences[0].NotJudged); diff != "" {
		t.Errorf("not judged (-want +got):\n%s", diff)
	}
}

// TestFailedRule holds that a rule that fails or panics, at one sequence or at all, has
// not judged and is an error, and that the others judge on.
func TestFailedRule(t *testing.T) {
	fails := map[string]func(*audit.Review) error{
		"error": func(*audit.Review) error { return errors.New("broken") },
		"panic": func(v *audit.Review) error {
			v.Found(audit.Finding{Message: "half of it", Frames: v.Session.Sequences[0].Frames})
			return []error{nil}[len(v.Session.Sequences)+5]
		},
		"nil": func(*audit.Review) error { var q *shoot.Sequence; return errors.New(q.Kind.String()) },
	}
	for name, fail := range fails {
		for _, whole := range []bool{false, true} {
			broken := &audit.Rule{ID: "broken", Severity: audit.Reshoot, Check: fail}
			if whole {
				broken.Check, broken.CheckSession = nil, fail
			}
			session, err := audittest.Read(strings.NewReader(faulty))
			if err != nil {
				t.Fatal(err)
			}
			result, err := audit.Judge(t.Context(), &shoot.Collection{Files: session.Files}, &audit.Options{Rules: []*audit.Rule{broken, isoRule}})
			if err == nil || !strings.Contains(err.Error(), "rule broken: ") || name == "panic" && !strings.Contains(err.Error(), "judge_test.go:") {
				t.Errorf("%s: error %v, want one that names the rule and the place", name, err)
			}
			if result == nil || result.Files.Frames != 24 || result.Verdict != audit.VerdictCheck {
				t.Fatalf("%s: result %v, want one of the other rule", name, result)
			}
			found := result.Sessions[0].Sequences[0].Findings
			if len(found) != 1 || found[0].Rule != "iso" {
				t.Errorf("%s: found %v, want what the other rule found", name, found)
			}
			not := result.Sessions[0].NotJudged
			if !whole {
				not = result.Sessions[0].Sequences[0].NotJudged
			}
			want := []audit.NotJudged{{Rule: "broken", Reason: "the program failed here, please report it", Severity: audit.Reshoot}}
			if diff := cmp.Diff(want, not); diff != "" {
				t.Errorf("%s: not judged (-want +got):\n%s", name, diff)
			}
		}
	}
}

// TestFailedMeasure holds that rules judge where the inspection of pictures panics.
func TestFailedMeasure(t *testing.T) {
	session, err := audittest.Read(strings.NewReader(faulty))
	if err != nil {
		t.Fatal(err)
	}
	opt := session.Options
	opt.Rules, opt.Measure = []*audit.Rule{isoRule}, func(context.Context, []*shoot.Run) ([]shoot.Seen, error) { panic("no picture") }
	result, err := audit.Judge(t.Context(), &shoot.Collection{Files: session.Files}, &opt)
	if failed, ok := errors.AsType[*exifread.PanicError](err); !ok || failed.Cause != "no picture" {
		t.Errorf("error %v", err)
	}
	if result.Verdict != audit.VerdictCheck {
		t.Errorf("verdict %s, want that of the rule", result.Verdict)
	}
}

func TestValidate(t *testing.T) {
	good := func(change func(*audit.Rule)) *audit.Rule {
		r := *isoRule
		change(&r)
		return &r
	}
	tests := []struct {
		name  string
		rules []*audit.Rule
		want  string // part of the error; empty for none
	}{
		{"good", []*audit.Rule{isoRule}, ""},
		{"twice", []*audit.Rule{isoRule, isoRule}, "used twice"},
		{"ID", []*audit.Rule{good(func(r *audit.Rule) { r.ID = "Iso Rule" })}, "small words"},
		{"title", []*audit.Rule{good(func(r *audit.Rule) { r.Title = "Ends." })}, "title"},
		{"small title", []*audit.Rule{good(func(r *audit.Rule) { r.Title = "missing frames" })}, "capital letter"},
		{"doc", []*audit.Rule{good(func(r *audit.Rule) { r.Doc = "" })}, "doc and source"},
		{"severity", []*audit.Rule{good(func(r *audit.Rule) { r.Severity = 0 })}, "severity"},
		{"no check", []*audit.Rule{good(func(r *audit.Rule) { r.Check = nil })}, "Check, CheckSession or CheckViews"},
		{"default outside", []*audit.Rule{good(func(r *audit.Rule) {
			r.Params = []audit.Param{{Name: "most", Doc: "d", Default: 2, Min: 0, Max: 1}}
		})}, "between minimum and maximum"},
	}
	for _, tt := range tests {
		err := audit.Validate(tt.rules)
		switch {
		case tt.want == "" && err != nil:
			t.Errorf("%s: %v", tt.name, err)
		case tt.want != "" && (err == nil || !strings.Contains(err.Error(), tt.want)):
			t.Errorf("%s: got %v, want an error about %q", tt.name, err, tt.want)
		}
	}
}

// An audit that is stopped has no result, and runs no rule after that.
func TestJudgeStops(t *testing.T) {
	session, err := audittest.Read(strings.NewReader(run1))
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	ran := 0
	stopping := &audit.Rule{ID: "stops", Check: func(*audit.Review) error { ran++; stop(); return nil }}
	opt := &audit.Options{Rules: []*audit.Rule{stopping, stopping, stopping}}
	result, err := audit.Judge(ctx, &shoot.Collection{Files: session.Files}, opt)
	if !errors.Is(err, context.Canceled) || result != nil || ran != 1 {
		t.Errorf("%d rules ran after the stop, error %v, result %v; want none, that of the context, and none", ran-1, err, result)
	}
}

// The result counts every file that was met.
func TestJudgeCountsFiles(t *testing.T) {
	session, err := audittest.Read(strings.NewReader(run1))
	if err != nil {
		t.Fatal(err)
	}
	session.Files[3].Err = errors.New("damaged")
	c := &shoot.Collection{Files: session.Files, Other: 7, Unfinished: []string{"BX1_0122.JPG"}, Problems: []error{&shoot.Problem{Kind: shoot.NotFound, Path: "a"}, errors.New("another")}}
	result, err := audit.Judge(t.Context(), c, &audit.Options{Options: shoot.Options{Support: shoot.Handheld}})
	if err != nil {
		t.Fatal(err)
	}
	want := audit.FileCounts{Read: 20, Frames: 20, Other: 7, Unfinished: c.Unfinished, Unread: []*shoot.Problem{c.Problems[0].(*shoot.Problem), {Err: c.Problems[1]}}, Unreadable: session.Files[3:4]}
	if diff := cmp.Diff(want, result.Files, cmp.Comparer(func(a, b *shoot.File) bool { return a == b }), cmp.Comparer(func(a, b *shoot.Problem) bool { return *a == *b })); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	if result.Support != shoot.Handheld {
		t.Errorf("support declared %v, want handheld", result.Support)
	}
}

// A declaration that accepts nothing is reported, and a name that two frames have accepts
// neither.
func TestUnusedAcceptances(t *testing.T) {
	text := "card1/" + strings.ReplaceAll(faulty, "\nDCIM", "\ncard1/DCIM") + strings.ReplaceAll("card2/"+strings.ReplaceAll(faulty, "\nDCIM", "\ncard2/DCIM"), "iso=100 mm=90", "iso=100 mm=90 body=BX-2")
	for frame, want := range map[string]string{
		"card2/DCIM/100BXCAM/BX1_0003.NEF": "",
		"BX1_0003.NEF":                     "2 frames have this name, as card1/DCIM/100BXCAM/BX1_0003 and card2/DCIM/100BXCAM/BX1_0003: write more of the path",
		"BX1_0300.NEF":                     "no frame has this name",
		"3.NEF":                            "no frame has this name",
		"":                                 "",
	} {
		result := judge(t, text, func(o *audit.Options) { o.Accept = []audit.Acceptance{{Rule: "iso", Frame: frame, Reason: "meant"}} })
		got := ""
		for _, a := range result.Unused {
			got += a.Why
		}
		accepted := 0
		for _, s := range result.Sessions {
			for _, q := range s.Sequences {
				for _, f := range q.Findings {
					if f.Accepted {
						accepted++
					}
				}
			}
		}
		wantAccepted := 0
		if want == "" {
			wantAccepted = 1
		}
		if frame == "" {
			wantAccepted = 2
		}
		if got != want || accepted != wantAccepted {
			t.Errorf("%q: %q, %d accepted; want %q, %d", frame, got, accepted, want, wantAccepted)
		}
	}
	result := judge(t, faulty, func(o *audit.Options) {
		o.Accept = []audit.Acceptance{{Rule: "size-change", Frame: "BX1_0003.NEF", Reason: "meant"}}
	})
	if len(result.Unused) != 1 || result.Unused[0].Why != "size-change found nothing there" {
		t.Errorf("unused %+v", result.Unused)
	}
}
