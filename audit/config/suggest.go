package config

import "prestrike/audit"

// NearestRule returns the ID of the rule whose name is most like word; empty
// where none is like it.
func NearestRule(rules []*audit.Rule, word string) string {
	ids := make([]string, len(rules))
	for i, r := range rules {
		ids[i] = r.ID
	}
	return Nearest(word, ids)
}

// Nearest returns the known word that is most like word; empty where no word is
// like it.
func Nearest(word string, known []string) string {
	best, distance := "", 1+max(2, len(word)/3)
	for _, k := range known {
		if max(len(word)-len(k), len(k)-len(word)) >= distance {
			continue // as many letters at least
		}
		if d := editDistance(word, k); d < distance {
			best, distance = k, d
		}
	}
	return best
}

// editDistance is the number of letters to put in, take out or change that
// makes b of a (Levenshtein).
func editDistance(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			d := diagonal
			if a[i] != b[j] {
				d = 1 + min(diagonal, row[j], row[j+1])
			}
			diagonal, row[j+1] = row[j+1], d
		}
	}
	return row[len(b)]
}
