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
// frame and how long ago it came, what is scarce, and what to do. Where the line is too
// narrow for all of it, whole parts are left out: they stand above it too, in a finding or
// in a remark.
func LiveLine(s *board.State, width int) string {
	head := s.Headline()
	q := s.Sequence
	running := s.Phase == board.Shooting || s.Phase == board.Stalled
	if running {
		head = q.ID + " " + q.Kind + ": " + head
	} else if q != nil && q.Open {
		head += ", " + q.ID + " has " + q.Count()
	}
	head = s.At.Format("15:04:05") + "  " + head
	cadence, do, room := "", "", ""
	if running && q.Cadence != nil {
		cadence = ", every " + shoot.FormatDuration(time.Duration(*q.Cadence*float64(time.Second)))
	}
	if s.Do != "" && s.Phase != board.Good {
		do = ": " + s.Do
	}
	if warning := s.RoomSentence(); warning != "" {
		room = ", " + warning
	}
	last, ago := lastFrame(s)
	for _, tail := range []string{room + do, do, room, ""} {
		for _, details := range []string{cadence + comma(last), comma(last), comma(ago), ""} {
			if line := Visible(head + details + tail); textWidth(line) <= width {
				return line
			}
		}
	}
	return Cut(Visible(head), width)
}

// comma returns a part of a line behind a comma, or nothing.
func comma(part string) string {
	if part == "" {
		return ""
	}
	return ", " + part
}

// lastFrame writes which frame is the newest and how long ago it came: "last BX1_0041.JPG
// 4 s ago", and without its name. Both are empty where no frame came yet.
func lastFrame(s *board.State) (named, ago string) {
	if s.Last == nil {
		return "", ""
	}
	named = "last " + shoot.ShortName(path.Base(s.Last.Path))
	if passed := s.At.Sub(s.Last.Came).Truncate(time.Second); passed >= time.Second {
		ago = " " + shoot.FormatDuration(passed) + " ago"
		return named + ago, "last frame" + ago
	}
	return named, ""
}

// Cut returns the text up to a width of the screen, in columns.
func Cut(text string, width int) string {
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
	foot := s.At.Format("15:04:05")
	if last, _ := lastFrame(s); last != "" {
		foot += "  " + last
	}
	return Cut(Visible(foot), width)
}
