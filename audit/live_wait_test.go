package audit_test

import (
	"strings"
	"testing"
	"time"

	"prestrike/audit"
	"prestrike/audit/audittest"
	"prestrike/rules"
)

// when puts the files of a session text in as they are made, judges every half
// second, and returns how long after the frame of a label an event of a kind came
// on the sequence that ends with it.
func when(t *testing.T, text string, kind audit.LiveKind, label string, rules ...*audit.Rule) time.Duration {
	t.Helper()
	session, err := audittest.Read(strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	opt := session.Options
	opt.Rules = rules
	live := audit.NewLive(&opt)
	files := session.Files
	var last time.Time
	captured, _ := files[0].Meta.Captured.Get()
	for now := captured.Wall; ; now = now.Add(time.Second / 2) {
		for len(files) > 0 {
			at, _ := files[0].Meta.Captured.Get()
			if at.Wall.After(now) {
				break
			}
			live.Put(files[0].Path, files[0], now)
			if strings.Contains(files[0].Path, label) {
				last = now
			}
			files = files[1:]
		}
		events, err := live.Look(t.Context(), now, false, false)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range events {
			if n := len(e.Sequence.Frames); e.Kind == kind && strings.Contains(e.Sequence.Frames[n-1].Path(), label) {
				return now.Sub(last)
			}
		}
		if !last.IsZero() && now.Sub(last) > 10*time.Minute {
			t.Fatalf("no event %v on the sequence that ends with %s", kind, label)
		}
	}
}

// A time-lapse that has lost two ticks is overdue: at three intervals, since the
// frame of the next tick may still come until then.
func TestLiveOverdueAtThreeIntervals(t *testing.T) {
	got := when(t, "BX1_0001..0040.NEF every 10s time=2026-03-04T10:00:00.00 t=3.2 f=11 iso=100 mm=90 serial=4711", audit.SequenceOverdue, "0040")
	if got < 30*time.Second || got >= 31*time.Second {
		t.Errorf("overdue after %v, want 30 s", got)
	}
}

// What must be shot again waits for the files that still come, as long as they may
// take the finding back; but no longer than ten seconds, while the subject is there.
func TestLiveWaitsTenSecondsAtMost(t *testing.T) {
	got := when(t, `
A/BX1_0001..0011.NEF every 1.3s time=2026-03-04T10:00:00.00 t=0.8 f=8 iso=100 mm=90 serial=4711
B/CX1_0001..0090.NEF every 1s time=2026-03-04T10:00:13.50 serial=5822
`, audit.SequenceClosed, "BX1_0011", sizeRule)
	if got < 10*time.Second || got >= 12*time.Second {
		t.Errorf("closed after %v, want 10 s", got)
	}
}

// A watch that is started again in the middle of a run goes on with it: the run is closed
// by its last frame, or stalled and then closed with what it lacks. One that stopped long
// ago is history.
func TestLiveGoesOnAfterAStart(t *testing.T) {
	const text = "# planned 10\nBX1_0001..0010.NEF every 1.3s time=2026-03-04T10:00:00.00 t=0.8 f=8 iso=100 mm=90 serial=4711"
	for _, test := range []struct {
		name    string
		stopped time.Duration // since the last frame when the watch starts
		more    int           // frames that come then
		want    []string
	}{
		{"the rest comes", 5 * time.Second, 3, []string{"closed with 10 frames, as planned"}},
		{"nothing comes", 5 * time.Second, 0, []string{"stalled at 7 of 10 frames", "closed after "}},
		{"it stopped long ago", 10 * time.Minute, 0, nil},
	} {
		session, err := audittest.Read(strings.NewReader(text))
		if err != nil {
			t.Fatal(err)
		}
		opt := session.Options
		opt.Expected = rules.ExpectedFrames
		live := audit.NewLive(&opt)
		now := time.Date(2026, 3, 4, 12, 0, 0, 0, time.UTC)
		for _, f := range session.Files[:7] {
			live.Put(f.Path, f, now.Add(-test.stopped))
		}
		if events, err := live.Look(t.Context(), now, false, true); err != nil || len(events) != 0 {
			t.Errorf("%s: a silent look reported %v, %v", test.name, events, err)
		}
		var got []string
		for range 600 {
			now = now.Add(time.Second)
			if test.more > 0 {
				f := session.Files[10-test.more]
				live.Put(f.Path, f, now)
				test.more--
			}
			events, err := live.Look(t.Context(), now, false, false)
			if err != nil {
				t.Fatal(err)
			}
			for _, e := range events {
				got = append(got, e.Kind.String()+" "+e.Reason)
			}
		}
		same := len(got) == len(test.want)
		for i := range min(len(got), len(test.want)) {
			same = same && strings.HasPrefix(got[i], test.want[i])
		}
		if !same {
			t.Errorf("%s: got %q, want %q", test.name, got, test.want)
		}
	}
}
