package rules

import (
	"fmt"
	"slices"
	"strings"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/exifread"
	"prestrike/rules/evidence"
)

var sisterDiffers = &audit.Rule{
	ID:       "sister-differs",
	Title:    "Different from the other sequences",
	Severity: audit.Check,
	Shows:    audit.ShowNothing,
	Doc: `Compares each focus sequence of a session with the others of the same camera and lens: file
types, picture size, exposure time, f-number and ISO.

Finds a sequence whose file types or picture size differ from those of most, even where all
later sequences differ, too. Finds a sequence whose settings differ from those of most,
while its neighbours have the usual ones. The finding is a check where all have the same
number of frames or the same pace, as views of one subject have. Otherwise it is a note.
Also finds single frames where focus sequences were due: a check where the sequences around
have one number of frames, otherwise a note.

A dial was turned by accident. Raw files or pixels are missing for the catalogue, or one
view is darker or has another depth of field. Some cameras switch focus bracketing off when
they sleep; the button then makes one frame.

Inspect the sequence. If the difference was not meant, set the camera back and shoot it
again.

The finding is wrong where one view was meant to differ.`,
	Source: "common practice",
	Params: []audit.Param{
		{
			Name: "sisters", Unit: "sequences", Doc: "this many other sequences must agree; for file types and sizes, this many times its frames",
			Default: 3, Min: 2, Max: 100,
		},
		{
			Name: "share", Doc: "and this share of all other sequences",
			Default: 0.6, Min: 0.5, Max: 1,
		},
		{
			Name: "pace", Doc: "a check where paces differ by no more than this share, or numbers of frames are equal",
			Default: 0.15, Min: 0, Max: 1,
		},
		{
			Name: "rhythm", Doc: "single frames count as missed sequences where they are apart by this share of the usual time between sequences",
			Default: 0.5, Min: 0, Max: 10,
		},
	},
	Check: checkSisterDiffers,
}

// A trait is something in which sisters should agree.
type trait struct {
	name string
	// lasting means that it counts, too, where all that follow differ: settings may
	// change for good with the next set, kinds of file and sizes hardly do.
	lasting bool
	read    func(*shoot.Sequence) string
	// declares reports whether a view of the shot list declares what it should be; nil where
	// none can.
	declares func(*audit.View) bool
}

var traits = [...]trait{
	{"files", true, fileKinds, nil},
	{"pixels", true, func(q *shoot.Sequence) string {
		for _, f := range q.Frames {
			if v, ok := pixelSize(q)(f.Meta()).Get(); ok {
				return v.String() + " pixels"
			}
		}
		return ""
	}, nil},
	{"exposure time", false, func(q *shoot.Sequence) string {
		if t, ok := q.Settings.ExposureTime.Get(); ok && t.Num > 0 && t.Den > 0 {
			return shoot.FormatExposureTime(t)
		}
		return ""
	}, func(w *audit.View) bool { return w.ExposureTime > 0 }},
	{"f-number", false, func(q *shoot.Sequence) string {
		if n, ok := q.Settings.FNumber.Get(); ok && n.Num > 0 && n.Den > 0 {
			return shoot.FormatFNumber(n)
		}
		return ""
	}, func(w *audit.View) bool { return w.FNumber > 0 }},
	{"ISO", false, func(q *shoot.Sequence) string {
		if iso, ok := q.Settings.ISO.Get(); ok && iso > 0 {
			return shoot.FormatISO(iso)
		}
		return ""
	}, func(w *audit.View) bool { return w.ISO > 0 }},
}

// A sister is what sequences are compared by.
type sister struct {
	traits  [len(traits)]string // "" where not recorded
	spanned int                 // evidence.Spanned
}

// sisterFacts are those of each sequence of the session that may have sisters.
var sisterFacts = audit.SessionFact(func(v *audit.Review) map[*shoot.Sequence]*sister {
	all := map[*shoot.Sequence]*sister{}
	for _, q := range v.Session.Sequences {
		if !stack(q) {
			continue
		}
		s := &sister{spanned: evidence.Spanned(q)}
		for i, t := range traits {
			if t.declares == nil || !listed(v.Options, t.declares) {
				s.traits[i] = t.read(q)
			}
		}
		all[q] = s
	}
	return all
})

// fileKinds names the kinds of file that most frames of a sequence have.
func fileKinds(q *shoot.Sequence) string {
	raw, other := 0, 0
	for _, f := range q.Frames {
		if f.HasRaw() {
			raw++
		}
		if evidence.HasPicture(f) {
			other++
		}
	}
	n := len(q.Frames)
	switch {
	case 2*raw > n && 2*other > n:
		return "raw files and pictures"
	case 2*raw > n:
		return "raw files only"
	}
	return "pictures without raw files"
}

func checkSisterDiffers(v *audit.Review) error {
	q := v.Sequence
	if q.Kind == shoot.Single {
		checkSingles(v)
		return nil
	}
	if !stack(q) {
		return nil
	}
	before, behind := sisters(v.Session.Sequences, q)
	known := sisterFacts.Of(v)
	view := func(o *shoot.Sequence) bool {
		return known[o].spanned == known[q].spanned || samePace(o, q, v.Param("pace"))
	}
	differ, usual, all := differences(v, before, behind, view)
	severity := audit.Severity(0)
	if len(differ) == 0 {
		severity = audit.Note
		differ, usual, all = differences(v, before, behind, func(*shoot.Sequence) bool { return true })
	}
	if len(differ) == 0 {
		return nil
	}
	v.Found(audit.Finding{
		Severity: severity,
		Message:  fmt.Sprintf("it has %s, where most of the %d other sequences have %s", strings.Join(differ, ", "), all, strings.Join(usual, ", ")),
		Action:   "inspect it; if this was not meant, set the camera back and shoot the sequence again",
		Frames:   q.Frames,
	})
	return nil
}

// differences returns what the sequence under review has otherwise than most of the
// sequences before and behind it, what those have, and how many they are. Settings are
// compared with those of its views; what lasts, with all.
func differences(v *audit.Review, before, behind []*shoot.Sequence, view func(*shoot.Sequence) bool) (differ, usual []string, all int) {
	q, facts := v.Sequence, sisterFacts.Of(v)
	every := append(slices.Clone(before), behind...)
	views := slices.DeleteFunc(slices.Clone(every), func(o *shoot.Sequence) bool { return !view(o) })
	for i, t := range traits {
		own, among := facts[q].traits[i], views
		if t.lasting {
			among = every
		}
		read := func(o *shoot.Sequence) string { return facts[o].traits[i] }
		most, have, known := majority(read, t.lasting, among)
		if own == "" {
			if have > 0 {
				v.Unjudged("not recorded: " + t.name)
			}
			continue
		}
		// What lasts is weighed by frames: one long sequence counts as several.
		needed, total := v.Param("sisters"), known+1
		if t.lasting {
			needed, total = needed*float64(len(q.Frames)), known+len(q.Frames)
		}
		if most == "" || own == most || float64(have) < needed || float64(have) < v.Param("share")*float64(total) {
			continue
		}
		has := func(o *shoot.Sequence) bool { return read(o) == most && slices.Contains(among, o) }
		if !t.lasting && !(slices.ContainsFunc(before, has) && slices.ContainsFunc(behind, has)) {
			continue
		}
		differ, usual, all = append(differ, own), append(usual, most), max(all, len(among))
	}
	return differ, usual, all
}

// majority returns what most sequences have of a trait, how many have it, and of how many
// it is known; frames where the trait lasts.
func majority(read func(*shoot.Sequence) string, lasting bool, list []*shoot.Sequence) (most string, have, known int) {
	counts := map[string]int{}
	for _, o := range list {
		if x := read(o); x != "" {
			n := 1
			if lasting {
				n = len(o.Frames)
			}
			counts[x] += n
			known += n
			if counts[x] > have || counts[x] == have && x < most {
				most, have = x, counts[x]
			}
		}
	}
	return most, have, known
}

// samePace reports whether two sequences have one pace, from frame to frame or from the end
// of an exposure to the next. Those that have one, or as many frames, may be views
// made with one programme.
//
// A photographer sets the camera anew for another subject, and then its pace and number
// of frames change, too; a dial that was turned by accident leaves them. Three unrelated
// sequences seldom agree: paces from 0.1 to 60 s, even in the logarithm, lie within 15 %
// of one another by chance in 0.28/6.4 = 4.4 % of cases, in 9 % with both ways to count,
// and numbers of frames from 8 to 67 are equal in 1.7 %: together 11 %, three times in a
// row 0.13 %.
func samePace(a, b *shoot.Sequence, tolerance float64) bool {
	x, okX := a.Cadence.Get()
	y, okY := b.Cadence.Get()
	if !okX || !okY {
		return false
	}
	near := func(x, y float64) bool { return x > 0 && y > 0 && max(x, y) <= (1+tolerance)*min(x, y) }
	if near(x.Seconds(), y.Seconds()) {
		return true
	}
	s, okS := a.Settings.ExposureTime.Get()
	t, okT := b.Settings.ExposureTime.Get()
	return okS && okT && s.Den > 0 && t.Den > 0 && near(x.Seconds()-s.Float(), y.Seconds()-t.Float())
}

// stack reports whether a sequence is a focus sequence, or may be one.
func stack(q *shoot.Sequence) bool { return q.Kind == shoot.Focus || q.Kind == shoot.Series }

// sisterReach bounds the sequences compared on either side.
const sisterReach = 12

// sisters returns the focus sequences of the same body, lens and focal length before and
// behind one, the nearest first.
func sisters(sequences []*shoot.Sequence, q *shoot.Sequence) (before, behind []*shoot.Sequence) {
	at := slices.Index(sequences, q)
	is := func(o *shoot.Sequence) bool {
		return stack(o) && o.Body == q.Body && o.Frames[0].Meta().LensModel == q.Frames[0].Meta().LensModel &&
			evidence.Exact(o.Settings.FocalLength) == evidence.Exact(q.Settings.FocalLength)
	}
	for i := at - 1; i >= 0 && len(before) < sisterReach; i-- {
		if is(sequences[i]) {
			before = append(before, sequences[i])
		}
	}
	for i := at + 1; i < len(sequences) && len(behind) < sisterReach; i++ {
		if is(sequences[i]) {
			behind = append(behind, sequences[i])
		}
	}
	return before, behind
}

// checkSingles finds single frames in a row where focus sequences were due: with the
// settings of those before and behind, as far apart as those are, and nowhere else
// between sequences, where they would be test frames. It reports at the first of them.
//
// A camera that brackets the focus makes the number of frames that is set: only where the
// sequences around have one number it is a check. Numbers that differ are counted by hand,
// and single frames between such sequences may well be meant.
func checkSingles(v *audit.Review) {
	sequences, q := v.Session.Sequences, v.Sequence
	at := slices.Index(sequences, q)
	if at == 0 || !stack(sequences[at-1]) || sequences[at-1].Body != q.Body {
		return
	}
	end := at
	for end < len(sequences) && sequences[end].Kind == shoot.Single && sequences[end].Body == q.Body {
		end++
	}
	if end-at < 2 || end == len(sequences) || !stack(sequences[end]) {
		return
	}
	before, behind := sisters(sequences, q)
	all := append(slices.Clone(before), behind...)
	if float64(len(all)) < v.Param("sisters") || len(before) == 0 || len(behind) == 0 {
		return
	}
	usual := before[0].Settings
	for _, o := range all {
		if i := slices.Index(sequences, o); o != sequences[end] && i > 0 && sequences[i-1].Kind == shoot.Single {
			return // test frames before sequences are a habit here
		}
	}
	pauses := pausesBetween(before, behind)
	if len(pauses) == 0 {
		return
	}
	least := v.Param("rhythm") * pauses[len(pauses)/2]
	var frames []*shoot.Frame
	for i := at; i < end; i++ {
		o := sequences[i]
		if sequences[i].Start().Sub(sequences[i-1].End()).Seconds() < least || sequences[i+1].Start().Sub(o.End()).Seconds() < least ||
			o.Settings.ISO != usual.ISO || evidence.Exact(o.Settings.FNumber) != evidence.Exact(usual.FNumber) ||
			evidence.Exact(o.Settings.ExposureTime) != evidence.Exact(usual.ExposureTime) {
			return
		}
		frames = append(frames, o.Frames...)
	}
	severity, due := audit.Severity(0), fmt.Sprintf("sequences of %d frames were due", len(sequences[at-1].Frames))
	if a, b := len(sequences[at-1].Frames), len(sequences[end].Frames); a != b {
		severity, due = audit.Note, fmt.Sprintf("the sequences around have %d and %d frames", a, b)
	}
	v.Found(audit.Finding{
		Severity: severity,
		Message:  fmt.Sprintf("there are %d single frames where %s", len(frames), due),
		Action:   "check whether bracketing switched itself off; if so, shoot these views again",
		Frames:   frames,
		Measured: exifread.Of(float64(len(frames))), Limit: exifread.Of(1.0), Unit: "frames",
	})
}

// pausesBetween returns the pauses in seconds between neighbours of each list of
// sequences, shortest first.
func pausesBetween(lists ...[]*shoot.Sequence) []float64 {
	var pauses []float64
	for _, list := range lists {
		for i := 1; i < len(list); i++ {
			a, b := list[i], list[i-1]
			if b.Start().Before(a.Start()) {
				a, b = b, a
			}
			pauses = append(pauses, b.Start().Sub(a.End()).Seconds())
		}
	}
	slices.Sort(pauses)
	return pauses
}
