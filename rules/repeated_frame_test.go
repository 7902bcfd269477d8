package rules

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"prestrike/audit"
	"prestrike/audit/audittest"
)

func TestRepeatedFrame(t *testing.T) {
	says(t, repeatedFrame, "fault",
		"3 frames are there twice, 0010 to 0012: the first is DCIM/100BXCAM/BX1_0010.NEF and DCIM/copy/BX1_0010.NEF: the first of each was inspected, and the bytes of the copies not compared: prestrike copies compares them. Check whether every card was copied")
	says(t, repeatedFrame, "torn",
		"the copy DCIM/copy/BX1_0012.NEF of frame 0012 is damaged; the frame itself is whole: copy these frames again before you rely on the copy",
		"3 frames are there twice, 0010 to 0012: the first is DCIM/100BXCAM/BX1_0010.NEF and DCIM/copy/BX1_0010.NEF: the first of each was inspected, and the bytes of the copies not compared: prestrike copies compares them. Check whether every card was copied")
}

// Of a card and a copy of it the report names which was inspected, and copies of another size.
func TestRepeatedFrameSizes(t *testing.T) {
	const card = "card/DCIM/100BXCAM/BX1_0001..0009.JPG every 40s time=2026-03-04T10:11:12.34+01:00 t=0.8 f=8 iso=100 mm=90 serial=4711 bytes=8123456\n"
	copyOf := func(first, last, bytes int) string {
		return fmt.Sprintf("copy/DCIM/100BXCAM/BX1_%04d..%04d.JPG every 40s time=%s t=0.8 f=8 iso=100 mm=90 serial=4711 bytes=%d\n", first, last,
			time.Date(2026, 3, 4, 10, 11, 12, 340e6, time.FixedZone("", 3600)).Add(time.Duration(first-1)*40*time.Second).Format("2006-01-02T15:04:05.00Z07:00"), bytes)
	}
	for name, c := range map[string]struct{ text, want string }{
		"of one size": {card + copyOf(1, 9, 8123456), "card and copy hold the same 9 frames: they count once"},
		"one other": {
			card + copyOf(1, 4, 8123456) + copyOf(5, 5, 8123455) + copyOf(6, 9, 8123456),
			"card and copy hold the same 9 frames: they count once; the copy copy/DCIM/100BXCAM/BX1_0005.JPG has another size",
		},
		"two others": {
			card + copyOf(1, 4, 8123456) + copyOf(5, 6, 1000) + copyOf(7, 9, 8123456),
			"card and copy hold the same 9 frames: they count once; 2 copies have another size, first copy/DCIM/100BXCAM/BX1_0005.JPG",
		},
	} {
		text, err := audittest.Read(strings.NewReader(c.text))
		if err != nil {
			t.Fatal(err)
		}
		const action = "those in card were inspected, and the bytes of the copies not compared: prestrike copies compares them. Check whether every card was copied"
		found := false
		session := judge(t, text).Sessions[0]
		all := slices.Clone(session.Findings)
		for _, q := range session.Sequences {
			all = append(all, q.Findings...)
		}
		for _, f := range all {
			found = found || f.Rule == repeatedFrame.ID && f.Message == c.want && f.Action == action
		}
		if !found {
			t.Errorf("%s: nothing says %q", name, c.want)
		}
	}
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
				if f.Rule == repeatedFrame.ID && f.Message == want && f.Action == "the copies are left out, and nothing is counted twice" && f.Shows == audit.ShowNothing {
					return
				}
			}
		}
	}
	t.Errorf("nothing says %q, without pictures", want)
}
