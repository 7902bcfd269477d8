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
	"prestrike/audit/shoot"
	"prestrike/exifread"
)

// TestDustPictures holds the rule to what rendered sequences of one session show: four views
// of seven frames each.
func TestDustPictures(t *testing.T) {
	pixelstest.Long(t)
	const each, grains, textured = 7, 15104, 1
	var shots []pixelstest.Shot
	scene := func(seed, dust uint64) *pixelstest.Built {
		d := pixelstest.Random(seed)
		d.Width, d.Height, d.Plain, d.Contrast, d.Dust = 800, 533, 0.8, 0.5, dust
		d.Shape = [...]pixelstest.Shape{pixelstest.Plane, pixelstest.Dome, pixelstest.Relief}[seed%3]
		d.Table, d.Background, d.Electrons = seed%4 == 1, seed%4 == 3, 40000
		if dust == textured {
			d.Plain, d.Contrast, d.Dust, d.Shape = 0, 1, grains, pixelstest.Relief
		}
		if shots == nil {
			all := d.Shots()
			for i := range each {
				shots = append(shots, all[i*(len(all)-1)/(each-1)])
			}
		}
		return d.Build()
	}
	var dirty, clean []*pixelstest.Built
	for seed := uint64(15125); seed <= 15131; seed += 2 {
		dirty, clean = append(dirty, scene(seed, grains)), append(clean, scene(seed, 0))
	}
	standing := []*pixelstest.Built{dirty[0], dirty[0], dirty[0]}
	hidden := []*pixelstest.Built{scene(15126, textured), scene(15130, textured)}
	const found = "on the sensor"
	for _, c := range []struct {
		name      string
		views     []*pixelstest.Built
		fNumber   int64
		magnified float64 // as declared; 0 is not known
		blind     bool    // the pictures are not inspected
		want, not string  // parts of what is found, and of why it is not judged
	}{
		{"clean", clean, 16, 0, false, "", ""},
		{"fault: dust", dirty, 16, 0, false, found, ""},
		{"fault: f/8 at 1:1", dirty, 8, 1, false, found, ""},
		{"limit: f/11", dirty, 11, 0, false, found, ""},
		{"limit: f/10", dirty, 10, 0, false, "", ""},
		{"limit: two views", dirty[2:], 16, 0, false, found, ""},
		{"limit: one view", dirty[2:3], 16, 0, false, "", ""},
		{"limit: f/5 at 2:1 is below what is inspected", dirty, 5, 2, false, "", ""},
		{"missing: nothing but texture", hidden, 16, 0, false, "", ""},
		{"missing: the camera stands before one backdrop", standing, 16, 0, false, "", "do not show that the camera or the backdrop moved"},
		{"missing: the pictures are not inspected", dirty[2:], 16, 0, true, "", "the pictures were not inspected"},
		{"missing: those of one view are not inspected", dirty[2:3], 16, 0, true, "", ""},
		{"missing: wide open, not inspected either", dirty[2:], 5, 2, true, "", ""},
	} {
		camera := picturestest.Camera{
			Every: 1300 * time.Millisecond, NumbersRunOn: true,
			Skip: func(i int) int {
				if i > 0 && i%each == 0 {
					return 60
				}
				return 0
			},
			Change: func(_ int, m *exifread.Metadata) {
				m.FNumber = exifread.Of(exifread.Rational{Num: c.fNumber, Den: 1})
			},
		}
		folder := camera.Write(t, each*len(c.views), func(i int) []byte {
			s := shots[i%each]
			s.Noise += uint64(1000 * (i / each)) // another exposure, where the scene is the same
			return c.views[i/each].JPEG(s)
		})
		session := lookAtMagnified(t, folder, c.magnified, c.blind).Sessions[0]
		if len(session.Sequences) != len(c.views) {
			t.Fatalf("%s: %d sequences, want %d", c.name, len(session.Sequences), len(c.views))
		}
		i := slices.IndexFunc(session.Findings, func(f *audit.Finding) bool { return f.Rule == dust.ID })
		switch {
		case i < 0 && c.want != "":
			t.Errorf("%s: nothing is found; not judged: %+v", c.name, session.NotJudged)
		case i >= 0 && c.want == "":
			t.Errorf("%s: found %q", c.name, session.Findings[i].Message)
		case i >= 0:
			f := session.Findings[i]
			near := func(g pixelstest.Grain) bool {
				x, y := g.X, g.Y*800/533
				return x > f.Region.X0 && x < f.Region.X1 && y > f.Region.Y0 && y < f.Region.Y1
			}
			if f.Severity != audit.Note || len(f.Frames) < 2 || len(f.Closest) != 1 || !strings.Contains(f.Message, c.want) || !slices.ContainsFunc(pixelstest.Grains(grains, 533.0/800), near) {
				t.Errorf("%s: %+v", c.name, f)
			}
		}
		j := slices.IndexFunc(session.NotJudged, func(n audit.NotJudged) bool { return n.Rule == dust.ID })
		if (j >= 0) != (c.not != "") || j >= 0 && !strings.Contains(session.NotJudged[j].Reason, c.not) {
			t.Errorf("%s: not judged are %+v, want %q", c.name, session.NotJudged, c.not)
		}
	}
}

// lookAtMagnified is lookAt with a declared magnification, and without the pictures where blind.
func lookAtMagnified(t *testing.T, folder string, m float64, blind bool) *audit.Result {
	t.Helper()
	c, err := shoot.Collect(t.Context(), []string{folder}, nil)
	if err != nil {
		t.Fatal(err)
	}
	opt := audit.Options{Rules: All(), Magnification: m}
	if !blind {
		opt.Measure = (&pictures.Measurer{Memo: &memo}).Measure
	}
	result, err := audit.Judge(t.Context(), c, &opt)
	if err != nil {
		t.Fatal(err)
	}
	return result
}
