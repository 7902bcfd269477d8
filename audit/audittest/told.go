package audittest

import (
	"fmt"

	"prestrike/audit"
)

// Told writes what was found in sequences, a line each: severity, rule, sentence
// and action.
func Told(result *audit.Result) []string {
	var out []string
	for _, session := range result.Sessions {
		for _, q := range session.Sequences {
			for _, f := range q.Findings {
				out = append(out, fmt.Sprintf("%v %s: %s: %s", f.Severity, f.Rule, f.Message, f.Action))
			}
		}
	}
	return out
}
