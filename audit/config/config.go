// Package config reads what users declare: configuration files in TOML, and the
// ranges of what may stand in them.
package config

import (
	"bytes"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/pelletier/go-toml/v2"

	"prestrike/audit"
	"prestrike/audit/values"
)

// An Error is a mistake in a configuration file.
type Error struct {
	File string
	Line int // 0 where the whole file is meant
	Text string
}

// Error writes file, line and what is wrong.
func (e *Error) Error() string {
	if e.Line == 0 {
		return fmt.Sprintf("%s: %s", e.File, e.Text)
	}
	return fmt.Sprintf("%s:%d: %s", e.File, e.Line, e.Text)
}

// document is the file's form.
type document struct {
	Shoot     map[string]any            `toml:"shoot"`
	Body      []map[string]any          `toml:"body"`
	Lens      []map[string]any          `toml:"lens"`
	FocusStep []map[string]any          `toml:"focus-step"`
	View      []map[string]any          `toml:"view"`
	Rule      map[string]map[string]any `toml:"rule"`
	Accept    []struct {
		Rule   string `toml:"rule"`
		Frame  string `toml:"frame"`
		Reason string `toml:"reason"`
	} `toml:"accept"`
	Retaken []retakenEntry `toml:"retaken"`
}

// Read reads a configuration file over the options, which must hold the
// rules already, and returns the settings that it made. Mistakes are all reported
// at once, each a *[Error].
func Read(o *audit.Options, file string) ([]Setting, error) {
	data, err := readFile(file)
	if err != nil {
		return nil, err
	}
	return read(o, file, data)
}

func read(o *audit.Options, file string, data []byte) ([]Setting, error) {
	r := reader{o: o, file: file}
	data = bytes.TrimPrefix(data, byteOrderMark)
	if !utf8.Valid(data) || bytes.IndexByte(data, 0) >= 0 {
		return nil, &Error{file, 0, "the file is not text in UTF-8: save it as UTF-8 in a text editor"}
	}
	if tooManyKeys(data) {
		return nil, &Error{file, 0, "the file has too many keys" + notOurs}
	}
	var syntax error
	if r.lines, syntax = keyLines(data); syntax == nil {
		r.heads()
		if len(r.errs) > 0 {
			return nil, errors.Join(r.errs...)
		}
	}
	dec := toml.NewDecoder(bytes.NewReader(data))
	dec.DisallowUnknownFields()
	var c document
	if err := dec.Decode(&c); err != nil {
		return nil, r.decodeError(err, data)
	}
	if syntax != nil {
		return nil, r.decodeError(syntax, data)
	}
	r.shoot(&c)
	r.bodies(&c)
	r.lenses(&c)
	r.focusSteps(&c)
	r.views(&c)
	r.rules(&c)
	r.accept(&c)
	r.retaken(&c)
	if len(r.errs) > 0 {
		return nil, errors.Join(r.errs...)
	}
	return r.settings, nil
}

type reader struct {
	o        *audit.Options
	file     string
	lines    map[string]int
	settings []Setting
	errs     []error
}

func (r *reader) fail(key, format string, args ...any) {
	r.errs = append(r.errs, &Error{r.file, r.lines[key], fmt.Sprintf(format, args...)})
}

func (r *reader) set(key, value string) {
	r.settings = append(r.settings, Setting{key, value, fmt.Sprintf("%s:%d", r.file, r.lines[key])})
}

func (r *reader) decodeError(err error, data []byte) error {
	if strict, ok := errors.AsType[*toml.StrictMissingError](err); ok {
		var errs []error
		for _, e := range strict.Errors {
			line, _ := e.Position()
			errs = append(errs, &Error{r.file, line, noSuchKey(strings.Join(e.Key(), "."))})
		}
		return errors.Join(errs...)
	}
	if e, ok := errors.AsType[*toml.DecodeError](err); ok {
		line, _ := e.Position()
		return &Error{r.file, line, plainMistake(e, lineOf(data, line))}
	}
	return &Error{r.file, 0, "the file cannot be read" + seeExample}
}

// knownKeys returns the keys of the file, for suggestions.
func knownKeys() []string {
	shoot := make([]key[audit.Options], 0, len(facts))
	for _, f := range facts {
		shoot = append(shoot, f.key)
	}
	known := append(names("shoot", shoot), names("body", bodyKeys)...)
	known = append(known, names("lens", lensKeys)...)
	known = append(known, names("focus-step", focusStepKeys)...)
	known = append(known, names("view", viewKeys)...)
	return append(known, "rule", "accept", "accept.rule", "accept.frame", "accept.reason", "retaken", "retaken.sequence", "retaken.by")
}

// noKey reports that there is no key of a name; at is its place in the file.
func (r *reader) noKey(at, name string) {
	r.fail(at, "%s", noSuchKey(name))
}

func noSuchKey(name string) string {
	known := knownKeys()
	for _, table := range []string{"shoot", "body", "lens", "focus-step", "view", "accept", "retaken"} {
		if !strings.Contains(name, ".") && slices.Contains(known, table+"."+name) {
			return fmt.Sprintf("%s belongs under %s: write that on a line above it", name, head(table))
		}
	}
	text := fmt.Sprintf("there is no key %q", name)
	if near := Nearest(name, known); near != "" {
		text += fmt.Sprintf(": did you mean %q?", near)
	}
	return text
}

func (r *reader) shoot(c *document) {
	keys := make([]key[audit.Options], 0, len(facts))
	for _, f := range facts {
		keys = append(keys, f.key)
	}
	table(r, "shoot", "shoot", c.Shoot, keys, r.o)
}

func (r *reader) bodies(c *document) {
	for i, values := range c.Body {
		at := fmt.Sprintf("body[%d]", i)
		var b audit.BodyFacts
		named := len(r.settings)
		table(r, "body", at, values, bodyKeys, &b)
		if b.Model == "" {
			r.fail(at, "a body needs its model, as prestrike frames shows it")
		}
		r.name(named, at, strings.TrimSpace(b.Make+" "+b.Model))
		r.o.Bodies = append(slices.DeleteFunc(r.o.Bodies, func(o audit.BodyFacts) bool {
			return strings.EqualFold(o.Model, b.Model) && strings.EqualFold(o.Make, b.Make)
		}), b)
	}
}

// name puts the setting of a table as a whole before those of its keys, which begin at
// a place among the settings.
func (r *reader) name(from int, at, name string) {
	r.set(at, strconv.Quote(name))
	last := len(r.settings) - 1
	r.settings = slices.Insert(r.settings[:last], from, r.settings[last])
}

func (r *reader) lenses(c *document) {
	for i, values := range c.Lens {
		at := fmt.Sprintf("lens[%d]", i)
		var l audit.LensFacts
		named := len(r.settings)
		table(r, "lens", at, values, lensKeys, &l)
		if l.Model == "" {
			r.fail(at, "a lens needs its model, as prestrike frames shows it")
		}
		r.name(named, at, l.Model)
		r.o.Lenses = append(slices.DeleteFunc(r.o.Lenses, func(o audit.LensFacts) bool { return strings.EqualFold(o.Model, l.Model) }), l)
	}
}

func (r *reader) rules(c *document) {
	for _, id := range slices.Sorted(maps.Keys(c.Rule)) {
		table := "rule." + id
		at := slices.IndexFunc(r.o.Rules, func(rule *audit.Rule) bool { return rule.ID == id })
		if at < 0 {
			r.noRule(table, id)
			continue
		}
		for _, key := range slices.Sorted(maps.Keys(c.Rule[id])) {
			r.ruleKey(r.o.Rules[at], table+"."+key, key, c.Rule[id][key])
		}
	}
}

func (r *reader) noRule(key, id string) {
	text := fmt.Sprintf("there is no rule %q", id)
	if near := NearestRule(r.o.Rules, id); near != "" {
		text += fmt.Sprintf(": did you mean %q?", near)
	}
	r.fail(key, "%s", text)
}

func (r *reader) ruleKey(rule *audit.Rule, full, key string, value any) {
	switch key {
	case "severity":
		word, ok := value.(string)
		if word == "off" {
			r.fail(full, "severity is off: write off = true instead")
			return
		}
		s, err := audit.ParseSeverity(word)
		if !ok || err != nil {
			r.fail(full, `severity is %s: write "note", "check" or "reshoot"`, written(value))
			return
		}
		if r.o.Severities == nil {
			r.o.Severities = map[string]audit.Severity{}
		}
		r.o.Severities[rule.ID] = s
		r.set(full, strconv.Quote(word))
		return
	case "off":
		off, ok := value.(bool)
		if !ok {
			r.fail(full, "off is %s: write true or false, without quotes", written(value))
			return
		}
		if r.o.Off == nil {
			r.o.Off = map[string]bool{}
		}
		r.o.Off[rule.ID] = off
		r.set(full, strconv.FormatBool(off))
		return
	}
	names := []string{"severity", "off"}
	for _, p := range rule.Params {
		names = append(names, p.Name)
		if p.Name != key {
			continue
		}
		kind := values.Quantity(p.Unit)
		v, err := asNumber(key, value, kind)
		if limit := (Range{p.Min, p.Max, p.Unit}); err == nil && !limit.holds(v) {
			err = outside(key, value, limit, kind)
		}
		if err != nil {
			r.fail(full, "%v", err)
			return
		}
		if r.o.Params == nil {
			r.o.Params = map[string]map[string]float64{}
		}
		if r.o.Params[rule.ID] == nil {
			r.o.Params[rule.ID] = map[string]float64{}
		}
		r.o.Params[rule.ID][key] = v
		r.set(full, values.Text(v, p.Unit))
		return
	}
	text := fmt.Sprintf("rule %s has no key %q", rule.ID, key)
	if near := Nearest(key, names); near != "" {
		text += fmt.Sprintf(": did you mean %q?", near)
	}
	r.fail(full, "%s", text)
}

func (r *reader) accept(c *document) {
	for i, a := range c.Accept {
		table := fmt.Sprintf("accept[%d]", i)
		switch {
		case a.Rule == "":
			r.fail(table, `accept needs its rule, such as rule = "iso-drift"`)
		case !slices.ContainsFunc(r.o.Rules, func(rule *audit.Rule) bool { return rule.ID == a.Rule }):
			r.noRule(table+".rule", a.Rule)
		}
		if strings.TrimSpace(a.Reason) == "" {
			r.fail(table, "accept needs a reason: it is shown in the report")
		}
		r.o.Accept = append(r.o.Accept, audit.Acceptance{Rule: a.Rule, Frame: a.Frame, Reason: a.Reason})
		value := a.Rule
		if a.Frame != "" {
			value += " from " + a.Frame
		}
		r.set(table, strconv.Quote(value+": "+a.Reason))
	}
}

func (r *reader) retaken(c *document) {
	for i, d := range c.Retaken {
		at := fmt.Sprintf("retaken[%d]", i)
		switch {
		case d.Sequence == "":
			r.fail(at, `retaken needs a frame of the sequence that was shot again: sequence = "BX1_0129.JPG"`)
		case d.By == "":
			r.fail(at, `retaken needs a frame of the sequence that repeats it: by = "BX1_0160.JPG"`)
		case d.By == d.Sequence:
			r.fail(at+".by", "by names the frame that is to be repeated: name a frame of the later sequence")
		}
		r.o.Retaken = append(r.o.Retaken, audit.Retaken{Sequence: d.Sequence, By: d.By})
		r.set(at, strconv.Quote(d.Sequence+" by "+d.By))
	}
}
