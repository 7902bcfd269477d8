package rules

import (
	"path"
	"testing"

	"prestrike/audit"
	"prestrike/audit/audittest"
	"prestrike/exifread"
)

func TestUnreadableFile(t *testing.T) {
	says(t, unreadableFile, "fault",
		"BX1_0012.NEF, BX1_0013.NEF and BX1_0014.NEF cannot be read: empty file: copy what is damaged from the card again; if that does not help, shoot the sequence again",
		"BX1_0020.NEF cannot be read: filled with one byte: copy what is damaged from the card again; if that does not help, shoot the sequence again")
}

// A file at which the program failed is no reason to shoot again, and none to be
// silent.
func TestUnreadableByAFaultOfTheProgram(t *testing.T) {
	text, err := audittest.ReadFile("../testdata/sessions/unreadable-file/clean.txt")
	if err != nil {
		t.Fatal(err)
	}
	text.Files[3].Err = &exifread.PanicError{Cause: "index out of range", Place: "jpeg.go:100"}
	list := findings(judge(t, text), unreadableFile)
	const want = " cannot be read: the program failed here, please report it (index out of range at jpeg.go:100)"
	if len(list) != 1 || list[0].Severity != audit.Check || list[0].Message != path.Base(text.Files[3].Path)+want {
		t.Errorf("%d findings, want one check", len(list))
		for _, f := range list {
			t.Errorf("%v: %s", f.Severity, f.Message)
		}
	}
}
