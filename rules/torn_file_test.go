package rules

import (
	"errors"
	"path/filepath"
	"testing"

	"prestrike/audit"
	"prestrike/audit/audittest"
	"prestrike/exifread"
)

func TestTornFile(t *testing.T) {
	says(t, tornFile, "fault",
		"BX1_0029.NEF and BX1_0030.NEF are not complete: the image data lies beyond the end of the file: copy what is damaged from the card again; if that does not help, shoot the sequence again")
	measured(t, tornFile, "limit", 0.45, 0.5, 0.001, "")
}

// A file that was still being written is named, and raises a check, however it reads.
func TestTornFileIsNotCompleteYet(t *testing.T) {
	text, err := audittest.ReadFile(filepath.Join(sessionFolder, "torn-file", "fault.txt"))
	if err != nil {
		t.Fatal(err)
	}
	n := len(text.Files)
	text.Files[n-1].Unfinished = true // torn
	text.Files[n-2].Unfinished = true // no picture at all
	text.Files[n-2].Err = errors.New("the file is empty")
	text.Files[n-3].Unfinished = true // cannot be decided
	text.Files[n-3].Meta.Integrity.State = exifread.IntegrityUnchecked
	result := judge(t, text)
	got := findings(result, tornFile)
	if len(got) != 1 || got[0].Severity != audit.Check || got[0].Message != "BX1_0028.NEF, BX1_0029.NEF and BX1_0030.NEF are not complete yet" {
		t.Errorf("found %v", got)
	}
	if got := findings(result, unreadableFile); len(got) > 0 {
		t.Errorf("found %v as well", got)
	}
	if result.Verdict != audit.VerdictCheck {
		t.Errorf("verdict %v, want check", result.Verdict)
	}
}
