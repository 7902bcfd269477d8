//go:build unix

package copies

import (
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// asNobody has the test go on as a user without rights where it is made by root, whom no
// permission stops.
func asNobody(t *testing.T) {
	t.Helper()
	if os.Geteuid() != 0 {
		return
	}
	const nobody = 65534
	if err := syscall.Seteuid(nobody); err != nil {
		t.Skip("this user may read everything, and cannot become another: ", err)
	}
	t.Cleanup(func() {
		if err := syscall.Seteuid(0); err != nil {
			t.Fatal(err) // what follows would fail for another reason
		}
	})
}

// What cannot be read is no copy, and what cannot be read of the card is in none.
func TestUnreadableFiles(t *testing.T) {
	for _, c := range []struct{ name, locked, want, problem string }{
		{"in the copy", "copy/DCIM/b.jpg", "DCIM/b.jpg cannot be read there: permission denied", ""},
		{"on the card", "card/DCIM/b.jpg", "DCIM/b.jpg cannot be read on the card: permission denied", ""},
		{"a folder of the copy", "copy/DCIM", "DCIM/a.jpg is not there", "copy/DCIM: the folder cannot be read: permission denied"},
		{"a folder of the card", "card/closed", "", "card/closed: the folder cannot be read: permission denied"},
	} {
		t.Run(c.name, func(t *testing.T) {
			// Nobody is to come that far: temporary folders of tests are the user's own.
			top, err := os.MkdirTemp("", "copies-")
			if err != nil {
				t.Fatal(err)
			}
			t.Cleanup(func() { os.RemoveAll(top) })
			card := tree{"DCIM/a.jpg": "one", "DCIM/b.jpg": "two!", "top.jpg": "three", "closed/c.jpg": "four"}.write(t, top, "card")
			dir := tree{"DCIM/a.jpg": "one", "DCIM/b.jpg": "two!", "top.jpg": "three", "closed/c.jpg": "four"}.write(t, top, "copy")
			locked := filepath.Join(top, filepath.FromSlash(c.locked))
			if err := os.Chmod(top, 0o755); err != nil {
				t.Fatal(err)
			}
			if err := os.Chmod(locked, 0); err != nil {
				t.Fatal(err)
			}
			t.Cleanup(func() { os.Chmod(locked, 0o700) })
			asNobody(t)
			a, err := Compare(t.Context(), card, []string{dir}, &Options{})
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(c.want, strings.Join(said(a)[:min(1, len(said(a)))], "")); diff != "" {
				t.Errorf("(-want +got)\n%s", diff)
			}
			var problems []string
			for _, f := range []*Folder{a.Card, a.Copies[0].Folder} {
				for _, p := range f.Problems {
					problems = append(problems, strings.ReplaceAll(p.Error(), top+string(filepath.Separator), ""))
				}
			}
			if got := strings.Join(problems, "; "); got != c.problem {
				t.Errorf("problems %q, want %q", got, c.problem)
			}
		})
	}
}
