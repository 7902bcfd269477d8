package report

import (
	"fmt"
	"html"
	"html/template"
	"math"
	"strconv"
	"strings"
)

// A plot is a small drawing of numbers over frames or time. It is written as SVG with
// classes and no colours of its own: the page's style gives ink and paper, so that it reads
// in black and white. A library for plots would bring fonts, colours and a canvas of its
// own for what is some lines and marks here.
type plot struct {
	title string // of the drawing, and its unit
	alt   string // the numbers that matter, in words
	x, y  axis
	// lines are drawn in the order given; each has its own mark and dash.
	lines []plotLine
	// holes are spans along x that nothing lies in; limits are levels along y.
	holes  []plotSpan
	limits []plotLevel
	// odd are the places along x that a finding names.
	odd []float64
}

// An axis is a span of numbers. Where label is set, it writes the labels of the ticks.
type axis struct {
	from, to float64
	name     string
	label    func(float64) string
	whole    bool // ticks at whole numbers only
}

// A plotLine is one series of points; where y is NaN nothing is known.
type plotLine struct {
	name string
	x, y []float64
	step bool // the marks are single values, no line joins them
}

type plotSpan struct {
	from, to float64
	name     string
}

type plotLevel struct {
	at   float64
	name string
}

// The drawing's size in units of the SVG, which the page scales to its column.
const (
	plotWidth, plotHeight                    = 640.0, 216.0
	plotLeft, plotRight, plotTop, plotBottom = 54.0, 16.0, 26.0, 40.0
	plotMarkSize                             = 2.6
	mostMarks                                = 90       // more would run into each other
	charWidth, keyWidth                      = 6.4, 8.2 // of a character, on screen and in print
)

// dashes and marks distinguish lines without colour.
var dashes = []string{"", "7 4", "2 3", "10 3 2 3"}

// svg draws the plot.
func (p *plot) svg() template.HTML {
	var b strings.Builder
	fmt.Fprintf(&b, `<svg class="plot" viewBox="0 0 %g %g" role="img" aria-label="%s">`, plotWidth, plotHeight, attribute(p.title+": "+p.alt))
	for _, h := range p.holes {
		x0, x1 := p.atX(h.from), p.atX(h.to)
		fmt.Fprintf(&b, `<rect class="hole" x="%s" y="%g" width="%s" height="%g"/>`, number(x0), plotTop, number(max(2, x1-x0)), plotHeight-plotTop-plotBottom)
		for x := x0; x < x1 || x == x0; x += 6 { // hatched, so that it shows in print
			fmt.Fprintf(&b, `<path class="hatch" d="M%s %gl6 -6"/>`, number(min(x, x1)), plotHeight-plotBottom)
		}
		b.WriteString(p.text("note", clamp((x0+x1)/2, plotLeft+40, plotWidth-plotRight-40), plotTop+10, "middle", h.name))
	}
	p.drawAxes(&b)
	for _, l := range p.limits {
		y := p.atY(l.at)
		fmt.Fprintf(&b, `<path class="limit" d="M%g %sH%g"/>`, plotLeft, number(y), plotWidth-plotRight)
		b.WriteString(p.text("note", plotWidth-plotRight, y-4, "end", l.name))
	}
	for _, x := range p.odd {
		fmt.Fprintf(&b, `<path class="odd" d="M%s %gl-4.5 -8h9z"/>`, number(p.atX(x)), plotHeight-plotBottom-1)
	}
	for i := range p.lines {
		p.drawLine(&b, i)
	}
	if len(p.lines) > 1 {
		p.drawKey(&b)
	}
	b.WriteString(`</svg>`)
	return template.HTML(b.String()) // every text in it went through attribute or text
}

func (p *plot) drawAxes(b *strings.Builder) {
	bottom := plotHeight - plotBottom
	fmt.Fprintf(b, `<path class="axis" d="M%g %gV%gH%g"/>`, plotLeft, plotTop, bottom, plotWidth-plotRight)
	for _, v := range p.y.ticks(5) {
		y := p.atY(v)
		fmt.Fprintf(b, `<path class="grid" d="M%g %sH%g"/>`, plotLeft, number(y), plotWidth-plotRight)
		b.WriteString(p.text("tick", plotLeft-6, y+4, "end", p.y.text(v)))
	}
	last := math.Inf(-1)
	for _, v := range p.x.ticks(8) {
		x, label := p.atX(v), p.x.text(v)
		half := charWidth * float64(len([]rune(label))) / 2
		if x-half < last+6 {
			continue
		}
		last = x + half
		fmt.Fprintf(b, `<path class="axis" d="M%s %gv4"/>`, number(x), bottom)
		b.WriteString(p.text("tick", clamp(x, half, plotWidth-half), bottom+16, "middle", label))
	}
	b.WriteString(p.text("name", (plotLeft+plotWidth-plotRight)/2, plotHeight-6, "middle", p.x.name))
	fmt.Fprintf(b, `<g transform="translate(12 %g) rotate(-90)">%s</g>`, (plotTop+bottom)/2, p.text("name", 0, 0, "middle", p.y.name))
}

// drawLine draws line i: joined where its numbers are known, with its marks.
func (p *plot) drawLine(b *strings.Builder, i int) {
	l := &p.lines[i]
	var path strings.Builder
	pen := "M"
	known := 0
	for k := range l.x {
		if math.IsNaN(l.y[k]) {
			pen = "M"
			continue
		}
		known++
		fmt.Fprintf(&path, "%s%s %s", pen, number(p.atX(l.x[k])), number(p.atY(l.y[k])))
		pen = "L"
	}
	if !l.step {
		fmt.Fprintf(b, `<path class="line" d="%s"%s/>`, path.String(), dash(i))
	}
	if known > mostMarks {
		return
	}
	for k := range l.x {
		if !math.IsNaN(l.y[k]) {
			b.WriteString(mark(i, p.atX(l.x[k]), p.atY(l.y[k])))
		}
	}
}

// drawKey names the lines above the drawing, each with its dash and mark.
func (p *plot) drawKey(b *strings.Builder) {
	x := plotLeft + 4
	for i, l := range p.lines {
		fmt.Fprintf(b, `<path class="line" d="M%s %gh26"%s/>%s`, number(x), plotTop-6, dash(i), mark(i, x+13, plotTop-6))
		b.WriteString(p.text("legend", x+32, plotTop-2, "start", l.name))
		x += 50 + keyWidth*float64(len([]rune(l.name)))
	}
}

func dash(i int) string {
	if d := dashes[i%len(dashes)]; d != "" {
		return ` stroke-dasharray="` + d + `"`
	}
	return ""
}

// mark draws a point of line i: a disk, a square, a triangle or a ring.
func mark(i int, x, y float64) string {
	const r = plotMarkSize
	switch i % 4 {
	case 1:
		return fmt.Sprintf(`<rect class="mark" x="%s" y="%s" width="%g" height="%g"/>`, number(x-r), number(y-r), 2*r, 2*r)
	case 2:
		return fmt.Sprintf(`<path class="mark" d="M%s %sl%g %gh%g z"/>`, number(x), number(y-r-1), r+1, 2*r+1, -2*r-2)
	case 3:
		return fmt.Sprintf(`<circle class="ring" cx="%s" cy="%s" r="%g"/>`, number(x), number(y), r)
	}
	return fmt.Sprintf(`<circle class="mark" cx="%s" cy="%s" r="%g"/>`, number(x), number(y), r)
}

func (p *plot) text(class string, x, y float64, anchor, text string) string {
	return fmt.Sprintf(`<text class="%s" x="%s" y="%s" text-anchor="%s">%s</text>`, class, number(x), number(y), anchor, html.EscapeString(Visible(text)))
}

func (p *plot) atX(v float64) float64 {
	return plotLeft + p.x.share(v)*(plotWidth-plotLeft-plotRight)
}

func (p *plot) atY(v float64) float64 {
	return plotHeight - plotBottom - p.y.share(v)*(plotHeight-plotTop-plotBottom)
}

// share returns where on the axis a number lies, 0 to 1.
func (a *axis) share(v float64) float64 {
	if a.to == a.from {
		return 0.5
	}
	return clamp((v-a.from)/(a.to-a.from), 0, 1)
}

// spread widens the axis to hold numbers with some air, and a span of at least least.
func (a *axis) spread(least float64, values ...float64) {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, v := range values {
		if !math.IsNaN(v) && !math.IsInf(v, 0) {
			lo, hi = min(lo, v), max(hi, v)
		}
	}
	if lo > hi {
		lo, hi = 0, 0
	}
	if hi-lo < least {
		middle := (lo + hi) / 2
		lo, hi = middle-least/2, middle+least/2
	}
	air := 0.08 * (hi - lo)
	a.from, a.to = lo-air, hi+air
}

// ticks returns about n round numbers on the axis.
func (a *axis) ticks(n int) []float64 {
	span := a.to - a.from
	if span <= 0 || math.IsInf(span, 0) || math.IsNaN(span) {
		return []float64{a.from}
	}
	step := math.Pow(10, math.Floor(math.Log10(span/float64(n))))
	for _, times := range []float64{2, 2.5, 2} { // 1, 2, 5, 10
		if span/step <= float64(n) {
			break
		}
		step *= times
	}
	if a.whole {
		step = max(1, math.Round(step))
	}
	var out []float64
	for k := math.Ceil(a.from/step - 1e-9); k*step <= a.to+1e-9*span; k++ {
		out = append(out, k*step)
	}
	return out
}

func (a *axis) text(v float64) string {
	if a.label != nil {
		return a.label(v)
	}
	text := strconv.FormatFloat(math.Round(v*1e6)/1e6+0, 'f', -1, 64) // + 0: no −0
	return strings.Replace(text, "-", "−", 1)                         // a minus sign
}

// attribute makes text harmless inside the quotation marks of an attribute.
func attribute(text string) string { return html.EscapeString(Visible(text)) }

// number writes a coordinate to a tenth of a unit.
func number(v float64) string { return strconv.FormatFloat(math.Round(10*v)/10, 'f', -1, 64) }

func clamp(v, lo, hi float64) float64 { return max(lo, min(hi, v)) }
