package main

import (
	"bytes"
	"context"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"prestrike/audit/pixels/pixelstest"

	"github.com/google/go-cmp/cmp"
)

var (
	wayBlock = regexp.MustCompile("(?s)<!-- way -->\n```\n(.*?)```\n")
	wayWord  = regexp.MustCompile(`"[^"]*"|\S+`)
)

// A wayStep is a command that the README's way from plan to formatted card shows, with what
// it answers there.
type wayStep struct{ command, shown string }

// readmeWay returns the steps of the README.
func readmeWay(t *testing.T) []wayStep {
	t.Helper()
	readme, err := os.ReadFile(filepath.Join("..", "..", "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	var steps []wayStep
	blocks := wayBlock.FindAllStringSubmatch(string(readme), -1)
	if n := strings.Count(string(readme), "<!-- way -->"); n != len(blocks) || n == 0 {
		t.Fatalf("the README marks %d blocks, of which %d can be read", n, len(blocks))
	}
	for _, b := range blocks {
		for line := range strings.Lines(b[1]) {
			if command, is := strings.CutPrefix(line, "$ "); is {
				steps = append(steps, wayStep{command: strings.TrimSpace(command)})
			} else {
				steps[len(steps)-1].shown += line
			}
		}
	}
	return steps
}

// matches reports whether an answer is what is shown, in which a line of three dots is any
// number of lines.
func (s wayStep) matches(answer string) bool {
	var pattern strings.Builder
	for line := range strings.Lines(s.shown) {
		if line == "...\n" {
			pattern.WriteString(`(?:.*\n)*?`)
		} else {
			pattern.WriteString(regexp.QuoteMeta(line))
		}
	}
	return regexp.MustCompile("^" + pattern.String() + "$").MatchString(answer)
}

// TestReadmeWay runs the commands of the README's way from plan to formatted card, one
// after the other, and holds their answers to those shown. The whole report on the
// demonstration is held to a golden, which UPDATE=1 rewrites.
func TestReadmeWay(t *testing.T) {
	pixelstest.Long(t)
	golden, err := filepath.Abs(filepath.Join("..", "..", "testdata", "golden", "report_demo.txt"))
	if err != nil {
		t.Fatal(err)
	}
	steps := readmeWay(t)
	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	cache := t.TempDir()
	t.Chdir(t.TempDir())
	ran := map[string]bool{}
	for _, s := range steps {
		answer := s.run(t, cache)
		ran[strings.Join(strings.Fields(s.command + " .")[:2], " ")] = true
		if !s.matches(answer) {
			t.Errorf("%s\nanswers:\n%s\nthe README shows:\n%s", s.command, answer, s.shown)
		}
		if s.command != "prestrike report card" {
			continue
		}
		if os.Getenv("UPDATE") != "" {
			if err := os.WriteFile(golden, []byte(answer), 0o666); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(golden)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(string(want), answer); diff != "" {
			t.Errorf("%s (-want +got):\n%s", golden, diff)
		}
	}
	for _, command := range []string{"demo", "plan", "slate", "watch", "report", "accept", "list", "copies"} {
		if !ran["prestrike "+command] {
			t.Errorf("the way does not show prestrike %s", command)
		}
	}
}

// run runs a step, and returns what stands on the screen then. What the pictures show is
// kept in cache from one step to the next.
func (s wayStep) run(t *testing.T, cache string) string {
	t.Helper()
	words := wayWord.FindAllString(s.command, -1)
	for i := range words {
		words[i] = strings.Trim(words[i], `"`)
	}
	switch words[0] {
	case "cd":
		t.Chdir(words[1])
		return ""
	case "cp":
		content, err := os.ReadFile(words[1])
		if err == nil {
			err = os.WriteFile(words[2], content, 0o666)
		}
		if err != nil {
			t.Fatal(err)
		}
		return ""
	case "prestrike":
	default:
		t.Fatalf("%s: no command of the way", s.command)
	}
	var screen bytes.Buffer
	c := &console{out: &screen, err: &screen, cacheFolder: func() (string, error) { return cache, nil }}
	if words[1] != "watch" {
		run(t.Context(), words[1:], c)
		return screen.String()
	}
	// Ctrl-C, as soon as the watch reported what is open.
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	keys, typed := io.Pipe() // nobody types anything
	defer typed.Close()
	c.in = keys
	c.out = writerFunc(func(p []byte) (int, error) {
		if strings.Contains(string(p), "RESHOOT: ") {
			stop()
		}
		return screen.Write(p)
	})
	time.AfterFunc(2*time.Minute, stop)
	run(ctx, words[1:], c)
	return screen.String()
}

type writerFunc func(p []byte) (int, error)

func (f writerFunc) Write(p []byte) (int, error) { return f(p) }
