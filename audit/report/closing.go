package report

import (
	"fmt"
	"path"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/audit/words"
)

// The last line: the verdict, and what to do now.

// missed names where frames may have been missed, and what to do; empty where none were.
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
	return strings.Join(facts, "; ") + ": correct that, then run the report again"
}

// closing returns the verdict and what to do now, in one form whatever the verdict: what
// to shoot again and to inspect, what was not judged, which sequences were shot again, and
// which files were missed, and how many views are shot.
func closing(r *audit.Result) (head, text string) {
	var again, inspect, notes, retaken []string
	for _, s := range r.Sessions {
		again, inspect = addSession(again, inspect, s)
		for _, q := range s.Sequences {
			if q.SupersededBy != nil {
				retaken = append(retaken, q.SupersededBy.ID+" repeats "+q.ID)
				continue
			}
			if q.Patches != nil {
				retaken = append(retaken, q.ID+" closes "+q.Patches.ID)
				continue
			}
			again, inspect = addOpen(again, inspect, q.ID, q.Verdict)
			if q.Verdict == audit.VerdictGood {
				notes = append(notes, asked(q)...)
			}
		}
	}
	const most = 6
	var shoot []string
	if len(again) > 0 {
		shoot = append(shoot, inOrder(again)+" again")
	}
	if final := missingNow(r); final != "" {
		shoot = append(shoot, "the missing views")
		inspect = slices.DeleteFunc(inspect, func(what string) bool { return what == final })
	}
	head = strings.ToUpper(r.Verdict.String())
	lack, gone := lacking(r), missed(&r.Files)
	inspect = slices.Concat(inspect, notes)
	var out []string
	switch {
	case len(shoot) > 0 && len(inspect) > 0:
		out = append(out, "shoot "+strings.Join(shoot, " and ")+" while the subject is here, then inspect "+words.List(inspect, most))
	case len(shoot) > 0:
		out = append(out, "shoot "+strings.Join(shoot, " and ")+" while the subject is here")
	case len(inspect) > len(notes):
		out = append(out, "inspect "+words.List(inspect, most)+" before you go on")
	case gone != "" && len(notes) > 0:
		out = append(out, gone, "inspect "+words.List(notes, most))
	case gone != "":
		out = append(out, gone)
	case len(notes) > 0:
		out = append(out, "nothing to shoot again, but inspect "+words.List(notes, most))
	default:
		out = append(out, "nothing to shoot again")
	}
	if lack != "" {
		out = append(out, lack)
		if r.Verdict == audit.VerdictGood {
			head += " as far as judged"
		}
	}
	if len(retaken) > 0 {
		out = append(out, words.List(retaken, len(retaken)))
	}
	if gone != "" && out[0] != gone {
		out = append(out, gone)
	}
	if r.Verdict == audit.VerdictGood {
		out = append(out, "inspect the frames that matter at 100 % before the subject leaves")
	}
	for i := range out[1:] {
		out[i+1] = capital(out[i+1])
	}
	if views := audit.ViewsSentence(r.Views); views != "" {
		out = append(out, views)
	}
	return head, strings.Join(out, ". ") + "."
}

// inOrder lists sequences, none of them left out: "1.2, 1.5 to 1.9 and 1.12".
func inOrder(ids []string) string {
	next := func(a, b string) bool {
		session, place, _ := strings.Cut(a, ".")
		n, err := strconv.Atoi(place)
		return err == nil && b == fmt.Sprintf("%s.%d", session, n+1)
	}
	var parts []string
	for len(ids) > 0 {
		n := 1
		for n < len(ids) && next(ids[n-1], ids[n]) {
			n++
		}
		if n < 3 {
			n = 1
			parts = append(parts, ids[0])
		} else {
			parts = append(parts, ids[0]+" to "+ids[n-1])
		}
		ids = ids[n:]
	}
	return words.List(parts, len(parts))
}

// capital writes text with a capital letter, as the beginning of a sentence.
func capital(text string) string {
	r, n := utf8.DecodeRuneInString(text)
	if r == utf8.RuneError { // nothing, or no letter
		return text
	}
	return string(unicode.ToUpper(r)) + text[n:]
}

// asked returns what the notes of a sequence ask to inspect.
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

// lacking names what was not judged that could have made the verdict worse: the
// sequences whose pictures were not inspected first, then one other reason and the
// number of the rest; empty where there is none.
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
					first = `"` + title(n.Title, n.Rule) + `" (` + n.Reason + ")"
				}
			}
		}
	}
	for _, s := range r.Sessions {
		take("session "+s.ID, s.NotJudged)
		for _, q := range s.Sequences {
			if q.SupersededBy == nil && q.Patches == nil {
				take(q.ID, q.NotJudged)
			}
		}
	}
	const most = 4
	var list []string
	if len(blind) > 0 {
		list = append(list, "the pictures of "+words.List(blind, most))
	}
	if n := len(other); n > 0 {
		if n > 1 {
			first += " and " + words.Count(n-1, "more reason", "more reasons") + " (--why)"
		}
		list = append(list, first)
	}
	if len(list) == 0 {
		return ""
	}
	return "not judged: " + strings.Join(list, "; ")
}

// addSession adds what is open on a session as a whole: what its findings ask to be
// inspected, else the session.
func addSession(again, inspect []string, s *audit.Session) ([]string, []string) {
	for _, f := range s.Findings {
		v := worst([]*audit.Finding{f})
		switch {
		case v == audit.VerdictGood:
		case f.Look != "" && !slices.Contains(inspect, f.Look):
			inspect = append(inspect, f.Look)
		case f.Look == "" && v == audit.VerdictReshoot && !slices.Contains(again, "session "+s.ID):
			again = append(again, "session "+s.ID)
		case f.Look == "" && v == audit.VerdictCheck && !slices.Contains(inspect, "session "+s.ID):
			inspect = append(inspect, "session "+s.ID)
		}
	}
	return again, inspect
}

func addOpen(again, inspect []string, what string, v audit.Verdict) ([]string, []string) {
	switch v {
	case audit.VerdictReshoot:
		again = append(again, what)
	case audit.VerdictCheck:
		inspect = append(inspect, what)
	}
	return again, inspect
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
