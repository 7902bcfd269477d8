package pixels_test

import (
	"fmt"
	"image"
	"image/jpeg"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"

	"prestrike/audit/pixels"
	"prestrike/audit/pixels/pixelstest"

	"golang.org/x/image/draw"
)

// A series is a real focus sequence.
type series struct {
	name    string
	files   []string
	offsets []float64 // µm from best focus, where the file names state them
}

var offsetInName = regexp.MustCompile(`_ix(\d+)_iy(\d+)_(-?[\d.]+)\.jpeg$`)

// realSeries finds the real series beside the module; the test is skipped
// where they are not.
func realSeries(t testing.TB) []series {
	t.Helper()
	root := filepath.Join("..", "..", "..", "shared", "data", "focus")
	if _, err := os.Stat(root); err != nil {
		t.Skipf("the real series are not beside the module: %v", err)
	}
	tiles, err := filepath.Glob(filepath.Join(root, "tiles", "*.jpeg"))
	if err != nil {
		t.Fatal(err)
	}
	type at struct {
		file   string
		offset float64
	}
	groups := map[string][]at{}
	for _, f := range tiles {
		m := offsetInName.FindStringSubmatch(f)
		if m == nil {
			continue
		}
		x, err := strconv.ParseFloat(m[3], 64)
		if err != nil {
			t.Fatal(err)
		}
		name := "tile " + m[2]
		groups[name] = append(groups[name], at{f, x})
	}
	var out []series
	for name, g := range groups {
		slices.SortFunc(g, func(a, b at) int {
			if a.offset < b.offset {
				return -1
			}
			return 1
		})
		s := series{name: name}
		for _, a := range g {
			s.files = append(s.files, a.file)
			s.offsets = append(s.offsets, a.offset)
		}
		out = append(out, s)
	}
	balls, err := filepath.Glob(filepath.Join(root, "balls", "*.jpg"))
	if err != nil {
		t.Fatal(err)
	}
	slices.Sort(balls)
	out = append(out, series{name: "balls", files: balls})
	slices.SortFunc(out, func(a, b series) int { return slices.Compare([]string{a.name}, []string{b.name}) })
	return out
}

// A realFrame is a picture of a real series, which several tests ask for.
type realFrame struct {
	picture image.Image
	grey    func() *image.Gray // its luma
	measure *pixels.FrameMeasure
}

var realFrames sync.Map // by file, made once

// realFrameOf decodes and measures a file.
func realFrameOf(t testing.TB, file string) realFrame {
	t.Helper()
	once, _ := realFrames.LoadOrStore(file, sync.OnceValues(func() (realFrame, error) {
		f, err := os.Open(file)
		if err != nil {
			return realFrame{}, err
		}
		defer f.Close()
		img, err := jpeg.Decode(f)
		if err != nil {
			return realFrame{}, fmt.Errorf("%s: %w", file, err)
		}
		m, err := pixels.Measure(img)
		return realFrame{img, sync.OnceValue(func() *image.Gray { return greyOf(img) }), m}, err
	}))
	r, err := once.(func() (realFrame, error))()
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// greyOf returns a picture's luma.
func greyOf(img image.Image) *image.Gray {
	b := img.Bounds()
	out := image.NewGray(image.Rect(0, 0, b.Dx(), b.Dy()))
	draw.Draw(out, out.Rect, img, b.Min, draw.Src)
	return out
}

// measures are those of all frames of the series.
func (r *series) measures(t testing.TB) (list []*pixels.FrameMeasure) {
	t.Helper()
	for _, f := range r.files {
		list = append(list, realFrameOf(t, f).measure)
	}
	return list
}

// greys are the lumas of all frames of the series.
func (r *series) greys(t testing.TB) (list []*image.Gray) {
	t.Helper()
	for _, f := range r.files {
		list = append(list, realFrameOf(t, f).grey())
	}
	return list
}

// judged measures a series.
func judged(t testing.TB, r series) (*pixels.Judgement, []float64) {
	t.Helper()
	var sharpness []float64
	list := r.measures(t)
	for _, m := range list {
		sharpness = append(sharpness, m.Sharpness)
	}
	return judgeAll(list), sharpness
}

// TestRealSharpest holds the focus measure to what others wrote into the file
// names: in each microscope tile, focus is best at the offset of 0 µm. The depth
// of the specimen lets neighbours within a few µm be as sharp.
func TestRealSharpest(t *testing.T) {
	t.Parallel()
	for _, r := range realSeries(t) {
		if r.offsets == nil {
			continue
		}
		_, sharpness := judged(t, r)
		best := slices.Max(sharpness)
		for i, offset := range r.offsets {
			switch {
			case offset == 0 && sharpness[i] < 0.95*best:
				t.Errorf("%s: sharpness %.0f at 0 µm, where the best is %.0f", r.name, sharpness[i], best)
			case (offset < -10 || offset > 12) && sharpness[i] > 0.6*best:
				t.Errorf("%s: sharpness %.0f at %.1f µm, where the best is %.0f", r.name, sharpness[i], offset, best)
			}
		}
	}
}

// TestRealSeries holds what is reported of the real series to what can be seen in
// them.
func TestRealSeries(t *testing.T) {
	pixelstest.Long(t)
	t.Parallel()
	for _, r := range realSeries(t) {
		j, _ := judged(t, r)
		t.Logf("%s\n%s", r.name, summary(j))
		// Nothing moved, went dark or changed its light in any of them.
		for name, v := range verdicts(j) {
			switch name {
			case "moved", "dark", "brightness", "soft", "order", "jump", "stall", "band":
				if v.Answer == pixels.Found {
					t.Errorf("%s: %s found", r.name, name)
				}
			}
		}
		switch r.name {
		case "balls":
			// Focus comes from far away to 0.1 m, the closest the lens goes:
			// the front of the near ball, in the left half, never gets sharp.
			if j.Walk.Answer != pixels.Found || j.Last.Answer != pixels.Found {
				t.Errorf("balls: walk %v, last end %v; want both found", j.Walk.Answer, j.Last.Answer)
			}
			if b := j.Last.Box; b.X0 > 0.1 || b.X1 > 0.62 {
				t.Errorf("balls: the last end is found at %v, %s; want the near ball, at the left", b, b.Words())
			}
			if j.First.Answer == pixels.Found && j.First.Share > 0.1 {
				t.Errorf("balls: %.0f %% found at the first end, which is at infinity", 100*j.First.Share)
			}
		default:
			// Specimens begin and end well inside.
			if j.First.Answer == pixels.Found || j.Last.Answer == pixels.Found {
				t.Errorf("%s: an end is found inside the specimen", r.name)
			}
		}
	}
}

// TestRealStep: the step of a real series is known better once some of its pictures are
// inspected again, and the same at three quarters of the size.
func TestRealStep(t *testing.T) {
	overManyScenes(t)
	measured := 0
	for _, r := range realSeries(t) {
		var steps []pixels.Step
		for _, share := range []float64{1, 0.75} {
			var pictures []image.Image
			var list []*pixels.FrameMeasure
			for _, f := range r.files {
				img := realFrameOf(t, f).picture
				if b := img.Bounds(); share < 1 {
					small := image.NewRGBA(image.Rect(0, 0, int(share*float64(b.Dx())), int(share*float64(b.Dy()))))
					draw.CatmullRom.Scale(small, small.Rect, img, b, draw.Src, nil)
					img = small
				}
				pictures = append(pictures, img)
				list = append(list, measure(t, img))
			}
			j := judgeAll(list)
			s, again := stepFrom(j, func(at int) image.Image { return pictures[at] })
			t.Logf("%s at %v: %v %q, %.2f px a frame (%.2f to %.2f), before %.2f", r.name, share, s.Answer, s.Reason, s.Blur/share, s.Low/share, s.High/share, j.Step.Blur/share)
			if again && s.Blur != j.Step.Blur {
				measured++
				steps = append(steps, pixels.Step{Blur: s.Blur / share, Low: s.Low / share, High: s.High / share})
			}
		}
		if len(steps) == 2 && math.Abs(math.Log(steps[0].Blur/steps[1].Blur)) > math.Log(1.3) {
			t.Errorf("%s: %+v at full size, %+v at three quarters", r.name, steps[0], steps[1])
		}
	}
	if measured < 2 {
		t.Errorf("%d were measured, want the balls at both sizes", measured)
	}
}

// altered returns a picture moved to the right by dx pixels and with its code values times
// gain.
func altered(img *image.Gray, dx int, gain float64) *image.Gray {
	out := image.NewGray(img.Rect)
	for y := range img.Rect.Dy() {
		from, to := img.Pix[y*img.Stride:][:img.Rect.Dx()], out.Pix[y*out.Stride:]
		for x := range from {
			to[x] = uint8(float64(from[min(max(x-dx, 0), len(from)-1)])*gain + 0.5)
		}
	}
	return out
}

// TestRealFaults puts faults into the real series. A dark frame and a doubled one
// must be found wherever they are; a jump of 2 px, and an end that holds more
// than a tenth of the sharpest tiles, wherever the pictures let them be decided.
func TestRealFaults(t *testing.T) {
	overManyScenes(t)
	ta := newTally()
	for _, r := range realSeries(t) {
		clean := r.measures(t)
		ta.realFrames(t, r.greys(t), clean)
		ta.realEnds(clean)
	}
	for name, c := range ta.rows {
		t.Logf("%s: %d runs, cannot tell %d, found %d", name, c.runs, c.cannot, c.found)
		if name[:4] == "dark" || name[:3] == "the" {
			if c.found != c.runs {
				t.Errorf("%s: %d of %d found", name, c.found, c.runs)
			}
		}
	}
}

// realMemo keeps the registrations of real series: each fault leaves most pairs as they are.
var realMemo pixels.Memo

func judgeAll(list []*pixels.FrameMeasure) *pixels.Judgement {
	var s pixels.Sequence
	s.UseMemo(&realMemo)
	for _, m := range list {
		s.Add(m)
	}
	return s.Judge(pixels.DefaultThresholds(), nil)
}

// realFrames puts faults of single frames into a real series.
func (ta *tally) realFrames(t *testing.T, pictures []*image.Gray, clean []*pixels.FrameMeasure) {
	n := len(clean)
	step := max(1, 2*max(pictures[0].Bounds().Dx(), pictures[0].Bounds().Dy())/1600)
	moved := make([]*pixels.FrameMeasure, n)
	for i, p := range pictures {
		moved[i] = measure(t, altered(p, step, 1))
	}
	every := 3
	if *seedCount > 1 { // the long run
		every = 1
	}
	for at := 0; at < n; at += every {
		dark := slices.Clone(clean)
		dark[at] = measure(t, altered(pictures[at], 0, 0.45)) // about 2 EV by the usual tone curve
		j := judgeAll(dark)
		ta.count("dark, about 2 EV", j.Dark.Answer, len(j.Dark.Events) == 1 && j.Dark.Events[0].Frame == at)
		j = judgeAll(slices.Insert(slices.Clone(clean), at, clean[at]))
		ta.count("the same file twice", j.Stalls.Answer, slices.ContainsFunc(j.Stalls.Events, func(e pixels.Stall) bool { return e.Identical && e.From == at }))
		if at >= 2 && at < n-2 {
			j = judgeAll(slices.Concat(clean[:at], moved[at:]))
			ta.count("moved, 2 px at 1,600", j.Moved.Answer, slices.ContainsFunc(j.Moved.Events, func(e pixels.Move) bool { return e.To == at }))
		}
	}
}

// realEnds cuts a real series where it is covered, at either end.
func (ta *tally) realEnds(clean []*pixels.FrameMeasure) {
	n := len(clean)
	whole := judgeAll(clean)
	var lost float64
	for cut := 1; n-cut >= 6; cut++ {
		lost += whole.PerFrame[cut-1].Sharpest
		if lost > 0.1 && whole.First.Answer == pixels.Fine {
			j := judgeAll(clean[cut:])
			ta.count("first end, more than 10 % of the sharpest tiles lost", j.First.Answer, j.First.Answer == pixels.Found)
		}
	}
	lost = 0
	for cut := 1; n-cut >= 6; cut++ {
		lost += whole.PerFrame[n-cut].Sharpest
		if lost > 0.1 && whole.Last.Answer == pixels.Fine {
			j := judgeAll(clean[:n-cut])
			ta.count("last end, more than 10 % of the sharpest tiles lost", j.Last.Answer, j.Last.Answer == pixels.Found)
		}
	}
}

// TestRealHeld: the scene of the balls was held by hand, and its pictures show so. No series
// is taken for one that goes around its subject, nor one of the microscope for one by hand.
func TestRealHeld(t *testing.T) {
	overManyScenes(t) // TestHeld asks of one
	for _, r := range realSeries(t) {
		j, _ := judged(t, r)
		t.Logf("%s: held %v %s, %.2f px, %.4f°; views %v %s", r.name, j.Held.Answer, j.Held.Reason, j.Held.Shift, j.Held.Roll, j.Views.Answer, j.Views.Reason)
		if byHand := j.Held.Answer == pixels.Found; byHand != (r.name == "balls") || j.Views.Answer == pixels.Found {
			t.Errorf("%s: held %v, views %v", r.name, j.Held.Answer, j.Views.Answer)
		}
	}
}

// TestRealGoingOn: the second half of a real series goes on where the first stopped; the whole
// series behind itself, there or back, and another series are another run. That may stay
// undecided, but is not decided wrongly.
func TestRealGoingOn(t *testing.T) {
	overManyScenes(t) // TestGoingOn asks of one
	told := 0
	var before []*pixels.FrameMeasure
	for _, r := range realSeries(t) {
		list := r.measures(t)
		half := len(list) / 2
		back := slices.Clone(list)
		slices.Reverse(back)
		for _, c := range []struct {
			name          string
			first, second []*pixels.FrameMeasure
			want          pixels.Answer
		}{
			{"halves", list[:half], list[half:], pixels.Found},
			{"again", list, list, pixels.Fine},
			{"back", list, back, pixels.Fine},
			{"behind another series", before, list, pixels.Fine},
			{"back, behind another series", before, back, pixels.Fine},
		} {
			if c.first == nil {
				continue // none is behind another
			}
			first := new(pixels.Sequence)
			first.UseMemo(&realMemo)
			for _, m := range c.first {
				first.Add(m)
			}
			g := behindPause(first, c.second)
			t.Logf("%s, %s: %v %q %s, %.1f steps, %d frames repeat", r.name, c.name, g.Answer, g.Course, g.Reason, g.Steps, g.Repeats)
			switch g.Answer {
			case c.want:
				told++
			case pixels.CannotTell:
			default:
				t.Errorf("%s, %s: %v %q, want %v", r.name, c.name, g.Answer, g.Course, c.want)
			}
		}
		before = list
	}
	if told == 0 {
		t.Error("nothing was told of any series")
	}
}

// TestRealPatch takes two frames out of the real series and offers four frames over the
// hole, four from elsewhere, and the four over the hole moved aside by a hundredth of the
// width, and two of each; of the two also one alone, and one with the frame behind it; and,
// over many scenes, those over the hole half a stop darker: none that does not fit is taken
// for one that does. How even their steps are nobody knows: what lies a step aside is counted
// alone.
func TestRealPatch(t *testing.T) {
	overManyScenes(t) // TestPatch asks of one
	if testing.Short() {
		t.Skip("measures many pictures: .ci/run does")
	}
	ta := newTally()
	for _, r := range realSeries(t) {
		clean := r.measures(t)
		var moved, darker []*pixels.FrameMeasure
		for _, img := range r.greys(t) {
			moved = append(moved, measure(t, altered(img, img.Rect.Dx()/100, 1)))
			darker = append(darker, nil)
			if *seedCount > statedScenes {
				darker[len(darker)-1] = measure(t, altered(img, 0, 0.854)) // 2^(-0.5/2.2)
			}
		}
		n := len(clean)
		for at := 2; at+4 < n; at++ { // at and at+1 are missing
			j := judgeAll(slices.Delete(slices.Clone(clean), at, at+2))
			far := clean[:4]
			if at < n/2 {
				far = clean[n-4:]
			}
			for name, patch := range map[string][]*pixels.FrameMeasure{
				"over the hole": clean[at-1 : at+3], "elsewhere": far, "moved aside": moved[at-1 : at+3],
				"over the hole, two": clean[at : at+2], "elsewhere, two": far[1:3], "moved aside, two": moved[at : at+2],
				"one fewer": clean[at : at+1], "a step aside": clean[at+1 : at+3],
				"darker": darker[at-1 : at+3], "darker, two": darker[at : at+2],
			} {
				if patch[0] == nil {
					continue
				}
				p := j.Patch(judgeAll(patch), at-1, at)
				fits := strings.HasPrefix(name, "over the hole")
				ta.count(name, p.Answer, p.Answer == pixels.Found == fits && p.Answer != pixels.CannotTell)
				if p.Answer == pixels.Found && !fits && name != "a step aside" {
					t.Errorf("%s, %d and %d missing: frames %s are taken for a patch: %+v", r.name, at, at+1, name, p)
				}
			}
		}
	}
	t.Logf("\n%s", ta)
}
