package audit_test

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"prestrike/audit"
	"prestrike/audit/audittest"
	"prestrike/audit/report"
	"prestrike/audit/shoot"
	"prestrike/exifread"
)

// play puts the files of a session text in, each when it was made and delayed
// by what delay returns, judges twice a second, and returns what was reported.
func play(t *testing.T, text string, delay func(*shoot.File) time.Duration) ([]string, *audit.Live) {
	t.Helper()
	session, err := audittest.Read(strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	opt := session.Options
	atOnce := *isoRule
	atOnce.AtOnce = true
	opt.Rules = []*audit.Rule{&atOnce, sizeRule}
	live := audit.NewLive(&opt)
	type arrival struct {
		file *shoot.File
		at   time.Time
	}
	var list []arrival
	last := time.Time{}
	for _, f := range session.Files {
		if at, ok := f.Meta.Captured.Get(); ok {
			last = at.Wall
		}
		d := time.Duration(0)
		if delay != nil {
			d = delay(f)
		}
		list = append(list, arrival{f, last.Add(d)})
	}
	slices.SortStableFunc(list, func(a, b arrival) int { return a.at.Compare(b.at) })
	var told []string
	now := list[0].at
	for end := list[len(list)-1].at.Add(10 * time.Minute); now.Before(end); now = now.Add(time.Second / 2) {
		for len(list) > 0 && !list[0].at.After(now) {
			live.Put(list[0].file.Path, list[0].file, now)
			list = list[1:]
		}
		events, err := live.Look(t.Context(), now, false, false)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range events {
			line := fmt.Sprintf("%v %s (%d) %v", e.Kind, e.Sequence.Frames[0].Label(), len(e.Sequence.Frames), e.Sequence.Verdict)
			for _, f := range e.Findings {
				line += " " + f.Rule
			}
			for _, f := range e.Settled {
				line += " no " + f.Rule
			}
			told = append(told, line)
		}
	}
	return told, live
}

// sizeRule finds sequences of an odd number of frames, which only their end shows.
var sizeRule = &audit.Rule{
	ID: "odd", Title: "odd", Severity: audit.Reshoot, Doc: "d", Source: "s",
	Check: func(v *audit.Review) error {
		if n := len(v.Sequence.Frames); n >= 10 && n%2 == 1 {
			v.Found(audit.Finding{Message: "odd", Frames: v.Sequence.Frames[:1]})
		}
		return nil
	},
}

const run1 = "DCIM/100BXCAM/BX1_0001..0020.NEF every 1.3s time=2026-03-04T10:11:12.34 t=1/60 f=8 iso=100 mm=90\n"

func TestLive(t *testing.T) {
	tests := []struct {
		name, text string
		delay      func(*shoot.File) time.Duration
		want       []string
		ended      bool // compare only what was reported of the ends
	}{
		{
			name: "good runs are opened and closed once",
			text: run1 + "DCIM/100BXCAM/BX1_0021..0040.NEF after 40s",
			want: []string{"opened 0001 (5) good", "closed 0001 (20) good", "opened 0021 (5) good", "closed 0021 (20) good"},
		},
		{
			name: "what is certain is told at once, once",
			text: run1 + "DCIM/100BXCAM/BX1_0021..0040.NEF iso=800",
			want: []string{"opened 0001 (5) good", "finding 0001 (21) reshoot iso", "closed 0001 (40) check"},
		},
		{
			name: "what frames to come may take back is told at the end",
			text: run1 + "DCIM/100BXCAM/BX1_0021..0040.NEF iso=125",
			want: []string{"opened 0001 (5) good", "closed 0001 (40) check iso"},
		},
		{
			name: "what only the end tells is told at the end",
			text: run1 + "DCIM/100BXCAM/BX1_0021.NEF",
			want: []string{"opened 0001 (5) good", "closed 0001 (21) reshoot odd"},
		},
		{
			name: "a late file corrects",
			text: run1,
			delay: func(f *shoot.File) time.Duration {
				if strings.Contains(f.Path, "0011") {
					return 40 * time.Second
				}
				return 0
			},
			want: []string{"opened 0001 (5) good", "closed 0001 (19) reshoot odd", "corrected 0001 (20) good no odd"},
		},
		{
			name: "a late file corrects a part of what was found",
			text: run1 + "DCIM/100BXCAM/BX1_0021..0040.NEF iso=800",
			delay: func(f *shoot.File) time.Duration {
				if strings.Contains(f.Path, "0011") {
					return 80 * time.Second
				}
				return 0
			},
			want: []string{
				"opened 0001 (5) good", "finding 0001 (20) check iso", "closed 0001 (39) reshoot odd", "corrected 0001 (40) check no odd",
			},
		},
		{
			name: "a slow card copy in another order tells nothing that is not so",
			text: run1 + "DCIM/100BXCAM/BX1_0021..0040.NEF after 40s",
			delay: func(f *shoot.File) time.Duration {
				at, _ := f.Meta.Captured.Get()
				start := time.Date(2026, 3, 4, 10, 11, 12, 0, time.UTC)
				// All within 4 s after the last was made, last ones first.
				return 2*time.Minute - at.Wall.Sub(start) + (90*time.Second-at.Wall.Sub(start))/24
			},
			want:  []string{"closed 0001 (20) good", "closed 0021 (20) good"},
			ended: true,
		},
		{
			name: "a time-lapse that stops is overdue once, and then closed",
			text: "DCIM/100BXCAM/BX1_0001..0040.NEF every 10s time=2026-03-04T10:11:12.34 t=1/60 f=8 iso=100 mm=90",
			want: []string{"opened 0001 (5) good", "overdue 0001 (40) good", "closed 0001 (40) good"},
		},
		{
			name: "one that has its planned frames is not",
			text: "# planned-time-lapse 40\nDCIM/100BXCAM/BX1_0001..0040.NEF every 10s time=2026-03-04T10:11:12.34 t=1/60 f=8 iso=100 mm=90",
			want: []string{"opened 0001 (5) good", "closed 0001 (40) good"},
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			told, _ := play(t, tt.text, tt.delay)
			if tt.ended {
				told = slices.DeleteFunc(told, func(s string) bool { return strings.HasPrefix(s, "opened") })
			}
			if diff := cmp.Diff(tt.want, told); diff != "" {
				t.Errorf("told (-want +got):\n%s", diff)
			}
		})
	}
}

// A sequence that was closed too early and goes on as it was is closed again;
// only what was reported in vain is corrected.
func TestLiveCorrectsOnlyWhatChanged(t *testing.T) {
	for _, tt := range []struct {
		name  string
		first int // files when it was closed for the first time
		want  []string
	}{
		{"good, and still good", 10, []string{"opened", "closed", "closed"}},
		{"faulty, and then not", 11, []string{"opened", "closed", "corrected"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			session, err := audittest.Read(strings.NewReader(run1))
			if err != nil {
				t.Fatal(err)
			}
			opt := session.Options
			opt.Rules = []*audit.Rule{sizeRule}
			live := audit.NewLive(&opt)
			now := time.Date(2026, 3, 4, 12, 0, 0, 0, time.UTC)
			var got []string
			for _, some := range [][]*shoot.File{session.Files[:tt.first], session.Files[tt.first:]} {
				for _, f := range some {
					live.Put(f.Path, f, now)
				}
				events, err := live.Look(t.Context(), now, true, false)
				if err != nil {
					t.Fatal(err)
				}
				for _, e := range events {
					got = append(got, e.Kind.String())
				}
			}
			if diff := cmp.Diff(tt.want, got); diff != "" {
				t.Errorf("told (-want +got):\n%s", diff)
			}
		})
	}
}

func TestLiveTakesBackWhatIsRemoved(t *testing.T) {
	_, live := play(t, run1, nil)
	live.Remove("DCIM/100BXCAM/BX1_0020.NEF")
	if _, err := live.Look(t.Context(), time.Now(), false, false); err != nil {
		t.Fatal(err)
	}
	if n := live.Result().Files.Frames; n != 19 {
		t.Errorf("%d frames after one of 20 was removed", n)
	}
}

func TestLiveStartsOnWhatIsThere(t *testing.T) {
	session, err := audittest.Read(strings.NewReader(run1))
	if err != nil {
		t.Fatal(err)
	}
	live := audit.NewLive(&session.Options)
	now := time.Date(2026, 3, 4, 12, 0, 0, 0, time.UTC)
	for _, f := range session.Files {
		live.Put(f.Path, f, now)
	}
	if events, err := live.Look(t.Context(), now, false, true); err != nil || len(events) != 0 {
		t.Errorf("a silent look told %v, %v", events, err)
	}
	if events, err := live.Look(t.Context(), now.Add(time.Minute), false, false); err != nil || len(events) != 0 {
		t.Errorf("what was there is told again: %v, %v", events, err)
	}
}

// A pass that is stopped takes back nothing of what was reported, and is made up for.
func TestLiveKeepsWhatItKnowsWhenStopped(t *testing.T) {
	session, err := audittest.Read(strings.NewReader(run1))
	if err != nil {
		t.Fatal(err)
	}
	// What the rule finds it finds only where the pictures were inspected.
	seen := &audit.Rule{
		ID: "seen", Title: "seen", Severity: audit.Reshoot, Doc: "d", Source: "s",
		Check: func(v *audit.Review) error {
			if v.Pictures != nil {
				v.Found(audit.Finding{Message: "seen", Frames: v.Sequence.Frames[:1]})
			}
			return nil
		},
	}
	ctx, stop := context.WithCancel(t.Context())
	look := func(ctx context.Context, runs []*shoot.Run) ([]shoot.Seen, error) {
		seen := make([]shoot.Seen, len(runs))
		if ctx.Err() == nil {
			seen[0].Evidence = true
		}
		return seen, ctx.Err()
	}
	opt := session.Options
	opt.Rules, opt.Measure = []*audit.Rule{seen}, look
	live := audit.NewLive(&opt)
	now := time.Date(2026, 3, 4, 12, 0, 0, 0, time.UTC)
	for _, f := range session.Files[:19] {
		live.Put(f.Path, f, now)
	}
	if events, err := live.Look(ctx, now, true, false); err != nil || len(events) != 2 {
		t.Fatalf("%v, %v; want the run opened and closed", events, err)
	}
	stop()
	last := session.Files[19]
	live.Put(last.Path, last, now)
	events, err := live.Look(ctx, now, true, false)
	if !errors.Is(err, context.Canceled) || len(events) > 0 {
		t.Errorf("stopped: told %v, error %v", events, err)
	}
	if r := live.Result(); r.Verdict != audit.VerdictReshoot || r.Files.Frames != 19 {
		t.Errorf("stopped: %v of %d frames, want what was known: reshoot of 19", r.Verdict, r.Files.Frames)
	}
	if _, err := live.Look(t.Context(), now, true, false); err != nil {
		t.Fatal(err)
	}
	if r := live.Result(); r.Verdict != audit.VerdictReshoot || r.Files.Frames != 20 {
		t.Errorf("the look after: %v of %d frames, want reshoot of 20", r.Verdict, r.Files.Frames)
	}
}

// Whatever the order in which files come, a live audit ends where an audit of
// the folder does.
func TestLiveEndsAsTheReport(t *testing.T) {
	for seed := range uint64(20) {
		made := audittest.Random(seed)
		want, err := audit.Judge(t.Context(), &shoot.Collection{Files: made.Files}, &audit.Options{Rules: []*audit.Rule{isoRule}})
		if err != nil {
			t.Fatal(err)
		}
		live := audit.NewLive(&audit.Options{Rules: []*audit.Rule{isoRule}})
		now := time.Date(2026, 3, 4, 12, 0, 0, 0, time.UTC)
		// Each third file first, then the others.
		for turn := range 3 {
			for i := turn; i < len(made.Files); i += 3 {
				now = now.Add(100 * time.Millisecond)
				live.Put(made.Files[i].Path, made.Files[i], now)
				if i%50 == 0 {
					if _, err := live.Look(t.Context(), now, false, false); err != nil {
						t.Fatal(err)
					}
				}
			}
		}
		if _, err := live.Look(t.Context(), now, true, false); err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(asJSON(t, want), asJSON(t, live.Result())); diff != "" {
			t.Fatalf("seed %d: (-report +live):\n%s", seed, diff)
		}
	}
}

// A shoot of several days is judged a day at a time as its files come, and ends where an
// audit of the folder does: also where files of former days come late, change or go.
func TestLiveOfSeveralDaysEndsAsTheReport(t *testing.T) {
	looks, parts := 0, 0
	for seed := range uint64(3) {
		var days [][]*shoot.File
		for day := range 4 {
			files := audittest.Random(100*seed + uint64(day)).Files
			for _, f := range files {
				at, _ := f.Meta.Captured.Get()
				at.Wall = at.Wall.AddDate(0, 0, day)
				f.Meta.Captured = exifread.Of(at)
				f.Path = fmt.Sprintf("%d/%s", day, f.Path)
			}
			days = append(days, files)
		}
		reviewed := 0
		counting := &audit.Rule{ID: "counting", Check: func(*audit.Review) error { reviewed++; return nil }}
		opt := &audit.Options{Rules: []*audit.Rule{isoRule}}
		live := audit.NewLive(&audit.Options{Rules: []*audit.Rule{isoRule, counting}})
		now := time.Date(2026, 3, 4, 12, 0, 0, 0, time.UTC)
		there := map[string]*shoot.File{}
		look := func() {
			t.Helper()
			now = now.Add(100 * time.Millisecond)
			reviewed = 0
			if _, err := live.Look(t.Context(), now, false, false); err != nil {
				t.Fatal(err)
			}
			looks++
			sequences := 0
			for _, session := range live.Result().Sessions {
				sequences += len(session.Sequences)
			}
			if reviewed < sequences {
				parts++
			}
			var files []*shoot.File
			for _, path := range slices.Sorted(maps.Keys(there)) {
				files = append(files, there[path])
			}
			want, err := audit.Judge(t.Context(), &shoot.Collection{Files: files}, opt)
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(asJSON(t, want), asJSON(t, live.Result())); diff != "" {
				t.Fatalf("seed %d, %d files: (-report +live):\n%s", seed, len(files), diff)
			}
		}
		put := func(f *shoot.File) { live.Put(f.Path, f, now); there[f.Path] = f }
		late := days[0][3]
		for _, files := range days {
			for i, f := range files {
				if f != late {
					put(f)
				}
				if i%70 == 69 || i == len(files)-1 {
					look()
				}
			}
		}
		put(late)
		look()
		gone := days[1][5].Path
		live.Remove(gone)
		delete(there, gone)
		look()
		last := days[3][len(days[3])-1]
		live.Remove(last.Path)
		delete(there, last.Path)
		look()
		changed := *days[2][1]
		put(&changed)
		look()
	}
	if parts < looks/10 { // of most shoots made up here, bodies need all days to be known
		t.Errorf("only %d of %d looks judged a part", parts, looks)
	}
}

// Pictures of former days are not inspected again, whatever comes.
func TestLiveInspectsPicturesOfFormerDaysOnce(t *testing.T) {
	session, err := audittest.Read(strings.NewReader(run1 + "DCIM/100BXCAM/BX1_0021..0040.NEF after 40000s every 1.3s\nDCIM/100BXCAM/BX1_0041..0060.NEF after 40000s every 1.3s"))
	if err != nil {
		t.Fatal(err)
	}
	asked := map[string]int{}
	opt := session.Options
	opt.Measure = func(_ context.Context, runs []*shoot.Run) ([]shoot.Seen, error) {
		seen := make([]shoot.Seen, len(runs))
		for i, r := range runs {
			asked[r.Frames[0].Path()]++
			seen[i].Evidence = r.Frames[0].Path()
		}
		return seen, nil
	}
	live := audit.NewLive(&opt)
	now := time.Date(2026, 3, 4, 12, 0, 0, 0, time.UTC)
	for _, f := range session.Files {
		live.Put(f.Path, f, now)
		if _, err := live.Look(t.Context(), now, false, false); err != nil {
			t.Fatal(err)
		}
	}
	first, third := session.Files[0], session.Files[40]
	before, again := asked[first.Path], asked[third.Path]
	live.SetAll(&shoot.Collection{Files: session.Files}, now)
	if _, err := live.Look(t.Context(), now, true, false); err != nil {
		t.Fatal(err)
	}
	if asked[first.Path] != before || asked[third.Path] != again+1 || before != 21 {
		t.Errorf("the first day was inspected %d times and %d in all, the last once more %d times", before, asked[first.Path], asked[third.Path]-again)
	}
	for i, s := range live.Result().Sessions {
		if got, want := s.Sequences[0].Pictures, session.Files[20*i].Path; got != want {
			t.Errorf("session %d: seen is %v, want what was seen of %s", i+1, got, want)
		}
	}
}

func asJSON(t *testing.T, r *audit.Result) string {
	t.Helper()
	form, err := report.ParseForm("json")
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	if err := form.Write(&b, r, &report.Options{}); err != nil {
		t.Fatal(err)
	}
	return b.String()
}
