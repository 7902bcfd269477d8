package rules

import (
	"image"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"prestrike/audit"
	"prestrike/audit/audittest"
	"prestrike/audit/pictures"
	"prestrike/audit/pictures/picturestest"
	"prestrike/audit/pixels/pixelstest"
	"prestrike/audit/shoot"
	"prestrike/exifread"
)

// lit is a picture of the scene at a brightness, where part of it has the given EV more light.
func lit(base *image.Gray, ev float64, more func(x, y int) float64) []byte {
	out := image.NewGray(base.Rect)
	for i, v := range base.Pix {
		light := math.Pow(float64(v)/255, 2.2) * math.Exp2(ev+more(i%base.Stride, i/base.Stride))
		out.Pix[i] = uint8(255*math.Pow(min(1, light), 1/2.2) + 0.5)
	}
	data, err := pixelstest.Encode(out, 90)
	if err != nil {
		panic(err)
	}
	return data
}

// TestBracketRangePictures holds the rule to what rendered brackets of three frames, 2 EV
// apart, show: a round part of the middle has more or less light than the rest.
func TestBracketRangePictures(t *testing.T) {
	base := picturestest.Scene().Shoot(pixelstest.Shot{Focus: 0.5, Noise: 1})
	const w, h = 576, 384
	disk := func(radius, ev float64) func(x, y int) float64 {
		return func(x, y int) float64 {
			if math.Hypot(float64(x)-w/2, float64(y)-h/2) < radius {
				return ev
			}
			return 0
		}
	}
	left := func(ev float64) func(x, y int) float64 {
		return func(x, _ int) float64 {
			if x < w/3 {
				return ev
			}
			return 0
		}
	}
	evs := []float64{-2, 0, 2}
	for _, c := range []struct {
		name string
		evs  []float64
		more func(x, y int) float64
		want string // the beginning of what is found; empty for nothing
	}{
		{"clean", evs, disk(0, 0), ""},
		// The disk is 5.1 % of the picture; compression brightens its edge where it is dark.
		{"fault: lights", evs, disk(60, 8), "note bracket-range: even the darkest frame, 0001, clips 5 % of the textured area to white: inspect it at 100 %"},
		{"fault: shadows", evs, disk(60, -16), "note bracket-range: even the brightest frame, 0003, leaves "},
		{"fault: the dark frame was left out", []float64{0, 2, 4}, disk(60, 3), "note bracket-range: even the darkest frame, 0001, clips "},
		{"the dark frame reaches the lights", evs, disk(60, 3), ""},
		// 0.7 and 1.5 % of the picture.
		{"limit: not quite 1 %", evs, disk(22, 8), ""},
		{"limit: a little more", evs, disk(32, 8), "note bracket-range: even the darkest frame, 0001, clips 1 % of"},
		{"a white background", evs, left(7), ""},
		{"a black background", evs, left(-14), ""},
	} {
		exposures := picturestest.Camera{Every: time.Second, Change: func(i int, m *exifread.Metadata) {
			m.ExposureTime = exifread.Of(exifread.Rational{Num: int64(1000 * math.Exp2(c.evs[i])), Den: 10_000})
		}}
		folder := exposures.Write(t, len(c.evs), func(i int) []byte { return lit(base, c.evs[i], c.more) })
		result := lookAt(t, &pictures.Measurer{}, folder)
		q := result.Sessions[0].Sequences[0]
		if q.Kind != shoot.Bracket {
			t.Fatalf("%s: kind %v", c.name, q.Kind)
		}
		got := slices.DeleteFunc(audittest.Told(result), func(s string) bool { return !strings.Contains(s, "bracket-range") })
		if c.want == "" && len(got) > 0 || c.want != "" && (len(got) != 1 || !strings.HasPrefix(got[0], c.want)) {
			t.Errorf("%s: found %q, want %q", c.name, got, c.want)
		}
		if slices.ContainsFunc(q.NotJudged, func(n audit.NotJudged) bool { return n.Rule == bracketRange.ID }) {
			t.Errorf("%s: not judged: %+v", c.name, q.NotJudged)
		}
	}
}

// TestBracketRangeMissing holds that a bracket whose pictures do not decide is not judged, with
// the reason.
func TestBracketRangeMissing(t *testing.T) {
	plain := image.NewGray(image.Rect(0, 0, 576, 384))
	base := picturestest.Scene().Shoot(pixelstest.Shot{Focus: 0.5, Noise: 1})
	none := func(int, int) float64 { return 0 }
	for _, c := range []struct {
		name    string
		picture func(i int) []byte
		want    string
	}{
		{"no texture", func(i int) []byte {
			for k := range plain.Pix {
				plain.Pix[k] = uint8(60 * (i + 1))
			}
			return lit(plain, 0, none)
		}, "too little texture, or too much noise"},
		{"damaged", func(i int) []byte {
			picture := lit(base, float64(2*i-2), none)
			clear(picture[len(picture)/3 : len(picture)-2])
			return picture
		}, "the picture is damaged"},
	} {
		exposures := picturestest.Camera{Every: time.Second, Change: func(i int, m *exifread.Metadata) {
			m.ExposureTime = exifread.Of(exifread.Rational{Num: 1 << (2 * i), Den: 100})
		}}
		result := lookAt(t, &pictures.Measurer{}, exposures.Write(t, 3, c.picture))
		q := result.Sessions[0].Sequences[0]
		if q.Kind != shoot.Bracket {
			t.Fatalf("%s: kind %v", c.name, q.Kind)
		}
		if !slices.ContainsFunc(q.NotJudged, func(n audit.NotJudged) bool { return n.Rule == bracketRange.ID && strings.Contains(n.Reason, c.want) }) {
			t.Errorf("%s: not judged are %+v, want %q", c.name, q.NotJudged, c.want)
		}
	}
}
