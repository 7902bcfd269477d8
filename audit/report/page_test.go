package report_test

import (
	"bytes"
	"errors"
	"fmt"
	"math/rand/v2"
	"regexp"
	"strings"
	"testing"

	"prestrike/audit"
	"prestrike/audit/pixels"
	"prestrike/audit/report"
	"prestrike/audit/shoot"

	"github.com/google/go-cmp/cmp"
	"github.com/pelletier/go-toml/v2"
	"golang.org/x/net/html"
)

// fakeGallery makes pictures of as many bytes as they may take, that no image data is in.
type fakeGallery struct {
	text  string // of captions and reasons
	fails bool
	made  map[string]int // how many of each kind
	large bool           // every picture takes what it may
}

func (g *fakeGallery) picture(kind string, most int) (*report.Picture, error) {
	if g.made == nil {
		g.made = map[string]int{}
	}
	g.made[kind]++
	if g.fails {
		return nil, errors.New(g.text)
	}
	n := 3
	if g.large {
		n = most
	}
	return &report.Picture{Type: "image/jpeg", Data: make([]byte, n), Width: 60, Height: 40, Of: 6000, Name: g.text}, nil
}

func (g *fakeGallery) Whole(_ *shoot.Frame, _, most int) (*report.Picture, error) {
	return g.picture("whole", most)
}

func (g *fakeGallery) Detail(_ *shoot.Frame, _ audit.Region, _, _, most int) (*report.Picture, error) {
	return g.picture("detail", most)
}

func (g *fakeGallery) Sharpest(*shoot.Frame, int, int) (audit.Region, error) {
	return audit.Region{X0: 0.2, Y0: 0.2, X1: 0.4, Y1: 0.4}, nil
}

func (g *fakeGallery) Proof(_ *audit.Reviewed, _, most int) (*report.Proof, error) {
	p, err := g.picture("proof", most)
	if err != nil {
		return nil, err
	}
	small := *p
	small.Data = make([]byte, 8<<10)
	mapped := small
	mapped.Type, mapped.Data = "image/png", make([]byte, 60<<10) // as much as a real one takes
	return &report.Proof{Picture: p, Caption: g.text, Words: []string{g.text}, Map: &mapped, Key: []report.ProofKey{{Sample: &small, Words: g.text}}, Best: []*report.Picture{&small}}, nil
}

// parsePage returns the elements of a page, each with the names of its attributes, and the
// values of those that a reader's browser acts on.
func parsePage(t *testing.T, text []byte) (elements, values []string, words string) {
	t.Helper()
	z := html.NewTokenizer(bytes.NewReader(text))
	var b strings.Builder
	for {
		kind := z.Next()
		token := z.Token()
		switch kind {
		case html.ErrorToken:
			return elements, values, b.String()
		case html.StartTagToken, html.SelfClosingTagToken:
			name := token.Data
			for _, a := range token.Attr {
				name += " " + a.Key
				switch {
				case strings.HasPrefix(a.Key, "on"), a.Key == "style", a.Key == "srcset", a.Key == "action":
					t.Errorf("an attribute %s is on the page", a.Key)
				case a.Key == "href" && !strings.HasPrefix(a.Val, "#"), a.Key == "src" && !strings.HasPrefix(a.Val, "data:image/"):
					t.Errorf("%s leads to %q", a.Key, a.Val)
				case a.Key == "id", a.Key == "class", a.Key == "href":
					values = append(values, a.Val)
				}
			}
			elements = append(elements, name)
		case html.CommentToken:
			elements = append(elements, "comment")
		case html.TextToken:
			b.WriteString(token.Data + "\n")
		}
	}
}

// hostileTexts are what a page must show and not act on.
var hostileTexts = map[string]string{
	"script":      `</title></style></script><script>alert(1)</script>`,
	"handler":     `"><img src=x onerror=alert(1)>' onmouseover='alert(2)`,
	"address":     `javascript:alert(1)`,
	"bidi":        "gpj.\u202eexe\u2066",
	"control":     "a\x1b]0;x\x07\x00\r\nb\u0085\u2028",
	"template":    `{{.Style}}<!--`,
	"drawing":     `</svg></text><script>alert(1)</script>`,
	"a long name": strings.Repeat("A", 1<<20),
	"entity":      `&lt;script&gt;`,
	"closing":     `]]>--></figure></main>`,
}

// invisible are the characters of hostileTexts that do not show.
const invisible = "\x00\x07\x1b\r\u202e\u2066\u0085\u2028"

// TestPageShowsHostileTextHarmless puts each text into each place that text from files
// comes to: the page has the same elements as with plain text.
func TestPageShowsHostileTextHarmless(t *testing.T) {
	for _, sink := range []string{"files", "gallery", "reasons"} {
		page := func(text string) []byte {
			r, g := hostileResult(t, "plain"), &fakeGallery{text: "plain"}
			switch sink {
			case "files":
				r = hostileResult(t, text)
			case "gallery":
				g.text = text
			case "reasons":
				g.text, g.fails = text, true
			}
			return write(t, "html", r, &report.Options{Gallery: g})
		}
		wantElements, wantValues, _ := parsePage(t, page("plain"))
		for name, text := range hostileTexts {
			out := page(text)
			elements, values, words := parsePage(t, out)
			if diff := cmp.Diff(wantElements, elements); diff != "" {
				t.Errorf("%s in %s: other elements (-plain +hostile):\n%.2000s", name, sink, diff)
			}
			if diff := cmp.Diff(wantValues, values); diff != "" {
				t.Errorf("%s in %s: other names and classes (-plain +hostile):\n%.2000s", name, sink, diff)
			}
			if strings.ContainsAny(words, invisible) {
				t.Errorf("%s in %s: a character that does not show reached the page", name, sink)
			}
			if shown := report.Visible(text); len(shown) < 100 && !strings.Contains(words, shown) {
				t.Errorf("%s in %s: %q is not shown", name, sink, shown)
			}
		}
	}
}

// TestPageShowsEachSinkHarmless puts each text into one place alone: it adds no
// element there, and a plain one is shown.
func TestPageShowsEachSinkHarmless(t *testing.T) {
	page := func(s sink, text string) ([]string, string) {
		r := hostileResult(t, "plain")
		s.put(r, text)
		elements, _, words := parsePage(t, write(t, "html", r, nil))
		return elements, words
	}
	for _, s := range sinks {
		t.Run(s.name, func(t *testing.T) {
			want, words := page(s, "ammonite")
			if !strings.Contains(strings.ToLower(words), "ammonite") {
				t.Error("the page does not show it")
			}
			for name, text := range hostileTexts {
				if len(text) > 1<<10 {
					continue // all of them at once, above
				}
				elements, words := page(s, text)
				if diff := cmp.Diff(want, elements); diff != "" {
					t.Errorf("%s: other elements (-plain +hostile):\n%.2000s", name, diff)
				}
				if strings.ContainsAny(words, invisible) {
					t.Errorf("%s: a character that does not show reached the page", name)
				}
			}
		})
	}
}

// TestOnlyThePageMakesPictures holds that no other form asks for a picture or a proof.
func TestOnlyThePageMakesPictures(t *testing.T) {
	r := morningResult(t)
	for _, f := range report.Forms() {
		g := &fakeGallery{}
		write(t, f.Name, r, &report.Options{Gallery: g})
		if asked := len(g.made) > 0; asked != (f.Name == "html") {
			t.Errorf("%s asks for pictures: %v, %v", f.Name, asked, g.made)
		}
	}
}

// TestDrawingsShowHostileTextHarmless does the same for the names of frames in drawings,
// which are cut to eight characters.
func TestDrawingsShowHostileTextHarmless(t *testing.T) {
	page := func(name string) []byte {
		r := judge(t, "BX1_0001..0004.JPG every 1s time=2026-03-04T10:02:00.00 make=Borealis body=BX-1 serial=1 f=8 t=0.5 iso=100\nBX1_0005..0008.JPG every 1s after 1s iso=200")
		for _, f := range r.Sessions[0].Sequences[0].Frames {
			f.Files[0].Path, f.Number.Known = name, false
		}
		return write(t, "html", r, nil)
	}
	want, _, words := parsePage(t, page("plain"))
	if !strings.Contains(words, "EV from the first frame") || strings.Count(words, "plain") < 5 {
		t.Fatalf("no drawing names frames: %s", words)
	}
	for _, name := range []string{`<b>"x'&`, `"></svg>`, "a\x1b\u202eb", "{{.}}<!--"} {
		elements, _, words := parsePage(t, page(name))
		if diff := cmp.Diff(want, elements); diff != "" {
			t.Errorf("%q: other elements (-plain +hostile):\n%.2000s", name, diff)
		}
		if strings.ContainsAny(words, "\x1b\u202e") {
			t.Errorf("%q: a character that does not show reached the page", name)
		}
	}
}

// TestPageAsksForNothing holds that the page is one file with a policy that its own style
// and script meet.
func TestPageAsksForNothing(t *testing.T) {
	out := string(write(t, "html", morningResult(t), &report.Options{Gallery: &fakeGallery{}}))
	if regexp.MustCompile(`(?i)https?://`).MatchString(out) {
		t.Error("an address of elsewhere is on the page")
	}
	if !strings.Contains(out, `default-src &#39;none&#39;; img-src data:; style-src &#39;sha256-`) {
		t.Error("the page has no policy that forbids everything else")
	}
	if strings.Count(out, "<script") != 1 || strings.Count(out, "<style") != 1 {
		t.Error("there is more than one script or style")
	}
}

// TestPageSays holds that the page has what the table has, by word and shape.
func TestPageSays(t *testing.T) {
	r := morningResult(t)
	_, _, words := parsePage(t, write(t, "html", r, nil))
	for _, want := range []string{
		"check", "Inspect 1.5 before you go on.", "What to do now", "Frames 0162 to 0181 are at ISO 200, the rest at 100.", "retaken", "is its retake",
		"grey card in every view", "no sensor pitch", "Support assumed", "182 picture files, 182 frames; 3 other files passed over.",
		"[[accept]]\nrule = \"iso-drift\"\nframe = \"BX1_0122.NEF\"\n",
	} {
		if !strings.Contains(words, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	out := string(write(t, "html", r, nil))
	for word, shape := range map[string]string{"check": "triangle", "good": "disk", "retaken": "turned", "accepted": "ticked", "note": "ring"} {
		if !regexp.MustCompile(`<use href="#` + shape + `"/></svg>` + word).MatchString(out) {
			t.Errorf("%s is not written beside its shape, %s", word, shape)
		}
		if !strings.Contains(out, `<symbol id="`+shape+`"`) {
			t.Errorf("there is no shape %s", shape)
		}
	}
}

// TestPagePictures holds how many pictures a page has.
func TestPagePictures(t *testing.T) {
	r := morningResult(t) // 182 frames: 40, 38, 40 and 60 in sequences, 4 single
	for _, c := range []struct {
		count report.PictureCount
		least int
		most  int
	}{{report.NoPictures, 0, 0}, {report.FewPictures, 40, 90}, {report.AllPictures, 178, 230}} {
		g := &fakeGallery{}
		write(t, "html", r, &report.Options{Gallery: g, Pictures: c.count})
		if n := g.made["whole"]; n < c.least || n > c.most {
			t.Errorf("%d: %d whole frames, want %d to %d", c.count, n, c.least, c.most)
		}
		if c.count == report.NoPictures && len(g.made) > 0 {
			t.Errorf("pictures were made for a page without: %v", g.made)
		}
	}
}

// TestPageOfManySingles holds that a day of single frames makes no page too large to open.
func TestPageOfManySingles(t *testing.T) {
	var text strings.Builder
	for i := range 400 {
		fmt.Fprintf(&text, "BX1_%04d.JPG time=2026-03-04T%02d:%02d:00.00 make=Borealis body=BX-1 serial=1 f=%d t=1/%d\n", 1+i, 9+i/60, i%60, 4+i%7, 60+i)
	}
	r := judge(t, text.String())
	few, all := &fakeGallery{}, &fakeGallery{}
	out := write(t, "html", r, &report.Options{Gallery: few})
	if n := bytes.Count(out, []byte(`<li class="tile plain">`)); n < 350 {
		t.Fatalf("%d single frames", n)
	}
	write(t, "html", r, &report.Options{Gallery: all, Pictures: report.AllPictures})
	if n := few.made["proof"]; n > 20 || all.made["proof"] < 350 {
		t.Errorf("%d pictures, and %d of all", n, all.made["proof"])
	}
}

// TestPageSize holds a page of 300 frames and 12 sequences to 12 MB where every picture
// takes as much as it may, and a thumbnail to 40 KB.
func TestPageSize(t *testing.T) {
	var text strings.Builder
	var finds []planted
	for i := range 12 {
		fmt.Fprintf(&text, "BX1_%04d..%04d.JPG every 1s time=2026-03-04T10:%02d:00.00 make=Borealis body=BX-1 serial=1 f=8 t=0.5\n", 1+25*i, 25+25*i, 4*i)
		for k := range 3 {
			finds = append(finds, planted{fmt.Sprintf("1.%d", i+1), 4 + 5*k, 5 + 5*k, audit.Finding{Rule: fmt.Sprintf("rule-%d", k), Message: "m", Shows: audit.ShowDetail}})
		}
	}
	r := judge(t, text.String(), finds...)
	for _, q := range r.Sessions[0].Sequences {
		q.Kind = shoot.Focus // these have maps
	}
	if n := len(r.Sessions[0].Sequences); n != 12 || r.Files.Frames != 300 {
		t.Fatalf("%d sequences of %d frames", n, r.Files.Frames)
	}
	g := &fakeGallery{large: true}
	out := write(t, "html", r, &report.Options{Gallery: g, Pictures: report.AllPictures})
	if len(out) > 12_000_000 {
		t.Errorf("the page takes %d bytes, want at most 12,000,000", len(out))
	}
	if g.made["detail"] < 100 || g.made["whole"] < 300 {
		t.Errorf("only so many pictures: %v", g.made)
	}
	const thumbnail = 40_000 // bytes
	for _, src := range regexp.MustCompile(`(?s)<(?:li class="tile|section class="frames").*?</(?:li|section)>`).FindAll(out, -1) {
		for _, data := range regexp.MustCompile(`base64,([^"]*)"`).FindAllSubmatch(src, -1) {
			if n := len(data[1]) * 3 / 4; n > thumbnail {
				t.Fatalf("a thumbnail takes %d bytes, want at most %d", n, thumbnail)
			}
		}
	}
}

// TestPageShows holds how each kind of finding is shown: with how many pictures, and which.
func TestPageShows(t *testing.T) {
	const frames = "BX1_0001..0012.JPG every 1s time=2026-03-04T10:02:00.00 make=Borealis body=BX-1 serial=1 f=8 t=0.5"
	for name, c := range map[string]struct {
		first, last int
		finding     audit.Finding
		want        []string // captions of the finding's pictures
		class       string
		has         string
	}{
		"a dark frame":     {5, 5, audit.Finding{}, []string{"0005", "0006", "0007"}, "frames", `class="odd"`},
		"around a hole":    {5, 6, audit.Finding{}, []string{"0005", "0006", "0007", "0008"}, "frames", `class="odd"`},
		"a long stretch":   {4, 11, audit.Finding{}, []string{"0004", "0005", "0006", "0007"}, "frames", ""},
		"all of them":      {0, 11, audit.Finding{}, []string{"0001", "0002", "0003", "0004"}, "frames", ""},
		"a place":          {0, 0, audit.Finding{Shows: audit.ShowDetail, Region: audit.Region{X0: 0.25, Y0: 0.5, X1: 0.75, Y1: 1}}, []string{"0001", "0002", "0001, whole"}, "detail", `class="edge" x="15" y="20" width="30" height="20"`},
		"the sharpest":     {5, 5, audit.Finding{Shows: audit.ShowDetail}, []string{"0005", "0006", "0007", "0006, whole"}, "detail", "at 100 % of a picture of 6000 pixels"},
		"two frames":       {5, 6, audit.Finding{Shows: audit.ShowPair}, []string{"0006", "0007"}, "pair", `<line class="edge" x1="30" y1="20" x2="36" y2="20"/>`},
		"a place in two":   {5, 6, audit.Finding{Shows: audit.ShowPair, Region: audit.Region{X0: 0.25, Y0: 0.5, X1: 0.5, Y1: 0.75}}, []string{"0006", "0007"}, "pair", "Compare the place in the two, at 100 % of a picture of 6000 pixels"},
		"nothing to see":   {0, 11, audit.Finding{Shows: audit.ShowNothing}, nil, "", ""},
		"not all of those": {0, 11, audit.Finding{Shows: audit.ShowPair, Closest: []*shoot.Frame{{}, {}}}, []string{"0004", "0005"}, "pair", ""},
	} {
		t.Run(name, func(t *testing.T) {
			finding := c.finding
			finding.Rule, finding.Severity, finding.Message = "some-rule", audit.Note, "m"
			r := judge(t, frames, planted{"1.1", c.first, c.last, finding})
			q := r.Sessions[0].Sequences[0]
			if finding.Closest != nil {
				q.Findings[0].Closest = q.Frames[3:5]
			}
			j := &pixels.Judgement{Frames: 12, Factor: 1}
			for i := range 12 {
				j.PerFrame = append(j.PerFrame, pixels.FrameSummary{Measured: true, ShiftX: float64(3 * (i / 6)), Scale: 1})
			}
			q.Pictures = &pixels.Seen{Judgement: j}
			out := string(write(t, "html", r, &report.Options{Gallery: &fakeGallery{}}))
			_, shown, _ := strings.Cut(out, `<section class="finding`)
			shown, _, _ = strings.Cut(shown, "</section>")
			if strings.Contains(shown, "\ufffd") {
				t.Error("a sign that stands for nothing is shown")
			}
			var captions []string
			for _, m := range regexp.MustCompile(`<figcaption>(.*?)</figcaption>`).FindAllStringSubmatch(shown, -1) {
				captions = append(captions, m[1])
			}
			if diff := cmp.Diff(c.want, captions); diff != "" {
				t.Errorf("pictures (-want +got):\n%s", diff)
			}
			if c.class != "" && !strings.Contains(shown, `<div class="show `+c.class+`">`) || !strings.Contains(shown, c.has) {
				t.Errorf("not shown as %s with %s:\n%s", c.class, c.has, shown)
			}
		})
	}
}

// TestAcceptLines holds that the lines to copy are TOML that names the frame, whatever its
// name is, and are left out where TOML cannot hold it.
func TestAcceptLines(t *testing.T) {
	for _, name := range []string{"BX1_0001.JPG", `a"b\c.JPG`, "a\u202egpj", "<b>&amp;", "größe 感.JPG", "a\nb"} {
		r := hostileResult(t, name)
		_, _, words := parsePage(t, write(t, "html", r, nil))
		_, lines, found := strings.Cut(words, "[[accept]]")
		lines, _, _ = strings.Cut(lines, "\n\n")
		var got struct {
			Accept []struct{ Rule, Frame, Reason string }
		}
		if err := toml.Unmarshal([]byte("[[accept]]"+lines), &got); err != nil || !found {
			t.Errorf("%q: %v:\n%s", name, err, lines)
		} else if a := got.Accept[0]; a.Frame != name || a.Rule != "iso-drift" || a.Reason == "" {
			t.Errorf("%q: the lines name %q of %s", name, a.Frame, a.Rule)
		}
	}
	if _, _, words := parsePage(t, write(t, "html", hostileResult(t, "a\xff.JPG"), nil)); strings.Contains(words, "[[accept]]") {
		t.Error("lines for a name that TOML cannot hold")
	}
}

// TestPlots holds that drawings are made from what was measured, with their numbers in words.
func TestPlots(t *testing.T) {
	const n = 12
	j := &pixels.Judgement{Frames: n, Factor: 1, Walk: pixels.Walk{Verdict: pixels.Verdict{Answer: pixels.Found}}, Signature: pixels.Signature{Kind: "scale", PerFrame: 0.001}, Step: pixels.Step{Blur: 2, Low: 1, High: 4}}
	random := rand.New(rand.NewPCG(1, 2))
	for i := range n {
		scale := 1 + 0.001*float64(i)
		if i >= 6 {
			scale += 0.002 // three steps in one
		}
		j.PerFrame = append(j.PerFrame, pixels.FrameSummary{Measured: i != 3, Scale: scale, EV: 0.01 * random.Float64()})
	}
	j.PerFrame[8].EV = -2.5
	for k := range j.Depth.Thirds {
		for i := range n {
			v := 0.1
			if i == 2+4*k {
				v = 1
			}
			j.Depth.Thirds[k] = append(j.Depth.Thirds[k], v)
		}
	}
	j.First = pixels.Edge{Verdict: pixels.Verdict{Answer: pixels.Found}, Share: 0.2, Box: pixels.Box{X1: 0.5, Y1: 0.5}, Curve: j.Depth.Thirds[0]}
	r := judge(t, "BX1_0001..0006.JPG every 1s time=2026-03-04T10:02:00.00 make=Borealis body=BX-1 serial=1 f=8 t=0.5 iso=100\nBX1_0009..0012.JPG every 1s after 3s\nBX1_0013..0014.JPG every 1s after 1s iso=200",
		planted{"1.1", 5, 6, audit.Finding{Rule: "missing-frame", Message: "m"}},
		planted{"1.1", 8, 8, audit.Finding{Rule: "dark-frame", Message: "m"}},
		planted{"1.1", 0, 0, audit.Finding{Rule: "near-edge", Message: "m", Shows: audit.ShowDetail, Region: audit.Region(j.First.Box)}})
	q := r.Sessions[0].Sequences[0]
	if len(q.Frames) != n {
		t.Fatalf("%d frames", len(q.Frames))
	}
	q.Kind, q.Pictures = shoot.Focus, &pixels.Seen{Judgement: j}
	out := string(write(t, "html", r, &report.Options{Gallery: &fakeGallery{}}))
	for _, want := range []string{
		"File numbers over time: 12 frames in 13 s; 2 missing between 0006 and 0009",
		"Sharpness of the subject, frame by frame: third sharp first sharpest in 0003; middle third sharpest in 0009; third sharp last sharpest in 0013; 20 % still rising in the first frame, 0001",
		"Growth of blur from the frame before: about 2.0 px a frame, between 1.0 and 4.0; largest 6.0 at 0009; limit 3",
		"Exposure: exposure time stays as it is; f-number stays as it is; ISO changes over 1.0 EV",
		"Brightness of the pictures, beyond the settings: from -2.5 to 0.0 EV against the middle frame; darkest 0011",
		"Sharpness of the area, frame by frame: sharpest in 0001, at the end of the sequence",
		">2 missing</text>", ">limit</text>", ">EV from the first frame</text>", ">frame</text>", "stroke-dasharray",
		"X|||||..||X|||", "12 frames, 2 missing, 2 named",
	} {
		if !strings.Contains(out, want) {
			t.Errorf("the page has no %q", want)
		}
	}
	for _, number := range regexp.MustCompile(`NaN|Inf|%!`).FindAllString(out, 3) {
		t.Errorf("%s is in a drawing", number)
	}
}

// The shot list stands on the page, in Markdown and in CSV; hostile names stay text.
func TestViewsInEveryForm(t *testing.T) {
	result := morningResult(t)
	q := result.Sessions[0].Sequences[0]
	q.View = "front <script>alert(1)</script>"
	result.Views = []*audit.ShotView{
		{View: &audit.View{Name: "front <script>alert(1)</script>"}, Sequence: q},
		{View: &audit.View{Name: "=hinge"}},
		{View: &audit.View{Name: "label", Optional: true}},
	}
	q.View = result.Views[0].Name // as Judge fills it in
	for form, want := range map[string][]string{
		"html":     {`<h2 id="views">Shot list</h2>`, "front &lt;script&gt;", "missing</span> <span>=hinge</span>", "left out</span> <span>label</span>"},
		"markdown": {"## Shot list", "- front \\<script\\>", "- \\=hinge: missing"},
		"csv":      {"front <script>alert(1)</script>"},
		"table":    {"Shot list:", "=hinge (missing)", "1 of 2 views shot; missing: =hinge."},
	} {
		text := string(write(t, form, result, nil))
		if form == "table" {
			text = strings.Join(strings.Fields(text), " ") // however it is wrapped
		}
		for _, part := range want {
			if !strings.Contains(text, part) {
				t.Errorf("%s lacks %q", form, part)
			}
		}
		if form == "html" && strings.Contains(text, "<script>alert") {
			t.Error("a name became a script")
		}
	}
}
