package config

import (
	"bytes"
	"fmt"
	"strconv"
	"strings"

	"prestrike/audit"
	"prestrike/audit/values"
)

// StartingFile returns a configuration file in which every key is a comment.
func StartingFile(rules []*audit.Rule) []byte {
	var b bytes.Buffer
	b.WriteString(`# Configuration of prestrike for this folder and those below it.
# Remove the # before a line to set it.

# What the frames do not record. The values here are examples.
[shoot]
`)
	for _, f := range facts {
		b.WriteString(f.line())
	}
	b.WriteString("\n# A body, as prestrike frames shows it.\n# [[body]]\n")
	for _, k := range bodyKeys {
		b.WriteString(k.line())
	}
	b.WriteString("\n# A lens.\n# [[lens]]\n")
	for _, k := range lensKeys {
		b.WriteString(k.line())
	}
	b.WriteString("\n# A test run of a body with a lens, as prestrike plan --from FOLDER --remember writes it.\n# [[focus-step]]\n")
	for _, k := range focusStepKeys {
		b.WriteString(k.line())
	}
	b.WriteString("\n# The shot list: a view for each picture of the job, in the order of shooting.\n# Only the name is needed. prestrike slate makes a card to photograph before each.\n# [[view]]\n")
	for _, k := range viewKeys {
		b.WriteString(k.line())
	}
	b.WriteString(`
# This is meant: the finding stays in the report with your reason, and no longer
# counts. Name the first frame of the sequence: no other one is meant then.
# [[accept]]
# rule = "iso-drift"
# frame = "BX1_0118.NEF"
# reason = "the second half is lit by hand"

# This sequence was shot again, where the frames do not show it: the later one counts.
# Name any frame of each.
# [[retaken]]
# sequence = "BX1_0129.NEF"
# by = "BX1_0160.NEF"

# The rules, with the numbers they decide by. Numbers may be written with a
# unit, in quotes: "1/30 s", "30%". Any rule takes severity = "note", "check" or
# "reshoot", and off = true.
`)
	for _, r := range rules {
		fmt.Fprintf(&b, "\n# %s\n# [rule.%s]\n# severity = %q\n", r.Title, r.ID, r.Severity)
		for _, p := range r.Params {
			limits := Range{p.Min, p.Max, p.Unit}
			number := values.Text(p.Default, p.Unit)
			if strings.Contains(number, "/") {
				number = strconv.Quote(number)
			}
			fmt.Fprintf(&b, "# %s = %s   # %s: %s\n", p.Name, number, limits, p.Doc)
		}
	}
	return b.Bytes()
}
