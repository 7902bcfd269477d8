package report

import (
	"fmt"
	"path"
	"strings"
	"time"
	"unicode/utf8"

	"prestrike/audit/board"
	"prestrike/audit/shoot"
)

// LiveLine writes the state of a set in one line of at most width columns, which moves
// every second: the time of day, what the set is doing, its frames and cadence, the newest
// frame and how long ago it came, and what to do.
func LiveLine(s *board.State, width int) string {
	parts := []string{s.Headline()}
	q := s.Sequence
	running := s.Phase == board.Shooting || s.Phase == board.Stalled
	if running {
		parts[0] = q.ID + " " + q.Kind + ": " + parts[0]
	} else if q != nil && q.Open {
		parts = append(parts, q.ID+" has "+q.Count())
	}
	if running && q.Cadence != nil {
		parts = append(parts, "every "+shoot.FormatDuration(time.Duration(*q.Cadence*float64(time.Second))))
	}
	parts = append(parts, lastFrame(s)...)
	if warning := s.RoomSentence(); warning != "" {
		parts = append(parts, warning)
	}
	line := strings.Join(parts, ", ")
	if s.Do != "" && s.Phase != board.Good {
		line += ": " + s.Do
	}
	return cut(s.At.Format("15:04:05")+"  "+Visible(line), width)
}

// lastFrame writes which frame is the newest, and how long ago it came.
func lastFrame(s *board.State) []string {
	if s.Last == nil {
		return nil
	}
	last := "last " + shoot.ShortName(path.Base(s.Last.Path))
	if ago := s.At.Sub(s.Last.Came).Truncate(time.Second); ago >= time.Second {
		last += " " + shoot.FormatDuration(ago) + " ago"
	}
	return []string{last}
}

// cut returns the text up to a width of the screen.
func cut(text string, width int) string {
	for textWidth(text) > width && text != "" {
		_, n := utf8.DecodeLastRuneInString(text)
		text = text[:len(text)-n]
	}
	return text
}

// StateLines writes what stands below the word on a board, in lines of at most width
// columns, the most important first: what to do, why, what is scarce, and how the last
// sequences closed.
func StateLines(s *board.State, width int) []string {
	var lines []string
	add := func(text string) {
		if text != "" {
			lines = append(lines, wrap(Visible(capital(text)), max(width, narrowest/2))...)
		}
	}
	if s.Do == "" || s.Phase != board.Good {
		add(s.Headline())
	}
	add(s.Do)
	if q := s.Sequence; q != nil {
		for _, f := range s.Findings {
			if f.Key == q.Key {
				add(fmt.Sprintf("%s (%s): %s", f.Title, f.Sequence, f.Message))
				break
			}
		}
	}
	add(s.RoomSentence())
	add(s.Time)
	add(s.Views)
	if len(s.Closed) > 0 {
		const most = 4
		var list []string
		for _, c := range s.Closed[:min(len(s.Closed), most)] {
			word := c.Verdict
			if c.Retaken != "" {
				word = wordRetaken
			}
			list = append(list, c.ID+" "+word)
		}
		add("closed: " + strings.Join(list, ", "))
	}
	return lines
}

// StateFoot writes the last line of a board, which moves every second.
func StateFoot(s *board.State, width int) string {
	return cut(Visible(strings.Join(append([]string{s.At.Format("15:04:05")}, lastFrame(s)...), "  ")), width)
}
