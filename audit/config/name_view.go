package config

import (
	"bytes"
	"errors"
	"slices"
	"strings"

	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"

	"prestrike/audit"
)

// NameViewStep declares that a sequence shows a view: the one of v's name, in whose entry
// the frame v.Sequence is written. Where there is none of that name, v is added. Views that
// name a frame of the same sequence, as of answers, no longer do.
func NameViewStep(v audit.View, of func(frame string) bool) Step {
	return func(text []byte) ([]byte, error) {
		frame, err := quoted(v.Sequence)
		if err != nil {
			return nil, err
		}
		text, marked := bytes.CutPrefix(text, byteOrderMark)
		entries, err := viewEntries(text)
		if err != nil {
			return nil, err
		}
		found := false
		// From the last one on, so that the places of those before stay.
		for _, e := range slices.Backward(entries) {
			switch {
			case SameView(e.name, v.Name) && e.sequence.end > 0:
				text, found = splice(text, e.sequence, frame), true
			case SameView(e.name, v.Name):
				text, found = insertBehind(text, e.nameAt.end, "sequence = "+frame), true
			case e.sequence.end > 0 && of(e.frame):
				text = removeKey(text, e.sequence)
			}
		}
		if !found {
			if text, err = addView(v)(text); err != nil {
				return nil, err
			}
		}
		if marked {
			text = slices.Concat(byteOrderMark, text)
		}
		return text, nil
	}
}

// byteOrderMark is what some editors put first.
var byteOrderMark = []byte("\uFEFF")

// SameView reports whether two names are of one view.
func SameView(a, b string) bool { return viewKey(a) == viewKey(b) }

func viewKey(name string) string { return strings.ToLower(strings.Join(strings.Fields(name), " ")) }

// A span is a part of a text.
type span struct{ from, end int }

// A listedView is where an entry of the shot list has what.
type listedView struct {
	name, frame string
	// nameAt and sequence are the places of the values; zero where not written.
	nameAt, sequence span
}

// viewEntries finds the entries of the shot list in a text without mistakes.
func viewEntries(text []byte) ([]*listedView, error) {
	var p unstable.Parser
	p.Reset(text)
	var list []*listedView
	var at *listedView
	for p.NextExpression() {
		e := p.Expression()
		it := e.Key()
		var parts []string
		for it.Next() {
			parts = append(parts, string(it.Node().Data))
		}
		key := strings.Join(parts, ".")
		switch e.Kind {
		case unstable.Table:
			at = nil
		case unstable.ArrayTable:
			if at = nil; key == "view" {
				at = &listedView{}
				list = append(list, at)
			}
		case unstable.KeyValue:
			value := e.Value()
			if at == nil || value.Kind != unstable.String {
				continue
			}
			place := span{int(value.Raw.Offset), int(value.Raw.Offset + value.Raw.Length)}
			switch key {
			case "name":
				at.name, at.nameAt = string(value.Data), place
			case "sequence":
				at.frame, at.sequence = string(value.Data), place
			}
		}
	}
	if err := p.Error(); err != nil {
		return nil, err
	}
	for _, v := range list {
		if v.nameAt.end == 0 {
			return nil, errors.New("a view has no name")
		}
	}
	return list, nil
}

// quoted writes a text as a value.
func quoted(text string) (string, error) {
	written, err := toml.Marshal(struct {
		V string `toml:"v"`
	}{text})
	if err != nil {
		return "", err
	}
	return strings.TrimSpace(strings.TrimPrefix(string(written), "v = ")), nil
}

func splice(text []byte, at span, by string) []byte {
	return slices.Concat(text[:at.from], []byte(by), text[at.end:])
}

// insertBehind puts a line behind that of a place.
func insertBehind(text []byte, at int, line string) []byte {
	end := bytes.IndexByte(text[at:], '\n')
	if end < 0 {
		return slices.Concat(text, []byte("\n"+line+"\n"))
	}
	end += at
	br := "\n"
	if end > 0 && text[end-1] == '\r' {
		br = "\r\n"
	}
	return slices.Concat(text[:end+1], []byte(line+br), text[end+1:])
}

// removeKey removes a key by the place of its value: its lines, or all but the comment
// behind it.
func removeKey(text []byte, value span) []byte {
	from := bytes.LastIndexByte(text[:value.from], '\n') + 1
	end := len(text)
	if n := bytes.IndexByte(text[value.end:], '\n'); n >= 0 {
		end = value.end + n + 1
	}
	rest := bytes.TrimLeft(text[value.end:end], " \t")
	if !bytes.HasPrefix(rest, []byte("#")) {
		rest = nil
	}
	return slices.Concat(text[:from], rest, text[end:])
}
