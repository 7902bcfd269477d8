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

// What a flag reads and cannot use is named as it was written, with the range and an
// example; names that are empty, and flags that do not go together, are refused.
func TestFlagsOutOfRange(t *testing.T) {
	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	t.Chdir(t.TempDir())
	plan := "plan --depth 12mm --magnification 1:2 --sensor-width 36mm --pixels 45MP"
	for line, want := range map[string]string{
		"plan --depth 10m --magnification 1:2 --sensor-width 36mm --pixels 45MP":     "--depth: 10m is out of range: write 0.001 to 1000 mm, such as 12mm",
		"plan --depth 12mm --sensor-width 36mm --pixels 45MP":                        "give --magnification 1:2 or --field-width 8cm",
		"plan --depth 12mm --magnification 1:1000 --sensor-width 36mm --pixels 45MP": "--magnification: 1:1000 is out of range: write 0.01 to 20, such as 1:2",

		plan + " --exposure 1000h":   "--exposure: 1000h is out of range: write 0 s to 1 h, such as 1/4",
		plan + " --blur 0":           "--blur: 0 is out of range: write a value above 0, such as 0.03mm",
		plan + " --field-width 8cm":  "--magnification and --field-width do not go together: leave one out",
		plan + " --f-number 5,6":     `--f-number: cannot read "5,6": write f-numbers such as 4-22, 8 or 5.6, 8, 11, the smaller first; decimals with a point`,
		plan + " --add=":             "--add: the NAME is empty: name one, or leave --add out",
		plan + " --config own.toml":  "--config names the file that --add writes to: give --add NAME, or leave --config out",
		plan + " --like nothing.jpg": "--like nothing.jpg: no such file or directory: name a frame of the body, such as --like BX1_0001.JPG",

		"plan interval --span 2h":                    "give two of --span, --interval and --clip, such as --span 3h --interval 10s: the third follows",
		"plan interval --span 1000000h --interval 1": "--span: 1000000h is out of range: write 1 s to 2400 h, such as 3h",
		"report . --magnification 1:10000":           "--magnification: 1:10000 is out of range: write 0.001 to 100, such as 1:2",
		"report . --planned-frames 1000000":          "--planned-frames: 1000000 is out of range: write 0 to 100000, such as 50",
		"report . --config=":                         "--config: the FILE is empty: name one, or leave --config out",
		"report . --output=":                         "--output: the FILE is empty: name one, or leave --output out",
		"watch . --alert none,bell":                  "--alert: none and others do not go together: leave one out",
		"watch . --alert siren":                      `--alert: cannot read "siren": write bell, desktop or none`,
		`list . --sequence 1.2,"3"`:                  `--sequence: cannot read "\"3\"": write the ID of a sequence as in the report, such as 1.2`,
		"list . --kind stack":                        `--kind: cannot read "stack": write any, single, focus, bracket, time-lapse, burst or series`,
	} {
		var out, remarks bytes.Buffer
		status := run(t.Context(), strings.Fields(line), &console{out: &out, err: &remarks})
		if said, _, _ := strings.Cut(remarks.String(), "\n"); status != statusNotAudited || said != "prestrike: "+want || out.Len() > 0 {
			t.Errorf("%s: status %d, %s\nwant %s", line, status, said, want)
		}
	}
}

// Words are read in capitals, too, and numbers with a decimal comma.
func TestValuesInOtherSpellings(t *testing.T) {
	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	for _, line := range []string{
		"plan --depth 1,2cm --magnification 1:2,5 --sensor-width 35,9mm --pixels 45,7MP --exposure 1/30s --recycling 2sec --f-number f/4–f/22 --format JSON",
		"plan handheld --focal-length 90mm --stops 4stops --sensor-width 36mm --pixels 24Mpix",
		"plan interval --span 3hours --interval 10sec --rate 25fps --frame-size 45M --card 64G",
		"config --support Tripod --light Flash --pixels ON",
	} {
		var out, remarks bytes.Buffer
		if status := run(t.Context(), strings.Fields(line), &console{out: &out, err: &remarks}); status != statusGood || out.Len() == 0 {
			t.Errorf("%s: status %d: %s", line, status, remarks.String())
		}
	}
}
