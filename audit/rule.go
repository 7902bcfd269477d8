package audit

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"prestrike/audit/shoot"
	"prestrike/exifread"
)

// A Severity is how urgent a finding is.
type Severity uint8

// The severities, by rising urgency. The zero Severity, in a Finding handed to
// [Review.Found], means the rule's own.
const (
	Note    Severity = iota + 1 // good to know
	Check                       // inspect it before you go on
	Reshoot                     // shoot it again now
)

var severityNames = [...]string{"", Note: "note", Check: "check", Reshoot: "reshoot"}

// String returns the severity's word in reports.
func (s Severity) String() string { return severityNames[s] }

// ParseSeverity returns the severity of a word: note, check or reshoot.
func ParseSeverity(word string) (Severity, error) {
	for s := Note; s <= Reshoot; s++ {
		if severityNames[s] == word {
			return s, nil
		}
	}
	return 0, fmt.Errorf("unknown severity %q: use note, check or reshoot", word)
}

// A Verdict is the worst that is still open on a sequence, a session or the
// whole audit.
type Verdict uint8

// The verdicts, by rising urgency.
const (
	VerdictGood Verdict = iota
	VerdictCheck
	VerdictReshoot
)

var verdictNames = [...]string{VerdictGood: "good", VerdictCheck: "check", VerdictReshoot: "reshoot"}

// String returns the verdict's word in reports.
func (v Verdict) String() string { return verdictNames[v] }

// A Rule is one check, as a value: a driver can list, document, select and run
// it. At least one of Check, CheckSession and CheckViews is set.
type Rule struct {
	ID       string   // words joined by hyphens; the name in reports, on the command line and in configuration
	Title    string   // what the report leads a finding with, in a few words: "Missing frames"
	Severity Severity // of its findings, unless a finding has its own
	Doc      string   // what it finds, why it matters on the set, what to do now, when it is wrong
	Source   string   // author, title, section or equation of the criterion; "common practice" where there is none
	Params   []Param  // every number the rule decides by
	// AtOnce is true where what the rule finds is certain before the sequence
	// ends: no frame to come can take it back, but for findings that are Provisional.
	AtOnce bool
	// Shows is how pictures show best what the rule finds, unless a finding has its own.
	Shows Showing

	// Check reviews one sequence. An error means that the rule itself
	// failed; findings are not errors.
	Check func(*Review) error
	// CheckSession reviews a whole session, for rules that compare sequences
	// or bodies; Review.Sequence is nil.
	CheckSession func(*Review) error
	// CheckViews reviews the shot list, where one is declared, once for all sessions
	// and after retakes are known: Review.Views and Review.Slates are set, and
	// Review.Session is the last one.
	CheckViews func(*Review) error
}

// A Param is one number a rule decides by.
type Param struct {
	Name              string // words joined by hyphens
	Unit              string // "EV", "cadences", "frames", "" for a plain ratio
	Doc               string // one line, no capital, no full stop
	Default, Min, Max float64
}

var wordsAndHyphens = regexp.MustCompile(`^[a-z][a-z0-9]*(-[a-z0-9]+)*$`)

// Validate reports mistakes in the declarations of rules, before any is run.
func Validate(rules []*Rule) error {
	var errs []error
	seen := map[string]bool{}
	for _, r := range rules {
		bad := func(format string, args ...any) {
			errs = append(errs, fmt.Errorf("rule %q: %s", r.ID, fmt.Sprintf(format, args...)))
		}
		if !wordsAndHyphens.MatchString(r.ID) {
			bad("the ID must be small words joined by hyphens")
		}
		if seen[r.ID] {
			bad("the ID is used twice")
		}
		seen[r.ID] = true
		if r.Title == "" || strings.HasSuffix(r.Title, ".") || strings.Contains(r.Title, "\n") {
			bad("the title must be one line without a full stop at its end")
		}
		if first, _ := utf8.DecodeRuneInString(r.Title); unicode.IsLower(first) {
			bad("the title must begin with a capital letter, as the report leads a finding with it")
		}
		if r.Doc == "" || r.Source == "" {
			bad("doc and source must say something")
		}
		if r.Severity < Note || r.Severity > Reshoot {
			bad("no severity")
		}
		if r.Check == nil && r.CheckSession == nil && r.CheckViews == nil {
			bad("Check, CheckSession or CheckViews must be set")
		}
		for _, p := range r.Params {
			if !wordsAndHyphens.MatchString(p.Name) || p.Doc == "" || !(p.Min <= p.Default && p.Default <= p.Max) {
				bad("parameter %q: it needs a name, a doc, and a default between minimum and maximum", p.Name)
			}
		}
	}
	return errors.Join(errs...)
}

// A Finding is one thing a rule found.
type Finding struct {
	Rule     string
	Title    string // what the report leads with; that of the rule unless set
	Severity Severity
	Message  string // what is the case, one sentence without full stop, frame numbers in it
	Action   string // what to do, an instruction without full stop
	// Frames are those the finding is about, never empty in a finding of a
	// sequence.
	Frames []*shoot.Frame
	// Measured is the value found, Limit the one it was held against, both
	// in Unit; not known where the finding is not about a number.
	Measured, Limit exifread.Value[float64]
	Unit            string

	// Shows is how pictures show best what was found; Closest are the frames that show it
	// best, where not all Frames do, and Region is the part of them, zero for no part.
	Shows   Showing
	Closest []*shoot.Frame
	Region  Region

	// Provisional is true where frames to come may take back what a rule with AtOnce found.
	Provisional bool

	// Look names the part of the sequence to be inspected although the finding
	// is a note: "the front". Empty where none does. In a finding of a session it names
	// what asks for it, in place of the session.
	Look string

	// Holes are the places that a few frames, made later, can close; with all of them
	// closed nothing is wrong any more. Closed tells that they are.
	Holes  []Hole
	Closed bool

	// Accepted is true where the user declared this as meant, for Reason.
	Accepted bool
	Reason   string
}

// A Showing is a way to show in pictures what was found.
type Showing uint8

// The ways. The zero Showing, in a Finding handed to [Review.Found], means the rule's
// own, and in a rule for ShowFrames.
const (
	ShowFrames  Showing = iota + 1 // whole frames, with their neighbours
	ShowDetail                     // one place at 100 %, in a frame and its neighbours
	ShowPair                       // two frames, one after the other
	ShowNothing                    // no picture shows it
)

// A Region is a part of the picture, in fractions of its width and height from the
// upper left corner of the stored picture, before its Orientation. The zero Region is none.
type Region struct{ X0, Y0, X1, Y1 float64 }

// NotJudged is why a rule could not decide.
type NotJudged struct {
	Rule   string
	Title  string // of the rule
	Reason string // for example "no f-number recorded"
	Frames int    // how many frames the reason holds for; 0 for the sequence as a whole
	// Severity is that of what the rule could have found.
	Severity Severity
	// Pictures is true where the pictures were not inspected, or that there are none.
	Pictures bool
}

// A Review is one rule applied to one sequence, or to one session.
type Review struct {
	Session *shoot.Session
	// Sessions are all of the audit, by time, for what was declared of the whole shoot.
	Sessions []*shoot.Session
	Sequence *shoot.Sequence // nil in a review of the whole session
	// Pictures is what was found in the pictures of the sequence, for rules that
	// know it; nil where they were not inspected.
	Pictures any
	Options  *Options
	// Pictured is what was found in the pictures of the session's sequences; those
	// not inspected are left out.
	Pictured map[*shoot.Sequence]any
	// Views are those of the shot list, Slates what single frames show of slates; only
	// for CheckViews.
	Views  []*ShotView
	Slates map[*shoot.Frame]Slate

	// Magnified is filled in by a rule that knows the magnification of the sequence.
	Magnified exifread.Value[Magnification]

	rule      *Rule
	facts     facts
	found     []*Finding
	notJudged []NotJudged
}

// Param returns the value in force of the rule's parameter.
// It panics where the rule declares none of that name.
func (v *Review) Param(name string) float64 {
	for _, p := range v.rule.Params {
		if p.Name == name {
			return v.Options.Param(v.rule, p)
		}
	}
	panic(fmt.Sprintf("rule %s has no parameter %q", v.rule.ID, name))
}

// ParamOf returns the value in force of a parameter that this rule shares with
// another one, which declares it.
func (v *Review) ParamOf(rule string, p Param) float64 {
	if set, ok := v.Options.Params[rule][p.Name]; ok {
		return set
	}
	return p.Default
}

// Found reports a finding. Its Rule is filled in, and its Title and Severity where it has none.
func (v *Review) Found(f Finding) {
	f.Rule = v.rule.ID
	if f.Title == "" {
		f.Title = v.rule.Title
	}
	if f.Severity == 0 {
		f.Severity = v.rule.Severity
	}
	if s, ok := v.Options.Severities[v.rule.ID]; ok {
		f.Severity = s
	}
	if f.Shows == 0 {
		f.Shows = max(v.rule.Shows, ShowFrames)
	}
	for _, x := range []*exifread.Value[float64]{&f.Measured, &f.Limit} {
		if n, ok := x.Get(); ok && (math.IsNaN(n) || math.IsInf(n, 0)) {
			*x = exifread.Value[float64]{}
		}
	}
	v.found = append(v.found, &f)
}

// Unjudged reports that the rule could not decide, for the given frames or, where
// none are given, for the sequence as a whole. The same reason given again
// adds to the count of frames.
func (v *Review) Unjudged(reason string, frames ...*shoot.Frame) {
	i := slices.IndexFunc(v.notJudged, func(n NotJudged) bool { return n.Reason == reason })
	if i < 0 {
		v.notJudged = append(v.notJudged, NotJudged{Rule: v.rule.ID, Title: v.rule.Title, Reason: reason, Severity: v.severity()})
		i = len(v.notJudged) - 1
	}
	v.notJudged[i].Frames += len(frames)
}

// Blind reports that the rule could not decide as the pictures were not inspected, or as
// the given frames have none.
func (v *Review) Blind(reason string, frames ...*shoot.Frame) {
	v.Unjudged(reason, frames...)
	for i := range v.notJudged {
		if v.notJudged[i].Reason == reason {
			v.notJudged[i].Pictures = true
		}
	}
}

// UnjudgedNote is [Review.Unjudged] where not knowing is worth no more than a note: it
// leaves a good verdict as it is.
func (v *Review) UnjudgedNote(reason string) {
	v.Unjudged(reason)
	for i := range v.notJudged {
		if v.notJudged[i].Reason == reason {
			v.notJudged[i].Severity = Note
		}
	}
}

// severity is that of the rule's findings, where they have no other.
func (v *Review) severity() Severity {
	if s, ok := v.Options.Severities[v.rule.ID]; ok {
		return s
	}
	return v.rule.Severity
}

// failed is the reason where a rule could not judge for a fault of the program.
const failed = "the program failed here, please report it"

// apply runs the rule on one sequence of the session or, where that is nil, on the
// whole session, and returns what it found and could not judge. It adds to the facts
// known. A rule that fails, or panics, has not judged, whatever it had found until then.
func (r *Rule) apply(session *Session, sequence *Reviewed, opt *Options, known facts) ([]*Finding, []NotJudged, error) {
	v := &Review{Session: session.Session, Sessions: session.all, Options: opt, rule: r, facts: known, Pictured: session.pictured()}
	check := r.CheckSession
	if sequence != nil {
		check = r.Check
		v.Sequence, v.Pictures = sequence.Sequence, sequence.Pictures
	}
	found, not, err := v.outcome(check)
	if sequence != nil && v.Magnified.Known() {
		sequence.Magnified = v.Magnified
	}
	return found, not, err
}

// outcome runs one check of the review's rule.
func (v *Review) outcome(check func(*Review) error) ([]*Finding, []NotJudged, error) {
	if err := v.run(check); err != nil {
		return nil, []NotJudged{{Rule: v.rule.ID, Title: v.rule.Title, Reason: failed, Severity: v.severity()}}, fmt.Errorf("rule %s: %w", v.rule.ID, err)
	}
	return v.found, v.notJudged, nil
}

func (v *Review) run(check func(*Review) error) (err error) {
	defer exifread.Recovered(&err)
	return check(v)
}
