package shoot_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"prestrike/audit/audittest"
	"prestrike/audit/shoot"
)

// A number that falls back by far has been reset; one that falls back by little
// belongs to frames of one second that stand in the wrong order.
func TestNumbersFallBack(t *testing.T) {
	for _, tt := range []struct {
		back  string // the numbers that follow 0131..0140
		reset bool
	}{{"0090..0110", true}, {"0122..0129", false}} {
		session, err := audittest.Read(strings.NewReader(fmt.Sprintf(`
BX1_0131..0140.JPG every 1.3s time=2026-03-04T10:11:12.34 t=1/60 f=8 iso=100 mm=90 serial=4711
BX1_%s.JPG after 1.3s
`, tt.back)))
		if err != nil {
			t.Fatal(err)
		}
		series := map[string]bool{}
		for _, s := range shoot.Group(session.Files, &session.Options.Options) {
			for _, q := range s.Sequences {
				for _, f := range q.Frames {
					series[f.Number.Series] = true
				}
			}
		}
		if got := len(series) > 1; got != tt.reset {
			t.Errorf("0140, then %s: numbers count in %d series, reset is to be %v", tt.back, len(series), tt.reset)
		}
	}
}

// Two runs of numbers that take turns three times are two bodies of one model.
func TestInterleavedNumbersAreTwoBodies(t *testing.T) {
	session, err := audittest.Read(strings.NewReader(`
BX1_0001..0002.JPG every 60s time=2026-03-04T10:00:00.00 t=1/60 f=8 iso=100 mm=90 make=Borealis body=BX-1
BX1_7001.JPG after 30s
BX1_0003.JPG after 30s
BX1_7002.JPG after 30s
BX1_0004.JPG after 30s
`))
	if err != nil {
		t.Fatal(err)
	}
	bodies := map[*shoot.Body]int{}
	for _, s := range shoot.Group(session.Files, &session.Options.Options) {
		for _, q := range s.Sequences {
			bodies[q.Body] += len(q.Frames)
		}
	}
	if len(bodies) != 2 {
		t.Errorf("%d bodies, want 2", len(bodies))
	}
}

// The times of a raw file and its JPEG may lie two seconds apart, as each is
// stamped when it is written; farther apart they are two frames of one name.
func TestPairsWithinTwoSeconds(t *testing.T) {
	for _, tt := range []struct{ jpeg, want string }{
		{"2026-03-04T10:11:13.90", "1"},
		{"2026-03-04T10:11:16.00", "2"},
	} {
		session, err := audittest.Read(strings.NewReader(`
BX1_0001.NEF time=2026-03-04T10:11:12.34 t=1/60 f=8 iso=100 mm=90 serial=4711
BX1_0001.JPG time=` + tt.jpeg))
		if err != nil {
			t.Fatal(err)
		}
		frames := 0
		for _, s := range shoot.Group(session.Files, &session.Options.Options) {
			frames += s.Frames()
		}
		if diff := cmp.Diff(tt.want, fmt.Sprint(frames)); diff != "" {
			t.Errorf("raw file at 10:11:12.34, JPEG at %s: frames (-want +got):\n%s", tt.jpeg, diff)
		}
	}
}

// Nobody plans to hold 1/3 s by hand; 1/5 s may be held.
func TestSlowFramesStoodOnASupport(t *testing.T) {
	for _, tt := range []struct {
		time string
		want shoot.Support
	}{{"1/5", shoot.Handheld}, {"1/3", shoot.Tripod}} {
		session, err := audittest.Read(strings.NewReader(
			"BX1_0001.JPG time=2026-03-04T10:11:12.34 f=8 iso=100 mm=90 serial=4711 t=" + tt.time))
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range shoot.Group(session.Files, &session.Options.Options) {
			for _, q := range s.Sequences {
				if q.Support != tt.want {
					t.Errorf("%s s: %v, want %v", tt.time, q.Support, tt.want)
				}
			}
		}
	}
}
