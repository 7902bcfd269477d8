package watch

import (
	"os"
	"path/filepath"
	"slices"
	"testing"

	"golang.org/x/sys/unix"
)

// mount puts a file system in memory on dir, as a card reader puts a card.
func mount(t *testing.T, dir string) {
	t.Helper()
	if err := unix.Mount("none", dir, "tmpfs", 0, "size=1m"); err != nil {
		t.Skipf("mounting needs a privilege that this test has not: %v", err)
	}
	t.Cleanup(func() { _ = unix.Unmount(dir, unix.MNT_DETACH) })
}

func unmount(t *testing.T, dir string) {
	t.Helper()
	must(t, unix.Unmount(dir, unix.MNT_DETACH))
}

// The folder a card is mounted on stays when the card goes, empty: its frames
// are not deleted.
func TestCardUnmounted(t *testing.T) {
	for _, place := range []string{"", "reader/card"} {
		for _, kept := range []bool{true, false} {
			name := "watched folder"
			if place != "" {
				name = "folder in it"
			}
			if !kept {
				name += ", removed after"
			}
			t.Run(name, func(t *testing.T) {
				waysToWatch(t, func(t *testing.T, opts Options) {
					dir := t.TempDir()
					card := filepath.Join(dir, filepath.FromSlash(place))
					prefix := ""
					if place != "" {
						prefix = place + "/"
					}
					must(t, os.MkdirAll(card, 0o755))
					mount(t, card)
					write(t, 10, card, "DCIM", "1.NEF")
					r := follow(t, dir, opts, nil)
					want := map[string]int{prefix + "DCIM/1.NEF": 10}
					r.wants("at the start", want)
					unmount(t, card)
					if !kept {
						must(t, os.Remove(card))
					}
					r.eventually("lost", r.remarked(FolderLost, place))
					r.steady()
					r.wants("nothing removed", want)

					must(t, os.MkdirAll(card, 0o755))
					mount(t, card)
					write(t, 20, card, "DCIM", "2.NEF")
					r.eventually("back", r.remarked(FolderBack, place))
					r.wants("another card", map[string]int{prefix + "DCIM/2.NEF": 20})
					write(t, 30, card, "DCIM", "3.NEF")
					r.wants("goes on", map[string]int{prefix + "DCIM/2.NEF": 20, prefix + "DCIM/3.NEF": 30})
					if got, want := r.history(prefix+"DCIM/1.NEF"), []Kind{Found, Removed}; !slices.Equal(got, want) {
						t.Errorf("frame of the first card: got %v, want %v", got, want)
					}
					r.done()
				})
			})
		}
	}
}

// A card mounted on a folder that is already watched makes no event.
func TestCardMounted(t *testing.T) {
	waysToWatch(t, func(t *testing.T, opts Options) {
		dir := t.TempDir()
		card := filepath.Join(dir, "card")
		must(t, os.Mkdir(card, 0o755))
		r := follow(t, dir, opts, nil)
		r.eventually("caught up", r.remarked(CaughtUp, ""))
		mount(t, card)
		write(t, 10, card, "DCIM", "1.NEF")
		r.wants("the card's", map[string]int{"card/DCIM/1.NEF": 10})
		write(t, 20, card, "DCIM", "2.NEF")
		r.wants("goes on", map[string]int{"card/DCIM/1.NEF": 10, "card/DCIM/2.NEF": 20})
		r.done()
	})
}
