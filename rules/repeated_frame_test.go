package rules

import (
	"strings"
	"testing"

	"prestrike/audit/audittest"
)

func TestRepeatedFrame(t *testing.T) {
	says(t, repeatedFrame, "fault",
		"3 frames are there twice, 0010 to 0012: the first is DCIM/100BXCAM/BX1_0010.NEF and DCIM/copy/BX1_0010.NEF: the copies are left out; check whether every card was copied")
	says(t, repeatedFrame, "torn",
		"the copy DCIM/copy/BX1_0012.NEF of frame 0012 is damaged; the frame itself is whole: copy these frames again before you rely on the copy",
		"3 frames are there twice, 0010 to 0012: the first is DCIM/100BXCAM/BX1_0010.NEF and DCIM/copy/BX1_0010.NEF: the copies are left out; check whether every card was copied")
}

// A frame with two copies is one frame.
func TestRepeatedFrameThrice(t *testing.T) {
	text, err := audittest.Read(strings.NewReader(`BX1_0001..0009.JPG every 40s time=2026-03-04T10:11:12.34+01:00 t=0.8 f=8 iso=100 mm=90 serial=4711
"BX1_0004 copy.JPG" copyof=BX1_0004.JPG
BX1_0004-2.JPG copyof=BX1_0004.JPG
`))
	if err != nil {
		t.Fatal(err)
	}
	const want = "frame 0004 is there three times: the first is BX1_0004.JPG and BX1_0004-2.JPG"
	for _, session := range judge(t, text).Sessions {
		for _, q := range session.Sequences {
			for _, f := range q.Findings {
				if f.Rule == repeatedFrame.ID && f.Message == want && f.Action == "the copies are left out, and nothing is counted twice" {
					return
				}
			}
		}
	}
	t.Errorf("nothing says %q", want)
}
