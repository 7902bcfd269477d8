package rules

import (
	"cmp"
	"fmt"
	"slices"

	"prestrike/audit"
	"prestrike/audit/pixels"
	"prestrike/audit/shoot"
	"prestrike/exifread"
	"prestrike/rules/evidence"
)

var dust = &audit.Rule{
	ID:       "dust",
	Title:    "Dust on the sensor",
	Severity: audit.Note,
	Shows:    audit.ShowDetail,
	Doc: `Inspects the pictures of sequences at a working f-number of f/11 and up. Finds dark round
spots that keep their place on the sensor in several sequences of one camera, while the picture
around them changes.

Dust on the sensor leaves such spots in all pictures, the darker the higher the f-number is. A
merged picture keeps them, and where focusing changes the size of the picture it draws
them out to lines.

Inspect the frame named at 100 %. If it is dust, clean the sensor before you go on, and
retouch what was made.

The finding is a note for the whole session. It needs two sequences of six frames. Textured
pictures have dark spots of their own. The more of them there are, the more sequences must show
one at the same place. What belongs to a fixed backdrop keeps its place, too. So does a subject
that stands. So the pictures must differ on all four sides and inside, or the camera must have
been turned. Otherwise dust is not judged. In front of texture, dust cannot be seen. Where fewer
than two sequences have smooth parts, there is nothing to judge, and nothing is reported.

The narrower the cone of light that falls on a pixel, the sharper is the shadow on it. That is
the working f-number: f/8 at 1:1 shows dust as f/16 does far away. Where the magnification is
not known, the recorded f-number counts. Sequences below a recorded f/8 are not inspected for
dust.`,
	Source: "dust shows at small apertures: common practice; its shadow by similar triangles, a grain of width d at the height t casts a penumbra t/N wide; working f-number: Greivenkamp, Field Guide to Geometrical Optics (2004), p. 29; limits chosen on rendered sequences",
	Params: []audit.Param{{
		Name: "f-number", Doc: "the lowest working f-number of the sequences that are compared",
		Default: 11, Min: 11, Max: 64,
	}},
	CheckSession: checkDust,
}

// dustViews is how many sequences of one camera are compared at most, spread over the session.
const dustViews = 12

func checkDust(v *audit.Review) error {
	type sensor struct {
		body                  any
		width, height, factor int
	}
	groups := map[sensor][]stopped{}
	var order []sensor
	seen, unseen := map[any]int{}, map[any]int{} // by body
	reason := ""
	for _, q := range v.Session.Sequences {
		o, ok := evidence.OpeningOf(v, q, q.Frames[len(q.Frames)/2])
		if !ok || o.Working < 0.99*v.Param("f-number") || o.Marked < pixels.DustFNumber { // room for how it is recorded
			continue
		}
		j, why := evidence.SeenIn(v, q)
		if j == nil {
			if why != "" {
				unseen[q.Body]++
				reason = why
			}
			continue
		}
		seen[q.Body]++
		of := sensor{q.Body, j.Width, j.Height, j.Factor}
		if groups[of] == nil {
			order = append(order, of)
		}
		groups[of] = append(groups[of], stopped{q, j, o.Working})
	}
	for _, of := range order {
		if list := groups[of]; len(list) >= pixels.DustFewest {
			dustIn(v, spread(list, dustViews))
		}
	}
	for body, n := range unseen {
		if seen[body] < pixels.DustFewest && seen[body]+n >= pixels.DustFewest {
			v.Blind(reason)
		}
	}
	return nil
}

// A stopped sequence is one at whose working f-number dust shows.
type stopped struct {
	*shoot.Sequence
	judgement *pixels.Judgement
	working   float64
}

// spread returns at most so many of a list, evenly.
func spread[T any](list []T, most int) []T {
	if len(list) <= most {
		return list
	}
	var out []T
	for i := range most {
		out = append(out, list[i*(len(list)-1)/(most-1)])
	}
	return out
}

// dustIn compares the sequences of one camera.
func dustIn(v *audit.Review, list []stopped) {
	var views []pixels.DustView
	for _, q := range list {
		turned := q.Frames[0].Meta().Orientation.Or(1)
		views = append(views, pixels.DustView{
			Judgement: q.judgement, FNumber: q.working,
			Upright: turned >= 5 && turned <= 8, // the values of the Orientation tag for turns by 90°
		})
	}
	d := pixels.AskDust(views)
	if d.Views < pixels.DustFewest || !evidence.Tells(v, d.Verdict) {
		return // where few pictures can show dust, there is nothing to judge
	}
	darkest := slices.MaxFunc(d.Places, func(a, b pixels.DustPlace) int { return cmp.Compare(a.Depth, b.Depth) })
	var frames []*shoot.Frame
	for _, k := range darkest.Shown {
		frames = append(frames, list[k].Frames[len(list[k].Frames)/2])
	}
	first, j, f := list[darkest.Shown[0]], views[darkest.Shown[0]].Judgement, frames[0]
	box := around(darkest.Speck, j)
	what := "a dark spot keeps its place on the sensor"
	if n := len(d.Places); n > 1 {
		what = fmt.Sprintf("%d dark spots keep their place on the sensor, the darkest", n)
	}
	px := evidence.FullSize(first.Sequence, j, 2*darkest.Radius*float64(max(j.Width, j.Height)/j.Factor))
	v.Found(audit.Finding{
		Message: fmt.Sprintf("%s in %d of %d sequences with a working f-number of f/%s and up, %s wide (%s)",
			what, len(frames), d.Views, twoFigures(v.Param("f-number")), writePixels(px), partOf(f, box)),
		Action: fmt.Sprintf("inspect %s there at 100 %%; if it is dust, clean the sensor before you go on, and retouch what was made", f.Label()),
		Frames: frames, Closest: frames[:1], Region: audit.Region(box),
		Measured: exifread.Of(float64(len(frames))), Unit: "sequences",
	})
}

// around returns where a spot lies, with room around it.
func around(s pixels.Speck, j *pixels.Judgement) pixels.Box {
	const room = 0.02
	long := float64(max(j.Width, j.Height))
	w, h := float64(j.Width)/long, float64(j.Height)/long
	r := max(room, 2*s.Radius)
	return pixels.Box{X0: max(0, (s.X-r)/w), Y0: max(0, (s.Y-r)/h), X1: min(1, (s.X+r)/w), Y1: min(1, (s.Y+r)/h)}
}
