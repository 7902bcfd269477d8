package rules

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"prestrike/audit"
	"prestrike/audit/audittest"
	"prestrike/audit/pictures"
	"prestrike/audit/pictures/picturestest"
	"prestrike/audit/pixels"
	"prestrike/audit/pixels/pixelstest"
	"prestrike/audit/shoot"
	"prestrike/exifread"
)

// aboutPictures leaves out what is reported of the settings.
func aboutPictures(lines []string) []string {
	return slices.DeleteFunc(lines, func(s string) bool { return strings.HasPrefix(s, "note auto") || strings.HasPrefix(s, "note shutter") })
}

// questions are the questions to the pictures that a rule asks, of which each must be
// answered for the rule to be silent.
var questions = map[*audit.Rule]func(j *pixels.Judgement) []pixels.Verdict{
	nearEdge:        func(j *pixels.Judgement) []pixels.Verdict { return []pixels.Verdict{j.First.Verdict} },
	farEdge:         func(j *pixels.Judgement) []pixels.Verdict { return []pixels.Verdict{j.Last.Verdict} },
	moved:           func(j *pixels.Judgement) []pixels.Verdict { return []pixels.Verdict{j.Moved.Verdict} },
	subjectMoved:    func(j *pixels.Judgement) []pixels.Verdict { return []pixels.Verdict{j.Subject.Verdict} },
	darkFrame:       func(j *pixels.Judgement) []pixels.Verdict { return []pixels.Verdict{j.Dark.Verdict} },
	brightnessDrift: func(j *pixels.Judgement) []pixels.Verdict { return []pixels.Verdict{j.Brightness.Verdict} },
	banding:         func(j *pixels.Judgement) []pixels.Verdict { return []pixels.Verdict{j.Bands.Verdict} },
	softFrame:       func(j *pixels.Judgement) []pixels.Verdict { return []pixels.Verdict{j.Soft.Verdict} },
	focusGap:        func(j *pixels.Judgement) []pixels.Verdict { return []pixels.Verdict{j.Step.Verdict, j.Jumps.Verdict} },
	focusStall:      func(j *pixels.Judgement) []pixels.Verdict { return []pixels.Verdict{j.Stalls.Verdict} },
	focusTurn:       func(j *pixels.Judgement) []pixels.Verdict { return []pixels.Verdict{j.Order.Verdict} },
}

// TestPicturesAnswerEachRule counts what each rule that inspects pictures reports of each
// run: found, not judged with a reason, or nothing, which means fine. It may report nothing
// only where the pictures answer all it asks.
func TestPicturesAnswerEachRule(t *testing.T) {
	pixelstest.Long(t)
	faint := pixelstest.Scene{
		Seed: 6, Width: 480, Height: 320, Shape: pixelstest.Relief, Depth: 24, Contrast: 1, PSF: 0.6, Breathing: 0.0003, Electrons: 40000, Quality: 90,
	}.Build()
	smooth := pixelstest.Scene{
		Seed: 7, Width: 480, Height: 320, Shape: pixelstest.Dome, Depth: 24, Contrast: 0.05, PSF: 0.6, Breathing: 0.02, Electrons: 1250, Quality: 90,
	}.Build()
	of := func(b *pixelstest.Built, shots []pixelstest.Shot) func(i int) []byte {
		return func(i int) []byte { return b.JPEG(shots[i]) }
	}
	clean := pixelstest.Run(3, 20, -0.12, 1.12, 0.04)
	row := func(i int) []byte {
		d := pixelstest.Random(uint64(200 + 2*i))
		d.Width, d.Height = 288, 192
		return d.Build().JPEG(pixelstest.Shot{Focus: 0.5, Noise: uint64(i + 1)})
	}
	counts := map[string]map[string]int{}
	runs := 0
	for name, c := range map[string]struct {
		frames  int
		picture func(i int) []byte
	}{
		"focus":                    {20, of(picturestest.Scene(), clean)},
		"focus without breathing":  {20, of(faint, clean)},
		"a frame missing":          {19, of(picturestest.Scene(), pixelstest.Missing(clean, 9, 1))},
		"missing, no breathing":    {19, of(faint, pixelstest.Missing(clean, 9, 1))},
		"no texture":               {12, of(smooth, clean)},
		"standing":                 {12, of(picturestest.Scene(), pixelstest.Run(4, 12, 0.4, 0.4, 0))},
		"one thing after another":  {8, row},
		"six frames":               {6, of(picturestest.Scene(), clean[5:])},
		"five frames":              {5, of(picturestest.Scene(), clean[5:])},
		"four frames":              {4, of(picturestest.Scene(), clean[5:])},
		"four frames, stand still": {4, of(picturestest.Scene(), pixelstest.Run(4, 12, 0.4, 0.4, 0))},
	} {
		result := lookAt(t, &pictures.Measurer{}, picturestest.Camera{Every: 1300 * time.Millisecond}.Write(t, c.frames, c.picture))
		q := result.Sessions[0].Sequences[0]
		j := q.Pictures.(*pixels.Seen).Judgement
		runs++
		if q.Kind != shoot.Focus && q.Kind != shoot.Series {
			t.Errorf("%s: kind %v", name, q.Kind)
		}
		for rule, asks := range questions {
			said := "fine"
			switch {
			case slices.ContainsFunc(q.Findings, func(f *audit.Finding) bool { return f.Rule == rule.ID }):
				said = "found"
			case slices.ContainsFunc(q.NotJudged, func(n audit.NotJudged) bool { return n.Rule == rule.ID && n.Reason != "" }):
				said = "not judged"
			}
			if counts[rule.ID] == nil {
				counts[rule.ID] = map[string]int{}
			}
			counts[rule.ID][said]++
			unknown := slices.ContainsFunc(asks(j), func(v pixels.Verdict) bool { return v.Answer == pixels.CannotTell })
			if said == "fine" && unknown {
				t.Errorf("%s: %s says nothing, where the pictures answer %v", name, rule.ID, asks(j))
			}
		}
	}
	for rule := range questions {
		n := counts[rule.ID]
		t.Logf("%s: %v", rule.ID, n)
		if n["found"]+n["fine"]+n["not judged"] != runs || n["fine"] == 0 || n["not judged"] == 0 {
			t.Errorf("%s: %v of %d runs; want some fine and some not judged", rule.ID, n, runs)
		}
	}
}

// TestPicturesOfAllJumps holds that each step that is too wide is named, and each
// beside a stop.
func TestPicturesOfAllJumps(t *testing.T) {
	run := pixelstest.Run(3, 40, -0.12, 1.12, 0.04)
	shots := pixelstest.Missing(pixelstest.Missing(pixelstest.Missing(run, 30, 1), 20, 1), 10, 1)
	got := audittest.Told(lookAt(t, &pictures.Measurer{}, picturestest.Camera{Every: 1300 * time.Millisecond}.Shoot(t, shots)))
	if len(got) != 1 || !strings.HasPrefix(got[0], "note focus-gap: focus moves about ") {
		t.Fatalf("found %q", got)
	}
	for _, between := range []string{"0010 and 0011", "0019 and 0020", "0028 and 0029"} {
		if !strings.Contains(got[0], between) {
			t.Errorf("nothing between %s in %q", between, got[0])
		}
	}
}

// TestPicturesOfFew holds that four frames of one view are a run, of which the light
// is judged, and that four of different things are single frames.
func TestPicturesOfFew(t *testing.T) {
	clean := picturestest.Covering()[8:12]
	camera := picturestest.Camera{Every: 1300 * time.Millisecond}
	for name, c := range map[string]struct {
		camera picturestest.Camera
		shots  []pixelstest.Shot
		kind   shoot.Kind
		want   []string
	}{
		"clean":            {camera, clean, shoot.Series, nil},
		"flash not ready":  {camera, pixelstest.Brighten(clean, 2, 1, -2), shoot.Series, []string{"check dark-frame: frame 0003 is about 2 EV darker"}},
		"black":            {camera, pixelstest.Brighten(clean, 1, 1, -14), shoot.Series, []string{"check dark-frame: frame 0002 is more than 6 EV darker"}},
		"a lamp more":      {camera, pixelstest.Brighten(clean, 2, 2, 0.4), shoot.Series, []string{"check brightness-drift: "}},
		"moved far":        {camera, pixelstest.Bump(clean, 2, 2, 260, 150), shoot.Single, nil},
		"settings changed": {timedAt(camera, 1, 4, 160), pixelstest.Brighten(clean, 1, 3, 1), shoot.Single, nil},
	} {
		result := lookAt(t, &pictures.Measurer{}, c.camera.Shoot(t, c.shots))
		q := result.Sessions[0].Sequences[0]
		got := aboutPictures(audittest.Told(result))
		ok := len(got) == len(c.want)
		for i := range min(len(got), len(c.want)) {
			ok = ok && strings.HasPrefix(got[i], c.want[i])
		}
		if !ok || q.Kind != c.kind {
			t.Errorf("%s: %v, found %q; want %v, %q", name, q.Kind, got, c.kind, c.want)
		}
		if judged := len(q.NotJudged) == 0; c.kind == shoot.Series && judged {
			t.Errorf("%s: all is judged in four frames", name)
		}
	}
	result := lookAt(t, &pictures.Measurer{}, camera.Write(t, 4, func(i int) []byte {
		d := pixelstest.Random(uint64(200 + 2*i))
		d.Width, d.Height = 288, 192
		return d.Build().JPEG(pixelstest.Shot{Focus: 0.5, Noise: uint64(i + 1)})
	}))
	if q := result.Sessions[0].Sequences[0]; q.Kind != shoot.Single || len(q.Findings) > 0 {
		t.Errorf("four things: %v, %v", q.Kind, audittest.Told(result))
	}
}

// TestPicturesOfDarkNearEnds holds that a black frame is a marker only at the very end
// of a run.
func TestPicturesOfDarkNearEnds(t *testing.T) {
	clean := picturestest.Covering()
	n := len(clean)
	for at, want := range map[int]bool{0: false, 1: true, n - 2: true, n - 1: false} {
		got := audittest.Told(lookAt(t, &pictures.Measurer{}, picturestest.Camera{Every: 1300 * time.Millisecond}.Shoot(t, pixelstest.Brighten(clean, at, 1, -14))))
		label := fmt.Sprintf("frame %04d is more than 6 EV darker", at+1)
		if found := len(got) == 1 && strings.Contains(got[0], "dark-frame: "+label); found != want || !want && len(got) > 0 {
			t.Errorf("frame %d of %d black: found %q", at+1, n, got)
		}
	}
}

// TestPicturesOfExposures holds that six exposures of one view are no focus sequence.
func TestPicturesOfExposures(t *testing.T) {
	shots := pixelstest.Run(4, 6, 0.4, 0.4, 0)
	for i := range shots {
		shots[i].EV = -float64(i)
	}
	camera := picturestest.Camera{Every: 4 * time.Second, Change: func(i int, m *exifread.Metadata) {
		m.ExposureTime = exifread.Of(exifread.Rational{Num: int64(math.Round(20000 / math.Exp2(float64(i)))), Den: 10000})
	}}
	q := lookAt(t, &pictures.Measurer{All: true}, camera.Shoot(t, shots)).Sessions[0].Sequences[0]
	if q.Kind == shoot.Focus {
		t.Errorf("six exposures are a focus sequence: %v", q.Findings)
	}
}

// TestPicturesOfLessThanAPixel holds that a jump of less than a pixel of the file is a
// note.
func TestPicturesOfLessThanAPixel(t *testing.T) {
	clean := picturestest.Covering()
	n := len(clean)
	for px, want := range map[float64]string{0.7: "note moved: ", 1.6: "check moved: "} {
		got := audittest.Told(lookAt(t, &pictures.Measurer{}, picturestest.Camera{Every: 1300 * time.Millisecond}.Shoot(t, pixelstest.Bump(clean, 11, n, px, 0))))
		if len(got) != 1 || !strings.HasPrefix(got[0], want) {
			t.Errorf("%v pixels: %q, want %q", px, got, want)
		}
	}
}
