//go:build unix

package slate_test

import (
	"flag"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"prestrike/audit/slate"
)

var pictures = flag.String("pictures", "", "search the pictures of this folder for slates, which show none; .ci/photographs makes such a folder")

// No slate of ours is read in many real pictures, whatever is on them. What is searched and
// how long it takes is printed for each folder in the one given.
func TestNoSlateInRealPictures(t *testing.T) {
	if *pictures == "" {
		t.Skip("no folder of pictures is given with -pictures: none are searched")
	}
	type row struct {
		pictures, pixels, suspected int
		cpu                         time.Duration
	}
	const least = 300 // px: an icon is smaller
	rows := map[string]*row{}
	all := &row{}
	eachPicture(*pictures, least, func(path string, m *gray) bool {
		name, _ := filepath.Rel(*pictures, path)
		name, _, _ = strings.Cut(filepath.ToSlash(name), "/")
		if rows[name] == nil {
			rows[name] = &row{}
		}
		before := cpuTime(t)
		got := slate.Read(m)
		took := cpuTime(t) - before
		for _, r := range []*row{rows[name], all} {
			r.pictures++
			r.pixels += m.Rect.Dx() * m.Rect.Dy()
			r.cpu += took
			if got.Unread {
				r.suspected++
			}
		}
		if got.Text != "" {
			t.Errorf("%s: read %q", path, got.Text)
		}
		if got.Unread {
			t.Logf("%s: a code is suspected", path)
		}
		return true
	})
	names := []string{}
	for name := range rows {
		names = append(names, name)
	}
	slices.Sort(names)
	rows["all"] = all
	for _, name := range append(names, "all") {
		r := rows[name]
		t.Logf("%-24s %5d pictures of %.2f megapixels, a code suspected in %d, %.1f ms of CPU each", name, r.pictures,
			float64(r.pixels)/1e6/float64(max(1, r.pictures)), r.suspected, float64(r.cpu.Microseconds())/1e3/float64(max(1, r.pictures)))
	}
	if all.pictures == 0 {
		t.Errorf("no picture is in %s", *pictures)
	}
}

// cpuTime is what the process has taken of the processors.
func cpuTime(t *testing.T) time.Duration {
	t.Helper()
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		t.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
