package exifread_test

import (
	"bufio"
	"fmt"
	"io/fs"
	"math/big"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"prestrike/exifread"
)

const (
	framesDir = "../testdata/frames"
	sharedDir = "../../shared/data"
)

// outside is what another reader reports of one file: tag name to value.
type outside map[string]string

var (
	exiv2Tag  = regexp.MustCompile(`^(Exif\.(?:Image|Photo)\.\w+)\s+(.*)$`)
	exiv2Size = regexp.MustCompile(`^Image size\s*: (\d+ x \d+)`)
)

func (o outside) line(s string) {
	if g := exiv2Size.FindStringSubmatch(s); g != nil {
		o["size"] = g[1]
		return
	}
	if g := exiv2Tag.FindStringSubmatch(s); g != nil {
		if _, have := o[g[1]]; !have {
			o[g[1]] = strings.TrimSpace(g[2])
		}
	}
}

func (o outside) first(keys ...string) string {
	for _, k := range keys {
		if v := o[k]; v != "" {
			return v
		}
	}
	return ""
}

// disagreements compares field by field. Two notations of one value agree, and
// so does "unknown": 0, n/0 and blank or zero dates are not recorded here. What
// the other reader does not have is not compared.
func (o outside) disagreements(m *exifread.Metadata) map[string]string {
	diff := map[string]string{}
	check := func(field, got, want string, agree bool) {
		if want != "" && !agree {
			diff[field] = fmt.Sprintf("got %q, the other reader has %q", got, want)
		}
	}
	text := func(field string, v exifread.Value[string], want string) {
		got := v.Or("")
		check(field, got, want, got == want || got == "" && strings.Trim(want, "- ") == "")
	}
	text("make", m.Make, o.first("Exif.Image.Make"))
	text("model", m.Model, o.first("Exif.Image.Model"))

	quotient := func(field string, v exifread.Value[exifread.Rational], want string) {
		theirs, valid := new(big.Rat).SetString(want)
		if !valid || theirs.Sign() == 0 {
			check(field, v.String(), want, !v.Known())
			return
		}
		r, ok := v.Get()
		check(field, v.String(), want, ok && big.NewRat(r.Num, r.Den).Cmp(theirs) == 0)
	}
	quotient("exposure time", m.ExposureTime, o.first("Exif.Photo.ExposureTime", "Exif.Image.ExposureTime"))
	quotient("f-number", m.FNumber, o.first("Exif.Photo.FNumber", "Exif.Image.FNumber"))
	quotient("focal length", m.FocalLength, o.first("Exif.Photo.FocalLength", "Exif.Image.FocalLength"))

	number := func(field string, known bool, got, want string) {
		for _, w := range strings.Fields(want) { // several: the first that is not 0
			if want = w; w != "0" {
				break
			}
		}
		check(field, got, want, known && got == want || !known && want == "0")
	}
	number("ISO", m.Sensitivity.Known(), m.Sensitivity.String(), o.first("Exif.Photo.ISOSpeedRatings", "Exif.Image.ISOSpeedRatings"))
	number("orientation", m.Orientation.Known(), m.Orientation.String(), o.first("Exif.Image.Orientation"))

	want := o.first("Exif.Photo.DateTimeOriginal", "Exif.Image.DateTimeOriginal")
	at, ok := m.Captured.Get()
	got := at.Wall.Format("2006:01:02 15:04:05")
	check("time", m.Captured.String(), want, ok && got == want || strings.Trim(want, "0: ") == "")

	size := m.Width.String() + " x " + m.Height.String()
	if o["size"] != "0 x 0" {
		check("size", size, o["size"], size == o["size"])
	}
	return diff
}

// The values of the frames that come with the project, as exiv2 read them.
func TestFramesAgainstExiv2(t *testing.T) {
	f, err := os.Open(filepath.Join(framesDir, "exiv2.txt"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	want, name, files := map[string]outside{}, "", 0
	for in := bufio.NewScanner(f); in.Scan(); {
		if rest, ok := strings.CutPrefix(in.Text(), "== "); ok {
			name, files = rest, files+1
			want[name] = outside{}
			continue
		}
		want[name].line(in.Text())
	}
	if files != 18 {
		t.Fatalf("exiv2.txt tells of %d files, want 18", files)
	}
	for name, w := range want {
		m, err := exifread.ReadFile(t.Context(), filepath.Join(framesDir, name))
		if err != nil {
			t.Errorf("%s: %v", name, err)
		}
		for field, d := range w.disagreements(m) {
			t.Errorf("%s: %s: %s", name, field, d)
		}
	}
}

// Where the two readers differ, and why. The keys are the end of the file's
// name and the field.
var exiv2Differences = map[string]string{
	"beach.jpg: size":         "its height is behind the first scan (DNL marker, ITU-T T.81 B.2.5), where exiv2 does not look",
	".raf: size":              "exiv2 gives the size of the embedded picture, here that of the sensor's picture",
	".rw2: size":              "exiv2 counts the borders of the sensor, which no picture shows",
	"pyramid_pymd.avif: size": "the picture that the file calls its primary one is the smallest of a pyramid; exiv2 takes the largest",
}

func knownDifference(path, field string) (key string, known bool) {
	for key := range exiv2Differences {
		if strings.HasSuffix(filepath.Base(path)+": "+field, key) {
			return key, true
		}
	}
	return "", false
}

// Every file that both can read, live.
func TestSharedAgainstExiv2(t *testing.T) {
	exiv2, err := exec.LookPath("exiv2")
	if err != nil {
		t.Skip("exiv2 is not installed")
	}
	compared, fields := 0, 0
	used := map[string]bool{}
	for _, path := range append(sharedFiles(t, "makers", "consecutive", "containers"), moduleImages(t)...) {
		m, err := exifread.ReadFile(t.Context(), path)
		if err != nil {
			continue
		}
		theirs := outside{}
		for _, args := range [][]string{{"-q", "-Pkv", path}, {"-q", path}} {
			out, _ := exec.CommandContext(t.Context(), exiv2, args...).Output() // it fails on what it cannot read
			for line := range strings.Lines(string(out)) {
				theirs.line(strings.TrimRight(line, "\n"))
			}
		}
		if len(theirs) == 0 {
			continue
		}
		compared++
		fields += len(theirs)
		for field, d := range theirs.disagreements(m) {
			if key, known := knownDifference(path, field); known {
				used[key] = true
				continue
			}
			t.Errorf("%s: %s: %s", path, field, d)
		}
	}
	for key := range exiv2Differences {
		if !used[key] {
			t.Errorf("%s: listed as a difference, but the readers agree", key)
		}
	}
	t.Logf("%d files and %d values compared", compared, fields)
	if compared < 150 {
		t.Errorf("only %d files were compared", compared)
	}
}

// sharedFiles lists the files under the folders of real files, which are not
// part of the repository.
func sharedFiles(t testing.TB, folders ...string) []string {
	t.Helper()
	if _, err := os.Stat(sharedDir); err != nil {
		t.Skip("the folder of shared real files is not there")
	}
	var paths []string
	for _, folder := range folders {
		paths = append(paths, filesUnder(t, filepath.Join(sharedDir, folder))...)
	}
	return paths
}

// moduleImages lists the pictures that the module bep/imagemeta brings along.
func moduleImages(t testing.TB) []string {
	t.Helper()
	out, err := exec.CommandContext(t.Context(), "go", "list", "-m", "-f", "{{.Dir}}", "github.com/bep/imagemeta").Output()
	dir := strings.TrimSpace(string(out))
	if err != nil || dir == "" {
		t.Skip("the module github.com/bep/imagemeta is not downloaded")
	}
	return filesUnder(t, filepath.Join(dir, "testdata", "images"))
}

func filesUnder(t testing.TB, dir string) []string {
	t.Helper()
	var paths []string
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err == nil && d.Type().IsRegular() && d.Name() != "LICENSE" && d.Name() != ".keep" && filepath.Ext(path) != ".txt" {
			paths = append(paths, path)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return paths
}
