package shoot_test

import (
	"strings"
	"testing"

	"prestrike/audit/audittest"
	"prestrike/audit/shoot"
)

// What held the camera follows from all that is recorded, and the sequence states from what.
func TestSupport(t *testing.T) {
	const (
		fast   = "DCIM/100BXCAM/BX1_0001..0012.NEF every 0.125s jitter 2% time=2026-03-04T09:12:40.12+01:00 f=8 mm=90 mm35=90"
		byHand = " program=manual mode=manual"
		auto   = " program=aperture mode=auto"
		walk   = " dist=0.330..0.3322"
	)
	for _, c := range []struct {
		what, text string
		declared   shoot.Support
		want       string
	}{
		{"a quick run set by hand", fast + " t=1/640 iso=800" + byHand, shoot.SupportAuto, "series tripod: steady pace"},
		{"the same, declared", fast + " t=1/640 iso=800" + byHand, shoot.Handheld, "burst handheld: declared"},
		{"exposure by the camera", fast + " t=1/640 iso=800" + auto, shoot.SupportAuto, "burst handheld: quick frames"},
		{"ISO alone by the camera", fast + " t=1/640 iso=800 program=manual mode=auto", shoot.SupportAuto, "burst handheld: quick frames"},
		{"focus that walks in the hand", fast + " t=1/640 iso=800" + auto + walk, shoot.SupportAuto, "focus handheld: quick frames at short times, exposure automatic"},
		{"the same, declared to be on a tripod", fast + " t=1/640 iso=800" + auto + walk, shoot.Tripod, "focus tripod: declared"},
		{"the same at a time that no hand holds close up", fast + " t=1/125 iso=800" + auto + walk, shoot.SupportAuto, "focus tripod: steady pace"},
		{"the same set by hand", fast + " t=1/640 iso=800" + byHand + walk, shoot.SupportAuto, "focus tripod: steady pace"},
		{"turned, and ISO follows", fast + " t=1/60 iso=800,800,1000,1000,800,800" + byHand + "\nDCIM/100BXCAM/BX1_0013..0020.NEF orient=6", shoot.SupportAuto, "burst handheld: quick frames"},
		{"a stand that looks down does not know up from down", fast + " t=1/60 iso=800" + byHand + "\nDCIM/100BXCAM/BX1_0013..0020.NEF orient=6", shoot.SupportAuto, "series tripod: steady pace"},
		{"a second each", "DCIM/100BXCAM/BX1_0001..0012.NEF every 2.1s time=2026-03-04T09:12:40.12+01:00 t=1 f=8 iso=100" + byHand, shoot.SupportAuto, "series tripod: exposure time over 1/4 s"},
		{"one frame", "DCIM/100BXCAM/BX1_0001.NEF time=2026-03-04T09:12:40.12+01:00 t=1/60 f=8 iso=100" + byHand, shoot.SupportAuto, "single handheld: single frames"},
		{
			"the first frame of a burst at another ISO",
			"DCIM/100BXCAM/BX1_0001.NEF time=2026-03-04T09:12:40.12+01:00 t=1/640 f=8 mm=90 iso=800" + auto + "\nDCIM/100BXCAM/BX1_0002..0009.NEF after 0.3s every 0.3s iso=1000",
			shoot.SupportAuto, "burst handheld: quick frames",
		},
	} {
		t.Run(c.what, func(t *testing.T) {
			text, err := audittest.Read(strings.NewReader(c.text))
			if err != nil {
				t.Fatal(err)
			}
			var got []string
			for _, session := range shoot.Group(text.Files, &shoot.Options{Support: c.declared}) {
				for _, q := range session.Sequences {
					got = append(got, q.Kind.String()+" "+q.Support.String()+": "+q.SupportBy)
				}
			}
			if strings.Join(got, ", ") != c.want {
				t.Errorf("%q, want %q", got, c.want)
			}
		})
	}
}
