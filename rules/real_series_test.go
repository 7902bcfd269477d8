package rules

import (
	"cmp"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"prestrike/audit/pictures"
	"prestrike/audit/pictures/picturestest"
	"prestrike/audit/pixels/pixelstest"
	"prestrike/audit/shoot"
	"prestrike/exifread"
)

// realFolder holds real files that are not part of the module; SOURCES.md there states
// where each comes from.
const realFolder = "../../shared/data"

// A realSession is a real series as a session: where its pictures record nothing, with
// capture data as a camera would have written it.
type realSession struct {
	name   string
	folder func(*testing.T) string
	counts []int        // of the frames of each sequence, as it was made
	kinds  []shoot.Kind // that are right: a series where nothing else can decide
	must   []string     // rules that find what is so
	all    bool         // pictures of all sequences are inspected
}

// Real series come out as what they are. What they are is known from SOURCES.md, from the
// distances and offsets that came with the pictures, and by eye.
func TestRealSeriesAsSessions(t *testing.T) {
	pixelstest.Long(t)
	if _, err := os.Stat(filepath.Join(realFolder, "SOURCES.md")); err != nil {
		t.Skip("the folder of shared real files is not there")
	}
	balls := realFiles(t, "focus/balls/*.jpg")
	back := slices.Clone(balls)
	slices.Reverse(back)
	var tiles []string
	var counts []int
	for _, of := range []string{"025", "026", "027"} {
		list := realFiles(t, "focus/tiles/*iy"+of+"_*.jpeg")
		slices.SortFunc(list, func(a, b string) int { return cmp.Compare(offsetOf(t, a), offsetOf(t, b)) })
		tiles, counts = append(tiles, list...), append(counts, len(list))
	}
	distances := realDistances(t)
	walks, steady := []shoot.Kind{shoot.Focus}, []shoot.Kind{shoot.Focus, shoot.Series}
	const soon, aMinute = 5, 46 // frames' time
	for _, s := range []realSession{
		{"a lens that focuses from infinity to 0.1 m, without capture data", asTheyLie("focus/balls"), []int{10}, walks, []string{"far-edge", "no-exif"}, true},
		// Without times nothing shows that these frames are a run, so that their pictures
		// are inspected only where the user asks; what they lack is reported.
		{"the same, as audited by default", asTheyLie("focus/balls"), []int{10}, []shoot.Kind{shoot.Single}, []string{"no-exif"}, false},
		{"the same, a frame each 1.3 s", atPace(balls, nil, 0, nil), []int{10}, walks, []string{"far-edge"}, false},
		{"the same, with the distances recorded", atPace(balls, nil, 0, distances), []int{10}, walks, []string{"near-edge"}, false},
		{"the same, from near to far", atPace(back, nil, 0, nil), []int{10}, walks, []string{"near-edge"}, false},
		{"one microscope tile", atPace(tiles[:counts[0]], nil, 0, nil), counts[:1], steady, nil, false},
		{"three microscope tiles one after the other", atPace(tiles, counts, aMinute, nil), counts, steady, nil, false},
		// Behind a pause in which a stack may have been interrupted the pictures decide, and
		// counts where they do not show it, as those of the tiles. TestRealGoingOn asks of more.
		{"the balls, interrupted half-way", atPace(balls, []int{5, 5}, soon, nil), []int{10}, walks, []string{"cadence-break", "far-edge"}, false},
		{"two microscope tiles soon one after the other", atPace(tiles[counts[0]:], counts[1:], soon, nil), counts[1:], steady, nil, false},
		{"four frames by hand, 3 to 19 s apart", asTheyLie("consecutive"), []int{1, 1, 1, 1}, []shoot.Kind{shoot.Single}, nil, false},
	} {
		t.Run(s.name, func(t *testing.T) {
			result := lookAt(t, &pictures.Measurer{All: s.all}, s.folder(t))
			var got []int
			rules := map[string]bool{}
			for _, session := range result.Sessions {
				for _, q := range session.Sequences {
					got = append(got, len(q.Frames))
					if !slices.Contains(s.kinds, q.Kind) {
						t.Errorf("%s of %d frames is of kind %v, want %v", q.ID, len(q.Frames), q.Kind, s.kinds)
					}
					t.Logf("%s: %v, %d frames, %v", q.ID, q.Kind, len(q.Frames), q.Verdict)
					for _, f := range q.Findings {
						rules[f.Rule] = true
						t.Logf("%v %s: %s", f.Severity, f.Rule, f.Message)
					}
				}
			}
			if !slices.Equal(got, s.counts) {
				t.Errorf("sequences of %v frames, want %v", got, s.counts)
			}
			for _, rule := range s.must {
				if !rules[rule] {
					t.Errorf("%s is not found", rule)
				}
			}
			if rules["banding"] {
				t.Error("bands are found, where none are") // by eye, all of these
			}
		})
	}
}

// asTheyLie audits a folder of real files as it is.
func asTheyLie(folder string) func(*testing.T) string {
	return func(*testing.T) string { return filepath.Join(realFolder, filepath.FromSlash(folder)) }
}

// atPace writes real pictures as a camera does, a frame each 1.3 s, with a pause of so many
// frames' time between parts of the given numbers of frames, and the distances where they are known.
func atPace(files []string, parts []int, pause int, distances []float64) func(*testing.T) string {
	return func(t *testing.T) string {
		border := map[int]bool{}
		at := 0
		for _, n := range parts {
			border[at] = at > 0
			at += n
		}
		c := picturestest.Camera{
			Every: 1300 * time.Millisecond, NumbersRunOn: true,
			Skip: func(i int) int {
				if border[i] {
					return pause
				}
				return 0
			},
			Change: func(i int, m *exifread.Metadata) {
				if distances != nil {
					m.SubjectDistance = exifread.Of(exifread.Distance{State: exifread.DistanceMetres, Metres: distances[i]})
				}
			},
		}
		return c.Write(t, len(files), func(i int) []byte {
			data, err := os.ReadFile(files[i])
			if err != nil {
				t.Fatal(err)
			}
			return data
		})
	}
}

func realFiles(t *testing.T, pattern string) []string {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(realFolder, filepath.FromSlash(pattern)))
	if err != nil || len(files) == 0 {
		t.Fatalf("%s: no files (%v)", pattern, err)
	}
	return files
}

// offsetOf returns the offset from best focus, µm, at the end of a tile's name.
func offsetOf(t *testing.T, file string) float64 {
	t.Helper()
	stem := strings.TrimSuffix(file, filepath.Ext(file))
	offset, err := strconv.ParseFloat(stem[strings.LastIndex(stem, "_")+1:], 64)
	if err != nil {
		t.Fatal(err)
	}
	return offset
}

// realDistances returns the distances of the balls, m, as they came with the pictures;
// the first, of some thousand kilometres, is infinity.
func realDistances(t *testing.T) []float64 {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(realFolder, "focus", "balls", "focus_distance.txt"))
	if err != nil {
		t.Fatal(err)
	}
	var out []float64
	for _, word := range strings.Fields(string(data)) {
		d, err := strconv.ParseFloat(word, 64)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, d/100) // the closest the lens goes is 0.1 m, written as 10
	}
	return out
}
