package rules

import (
	"path/filepath"
	"strings"
	"testing"

	"prestrike/audit"
	"prestrike/audit/audittest"
)

func TestSisterDiffersSays(t *testing.T) {
	says(t, sisterDiffers, "fault",
		"it has 1.6 s, where most of the 5 other sequences have 0.8 s: inspect it; if this was not meant, set the camera back and shoot the sequence again")
}

// Single frames in place of sequences are found once for the row of them.
func TestSisterDiffersFindsSingles(t *testing.T) {
	text, err := audittest.ReadFile(filepath.Join(sessionFolder, "trade", "bracketing-switched-itself-off.txt"))
	if err != nil {
		t.Fatal(err)
	}
	found := findings(judge(t, text), sisterDiffers)
	if len(found) != 1 || found[0].Message != "there are 2 single frames where sequences of 40 frames were due" || found[0].Severity != audit.Check {
		t.Errorf("found %d: %+v", len(found), found)
	}
}

// Sequences whose frames are counted by hand have no one number: single frames between
// them may be meant, and ask for no more than an inspection.
func TestSisterDiffersFindsSinglesBetweenUnequals(t *testing.T) {
	text, err := audittest.Read(strings.NewReader(`DCIM/100BXCAM/BX1_0001..0037.NEF every 10s jitter 9% time=2026-03-04T10:18:04.12+01:00 t=1/160 f=4 iso=100 mm=90 serial=4711 lens="Borealis 90 mm macro" wb=manual program=manual mode=manual
DCIM/100BXCAM/BX1_0038.NEF after 90s
DCIM/100BXCAM/BX1_0039.NEF after 98s
DCIM/100BXCAM/BX1_0040..0093.NEF after 92s every 10s jitter 9%
DCIM/100BXCAM/BX1_0094..0106.NEF after 89s every 10s jitter 9%
`))
	if err != nil {
		t.Fatal(err)
	}
	found := findings(judge(t, text), sisterDiffers)
	if len(found) != 1 || found[0].Severity != audit.Note || found[0].Message != "there are 2 single frames where the sequences around have 37 and 54 frames" {
		t.Errorf("found %d: %+v", len(found), found)
	}
}

func TestLeftOverSays(t *testing.T) {
	says(t, leftOver, "limit", "no sequence is below ISO 800: check whether that ISO is left over from before; if so, lower it")
	measured(t, leftOver, "limit", 800, 800, 0, "")
}

// Single frames before the first sequence of their own lens must not end the comparison:
// nothing stands before a session's first sequence.
func TestSisterDiffersBeforeTheFirstSequence(t *testing.T) {
	text, err := audittest.Read(strings.NewReader(`DCIM/100BXCAM/BX1_0001..0030.NEF every 1.3s time=2026-03-04T10:11:12.34+01:00 t=0.8 f=8 iso=100 mm=60 serial=4711 lens="Borealis 60 mm macro" wb=manual program=manual mode=manual
DCIM/100BXCAM/BX1_0031.NEF after 71s mm=90 lens="Borealis 90 mm macro"
DCIM/100BXCAM/BX1_0032.NEF after 91s
DCIM/100BXCAM/BX1_0033..0062.NEF after 83s
DCIM/100BXCAM/BX1_0063..0092.NEF after 72s
DCIM/100BXCAM/BX1_0093..0122.NEF after 73s
`))
	if err != nil {
		t.Fatal(err)
	}
	if found := findings(judge(t, text), sisterDiffers); len(found) != 0 {
		t.Errorf("found %d: %+v", len(found), found)
	}
}
