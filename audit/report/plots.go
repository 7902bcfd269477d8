package report

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"prestrike/audit"
	"prestrike/audit/pixels"
	"prestrike/audit/shoot"
	"prestrike/exifread"
)

// The plots of a sequence.

// fewPlotted is the number of frames from which a drawing shows more than the table does.
const fewPlotted = 4

// plots returns the drawings of a sequence, those that show something.
func (q *sequenceModel) plots() []*plot {
	if len(q.frames) < fewPlotted {
		return nil
	}
	var list []*plot
	for _, p := range []*plot{q.plotFrames(), q.plotDepth(), q.plotGrowth(), q.plotExposure(), q.plotBrightness(), q.plotInterval()} {
		if p != nil {
			list = append(list, p)
		}
	}
	return list
}

// alongFrames is the axis of a plot over the frames of the sequence, named by their labels.
func (q *sequenceModel) alongFrames() axis {
	return axis{from: 0, to: float64(len(q.frames) - 1), name: "frame", whole: true, label: func(v float64) string {
		if i := int(math.Round(v)); i >= 0 && i < len(q.frames) {
			return shortenedLeft(frameCell(q.frames[i]), spanWidth/2)
		}
		return ""
	}}
}

func places(n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = float64(i)
	}
	return out
}

// named returns the places of frames that open findings of rules name.
func (q *sequenceModel) named(rules ...string) []float64 {
	at := map[*shoot.Frame]bool{}
	for _, f := range q.findings {
		if !slices.Contains(rules, f.Rule) || len(f.Frames) > len(q.frames)/2 {
			continue
		}
		for _, frame := range f.Frames {
			at[frame] = true
		}
	}
	var out []float64
	for i, f := range q.frames {
		if at[f] {
			out = append(out, float64(i))
		}
	}
	return out
}

// plotFrames draws file numbers against time, with the holes in both.
func (q *sequenceModel) plotFrames() *plot {
	var xs, ys []float64
	var holes []plotSpan
	var told []string
	series := ""
	var before *shoot.Frame
	for _, f := range q.frames {
		if !f.Timed() || !f.Number.Known || series != "" && f.Number.Series != series {
			continue
		}
		series = f.Number.Series
		at := f.Time.Sub(q.first.Time).Seconds()
		if before != nil && f.Number.Count-before.Number.Count > 1 {
			n := f.Number.Count - before.Number.Count - 1
			from := before.Time.Sub(q.first.Time).Seconds()
			holes = append(holes, plotSpan{from, at, fmt.Sprintf("%d missing", n)})
			told = append(told, fmt.Sprintf("%d missing between %s and %s", n, before.Label(), f.Label()))
		}
		xs, ys = append(xs, at), append(ys, float64(f.Number.Count))
		before = f
	}
	if len(xs) < fewPlotted || len(holes) == 0 && !q.found("interval-gap", "cadence-break", "interval-jitter", "missing-frame") {
		return nil // a straight line shows nothing
	}
	p := &plot{title: "File numbers over time", x: axis{from: 0, to: xs[len(xs)-1], name: "time from the first frame, s"}, holes: holes}
	p.y = axis{name: "file number", whole: true, label: func(v float64) string { return fmt.Sprintf("%.0f", math.Mod(v, 10000)) }}
	p.y.spread(4, ys...)
	p.lines = []plotLine{{x: xs, y: ys, step: true}}
	p.alt = fmt.Sprintf("%d frames in %s", len(xs), shoot.FormatDuration(before.Time.Sub(q.first.Time)))
	if len(told) > 0 {
		p.alt += "; " + strings.Join(told[:min(len(told), 4)], "; ")
	}
	return p
}

// found reports whether a finding of one of the rules is open or was.
func (q *sequenceModel) found(rules ...string) bool {
	return slices.ContainsFunc(q.findings, func(f *audit.Finding) bool { return slices.Contains(rules, f.Rule) })
}

// plotDepth draws how the sharpness of the subject's front, middle and back rises and falls.
func (q *sequenceModel) plotDepth() *plot {
	if q.seen == nil || q.seen.Judgement.Depth.Thirds[0] == nil || q.seen.Judgement.Walk.Answer != pixels.Found {
		return nil
	}
	d := &q.seen.Judgement.Depth
	p := &plot{title: "Sharpness of the subject, frame by frame", x: q.alongFrames(), y: axis{from: 0, to: 1.04, name: "sharpness, 1 = sharpest"}}
	at := func(i int) string { return q.frames[min(d.From+i, len(q.frames)-1)].Label() }
	var told []string
	for i, name := range []string{"third sharp first", "middle third", "third sharp last"} {
		curve := d.Thirds[i]
		xs := make([]float64, len(curve))
		best := 0
		for k, v := range curve {
			xs[k] = float64(d.From + k)
			if v > curve[best] {
				best = k
			}
		}
		p.lines = append(p.lines, plotLine{name: name, x: xs, y: curve})
		told = append(told, fmt.Sprintf("%s sharpest in %s", name, at(best)))
	}
	for _, e := range []struct {
		edge *pixels.Edge
		rule string
		word string
	}{{&q.seen.Judgement.First, "near-edge", "first"}, {&q.seen.Judgement.Last, "far-edge", "last"}} {
		if e.edge.Answer == pixels.Found {
			told = append(told, fmt.Sprintf("%.0f %% still rising in the %s frame, %s", 100*e.edge.Share, e.word, q.frames[e.edge.Frame].Label()))
			p.odd = append(p.odd, float64(e.edge.Frame))
		}
	}
	p.alt = strings.Join(told, "; ")
	return p
}

// plotGrowth draws how much blur grows from each frame to the next, by the change of scale
// or place that registration measured, against the limit.
func (q *sequenceModel) plotGrowth() *plot {
	if q.seen == nil || q.seen.Judgement.Signature.Kind == "" || q.seen.Judgement.Signature.PerFrame == 0 || q.seen.Judgement.Step.Blur == 0 {
		return nil
	}
	j := q.seen.Judgement
	limit := pixels.DefaultThresholds().StepBlur
	xs, ys := places(len(q.frames)), make([]float64, len(q.frames))
	most, where := math.Inf(-1), 0
	for i := range ys {
		ys[i] = math.NaN()
		if i == 0 || !j.PerFrame[i].Measured || !j.PerFrame[i-1].Measured {
			continue
		}
		a, b := &j.PerFrame[i-1], &j.PerFrame[i]
		moved := math.Abs(b.Scale - a.Scale)
		if j.Signature.Kind != "scale" {
			moved = math.Hypot(b.ShiftX-a.ShiftX, b.ShiftY-a.ShiftY)
		}
		ys[i] = j.Step.Blur * moved / math.Abs(j.Signature.PerFrame)
		if ys[i] > most {
			most, where = ys[i], i
		}
	}
	if math.IsInf(most, -1) {
		return nil
	}
	p := &plot{title: "Growth of blur from the frame before", x: q.alongFrames(), y: axis{name: "blur, px a frame"}}
	p.y.spread(1, append(slices.Clone(ys), 0, limit*1.1)...)
	p.y.from = 0
	p.lines = []plotLine{{x: xs, y: ys}}
	p.limits = []plotLevel{{limit, "limit"}}
	p.odd = q.named("focus-gap", "focus-stall", "focus-turn")
	p.alt = fmt.Sprintf("about %.1f px a frame, between %.1f and %.1f; largest %.1f at %s; limit %.0f", j.Step.Blur, j.Step.Low, j.Step.High, most, q.frames[where].Label(), limit)
	return p
}

// plotExposure draws exposure time, f-number and ISO over the frames, as EV against the
// first frame, where one of them changes.
func (q *sequenceModel) plotExposure() *plot {
	stops := func(v exifread.Value[exifread.Rational], of func(float64) float64) float64 {
		if r, ok := v.Get(); ok && r.Float() > 0 {
			return of(r.Float())
		}
		return math.NaN()
	}
	n := len(q.frames)
	lines := []plotLine{{name: "exposure time"}, {name: "f-number"}, {name: "ISO"}}
	for i := range lines {
		lines[i].x, lines[i].y = places(n), make([]float64, n)
	}
	for i, f := range q.frames {
		m := f.Meta()
		lines[0].y[i] = stops(m.ExposureTime, math.Log2)
		lines[1].y[i] = stops(m.FNumber, func(v float64) float64 { return -2 * math.Log2(v) })
		lines[2].y[i] = math.NaN()
		if iso, ok := m.Sensitivity.Get(); ok && iso > 0 {
			lines[2].y[i] = math.Log2(float64(iso))
		}
	}
	var all []float64
	var told []string
	varies := false
	for i := range lines {
		base := math.NaN()
		lo, hi := math.Inf(1), math.Inf(-1)
		for k, v := range lines[i].y {
			if math.IsNaN(base) {
				base = v
			}
			lines[i].y[k] = v - base
			if !math.IsNaN(v) {
				lo, hi = min(lo, v-base), max(hi, v-base)
			}
		}
		all = append(all, lines[i].y...)
		switch {
		case hi-lo >= 0.1:
			varies = true
			told = append(told, fmt.Sprintf("%s changes over %.1f EV", lines[i].name, hi-lo))
		case hi >= lo:
			told = append(told, lines[i].name+" stays as it is")
		}
	}
	if !varies {
		return nil
	}
	p := &plot{title: "Exposure", x: q.alongFrames(), y: axis{name: "EV from the first frame"}, lines: lines}
	p.y.spread(2, all...)
	p.odd = q.named("iso-drift", "exposure-drift", "aperture-drift")
	p.alt = strings.Join(told, "; ")
	return p
}

// plotBrightness draws how bright the pictures are, beyond what the settings explain.
func (q *sequenceModel) plotBrightness() *plot {
	dark := q.found("dark-frame", "brightness-drift", "flash-missed")
	if q.seen == nil || q.kind != shoot.TimeLapse && !dark {
		return nil
	}
	xs, ys := places(len(q.frames)), make([]float64, len(q.frames))
	lo, hi, darkest := math.Inf(1), math.Inf(-1), 0
	for i := range ys {
		ys[i] = math.NaN()
		if m := q.measured(i); m != nil {
			ys[i] = m.EV
			if m.EV < lo {
				lo, darkest = m.EV, i
			}
			hi = max(hi, m.EV)
		}
	}
	if lo > hi {
		return nil
	}
	p := &plot{title: "Brightness of the pictures, beyond the settings", x: q.alongFrames(), y: axis{name: "EV"}}
	p.y.spread(1, ys...)
	p.lines = []plotLine{{x: xs, y: ys}}
	p.odd = q.named("dark-frame", "brightness-drift", "flash-missed")
	p.alt = fmt.Sprintf("from %.1f to %.1f EV against the middle frame; darkest %s", tenths(lo), tenths(hi), q.frames[darkest].Label())
	return p
}

// tenths rounds to tenths, without a minus sign before 0.
func tenths(v float64) float64 { return math.Round(10*v)/10 + 0 }

// plotInterval draws the time from the frame before, for time-lapses and runs whose pace
// was found at fault.
func (q *sequenceModel) plotInterval() *plot {
	if q.kind != shoot.TimeLapse && !q.found("interval-gap", "interval-jitter", "cadence-break", "interval-overrun") {
		return nil
	}
	n := len(q.frames)
	xs, ys := places(n), make([]float64, n)
	lo, hi, at := math.Inf(1), math.Inf(-1), 0
	for i, f := range q.frames {
		ys[i] = math.NaN()
		if i > 0 && f.Timed() && q.frames[i-1].Timed() {
			ys[i] = f.Time.Sub(q.frames[i-1].Time).Seconds()
			lo = min(lo, ys[i])
			if ys[i] > hi {
				hi, at = ys[i], i
			}
		}
	}
	if lo > hi {
		return nil
	}
	p := &plot{title: "Interval", x: q.alongFrames(), y: axis{name: "s since the frame before"}}
	p.y.spread(max(0.2, 0.2*hi), append(slices.Clone(ys), 0)...)
	p.y.from = 0
	p.lines = []plotLine{{x: xs, y: ys}}
	p.odd = q.named("interval-gap", "cadence-break")
	p.alt = fmt.Sprintf("from %.2f to %.2f s; longest before %s", lo, hi, q.frames[at].Label())
	return p
}
