package tablet

import (
	"fmt"
	"strings"
	"time"

	"prestrike/audit"
	"prestrike/audit/board"
	"prestrike/audit/report"
)

// shown is what a page is told. It holds no path, and its texts have their control
// characters escaped.
type shown struct {
	Version  string         `json:"version"`
	Phase    string         `json:"phase"`
	Word     string         `json:"word"`
	Number   string         `json:"number"`
	Headline string         `json:"headline"`
	Part     float64        `json:"part"` // of the frames that are expected; negative where not known
	Do       string         `json:"do"`
	Detail   string         `json:"detail"` // what was found
	Picture  string         `json:"picture"`
	Sequence string         `json:"sequence"` // the name of the one that it is about
	Silenced bool           `json:"silenced"`
	Newest   string         `json:"newest"`
	Came     int64          `json:"came"` // when the newest frame came, ms since 1970; 0 for never
	Notes    []string       `json:"notes"`
	Open     []shownFinding `json:"open"`
	Closed   []shownClosed  `json:"closed"`
	Write    *shownStanding `json:"write"` // null on a page for reading alone
}

type shownFinding struct {
	Where    string `json:"where"`
	Rule     string `json:"rule,omitempty"`
	Title    string `json:"title"`
	Text     string `json:"text"`
	Severity string `json:"severity"`
	Sequence string `json:"sequence"`
}

type shownClosed struct {
	Title    string `json:"title"`
	Text     string `json:"text"`
	Verdict  string `json:"verdict"`
	Picture  string `json:"picture"`
	Sequence string `json:"sequence"`
}

// shown writes the latest state for pages. The caller holds the lock.
func (s *Server) shown() *shown {
	out := &shown{Version: s.version, Phase: board.Idle.String(), Word: "starting", Part: -1, Notes: []string{}, Open: []shownFinding{}, Closed: []shownClosed{}, Write: s.standing}
	state := s.state
	if state == nil {
		return out
	}
	out.Phase, out.Word, out.Do = state.Phase.String(), word(state.Phase), sentence(state.Do)
	out.Headline, out.Silenced = report.Visible(state.Headline()), state.Silenced
	if q := state.Sequence; q != nil {
		out.Sequence = s.name("sequence", q.Key)
	}
	out.Number, out.Part = numbers(state)
	if f := deciding(state); f != nil {
		out.Detail = report.Visible(f.Title)
		out.Picture = s.onShelf(decidingName(f))
	}
	if f := state.Last; f != nil {
		out.Newest, out.Came = s.onShelf(newestName(f)), f.Came.UnixMilli()
	}
	for _, folder := range state.Gone {
		out.Notes = append(out.Notes, sentence(folder+" cannot be read for now"))
	}
	for _, text := range []string{state.RoomSentence(), state.Views, state.Time} {
		if text != "" {
			out.Notes = append(out.Notes, sentence(text))
		}
	}
	for i := range state.Findings {
		f := &state.Findings[i]
		o := shownFinding{Where: f.Sequence, Title: report.Visible(f.Title), Text: sentence(f.Message), Severity: f.Severity}
		if f.Action != "" {
			o.Text += " " + sentence(f.Action)
		}
		if f.Key != "" {
			o.Sequence = s.name("sequence", f.Key)
		}
		out.Open = append(out.Open, o)
	}
	for i := range state.Closed {
		q := &state.Closed[i]
		c := shownClosed{
			Title:    q.ID + " " + q.Kind,
			Text:     fmt.Sprintf("%d frames, %s to %s, %s", q.Frames, q.First, q.Last, q.At.Format("15:04")),
			Verdict:  q.Verdict,
			Picture:  s.onShelf(closedName(q)),
			Sequence: s.name("sequence", q.Key),
		}
		if q.View != "" {
			c.Title += ", " + q.View
		}
		if q.Retaken != "" {
			c.Verdict = "retaken as " + q.Retaken
		}
		c.Title, c.Text = report.Visible(c.Title), report.Visible(c.Text)
		out.Closed = append(out.Closed, c)
	}
	return out
}

// deciding is the finding that the state is about: the severest of its sequence; nil for
// none.
func deciding(state *board.State) *board.Finding {
	if state.Sequence == nil || state.Phase == board.Lost || state.Phase == board.Good {
		return nil
	}
	var out *board.Finding
	for i := range state.Findings {
		f := &state.Findings[i]
		if f.Key == state.Sequence.Key && (out == nil || f.Severity == reshoot && out.Severity != reshoot) {
			out = f
		}
	}
	return out
}

var reshoot = audit.Reshoot.String()

// numbers are what a page shows beside the word, and the part of the frames that are
// expected, negative where it is not known.
func numbers(state *board.State) (number string, part float64) {
	q := state.Sequence
	switch {
	case q == nil || state.Phase == board.Lost:
		return "", -1
	case state.Phase != board.Shooting && state.Phase != board.Stalled:
		return report.Visible(q.ID), -1
	case q.Expected > 0:
		return q.Count(), min(1, float64(q.Frames)/float64(q.Expected))
	}
	return q.Count(), -1
}

// word is what a page shows of a phase in large letters.
func word(p board.Phase) string {
	switch p {
	case board.Idle:
		return "waiting"
	case board.Lost:
		return "no folder"
	}
	return p.String()
}

// sentence writes a text as one sentence.
func sentence(text string) string {
	text = report.Visible(text)
	if text == "" {
		return ""
	}
	text = strings.ToUpper(text[:1]) + text[1:]
	if strings.HasSuffix(text, ".") {
		return text
	}
	return text + "."
}

// The names of pictures: whatever changes what they show changes them.

func newestName(f *board.Frame) string {
	return "newest\x00" + f.Path + "\x00" + f.Came.Format(time.RFC3339Nano)
}

func decidingName(f *board.Finding) string {
	return "deciding\x00" + f.Key + "\x00" + f.Rule + "\x00" + strings.Join(f.Frames, "\x00")
}

func closedName(q *board.Closed) string {
	return fmt.Sprintf("closed\x00%s\x00%s\x00%d", q.Key, q.Kind, q.Frames)
}

// onShelf returns the name by which a page may ask for a picture; empty as long as there is
// none.
func (s *Server) onShelf(of string) string {
	name := s.name("picture", of)
	if s.shelf.get(name) == nil {
		return ""
	}
	return name
}
