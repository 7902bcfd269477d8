package report

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/audit/words"
)

// The sentences that every form for people shows.

// An instruction is one finding, or several of one rule that ask for the same.
type instruction struct {
	word  string   // how urgent: a severity, or why it no longer counts
	title string   // what is wrong, in a few words
	where []string // IDs, or "session 1"
	text  string   // sentences
	rule  string
}

// head returns what an instruction leads with: "Missing frames (1.4)".
func (i *instruction) head() string {
	const most = 6
	return i.title + " (" + words.List(i.where, most) + ")"
}

// open reports whether it asks for something to be done.
func (l *instruction) open() bool {
	return l.word == audit.Check.String() || l.word == audit.Reshoot.String()
}

// The words in place of a severity or verdict where a finding no longer counts.
const (
	wordRetaken  = "retaken"
	wordAccepted = "accepted"
	wordClosed   = "closed"
)

// mostAlike is how many findings that ask for the same are written in full; of those
// beyond only the sequences are named.
const mostAlike = 4

// instructions returns the session's findings: what no longer counts first, then
// by rising severity. Findings of one rule stay together, and those that ask for the
// same become one instruction.
func instructions(s *audit.Session) []instruction {
	type group struct {
		instruction // without where and text
		rank        int
		action      string
		messages    []message
	}
	var groups []*group
	add := func(where string, q *audit.Reviewed, f *audit.Finding) {
		word, rank, action := worded(q, f)
		i := slices.IndexFunc(groups, func(g *group) bool {
			return g.word == word && g.title == title(f.Title, f.Rule) && g.rule == f.Rule && g.action == action
		})
		if i < 0 {
			i = len(groups)
			groups = append(groups, &group{instruction: instruction{word: word, title: title(f.Title, f.Rule), rule: f.Rule}, rank: rank, action: action})
		}
		g := groups[i]
		if !slices.Contains(g.where, where) {
			g.where = append(g.where, where)
		}
		if m := slices.IndexFunc(g.messages, func(m message) bool { return m.text == f.Message }); m >= 0 {
			if of := &g.messages[m]; of.where[len(of.where)-1] != where {
				of.where = append(of.where, where)
			}
			return
		}
		g.messages = append(g.messages, message{f.Message, []string{where}})
	}
	for _, f := range s.Findings {
		add("session "+s.ID, nil, f)
	}
	for _, q := range s.Sequences {
		if q.Patches != nil {
			continue // what is wrong with it as a sequence of its own does not matter
		}
		for _, f := range q.Findings {
			add(q.ID, q, f)
		}
	}
	first := map[string]int{} // place of the first group of a rule
	for i, g := range groups {
		if _, ok := first[g.rule]; !ok {
			first[g.rule] = i
		}
	}
	slices.SortStableFunc(groups, func(a, b *group) int {
		return cmp.Or(cmp.Compare(a.rank, b.rank), cmp.Compare(first[a.rule], first[b.rule]))
	})
	out := make([]instruction, len(groups))
	for i, g := range groups {
		g.text = sentences(joined(g.messages), g.action)
		out[i] = g.instruction
	}
	return out
}

// A message is what was found, and in which sequences.
type message struct {
	text  string
	where []string
}

// joined writes messages that lead to one instruction: several with their sequences, where
// these are not the same for all, as they lead the instruction then.
func joined(messages []message) string {
	const mostPlaces = 6
	if len(messages) == 1 {
		return messages[0].text
	}
	shown := messages
	if len(shown) > mostAlike+1 {
		shown = shown[:mostAlike]
	}
	apart := slices.ContainsFunc(messages, func(m message) bool { return !slices.Equal(m.where, messages[0].where) })
	var parts []string
	for _, m := range shown {
		text := m.text
		if apart {
			text = words.List(m.where, mostPlaces) + ": " + text
		}
		parts = append(parts, text)
	}
	text := strings.Join(parts, "; ")
	if left := len(messages) - len(shown); left > 0 {
		text += fmt.Sprintf("; and %d more", left)
	}
	return text
}

// sentences writes what was found and what to do as sentences.
func sentences(message, action string) string {
	text := strings.TrimSuffix(message, ".") + "."
	if action == "" {
		return text
	}
	return text + " " + capital(strings.TrimSuffix(action, ".")) + "."
}

// title returns what a finding leads with: its title, or its rule where it has none.
func title(title, rule string) string {
	if title == "" {
		return rule
	}
	return title
}

// worded returns the word before a finding, its rank among the others and what to do.
// q is nil for a finding of a session.
func worded(q *audit.Reviewed, f *audit.Finding) (word string, rank int, action string) {
	switch {
	case f.Accepted:
		if f.Reason != "" {
			action = "accepted: " + f.Reason
		}
		return wordAccepted, 1, action
	case q != nil && q.SupersededBy != nil:
		if q.RetakeDeclared {
			return wordRetaken, 0, q.SupersededBy.ID + " is its retake, as declared"
		}
		return wordRetaken, 0, q.SupersededBy.ID + " is its retake"
	case f.Closed:
		return wordClosed, 0, patchIDs(q) + words.Plural(len(q.PatchedBy), " closes it", " close it")
	}
	action = f.Action
	if q != nil && q.PerhapsRetaken != nil && f.Severity > audit.Note {
		action += ". If " + q.PerhapsRetaken.ID + " shows the same view, it is the retake: then declare it with [[retaken]] in prestrike.toml"
	}
	if q != nil && q.Misfit != nil && len(f.Holes) > 0 {
		action += ". " + q.Misfit.Sequence.ID + " does not close it: " + q.Misfit.Why
	}
	return f.Severity.String(), 2 + int(f.Severity), action
}

// patchIDs names the sequences that close the holes of q.
func patchIDs(q *audit.Reviewed) string {
	var ids []string
	for _, p := range q.PatchedBy {
		ids = append(ids, p.ID)
	}
	return words.List(ids, len(ids))
}

// A reason is why rules could not judge, and for which sequences.
type reason struct {
	text          string
	titles, rules []string
	where         string
	// minor reports that at most notes could have come of it.
	minor bool
}

// sentence writes the reason with what was not judged: "Diffraction (1.2): no f-number
// recorded"; with the rules as the configuration names them where ids is set.
func (r *reason) sentence(ids bool) string {
	const most = 3
	if ids {
		return fmt.Sprintf("%s (%s): %s. [%s]", words.List(r.titles, len(r.titles)), r.where, r.text, strings.Join(r.rules, ", "))
	}
	return fmt.Sprintf("%s (%s): %s.", words.List(r.titles, most), r.where, r.text)
}

// notJudged groups the reasons for which rules could not decide, those of the
// most sequences first.
func notJudged(s *audit.Session) []reason {
	type places struct {
		reason
		in []string
	}
	const whole = "session"
	var reasons []*places
	byText := map[string]*places{}
	add := func(where string, list []audit.NotJudged) {
		for _, n := range list {
			r := byText[n.Reason]
			if r == nil {
				r = &places{reason: reason{text: n.Reason, minor: true}}
				byText[n.Reason] = r
				reasons = append(reasons, r)
			}
			r.minor = r.minor && n.Severity == audit.Note
			if !slices.Contains(r.rules, n.Rule) {
				r.rules = append(r.rules, n.Rule)
				// In quotes: a title is the sentence of what was found, and this was not.
				r.titles = append(r.titles, strconv.Quote(title(n.Title, n.Rule)))
			}
			if len(r.in) == 0 || r.in[len(r.in)-1] != where && where != whole { // else its sequences are named
				r.in = append(r.in, where)
			}
		}
	}
	for _, q := range s.Sequences {
		if q.Patches == nil {
			add(q.ID, q.NotJudged)
		}
	}
	add(whole, s.NotJudged)
	slices.SortStableFunc(reasons, func(a, b *places) int { return len(b.in) - len(a.in) })
	list := make([]reason, len(reasons))
	for i, r := range reasons {
		switch {
		case len(r.in) == len(s.Sequences) && len(r.in) > 1:
			r.where = "all sequences"
		case len(r.in) > 4:
			r.where = words.Count(len(r.in), "sequence", "sequences")
		default:
			r.where = words.List(r.in, 3)
		}
		list[i] = r.reason
	}
	return list
}

// support writes how the rules took the camera to be held.
func support(s *audit.Session, declared shoot.Support) string {
	if declared != shoot.SupportAuto {
		return "Support: " + declared.String() + ", as declared."
	}
	if !slices.ContainsFunc(s.Sequences, func(q *audit.Reviewed) bool {
		return slices.ContainsFunc(q.Frames, func(f *shoot.Frame) bool {
			m := f.Meta()
			return m != nil && m.HasExif
		})
	}) {
		return "" // nothing shows how the camera was held, and no rule asks
	}
	by, signs := map[shoot.Support][]string{}, map[shoot.Support][]string{}
	for _, q := range s.Sequences {
		by[q.Support] = append(by[q.Support], q.ID)
		if !slices.Contains(signs[q.Support], q.SupportBy) {
			signs[q.Support] = append(signs[q.Support], q.SupportBy)
		}
	}
	because := func(s shoot.Support) string { return " (" + words.List(signs[s], 3) + ")" }
	tripod, handheld := by[shoot.Tripod], by[shoot.Handheld]
	onTripod, byHand := because(shoot.Tripod), because(shoot.Handheld)
	switch {
	case len(handheld) == 0:
		return "Support assumed: tripod" + onTripod + "."
	case len(tripod) == 0:
		return "Support assumed: handheld" + byHand + "."
	case len(handheld) <= len(tripod):
		return "Support assumed: handheld for " + words.List(handheld, 4) + byHand + ", tripod for the rest" + onTripod + "."
	default:
		return "Support assumed: tripod for " + words.List(tripod, 4) + onTripod + ", handheld for the rest" + byHand + "."
	}
}

// merged names which pictures the camera merged, and from which sequence; empty where
// there are none.
func merged(s *audit.Session) string {
	var list []string
	for _, q := range s.Sequences {
		for _, f := range q.Merged {
			list = append(list, f.Label()+" from "+q.ID)
		}
	}
	if len(list) == 0 {
		return ""
	}
	return "Merged in camera: " + words.List(list, 6) + "."
}

// filesSentence writes what became of every file.
func filesSentence(c *audit.FileCounts, since time.Time) string {
	var b strings.Builder
	b.WriteString(words.Count(c.Read, "picture file", "picture files") + ", " + words.Count(c.Frames, "frame", "frames"))
	if c.Merged > 0 {
		b.WriteString("; " + words.Count(c.Merged, "picture", "pictures") + " merged in camera")
	}
	if !since.IsZero() {
		fmt.Fprintf(&b, "; %s before %s not judged", words.Count(c.Earlier, "frame", "frames"), since.Format("2 January 2006, 15:04"))
	}
	switch {
	case c.Copies == 1:
		b.WriteString("; 1 file is a copy")
	case c.Copies > 1:
		fmt.Fprintf(&b, "; %d files are copies", c.Copies)
	}
	if c.Other > 0 {
		b.WriteString("; " + words.Count(c.Other, "other file", "other files") + " passed over")
	}
	if n := len(c.Unreadable); n > 0 {
		var names []string
		for _, f := range c.Unreadable {
			names = append(names, shoot.ShortName(f.Path))
		}
		b.WriteString("; no picture can be read from " + words.List(names, 3))
	}
	switch n := len(c.Unread) - len(problemPaths(c, shoot.Empty)); {
	case n == 1:
		b.WriteString("; 1 folder or file could not be read")
	case n > 1:
		fmt.Fprintf(&b, "; %d folders or files could not be read", n)
	}
	switch n := len(c.Unfinished); {
	case n == 1:
		b.WriteString("; 1 copy is not complete")
	case n > 1:
		fmt.Fprintf(&b, "; %d copies are not complete", n)
	}
	b.WriteString(".")
	return b.String()
}

// problemWords are the kinds of problem in JSON.
var problemWords = [...]string{
	shoot.LinkElsewhere: "not followed", shoot.HasRule: "not read", shoot.NotFound: "not found", shoot.NotRead: "not read", shoot.Empty: "empty",
}

// problemPaths returns the paths of the problems of a kind.
func problemPaths(c *audit.FileCounts, kind shoot.ProblemKind) []string {
	var paths []string
	for _, p := range c.Unread {
		if p.Kind == kind {
			paths = append(paths, p.Path)
		}
	}
	return paths
}

// unused returns which acceptances accept nothing, and which declared retakes do not hold.
func unused(r *audit.Result) []string {
	var out []string
	for _, a := range r.Unused {
		out = append(out, fmt.Sprintf("Accepted nothing: %s from %s: %s.", a.Rule, a.Frame, a.Why))
	}
	for _, d := range r.UnusedRetaken {
		out = append(out, fmt.Sprintf("Not retaken as declared: %s by %s: %s.", d.Sequence, d.By, d.Why))
	}
	return out
}
