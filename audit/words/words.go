// Package words joins and counts things in sentences.
package words

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// List joins words for a sentence: "a", "a and b", "a, b and c". Of more than most
// and one it names the first and counts the rest: "a, b, c and 4 more".
func List(words []string, most int) string {
	n := len(words)
	switch {
	case n < 2:
		return strings.Join(words, "")
	case n > most+1:
		return strings.Join(words[:most], ", ") + fmt.Sprintf(" and %d more", n-most)
	default:
		return strings.Join(words[:n-1], ", ") + " and " + words[n-1]
	}
}

// Names returns names for a list: in quotes where one of them holds a comma, as the list
// would seem to hold more of them then.
func Names(names []string) []string {
	if !slices.ContainsFunc(names, func(name string) bool { return strings.Contains(name, ",") }) {
		return names
	}
	quoted := make([]string, len(names))
	for i, name := range names {
		quoted[i] = strconv.Quote(name)
	}
	return quoted
}

// Plural returns the word for one thing or the word for more, or none.
func Plural(n int, one, more string) string {
	if n == 1 {
		return one
	}
	return more
}

// Count writes how many things there are: "1 frame", "12 frames".
func Count(n int, one, more string) string { return fmt.Sprintf("%d %s", n, Plural(n, one, more)) }
