package main

import (
	"bytes"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

var readmeExample = regexp.MustCompile("(?s)<!-- example: prestrike ([^\n]*) -->\n```\n[$] prestrike ([^\n]*)\n(.*?)```\n")

// The examples in the README are what the program prints.
func TestReadmeExamples(t *testing.T) {
	t.Chdir(filepath.Join("..", ".."))
	// No configuration of whoever runs the tests.
	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	readme, err := os.ReadFile("README.md")
	if err != nil {
		t.Fatal(err)
	}
	examples := readmeExample.FindAllStringSubmatch(string(readme), -1)
	shown := map[string]bool{}
	for _, e := range examples {
		command, typed, want := e[1], e[2], e[3]
		if command != typed {
			t.Errorf("example %q shows %q", command, typed)
		}
		args := strings.Fields(command)
		shown[args[0]] = true
		var out, remarks bytes.Buffer
		run(t.Context(), args, &console{out: &out, err: &remarks})
		if diff := cmp.Diff(want, out.String()); diff != "" {
			t.Errorf("prestrike %s (-README +program):\n%s", command, diff)
		}
		if remarks.Len() > 0 {
			t.Errorf("prestrike %s: remarks %q", command, remarks.String())
		}
	}
	for _, command := range []string{"report", "plan", "rules", "config"} {
		if !shown[command] {
			t.Errorf("README.md shows no example of prestrike %s", command)
		}
	}
	if n := strings.Count(string(readme), "<!-- example:"); n != len(examples) {
		t.Errorf("README.md has %d examples, %d of them can be read", n, len(examples))
	}
}
