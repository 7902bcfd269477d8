package shoot_test

import (
	"strings"
	"testing"

	"prestrike/audit/audittest"
	"prestrike/audit/shoot"
)

// A planned count distinguishes the parts of a run from two runs, and shows where a lost file belongs.
func TestPlannedCountsTellRuns(t *testing.T) {
	const first = "DCIM/100BXCAM/BX1_0001..0025.NEF every 1.3s time=2026-03-04T09:12:40.12+01:00 t=0.8 f=8 iso=100 mm=90 serial=4711 program=manual mode=manual\n"
	for _, tt := range []struct {
		what, text string
		planned    int
		want       []int // frames of each sequence, without pictures
	}{
		{"two parts", first + "DCIM/100BXCAM/BX1_0026..0040.NEF after 10.4s", 40, []int{40}},
		{"two runs", first + "DCIM/100BXCAM/BX1_0026..0040.NEF after 3.9s", 25, []int{25, 15}},
		{"a lost file ends the first", first + "DCIM/100BXCAM/BX1_0026.NEF unreadable=\"the file is empty\"\n" + "DCIM/100BXCAM/BX1_0027..0052.NEF after 90s", 26, []int{26, 26}},
		{"nothing said", first + "DCIM/100BXCAM/BX1_0026..0040.NEF after 10.4s", 0, []int{25, 15}},
	} {
		text, err := audittest.Read(strings.NewReader(tt.text))
		if err != nil {
			t.Fatal(err)
		}
		var have []int
		for _, q := range shoot.Sessions(shoot.Runs(text.Files, tt.planned), nil, &shoot.Options{})[0].Sequences {
			have = append(have, len(q.Frames))
		}
		if len(have) != len(tt.want) || have[0] != tt.want[0] || have[len(have)-1] != tt.want[len(tt.want)-1] {
			t.Errorf("%s: sequences of %v frames, want %v", tt.what, have, tt.want)
		}
	}
}
