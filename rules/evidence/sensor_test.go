package evidence

import (
	"math"
	"strings"
	"testing"

	"prestrike/audit"
	"prestrike/audit/audittest"
	"prestrike/audit/shoot"
	"prestrike/rules/optics"
)

// sensorsOf returns width and pitch for each sequence of a session text, in mm and µm.
func sensorsOf(t *testing.T, text string) (widths, pitches []float64) {
	t.Helper()
	session, err := audittest.Read(strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	session.Options.Rules = []*audit.Rule{{ID: "sensor", Check: func(v *audit.Review) error {
		s := SensorOf(v)
		widths = append(widths, float64(s.Width/optics.Millimetre))
		pitches = append(pitches, float64(s.PitchOf(v.Sequence)/optics.Micrometre))
		return nil
	}}}
	if _, err := audit.Judge(t.Context(), &shoot.Collection{Files: session.Files}, &session.Options); err != nil {
		t.Fatal(err)
	}
	return widths, pitches
}

// Sensors are those of each lens, and of pictures that were made smaller only what the
// sensor itself shows. The diagonal of a sensor is 43.27 mm times the focal length over its
// 35 mm equivalent, by definition; a picture of 4:3 is 0.8 of it wide, one of 3:2 0.832.
func TestSensors(t *testing.T) {
	const (
		small   = "BX1_0001..0010.JPG every 1.3s time=2026-03-04T09:12:40.12+01:00 t=0.8 f=8 mm=90 mm35=90 serial=4711 size=2064x1376 plane=2293x2293"
		phone   = "IMG_0001..0005.JPG every 4s time=2026-03-04T09:12:40.12+01:00 body=P-1 mode=auto size=4032x3024 lens=back-6.8 mm=6.8 mm35=24 f=1.7 t=1/100"
		unknown = -1
	)
	for _, c := range []struct {
		what, text      string
		widths, pitches []float64
	}{
		{
			"two lenses of one phone", phone + "\nIMG_0006..0010.JPG every 4s after 60s lens=back-9 mm=9 mm35=77 f=2.8",
			[]float64{0.8 * 43.27 * 6.8 / 24, 0.8 * 43.27 * 9 / 77},
			[]float64{0.8 * 43.27 * 6.8 / 24 / 4.032, 0.8 * 43.27 * 9 / 77 / 4.032},
		},
		{
			"a lens that records nothing, beside one that does",
			"BX1_0001..0010.JPG every 1.3s time=2026-03-04T09:12:40.12+01:00 t=0.8 f=8 mm=90 mm35=90 lens=macro size=6000x4000\nBX1_0011..0020.JPG every 1.3s after 60s lens=bellows mm=- mm35=-",
			[]float64{36, 36},
			[]float64{6, 6},
		},
		{
			"a lens that records nothing, beside two that do not agree",
			phone + "\nIMG_0006..0010.JPG every 4s after 60s lens=back-9 mm=9 mm35=77 f=2.8\nIMG_0011..0015.JPG every 4s after 60s lens=other mm=- mm35=-",
			[]float64{0.8 * 43.27 * 6.8 / 24, 0.8 * 43.27 * 9 / 77, unknown},
			[]float64{0.8 * 43.27 * 6.8 / 24 / 4.032, 0.8 * 43.27 * 9 / 77 / 4.032, unknown},
		},
		{"small pictures with the focal plane of the sensor", small, []float64{36}, []float64{unknown}},
		{"the same, with the body declared", "# body BX-1 width=36 pixels=8256\n" + small, []float64{36}, []float64{36 / 8.256}},
		{
			"the same, with raw files of the body", "BX1_0101..0110.NEF every 1.3s time=2026-03-04T08:12:40.12+01:00 t=0.8 f=8 mm=90 mm35=90 serial=4711 size=8256x5504 plane=2293x2293\n" + small,
			[]float64{36, 36},
			[]float64{36 / 8.256, 36 / 8.256},
		},
		{
			"a smaller size that the body offers, whose tags are those of the picture",
			"BX1_0001..0010.JPG every 1.3s time=2026-03-04T09:12:40.12+01:00 t=0.8 f=8 mm=90 mm35=90 size=4128x2752 plane=1146x1146",
			[]float64{36},
			[]float64{36 / 4.128},
		},
	} {
		t.Run(c.what, func(t *testing.T) {
			widths, pitches := sensorsOf(t, c.text)
			for _, of := range []struct {
				what      string
				got, want []float64
			}{{"width", widths, c.widths}, {"pitch", pitches, c.pitches}} {
				if len(of.got) != len(of.want) {
					t.Fatalf("%d sequences, want %d", len(of.got), len(of.want))
				}
				for i, got := range of.got {
					if of.want[i] == unknown {
						if !math.IsNaN(got) {
							t.Errorf("sequence %d: %s %.3f, want none", i+1, of.what, got)
						}
					} else if math.Abs(got/of.want[i]-1) > 0.01 || math.IsNaN(got) {
						t.Errorf("sequence %d: %s %.3f, want %.3f", i+1, of.what, got, of.want[i])
					}
				}
			}
		})
	}
}
