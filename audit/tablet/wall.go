package tablet

import (
	"cmp"
	"context"
	"encoding/json"
	"net"
	"slices"
	"strings"

	"prestrike/audit/board"
	"prestrike/audit/report"
)

// MostSets is how many sets a wall shows: more are left out, and counted.
const MostSets = 500

// A Wall serves one page over many sets, for reading. Its methods are safe for use by
// several goroutines.
type Wall struct {
	*site
	// The lock of the site is held for these.
	trouble string // why nothing is heard; empty where all is well
	sets    map[string]*shownSet
	left    bool // there are more sets than are shown
}

// NewWall makes a wall without sets.
func NewWall(a Access) *Wall { return &Wall{site: newSite(a), sets: map[string]*shownSet{}} }

// A shownSet is what a page is told of a set.
type shownSet struct {
	Name   string  `json:"name"`
	Phase  string  `json:"phase"`
	Word   string  `json:"word"`
	Number string  `json:"number"`
	Part   float64 `json:"part"` // of the frames that are expected; negative where not known
	Do     string  `json:"do"`
	Since  int64   `json:"since"` // when the phase began, ms since 1970; 0 where not known

	place int
}

// The places of sets on a wall: those that need somebody have that of their phase, the most
// urgent first. The others have one place, so that a set is not moved by each sequence.
const (
	placeLast = iota // nobody works there any more
	placeWorks
	placeNeeds
)

// Show takes in the state of a set.
func (w *Wall) Show(set string, state *board.State) {
	place := placeWorks
	if state.Phase >= board.Inspect {
		place = placeNeeds + int(state.Phase)
	}
	out := &shownSet{
		Name: report.Visible(set), Phase: state.Phase.String(), Word: word(state.Phase), Part: -1,
		Do: sentence(state.Do), Since: state.Since.UnixMilli(), place: place,
	}
	out.Number, out.Part = numbers(state)
	w.put(set, out)
}

// Gone takes in that nobody watches a set any more: it ended, or was lost without a word.
func (w *Wall) Gone(set string, lost bool) {
	out := &shownSet{Name: report.Visible(set), Phase: board.Idle.String(), Word: "ended", Part: -1}
	if lost {
		out.Phase, out.Word, out.Do = board.Lost.String(), "no watch", "Nobody watches this set any more: start its watch again."
		out.place = placeNeeds + int(board.Lost)
	}
	w.put(set, out)
}

// Remove takes a set off the wall.
func (w *Wall) Remove(set string) {
	w.mu.Lock()
	delete(w.sets, set)
	w.mu.Unlock()
	w.spread()
}

func (w *Wall) put(set string, s *shownSet) {
	w.mu.Lock()
	if w.sets[set] != nil || len(w.sets) < MostSets {
		w.sets[set] = s
	} else {
		w.left = true
	}
	w.mu.Unlock()
	w.spread()
}

// Trouble takes in why nothing is heard of any set; empty where they are heard again.
func (w *Wall) Trouble(text string) {
	w.mu.Lock()
	w.trouble = sentence(text)
	w.mu.Unlock()
	w.spread()
}

// wire writes the sets for pages, the most urgent first, on one line.
func (w *Wall) wire() []byte {
	w.mu.Lock()
	defer w.mu.Unlock()
	out := struct {
		Version string      `json:"version"`
		Trouble string      `json:"trouble"`
		Left    bool        `json:"left"`
		Needs   int         `json:"needs"` // sets that need somebody
		Sets    []*shownSet `json:"sets"`
	}{w.version, w.trouble, w.left, 0, []*shownSet{}}
	for _, s := range w.sets {
		out.Sets = append(out.Sets, s)
		if s.place >= placeNeeds {
			out.Needs++
		}
	}
	slices.SortFunc(out.Sets, func(a, b *shownSet) int {
		return cmp.Or(b.place-a.place, compareNames(a.Name, b.Name))
	})
	text, err := json.Marshal(out)
	if err != nil {
		return []byte("{}") // it is made of texts and numbers alone
	}
	return text
}

// compareNames compares names as people count: "table 2" comes before "table 10".
func compareNames(a, b string) int {
	const digits = "0123456789"
	x, y := a, b
	for {
		i, j := strings.IndexAny(x, digits), strings.IndexAny(y, digits)
		if i < 0 || j < 0 || x[:i] != y[:j] {
			return cmp.Or(strings.Compare(x, y), strings.Compare(a, b))
		}
		x, y = x[i:], y[j:]
		n, m := len(x)-len(strings.TrimLeft(x, digits)), len(y)-len(strings.TrimLeft(y, digits))
		one, two := strings.TrimLeft(x[:n], "0"), strings.TrimLeft(y[:m], "0")
		if c := cmp.Or(cmp.Compare(len(one), len(two)), strings.Compare(one, two)); c != 0 {
			return c
		}
		x, y = x[n:], y[m:]
	}
}

// Serve answers requests on a listener until ctx ends, and then closes it. The error is nil
// where it ended by ctx.
func (w *Wall) Serve(ctx context.Context, l net.Listener) error {
	return w.serve(ctx, l, w.guarded(w.mux("page/wall.html", "page/page.css", "page/wall.js", w.wire)))
}
