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
	"strconv"
	"strings"
	"testing"
)

var textsFile = flag.String("texts", "", "write all texts that users read to this `file`")

// A shownText is one message, help text or sentence, and its place.
type shownText struct{ place, text string }

// notForUsers are folders whose texts no user reads.
var notForUsers = regexp.MustCompile(`(^|/)(audittest|pixelstest|picturestest|exifwrite|release|scantest|testdata)(/|$)`)

// texts returns every text that users read: the sentences in the program, with its helps and
// rules, and the lines of the README.
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
		if !strings.HasSuffix(name, ".go") || strings.HasSuffix(name, "_test.go") {
			return nil
		}
		files := token.NewFileSet()
		file, err := parser.ParseFile(files, name, nil, parser.SkipObjectResolution)
		if err != nil {
			return err
		}
		ast.Inspect(file, func(n ast.Node) bool {
			switch n := n.(type) {
			case *ast.ImportSpec:
				return false
			case *ast.Field: // what stands in a tag is for programs
				return n.Tag == nil
			case *ast.BasicLit:
				if n.Kind != token.STRING {
					return false
				}
				s, err := strconv.Unquote(n.Value)
				if err == nil && strings.Contains(strings.TrimSpace(s), " ") {
					out = append(out, shownText{fmt.Sprintf("%s:%d", rel, files.Position(n.Pos()).Line), strings.TrimSpace(s)})
				}
			}
			return true
		})
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	readme, err := os.ReadFile(filepath.Join(root, "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	for i, line := range strings.Split(string(readme), "\n") {
		if strings.TrimSpace(line) != "" {
			out = append(out, shownText{fmt.Sprintf("README.md:%d", i+1), line})
		}
	}
	return out
}

// unclear are words and phrases that a reader with little English stumbles over, with what
// to write in their place.
var unclear = map[string]string{
	`\b[Ll]ook(s|ed|ing)? (at|for|whether|which|into)\b`: "inspect, check, search",
	`\b([Tt]ells?|[Tt]old|telling)\b`:                    "report, show, know, distinguish",
	`\b(says?|said) (so|nothing|which|whether|what)\b`:   "report, write",
	`\bso (many|much|few)\b`:                             "the number of, this many",
	`\bstands? for\b`:                                    "mean, belong to, count as",
	`\b(distance|focus|brightness|f-number) (that )?walks?\b|\bwalks (one way|from|by|through|with)\b`: "move, go, change",
	`\b(a|the|whole) ticks? (is|was|left|of|out)\b`:                                                    "frame, interval",
	`\bblur disk\b`:            "blur",
	`\bripple\b`:               "flicker",
	`\bbeats? with\b`:          "flicker",
	`\bshall\b`:                "should, must",
	`\botherwise than\b`:       "differ from",
	`\bturned otherwise\b`:     "with another orientation",
	`\bhave (it|them) count\b`: "count",
	`\bwithout a word\b`:       "without a warning",
	`\bhold before\b`:          "take precedence over",
	`\bgo(es)? without it\b`:   "use none",
}

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
			fmt.Fprintf(&b, "%s\t%s\n", s.place, s.text)
		}
		if err := os.WriteFile(*textsFile, []byte(b.String()), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	for pattern, better := range unclear {
		re := regexp.MustCompile(pattern)
		for _, s := range all {
			if found := re.FindString(s.text); found != "" {
				t.Errorf("%s: %q in %q: better %s", s.place, found, s.text, better)
			}
		}
	}
}
