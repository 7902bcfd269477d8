package report

import (
	"fmt"
	"path"
	"slices"
	"strings"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/audit/words"
)

// The sentences that every form for people shows.

// An instruction is one finding, or several of one rule, as an instruction.
type instruction struct {
	word  string // how urgent: a severity, or why it no longer counts
	where string // IDs
	text  string
}

// open reports whether it asks for something to be done.
func (l *instruction) open() bool {
	return l.word == audit.Check.String() || l.word == audit.Reshoot.String()
}

// The words in place of a severity or verdict where a finding no longer counts.
const (
	wordRetaken  = "retaken"
	wordAccepted = "accepted"
)

// mostAlike is how many findings of one rule are told in full; sequences
// beyond are only named.
const mostAlike = 4

// instructions returns the session's findings: what no longer counts first, then
// by rising severity. Findings of one rule stay together, and those that say
// the same are told once.
func instructions(s *audit.Session) []instruction {
	type group struct {
		word, rule string
		order      int
	}
	type entry struct {
		text  string
		where []string
	}
	type say struct {
		group
		text string
	}
	groups, said := map[group][]*entry{}, map[say]*entry{}
	var order []group
	add := func(where string, q *audit.Reviewed, f *audit.Finding) {
		word, rank, text := worded(q, f)
		g := group{word: word, rule: f.Rule, order: rank}
		if groups[g] == nil {
			order = append(order, g)
		}
		if e := said[say{g, text}]; e != nil {
			if e.where[len(e.where)-1] != where {
				e.where = append(e.where, where)
			}
			return
		}
		e := &entry{text, []string{where}}
		said[say{g, text}] = e
		groups[g] = append(groups[g], e)
	}
	for _, f := range s.Findings {
		add(s.ID, nil, f)
	}
	for _, q := range s.Sequences {
		for _, f := range q.Findings {
			add(q.ID, q, f)
		}
	}
	slices.SortStableFunc(order, func(a, b group) int { return a.order - b.order })
	var out []instruction
	for _, g := range order {
		told := groups[g]
		if len(told) > mostAlike+1 {
			told = told[:mostAlike]
		}
		for _, e := range told {
			text := e.text
			if len(e.where) > 1 {
				text += " (the same in " + words.List(e.where[1:], 6) + ")"
			}
			out = append(out, instruction{g.word, e.where[0], text + " [" + g.rule + "]"})
		}
		if left := groups[g][len(told):]; len(left) > 0 {
			var where []string
			for _, e := range left {
				where = append(where, e.where...)
			}
			out = append(out, instruction{
				g.word, "more",
				fmt.Sprintf("%d findings of the same kind, in %s [%s]", len(left), words.List(slices.Compact(where), 8), g.rule),
			})
		}
	}
	return out
}

// worded returns the word before a finding, its rank among the others and its text. q
// is nil for a finding of a session.
func worded(q *audit.Reviewed, f *audit.Finding) (word string, rank int, text string) {
	switch {
	case f.Accepted:
		text = f.Message
		if f.Reason != "" {
			text += " (meant: " + f.Reason + ")"
		}
		return wordAccepted, 1, text
	case q != nil && q.SupersededBy != nil:
		return wordRetaken, 0, f.Message + ": " + q.SupersededBy.ID + " is its retake"
	}
	text = f.Message
	if f.Action != "" {
		text += ": " + f.Action
	}
	if q != nil && q.PerhapsRetaken != nil && f.Severity > audit.Note {
		text += ". If " + q.PerhapsRetaken.ID + " shows the same view, it is the retake: then accept this"
	}
	return f.Severity.String(), 2 + int(f.Severity), text
}

// notJudged groups the reasons for which rules could not decide, those of the
// most sequences first.
func notJudged(s *audit.Session) []string {
	type reason struct {
		text  string
		rules []string
		where []string
	}
	var reasons []*reason
	byText := map[string]*reason{}
	add := func(where string, list []audit.NotJudged) {
		for _, n := range list {
			r := byText[n.Reason]
			if r == nil {
				r = &reason{text: n.Reason}
				byText[n.Reason] = r
				reasons = append(reasons, r)
			}
			if !slices.Contains(r.rules, n.Rule) {
				r.rules = append(r.rules, n.Rule)
			}
			if len(r.where) == 0 || r.where[len(r.where)-1] != where {
				r.where = append(r.where, where)
			}
		}
	}
	add("session", s.NotJudged)
	for _, q := range s.Sequences {
		add(q.ID, q.NotJudged)
	}
	slices.SortStableFunc(reasons, func(a, b *reason) int { return len(b.where) - len(a.where) })
	var lines []string
	for _, r := range reasons {
		where := words.List(r.where, 3)
		switch {
		case len(r.where) == len(s.Sequences) && len(r.where) > 1:
			where = "all sequences"
		case len(r.where) > 4:
			where = words.Count(len(r.where), "sequence", "sequences")
		}
		lines = append(lines, fmt.Sprintf("%s: %s (%s)", strings.Join(r.rules, ", "), r.text, where))
	}
	return lines
}

// support says what the rules took to hold the camera.
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

// merged says which pictures the camera merged, and from which sequence; empty where
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

// filesSentence says what became of every file.
func filesSentence(c *audit.FileCounts) string {
	var b strings.Builder
	b.WriteString(words.Count(c.Read, "picture file", "picture files") + ", " + words.Count(c.Frames, "frame", "frames"))
	if c.Merged > 0 {
		b.WriteString("; " + words.Count(c.Merged, "picture", "pictures") + " merged in camera")
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

// missed says where frames may have been missed, and what to do; empty where none were.
func missed(c *audit.FileCounts) string {
	const most = 3
	var facts []string
	if n := len(c.Unfinished); n > 0 {
		var names []string
		for _, p := range c.Unfinished {
			names = append(names, path.Base(p))
		}
		is := " is"
		if n > 1 {
			is = " are"
		}
		facts = append(facts, words.List(names, most)+is+" not complete yet")
	}
	for _, of := range []struct {
		kind          shoot.ProblemKind
		before, after string
	}{
		{shoot.NotFound, "", " could not be found"}, {shoot.NotRead, "", " could not be read"}, {shoot.Empty, "no picture files are in ", ""},
	} {
		if paths := problemPaths(c, of.kind); len(paths) > 0 {
			facts = append(facts, of.before+words.List(paths, most)+of.after)
		}
	}
	if len(facts) == 0 {
		return ""
	}
	return strings.Join(facts, "; ") + ": put that right, then run the report again."
}

// closing says what to do now: the verdict with what limits it, and a sentence or two.
func closing(r *audit.Result) (head, text string) {
	var again, look, notes, retaken []string
	for _, s := range r.Sessions {
		again, look = addOpen(again, look, "session "+s.ID, worst(s.Findings))
		for _, q := range s.Sequences {
			if q.SupersededBy != nil {
				retaken = append(retaken, q.SupersededBy.ID+" repeats "+q.ID)
				continue
			}
			again, look = addOpen(again, look, q.ID, q.Verdict)
			if q.Verdict == audit.VerdictGood {
				notes = append(notes, asked(q)...)
			}
		}
	}
	const most = 6
	head = strings.ToUpper(r.Verdict.String())
	also, gone := "", missed(&r.Files)
	if len(notes) > 0 {
		also = "look at " + words.List(notes, most)
	}
	switch {
	case len(again) > 0 && len(look) > 0:
		text = "shoot " + words.List(again, most) + " again while the subject is here, then look at " + words.List(slices.Concat(look, notes), most) + "."
	case len(again) > 0 && also != "":
		text = "shoot " + words.List(again, most) + " again while the subject is here, then " + also + "."
	case len(again) > 0:
		text = "shoot " + words.List(again, most) + " again while the subject is here."
	case len(look) > 0:
		text = "look at " + words.List(slices.Concat(look, notes), most) + " before you go on."
	case gone != "":
		if also != "" {
			head += ", and " + also
		}
		return head, gone
	default:
		lack := lacking(r)
		if lack != "" {
			head += " as far as judged"
			text = lack + ". "
		}
		if also != "" {
			head += ", and " + also
		}
		if len(retaken) > 0 {
			text += words.List(retaken, most) + ". "
		}
		if text == "" {
			text = "nothing found to shoot again. "
		}
		text += "Still look at the frames that matter at 100 % before the subject leaves."
	}
	if gone != "" {
		text += " Also, " + gone
	}
	return head, text
}

// asked returns what the notes of a sequence ask to look at.
func asked(q *audit.Reviewed) []string {
	var list []string
	for _, f := range q.Findings {
		if f.Look == "" || f.Accepted || f.Severity != audit.Note {
			continue
		}
		if what := f.Look + " of " + q.ID; !slices.Contains(list, what) {
			list = append(list, what)
		}
	}
	return list
}

// lacking says what was not judged that could have made the verdict worse: the
// sequences whose pictures were not inspected first, then one other reason and the
// number of the rest.
func lacking(r *audit.Result) string {
	var blind []string
	var other []string // reasons
	first := ""        // the first of them, with its rule
	take := func(where string, list []audit.NotJudged) {
		for _, n := range list {
			switch {
			case n.Severity <= audit.Note:
			case n.Pictures && (len(blind) == 0 || blind[len(blind)-1] != where):
				blind = append(blind, where)
			case !n.Pictures && !slices.Contains(other, n.Reason):
				if other = append(other, n.Reason); len(other) == 1 {
					first = n.Rule + " could not judge (" + n.Reason + ")"
				}
			}
		}
	}
	for _, s := range r.Sessions {
		take("session "+s.ID, s.NotJudged)
		for _, q := range s.Sequences {
			if q.SupersededBy == nil {
				take(q.ID, q.NotJudged)
			}
		}
	}
	const most = 4
	more := first
	if n := len(other) - 1; n > 0 {
		more += ", and " + words.Count(n, "more reason", "more reasons") + " (--why)"
	}
	switch {
	case len(blind) > 0 && len(other) > 0:
		return "pictures of " + words.List(blind, most) + " were not inspected; " + more
	case len(blind) > 0:
		return "pictures of " + words.List(blind, most) + " were not inspected"
	case len(other) > 0:
		return more
	}
	return ""
}

// unused says which acceptances accept nothing.
func unused(r *audit.Result) []string {
	var out []string
	for _, a := range r.Unused {
		out = append(out, fmt.Sprintf("Accepted nothing: %s from %s: %s.", a.Rule, a.Frame, a.Why))
	}
	return out
}

func addOpen(again, look []string, what string, v audit.Verdict) ([]string, []string) {
	switch v {
	case audit.VerdictReshoot:
		again = append(again, what)
	case audit.VerdictCheck:
		look = append(look, what)
	}
	return again, look
}

// worst returns the verdict of findings that belong to no sequence.
func worst(findings []*audit.Finding) audit.Verdict {
	v := audit.VerdictGood
	for _, f := range findings {
		if !f.Accepted {
			switch f.Severity {
			case audit.Reshoot:
				v = max(v, audit.VerdictReshoot)
			case audit.Check:
				v = max(v, audit.VerdictCheck)
			}
		}
	}
	return v
}
