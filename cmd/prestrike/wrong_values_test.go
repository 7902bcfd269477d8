package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"prestrike/audit"
	"prestrike/audit/config"
	"prestrike/rules"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

// forProgrammers is what no message to a photographer holds: names of libraries, of calls
// and of types, and formats that were filled in wrongly.
var forProgrammers = regexp.MustCompile(`strconv|lstat|ParseFloat|ParseInt|invalid syntax|time: |beeep|pflag|toml: |json: |exec: |goroutine|panic|nil pointer|%!|accept\[|body\[|lens\[|\bint(64)?\b|\bfloat64\b|\bmap\[|struct|unmarshal|decode .* into|open \S+: `)

// wrongValues are values that no flag reads, and those that some do.
var wrongValues = []string{"", " ", "wrong", "-1", "1e400", "NaN", "½", "1/0", "1:2:3", "10 furlongs", "\x00\x1b[31m", strings.Repeat("9", 400), "0x10", "true"}

// freeText are flags whose value is a name, of which some may be good.
var freeText = []string{"config", "output", "manifest", "like", "on-finding", "into", "sequence", "add", "date", "title", "paper", "view", "from", "set"}

// TestWrongValuesOfFlags gives each flag of each command values that it cannot read, and
// holds the message to name the flag, what was read and what is accepted.
func TestWrongValuesOfFlags(t *testing.T) {
	folder := t.TempDir()
	t.Chdir(folder)
	t.Setenv("XDG_CONFIG_HOME", folder)
	var walk func(cmd *cobra.Command)
	refused := 0
	walk = func(cmd *cobra.Command) {
		for _, sub := range cmd.Commands() {
			walk(sub)
		}
		if !cmd.Runnable() || cmd.Name() == "watch" && testing.Short() {
			return
		}
		cmd.LocalFlags().VisitAll(func(flag *pflag.Flag) {
			if flag.Value.Type() == "bool" {
				return
			}
			for _, value := range wrongValues {
				args := append(strings.Fields(cmd.CommandPath())[1:], "--"+flag.Name+"="+value)
				if strings.Contains(cmd.Use, "FOLDER") || strings.Contains(cmd.Use, "FILE") || strings.Contains(cmd.Use, "CARD") {
					args = append(args, "nothing-there")
				}
				var out, remarks bytes.Buffer
				status := run(t.Context(), args, &console{out: &out, err: &remarks})
				said := remarks.String()
				if found := forProgrammers.FindString(strings.ReplaceAll(said, strings.Repeat("9", 400), "")); found != "" {
					t.Errorf("%q: %q is no word of a photographer: %s", args, found, said)
				}
				if strings.ContainsAny(said, "\x00\x1b") {
					t.Errorf("%q: control characters in %q", args, said)
				}
				if !strings.Contains(said, "--"+flag.Name+": cannot read ") {
					if !slices.Contains(freeText, flag.Name) && !readable(flag.Name, value) {
						t.Errorf("%q: status %d; the message does not name the flag and what was read: %s", args, status, said)
					}
					continue
				}
				refused++
				if status != statusNotAudited || !strings.Contains(said, "write ") {
					t.Errorf("%q: status %d; the message does not say what is accepted: %s", args, status, said)
				}
			}
		})
	}
	walk(newRoot(&console{}))
	if refused < 300 {
		t.Errorf("%d values were refused, want most of those tried", refused)
	}
}

// readable reports whether a flag may read one of the wrong values, to refuse it, or to
// fail, for another reason.
func readable(flag, value string) bool {
	switch flag {
	case "alert":
		return true // which lists its words itself
	case "magnification", "pupil":
		return value == "1/0"
	}
	return false
}

// TestWrongValuesOfKeys gives each key of the configuration values that it cannot read, and
// holds the message to name file, line and key.
func TestWrongValuesOfKeys(t *testing.T) {
	folder := t.TempDir()
	key := regexp.MustCompile(`(?m)^# ([a-z-]+) = `)
	table, all := "", rules.All()
	for line := range strings.Lines(string(config.StartingFile(all))) {
		if head := regexp.MustCompile(`^(?:# )?(\[\[?[a-z.-]+\]\]?)\n`).FindStringSubmatch(line); head != nil {
			table = head[1]
		}
		name := key.FindStringSubmatch(line)
		if name == nil {
			continue
		}
		for _, value := range []string{`"wrong"`, `-1`, `[1, 2]`, `{ a = 1 }`, `1e400`, `nan`, `true`, `1/30`, `10mm`, `""`, `2026-11-26`, `"1\u0000"`} {
			text := table + "\n"
			if name[1] != "model" && (table == "[[body]]" || table == "[[lens]]") {
				text += "model = \"BX-1\"\n"
			}
			text += name[1] + " = " + value + "\n"
			file := filepath.Join(folder, config.Name)
			if err := os.WriteFile(file, []byte(text), 0o666); err != nil {
				t.Fatal(err)
			}
			_, err := config.Read(&audit.Options{Rules: all}, file)
			if err == nil {
				continue // it may be a name, or a number in its range
			}
			said := err.Error()
			if found := forProgrammers.FindString(said); found != "" {
				t.Errorf("%q: %q is no word of a photographer: %s", text, found, said)
			}
			// What the table lacks is reported where it begins.
			if own := fmt.Sprintf("%s:%d: ", file, strings.Count(text, "\n")); !strings.Contains(said, own) && !strings.Contains(said, file+":1: ") {
				t.Errorf("%q: the message does not name the line: %s", text, said)
			}
		}
	}
}
