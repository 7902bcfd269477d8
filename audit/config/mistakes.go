package config

import (
	"cmp"
	"maps"
	"slices"
	"strings"
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
// other way round. Each is reported where it stands first. It reports whether there are any.
func (r *reader) heads() bool {
	byLine := func(a, b string) int { return cmp.Or(r.lines[a]-r.lines[b], cmp.Compare(a, b)) }
	reported := map[string]bool{}
	for _, key := range slices.SortedFunc(maps.Keys(r.lines), byLine) {
		first, _, below := strings.Cut(key, ".")
		table, _, listed := strings.Cut(first, "[")
		if reported[table] {
			continue
		}
		if capitals := inCapitals(table); capitals != "" {
			r.fail(key, "write %s in small letters", capitals)
			reported[table] = true
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
	return len(reported) > 0
}

// inCapitals returns how to write the head of a table that stands there with capitals;
// empty where none does. The decoder takes VIEW for view: of two spellings in one file it
// keeps one.
func inCapitals(table string) string {
	small := strings.ToLower(table)
	if small != table && (small == "shoot" || small == "rule" || slices.Contains(lists, small)) {
		return head(small)
	}
	return ""
}
