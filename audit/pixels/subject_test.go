package pixels_test

import (
	"fmt"
	"image"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"prestrike/audit/pixels"
	"prestrike/audit/pixels/pixelstest"
)

// partAt reports whether a part is found to move up to a frame, at its place.
func partAt(j *pixels.Judgement, frame int, part pixelstest.Part) bool {
	return slices.ContainsFunc(j.Subject.Events, func(e pixels.PartMove) bool {
		r, b := part.Radius, e.Box
		return e.To == frame && b.X0 < part.X+r && b.X1 > part.X-r && b.Y0 < part.Y+1.5*r && b.Y1 > part.Y-1.5*r
	})
}

// The beginnings of rows that count runs in which no part moves, by what is found.
const anyPart, surePart = "A a part | ", "A a part, surely | "

// sharpPart draws a part of the subject, 12 to 24 % of the picture wide, whose middle has
// texture and is sharp in a frame and the one before, and which moves by px in some direction.
func sharpPart(rng *rand.Rand, b *pixelstest.Built, shots []pixelstest.Shot, at int, px float64) (part pixelstest.Part, ok bool) {
	sin, cos := math.Sincos(2 * math.Pi * rng.Float64())
	part = pixelstest.Part{Radius: 0.06 + 0.06*rng.Float64(), DX: px * cos, DY: px * sin}
	const blur, tries = 1.5, 2000 // px
	for range tries {
		part.X, part.Y = 0.1+0.8*rng.Float64(), 0.1+0.8*rng.Float64()
		if b.SharpAt(part.X, part.Y, shots[at-1].Focus, shots[at].Focus, blur) {
			return part, true
		}
	}
	return part, false
}

// surelyMoves reports whether a part is found that surely moves: more than a note.
func surelyMoves(j *pixels.Judgement) bool {
	return slices.ContainsFunc(j.Subject.Events, func(e pixels.PartMove) bool { return e.Sure })
}

// still counts a run in which no part moves.
func (ta *tally) still(row, name string, j *pixels.Judgement) {
	ta.count(anyPart+row, j.Subject.Answer, j.Subject.Answer == pixels.Found)
	ta.count(surePart+row, j.Subject.Answer, surelyMoves(j))
	if j.Subject.Answer != pixels.Fine {
		ta.note("%s, %s: %v %q %+v", name, row, j.Subject.Answer, j.Subject.Reason, j.Subject.Events)
	}
}

// parts counts the parts that are found to move in one drawn scene: of none, in runs with
// other faults, and of one that moves by so many px of a picture 1,600 wide.
func (ta *tally) parts(seed uint64) {
	d := drawn(seed)
	rng := rand.New(rand.NewPCG(seed, 17))
	name := fmt.Sprintf("seed %d (%v, %d frames, %.2f px)", seed, d.Shape, d.Frames, d.CoC)
	st := newStudio(d.Build())
	shots := d.Shots()
	at := 4 + rng.IntN(len(shots)-8)
	for fault, s := range map[string][]pixelstest.Shot{
		"one frame missing": pixelstest.Missing(shots, at, 1), "shaken": pixelstest.Shake(shots, at, 4, 1),
		"knocked by 3 px for a frame": pixelstest.Bump(shots, at, 1, 3, 0), "brighter": pixelstest.Brighten(shots, at, 1, 0.3),
	} {
		ta.still(fault, name, st.judge(s))
	}
	for i, px := range []float64{1.5, 2.5, 4, 6} {
		at := 4 + rng.IntN(len(shots)-8)
		part, ok := sharpPart(rng, st.built, shots, at, px*float64(d.Width)/1600)
		if !ok {
			continue // nothing is sharp there
		}
		last := 1
		if i%2 == int(seed/2%2) {
			last = len(shots)
		}
		j := st.judge(pixelstest.MovePart(shots, at, last, part))
		ta.fault(name, fmt.Sprintf("part moves by %v px", px), j.Subject.Verdict, partAt(j, at, part), j)
		ta.count("C parts that move, surely", j.Subject.Answer, partAt(j, at, part) && surelyMoves(j))
	}
}

// TestPartRates fails where more than 0.5 % of runs with another fault are found to have a
// part that surely moves, or more than 2 % one that may, or fewer of those that move are found than was counted, as far as the interval
// of a count shows that.
//
//	go test ./audit/pixels -run TestPartRates -v -seeds 20 -first 17101 -timeout 90m
func TestPartRates(t *testing.T) {
	pixelstest.Long(t)
	overManyScenes(t)
	ta := newTally()
	overSeeds(ta.parts)
	if *showAll {
		for _, n := range ta.notes {
			t.Log(n)
		}
	}
	t.Logf("\n%s", ta)
	for name, least := range partsFound {
		ta.atLeast(t, name, least)
	}
	ta.holdStill(t)
}

// holdStill fails where, as far as the interval of a count shows, a part surely moves in more
// than 0.5 % of runs in which none does, or may in more than 2 %.
func (ta *tally) holdStill(t *testing.T) {
	t.Helper()
	for begin, most := range map[string]float64{surePart: 0.005, anyPart: 0.02} {
		var all row
		for name, r := range ta.rows {
			if strings.HasPrefix(name, begin) {
				all.runs, all.cannot, all.found = all.runs+r.runs, all.cannot+r.cannot, all.found+r.found
			}
		}
		lo, hi := wilson(all.found, all.runs-all.cannot)
		t.Logf("%s%d of %d, %.2f to %.2f %%", begin, all.found, all.runs-all.cannot, 100*lo, 100*hi)
		if lo > most || all.runs == all.cannot {
			t.Errorf("%sfound in %d of %d runs in which none moves", begin, all.found, all.runs-all.cannot)
		}
	}
}

// stillParts counts the parts that are found to move in clean runs of one drawn scene, 576 to
// 768 px wide and of 12 to 26 frames: where focus walks and where it stands, under harder
// conditions, on a rail where near parts move farther, and where near parts hide far ones.
func (ta *tally) stillParts(seed uint64) {
	d := pixelstest.Random(seed)
	if d.Width > 768 {
		d.Width, d.Height = d.Width-240, d.Height*(d.Width-240)/d.Width
	}
	if d.Frames > 26 {
		d.Frames -= 14
	}
	d.Depth = d.CoC * max(4, float64(d.Frames-1)-2*d.Margin)
	rng := rand.New(rand.NewPCG(seed, 21))
	name := fmt.Sprintf("seed %d (%v, %d frames, %.2f px)", seed, d.Shape, d.Frames, d.CoC)
	const n = 14
	focus := 0.1 + 0.8*rng.Float64()
	stands := pixelstest.Run(seed+500, n, focus, focus, 0)
	for i := range stands {
		stands[i].EV += 0.006 * rng.NormFloat64()
		if seed/2%2 == 0 { // a soft shadow crosses
			stands[i].Cloud, stands[i].CloudAt = 0.5, -0.2+1.4*float64(i)/float64(n-1)
		}
	}
	st := newStudio(d.Build())
	ta.still("focus walks", name, st.judge(d.Shots()))
	ta.still("focus stands", name, st.judge(stands))
	hard := d.Harder()
	b := hard.Build()
	st = newStudio(b)
	ta.still("focus walks, harder", name, st.judge(hard.Shots()))
	ta.still("focus stands, harder", name, st.judge(stands))
	b.Parallax, b.Breathing = 0.1+0.4*rng.Float64(), 0.03+0.06*rng.Float64()
	b.DriftX, b.DriftY = 40*(rng.Float64()-0.5), 40*(rng.Float64()-0.5)
	rail, shots := newStudio(b), hard.Shots()
	ta.still("on a rail, near parts move farther", name, rail.judge(shots))
	ta.still("on a rail, one frame missing", name, rail.judge(pixelstest.Missing(shots, 4+rng.IntN(len(shots)-8), 1)))
	layers := pixelstest.Layers{Scene: d.Scene, Blur: d.Depth}.Build()
	ta.still("focus walks, near parts hide far ones", name, judgePictures(d.Shots(), layers.Picture))
}

// judgePictures judges a run of pictures.
func judgePictures(shots []pixelstest.Shot, picture func(pixelstest.Shot) image.Image) *pixels.Judgement {
	var s pixels.Sequence
	for _, shot := range shots {
		m, err := pixels.Measure(picture(shot))
		if err != nil {
			panic(err)
		}
		s.Add(m)
	}
	return s.Judge(pixels.DefaultThresholds(), nil)
}

// TestStillPartRates holds the same of clean runs, of more kinds.
//
//	go test ./audit/pixels -run TestStillPartRates -v -seeds 150 -first 17201 -timeout 90m
func TestStillPartRates(t *testing.T) {
	pixelstest.Long(t)
	overManyScenes(t)
	ta := newTally()
	overSeeds(ta.stillParts)
	ta.log(t)
	ta.holdStill(t)
}

// partsFound are the shares of moved parts that are to be found: where the intervals of what
// DEVELOPERS.md states begin.
var partsFound = map[string]float64{
	"B part moves by 1.5 px": 0.33, "B part moves by 2.5 px": 0.47, "B part moves by 4 px": 0.47, "B part moves by 6 px": 0.36,
}

// TestRealParts moves a part of each frame of the real series by 4 px of a picture 1,600 wide,
// for good. In clean series none moves.
func TestRealParts(t *testing.T) {
	overManyScenes(t)
	ta := &tally{rows: map[string]*row{}}
	for _, r := range realSeries(t) {
		pictures, clean := r.greys(t), r.measures(t)
		j := judgeAll(clean)
		t.Logf("%s: %v %q %+v", r.name, j.Subject.Answer, j.Subject.Reason, j.Subject.Events)
		ta.count("clean series", j.Subject.Answer, j.Subject.Answer == pixels.Found)
		for at := 2; at+2 < len(clean); at++ {
			part := sharpestPart(pictures[at-1], pictures[at])
			moved := slices.Clone(clean)
			for i := at; i < len(clean); i++ {
				moved[i] = measure(t, withPart(pictures[i], part))
			}
			j := judgeAll(moved)
			ta.fault(r.name, "part moves by 4 px of 1,600", j.Subject.Verdict, partAt(j, at, part), j)
		}
	}
	t.Logf("\n%s", ta)
	if r := ta.rows["clean series"]; r.found > 0 {
		t.Errorf("a part moves in %d of %d clean series", r.found, r.runs)
	}
}

// sharpestPart returns a part 20 % of the picture wide around the place that is sharpest in
// both pictures, and moves it to the right.
func sharpestPart(a, b *image.Gray) pixelstest.Part {
	w, h := a.Rect.Dx(), a.Rect.Dy()
	const cols, rows = 12, 9
	best, part := 0, pixelstest.Part{Radius: 0.1, DX: math.Max(1, math.Round(4*float64(max(w, h))/1600))}
	detail := func(p *image.Gray, x0, y0 int) (sum int) {
		for y := y0 + 2; y < y0+h/rows-2; y += 2 {
			for x := x0 + 2; x < x0+w/cols-2; x += 2 {
				i := y*p.Stride + x
				d := 2*int(p.Pix[i]) - int(p.Pix[i-2]) - int(p.Pix[i+2])
				sum += d * d
			}
		}
		return sum
	}
	for v := 1; v < rows-1; v++ {
		for u := 1; u < cols-1; u++ {
			if d := min(detail(a, u*w/cols, v*h/rows), detail(b, u*w/cols, v*h/rows)); d > best {
				best, part.X, part.Y = d, (float64(u)+0.5)/cols, (float64(v)+0.5)/rows
			}
		}
	}
	return part
}

// withPart returns the picture with a part moved to the right by whole pixels.
func withPart(img *image.Gray, part pixelstest.Part) *image.Gray {
	w, h := img.Rect.Dx(), img.Rect.Dy()
	out := image.NewGray(img.Rect)
	copy(out.Pix, img.Pix)
	for y := range h {
		for x := int(part.DX); x < w; x++ {
			if math.Hypot(float64(x)-part.DX-part.X*float64(w), float64(y)-part.Y*float64(h)) < part.Radius*float64(w) {
				out.Pix[y*out.Stride+x] = img.Pix[y*img.Stride+x-int(part.DX)]
			}
		}
	}
	return out
}
