package report

import (
	"encoding/base64"
	"fmt"
	"html/template"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"prestrike/audit"
	"prestrike/audit/pixels"
	"prestrike/audit/shoot"
)

// The pictures of the page: which ones, and how large.

// A pageWriter makes the parts of a page.
type pageWriter struct {
	gallery  Gallery // nil where the page has no pictures
	all      bool    // a strip of every frame
	bare     bool    // single frames of which nothing is to be said have no picture
	limit    pictureBytes
	findings int
	names    map[string]int // how many frames have a name
}

// pictureBytes are the most bytes of each kind of picture.
type pictureBytes struct{ tile, proof, strip, detail int }

const (
	// pageBytes is the most that the pictures of a page for 300 frames may take, in bytes
	// of base64; the rest of the 12 MB is text and drawings. Pages of more frames may grow
	// with their number.
	pageBytes  = 11 << 20
	pageFrames = 300

	// Sizes in pixels: the long side, and the size of a detail.
	tileLong, proofLong, stripLong = 480, 1600, 320
	detailWide, detailHigh         = 600, 400
	// mapBytes is what a coverage map and its key take, about.
	mapBytes = 80 << 10
	// fewStrip is how many frames of a sequence are in its strip unless all are.
	fewStrip = 12
	// mostTiles is how many sequences a page has before single frames lose their pictures.
	mostTiles = 300
	// mostGrowth is how many times as large as for 300 frames a page may be.
	mostGrowth = 4
	// mostShown is how many pictures a finding has at most.
	mostShown = 4
)

func newPageWriter(m *model, opt *Options) *pageWriter {
	at := &pageWriter{gallery: opt.Gallery, all: opt.Pictures == AllPictures, names: map[string]int{}}
	if opt.Pictures == NoPictures {
		at.gallery = nil
	}
	frames, findings, sequences, strips, maps := 0, 0, 0, 0, 0
	for i := range m.sessions {
		s := &m.sessions[i]
		findings += len(s.findings)
		for k := range s.sequences {
			q := &s.sequences[k]
			sequences++
			frames += len(q.frames)
			findings += len(q.findings)
			strips += len(at.stripOf(q))
			if q.kind == shoot.Focus {
				maps++
			}
			for _, f := range q.frames {
				at.names[f.Name()]++
			}
		}
	}
	at.limit = pictureBytes{tile: 36 << 10, proof: 280 << 10, strip: 14 << 10, detail: 80 << 10}
	at.bare = sequences > mostTiles && !at.all
	budget := pageBytes * 3 / 4 * min(max(1, frames/pageFrames), mostGrowth)
	budget = max(budget/4, budget-maps*mapBytes)
	need := sequences*(at.limit.tile+at.limit.proof) + strips*at.limit.strip + findings*(mostShown+1)*at.limit.detail
	if need > budget {
		share := float64(budget) / float64(need)
		for _, of := range []*int{&at.limit.tile, &at.limit.proof, &at.limit.strip, &at.limit.detail} {
			*of = max(4<<10, int(share*float64(*of)))
		}
	}
	return at
}

// nameOf names a frame by its file, and by its path where others have that name.
func (at *pageWriter) nameOf(f *shoot.Frame) string {
	if at.names[f.Name()] > 1 {
		return f.Path()
	}
	return f.Name()
}

// A shown is a picture on the page, or why there is none.
type shown struct {
	URL           template.URL
	Width, Height int
	Alt           string // what it shows
	Caption       string
	Why           string // there is no picture
	// Outline is the region drawn over it, in percent of its sides; nil for none.
	Outline *outline
	// Arrow is drawn over it, for a picture that moved; nil for none.
	Arrow *arrow
	Odd   bool // it is the frame that the finding is about
	Exact bool // a pixel of it is a pixel of the page

	made *Picture // nil where there is none
}

// An outline is a box in units of the picture.
type outline struct{ X, Y, Width, Height float64 }

// An arrow goes from the middle of the picture, in units of the picture.
type arrow struct{ X0, Y0, X1, Y1 float64 }

func (at *pageWriter) shown(p *Picture, err error, alt, caption string) *shown {
	s := &shown{Alt: Visible(alt), Caption: Visible(caption)}
	switch {
	case err != nil:
		s.Why = Visible(err.Error())
	case p != nil:
		s.URL, s.Width, s.Height, s.made = dataURL(p), p.Width, p.Height, p
	}
	return s
}

// dataURL writes a picture as a URL of its own. Only the two types that the gallery knows
// are written.
func dataURL(p *Picture) template.URL {
	kind := "image/jpeg"
	if p.Type == "image/png" {
		kind = p.Type
	}
	return template.URL("data:" + kind + ";base64," + base64.StdEncoding.EncodeToString(p.Data))
}

// whole is a whole frame.
func (at *pageWriter) whole(f *shoot.Frame, long, bytes int, caption string) *shown {
	p, err := at.gallery.Whole(f, long, bytes)
	return at.shown(p, err, "frame "+f.Label(), caption)
}

// Tile is the picture of the sequence on the contact sheet; nil without pictures.
func (q *pageSequence) Tile() *shown {
	if q.at.gallery == nil || q.at.bare && q.Plain {
		return nil
	}
	p, err := q.at.gallery.Proof(q.model.reviewed, tileLong, q.at.limit.tile)
	if err == nil && p != nil && p.Picture != nil {
		return q.at.shown(p.Picture, nil, q.ID+", "+q.Kind, "")
	}
	s := q.at.whole(q.model.frames[0], tileLong, q.at.limit.tile, "")
	s.Alt = q.ID + ", " + q.Kind + ", frame " + Visible(q.model.frames[0].Label())
	return s
}

// A pageProof is a proof on the page.
type pageProof struct {
	Picture *shown
	Caption string
	Words   []string
	Map     *shown
	Key     []pageKey
	Best    []*shown
	Part    *shown // the sharpest part of a single frame at 100 %
}

type pageKey struct {
	Sample *shown
	Words  string
}

// Proof is the large picture of the sequence; nil without pictures.
func (q *pageSequence) Proof() *pageProof {
	at := q.at
	if at.gallery == nil {
		return nil
	}
	p, err := at.gallery.Proof(q.model.reviewed, proofLong, at.limit.proof)
	if err != nil || p == nil || p.Picture == nil {
		middle := q.model.frames[len(q.model.frames)/2]
		caption := ""
		if len(q.model.frames) > 1 {
			caption = "Frame " + Visible(middle.Label()) + ", from the middle of the sequence."
		}
		if err != nil {
			caption = sentence(caption + " No picture of all frames could be made: " + Visible(err.Error()))
		}
		out := &pageProof{Picture: at.whole(middle, proofLong, at.limit.proof, ""), Caption: strings.TrimSpace(caption)}
		if q.model.kind == shoot.Single {
			out.Part = at.sharpest(middle)
		}
		return out
	}
	out := &pageProof{Picture: at.shown(p.Picture, nil, q.ID+", "+q.Kind+": "+p.Caption, ""), Caption: Visible(p.Caption)}
	for _, w := range p.Words {
		out.Words = append(out.Words, Visible(w))
	}
	for _, b := range p.Best {
		out.Best = append(out.Best, at.shown(b, nil, "frame "+b.Name, b.Name))
	}
	if p.Map != nil {
		out.Map = at.shown(p.Map, nil, "coverage map of "+q.ID+": in which frame each place is sharpest", "")
		for _, k := range p.Key {
			out.Key = append(out.Key, pageKey{at.shown(k.Sample, nil, "", ""), Visible(k.Words)})
		}
	}
	return out
}

// sharpest is the sharpest part of a frame at 100 %; nil where there is none.
func (at *pageWriter) sharpest(f *shoot.Frame) *shown {
	region, err := at.gallery.Sharpest(f, detailWide, detailHigh)
	if err != nil {
		return nil
	}
	p, err := at.gallery.Detail(f, region, detailWide, detailHigh, at.limit.detail)
	if err != nil {
		return nil
	}
	s := at.shown(p, nil, "the sharpest part of frame "+f.Label(), fmt.Sprintf("The sharpest part of frame %s, at 100 %% of a picture of %d pixels.", f.Label(), p.Of))
	s.Exact = true
	return s
}

// stripOf returns the places of the frames in the strip of a sequence.
func (at *pageWriter) stripOf(q *sequenceModel) []int {
	n := len(q.frames)
	if n < 2 {
		return nil
	}
	keep := map[int]bool{}
	few := fewStrip
	if q.kind == shoot.TimeLapse {
		few *= 2 // they are stepped through
	}
	if at.all || n <= few {
		for i := range n {
			keep[i] = true
		}
	} else {
		for i := range few {
			keep[int(math.Round(float64(i)*float64(n-1)/float64(few-1)))] = true
		}
	}
	var out []int
	for i := range n {
		if keep[i] {
			out = append(out, i)
		}
	}
	return out
}

// Strip is frames of the sequence in order.
func (q *pageSequence) Strip() []*shown {
	if q.at.gallery == nil {
		return nil
	}
	odd := q.model.oddFrames()
	var out []*shown
	for _, i := range q.at.stripOf(q.model) {
		f := q.model.frames[i]
		s := q.at.whole(f, stripLong, q.at.limit.strip, f.Label())
		s.Odd = odd[f]
		out = append(out, s)
	}
	return out
}

// StripWords writes which frames the strip has.
func (q *pageSequence) StripWords() string {
	n, all := len(q.at.stripOf(q.model)), len(q.model.frames)
	if n < all {
		return fmt.Sprintf("%d of %d frames, evenly spread", n, all)
	}
	return fmt.Sprintf("all %d frames", all)
}

// Slides reports whether the strip is to be stepped through by a slider.
func (q *pageSequence) Slides() bool { return q.model.kind == shoot.TimeLapse }

// A pageShow is how a finding is shown: a set of pictures of one kind.
type pageShow struct {
	Kind     string // "frames", "detail", "pair"
	Words    string
	Pictures []*shown
	Plot     template.HTML // beside them
}

// Show makes the pictures that decide the finding; nil where none does.
func (f *pageFinding) Show() *pageShow {
	if f.at.gallery == nil || f.finding.Shows == audit.ShowNothing {
		return nil
	}
	named := f.finding.Closest
	if len(named) == 0 {
		named = f.finding.Frames
	}
	if len(named) == 0 {
		return nil
	}
	switch {
	case f.finding.Shows == audit.ShowDetail:
		return f.showDetail(named)
	case f.finding.Shows == audit.ShowPair && len(named) >= 2:
		return f.showPair(named[0], named[1])
	default:
		return f.showFrames(named)
	}
}

// around returns frames of the sequence that show a place: those named, as far as they are
// few, with the neighbours on each side; of a long stretch, where it begins.
func (f *pageFinding) around(named []*shoot.Frame, most int) []*shoot.Frame {
	i := slices.Index(f.frames, named[0])
	if i < 0 || f.sequence == nil {
		return named[:min(len(named), most)]
	}
	lo, hi := max(0, i-1), i
	for hi+1 < len(f.frames) && hi-lo+1 < most && (slices.Contains(named, f.frames[hi+1]) || slices.Contains(named, f.frames[hi])) {
		hi++
	}
	for lo > 0 && hi-lo+1 < min(most, 3) {
		lo--
	}
	return f.frames[lo : hi+1]
}

func (f *pageFinding) showFrames(named []*shoot.Frame) *pageShow {
	out := &pageShow{Kind: "frames", Words: "The frames around the place."}
	list := f.around(named, mostShown)
	if f.Key {
		list = []*shoot.Frame{named[0]}
	}
	for _, frame := range list {
		s := f.at.whole(frame, detailWide, f.at.limit.detail, frame.Label())
		s.Odd = slices.Contains(named, frame) && len(named) < len(f.frames)
		out.Pictures = append(out.Pictures, s)
	}
	return out
}

// showDetail shows one place at 100 %, in the first frame named and its neighbours, and
// before them the whole frame with the place outlined.
func (f *pageFinding) showDetail(named []*shoot.Frame) *pageShow {
	frame, region := named[0], f.finding.Region
	if region == (audit.Region{}) {
		if len(named) == len(f.frames) {
			frame = named[len(named)/2] // it is about all of them
		}
		var err error
		if region, err = f.at.gallery.Sharpest(frame, detailWide, detailHigh); err != nil {
			return f.showFrames(named)
		}
	}
	out := &pageShow{Kind: "detail", Words: "The place, and where it lies in the frame."}
	list := f.around([]*shoot.Frame{frame}, 3)
	if f.Key {
		list = []*shoot.Frame{frame}
	}
	for _, of := range list {
		p, err := f.at.gallery.Detail(of, region, detailWide, detailHigh, f.at.limit.detail)
		if err == nil && of == frame {
			out.Words = fmt.Sprintf("The place at 100 %% of a picture of %d pixels, the largest in the file that can be shown, and where it lies in the frame.", p.Of)
		}
		s := f.at.shown(p, err, "detail of frame "+of.Label(), of.Label())
		s.Odd, s.Exact = of == frame, !f.Key
		out.Pictures = append(out.Pictures, s)
	}
	if !f.Key {
		s := f.at.whole(frame, detailWide, f.at.limit.detail, frame.Label()+", whole")
		if b := pixels.Box(region).Turned(int(frame.Meta().Orientation.Or(1))); s.Why == "" {
			w, h := float64(s.Width), float64(s.Height)
			s.Outline = &outline{math.Round(b.X0 * w), math.Round(b.Y0 * h), math.Round((b.X1 - b.X0) * w), math.Round((b.Y1 - b.Y0) * h)}
		}
		out.Pictures = append(out.Pictures, s)
		if p := f.edgePlot(); p != nil {
			out.Plot = p.svg()
		}
	}
	return out
}

// edgePlot draws how the sharpness of the area that a finding on an end is about rises
// towards it; nil for other findings.
func (f *pageFinding) edgePlot() *plot {
	q := f.sequence
	if q == nil || q.seen == nil || f.finding.Region == (audit.Region{}) {
		return nil
	}
	j := q.seen.Judgement
	for _, e := range []*pixels.Edge{&j.First, &j.Last} {
		if audit.Region(e.Box) != f.finding.Region || len(e.Curve) == 0 || j.Depth.Thirds[0] == nil {
			continue
		}
		xs := make([]float64, len(e.Curve))
		for i := range xs {
			xs[i] = float64(j.Depth.From + i)
		}
		return &plot{
			title: "Sharpness of the area, frame by frame", x: q.alongFrames(), y: axis{from: 0, to: 1.04, name: "sharpness"},
			lines: []plotLine{{x: xs, y: e.Curve}}, odd: []float64{float64(e.Frame)},
			alt: "sharpest in " + q.frames[e.Frame].Label() + ", at the end of the sequence",
		}
	}
	return nil
}

// showPair shows two frames to be compared, with the way that the picture moved.
func (f *pageFinding) showPair(a, b *shoot.Frame) *pageShow {
	if f.finding.Region != (audit.Region{}) {
		return f.showPlaceInPair(a, b)
	}
	out := &pageShow{Kind: "pair", Words: "Compare the two: the arrow has the direction of the shift and is longer than it."}
	for i, frame := range []*shoot.Frame{a, b} {
		s := f.at.whole(frame, 2*stripLong+detailWide/2, 2*f.at.limit.detail, frame.Label())
		if i == 1 {
			s.Odd = true
			s.Arrow = f.shiftArrow(a, b, s)
		}
		out.Pictures = append(out.Pictures, s)
	}
	if out.Pictures[1].Arrow == nil {
		out.Words = "Compare the two."
	}
	if f.Key {
		out.Kind, out.Pictures = "frames", out.Pictures[1:]
	}
	return out
}

// showPlaceInPair shows one place at 100 % in two frames to be compared.
func (f *pageFinding) showPlaceInPair(a, b *shoot.Frame) *pageShow {
	out := &pageShow{Kind: "pair", Words: "Compare the place in the two."}
	for i, frame := range []*shoot.Frame{a, b} {
		p, err := f.at.gallery.Detail(frame, f.finding.Region, detailWide, detailHigh, f.at.limit.detail)
		s := f.at.shown(p, err, "detail of frame "+frame.Label(), frame.Label())
		s.Odd, s.Exact = i == 1, !f.Key
		out.Pictures = append(out.Pictures, s)
		if err == nil {
			out.Words = fmt.Sprintf("Compare the place in the two, at 100 %% of a picture of %d pixels, the largest in the file that can be shown.", p.Of)
		}
	}
	if f.Key {
		out.Kind, out.Pictures = "frames", out.Pictures[1:]
	}
	return out
}

// shiftArrow points where the picture went from a frame to the next, a tenth of the
// picture's width long.
func (f *pageFinding) shiftArrow(a, b *shoot.Frame, s *shown) *arrow {
	q := f.sequence
	if q == nil || s.Why != "" {
		return nil
	}
	from, to := slices.Index(q.frames, a), slices.Index(q.frames, b)
	if from < 0 || to < 0 || q.measured(from) == nil || q.measured(to) == nil {
		return nil
	}
	dx, dy := q.measured(to).ShiftX-q.measured(from).ShiftX, q.measured(to).ShiftY-q.measured(from).ShiftY
	long := math.Hypot(dx, dy)
	if long < 0.05 {
		return nil
	}
	box := pixels.Box{X0: 0.5, Y0: 0.5, X1: 0.5 + dx/long/10, Y1: 0.5 + dy/long/10}.Turned(int(b.Meta().Orientation.Or(1)))
	w, h := float64(s.Width), float64(s.Height)
	return &arrow{w / 2, h / 2, tenths(w/2 + (box.X1+box.X0-1)*w), tenths(h/2 + (box.Y1+box.Y0-1)*w)}
}

// tomlString quotes a string for TOML, with what does not show escaped; it is not ok for
// one that is not UTF-8, which TOML cannot hold.
func tomlString(s string) (quoted string, ok bool) {
	if !utf8.ValidString(s) {
		return "", false
	}
	var b strings.Builder
	b.WriteByte('"')
	for _, r := range s {
		switch {
		case r == '"' || r == '\\':
			b.WriteByte('\\')
			b.WriteRune(r)
		case strconv.IsPrint(r):
			b.WriteRune(r)
		default:
			fmt.Fprintf(&b, `\U%08X`, r)
		}
	}
	b.WriteByte('"')
	return b.String(), true
}
