package pictures

import (
	"fmt"
	"image"
	"image/draw"
	"math"
	"slices"

	"prestrike/audit/pixels"
	"prestrike/audit/pixels/proof"
	"prestrike/audit/shoot"
	"prestrike/audit/words"
)

// focus merges a focus sequence.
func (w *proving) focus() (*Proof, error) {
	out := new(Proof)
	w.measure()
	run := proof.RunOf(w.judgement)
	f := proof.Focus(run, w.pictures(w.everyFrame(), run.Width, run.Height))
	if f.Picture == nil {
		return out, nil
	}
	orientation := w.orientation(run.Reference)
	if err := out.show(f.Picture, orientation); err != nil {
		return nil, err
	}
	w.merged(out, f.Used, "sharp wherever one of them is")
	if f.Coverage == nil {
		return out, nil
	}
	c := f.Coverage.Upright(orientation)
	var err error
	if out.Map, err = encodePNG(c.Draw()); err != nil {
		return nil, err
	}
	if err := w.explain(out, c); err != nil {
		return nil, err
	}
	for _, p := range c.Parts() {
		out.Notes = append(out.Notes, w.partText(p))
	}
	return out, nil
}

// merged writes what was merged, and what was not.
func (w *proving) merged(out *Proof, used []int, how string) {
	out.Caption = fmt.Sprintf("Merged from %s, for inspection only: %s.", words.Count(len(used), "frame", "frames"), how)
	var left []int
	for i := range w.q.Frames {
		if !slices.Contains(used, i) {
			left = append(left, i)
		}
	}
	if len(left) > 0 {
		out.Notes = append(out.Notes, fmt.Sprintf("Left out: %s, as %s no picture that matches the others.", w.ranges(left), words.Plural(len(left), "it has", "they have")))
	}
}

// ranges names some frames of the sequence.
func (w *proving) ranges(places []int) string {
	var frames []*shoot.Frame
	for _, i := range places {
		frames = append(frames, w.q.Frames[i])
	}
	return shoot.FrameRanges(w.q.Frames, frames)
}

// The size of a sample in the key, pixels.
const keyWidth, keyHeight = 48, 24

// explain explains the map.
func (w *proving) explain(out *Proof, c *proof.Coverage) error {
	add := func(img image.Image, text string) error {
		data, err := encodePNG(img)
		out.Key = append(out.Key, KeyEntry{data, text})
		return err
	}
	steps := c.Steps()
	for _, s := range steps {
		if err := add(proof.Hatch(proof.Inside, s.Grey, keyWidth, keyHeight), shoot.FrameRange(w.q.Frames[s.From:s.To+1])); err != nil {
			return err
		}
	}
	for _, m := range []proof.Mark{proof.First, proof.Last, proof.Between, proof.Plain} {
		if !slices.Contains(c.Marks, m) {
			continue
		}
		grey, text := steps[0].Grey, "sharpest in the first frame"
		switch m {
		case proof.Last:
			grey, text = steps[len(steps)-1].Grey, "sharpest in the last frame"
		case proof.Between:
			grey, text = steps[len(steps)/2].Grey, "sharpest between two frames, where focus moved too far"
		case proof.Plain:
			text = "no texture that is sharp in any frame"
		}
		if err := add(proof.Hatch(m, grey, keyWidth, keyHeight), text); err != nil {
			return err
		}
	}
	return nil
}

// partText is a sentence on the places with one mark.
func (w *proving) partText(p proof.Part) string {
	share := fmt.Sprintf("%.0f %%", math.Max(1, 100*p.Share))
	f := w.q.Frames[p.Frame].Label()
	switch p.Mark {
	case proof.First:
		return fmt.Sprintf("Sharpest in the first frame, %s: %s of the textured area, mostly %s. It may be sharper before that.", f, share, p.Box.Words())
	case proof.Last:
		return fmt.Sprintf("Sharpest in the last frame, %s: %s of the textured area, mostly %s. It may be sharper after that.", f, share, p.Box.Words())
	case proof.Between:
		next := w.q.Frames[min(p.Frame+1, len(w.q.Frames)-1)].Label()
		return fmt.Sprintf("Sharpest between %s and %s, where focus moved too far: %s of the textured area, mostly %s.", f, next, share, p.Box.Words())
	}
	return fmt.Sprintf("Without texture, or out of focus in all frames: %s of the picture, mostly %s.", share, p.Box.Words())
}

// bracket merges an exposure bracket.
func (w *proving) bracket() (*Proof, error) {
	out := new(Proof)
	w.measure()
	run, loose := proof.BracketOf(w.judgement)
	f := proof.Fusion(run, w.pictures(w.everyFrame(), run.Width, run.Height))
	if f.Picture == nil {
		return out, nil
	}
	if err := out.show(f.Picture, w.orientation(run.Reference)); err != nil {
		return nil, err
	}
	w.merged(out, f.Used, "each place from the frames that expose it well")
	if len(loose) > 0 {
		out.Notes = append(out.Notes, fmt.Sprintf("Could not be lined up with the frame before, and is merged without that: %s.", w.ranges(loose)))
	}
	for i, at := range f.Used {
		out.Ends = append(out.Ends, FrameEnds{at, w.q.Frames[at].Label(), f.Ends[i]})
	}
	return out, nil
}

// strip lays twelve frames side by side.
func (w *proving) strip(caption string) (*Proof, error) {
	out := new(Proof)
	list := proof.Strip(w.pictures(proof.Spread(len(w.q.Frames), stripFrames), 0, 0), smallSide)
	for _, s := range list {
		small, err := w.small(s)
		if err != nil {
			return nil, err
		}
		out.Small = append(out.Small, small)
	}
	if len(list) > 0 {
		out.Caption = caption
		if err := out.show(w.sheet(list), 1); err != nil {
			return nil, err
		}
	}
	for i, f := range w.q.Frames {
		c := CurvePoint{Frame: i, Label: f.Label(), Interval: w.interval(i)}
		if w.judgement != nil && w.judgement.PerFrame[i].Measured {
			ev := w.judgement.PerFrame[i].EV
			c.EV = &ev
		}
		out.Curve = append(out.Curve, c)
	}
	return out, nil
}

const (
	sheetColumns = 4
	sheetGap     = 4 // pixels
)

// sheet lays pictures out in rows, upright.
func (w *proving) sheet(list []proof.Small) *image.RGBA {
	cellW, cellH := 0, 0
	turned := make([]*image.RGBA, len(list))
	for i, s := range list {
		turned[i] = proof.Upright(s.Picture, w.orientation(s.Frame))
		cellW, cellH = max(cellW, turned[i].Rect.Dx()), max(cellH, turned[i].Rect.Dy())
	}
	cols := min(sheetColumns, len(list))
	rows := (len(list) + cols - 1) / cols
	out := image.NewRGBA(image.Rect(0, 0, cols*(cellW+sheetGap)-sheetGap, rows*(cellH+sheetGap)-sheetGap))
	draw.Draw(out, out.Rect, image.White, image.Point{}, draw.Src)
	for i, img := range turned {
		at := image.Pt(i%cols*(cellW+sheetGap)+(cellW-img.Rect.Dx())/2, i/cols*(cellH+sheetGap)+(cellH-img.Rect.Dy())/2)
		draw.Draw(out, img.Rect.Add(at), img, image.Point{}, draw.Src)
	}
	return out
}

// burst shows the sharpest frame of a burst, and the best three.
func (w *proving) burst() (*Proof, error) {
	out := new(Proof)
	out.Ranked = proof.Best(w.pictures(w.everyFrame(), 0, 0))
	if len(out.Ranked) == 0 {
		return out, nil
	}
	best := out.Ranked[:min(bestFrames, len(out.Ranked))]
	var frames []int
	for _, r := range best {
		frames = append(frames, r.Frame)
	}
	smalls := map[int]SmallFrame{}
	for i, img := range w.pictures(frames, 0, 0) {
		small, err := w.small(proof.Small{Frame: i, Picture: proof.Fit(img, smallSide)})
		if err != nil {
			return nil, err
		}
		smalls[i] = small
		if i == frames[0] {
			if err := out.show(img, w.orientation(i)); err != nil {
				return nil, err
			}
			out.part(i, img)
		}
	}
	var labels []string
	for _, i := range frames {
		if s, ok := smalls[i]; ok {
			out.Small = append(out.Small, s)
			labels = append(labels, s.Label)
		}
	}
	out.Caption = fmt.Sprintf("Frame %s, the sharpest of the burst where each is sharpest.", w.q.Frames[frames[0]].Label())
	if len(labels) > 1 {
		out.Notes = append(out.Notes, fmt.Sprintf("The sharpest frames of this burst, compared with each other only: %s.", words.List(labels, bestFrames)))
	}
	return out, nil
}

// single shows a frame that stands alone, or the first of a few.
func (w *proving) single() (*Proof, error) {
	out := new(Proof)
	for i, img := range w.pictures(proof.Spread(len(w.q.Frames), stripFrames), 0, 0) {
		if out.Picture == nil {
			if err := out.show(img, w.orientation(i)); err != nil {
				return nil, err
			}
			out.Caption = fmt.Sprintf("Frame %s.", w.q.Frames[i].Label())
			out.part(i, img)
		}
		if len(w.q.Frames) == 1 {
			break
		}
		small, err := w.small(proof.Small{Frame: i, Picture: proof.Fit(img, smallSide)})
		if err != nil {
			return nil, err
		}
		out.Small = append(out.Small, small)
	}
	return out, nil
}

// part puts down where the frame is sharpest.
func (out *Proof) part(frame int, img image.Image) {
	m, err := pixels.Measure(img)
	if err != nil {
		return // too small
	}
	box := m.SharpestPart(partWidth, partHeight)
	out.Part, out.PartFrame = &box, frame
}
