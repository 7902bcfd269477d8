package rules

import (
	"slices"
	"strings"
	"testing"
	"time"

	"prestrike/audit"
	"prestrike/audit/pictures"
	"prestrike/audit/pictures/picturestest"
	"prestrike/audit/pixels/pixelstest"
	"prestrike/exifread"
)

// TestClippedLightsPictures holds the rule to what rendered sequences of one session show:
// three of six frames each, of which the light on the last is changed.
func TestClippedLightsPictures(t *testing.T) {
	pixelstest.Long(t)
	scene := pixelstest.Scene{
		Seed: 31, Width: 480, Height: 320, Shape: pixelstest.Relief, Depth: 20, Contrast: 0.8, Highlights: 25, PSF: 0.6, Breathing: 0.02, Electrons: 10000, Quality: 85,
	}.Build()
	smooth := pixelstest.Scene{Seed: 32, Width: 480, Height: 320, Shape: pixelstest.Dome, Contrast: 0, PSF: 0.6, Electrons: 40000, Quality: 85}.Build()
	kept := map[pixelstest.Shot][]byte{}
	jpeg := func(s pixelstest.Shot) []byte {
		if kept[s] == nil {
			kept[s] = scene.JPEG(s)
		}
		return kept[s]
	}
	const each = 6
	shots := pixelstest.Run(3, each, 0.1, 0.9, 0.02)
	lit := func(ev, spot float64) []pixelstest.Shot {
		out := pixelstest.Brighten(shots, 0, each, ev)
		for i := range out {
			out[i].Cloud, out[i].CloudAt = -spot, 0.7
		}
		return out
	}
	plain := lit(0, 0)
	for _, c := range []struct {
		name    string
		views   [][]pixelstest.Shot
		isos    []uint32
		picture func(pixelstest.Shot) []byte
		want    bool   // the last is found
		not     string // a part of why it is not judged
	}{
		{"clean: small highlights", [][]pixelstest.Shot{plain, plain, plain}, nil, jpeg, false, ""},
		{"fault: a lamp beside the subject", [][]pixelstest.Shot{plain, plain, lit(0, 2.6)}, nil, jpeg, true, ""},
		{"fault: the flash gave too much light", [][]pixelstest.Shot{plain, plain, lit(2.2, 0)}, nil, jpeg, true, ""},
		{"fault: 1.6 EV too much light", [][]pixelstest.Shot{plain, plain, lit(1.6, 0)}, nil, jpeg, true, ""},
		{"fault: all but a little is white", [][]pixelstest.Shot{plain, plain, lit(4.2, 0)}, nil, jpeg, true, ""},
		{"fault: one of two others is clipped, too", [][]pixelstest.Shot{plain, lit(2.2, 0), lit(2.2, 0)}, nil, jpeg, true, ""},
		{"limit: highlights lose a little more", [][]pixelstest.Shot{plain, plain, lit(0.8, 0)}, nil, jpeg, false, ""},
		{"limit: all are clipped by as much", [][]pixelstest.Shot{lit(2.2, 0), lit(2.2, 0), lit(2.2, 0)}, nil, jpeg, false, ""},
		{"missing: no other sequence", [][]pixelstest.Shot{lit(2.2, 0)}, nil, jpeg, false, "too few other sequences"},
		{"limit: all but a little is white in all", [][]pixelstest.Shot{lit(4.2, 0), lit(4.2, 0), lit(4.2, 0)}, nil, jpeg, false, "differ too much to be compared"},
		{"missing: the others have other settings", [][]pixelstest.Shot{plain, plain, lit(2.2, 0)}, []uint32{100, 100, 400}, jpeg, false, "too few other sequences"},
		{"missing: nothing shows that it is one view", [][]pixelstest.Shot{lit(3, 0), lit(3, 0), lit(3, 0)}, nil, smooth.JPEG, false, "the view changes"},
		{"clean: alone and not clipped", [][]pixelstest.Shot{plain}, nil, jpeg, false, ""},
	} {
		all := slices.Concat(c.views...)
		camera := picturestest.Camera{
			Every: 1300 * time.Millisecond, NumbersRunOn: true,
			Skip: func(i int) int {
				if i > 0 && i%each == 0 {
					return 60
				}
				return 0
			},
			Change: func(i int, m *exifread.Metadata) {
				if c.isos != nil {
					m.Sensitivity = exifread.Of(c.isos[i/each])
				}
			},
		}
		result := lookAt(t, &pictures.Measurer{}, camera.Write(t, len(all), func(i int) []byte { return c.picture(all[i]) }))
		sequences := result.Sessions[0].Sequences
		if len(sequences) != len(c.views) {
			t.Fatalf("%s: %d sequences, want %d", c.name, len(sequences), len(c.views))
		}
		last := sequences[len(sequences)-1]
		i := slices.IndexFunc(last.Findings, func(f *audit.Finding) bool { return f.Rule == clippedLights.ID })
		switch {
		case i < 0 && c.want:
			t.Errorf("%s: nothing is found; not judged: %+v", c.name, last.NotJudged)
		case i >= 0 && !c.want:
			t.Errorf("%s: found %q", c.name, last.Findings[i].Message)
		case i >= 0:
			f := last.Findings[i]
			measured, _ := f.Measured.Get()
			limit, _ := f.Limit.Get()
			if f.Severity != audit.Note || measured <= limit || f.Region == (audit.Region{}) || len(f.Closest) != 1 || !strings.Contains(f.Message, "clipped to white (largest patch: ") {
				t.Errorf("%s: %+v", c.name, f)
			}
			if c.name == "fault: a lamp beside the subject" && f.Region.X1 < 0.6 {
				t.Errorf("%s: the place is %+v, the light at 0.7", c.name, f.Region)
			}
		}
		j := slices.IndexFunc(last.NotJudged, func(n audit.NotJudged) bool { return n.Rule == clippedLights.ID })
		if (j >= 0) != (c.not != "") || j >= 0 && !strings.Contains(last.NotJudged[j].Reason, c.not) {
			t.Errorf("%s: not judged are %+v, want %q", c.name, last.NotJudged, c.not)
		}
		if others := foundBefore(sequences); others != strings.HasPrefix(c.name, "fault: one of two") {
			t.Errorf("%s: found in another sequence is %v", c.name, others)
		}
	}
}

// foundBefore reports whether the rule found something in a sequence before the last.
func foundBefore(sequences []*audit.Reviewed) bool {
	return slices.ContainsFunc(sequences[:len(sequences)-1], func(q *audit.Reviewed) bool {
		return slices.ContainsFunc(q.Findings, func(f *audit.Finding) bool { return f.Rule == clippedLights.ID })
	})
}
