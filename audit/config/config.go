// Package config reads what users declare: configuration files in TOML, and the
// ranges of what may stand in them.
package config

import (
	"bytes"
	"cmp"
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
	Accept    []map[string]any          `toml:"accept"`
	Retaken   []map[string]any          `toml:"retaken"`
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
	data, ok := r.mend(data)
	if !ok {
		return nil, r.report()
	}
	var err error
	if r.lines, err = keyLines(data); err != nil {
		r.errs = append(r.errs, &Error{r.file, 0, "the file cannot be read" + seeExample})
		return nil, r.report()
	}
	if r.heads() {
		return nil, r.report()
	}
	dec := toml.NewDecoder(bytes.NewReader(data))
	dec.DisallowUnknownFields()
	var c document
	if err := dec.Decode(&c); err != nil && !r.decoded(err, data) {
		return nil, r.report()
	}
	r.shoot(&c)
	r.bodies(&c)
	r.lenses(&c)
	r.focusSteps(&c)
	r.views(&c)
	r.rules(&c)
	r.accept(&c)
	r.retaken(&c)
	if err := r.report(); err != nil {
		return nil, err
	}
	return r.settings, nil
}

type reader struct {
	o        *audit.Options
	file     string
	lines    map[string]int
	settings []Setting
	errs     []error
	slips    map[int]slip // by line
}

func (r *reader) fail(key, format string, args ...any) {
	r.errs = append(r.errs, &Error{r.file, r.lines[key], fmt.Sprintf(format, args...)})
}

func (r *reader) set(key, value string) {
	r.settings = append(r.settings, Setting{key, value, fmt.Sprintf("%s:%d", r.file, r.lines[key])})
}

// decoded notes the mistakes that the decoder finds in a file of known grammar, and reports
// whether it has read the rest.
func (r *reader) decoded(err error, data []byte) bool {
	if strict, ok := errors.AsType[*toml.StrictMissingError](err); ok {
		for _, e := range strict.Errors {
			line, _ := e.Position()
			r.errs = append(r.errs, &Error{r.file, line, r.noSuchKey(strings.Join(e.Key(), "."))})
		}
		return true
	}
	line, text := 0, "the file cannot be read"+seeExample
	if e, ok := errors.AsType[*toml.DecodeError](err); ok {
		line, _ = e.Position()
		text = plainMistake(e, "")
	}
	r.errs = append(r.errs, &Error{r.file, line, text})
	return false
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
	known = append(known, names("accept", acceptKeys)...)
	known = append(known, names("retaken", retakenKeys)...)
	return append(known, "rule")
}

// noKey reports that there is no key of a name; at is its place in the file.
func (r *reader) noKey(at, name string) {
	r.fail(at, "%s", r.noSuchKey(name))
}

// noSuchKey reports that there is no key of a name, and which may be meant: one like it, or
// the one of another table.
func (r *reader) noSuchKey(name string) string {
	known := knownKeys()
	table, key, below := strings.Cut(name, ".")
	if !below {
		table, key = "", name
	}
	if isRule := slices.ContainsFunc(r.o.Rules, func(rule *audit.Rule) bool { return rule.ID == table || rule.ID == key && !below }); isRule {
		return fmt.Sprintf("there is no key %q: write [rule.%s]", name, cmp.Or(table, key))
	}
	near := Nearest(name, known)
	sameTable := below && strings.HasPrefix(near, table+".")
	if places := r.placesOf(key); len(places) > 0 && !sameTable {
		if below {
			return fmt.Sprintf("%s has no key %s: it belongs under %s", head(table), key, oneOf(places))
		}
		return fmt.Sprintf("%s belongs under %s: write that on a line above it", key, oneOf(places))
	}
	if near == "" && !below { // suport = "tripod" without [shoot] above it
		for _, k := range known {
			if of, bare, ok := strings.Cut(k, "."); ok && bare == Nearest(key, []string{bare}) {
				return fmt.Sprintf("there is no key %q: did you mean %s, under %s?", name, bare, head(of))
			}
		}
	}
	text := fmt.Sprintf("there is no key %q", name)
	if near != "" {
		text += fmt.Sprintf(": did you mean %q?", near)
	}
	return text
}

// placesOf returns the heads of the tables that have a key.
func (r *reader) placesOf(key string) (heads []string) {
	known := knownKeys()
	for _, table := range []string{"shoot", "body", "lens", "focus-step", "view", "accept", "retaken"} {
		if slices.Contains(known, table+"."+key) {
			heads = append(heads, head(table))
		}
	}
	for _, rule := range r.o.Rules {
		if slices.ContainsFunc(rule.Params, func(p audit.Param) bool { return p.Name == key }) {
			heads = append(heads, "[rule."+rule.ID+"]")
		}
	}
	if key == "severity" || key == "off" {
		heads = append(heads, "the head of a rule, such as [rule.iso-drift]")
	}
	return heads
}

// oneOf lists heads under one of which a key may stand.
func oneOf(heads []string) string {
	const few = 3
	if len(heads) > few {
		return "one of several heads, such as " + heads[0]
	}
	return strings.Join(heads, " or ")
}

// lacks reports whether a table does not have a text that it needs. Where it has something
// else there, that is the mistake.
func lacks(values map[string]any, name string) bool {
	v, declared := values[name]
	text, isText := v.(string)
	return !declared || isText && strings.TrimSpace(text) == ""
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
		if lacks(values, "model") {
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
		if lacks(values, "model") {
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
		if word = strings.ToLower(word); word == "off" {
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
		if limit := (Range{p.Min, p.Max, p.Unit}); err != nil || !limit.holds(v) {
			r.fail(full, "%v, such as %s", notIn(key, value, limit), shown(values.Text(p.Default, p.Unit)))
			return
		}
		if r.o.Params == nil {
			r.o.Params = map[string]map[string]float64{}
		}
		if r.o.Params[rule.ID] == nil {
			r.o.Params[rule.ID] = map[string]float64{}
		}
		r.o.Params[rule.ID][key] = v
		r.set(full, shown(values.Text(v, p.Unit)))
		return
	}
	text, near := fmt.Sprintf("rule %s has no key %q", rule.ID, key), Nearest(key, names)
	if places := r.placesOf(key); near == "" && len(places) > 0 {
		text += ": it belongs under " + oneOf(places)
	}
	if near != "" {
		text += fmt.Sprintf(": did you mean %q?", near)
	}
	r.fail(full, "%s", text)
}

// acceptKeys are those of an acceptance, and retakenKeys of a declared retake.
var (
	acceptKeys = []key[audit.Acceptance]{
		nameKey("rule", func(a *audit.Acceptance) *string { return &a.Rule }).comments(`"iso-drift"`, ""),
		nameKey("frame", func(a *audit.Acceptance) *string { return &a.Frame }).comments(`"BX1_0118.NEF"`, ""),
		nameKey("reason", func(a *audit.Acceptance) *string { return &a.Reason }).comments(`"the second half is lit by hand"`, ""),
	}
	retakenKeys = []key[audit.Retaken]{
		nameKey("sequence", func(d *audit.Retaken) *string { return &d.Sequence }).comments(`"BX1_0129.NEF"`, ""),
		nameKey("by", func(d *audit.Retaken) *string { return &d.By }).comments(`"BX1_0160.NEF"`, ""),
	}
)

func (r *reader) accept(c *document) {
	for i, values := range c.Accept {
		at := fmt.Sprintf("accept[%d]", i)
		var a audit.Acceptance
		table(r, "accept", at, values, acceptKeys, &a)
		switch {
		case lacks(values, "rule"):
			r.fail(at, `accept needs its rule, such as rule = "iso-drift"`)
		case a.Rule != "" && !slices.ContainsFunc(r.o.Rules, func(rule *audit.Rule) bool { return rule.ID == a.Rule }):
			r.noRule(at+".rule", a.Rule)
		}
		if lacks(values, "reason") {
			r.fail(at, "accept needs a reason: it is shown in the report")
		}
		r.o.Accept = append(r.o.Accept, a)
		value := a.Rule
		if a.Frame != "" {
			value += " from " + a.Frame
		}
		r.set(at, strconv.Quote(value+": "+a.Reason))
	}
}

func (r *reader) retaken(c *document) {
	for i, values := range c.Retaken {
		at := fmt.Sprintf("retaken[%d]", i)
		var d audit.Retaken
		table(r, "retaken", at, values, retakenKeys, &d)
		switch {
		case lacks(values, "sequence"):
			r.fail(at, `retaken needs a frame of the sequence that was shot again: sequence = "BX1_0129.JPG"`)
		case lacks(values, "by"):
			r.fail(at, `retaken needs a frame of the sequence that repeats it: by = "BX1_0160.JPG"`)
		case d.By == d.Sequence && d.By != "":
			r.fail(at+".by", "by names the frame that is to be repeated: name a frame of the later sequence")
		}
		r.o.Retaken = append(r.o.Retaken, d)
		r.set(at, strconv.Quote(d.Sequence+" by "+d.By))
	}
}
