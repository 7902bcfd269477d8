package config

import "strings"

// A Setting is one value of the configuration in force.
type Setting struct {
	Key    string // as in the file: "shoot.support", "rule.iso-drift.tolerance"
	Value  string // as in the file
	Origin string // file and line, or the words of whoever set it
}

// InForce returns the settings that hold over the defaults: of several of one key the
// last. The entries of lists all hold.
func InForce(made []Setting) []Setting {
	var out []Setting
	for _, f := range facts {
		out = append(out, Setting{"shoot." + f.name, f.unless, "default"})
	}
	at := map[string]int{}
	for i, s := range out {
		at[s.Key] = i
	}
	for _, s := range made {
		key := s.Key
		if strings.Contains(key, "[") { // entries of lists count from 0 in each file
			key = s.Origin + s.Key
		}
		if i, ok := at[key]; ok {
			out[i] = s
			continue
		}
		at[key] = len(out)
		out = append(out, s)
	}
	return out
}
