package rules

import (
	"context"
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
// the view is another. Where the pictures do not decide, equal counts are two takes and a planned
// one is one run; else the report asks.
func TestPicturesOfPause(t *testing.T) {
	pixelstest.Long(t)
	clean := picturestest.Covering()
	n := len(clean)
	again := pixelstest.Run(8, n, -0.10, 1.14, 0.04)
	back := slices.Clone(again)
	slices.Reverse(back)
	turned := picturestest.Turned()
	const (
		asks  = "check cadence-break: "
		noted = "note cadence-break: 7.8 s passed between "
		short = "reshoot short-sequence: "
	)
	for _, c := range []struct {
		name          string
		first, second []pixelstest.Shot
		other         *pixelstest.Built
		planned       int
		counts        []int
		want          []string
		unseen        []string // without pictures; nil where the report asks
	}{
		{"goes on", clean[:14], clean[14:], nil, 0, []int{24}, []string{noted + "0014 and 0015"}, nil},
		{"goes on, bumped", clean[:14], pixelstest.Bump(clean[14:], 0, n, 3, 1), nil, 0, []int{24}, []string{"check cadence-break: 7.8 s passed between 0014 and 0015", "check moved: "}, nil},
		{"starts over", clean[:19], again, nil, 0, []int{19, 24}, nil, nil},
		{"walks back", clean, back[:19], nil, 0, []int{24, 19}, nil, nil},
		{"turned", clean[:20], again, turned, 0, []int{20, 24}, nil, nil},
		{"begins in the middle", clean[:14], again[7:], nil, 0, []int{14, 17}, []string{"check far-edge: ", asks + "frames 0015 to 0031 came 7.8 s after frames 0001 to 0014"}, nil},
		{"goes on, in halves", clean[:12], clean[12:], nil, 0, []int{24}, []string{noted + "0012 and 0013"}, []string{}},
		{"as many, starts over", clean, again, nil, 0, []int{24, 24}, nil, []string{}},
		{"as many, turned", clean, again, turned, 0, []int{24, 24}, nil, []string{}},
		{"as many, begins in the middle", clean[:17], again[7:], nil, 0, []int{17, 17}, []string{"check far-edge: "}, []string{}},
		{"goes on, in halves of the plan", clean[:12], clean[12:], nil, n, []int{24}, []string{noted + "0012 and 0013"}, []string{asks + "7.8 s passed"}},
		{"starts over half-way through the plan", clean[:12], again[:12], nil, n, []int{12, 12}, []string{short, "check far-edge: ", short, "check far-edge: "}, []string{asks + "7.8 s passed"}},
		{"goes on, twice the plan", clean[:12], clean[12:], nil, n / 2, []int{24}, []string{noted + "0012 and 0013", "note short-sequence: 24 frames, where 12 were planned"}, []string{}},
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
				result := lookFor(t, (&pictures.Measurer{Cache: kept, Memo: &memo}).Measure, folder, c.planned)
				var counts []int
				for _, q := range result.Sessions[0].Sequences {
					counts = append(counts, len(q.Frames))
					if q.Kind != shoot.Focus {
						t.Errorf("%s: kind %v", q.ID, q.Kind)
					}
				}
				if got := audittest.Told(result); !slices.Equal(counts, c.counts) || !begin(got, c.want) {
					t.Errorf("frames %v, found\n%s\nwant %v,\n%s", counts, strings.Join(got, "\n"), c.counts, strings.Join(c.want, "\n"))
				}
			}
			if len(*kept) != 1 {
				t.Errorf("%d entries kept of one job", len(*kept))
			}
			// Without pictures counts decide, or both are named and the report asks.
			got := audittest.Told(lookFor(t, nil, folder, c.planned))
			if c.unseen == nil && !slices.ContainsFunc(got, func(s string) bool { return strings.HasPrefix(s, asks) }) || c.unseen != nil && !begin(got, c.unseen) {
				t.Errorf("without pictures %q, want %q", got, c.unseen)
			}
		})
	}
}

// begin reports whether each finding begins as wanted, and there is no other.
func begin(got, want []string) bool {
	return slices.EqualFunc(got, want, strings.HasPrefix)
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

// lookFor audits a folder for a plan of frames a sequence, 0 where there is none; without its
// pictures where nothing measures them.
func lookFor(t *testing.T, measure func(context.Context, []*shoot.Run) ([]shoot.Seen, error), folder string, planned int) *audit.Result {
	t.Helper()
	c, err := shoot.Collect(t.Context(), []string{folder}, nil)
	if err != nil {
		t.Fatal(err)
	}
	result, err := audit.Judge(t.Context(), c, &audit.Options{Rules: All(), Measure: measure, PlannedFrames: planned})
	if err != nil {
		t.Fatal(err)
	}
	return result
}

// TestPausesLive holds that a folder that fills comes to the same as one inspection at the end:
// with two halves of one run and another take behind it, and with takes of as many frames, whose
// pauses, once there are enough, come back as a motor makes them.
func TestPausesLive(t *testing.T) {
	pixelstest.Long(t)
	if testing.Short() {
		t.Skip("inspects many pictures")
	}
	clean := picturestest.Covering()
	few := pixelstest.Run(3, 12, -0.10, 1.14, 0.04)
	retake := slices.Clone(few)
	for i := range retake {
		retake[i].Noise += 7777
	}
	for _, c := range []struct {
		name   string
		shots  []pixelstest.Shot
		pauses map[int]int
		every  int // file that comes, all is inspected
		want   []string
	}{
		{"two halves, and again", slices.Concat(clean, pixelstest.Run(8, 19, -0.10, 1.14*18/23, 0.04)), map[int]int{12: 5, 24: 6}, 1, []string{"1.1focus 24", "1.2focus 19"}},
		{"a column", slices.Concat(few, retake, few, retake), map[int]int{12: 5, 24: 5, 36: 5}, 3, []string{"1.1focus 12", "1.2focus 12", "1.3focus 12", "1.4focus 12"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			camera := picturestest.Camera{Every: 1300 * time.Millisecond, NumbersRunOn: true, Skip: func(i int) int { return c.pauses[i] }}
			comesToTheSame(t, camera.Shoot(t, c.shots), c.every, c.want)
		})
	}
}

// comesToTheSame audits a folder at once, and as it fills at every so many files, and wants these
// sequences both times.
func comesToTheSame(t *testing.T, folder string, every int, sequences []string) {
	t.Helper()
	c, err := shoot.Collect(t.Context(), []string{folder}, nil)
	if err != nil {
		t.Fatal(err)
	}
	tell := func(r *audit.Result) (found, made []string) {
		for _, q := range r.Sessions[0].Sequences {
			made = append(made, fmt.Sprint(q.ID, q.Kind, len(q.Frames)))
		}
		return audittest.Told(r), made
	}
	once, err := audit.Judge(t.Context(), c, &audit.Options{Rules: All(), Measure: (&pictures.Measurer{Memo: &memo}).Measure})
	if err != nil {
		t.Fatal(err)
	}
	looks := 0
	m := &pictures.Measurer{Memo: &memo, Progress: func(int, int) { looks++ }}
	live := audit.NewLive(&audit.Options{Rules: All(), Measure: m.Measure})
	for i, f := range c.Files {
		live.Put(f.Path, f, time.Now())
		if i%every != 0 && i+1 < len(c.Files) {
			continue
		}
		if _, err := live.Look(t.Context(), time.Now(), i+1 == len(c.Files), false); err != nil {
			t.Fatal(err)
		}
	}
	want, made := tell(once)
	got, grown := tell(live.Result())
	if !slices.Equal(got, want) || !slices.Equal(made, sequences) || !slices.Equal(grown, sequences) {
		t.Errorf("file by file %v\n%s\nat once %v\n%s\nwant %v", grown, strings.Join(got, "\n"), made, strings.Join(want, "\n"), sequences)
	}
	if looks > 3*len(c.Files) {
		t.Errorf("%d looks at %d frames", looks, len(c.Files))
	}
	t.Logf("%d looks at %d frames", looks, len(c.Files))
}
