package pixels_test

import (
	"image"
	"image/jpeg"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"testing"

	"prestrike/audit/pixels"
)

// A series is a real focus sequence.
type series struct {
	name    string
	files   []string
	offsets []float64 // µm from best focus, where the file names tell
}

var offsetInName = regexp.MustCompile(`_ix(\d+)_iy(\d+)_(-?[\d.]+)\.jpeg$`)

// realSeries finds the real series beside the module; the test is skipped
// where they are not.
func realSeries(t testing.TB) []series {
	t.Helper()
	root := filepath.Join("..", "..", "..", "shared", "data", "focus")
	if _, err := os.Stat(root); err != nil {
		t.Skipf("the real series are not beside the module: %v", err)
	}
	tiles, err := filepath.Glob(filepath.Join(root, "tiles", "*.jpeg"))
	if err != nil {
		t.Fatal(err)
	}
	type at struct {
		file   string
		offset float64
	}
	groups := map[string][]at{}
	for _, f := range tiles {
		m := offsetInName.FindStringSubmatch(f)
		if m == nil {
			continue
		}
		x, err := strconv.ParseFloat(m[3], 64)
		if err != nil {
			t.Fatal(err)
		}
		name := "tile " + m[2]
		groups[name] = append(groups[name], at{f, x})
	}
	var out []series
	for name, g := range groups {
		slices.SortFunc(g, func(a, b at) int {
			if a.offset < b.offset {
				return -1
			}
			return 1
		})
		s := series{name: name}
		for _, a := range g {
			s.files = append(s.files, a.file)
			s.offsets = append(s.offsets, a.offset)
		}
		out = append(out, s)
	}
	balls, err := filepath.Glob(filepath.Join(root, "balls", "*.jpg"))
	if err != nil {
		t.Fatal(err)
	}
	slices.Sort(balls)
	out = append(out, series{name: "balls", files: balls})
	slices.SortFunc(out, func(a, b series) int { return slices.Compare([]string{a.name}, []string{b.name}) })
	return out
}

func decode(t testing.TB, file string) image.Image {
	t.Helper()
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	img, err := jpeg.Decode(f)
	if err != nil {
		t.Fatalf("%s: %v", file, err)
	}
	return img
}

func TestRealLook(t *testing.T) {
	for _, r := range realSeries(t) {
		var s pixels.Sequence
		for _, f := range r.files {
			m, err := pixels.Measure(decode(t, f))
			if err != nil {
				t.Fatal(err)
			}
			s.Add(m)
		}
		j := s.Judge(pixels.DefaultThresholds())
		t.Logf("%s\n %v\n%s", r.name, r.offsets, summary(j))
		for i, p := range j.PerFrame {
			t.Logf("  %d ev %.3f sharp %.2f shift %.1f %.1f scale %.5f", i, p.EV, p.Sharpest, p.ShiftX, p.ShiftY, p.Scale)
		}
	}
}
