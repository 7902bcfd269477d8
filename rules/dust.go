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
	Doc: `Inspects the pictures of sequences at f/11 and up. Finds dark round spots that keep their
place on the sensor in several sequences of one camera, while the picture around them
changes.

Dust on the sensor leaves such spots in all pictures, the darker the higher the f-number is. A
merged picture keeps them, and where focusing changes the size of the picture it draws
them out to lines.

Inspect the frame named at 100 %. If it is dust, clean the sensor before you go on, and
retouch what was made.

The finding is a note for the whole session. It needs three sequences of six frames, and of
more than five sequences four, or a quarter, must show the spot. What belongs to a fixed
backdrop keeps its place, too. So the surroundings must differ on all four sides of the
picture, or the camera must have been turned. Otherwise dust is not judged. In front of
texture, dust cannot be seen. The recorded f-number counts: close up the working f-number is
higher, and dust shows from lower recorded ones.`,
	Source: "dust shows at small apertures, as its shadow is sharper in a narrower cone of light: common practice; limits chosen on rendered sequences",
	Params: []audit.Param{{
		Name: "f-number", Doc: "the lowest recorded f-number of the sequences that are compared",
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
	groups := map[sensor][]*shoot.Sequence{}
	var order []sensor
	for _, q := range v.Session.Sequences {
		p, ok := v.Pictured[q].(*pixels.Seen)
		// The f-number has room for how it is recorded.
		if !ok || exifread.Positive(q.Settings.FNumber) < 0.99*v.Param("f-number") || p.Judgement.Frames != len(q.Frames) {
			continue
		}
		of := sensor{q.Body, p.Judgement.Width, p.Judgement.Height, p.Judgement.Factor}
		if groups[of] == nil {
			order = append(order, of)
		}
		groups[of] = append(groups[of], q)
	}
	for _, of := range order {
		if list := groups[of]; len(list) >= 3 {
			dustIn(v, spread(list, dustViews))
		}
	}
	return nil
}

// spread returns at most so many of a list, evenly.
func spread(list []*shoot.Sequence, most int) []*shoot.Sequence {
	if len(list) <= most {
		return list
	}
	var out []*shoot.Sequence
	for i := range most {
		out = append(out, list[i*(len(list)-1)/(most-1)])
	}
	return out
}

// dustIn compares the sequences of one camera.
func dustIn(v *audit.Review, list []*shoot.Sequence) {
	var views []pixels.DustView
	for _, q := range list {
		turned := q.Frames[0].Meta().Orientation.Or(1)
		views = append(views, pixels.DustView{
			Judgement: v.Pictured[q].(*pixels.Seen).Judgement, FNumber: exifread.Positive(q.Settings.FNumber),
			Upright: turned >= 5 && turned <= 8, // the values of the Orientation tag for turns by 90°
		})
	}
	d := pixels.AskDust(views)
	if !evidence.Tells(v, d.Verdict) {
		return
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
	px := evidence.FullSize(first, j, 2*darkest.Radius*float64(max(j.Width, j.Height)/j.Factor))
	v.Found(audit.Finding{
		Message: fmt.Sprintf("%s in %d of %d sequences at f/%s and up, %s wide (%s)",
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
