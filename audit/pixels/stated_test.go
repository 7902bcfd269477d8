package pixels_test

import (
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// statedRows are the rows of the tables in DEVELOPERS.md by those of TestRates.
// "A" rows are of what is not there, and must not be found more often than is
// stated; "B" rows are of what is there, and must not be found less often.
var statedRows = map[string]string{
	"A above a note, but step | clean":       "anything above a note but the step, in clean runs and time-lapses",
	"A any but step | clean":                 "anything but the step, in clean runs and time-lapses",
	"A step | true blur up to 2 px":          "step too wide, true growth of blur up to 2 px a frame",
	"A step | true blur below 3 px":          "step too wide, true growth of blur below 3 px a frame",
	"A dark | 0.7 EV below":                  "dark frame, 0.7 EV below its neighbours",
	"A walk | standing runs taken for focus": "time-lapse taken for a focus sequence",
	"A moved | foreign fault":                "`moved` where another fault was put in",
	"A order | foreign fault":                "`focus-turn` where another fault was put in",
	"A stall | foreign fault":                "`focus-stall` where another fault was put in",
	"A soft | foreign fault":                 "`soft-frame` where another fault was put in",

	"B walk | focus runs":                                           "focus seen to walk (`series` becomes `focus`)",
	"B walk | standing runs":                                        "focus seen to stand",
	"B dark | 1.2 to 4.2 EV":                                        "`dark-frame`: 1.2 to 4.2 EV",
	"B dark | black":                                                "`dark-frame`: black",
	"B moved | 2 px at 1,600, for good":                             "`moved`: 2 px, for good",
	"B moved | 2 px at 1,600, one frame":                            "`moved`: 2 px, one frame",
	"B moved | standing run, 2 px at 1,600":                         "`moved`: 2 px in a time-lapse",
	"B moved | 5 to 30 px":                                          "`moved`: 5 to 30 px",
	"B moved | 2 px at 1,600, for good, picture drifts with focus":  "`moved`: 2 px, for good, on rails",
	"B moved | 2 px at 1,600, one frame, picture drifts with focus": "`moved`: 2 px, one frame, on rails",
	"B moved | 5 to 30 px, picture drifts with focus":               "`moved`: 5 to 30 px, on rails",
	"B stall | the same file twice":                                 "`focus-stall`: one file twice",
	"B stall | one frame twice, middle":                             "`focus-stall`: one focus twice, in the middle",
	"B stall | one frame twice, end":                                "`focus-stall`: one focus twice, at the end",
	"B stall | start stands for 3 frames":                           "`focus-stall`: stands for 3 frames at the start",
	"B jump | 1 missing, located":                                   "`focus-gap`: one frame missing, located",
	"B jump | 2 missing, located":                                   "`focus-gap`: two frames missing, located",
	"B step | true blur 4 px and more":                              "`focus-gap`: true growth of blur 4 px a frame and more",
	"B step | within a factor of 2":                                 "growth of blur within a factor of two",
	"B step | inspected again, within 1.3":                          "growth of blur within 1.3, where pictures are inspected again",
	"B step | inspected again, truth within the bounds":             "truth within the bounds stated, where pictures are inspected again",
	"B first edge | lost 12 to 35 %":                                "`near-edge`: 12 to 35 % of the texture lost",
	"B first edge | lost 3 to 10 %":                                 "`near-edge`: 3 to 10 %",
	"B last edge | lost 12 to 35 %":                                 "`far-edge`: 12 to 35 % of the texture lost",
	"B last edge | lost 3 to 10 %":                                  "`far-edge`: 3 to 10 %",
	"B order | two swapped":                                         "`focus-turn`: two frames changed places",
	"B order | restarted":                                           "`focus-turn`: starts over",
	"B order | turned back for good":                                "`focus-turn`: walks back for good",
	"B brightness | jump of 0.15 to 0.45 EV":                        "`brightness-drift`: jump of 0.15 to 0.45 EV",
	"B brightness | flicker of 0.18 EV (deviation)":                 "`brightness-drift`: flicker of 0.18 EV, no flash",
	"B soft | shake of 4 to 7 px":                                   "`soft-frame`: shake of 4 to 7 px",
	"B soft | shake of 2.5 to 4 px":                                 "`soft-frame`: shake of 2.5 to 4 px",
	"B soft | standing run, shake of 5 px":                          "`soft-frame`: shake of 5 px in a time-lapse",
}

var statedCount = regexp.MustCompile(`^\|\s*(.+?)\s*\|.*?\b(\d+) of (\d+) \([\d.]+ to [\d.]+ %\) \|`)

// stated reads the counts of each row in the tables of DEVELOPERS.md.
func stated(t *testing.T) map[string][2]int {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("..", "..", "DEVELOPERS.md"))
	if err != nil {
		t.Fatal(err)
	}
	counts := map[string][2]int{}
	for line := range strings.Lines(string(text)) {
		m := statedCount.FindStringSubmatch(line)
		if m == nil {
			continue
		}
		found, errFound := strconv.Atoi(m[2])
		of, errOf := strconv.Atoi(m[3])
		if errFound != nil || errOf != nil {
			t.Fatalf("DEVELOPERS.md: no counts in %q", line)
		}
		counts[m[1]] = [2]int{found, of}
	}
	return counts
}

// below reports whether found of n is less than a stated count can mean: the
// stated interval and that of this run do not meet.
func below(found, n int, stated [2]int) bool {
	lo, _ := wilson(stated[0], stated[1])
	_, hi := wilson(found, n)
	return hi < lo
}

// above reports whether found of n is more than a stated count can mean.
func above(found, n int, stated [2]int) bool {
	lo, _ := wilson(found, n)
	_, hi := wilson(stated[0], stated[1])
	return lo > hi
}

// holdStated fails where a row of the table falls out of the interval that
// DEVELOPERS.md states of it, on the side that is worse.
func (ta *tally) holdStated(t *testing.T) {
	t.Helper()
	counts := stated(t)
	for name, label := range statedRows {
		want, ok := counts[label]
		if !ok {
			t.Errorf("DEVELOPERS.md states nothing of %q", label)
			continue
		}
		r := ta.rows[name]
		if r == nil {
			if !strings.HasSuffix(name, "drifts with focus") { // one scene in six does
				t.Errorf("no row %q", name)
			}
			continue
		}
		found, n := r.found, r.runs-r.cannot
		if strings.HasPrefix(name, "A ") { // not found is what is good
			found, want[0] = n-found, want[1]-want[0]
		}
		if below(found, n, want) {
			t.Errorf("%s: %d of %d right, where %d of %d are stated", name, found, n, want[0], want[1])
		}
	}
}

func TestStatedRatesBite(t *testing.T) {
	for _, c := range []struct {
		found, n int
		stated   [2]int
		below    bool
	}{
		{20, 20, [2]int{150, 150}, false},
		{19, 20, [2]int{150, 150}, false},
		{16, 20, [2]int{150, 150}, true},
		{12, 20, [2]int{82, 140}, false},
		{5, 20, [2]int{82, 140}, true},
		{0, 0, [2]int{21, 24}, false},
	} {
		if got := below(c.found, c.n, c.stated); got != c.below {
			t.Errorf("%d of %d, stated %v: below %v", c.found, c.n, c.stated, got)
		}
	}
}

// Every row that is held has its line in DEVELOPERS.md, by the same name.
func TestStatedRowsAreThere(t *testing.T) {
	counts := stated(t)
	for name, label := range statedRows {
		if _, ok := counts[label]; !ok {
			t.Errorf("%s: DEVELOPERS.md states nothing of %q", name, label)
		}
	}
}
