package config

import (
	"bytes"
	"fmt"
	"strings"

	"prestrike/audit"
	"prestrike/audit/values"
)

// StartingFile returns a configuration file in which every key is a comment. Each line
// that sets something has the value that holds without it, and can be set alone; entries of
// lists have none, and stand there as examples.
func StartingFile(rules []*audit.Rule) []byte {
	var b bytes.Buffer
	b.WriteString(`# Configuration of prestrike for this folder and those below it.
# Remove the # before a line to set it. The values are those that hold without it.
# Put words, and numbers with a unit, in quotes.

# What the frames do not record.
[shoot]
`)
	for _, f := range facts {
		b.WriteString(f.line(f.start))
	}
	b.WriteString("\n# Lists. The entries are examples: remove the # before the head in double brackets, and\n# before the lines below it that you want.\n")
	example(&b, "body", bodyKeys, "A body, as prestrike frames shows it.")
	example(&b, "lens", lensKeys, "A lens.")
	example(&b, "focus-step", focusStepKeys, "A test run of a body with a lens, as prestrike plan --from FOLDER --remember writes it.")
	example(&b, "view", viewKeys, "The shot list: a view for each picture of the job, in the order of shooting.",
		"Only the name is needed. prestrike slate makes a card to photograph before each.")
	example(&b, "accept", acceptKeys, "This is meant: the finding stays in the report with your reason, and no longer",
		"counts. Name the first frame of the sequence: no other one is meant then.",
		"prestrike accept writes it.")
	example(&b, "retaken", retakenKeys, "This sequence was shot again, where the frames do not show it: the later one counts.",
		"Name any frame of each.")
	b.WriteString(`
# The rules, with the numbers they decide by. Any rule takes severity = "note", "check"
# or "reshoot", and off = true.
`)
	for _, r := range rules {
		fmt.Fprintf(&b, "\n# %s\n[rule.%s]\n# severity = %q\n", r.Title, r.ID, r.Severity)
		for _, p := range r.Params {
			fmt.Fprintf(&b, "# %s = %s   # %s: %s\n", p.Name, shown(values.Text(p.Default, p.Unit)), Range{p.Min, p.Max, p.Unit}, p.Doc)
		}
	}
	return b.Bytes()
}

// example writes an entry of a list as comments, below what it is.
func example[T any](b *bytes.Buffer, table string, keys []key[T], about ...string) {
	fmt.Fprintf(b, "\n# %s\n# %s\n", strings.Join(about, "\n# "), head(table))
	for _, k := range keys {
		b.WriteString(k.line(k.example))
	}
}
