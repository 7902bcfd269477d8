package rules

import (
	"path/filepath"
	"testing"

	"prestrike/audit/audittest"
)

func TestSisterDiffersSays(t *testing.T) {
	says(t, sisterDiffers, "fault",
		"made with 1.6 s, where most of its 5 sisters have 0.8 s: inspect it; if this was not meant, set the camera back and shoot this sequence again")
}

// Single frames in place of sequences are found once for the row of them.
func TestSisterDiffersFindsSingles(t *testing.T) {
	text, err := audittest.ReadFile(filepath.Join(sessionFolder, "trade", "bracketing-switched-itself-off.txt"))
	if err != nil {
		t.Fatal(err)
	}
	found := findings(judge(t, text), sisterDiffers)
	if len(found) != 1 || found[0].Message != "2 single frames stand where sequences of 40 frames were due" {
		t.Errorf("found %d: %+v", len(found), found)
	}
}

func TestLeftOverSays(t *testing.T) {
	says(t, leftOver, "limit", "no sequence is below ISO 800: look whether that ISO is left over from before; if so, set it down")
	measured(t, leftOver, "limit", 800, 800, 0, "")
}
