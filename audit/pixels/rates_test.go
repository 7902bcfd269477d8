package pixels_test

import (
	"flag"
	"fmt"
	"testing"

	"prestrike/audit/pixels"
	"prestrike/audit/pixels/pixelstest"
)

var seedCount = flag.Int("seeds", 3, "rendered scenes to measure")
var seedFirst = flag.Uint64("first", 1001, "first seed")
var seedStep = flag.Uint64("step", 2, "step")

type studio struct {
	built *pixelstest.Built
	kept  map[pixelstest.Shot]*pixels.FrameMeasure
}

func (st *studio) measure(sh pixelstest.Shot) *pixels.FrameMeasure {
	if m := st.kept[sh]; m != nil {
		return m
	}
	m, err := pixels.Measure(st.built.Picture(sh))
	if err != nil {
		panic(err)
	}
	st.kept[sh] = m
	return m
}

func (st *studio) judge(shots []pixelstest.Shot) *pixels.Judgement {
	var s pixels.Sequence
	for _, sh := range shots {
		s.Add(st.measure(sh))
	}
	return s.Judge(pixels.DefaultThresholds())
}

func summary(j *pixels.Judgement) string {
	f := func(v pixels.Verdict) string {
		if v.Answer == pixels.CannotTell {
			return "?"
		}
		return map[pixels.Answer]string{pixels.Fine: ".", pixels.Found: "X"}[v.Answer]
	}
	return fmt.Sprintf("n=%d T=%d tex=%d hw=%.2f walk%s %.2f rise %.1f first%s %.2f/%d last%s %.2f/%d step%s %.2f sig %s %.5f x%.1f jump%s %v stall%s %v order%s %v moved%s %v bright%s %v fl %.2f ty %.3f dr %.2f dark%s %v soft%s %v band%s %v unrel %v",
		j.Frames, j.Tiles, j.Textured, j.HalfWidth, f(j.Walk.Verdict), j.Walk.Share, j.Walk.Rise, f(j.First.Verdict), j.First.Share, j.First.Cluster, f(j.Last.Verdict), j.Last.Share, j.Last.Cluster,
		f(j.Step.Verdict), j.Step.Blur, j.Signature.Kind, j.Signature.PerFrame, j.Signature.Strength, f(j.Jumps.Verdict), j.Jumps.Events, f(j.Stalls.Verdict), j.Stalls.Events, f(j.Order.Verdict), j.Order.Events,
		f(j.Moved.Verdict), j.Moved.Events, f(j.Brightness.Verdict), j.Brightness.Jumps, j.Brightness.Flicker, j.Brightness.Typical, j.Brightness.Drift, f(j.Dark.Verdict), j.Dark.Events, f(j.Soft.Verdict), j.Soft.Events, f(j.Bands.Verdict), j.Bands.Events, j.Unrelated)
}

func TestClean(t *testing.T) {
	for k := range *seedCount {
		d := pixelstest.Random(*seedFirst + *seedStep*uint64(k))
		st := &studio{d.Build(), map[pixelstest.Shot]*pixels.FrameMeasure{}}
		j := st.judge(d.Shots())
		t.Logf("%d %v %dx%d n%d coc %.2f contrast %.2f plain %.2f e %.0f br %.4f drift %.0f bg %v\n   %s", d.Seed, d.Shape, d.Width, d.Height, d.Frames, d.CoC, d.Contrast, d.Plain, d.Electrons, d.Breathing, d.DriftX, d.Background, summary(j))
	}
}
