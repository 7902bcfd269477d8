package watch

import "strings"

// unfinished are endings by which programs mark a file they are still writing.
var unfinished = []string{
	"~", ".part", ".partial", ".filepart", ".tmp", ".temp", ".download", ".crdownload", ".opdownload",
}

// ignored returns what says of a file name that it is not to be handed out.
func ignored(more func(string) bool) func(string) bool {
	return func(name string) bool {
		if hidden(name) {
			return true
		}
		lower := strings.ToLower(name)
		for _, end := range unfinished {
			if strings.HasSuffix(lower, end) {
				return true
			}
		}
		return more != nil && more(name)
	}
}

// hidden reports whether the name is one that systems keep for themselves.
func hidden(name string) bool { return strings.HasPrefix(name, ".") }
