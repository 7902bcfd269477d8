package tablet

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"mime"
	"net/http"
	"strings"
	"time"
	"unicode/utf8"

	"prestrike/audit/report"
)

// A Writer takes what is declared on a page into the settings of the set. It is safe for use
// by several goroutines.
type Writer interface {
	// Choices returns what can be declared of a sequence, by its key; [report.ErrGone] where
	// there is none.
	Choices(key string) (*Choices, error)
	// Declare writes what a page declares, and returns what was written. An error that is a
	// [Refusal] is for the page.
	Declare(ctx context.Context, d *Declaration) (string, error)
	// TakeBack takes the last declaration back, where edition is the newest.
	TakeBack(ctx context.Context, edition string) (string, error)
}

// A Refusal is why something was not written, as a sentence for the page. It holds no path.
type Refusal string

func (r Refusal) Error() string { return string(r) }

// Choices are what can be declared of a sequence.
type Choices struct {
	Edition string // of the settings that it was judged by
	ID      string
	Title   string
	View    string // that it shows; empty for none
	Open    []OpenFinding
	Later   []LaterSequence // that may repeat it, the likeliest first
	Views   []ListedView
}

// An OpenFinding is one that may be meant.
type OpenFinding struct{ Rule, Title, Text, Severity string }

// A LaterSequence is one that may repeat another.
type LaterSequence struct{ Key, ID, Title string }

// A ListedView is a view of the shot list, and the ID of the sequence that shows it.
type ListedView struct{ Name, By string }

// Kinds of declarations.
const (
	Meant     = "meant"
	ShotAgain = "shot-again"
	NamesView = "view"
)

// A Declaration is what a page declares of a sequence. All of it comes from outside: it
// holds what it holds only where the newest state has it.
type Declaration struct {
	Edition string // of the settings that the page saw
	Key, ID string // of the sequence: both must still belong together
	Kind    string
	Rules   []string // whose findings are meant
	Reason  string
	ByKey   string // of the sequence that repeats it
	ByID    string
	View    string
}

// A Standing is what pages may declare at a moment.
type Standing struct {
	Edition string // of the settings in force
	Undo    string // what may be taken back; empty for nothing
}

// Limits of what a page declares.
const (
	mostBody   = 4 << 10
	mostRunes  = 200
	mostRules  = 32
	mostAtOnce = 8 // more would wait in vain: each is answered in turn
	writeWait  = 10 * time.Second
)

// The paths of a declaration, and of taking one back.
const (
	declarePath  = "/declare/"
	takeBackPath = "/take-back"
)

// writes reports whether a request may change something by its method and path.
func (s *site) writes(r *http.Request) bool {
	return s.access.Writes && r.Method == http.MethodPost && (strings.HasPrefix(r.URL.Path, declarePath) || r.URL.Path == takeBackPath)
}

// fromOwnPage reports whether the page itself made a request: browsers write where from.
func fromOwnPage(r *http.Request) bool {
	if new(http.CrossOriginProtection).Check(r) != nil {
		return false
	}
	if site := r.Header.Get("Sec-Fetch-Site"); site != "" {
		return site == "same-origin"
	}
	return r.Header.Get("Origin") != "" // which was compared
}

// shownChoices are what a page is told of the choices.
type shownChoices struct {
	Edition string         `json:"edition"`
	ID      string         `json:"id"`
	Title   string         `json:"title"`
	View    string         `json:"view"`
	Open    []shownFinding `json:"open"`
	Later   []shownClosed  `json:"later"`
	Views   []shownView    `json:"views"`
}

type shownView struct {
	Name  string `json:"name"`
	Shown string `json:"shown"` // as it is shown
	By    string `json:"by"`
}

// choices serves what can be declared of a sequence.
func (s *Server) choices(w http.ResponseWriter, r *http.Request) {
	_, c, err := s.choicesOf(r.PathValue("name"))
	if err != nil {
		refuse(w, http.StatusNotFound, "this sequence has changed: go back")
		return
	}
	out := shownChoices{
		Edition: c.Edition, ID: c.ID, Title: report.Visible(c.Title), View: report.Visible(c.View),
		Open: []shownFinding{}, Later: []shownClosed{}, Views: []shownView{},
	}
	for _, f := range c.Open {
		out.Open = append(out.Open, shownFinding{Rule: f.Rule, Title: report.Visible(f.Title), Text: sentence(f.Text), Severity: f.Severity})
	}
	for _, q := range c.Later {
		out.Later = append(out.Later, shownClosed{Title: q.ID, Text: report.Visible(q.Title), Sequence: s.name("sequence", q.Key)})
	}
	for _, v := range c.Views {
		out.Views = append(out.Views, shownView{v.Name, report.Visible(v.Name), v.By})
	}
	answer(w, out)
}

// choicesOf returns the key of a sequence by its name, and what can be declared of it.
func (s *Server) choicesOf(name string) (key string, c *Choices, err error) {
	s.mu.Lock()
	key, ok := s.keys[name]
	s.mu.Unlock()
	if !ok {
		return "", nil, report.ErrGone
	}
	c, err = s.writer.Choices(key)
	return key, c, err
}

// outcome is what a page is told of what it declared.
type outcome struct {
	Done bool   `json:"done"`
	Text string `json:"text"`
}

const (
	lookAgain = "The sequences changed meanwhile: check the page, then try again."
	busyText  = "The watch is busy: try again in a moment."
)

// declare takes in what a page declares of a sequence.
func (s *Server) declare(w http.ResponseWriter, r *http.Request) {
	var in struct {
		Edition string   `json:"edition"`
		ID      string   `json:"id"`
		Kind    string   `json:"kind"`
		Rules   []string `json:"rules"`
		Reason  string   `json:"reason"`
		By      string   `json:"by"`
		ByID    string   `json:"by_id"`
		View    string   `json:"view"`
	}
	if !readJSON(w, r, &in) {
		return
	}
	reason, ok := line(in.Reason)
	view, okView := line(in.View)
	if !ok || !okView || len(in.Rules) > mostRules {
		answer(w, outcome{Text: "Write it in one line of at most 200 letters, without special characters."})
		return
	}
	s.turn(w, r, func(ctx context.Context) (string, error) {
		key, c, err := s.choicesOf(r.PathValue("name"))
		if err != nil {
			return "", Refusal(lookAgain)
		}
		d := &Declaration{Edition: in.Edition, Key: key, ID: in.ID, Kind: in.Kind, Rules: in.Rules, Reason: reason, ByID: in.ByID, View: view}
		for _, q := range c.Later {
			if in.By != "" && s.name("sequence", q.Key) == in.By {
				d.ByKey = q.Key
			}
		}
		switch {
		case d.Kind == Meant && len(d.Rules) == 0:
			return "", Refusal("Choose what is meant.")
		case d.Kind == Meant && reason == "":
			return "", Refusal("Write the reason: it is shown in the report.")
		case d.Kind == ShotAgain && in.By == "":
			return "", Refusal("Choose the sequence that repeats it.")
		case d.Kind == ShotAgain && d.ByKey == "":
			return "", Refusal(lookAgain)
		case d.Kind == NamesView && view == "":
			return "", Refusal("Choose a view, or write the name of a new one.")
		case d.Kind != Meant && d.Kind != ShotAgain && d.Kind != NamesView:
			return "", Refusal("This cannot be declared.")
		}
		return s.writer.Declare(ctx, d)
	})
}

// takeBack takes the last declaration back.
func (s *Server) takeBack(w http.ResponseWriter, r *http.Request) {
	var in struct {
		Edition string `json:"edition"`
	}
	if !readJSON(w, r, &in) {
		return
	}
	s.turn(w, r, func(ctx context.Context) (string, error) { return s.writer.TakeBack(ctx, in.Edition) })
}

// turn does what a page asks for, a few at a time, and answers. A browser notes answers of
// failure in its console, so that a refusal is an answer like others.
func (s *Server) turn(w http.ResponseWriter, r *http.Request, do func(context.Context) (string, error)) {
	select {
	case s.turns <- struct{}{}:
		defer func() { <-s.turns }()
	default:
		w.Header().Set("Retry-After", "1")
		refuse(w, http.StatusServiceUnavailable, busyText)
		return
	}
	ctx, cancel := context.WithTimeout(r.Context(), writeWait)
	defer cancel()
	text, err := do(ctx)
	var refusal Refusal
	switch {
	case err == nil:
		answer(w, outcome{true, sentence(text)})
	case errors.As(err, &refusal):
		answer(w, outcome{Text: sentence(string(refusal))})
	case errors.Is(err, context.DeadlineExceeded):
		answer(w, outcome{Text: busyText})
	default:
		answer(w, outcome{Text: "It could not be written: the terminal of the watch shows why."})
	}
}

// readJSON reads what a page sends, and answers where that cannot be.
func readJSON(w http.ResponseWriter, r *http.Request, into any) bool {
	// No other page can send this type without asking first (Fetch, CORS).
	if kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type")); err != nil || kind != "application/json" {
		refuse(w, http.StatusUnsupportedMediaType, "only the page itself can declare something")
		return false
	}
	text, err := io.ReadAll(http.MaxBytesReader(w, r.Body, mostBody))
	if _, large := errors.AsType[*http.MaxBytesError](err); large {
		refuse(w, http.StatusRequestEntityTooLarge, "this is too much")
		return false
	}
	if err == nil && !utf8.Valid(text) {
		err = errors.New("no text")
	}
	if err == nil {
		err = json.Unmarshal(text, into)
	}
	if err != nil {
		refuse(w, http.StatusBadRequest, "this cannot be read: load the page again")
		return false
	}
	return true
}

// line takes in a text of one line, without the blanks around it. It is no such text where
// it would not show as itself: the file that it is written to is read by people.
func line(text string) (string, bool) {
	text = strings.TrimSpace(text)
	return text, utf8.RuneCountInString(text) <= mostRunes && report.Visible(text) == text
}

// answer sends JSON.
func answer(w http.ResponseWriter, what any) {
	text, err := json.Marshal(what)
	if err != nil {
		text = []byte("{}") // it is made of texts alone
	}
	w.Header().Set("Content-Type", "application/json")
	_, _ = w.Write(text) // who asked may have gone
}

// shownStanding is what a page is told of what it may declare; nil where it may not.
type shownStanding struct {
	Edition string `json:"edition"`
	Undo    string `json:"undo"`
}

// Stand takes in what pages may declare, for the states that follow.
func (s *Server) Stand(standing Standing) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.standing = &shownStanding{standing.Edition, report.Visible(standing.Undo)}
}
