package config

import (
	"bytes"
	"cmp"
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/pelletier/go-toml/v2"

	"prestrike/audit"
)

const seeExample = ": in an empty folder, prestrike config --write writes a file that shows how settings are written"

// lists are the tables that may stand in a file several times.
var lists = []string{"body", "lens", "focus-step", "view", "accept", "retaken"}

// head writes the head of a table.
func head(table string) string {
	if slices.Contains(lists, table) {
		return "[[" + table + "]]"
	}
	return "[" + table + "]"
}

// heads finds tables whose head stands in single brackets for double ones, or the
// other way round. Each is reported where it stands first.
func (r *reader) heads() {
	byLine := func(a, b string) int { return cmp.Or(r.lines[a]-r.lines[b], cmp.Compare(a, b)) }
	reported := map[string]bool{}
	for _, key := range slices.SortedFunc(maps.Keys(r.lines), byLine) {
		first, rest, below := strings.Cut(key, ".")
		table, _, listed := strings.Cut(first, "[")
		if reported[table] {
			continue
		}
		if capitals, head := inCapitals(table, rest); capitals != "" {
			r.fail(key, "write %s in small letters", capitals)
			reported[table] = head
			continue
		}
		switch double := slices.Contains(lists, table); {
		case double && !listed && below && table == "focus-step":
			r.fail(key, "write [[focus-step]] alone on its line, in double brackets, and what it holds on the lines below")
		case double && !listed && below && table == "view":
			r.fail(key, "write [[view]] alone on its line, in double brackets, and the name on the line below: name = \"front\"")
		case double && !listed && below && table != "accept" && table != "retaken":
			r.fail(key, "write [[%s]] alone on its line, in double brackets, and the name on the line below: model = \"BX-1\"", table)
		case double && !listed:
			r.fail(key, "write [[%s]] on a line of its own, in double brackets", table)
		case (table == "shoot" || table == "rule") && listed:
			r.fail(key, "write [%s] in single brackets", table)
		default:
			continue
		}
		reported[table] = true
	}
}

// inCapitals returns how to write the head of a table, or a key below one, that stands there
// with capitals; empty where none does. The decoder takes VIEW for view: of two spellings in
// one file it keeps one.
func inCapitals(table, key string) (small string, isHead bool) {
	small = strings.ToLower(table)
	if small != table && (small == "shoot" || small == "rule" || slices.Contains(lists, small)) {
		return head(small), true
	}
	if below := strings.ToLower(key); below != key && (table == "accept" || table == "retaken") {
		return below, false
	}
	return "", false
}

// lineOf returns a line of a file, counted from 1, without the blanks around it.
func lineOf(data []byte, n int) string {
	lines := bytes.Split(data, []byte("\n"))
	if n < 1 || n > len(lines) {
		return ""
	}
	return strings.TrimSpace(string(lines[n-1]))
}

// exponent matches a number as programmers write it.
var exponent = regexp.MustCompile(`^[-+]?[0-9.]+[eE][-+]?[0-9]+$`)

// isWhole reports whether a key of some table takes a whole number.
func isWhole(name string) bool {
	return slices.ContainsFunc(facts, func(f *Fact) bool { return f.name == name && f.whole }) ||
		slices.ContainsFunc(bodyKeys, func(k key[audit.BodyFacts]) bool { return k.name == name && k.whole })
}

// plainMistake reports what is wrong with a line that the decoder refuses, in words
// for people who never heard of its grammar.
func plainMistake(e *toml.DecodeError, line string) string {
	if key := strings.Join(e.Key(), "."); key != "" && strings.Contains(e.Error(), "cannot decode") {
		return fmt.Sprintf("%s cannot have this value", key) + seeExample
	}
	if strings.Contains(e.Error(), "already") {
		return fmt.Sprintf("%s is in the file twice: keep one of the two", strconv.Quote(line))
	}
	if strings.HasPrefix(line, "[") {
		name := strings.Trim(line, "[] ")
		if strings.Count(line, "[") != strings.Count(line, "]") && strings.Trim(name, "abcdefghijklmnopqrstuvwxyz-.") == "" {
			return fmt.Sprintf("the brackets of %q do not match: write %s", line, head(name))
		}
		return fmt.Sprintf("%q cannot be read: write the name of a table in brackets, alone on its line, such as [shoot]", line)
	}
	name, value, isKey := strings.Cut(line, "=")
	name, value = strings.TrimSpace(name), strings.TrimSpace(value)
	switch {
	case !isKey:
		return fmt.Sprintf("%q is no setting: write it as name = value, or put # before it if it is a remark", line)
	case value == "" || strings.HasPrefix(value, "#"):
		return fmt.Sprintf("%s has no value: write one after the =, or put # before the line", name)
	case strings.HasPrefix(value, `"`) && strings.Count(value, `"`)%2 == 1:
		return fmt.Sprintf("the closing quotation mark is missing in %q: write both around the word", line)
	case strings.Contains(value, `\`):
		return fmt.Sprintf(`%q cannot be read: write \\ for each \ in it`, line)
	case isWhole(name):
		return fmt.Sprintf("%s = %s: write a whole number without a unit, as in %s = 50", name, value, name)
	case exponent.MatchString(value):
		return fmt.Sprintf("%s = %s: write it as a plain number, such as 2.5", name, value)
	case strings.Trim(value, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-. :/%µ") == "" && value != "":
		return fmt.Sprintf("%s = %s: put it in quotes, as in %s = %q; a number needs none", name, value, name, value)
	}
	return fmt.Sprintf("%q cannot be read", line) + seeExample
}
