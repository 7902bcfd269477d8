package shoot_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"prestrike/audit/audittest"
	"prestrike/audit/shoot"
)

// sequences lists the sequences of a session text: body, kind, frames.
func sequences(t *testing.T, text string) []string {
	t.Helper()
	session, err := audittest.Read(strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, s := range shoot.Group(session.Files, &session.Options.Options) {
		for _, q := range s.Sequences {
			line := fmt.Sprintf("%s %s %s", q.ID, q.Kind, q.Frames[0].Label())
			if n := len(q.Frames); n > 1 {
				line += fmt.Sprintf("-%s (%d)", q.Frames[n-1].Label(), n)
			}
			if q.Body.Serial != "" || q.Body.Index != 0 {
				line = fmt.Sprintf("%s%s/%d: %s", q.Body.Model, q.Body.Serial, q.Body.Index, line)
			}
			got = append(got, line)
		}
	}
	return got
}

func TestGroup(t *testing.T) {
	const manual = " t=1/60 f=8 iso=100 mm=90 program=manual mode=manual"
	tests := []struct {
		name, text string
		want       []string
	}{
		{
			"one focus run, told from a time-lapse by its jitter",
			"DCIM/100BXCAM/BX1_0001..0050.NEF every 2.6s jitter 8% time=2026-03-04T10:11:12.34+01:00" + manual,
			[]string{"1.1 series 0001-0050 (50)"},
		},
		{
			"subject distance walks",
			"DCIM/100BXCAM/BX1_0001..0030.NEF every 2.6s time=2026-03-04T10:11:12.34+01:00 dist=0.300..0.329" + manual,
			[]string{"1.1 focus 0001-0030 (30)"},
		},
		{
			"a time-lapse of an even interval, without sub-seconds",
			"DCIM/100BXCAM/BX1_0001..0120.JPG every 10s time=2026-03-04T10:11:12+01:00" + manual,
			[]string{"1.1 time-lapse 0001-0120 (120)"},
		},
		{
			"a timer that was stopped and started again loses its beat",
			"DCIM/100BXCAM/BX1_0001..0060.JPG every 30s time=2026-03-04T10:11:12.34+01:00" + manual + "\n" +
				"DCIM/100BXCAM/BX1_0061..0120.JPG after 193s",
			[]string{"1.1 time-lapse 0001-0060 (60)", "1.2 time-lapse 0061-0120 (60)"},
		},
		{
			"a timer that left out ticks keeps its beat",
			"DCIM/100BXCAM/BX1_0001..0060.JPG every 30s time=2026-03-04T10:11:12.34+01:00" + manual + "\n" +
				"DCIM/100BXCAM/BX1_0061..0120.JPG after 90s",
			[]string{"1.1 time-lapse 0001-0120 (120)"},
		},
		{
			"two frames missing stay inside their run",
			"DCIM/100BXCAM/BX1_0001..0019.NEF every 1.3s time=2026-03-04T10:11:12.34+01:00" + manual + "\n" +
				"DCIM/100BXCAM/BX1_0022..0050.NEF after 3.9s",
			[]string{"1.1 series 0001-0050 (48)"},
		},
		{
			"an aborted run and its retake",
			"DCIM/100BXCAM/BX1_0001..0017.NEF every 1.3s time=2026-03-04T10:11:12.34+01:00" + manual + "\n" +
				"DCIM/100BXCAM/BX1_0018..0067.NEF after 25s",
			[]string{"1.1 series 0001-0017 (17)", "1.2 series 0018-0067 (50)"},
		},
		{
			"ISO that changes at unbroken cadence is no boundary",
			"DCIM/100BXCAM/BX1_0001..0020.NEF every 1.3s time=2026-03-04T10:11:12.34+01:00" + manual + "\n" +
				"DCIM/100BXCAM/BX1_0021..0050.NEF iso=800",
			[]string{"1.1 series 0001-0050 (50)"},
		},
		{
			"a picture size that changes at unbroken cadence is no boundary",
			"DCIM/100BXCAM/BX1_0001..0020.NEF every 1.3s time=2026-03-04T10:11:12.34+01:00" + manual + "\n" +
				"DCIM/100BXCAM/BX1_0021..0050.NEF size=6192x4128",
			[]string{"1.1 series 0001-0050 (50)"},
		},
		{
			"three bracket cycles without a pause",
			"DCIM/100BXCAM/BX1_0001.NEF time=2026-03-04T10:11:12.34+01:00 mode=bracket t=1/60 f=8 iso=100 mm=90\n" +
				"DCIM/100BXCAM/BX1_0002.NEF after 0.4s t=1/125\nDCIM/100BXCAM/BX1_0003.NEF after 0.4s t=1/30\n" +
				"DCIM/100BXCAM/BX1_0004.NEF after 0.4s t=1/60\nDCIM/100BXCAM/BX1_0005.NEF after 0.4s t=1/125\nDCIM/100BXCAM/BX1_0006.NEF after 0.4s t=1/30\n" +
				"DCIM/100BXCAM/BX1_0007.NEF after 0.4s t=1/60\nDCIM/100BXCAM/BX1_0008.NEF after 0.4s t=1/125\nDCIM/100BXCAM/BX1_0009.NEF after 0.4s t=1/30",
			[]string{"1.1 bracket 0001-0003 (3)", "1.2 bracket 0004-0006 (3)", "1.3 bracket 0007-0009 (3)"},
		},
		{
			"a bracket set by hand",
			"DCIM/100BXCAM/BX1_0001.NEF time=2026-03-04T10:11:12.34+01:00 mode=manual t=1/15 f=8 iso=100 mm=90\n" +
				"DCIM/100BXCAM/BX1_0002.NEF after 4.1s t=1/30\nDCIM/100BXCAM/BX1_0003.NEF after 4.4s t=1/60\n" +
				"DCIM/100BXCAM/BX1_0004.NEF after 3.9s t=1/125\nDCIM/100BXCAM/BX1_0005.NEF after 4.2s t=1/250",
			[]string{"1.1 bracket 0001-0005 (5)"},
		},
		{
			"a test frame whose exposure fits a bracket by hand, with numbers left out between",
			"DCIM/100BXCAM/BX1_0001.NEF time=2026-03-04T10:11:12.34+01:00 t=1/60 f=8 iso=100 mm=90 program=manual mode=manual\n" +
				"DCIM/100BXCAM/BX1_0005..0011.NEF after 19.2s every 5.1s jitter 3% t=1/50,1/40,1/32,1/25,1/20,1/16,1/13 f=8 iso=100 mm=90 program=manual mode=manual",
			[]string{"1.1 single 0001", "1.2 bracket 0005-0011 (7)"},
		},
		{
			"a bracket by hand of which no frame is a test",
			"DCIM/100BXCAM/BX1_0001.NEF time=2026-03-04T10:11:12.34+01:00 t=1/60 f=8 iso=100 mm=90 program=manual mode=manual\n" +
				"DCIM/100BXCAM/BX1_0002..0008.NEF after 19.2s every 5.1s jitter 3% t=1/50,1/40,1/32,1/25,1/20,1/16,1/13 f=8 iso=100 mm=90 program=manual mode=manual",
			[]string{"1.1 bracket 0001-0008 (8)"},
		},
		{
			"a bracket set by hand at an uneven pace, in any order",
			"DCIM/100BXCAM/BX1_0001.NEF time=2026-03-04T10:11:12.34+01:00 mode=manual t=1/15 f=8 iso=100 mm=90\n" +
				"DCIM/100BXCAM/BX1_0002.NEF after 17s t=1/60\nDCIM/100BXCAM/BX1_0003.NEF after 4s t=1/125\n" +
				"DCIM/100BXCAM/BX1_0004.NEF after 9s t=1/8\nDCIM/100BXCAM/BX1_0005.NEF after 6s t=1/30\nDCIM/100BXCAM/BX1_0006.NEF after 60s t=1/250",
			[]string{"1.1 bracket 0001-0005 (5)", "1.2 single 0006"},
		},
		{
			"six positions with three exposures each, one of them lost",
			"DCIM/100BXCAM/BX1_0001..0006.NEF dead 0.4s time=2026-03-04T10:11:12.34+01:00 mode=manual t=1/60,1/15,1/4 f=8 iso=100 mm=90\n" +
				"DCIM/100BXCAM/BX1_0007..0008.NEF after 1s t=1/60,1/15\n" +
				"DCIM/100BXCAM/BX1_0010..0021.NEF after 1.8s t=1/60,1/15,1/4",
			[]string{"1.1 focus 0001-0021 (20)"},
		},
		{
			"numbers roll over into the next folder",
			"DCIM/100BXCAM/BX1_9990..9999.NEF every 1.3s time=2026-03-04T10:11:12.34+01:00" + manual + "\n" +
				"DCIM/101BXCAM/BX1_0001..0020.NEF",
			[]string{"1.1 series 9990-0020 (30)"},
		},
		{
			"numbers roll over within one second of a coarse clock",
			"DCIM/100BXCAM/BX1_9990..9999.NEF every 0.3s time=2026-03-04T10:11:12+01:00" + manual + "\n" +
				"DCIM/101BXCAM/BX1_0001..0020.NEF",
			[]string{"1.1 series 9990-0020 (30)"},
		},
		{
			"raw and JPEG are one frame, also on two cards",
			"one/DCIM/100BXCAM/BX1_0001..0010.NEF+JPG every 1.3s time=2026-03-04T10:11:12.34+01:00" + manual + "\n" +
				"two/DCIM/100BXCAM/BX1_0011..0020.NEF after 60s\n" +
				"three/DCIM/100BXCAM/BX1_0011..0020.JPG time=2026-03-04T10:12:24.04+01:00 every 1.3s\n",
			[]string{"1.1 series 0001-0010 (10)", "1.2 series 0011-0020 (10)"},
		},
		{
			"an unreadable frame stands where its number says, not missing",
			"DCIM/100BXCAM/BX1_0001..0019.JPG every 1.3s time=2026-03-04T10:11:12.34+01:00" + manual + "\n" +
				"DCIM/100BXCAM/BX1_0020.JPG unreadable=\"the file is empty\"\n" +
				"DCIM/100BXCAM/BX1_0021..0050.JPG after 2.6s",
			[]string{"1.1 series 0001-0050 (50)"},
		},
		{
			"an unreadable last frame that was written in time belongs to the run it ends",
			"DCIM/100BXCAM/BX1_0001..0019.JPG every 1.3s time=2026-03-04T10:11:12.34+01:00 modified=kept" + manual + "\n" +
				"DCIM/100BXCAM/BX1_0020.JPG unreadable=\"the file is empty\"",
			[]string{"1.1 series 0001-0020 (20)"},
		},
		{
			"an unreadable last frame of which nothing tells where it belongs stands alone",
			"DCIM/100BXCAM/BX1_0001..0019.JPG every 1.3s time=2026-03-04T10:11:12.34+01:00 modified=2026-03-04T18:00:00Z" + manual + "\n" +
				"DCIM/100BXCAM/BX1_0020.JPG unreadable=\"the file is empty\"",
			[]string{"1.1 series 0001-0019 (19)", "1.2 single 0020"},
		},
		{
			"two bodies with serial numbers, at the same time",
			"a/DCIM/100BXCAM/BX1_0001..0012.JPG every 1.3s time=2026-03-04T10:11:12.34+01:00 serial=301" + manual + "\n" +
				"b/DCIM/100BXCAM/BX1_0001..0012.JPG every 1.1s time=2026-03-04T10:11:13.04+01:00 serial=302",
			[]string{"BX-1301/0: 1.1 series 0001-0012 (12)", "BX-1302/0: 1.2 series 0001-0012 (12)"},
		},
		{
			"two bodies of one model without serial numbers, told apart by their numbers",
			"DCIM/100BXCAM/BX1_0101..0112.JPG every 1.3s time=2026-03-04T10:11:12.34+01:00" + manual + "\n" +
				"DCIM/100BXCAM/BX1_4001..4012.JPG every 1.1s time=2026-03-04T10:11:13.04+01:00",
			[]string{"BX-1/1: 1.1 series 0101-0112 (12)", "BX-1/2: 1.2 series 4001-4012 (12)"},
		},
		{
			"a number jump after a foreign card does not make a second body",
			"DCIM/100BXCAM/BX1_3101..3112.JPG every 1.3s time=2026-03-04T10:11:12.34+01:00" + manual + "\n" +
				"DCIM/100BXCAM/BX1_7589..7600.JPG after 90s",
			[]string{"1.1 series 3101-3112 (12)", "1.2 series 7589-7600 (12)"},
		},
		{
			"a new session after the gap",
			"DCIM/100BXCAM/BX1_0001..0012.JPG every 1.3s time=2026-03-04T10:11:12.34+01:00" + manual + "\n" +
				"DCIM/100BXCAM/BX1_0013..0024.JPG after 4h",
			[]string{"1.1 series 0001-0012 (12)", "2.1 series 0013-0024 (12)"},
		},
		{
			"renamed files count by their counting digits",
			"shoot/2026-03-04_ammonite_12_v2-001..040.JPG every 1.3s time=2026-03-04T10:11:12.34+01:00" + manual,
			[]string{"1.1 series 001-040 (40)"},
		},
		{
			"a handheld burst and single frames",
			"DCIM/100BXCAM/BX1_0001..0007.JPG every 0.15s time=2026-03-04T10:11:12.34+01:00 t=1/500 f=5.6 iso=400 mm=90 program=aperture mode=auto\n" +
				"DCIM/100BXCAM/BX1_0008.JPG after 31s\nDCIM/100BXCAM/BX1_0009.JPG after 47s iso=200\nDCIM/100BXCAM/BX1_0010.JPG after 12s",
			[]string{"1.1 burst 0001-0007 (7)", "1.2 single 0008", "1.3 single 0009", "1.4 single 0010"},
		},
		{
			"a clock set back an hour between runs of a body with a serial number",
			"DCIM/100BXCAM/BX1_0001..0012.JPG every 10s jitter 5% time=2026-03-04T10:11:12.34 serial=301" + manual + "\n" +
				"DCIM/100BXCAM/BX1_0013..0030.JPG time=2026-03-04T10:11:05.34 every 7s",
			[]string{"BX-1301/0: 1.1 series 0013-0030 (18)", "BX-1301/0: 1.2 series 0001-0012 (12)"},
		},
		{
			"frames without any time are kept",
			"scans/fossil-001..003.JPG noexif",
			[]string{"1.1 single 001-003 (3)"},
		},
		{
			"a clock set to another zone in between",
			"DCIM/100BXCAM/BX1_0001..0012.JPG every 1.3s time=2026-03-04T10:11:12.34+01:00" + manual + "\n" +
				"DCIM/100BXCAM/BX1_0013..0030.JPG every 1.3s time=2026-03-04T09:11:27.94+00:00",
			[]string{"1.1 series 0001-0030 (30)"},
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if diff := cmp.Diff(tt.want, sequences(t, tt.text)); diff != "" {
				t.Errorf("sequences (-want +got):\n%s", diff)
			}
		})
	}
}
