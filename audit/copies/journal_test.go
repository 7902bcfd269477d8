package copies

import (
	"os"
	"path/filepath"
	"testing"
	"time"
)

// TestJournalLeavesWhatItIsLinkedTo holds that a link in place of the journal, of
// either kind, does not have the file emptied that it leads to.
func TestJournalLeavesWhatItIsLinkedTo(t *testing.T) {
	for name, link := range map[string]func(from, to string) error{"symbolic": os.Symlink, "hard": os.Link} {
		folder := t.TempDir()
		original, journal := filepath.Join(folder, "BX1_0001.JPG"), filepath.Join(folder, "x.journal")
		if err := os.WriteFile(original, []byte("picture"), 0o666); err != nil {
			t.Fatal(err)
		}
		if err := link(original, journal); err != nil {
			t.Skip(err)
		}
		j := openJournal(journal, nil, time.Now())
		if j == nil {
			t.Fatalf("%s link: no journal", name)
		}
		j.f.Close()
		if text, err := os.ReadFile(original); err != nil || string(text) != "picture" {
			t.Errorf("%s link: the original holds %q, %v", name, text, err)
		}
	}
}
