package shoot_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"prestrike/audit/audittest"
	"prestrike/audit/shoot"
)

// TestMayShowOneView: single frames of one body with the same lens, focal length and f-number,
// made within ten minutes, may show one view. Of very many, the last are taken.
func TestMayShowOneView(t *testing.T) {
	const (
		mode   = " mm=90 program=manual mode=manual"
		fixed  = " t=0.8 f=11 iso=100" + mode
		single = "DCIM/100BXCAM/BX1_0001.NEF time=2026-03-04T09:02:40.12+01:00" + fixed + "\n"
		second = "DCIM/100BXCAM/BX1_0002.NEF after "
		run    = "DCIM/100BXCAM/BX1_0002..0021.NEF after 60s every 1.3s jitter 1%" + fixed + "\n"
	)
	var many strings.Builder
	many.WriteString(single)
	rng := rand.New(rand.NewPCG(1, 2))
	for i := range 2 * shoot.MostSingles {
		fmt.Fprintf(&many, "DCIM/100BXCAM/BX1_%04d.NEF after %ds t=0.8 f=%d iso=100%s\n", i+2, []int{20, 45, 90, 200, 500}[rng.IntN(5)], []int{8, 11, 16}[rng.IntN(3)], mode)
	}
	for _, c := range []struct {
		what, text string
		want       string // numbers of their first frames
	}{
		{"two", single + second + "60s" + fixed, "1 2"},
		{"one alone", single, ""},
		{"at another time of exposure", single + second + "60s t=0.1 f=11 iso=100" + mode, "1 2"},
		{"an ISO of one stop more", single + second + "60s t=0.8 f=11 iso=200" + mode, "1 2"},
		{"an ISO of two stops more", single + second + "60s t=0.8 f=11 iso=400" + mode, ""},
		{"another f-number", single + second + "60s t=0.8 f=8 iso=100" + mode, ""},
		{"another focal length", single + second + "60s t=0.8 f=11 iso=100 mm=60 program=manual mode=manual", ""},
		{"the camera upright", single + second + "60s orient=8" + fixed, ""},
		{"too late", single + second + "660s" + fixed, ""},
		{"another between", single + second + "60s t=0.8 f=8 iso=100" + mode + "\nDCIM/100BXCAM/BX1_0003.NEF after 60s" + fixed, "1 3"},
		{"before a sequence", single + run, "1"},
		{"before a bracket that nobody inspects", single + strings.Replace(run, "f=11", "f=8", 1), ""},
	} {
		if got := firsts(t, c.text); got != c.want {
			t.Errorf("%s: %s, want %s", c.what, got, c.want)
		}
	}
	got := strings.Fields(firsts(t, many.String()))
	if len(got) != shoot.MostSingles || slices.Contains(got, "2") || !slices.Contains(got, "199") {
		t.Errorf("of %d single frames %d, want the last %d: %v", 2*shoot.MostSingles+1, len(got), shoot.MostSingles, got)
	}
}

// firsts are the numbers of the first frames of the runs that may show one view.
func firsts(t *testing.T, session string) string {
	t.Helper()
	text, err := audittest.Read(strings.NewReader(session))
	if err != nil {
		t.Fatal(err)
	}
	runs := shoot.Runs(text.Files, 0)
	may := shoot.MayShowOneView(runs, (*shoot.Run).AsksForPictures)
	var numbers []string
	for _, r := range runs {
		if may[r] {
			numbers = append(numbers, fmt.Sprint(r.Frames[0].Number.Count))
		}
	}
	return strings.Join(numbers, " ")
}

// TestSameAperture: where no f-number is recorded, the light of the pictures must be what the
// exposure time and the ISO explain.
func TestSameAperture(t *testing.T) {
	for _, c := range []struct {
		first, second string
		brighter      float64 // EV
		want          bool
	}{
		{"t=0.1 f=8 iso=100", "t=0.4 f=8 iso=100", 0, true}, // the lamp was turned down
		{"t=0.1 iso=100", "t=0.1 iso=100", 0.1, true},
		{"t=0.1 iso=100", "t=0.2 iso=100", 1.2, true},
		{"t=0.1 iso=100", "t=0.1 iso=200", 0.9, true},
		{"t=0.1 iso=100", "t=0.2 iso=100", 0, false},
		{"t=0.1 iso=100", "t=0.1 iso=100", -1, false},
		{"iso=100", "iso=100", 0, false}, // the camera may have set another time
		{"t=0.1", "t=0.1", 0, false},
	} {
		text, err := audittest.Read(strings.NewReader("BX1_0001.NEF time=2026-03-04T09:02:40+01:00 " + c.first + "\nBX1_0002.NEF after 60s " + c.second))
		if err != nil {
			t.Fatal(err)
		}
		runs := shoot.Runs(text.Files, 0)
		a, b := runs[0].Frames[0], runs[len(runs)-1].Frames[len(runs[len(runs)-1].Frames)-1]
		if a == b {
			t.Fatalf("%s: one frame", c.first)
		}
		if got := shoot.SameAperture(a, b, c.brighter); got != c.want {
			t.Errorf("%s, then %s, %+.1f EV brighter: %v", c.first, c.second, c.brighter, got)
		}
	}
}
