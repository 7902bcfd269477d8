// Package config reads what users declare: configuration files in TOML, and the
// ranges of what may stand in them.
package config

import (
	"bytes"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"

	"prestrike/audit"
	"prestrike/audit/shoot"
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

// A Setting is one value of the configuration in force.
type Setting struct {
	Key    string // as in the file: "shoot.support", "rule.iso-drift.tolerance"
	Value  string // as in the file
	Origin string // file and line, or the words of whoever set it
}

// document is the file's form.
type document struct {
	Shoot struct {
		Support       *string  `toml:"support"`
		PlannedFrames *int     `toml:"planned-frames"`
		SessionGap    *string  `toml:"session-gap"`
		Magnification *float64 `toml:"magnification"`
		FieldWidth    *float64 `toml:"field-width-mm"`
		Light         *string  `toml:"light"`
		Pixels        *string  `toml:"pixels"`
	} `toml:"shoot"`
	Body []struct {
		Make        string  `toml:"make"`
		Model       string  `toml:"model"`
		SensorWidth float64 `toml:"sensor-width-mm"`
		PixelWidth  int     `toml:"pixel-width"`
		FNumbers    string  `toml:"f-numbers"`
	} `toml:"body"`
	Lens []struct {
		Model                string  `toml:"model"`
		ClosestFocus         float64 `toml:"closest-focus-mm"`
		LargestMagnification float64 `toml:"largest-magnification"`
		PupilMagnification   float64 `toml:"pupil-magnification"`
		Stabilisation        float64 `toml:"stabilisation-stops"`
		FNumbers             string  `toml:"f-numbers"`
	} `toml:"lens"`
	Rule   map[string]map[string]any `toml:"rule"`
	Accept []struct {
		Rule   string `toml:"rule"`
		Frame  string `toml:"frame"`
		Reason string `toml:"reason"`
	} `toml:"accept"`
}

// Read reads a configuration file over the options, which must hold the
// rules already, and returns the settings that it made. Mistakes are all told
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
	if tooManyKeys(data) {
		return nil, &Error{file, 0, "the file has too many keys" + notOurs}
	}
	dec := toml.NewDecoder(bytes.NewReader(data))
	dec.DisallowUnknownFields()
	var c document
	if err := dec.Decode(&c); err != nil {
		return nil, r.decodeError(err)
	}
	var err error
	if r.lines, err = keyLines(data); err != nil {
		return nil, r.decodeError(err)
	}
	r.shoot(&c)
	r.bodies(&c)
	r.lenses(&c)
	r.rules(&c)
	r.accept(&c)
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

func (r *reader) decodeError(err error) error {
	if strict, ok := errors.AsType[*toml.StrictMissingError](err); ok {
		var errs []error
		for _, e := range strict.Errors {
			line, _ := e.Position()
			key := strings.Join(e.Key(), ".")
			text := fmt.Sprintf("there is no key %q", key)
			if near := nearest(key, knownKeys); near != "" {
				text += fmt.Sprintf(": did you mean %q?", near)
			}
			errs = append(errs, &Error{r.file, line, text})
		}
		return errors.Join(errs...)
	}
	if e, ok := errors.AsType[*toml.DecodeError](err); ok {
		line, _ := e.Position()
		return &Error{r.file, line, strings.TrimPrefix(e.Error(), "toml: ")}
	}
	return &Error{r.file, 0, err.Error()}
}

// knownKeys are the keys of the file, for suggestions.
var knownKeys = []string{
	"shoot", "shoot.support", "shoot.planned-frames", "shoot.session-gap", "shoot.magnification", "shoot.field-width-mm", "shoot.light", "shoot.pixels",
	"body", "body.make", "body.model", "body.sensor-width-mm", "body.pixel-width", "body.f-numbers",
	"lens", "lens.model", "lens.closest-focus-mm", "lens.largest-magnification", "lens.pupil-magnification", "lens.stabilisation-stops", "lens.f-numbers",
	"rule", "accept", "accept.rule", "accept.frame", "accept.reason",
}

func (r *reader) shoot(c *document) {
	s := &c.Shoot
	if s.Support != nil {
		support, err := shoot.ParseSupport(*s.Support)
		if err != nil {
			r.fail("shoot.support", "%v", err)
		}
		r.o.Support = support
		r.set("shoot.support", strconv.Quote(*s.Support))
	}
	if s.PlannedFrames != nil {
		if *s.PlannedFrames < 0 || *s.PlannedFrames > 100_000 {
			r.fail("shoot.planned-frames", "planned-frames is %d: write 0 to 100000", *s.PlannedFrames)
		}
		r.o.PlannedFrames = *s.PlannedFrames
		r.set("shoot.planned-frames", strconv.Itoa(*s.PlannedFrames))
	}
	if s.SessionGap != nil {
		gap, err := time.ParseDuration(*s.SessionGap)
		if err != nil || gap < time.Minute {
			r.fail("shoot.session-gap", `session-gap is %q: write a time of a minute or more, such as "90m" or "3h"`, *s.SessionGap)
		}
		r.o.SessionGap = gap
		r.set("shoot.session-gap", strconv.Quote(*s.SessionGap))
	}
	number := func(key string, v *float64, limit Range, to *float64) {
		if v == nil {
			return
		}
		if !limit.holds(*v) {
			r.fail("shoot."+key, "%s is %v: write %s", key, *v, limit)
		}
		*to = *v
		r.set("shoot."+key, fmt.Sprint(*v))
	}
	number("magnification", s.Magnification, MagnificationRange, &r.o.Magnification)
	number("field-width-mm", s.FieldWidth, FieldWidthRange, &r.o.FieldWidth)
	if s.Light != nil {
		light, err := audit.ParseLight(*s.Light)
		if err != nil {
			r.fail("shoot.light", "%v", err)
		}
		r.o.Light = light
		r.set("shoot.light", strconv.Quote(*s.Light))
	}
	if s.Pixels != nil {
		pixels, err := audit.ParsePixels(*s.Pixels)
		if err != nil {
			r.fail("shoot.pixels", "%v", err)
		}
		r.o.Pixels = pixels
		r.set("shoot.pixels", strconv.Quote(*s.Pixels))
	}
}

// A Range is the valid range of a number, both ends included.
type Range struct {
	Min, Max float64
	Unit     string
}

func (r Range) holds(v float64) bool { return v >= r.Min && v <= r.Max }

// Check returns an error that names the value and the range where v lies
// outside it.
func (r Range) Check(v float64) error {
	if r.holds(v) {
		return nil
	}
	return fmt.Errorf("%v is out of range: write %s", v, r)
}

// String writes the range in words: "0.001 to 100".
func (r Range) String() string {
	s := fmt.Sprintf("%v to %v", r.Min, r.Max)
	if r.Unit != "" {
		s += " " + r.Unit
	}
	return s
}

// The valid ranges of what users declare.
var (
	MagnificationRange = Range{0.001, 100, ""}
	FieldWidthRange    = Range{0.1, 100_000, "mm"}
	sensorWidthRange   = Range{3, 100, "mm"}
	pixelWidthRange    = Range{100, 100_000, "pixels"}
	closestFocusRange  = Range{10, 100_000, "mm"}
	pupilRange         = Range{0.1, 10, ""}
	stabilisationRange = Range{0, 10, "stops"}
)

// optional checks a number of a table where it is declared.
func (r *reader) optional(table, key string, v float64, limit Range) {
	full := table + "." + key
	if _, declared := r.lines[full]; !declared {
		return
	}
	if !limit.holds(v) {
		r.fail(full, "%s is %v: write %s", key, v, limit)
	}
	r.set(full, fmt.Sprint(v))
}

func (r *reader) bodies(c *document) {
	for i, b := range c.Body {
		table := fmt.Sprintf("body[%d]", i)
		if b.Model == "" {
			r.fail(table, "a body needs its model, as prestrike frames shows it")
		}
		r.set(table, strconv.Quote(strings.TrimSpace(b.Make+" "+b.Model)))
		r.optional(table, "sensor-width-mm", b.SensorWidth, sensorWidthRange)
		r.optional(table, "pixel-width", float64(b.PixelWidth), pixelWidthRange)
		facts := audit.BodyFacts{Make: b.Make, Model: b.Model, SensorWidth: b.SensorWidth, PixelWidth: b.PixelWidth, FNumbers: r.fNumbers(table, b.FNumbers)}
		r.o.Bodies = append(slices.DeleteFunc(r.o.Bodies, func(o audit.BodyFacts) bool {
			return strings.EqualFold(o.Model, b.Model) && strings.EqualFold(o.Make, b.Make)
		}), facts)
	}
}

func (r *reader) lenses(c *document) {
	for i, l := range c.Lens {
		table := fmt.Sprintf("lens[%d]", i)
		if l.Model == "" {
			r.fail(table, "a lens needs its model, as prestrike frames shows it")
		}
		r.set(table, strconv.Quote(l.Model))
		r.optional(table, "closest-focus-mm", l.ClosestFocus, closestFocusRange)
		r.optional(table, "largest-magnification", l.LargestMagnification, MagnificationRange)
		r.optional(table, "pupil-magnification", l.PupilMagnification, pupilRange)
		r.optional(table, "stabilisation-stops", l.Stabilisation, stabilisationRange)
		facts := audit.LensFacts{
			Model: l.Model, ClosestFocus: l.ClosestFocus, LargestMagnification: l.LargestMagnification,
			PupilMagnification: l.PupilMagnification, Stabilisation: l.Stabilisation, FNumbers: r.fNumbers(table, l.FNumbers),
		}
		r.o.Lenses = append(slices.DeleteFunc(r.o.Lenses, func(o audit.LensFacts) bool { return strings.EqualFold(o.Model, l.Model) }), facts)
	}
}

func (r *reader) fNumbers(table, word string) audit.FNumbers {
	key := table + ".f-numbers"
	switch word {
	case "":
		return audit.FNumbersUnknown
	case "nominal", "effective":
		r.set(key, strconv.Quote(word))
		if word == "nominal" {
			return audit.FNumbersNominal
		}
		return audit.FNumbersEffective
	}
	r.fail(key, `f-numbers is %q: write "nominal" or "effective"`, word)
	return audit.FNumbersUnknown
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
		s, err := audit.ParseSeverity(word)
		if !ok || err != nil {
			r.fail(full, `severity is %v: write "note", "check" or "reshoot"`, value)
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
			r.fail(full, "off is %v: write true or false", value)
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
		var v float64
		switch n := value.(type) {
		case int64:
			v = float64(n)
		case float64:
			v = n
		default:
			v = math.NaN()
		}
		if limit := (Range{p.Min, p.Max, p.Unit}); !limit.holds(v) {
			r.fail(full, "%s is %v: write %s", key, value, limit)
			return
		}
		if r.o.Params == nil {
			r.o.Params = map[string]map[string]float64{}
		}
		if r.o.Params[rule.ID] == nil {
			r.o.Params[rule.ID] = map[string]float64{}
		}
		r.o.Params[rule.ID][key] = v
		r.set(full, fmt.Sprint(v))
		return
	}
	text := fmt.Sprintf("rule %s has no key %q", rule.ID, key)
	if near := nearest(key, names); near != "" {
		text += fmt.Sprintf(": did you mean %q?", near)
	}
	r.fail(full, "%s", text)
}

func (r *reader) accept(c *document) {
	for i, a := range c.Accept {
		table := fmt.Sprintf("accept[%d]", i)
		if !slices.ContainsFunc(r.o.Rules, func(rule *audit.Rule) bool { return rule.ID == a.Rule }) {
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

// NearestRule returns the ID of the rule whose name is most like word; empty
// where none is like it.
func NearestRule(rules []*audit.Rule, word string) string {
	ids := make([]string, len(rules))
	for i, r := range rules {
		ids[i] = r.ID
	}
	return nearest(word, ids)
}

// nearest returns the known word that is most like word, or none where no word
// is like it.
func nearest(word string, known []string) string {
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
