package config

import (
	"bytes"
	"fmt"
	"strings"

	"github.com/pelletier/go-toml/v2/unstable"
)

// keyLines returns the line of every key and table of a TOML document, by its
// name with dots, array tables counted from 0: "accept[0].rule".
func keyLines(data []byte) (map[string]int, error) {
	lines := map[string]int{}
	counts := map[string]int{}
	var p unstable.Parser
	p.Reset(data)
	table := ""
	at, lineAt := 0, 1 // a place in the document, and its line
	for p.NextExpression() {
		e := p.Expression()
		var parts []string
		line := 0
		for it := e.Key(); it.Next(); {
			n := it.Node()
			parts = append(parts, string(n.Data))
			if line == 0 {
				// The parser's own count begins at the first line each time.
				start := int(n.Raw.Offset)
				lineAt += bytes.Count(data[at:start], []byte("\n"))
				at, line = start, lineAt
			}
		}
		key := strings.Join(parts, ".")
		switch e.Kind {
		case unstable.Table:
			table = key
			lines[table] = line
		case unstable.ArrayTable:
			table = fmt.Sprintf("%s[%d]", key, counts[key])
			counts[key]++
			lines[table] = line
		case unstable.KeyValue:
			full := key
			if table != "" {
				full = table + "." + key
			}
			lines[full] = line
		}
	}
	return lines, p.Error()
}
