package rules

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"prestrike/audit"
	"prestrike/audit/audittest"
	"prestrike/audit/pictures"
	"prestrike/audit/pictures/picturestest"
	"prestrike/audit/pixels/pixelstest"
	"prestrike/audit/shoot"
)

// TestPicturesOfPause holds that what comes soon behind a pause, at the same settings, is the
// second part of the run where focus goes on, and another run where it starts over, walks back or
// the view is another; and that the report asks where the pictures do not decide.
func TestPicturesOfPause(t *testing.T) {
	clean := picturestest.Covering()
	n := len(clean)
	again := pixelstest.Run(8, n, -0.10, 1.14, 0.04)
	back := slices.Clone(again)
	slices.Reverse(back)
	turned := picturestest.Turned()
	asks := "check cadence-break: "
	for _, c := range []struct {
		name          string
		first, second []pixelstest.Shot
		other         *pixelstest.Built
		counts        []int
		want          []string
	}{
		{"goes on", clean[:14], clean[14:], nil, []int{24}, []string{"note cadence-break: 7.8 s passed between 0014 and 0015"}},
		{"goes on, bumped", clean[:14], pixelstest.Bump(clean[14:], 0, n, 3, 1), nil, []int{24}, []string{"check cadence-break: 7.8 s passed between 0014 and 0015", "check moved: "}},
		{"starts over", clean[:19], again, nil, []int{19, 24}, nil},
		{"walks back", clean, back[:19], nil, []int{24, 19}, nil},
		{"turned", clean[:20], again, turned, []int{20, 24}, nil},
		{"begins in the middle", clean[:14], again[7:], nil, []int{14, 17}, []string{"check far-edge: ", asks + "frames 0015 to 0031 came 7.8 s after frames 0001 to 0014"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			camera := picturestest.Camera{Every: 1300 * time.Millisecond, NumbersRunOn: true, Skip: func(i int) int {
				if i == len(c.first) {
					return 5
				}
				return 0
			}}
			folder := camera.Write(t, len(c.first)+len(c.second), func(i int) []byte {
				switch {
				case i < len(c.first):
					return picturestest.Scene().JPEG(c.first[i])
				case c.other != nil:
					return c.other.JPEG(c.second[i-len(c.first)])
				}
				return picturestest.Scene().JPEG(c.second[i-len(c.first)])
			})
			kept := &shelf{}
			for range 2 { // from the pictures, and from what was kept of them
				result := lookAt(t, &pictures.Measurer{Cache: kept}, folder)
				var counts []int
				for _, q := range result.Sessions[0].Sequences {
					counts = append(counts, len(q.Frames))
					if q.Kind != shoot.Focus {
						t.Errorf("%s: kind %v", q.ID, q.Kind)
					}
				}
				got := audittest.Told(result)
				ok := len(got) == len(c.want)
				for i := range min(len(got), len(c.want)) {
					ok = ok && strings.Contains(got[i], c.want[i])
				}
				if !slices.Equal(counts, c.counts) || !ok {
					t.Errorf("frames %v, found\n%s\nwant %v,\n%s", counts, strings.Join(got, "\n"), c.counts, strings.Join(c.want, "\n"))
				}
			}
			if len(*kept) != 1 {
				t.Errorf("%d entries kept of one job", len(*kept))
			}
			// Without pictures both are named, and the report asks.
			if got := audittest.Told(lookAtNothing(t, folder)); !slices.ContainsFunc(got, func(s string) bool { return strings.HasPrefix(s, asks) }) {
				t.Errorf("without pictures %q", got)
			}
		})
	}
}

// shelf keeps what was found.
type shelf map[string][]byte

func (s *shelf) Get(key string) ([]byte, bool) { v, ok := (*s)[key]; return v, ok }
func (s *shelf) Put(key string, value []byte) {
	if *s == nil {
		*s = shelf{}
	}
	(*s)[key] = value
}

// lookAtNothing audits a folder without its pictures.
func lookAtNothing(t *testing.T, folder string) *audit.Result {
	t.Helper()
	c, err := shoot.Collect(t.Context(), []string{folder}, nil)
	if err != nil {
		t.Fatal(err)
	}
	result, err := audit.Judge(t.Context(), c, &audit.Options{Rules: All()})
	if err != nil {
		t.Fatal(err)
	}
	return result
}

// TestPausesLive holds that a folder that fills comes to the same as one inspection at the end,
// with two parts of one run, and with another take behind it.
func TestPausesLive(t *testing.T) {
	if testing.Short() {
		t.Skip("inspects many pictures")
	}
	clean := picturestest.Covering()
	shots := slices.Concat(clean, pixelstest.Run(8, 19, -0.10, 1.14*18/23, 0.04))
	pauses := map[int]int{13: 5, 24: 6}
	camera := picturestest.Camera{Every: 1300 * time.Millisecond, NumbersRunOn: true, Skip: func(i int) int {
		return pauses[i]
	}}
	folder := camera.Shoot(t, shots)
	c, err := shoot.Collect(t.Context(), []string{folder}, nil)
	if err != nil {
		t.Fatal(err)
	}
	tell := func(r *audit.Result) []string {
		out := audittest.Told(r)
		for _, q := range r.Sessions[0].Sequences {
			out = append(out, fmt.Sprint(q.ID, q.Kind, len(q.Frames)))
		}
		return out
	}
	once, err := audit.Judge(t.Context(), c, &audit.Options{Rules: All(), Measure: (&pictures.Measurer{Memo: &memo}).Measure})
	if err != nil {
		t.Fatal(err)
	}
	want := tell(once)
	looks := 0
	m := &pictures.Measurer{Memo: &memo, Progress: func(int, int) { looks++ }}
	live := audit.NewLive(&audit.Options{Rules: All(), Measure: m.Measure})
	for i, f := range c.Files {
		live.Put(f.Path, f, time.Now())
		if _, err := live.Look(t.Context(), time.Now(), i+1 == len(c.Files), false); err != nil {
			t.Fatal(err)
		}
	}
	if got := tell(live.Result()); !slices.Equal(got, want) || !slices.Contains(got, "1.1focus 24") || !slices.Contains(got, "1.2focus 19") {
		t.Errorf("file by file\n%s\nat once\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
	if looks > 3*len(c.Files) {
		t.Errorf("%d looks at %d frames", looks, len(c.Files))
	}
	t.Logf("%d looks at %d frames", looks, len(c.Files))
}
