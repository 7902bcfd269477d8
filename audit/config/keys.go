package config

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	"github.com/pelletier/go-toml/v2"

	"prestrike/audit/values"
)

// A key is one key of a table that declares facts of T.
type key[T any] struct {
	name string
	// set takes a value as TOML holds it, checks it, and returns how it is shown;
	// empty for what the name of the table shows already. An error is a whole sentence.
	set func(to *T, value any) (shown string, err error)
	// example is a value as it may stand in the file, and comment what it means, for
	// the starting file; empty where the name is enough.
	example, comment string
}

// comments sets the example and the comment of a key.
func (k key[T]) comments(example, comment string) key[T] {
	k.example, k.comment = example, comment
	return k
}

// nameKey is a key for a text that names the table's subject.
func nameKey[T any](name string, field func(*T) *string) key[T] {
	return key[T]{name: name, set: func(to *T, value any) (string, error) {
		text, err := asText(name, value)
		*field(to) = text
		return "", err
	}}
}

// wordKey is a key for a word of a few, which parse reads. Its errors are whole
// sentences.
func wordKey[T, W any](name string, field func(*T) *W, parse func(string) (W, error)) key[T] {
	return key[T]{name: name, set: func(to *T, value any) (string, error) {
		word, isText := value.(string)
		if at, is := value.(toml.LocalTime); is { // 16:00, which needs no quotes
			word, isText = written(at), true
		}
		if !isText { // what parse accepts is in its error
			word = written(value)
		}
		v, err := parse(word)
		if small := strings.ToLower(word); err != nil && small != word {
			if of, errSmall := parse(small); errSmall == nil {
				v, err, word = of, nil, small
			}
		}
		switch {
		case !isText && err != nil:
			return "", fmt.Errorf("%w, in quotes", err)
		case !isText:
			return "", fmt.Errorf("%s is %s: write it in quotes", name, word)
		}
		*field(to) = v
		return strconv.Quote(word), err
	}}
}

// numberKey is a key for a number in a range, written as it is or, as the kind reads it,
// in quotes: 0.5, "1:2".
func numberKey[T any](name string, field func(*T) *float64, kind values.Kind[float64], limit Range) key[T] {
	return key[T]{name: name, set: func(to *T, value any) (string, error) {
		v, err := asNumber(name, value, kind)
		if err == nil && !limit.holds(v) {
			err = notIn(name, value, limit)
		}
		*field(to) = v
		return shown(kind.Write(v)), err
	}}
}

// shown is a number as it stands in the file.
func shown(number string) string {
	if strings.Trim(number, "0123456789.") != "" {
		return strconv.Quote(number)
	}
	return number
}

// outside is the error on a number out of its range, to which an example is added.
type outside struct{ text string }

func (e *outside) Error() string { return e.text }

// notIn returns the error on a number out of its range.
func notIn(name string, value any, limit Range) error {
	return &outside{fmt.Sprintf("%s is %s: write %s", name, written(value), limit)}
}

// countKey is a key for a whole number in a range.
func countKey[T any](name string, field func(*T) *int, limit Range) key[T] {
	return key[T]{name: name, set: func(to *T, value any) (string, error) {
		v, whole := value.(int64)
		if text, isText := value.(string); isText {
			n, err := values.Count.Read(text)
			v, whole = int64(n), err == nil
		}
		if !whole || !limit.holds(float64(v)) {
			return "", &outside{fmt.Sprintf("%s is %s: write a whole number from %s", name, written(value), limit)}
		}
		*field(to) = int(v)
		return fmt.Sprint(v), nil
	}}
}

// written shows a value about as it stands in the file.
func written(value any) string {
	switch v := value.(type) {
	case string:
		return strconv.Quote(v)
	case float64:
		return strconv.FormatFloat(v, 'f', -1, 64)
	case toml.LocalTime:
		return strings.TrimSuffix(v.String(), ":00")
	case []any:
		return "a list"
	case map[string]any:
		return "a table"
	}
	return fmt.Sprint(value)
}

func asText(name string, value any) (string, error) {
	if text, ok := value.(string); ok {
		return text, nil
	}
	return "", fmt.Errorf("%s is %s: write it in quotes", name, written(value))
}

// asNumber reads a number as TOML holds it, or what stands in quotes as the kind reads it.
func asNumber(name string, value any, kind values.Kind[float64]) (float64, error) {
	switch n := value.(type) {
	case int64:
		return float64(n), nil
	case float64:
		return n, nil
	case string:
		if v, err := kind.Read(n); err == nil {
			return v, nil
		}
	}
	return 0, fmt.Errorf("%s is %s: write %s; in quotes where it is more than a number", name, written(value), kind.Wanted)
}

// table reads one table into facts of T: its keys in the order of the list, then what
// is in it and not in the list.
func table[T any](r *reader, kind, at string, values map[string]any, keys []key[T], to *T) {
	for _, k := range keys {
		value, declared := values[k.name]
		if !declared {
			continue
		}
		full := at + "." + k.name
		shown, err := k.set(to, value)
		if _, out := errors.AsType[*outside](err); out {
			err = fmt.Errorf("%w, such as %s", err, k.example)
		}
		if err != nil {
			r.fail(full, "%v", err)
		} else if shown != "" {
			r.set(full, shown)
		}
	}
	for _, name := range slices.Sorted(maps.Keys(values)) {
		if !hasKey(keys, name) {
			r.noKey(at+"."+name, kind+"."+name)
		}
	}
}

func hasKey[T any](keys []key[T], name string) bool {
	for _, k := range keys {
		if k.name == name {
			return true
		}
	}
	return false
}

// names returns the keys of a table with the table's name before them.
func names[T any](kind string, keys []key[T]) []string {
	out := []string{kind}
	for _, k := range keys {
		out = append(out, kind+"."+k.name)
	}
	return out
}

// line writes the key as a comment of a starting file, with a value.
func (k key[T]) line(value string) string {
	line := "# " + k.name + " = " + value
	if k.comment != "" {
		line = fmt.Sprintf("%-32s# %s", line, k.comment)
	}
	return strings.TrimRight(line, " ") + "\n"
}
