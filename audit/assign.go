package audit

import (
	"math"
	"slices"
	"strings"

	"prestrike/audit/shoot"
	"prestrike/exifread"
)

// Assignment weighs how well sequences fit views, from 1 for a perfect fit. What is
// off takes a part away, so that no single value outweighs the rest.
const (
	misfitCount    = 0.5  // at most, for frames: by their relative difference
	misfitSetting  = 0.3  // at most, for each setting: one half of it per EV; for the magnification all of it per factor of two
	misfitUntold   = 0.2  // where the view declares no kind: one that does goes before it
	misfitFaulty   = 0.4  // of a sequence to be shot again: a retake may follow
	misfitDoubtful = 0.05 // of a sequence to be checked
	// nearlyAlike is by how much less well another assignment fits at most, for it
	// to be in doubt: less than a whole EV of a setting or a fifth of the frames.
	nearlyAlike = 0.1
)

// assignViews finds the sequence that shows each view: first those that the list names
// by a file, then those behind a slate, then the rest by kind, body, frames, settings,
// magnification and order.
func assignViews(sessions []*Session, views []View, slates map[*shoot.Frame]Slate) []*ShotView {
	if len(views) == 0 {
		return nil
	}
	a := &assignment{sessions: sessions, slates: slates, used: map[*Reviewed]bool{}, tests: map[*Reviewed]bool{}}
	for i := range views {
		a.views = append(a.views, &ShotView{View: &views[i]})
	}
	a.findTakes()
	for _, v := range a.views {
		if v.View.Sequence != "" {
			a.byFile(v)
		}
	}
	a.bySlate()
	a.assign()
	a.sure()
	return a.views
}

// An assignment is the work of finding the sequences of views.
type assignment struct {
	sessions []*Session
	slates   map[*shoot.Frame]Slate
	views    []*ShotView
	takes    []*Reviewed        // that may show a view, in the order of shooting
	tests    map[*Reviewed]bool // single frames that show none, unless it is declared as one
	used     map[*Reviewed]bool
}

// byFile assigns the sequence that holds the frame named in the list, or its retake.
func (a *assignment) byFile(v *ShotView) {
	v.Unknown = len(namedFrames(a.sessions, v.View.Sequence)) != 1
	if v.Unknown {
		return
	}
	for _, s := range a.sessions {
		for _, q := range s.Sequences {
			if slices.ContainsFunc(q.Frames, func(f *shoot.Frame) bool { return f.Named(v.View.Sequence) }) {
				v.Sequence, v.By = lastTake(q), ByFile
				a.used[v.Sequence], a.used[q] = true, true
			}
		}
	}
}

// lastTake follows retakes to the last one.
func lastTake(q *Reviewed) *Reviewed {
	for n := 0; q.SupersededBy != nil && n < 1000; n++ {
		q = q.SupersededBy
	}
	return q
}

// findTakes finds the sequences that may show a view: without those that were shot
// again, and of neighbours whose pictures show one view the last sound one. Single
// frames may be tests, markers and grey cards where the body made anything else.
func (a *assignment) findTakes() {
	runs := map[*shoot.Body]bool{}
	for _, s := range a.sessions {
		for _, q := range s.Sequences {
			if q.Kind != shoot.Single {
				runs[q.Body] = true
			}
		}
	}
	for _, s := range a.sessions {
		for _, q := range s.Sequences {
			if _, slate := a.slate(q); slate || q.SupersededBy != nil {
				continue
			}
			a.tests[q] = q.Kind == shoot.Single && runs[q.Body]
			if n := len(a.takes) - 1; n >= 0 && a.takes[n].Body == q.Body && alike(a.takes[n], q) {
				if same, known := sameView(a.takes[n], q); known && same {
					if q.Verdict <= a.takes[n].Verdict {
						a.takes[n] = q
					}
					continue
				}
			}
			a.takes = append(a.takes, q)
		}
	}
}

// slate returns what a sequence shows of a slate, where it is a frame of one.
func (a *assignment) slate(q *Reviewed) (Slate, bool) {
	if len(q.Frames) != 1 {
		return Slate{}, false
	}
	s, ok := a.slates[q.Frames[0]]
	return s, ok
}

// bySlate assigns to the view of each slate the best sequence behind it, up to the next
// slate. Of takes that fit alike the last one counts.
func (a *assignment) bySlate() {
	var current *ShotView
	best := 0.0
	for _, s := range a.sessions {
		for _, q := range s.Sequences {
			if slate, ok := a.slate(q); ok {
				current, best = nil, 0
				for _, v := range a.views {
					if v.Name == slate.View && v.By != ByFile {
						current = v
					}
				}
				if current != nil && current.Sequence != nil {
					best = a.fit(current, current.Sequence) // the slate was shown again
				}
				continue
			}
			if current == nil || q.SupersededBy != nil || a.used[q] || a.elsewhere(current, q) {
				continue
			}
			if fit := a.fit(current, q); fit > 0 && fit >= best-nearlyAlike {
				delete(a.used, current.Sequence)
				current.Sequence, current.By, best = q, BySlate, max(best, fit)
				a.used[q] = true
			}
		}
	}
}

// elsewhere reports whether a sequence behind a slate is no second take of its view, which
// declares no kind: it is of another kind than the first, and an open view declares that.
func (a *assignment) elsewhere(v *ShotView, q *Reviewed) bool {
	return !v.HasKind && v.Sequence != nil && v.Sequence.Kind != q.Kind && slices.ContainsFunc(a.views, func(o *ShotView) bool {
		return o.Sequence == nil && o.View.Sequence == "" && o.HasKind && o.Kind == q.Kind
	})
}

// assign gives free sequences to open views. Of all assignments that keep the order of
// the list and of shooting, the one with the most views, and of these the one that fits
// best, is found by dynamic programming. Where one without order has more views, or fits
// better than nearly alike, the views were shot in another order, and it holds.
func (a *assignment) assign() {
	var views []*ShotView
	for _, v := range a.views {
		if v.Sequence == nil && v.View.Sequence == "" {
			views = append(views, v)
		}
	}
	takes := slices.DeleteFunc(slices.Clone(a.takes), func(q *Reviewed) bool { return a.used[q] })
	if len(views) == 0 || len(takes) == 0 {
		return
	}
	fits := table(len(views), len(takes))
	for i, v := range views {
		for j, q := range takes {
			fits[i][j] = a.fit(v, q)
		}
	}
	chosen := inOrder(fits)
	if free := anyOrder(fits); worth(fits, free) > worth(fits, chosen)+nearlyAlike {
		chosen = free
	}
	for i, j := range chosen {
		if j >= 0 {
			views[i].Sequence, views[i].By = takes[j], ByOrder
			a.used[takes[j]] = true
		}
	}
	for i, j := range chosen {
		for k, q := range takes {
			if j >= 0 && !a.used[q] && fits[i][k] > max(0, fits[i][j]-nearlyAlike) {
				views[i].Or = q
			}
		}
	}
}

// worth is what an assignment is worth: a view more outweighs any fit.
func worth(fits [][]float64, chosen []int) float64 {
	sum := 0.0
	for i, j := range chosen {
		if j >= 0 {
			sum += float64(len(fits)) + fits[i][j]
		}
	}
	return sum
}

// inOrder returns the best assignment that keeps the order of rows and columns: the
// column of each row, or -1. A fit of 0 cannot be assigned.
func inOrder(fits [][]float64) []int {
	n, m := len(fits), len(fits[0])
	best := table(n+1, m+1) // of the rows and columns from here on
	match := func(i, j int) float64 {
		if fits[i][j] == 0 {
			return math.Inf(-1)
		}
		return float64(n) + fits[i][j] + best[i+1][j+1]
	}
	for i := n - 1; i >= 0; i-- {
		for j := m - 1; j >= 0; j-- {
			best[i][j] = max(best[i+1][j], best[i][j+1], match(i, j))
		}
	}
	chosen := make([]int, n)
	for i, j := 0, 0; i < n; {
		switch {
		case j < m && match(i, j) == best[i][j]:
			chosen[i] = j
			i, j = i+1, j+1
		case j < m && best[i][j+1] == best[i][j]:
			j++
		default:
			chosen[i] = -1
			i++
		}
	}
	return chosen
}

// anyOrder returns the best assignment whatever its order, by the Hungarian method with
// potentials (Kuhn 1955; Munkres 1957). Of those that fit alike it takes the one whose
// places differ least: with the square of the difference, equal rows keep their order.
func anyOrder(fits [][]float64) []int {
	const order = 1e-7
	n, m := len(fits), len(fits[0])
	cost := func(i, j int) float64 { // columns beyond the last leave a row without one
		if j >= m || fits[i][j] == 0 {
			return 0
		}
		return -float64(n) - fits[i][j] + order*float64((i-j)*(i-j))
	}
	columns := m + n
	u, v := make([]float64, n+1), make([]float64, columns+1)
	row := make([]int, columns+1) // of each column, from 1; 0 where it is free
	for i := 1; i <= n; i++ {
		least, done, from := make([]float64, columns+1), make([]bool, columns+1), make([]int, columns+1)
		for j := range least {
			least[j] = math.Inf(1)
		}
		at := 0
		row[0] = i
		for row[at] != 0 {
			done[at] = true
			next, delta := 0, math.Inf(1)
			for j := 1; j <= columns; j++ {
				if done[j] {
					continue
				}
				if c := cost(row[at]-1, j-1) - u[row[at]] - v[j]; c < least[j] {
					least[j], from[j] = c, at
				}
				if least[j] < delta {
					next, delta = j, least[j]
				}
			}
			for j := range done {
				if done[j] {
					u[row[j]] += delta
					v[j] -= delta
				} else {
					least[j] -= delta
				}
			}
			at = next
		}
		for at != 0 {
			row[at], at = row[from[at]], from[at]
		}
	}
	chosen := make([]int, n)
	for i := range chosen {
		chosen[i] = -1
	}
	for j := 1; j <= m; j++ {
		if i := row[j]; i > 0 && fits[i-1][j-1] > 0 {
			chosen[i-1] = j - 1
		}
	}
	return chosen
}

func table(rows, columns int) [][]float64 {
	t := make([][]float64, rows)
	for i := range t {
		t[i] = make([]float64, columns)
	}
	return t
}

// sure forgets what else fits where no sequence is left over: a shoot that has fewer
// sequences than views goes on, and its views come in the order of the list. Views that
// name an unknown frame take up a sequence each.
func (a *assignment) sure() {
	left := 0
	for _, q := range a.takes {
		if !a.used[q] && q.Verdict != VerdictReshoot && slices.ContainsFunc(a.views, func(v *ShotView) bool {
			return v.By == ByOrder && v.Sequence != nil && a.fit(v, q) > 0
		}) {
			left++
		}
	}
	for _, v := range a.views {
		if v.Unknown {
			left--
		}
	}
	if left > 0 {
		return
	}
	for _, v := range a.views {
		v.Or = nil
	}
}

// fit returns how well a sequence fits a view, up to 1; 0 where it cannot show it.
func (a *assignment) fit(v *ShotView, q *Reviewed) float64 {
	if v.HasKind && v.Kind != q.Kind && !(q.Kind == shoot.Series && v.Kind.Steady()) || !v.HasKind && a.tests[q] {
		return 0
	}
	if v.Body != "" && !strings.EqualFold(v.Body, q.Body.Model) && !strings.EqualFold(v.Body, strings.TrimSpace(q.Body.Make+" "+q.Body.Model)) {
		return 0
	}
	fit := 1.0
	if !v.HasKind {
		fit -= misfitUntold
	}
	if n := len(q.Frames); v.Frames > 0 && !v.Enough(n) {
		fit -= min(misfitCount, math.Abs(float64(n-v.Frames))/float64(v.Frames))
	}
	for _, ev := range v.Off(q) {
		fit -= min(misfitSetting, math.Abs(ev)*misfitSetting/2)
	}
	if times, ok := v.MagnificationOff(q); ok {
		fit -= min(misfitSetting, math.Abs(math.Log2(times))*misfitSetting)
	}
	switch q.Verdict {
	case VerdictReshoot:
		fit -= misfitFaulty
	case VerdictCheck:
		fit -= misfitDoubtful
	}
	return max(fit, 0.01)
}

// MagnificationOff returns how many times the declared magnification that of a sequence is,
// at the side of what it may be that is next to the declared one: 1 where that lies within.
// It is not known where the one or the other is not.
func (v *View) MagnificationOff(q *Reviewed) (times float64, known bool) {
	m, ok := q.Magnified.Get()
	if !ok || v.Magnification == 0 {
		return 0, false
	}
	return max(min(v.Magnification, m.Most), m.Least) / v.Magnification, true
}

// Off returns by how many EV the settings of a sequence are off those declared, by
// their names; what is not declared or not recorded is left out.
func (v *View) Off(q *Reviewed) map[string]float64 {
	off := map[string]float64{}
	add := func(name string, declared float64, recorded exifread.Value[exifread.Rational], factor float64) {
		if r, ok := recorded.Get(); ok && declared > 0 && r.Float() > 0 {
			off[name] = factor * math.Log2(r.Float()/declared)
		}
	}
	add("f-number", v.FNumber, q.Settings.FNumber, 2)
	if q.Kind != shoot.Bracket {
		add("exposure time", v.ExposureTime, q.Settings.ExposureTime, 1)
	}
	if iso, ok := q.Settings.ISO.Get(); ok && v.ISO > 0 && iso > 0 {
		off["ISO"] = math.Log2(float64(iso) / v.ISO)
	}
	return off
}
