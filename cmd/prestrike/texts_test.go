package main

import (
	"flag"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

var textsFile = flag.String("texts", "", "write all texts that users read to this `file`")

// A shownText is one message, help text or sentence, and its place.
type shownText struct{ place, text string }

// notForUsers are folders whose texts no user reads.
var notForUsers = regexp.MustCompile(`(^|/)(audittest|pixelstest|picturestest|publishtest|exifwrite|release|scantest|testdata)(/|$)`)

// texts returns every text that users read: the sentences in the program, with its helps and
// rules, those of its pages and of their scripts, and the paragraphs of the README.
func texts(t *testing.T) []shownText {
	t.Helper()
	root := filepath.Join("..", "..")
	var out []shownText
	err := filepath.WalkDir(root, func(name string, entry fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		rel := filepath.ToSlash(strings.TrimPrefix(name, root+string(filepath.Separator)))
		if entry.IsDir() {
			if strings.HasPrefix(entry.Name(), ".") && name != root || notForUsers.MatchString(rel) {
				return fs.SkipDir
			}
			return nil
		}
		if strings.HasSuffix(name, "_test.go") {
			return nil
		}
		read := map[string]func(name string) ([]shownText, error){
			".go": textsOfGo, ".html": textsOfPage, ".js": textsOfScript,
		}[filepath.Ext(name)]
		if rel == "README.md" {
			read = textsOfReadme
		}
		if read == nil {
			return nil
		}
		found, err := read(name)
		for i := range found {
			found[i].place = rel + ":" + found[i].place
		}
		out = append(out, found...)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// isText reports whether a string holds words for people, rather than a name or a key.
func isText(s string) bool { return strings.Contains(strings.TrimSpace(s), " ") }

// textsOfGo returns the strings of a Go file, those that are added up as one: what stands
// between them is written as an ellipsis.
func textsOfGo(name string) ([]shownText, error) {
	files := token.NewFileSet()
	file, err := parser.ParseFile(files, name, nil, parser.SkipObjectResolution)
	if err != nil {
		return nil, err
	}
	var out []shownText
	add := func(n ast.Node, text string) {
		if strings.Contains(text, "<html") {
			out = append(out, textsBetweenMarks(text)...)
		} else if isText(text) {
			out = append(out, shownText{strconv.Itoa(files.Position(n.Pos()).Line), strings.TrimSpace(text)})
		}
	}
	var inspect func(n ast.Node) bool
	// sum is the text of an expression; what is in it besides text is inspected by itself.
	var sum func(e ast.Expr) (text string, literal bool)
	sum = func(e ast.Expr) (string, bool) {
		switch e := e.(type) {
		case *ast.ParenExpr:
			return sum(e.X)
		case *ast.BasicLit:
			if e.Kind != token.STRING {
				return "…", false
			}
			s, err := strconv.Unquote(e.Value)
			return s, err == nil
		case *ast.BinaryExpr:
			if e.Op == token.ADD {
				x, inX := sum(e.X)
				y, inY := sum(e.Y)
				return x + y, inX || inY
			}
		}
		ast.Inspect(e, inspect)
		return "…", false
	}
	inspect = func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.ImportSpec:
			return false
		case *ast.Field: // what stands in a tag is for programs
			return n.Tag == nil
		case *ast.BasicLit:
			if n.Kind == token.STRING {
				text, _ := sum(n)
				add(n, text)
			}
			return false
		case *ast.BinaryExpr:
			if n.Op != token.ADD {
				return true
			}
			if text, literal := sum(n); literal {
				add(n, text)
			}
			return false
		}
		return true
	}
	ast.Inspect(file, inspect)
	return out, nil
}

var (
	pageAction = regexp.MustCompile(`\{\{[^}]*\}\}`)
	pageTag    = regexp.MustCompile(`(?s)<(style|script)[^>]*>.*?</(style|script)>|<!--.*?-->|<[^>]*>`)
	pageTold   = regexp.MustCompile(`\b(title|alt|aria-label|placeholder)="([^"]*)"`)
	scriptText = regexp.MustCompile("\"([^\"\\n]*)\"|'([^'\\n]*)'|`([^`]*)`")
)

// textsOfPage returns the texts of a page between its marks, and those that marks show.
func textsOfPage(name string) ([]shownText, error) {
	content, err := os.ReadFile(name)
	if err != nil {
		return nil, err
	}
	return textsBetweenMarks(string(content)), nil
}

// textsBetweenMarks is textsOfPage for a page that was read.
func textsBetweenMarks(page string) []shownText {
	page = pageAction.ReplaceAllString(page, "…")
	var out []shownText
	for _, m := range pageTold.FindAllStringSubmatch(page, -1) {
		if isText(m[2]) {
			out = append(out, shownText{m[1], m[2]})
		}
	}
	for i, line := range strings.Split(pageTag.ReplaceAllStringFunc(page, func(tag string) string {
		return "\n" + strings.Repeat("\n", strings.Count(tag, "\n"))
	}), "\n") {
		if isText(line) {
			out = append(out, shownText{"text " + strconv.Itoa(i+1), strings.TrimSpace(line)})
		}
	}
	return out
}

// textsOfScript returns the strings of a script.
func textsOfScript(name string) ([]shownText, error) {
	content, err := os.ReadFile(name)
	if err != nil {
		return nil, err
	}
	var out []shownText
	for i, line := range strings.Split(string(content), "\n") {
		line, _, _ = strings.Cut(line, "// ")
		for _, m := range scriptText.FindAllStringSubmatch(line, -1) {
			if text := m[1] + m[2] + m[3]; isText(text) {
				out = append(out, shownText{strconv.Itoa(i + 1), strings.TrimSpace(text)})
			}
		}
	}
	return out, nil
}

// textsOfReadme returns the paragraphs, items and cells of a page in Markdown, without what is
// between fences, as that is what the program writes.
func textsOfReadme(name string) ([]shownText, error) {
	content, err := os.ReadFile(name)
	if err != nil {
		return nil, err
	}
	var out []shownText
	var paragraph []string
	first, fenced := 0, false
	flush := func() {
		if len(paragraph) > 0 {
			out = append(out, shownText{strconv.Itoa(first), strings.Join(paragraph, " ")})
			paragraph = nil
		}
	}
	for i, line := range strings.Split(string(content), "\n") {
		text := strings.TrimSpace(line)
		switch {
		case strings.HasPrefix(text, "```"):
			flush()
			fenced = !fenced
		case fenced:
		case text == "" || strings.HasPrefix(text, "<!--") || strings.HasPrefix(line, "    "):
			flush()
		case strings.HasPrefix(text, "|"):
			flush()
			for cell := range strings.SplitSeq(strings.Trim(text, "|"), "|") {
				if isText(cell) {
					out = append(out, shownText{strconv.Itoa(i + 1), strings.TrimSpace(cell)})
				}
			}
		default:
			if strings.HasPrefix(text, "- ") || strings.HasPrefix(text, "#") {
				flush()
			}
			if len(paragraph) == 0 {
				first = i + 1
			}
			paragraph = append(paragraph, text)
		}
	}
	flush()
	return out, nil
}

// unclear are words and phrases that a reader with little English stumbles over, with what
// to write in their place: verbs of many meanings, turns of phrase, and second names of what
// has a name (DEVELOPERS.md, "Words").
var unclear = map[string]string{
	`\b[Ll]ook(s|ed|ing)? (at|for|whether|which|into|again|right|smooth|like)\b`: "inspect, check, search",
	`\b([Tt]ells?|[Tt]old|telling)\b`:                                            "report, show, know, distinguish",
	`\b(says?|said) (so|nothing|which|whether|what|%)`:                           "report, write, have",
	`\bso (many|much|few)\b`:                                                     "the number of, this many",
	`\bstands? for\b`:                                                            "mean, belong to, count as",
	`\bstands? (still|alone|closer|there)\b`:                                     "not move, be single, be near, be there",
	`\bset (still )?stands\b`:                                                    "is not taken down",
	`\bholds? (for (it|a|the|these|that)|here|the depth)`:                        "apply to, be about, cover",
	`\b(distance|focus|brightness|f-number) (that )?walks?\b|\bwalks (one way|from|by|through|with)\b`: "move, go, change",
	`\b(a|the|whole) ticks? (is|was|left|of|out)\b`:                                                    "frame, interval",
	`\bblur disk\b`:               "blur",
	`\bripple\b`:                  "flicker",
	`\bbeats? with\b`:             "flicker",
	`\bshall\b`:                   "should, must",
	`\botherwise than\b`:          "differ from",
	`\bturned otherwise\b`:        "with another orientation",
	`\bhave (it|them) count\b`:    "count",
	`\bwithout a word\b`:          "without a warning",
	`\bhold before\b`:             "take precedence over",
	`\bgo(es)? without it\b`:      "use none",
	`\bno frame to come\b`:        "later frames cannot change",
	`(^|[.;:] )Nor `:              "also, either: the verb after it stands before its subject",
	`(^|[.;,:] )[Ee]lse `:         "otherwise",
	`\bIt is wrong (where|for)\b`: "the finding is wrong where",
	`\b(photos?|snapshots?|exposure stack|focus stack|stacking|stacked)\b`: "frame, picture, focus sequence",
	`\bcapture session\b`: "shoot; a session is a part of it",
}

// placesOfExceptions are texts that no user reads in the program: errors of its own making.
var placesOfExceptions = regexp.MustCompile(`^audit/rule\.go:`)

// TestTextsAreClear holds the texts to words with one meaning. With -texts FILE it writes
// them all to a file, to be read aloud.
func TestTextsAreClear(t *testing.T) {
	all := texts(t)
	if len(all) < 1000 {
		t.Fatalf("%d texts found, want them all", len(all))
	}
	if *textsFile != "" {
		var b strings.Builder
		for _, s := range all {
			fmt.Fprintf(&b, "%s\t%s\n", s.place, strings.ReplaceAll(s.text, "\n", "\n\t"))
		}
		if err := os.WriteFile(*textsFile, []byte(b.String()), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	for pattern, better := range unclear {
		re := regexp.MustCompile(pattern)
		for _, s := range all {
			if found := re.FindString(s.text); found != "" && !placesOfExceptions.MatchString(s.place) {
				t.Errorf("%s: %q in %q: better %s", s.place, found, s.text, better)
			}
		}
	}
}

// longestSentence is how many words a sentence has at most. Of the sentences of all texts nine
// in ten have 18 or fewer; those with more than 25 had a second thought in them, or a clause
// inside a clause, and could be cut in two.
const longestSentence = 25

var (
	paragraphEnd = regexp.MustCompile(`\n\s*\n|\n\s+|\n# \[\[`)
	sentenceEnd  = regexp.MustCompile(`[.!?]["”)*]*\s+`)
	wordInside   = regexp.MustCompile(`\pL`)
	sourceText   = regexp.MustCompile(`common practice|CIPA|ISO/|IEEE|Greivenkamp|IJCV|Proc\. |limits chosen on|Pattern Recognition|ITU-T`)
)

// longLists are the beginnings of lists of names, which are read one by one.
var longLists = []string{
	".3fr .arw", // endings of raw files
	"JPEG, TIFF, BigTIFF",
}

// sentencesOf splits a text into sentences.
func sentencesOf(text string) []string {
	var out []string
	for _, paragraph := range paragraphEnd.Split(text, -1) {
		out = append(out, sentenceEnd.Split(strings.Join(strings.Fields(paragraph), " "), -1)...)
	}
	return out
}

// TestSentencesAreShort holds that a sentence has one thought.
func TestSentencesAreShort(t *testing.T) {
	for _, s := range texts(t) {
		if strings.HasPrefix(s.place, "rules/") && sourceText.MatchString(s.text) || strings.Contains(s.text, "<svg") {
			continue // where a value is taken from
		}
		for _, sentence := range sentencesOf(s.text) {
			words := 0
			for word := range strings.FieldsSeq(sentence) {
				if wordInside.MatchString(word) {
					words++
				}
			}
			if words > longestSentence && !slices.ContainsFunc(longLists, func(begin string) bool { return strings.HasPrefix(sentence, begin) }) {
				t.Errorf("%s: %d words, want %d at most: %s", s.place, words, longestSentence, sentence)
			}
		}
	}
}
