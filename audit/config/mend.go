package config

import (
	"cmp"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/pelletier/go-toml/v2"
)

// mostMistakes bounds how many mistakes of spelling are reported of a file at once.
const mostMistakes = 20

// A slip is a mistake of spelling in a line that was mended to read on: what else is wrong
// with the line is reported in place of it, unless it is all there is to say.
type slip struct {
	text string
	all  bool
}

// mend returns the file as it reads without its mistakes of spelling, each line in its
// place, so that all mistakes of a file are reported at once, and a value without quotes in
// the words of its key. ok is false where reading on would report what is no mistake.
func (r *reader) mend(data []byte) (mended []byte, ok bool) {
	r.slips = map[int]slip{}
	lines := strings.Split(string(data), "\n")
	r.mendHeads(lines)
	for range mostMistakes {
		text := []byte(strings.Join(lines, "\n"))
		var content map[string]any
		err := toml.Unmarshal(text, &content)
		if err == nil {
			return text, true
		}
		e, is := errors.AsType[*toml.DecodeError](err)
		n := 0
		if is {
			n, _ = e.Position()
		}
		if n < 1 || n > len(lines) {
			r.errs = append(r.errs, &Error{r.file, 0, "the file cannot be read" + seeExample})
			return nil, false
		}
		if _, again := r.slips[n]; again {
			return nil, false
		}
		line := strings.TrimSpace(lines[n-1])
		r.slips[n] = slip{text: plainMistake(e, line)}
		if lines[n-1], ok = r.mendLine(n, line, strings.Contains(e.Error(), "already")); !ok {
			return nil, false
		}
	}
	return nil, false
}

// headLine matches a head of a table alone on its line, whatever its brackets and letters.
var headLine = regexp.MustCompile(`^\s*\[{1,2}\s*([A-Za-z-]+)\s*\]{0,2}\s*(?:#.*)?$`)

// mendHeads writes heads of known tables with their brackets, in small letters. Each table is
// reported where it stands first. In a file with texts over several lines a line may be part
// of one.
func (r *reader) mendHeads(lines []string) {
	if slices.ContainsFunc(lines, func(l string) bool { return strings.Contains(l, `"""`) || strings.Contains(l, `'''`) }) {
		return
	}
	reported := map[string]bool{}
	for i, line := range lines {
		m := headLine.FindStringSubmatch(line)
		if m == nil {
			continue
		}
		table := strings.ToLower(m[1])
		written, _, _ := strings.Cut(line, "#")
		written = strings.Join(strings.Fields(written), "")
		right := head(table)
		if table != "shoot" && !slices.Contains(lists, table) || written == right {
			continue
		}
		lines[i] = right
		if reported[table] {
			continue
		}
		reported[table] = true
		text := fmt.Sprintf("write %s on a line of its own, in double brackets", right)
		switch {
		case strings.Count(written, "[") != strings.Count(written, "]"):
			text = fmt.Sprintf("the brackets of %q do not match: write %s", written, right)
		case table != m[1]:
			text = fmt.Sprintf("write %s in small letters", right)
		case table == "shoot":
			text = "write [shoot] in single brackets"
		}
		r.errs = append(r.errs, &Error{r.file, i + 1, text})
	}
}

// mendLine mends a line that the decoder refuses; twice where it repeats one before.
func (r *reader) mendLine(n int, line string, twice bool) (string, bool) {
	if strings.HasPrefix(line, "[") { // the lines below would belong to another table
		return "", false
	}
	name, value, isKey := strings.Cut(line, "=")
	name, value = strings.TrimSpace(name), strings.TrimSpace(value)
	s := r.slips[n]
	s.all = true
	switch {
	case !isKey, twice:
		r.slips[n] = s
		return "", true
	case value == "" || strings.HasPrefix(value, "#"):
		r.slips[n] = s
		return name + " = 0", true // which no key takes for left out
	}
	bare := bareValue(value)
	if bare == "" || strings.Contains(bare, "'") {
		return "", false
	}
	return name + " = '" + bare + "'", true
}

var remark = regexp.MustCompile(`\s+#.*$`)

// bareValue is a value without the quotation marks around it, and without a remark.
func bareValue(value string) string {
	return strings.Trim(remark.ReplaceAllString(value, ""), quotationMarks+" ")
}

// quotationMarks are those of any language.
const quotationMarks = `"'“”„‟‘’‚«»`

// report returns the mistakes of a file in the order of its lines.
func (r *reader) report() error {
	at := map[int]bool{}
	var errs []error
	for _, err := range r.errs {
		if e, ok := errors.AsType[*Error](err); ok {
			if r.slips[e.Line].all {
				continue
			}
			at[e.Line] = true
		}
		errs = append(errs, err)
	}
	for line, s := range r.slips {
		if !at[line] {
			errs = append(errs, &Error{r.file, line, s.text})
		}
	}
	line := func(err error) int {
		if e, ok := errors.AsType[*Error](err); ok {
			return e.Line
		}
		return 0
	}
	slices.SortStableFunc(errs, func(a, b error) int { return cmp.Compare(line(a), line(b)) })
	return errors.Join(errs...)
}

// exponent matches a number as programmers write it, and withComma one with a decimal comma.
var (
	exponent  = regexp.MustCompile(`^[-+]?[0-9.]+[eE][-+]?[0-9]+$`)
	withComma = regexp.MustCompile(`^[0-9]+,[0-9]+$`)
)

// plainMistake reports what is wrong with a line that the decoder refuses, in words
// for people who never heard of its grammar.
func plainMistake(e *toml.DecodeError, line string) string {
	if key := strings.Join(e.Key(), "."); key != "" && strings.Contains(e.Error(), "cannot decode") {
		if id, isRule := strings.CutPrefix(key, "rule."); isRule {
			return fmt.Sprintf(`write [rule.%s] alone on its line, and what is set for the rule on the lines below: severity = "note"`, id)
		}
		return fmt.Sprintf("%s cannot have this value", key) + seeExample
	}
	if strings.HasPrefix(line, "[") {
		name := strings.Trim(line, "[] ")
		switch {
		case strings.Contains(e.Error(), "already"):
			return fmt.Sprintf("%s is in the file twice: move what is below to the first", strconv.Quote(line))
		case strings.Count(line, "[") != strings.Count(line, "]") && strings.Trim(name, "abcdefghijklmnopqrstuvwxyz-.") == "":
			return fmt.Sprintf("the brackets of %q do not match: write %s", line, head(name))
		}
		return fmt.Sprintf("%q cannot be read: write the name of a table in brackets, alone on its line, such as [shoot]", line)
	}
	if strings.Contains(e.Error(), "already") {
		return fmt.Sprintf("%s is in the file twice: keep one of the two", strconv.Quote(line))
	}
	name, value, isKey := strings.Cut(line, "=")
	name, value = strings.TrimSpace(name), strings.TrimSpace(value)
	bare := bareValue(value)
	switch {
	case !isKey:
		return fmt.Sprintf("%q is no setting: write it as name = value, or put # before it if it is a remark", line)
	case value == "" || strings.HasPrefix(value, "#"):
		return fmt.Sprintf("%s has no value: write one after the =, or put # before the line", name)
	case strings.ContainsAny(value, "“”„‟‘’‚«»"):
		return fmt.Sprintf("%s = %s: write straight quotation marks, as in %s = %q", name, value, name, bare)
	case strings.HasPrefix(value, `"`) && strings.Count(value, `"`)%2 == 1:
		return fmt.Sprintf("the closing quotation mark is missing in %q: write both around the word", line)
	case strings.Contains(value, `\`):
		return fmt.Sprintf(`%q cannot be read: write \\ for each \ in it`, line)
	case exponent.MatchString(bare):
		return fmt.Sprintf("%s = %s: write it as a plain number, such as 2.5", name, value)
	case withComma.MatchString(bare):
		return fmt.Sprintf("%s = %s: write a point for the comma, as in %s = %s", name, value, name, strings.Replace(bare, ",", ".", 1))
	case bare != "" && !strings.ContainsAny(bare, `"'`):
		return fmt.Sprintf("%s = %s: put it in quotes, as in %s = %q; a number needs none", name, value, name, bare)
	}
	return fmt.Sprintf("%q cannot be read", line) + seeExample
}
