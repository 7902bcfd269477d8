package shoot_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"prestrike/audit/audittest"
	"prestrike/audit/shoot"
)

// Pictures that the camera merged are none of the frames; what is only like them is one.
func TestMerged(t *testing.T) {
	const (
		run = "DCIM/100BXCAM/BX1_0001..0012.NEF+JPG every 0.6s time=2026-03-04T09:12:40.12+01:00 t=1/15 f=8 iso=100 mm=90 program=manual mode=manual size=8256x5504"
		jpg = "DCIM/100BXCAM/BX1_0013.JPG"
		raw = "\nDCIM/100BXCAM/BX1_0014..0025.NEF+JPG every 0.6s after 50s size=8256x5504 composite=-"
	)
	phone := func(composite string) string {
		return "IMG_0001..0009.HEIC every 0.4s time=2026-03-04T09:12:40.123+01:00 t=1/100 f=1.7 iso=64 mm=6.8 size=4032x3024" + composite
	}
	for _, c := range []struct{ what, text, merged string }{
		{"says so", run + "\n" + jpg + " after 5s composite=3" + raw, "1.1 0013"},
		{"says so, in the time of the next frame", run + "\n" + jpg + " after 0.6s composite=3" + raw, "1.1 0013"},
		{"says that it is no composite", run + "\n" + jpg + " after 5s composite=1" + raw, ""},
		{"size of its own, without a raw file, late", run + "\n" + jpg + " after 5s size=7680x5120" + raw, "1.1 0013"},
		{"size of its own, without a raw file, at the cadence", run + "\n" + jpg + " after 0.6s size=7680x5120" + raw, ""},
		{"the raw file of the last frame is lost", run + "\n" + jpg + " after 0.6s" + raw, ""},
		{"one frame whose raw file is lost, after a pause", run + "\n" + jpg + " after 5s" + raw, ""},
		{
			"the same after each run",
			run + "\n" + jpg + " after 5s" + raw + "\nDCIM/100BXCAM/BX1_0026.JPG after 5s", "1.1 0013, 1.2 0026",
		},
		{"raw switched off for good", run + "\n" + jpg + " after 5s\nDCIM/100BXCAM/BX1_0014..0025.JPG every 0.6s after 50s", ""},
		{"torn", run + "\n" + jpg + ` after 5s composite=3 torn="the image data ends early"` + raw, ""},
		{"every picture of a phone", phone(" composite=3"), ""},
		{"an hour later", run + "\n" + jpg + " after 1h composite=3" + raw, ""},
	} {
		t.Run(c.what, func(t *testing.T) {
			text, err := audittest.Read(strings.NewReader(c.text))
			if err != nil {
				t.Fatal(err)
			}
			var got []string
			files := 0
			for _, session := range shoot.Group(text.Files, &shoot.Options{}) {
				for _, q := range session.Sequences {
					for _, f := range q.Merged {
						got = append(got, fmt.Sprintf("%s %s", q.ID, f.Label()))
					}
					for _, f := range slices.Concat(q.Frames, q.Merged) {
						files += len(f.Files)
					}
				}
			}
			if strings.Join(got, ", ") != c.merged {
				t.Errorf("merged %q, want %q", got, c.merged)
			}
			if files != len(text.Files) {
				t.Errorf("%d of %d files are in sequences", files, len(text.Files))
			}
		})
	}
}
