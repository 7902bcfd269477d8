package rules

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"prestrike/audit"
	"prestrike/audit/audittest"
)

// eventsOf puts the frames of a session in as they were made, and returns how each
// sequence ended and how long after its last frame.
func eventsOf(t *testing.T, text string) (events []string) {
	t.Helper()
	session, err := audittest.Read(strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	opt := session.Options
	opt.Rules, opt.Expected = All(), ExpectedFrames
	live := audit.NewLive(&opt)
	files := session.Files
	at, _ := files[0].Meta.Captured.Get()
	now, came := at.Wall, at.Wall
	for ; now.Sub(came) < 5*time.Minute; now = now.Add(time.Second / 2) {
		for len(files) > 0 {
			if at, _ := files[0].Meta.Captured.Get(); at.Wall.After(now) {
				break
			}
			live.Put(files[0].Path, files[0], now)
			files, came = files[1:], now
		}
		list, err := live.Look(t.Context(), now, false, false)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range list {
			if e.Kind != audit.SequenceOpened && e.Kind != audit.FindingCertain {
				events = append(events, fmt.Sprintf("%s %v %d %s after %v", e.Sequence.ID, e.Kind, len(e.Sequence.Frames), e.Sequence.Verdict, now.Sub(came)))
			}
		}
	}
	return events
}

// A run is complete with the frames on which those before have settled, that are listed or
// planned, and stalls short of them; where nothing shows how many it should have, quiet
// closes it.
func TestExpectedFrames(t *testing.T) {
	const (
		three = `
DCIM/100BXCAM/BX1_0001..0020.NEF every 1.3s time=2026-03-04T10:11:12.34 t=1/60 f=8 iso=100 mm=90 serial=4711
DCIM/100BXCAM/BX1_0021..0040.NEF after 40s
DCIM/100BXCAM/BX1_0041..0060.NEF after 40s
`
		whole = "DCIM/100BXCAM/BX1_0061..0080.NEF after 40s\n"
		short = "DCIM/100BXCAM/BX1_0061..0072.NEF after 40s\n"
		more  = "DCIM/100BXCAM/BX1_0061..0083.NEF after 40s\n"
	)
	settled := []string{"1.1 closed 20 good after 6.5s", "1.2 closed 20 good after 6.5s", "1.3 closed 20 good after 6.5s"}
	for _, c := range []struct {
		name, text string
		want       []string
	}{
		{"settled, whole", three + whole, append(settled[:3:3], "1.4 closed 20 good after 0s")},
		{"settled, short", three + short, append(settled[:3:3], "1.4 stalled 12 check after 6.5s", "1.4 closed 12 check after 2m6.5s")},
		// What goes on behind the number is closed once more, when it is over.
		{"settled, more", three + more, append(settled[:3:3], "1.4 closed 20 good after 0s", "1.4 closed 23 good after 6.5s")},
		{"not settled", strings.ReplaceAll(three, "BX1_0041..0060", "BX1_0041..0057") + short, []string{
			"1.1 closed 20 good after 6.5s", "1.2 closed 20 good after 6.5s", "1.3 closed 17 good after 6.5s", "1.4 closed 12 good after 6.5s",
		}},
		{"planned", "# planned 20\n" + three, []string{"1.1 closed 20 good after 0s", "1.2 closed 20 good after 0s", "1.3 closed 20 good after 0s"}},
	} {
		got := eventsOf(t, c.text)
		if strings.Join(got, "\n") != strings.Join(c.want, "\n") {
			t.Errorf("%s:\n%s\nwant\n%s", c.name, strings.Join(got, "\n"), strings.Join(c.want, "\n"))
		}
	}
}

// A shot list shows the number where all its views of the kind have the same.
func TestExpectedFramesOfViews(t *testing.T) {
	const frames = "DCIM/100BXCAM/BX1_0001..0020.NEF every 1.3s time=2026-03-04T10:11:12.34 t=1/60 f=8 iso=100 mm=90 serial=4711\n"
	for head, want := range map[string]string{
		"# view front frames=20\n# view back frames=20\n": "after 0s",
		"# view front frames=20\n# view back frames=30\n": "after 6.5s",
		"# view front frames=20\n# view back\n":           "after 6.5s",
	} {
		got := eventsOf(t, head+frames)
		if len(got) == 0 || !strings.HasSuffix(got[0], want) {
			t.Errorf("%q: %v, want the first %s", head, got, want)
		}
	}
}
