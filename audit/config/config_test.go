package config

import (
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"prestrike/audit"
	"prestrike/audit/shoot"
)

var configRule = &audit.Rule{
	ID: "iso-drift", Title: "ISO differs", Severity: audit.Check, Doc: "d", Source: "s",
	Params: []audit.Param{{Name: "tolerance", Unit: "EV", Doc: "d", Default: 0.1, Min: 0, Max: 2}},
	Check:  func(*audit.Review) error { return nil },
}

func TestRead(t *testing.T) {
	const text = `# The catalogue shoot.
[shoot]
support = "tripod"
planned-frames = 50
session-gap = "90m"
magnification = 1
field-width-mm = 36.5
light = "mains50"

[[body]]
make = "Borealis"
model = "BX-1"
sensor-width-mm = 35.9
pixel-width = 8256
f-numbers = "effective"

[[lens]]
model = "Borealis 90 mm macro"
closest-focus-mm = 290
largest-magnification = 1.0
pupil-magnification = 0.8
stabilisation-stops = 4
f-numbers = "nominal"

[rule.iso-drift]
severity = "reshoot"
tolerance = 0.5
off = false

[[accept]]
rule = "iso-drift"
frame = "BX1_0118.NEF"
reason = "the second light was moved on purpose"

[[retaken]]
sequence = "BX1_0129.NEF"
by = "BX1_0160.NEF"
`
	o := audit.Options{Rules: []*audit.Rule{configRule}}
	settings, err := read(&o, "prestrike.toml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	o.Rules = nil
	want := audit.Options{
		Options: shoot.Options{Support: shoot.Tripod, SessionGap: 90 * 60e9}, PlannedFrames: 50, Magnification: 1, FieldWidth: 36.5, Light: audit.Mains50,
		Bodies:     []audit.BodyFacts{{Make: "Borealis", Model: "BX-1", SensorWidth: 35.9, PixelWidth: 8256, FNumbers: audit.FNumbersEffective}},
		Lenses:     []audit.LensFacts{{Model: "Borealis 90 mm macro", ClosestFocus: 290, LargestMagnification: 1, PupilMagnification: 0.8, Stabilisation: 4, FNumbers: audit.FNumbersNominal}},
		Severities: map[string]audit.Severity{"iso-drift": audit.Reshoot},
		Params:     map[string]map[string]float64{"iso-drift": {"tolerance": 0.5}},
		Off:        map[string]bool{"iso-drift": false},
		Accept:     []audit.Acceptance{{Rule: "iso-drift", Frame: "BX1_0118.NEF", Reason: "the second light was moved on purpose"}},
		Retaken:    []audit.Retaken{{Sequence: "BX1_0129.NEF", By: "BX1_0160.NEF"}},
	}
	if diff := cmp.Diff(want, o); diff != "" {
		t.Errorf("options (-want +got):\n%s", diff)
	}
	for _, s := range []Setting{
		{"shoot.support", `"tripod"`, "prestrike.toml:3"},
		{"rule.iso-drift.tolerance", "0.5", "prestrike.toml:27"},
		{"accept[0]", `"iso-drift from BX1_0118.NEF: the second light was moved on purpose"`, "prestrike.toml:30"},
		{"retaken[0]", `"BX1_0129.NEF by BX1_0160.NEF"`, "prestrike.toml:35"},
	} {
		found := false
		for _, got := range settings {
			found = found || got == s
		}
		if !found {
			t.Errorf("setting %v is not among %v", s, settings)
		}
	}
}

func TestReadMistakes(t *testing.T) {
	tests := []struct{ name, text, want string }{
		{"unknown key", "[shoot]\nsuport = \"tripod\"", `prestrike.toml:2: there is no key "shoot.suport": did you mean "shoot.support"?`},
		{"unknown key without a table", "suport = tripod", `prestrike.toml:1: there is no key "suport": did you mean support, under [shoot]?`},
		{"unknown table", "\n[shot]\n", `prestrike.toml:2: there is no key "shot": did you mean "shoot"?`},
		{"unknown rule", "[rule.iso-drifts]\ntolerance = 1", `prestrike.toml:1: there is no rule "iso-drifts": did you mean "iso-drift"?`},
		{"unknown parameter", "[rule.iso-drift]\n\ntolerence = 1", `prestrike.toml:3: rule iso-drift has no key "tolerence": did you mean "tolerance"?`},
		{"parameter out of range", "[rule.iso-drift]\ntolerance = 3", "prestrike.toml:2: tolerance is 3: write 0 to 2 EV"},
		{"parameter of another kind", "[rule.iso-drift]\ntolerance = \"much\"", "prestrike.toml:2: tolerance is \"much\": write 0 to 2 EV, such as 0.1"},
		{"parameter is no number", "[rule.iso-drift]\ntolerance = nan", "prestrike.toml:2: tolerance is NaN: write 0 to 2 EV, such as 0.1"},
		{"severity", "[rule.iso-drift]\nseverity = \"bad\"", `prestrike.toml:2: severity is "bad": write "note", "check" or "reshoot"`},
		{"support", "[shoot]\nsupport = \"hand\"", `prestrike.toml:2: support "hand" is not known: write auto, tripod or handheld`},
		{"light", "[shoot]\nlight = \"sun\"", `prestrike.toml:2: light "sun" is not known`},
		{"session gap", "[shoot]\nsession-gap = \"3\"", `prestrike.toml:2: session-gap is "3": write a time of a minute or more, such as "90m", "2h30m" or "3h"`},
		{"magnification", "[shoot]\nmagnification = 0", "prestrike.toml:2: magnification is 0: write 0.001 to 100, such as \"1:1\""},
		{"field width", "[shoot]\nfield-width-mm = -1.0", "prestrike.toml:2: field-width-mm is -1: write 0.1 to 100000 mm"},
		{"sensor width", "[[body]]\nmodel = \"BX-1\"\nsensor-width-mm = 360.0", "prestrike.toml:3: sensor-width-mm is 360: write 3 to 100 mm"},
		{"body without model", "[[body]]\nsensor-width-mm = 36.0", "prestrike.toml:1: a body needs its model"},
		{"second body", "[[body]]\nmodel = \"BX-1\"\n[[body]]\nmodel = \"BX-2\"\npixel-width = 1", "prestrike.toml:5: pixel-width is 1"},
		{"f-numbers", "[[lens]]\nmodel = \"L\"\nf-numbers = \"real\"", `prestrike.toml:3: f-numbers is "real"`},
		{"accept without reason", "[[accept]]\nrule = \"iso-drift\"", "prestrike.toml:1: accept needs a reason"},
		{"retaken without a frame", "[[retaken]]\nby = \"BX1_0160.NEF\"", `prestrike.toml:1: retaken needs a frame of the sequence that was shot again: sequence = "BX1_0129.JPG"`},
		{"retaken by nothing", "[[retaken]]\nsequence = \"BX1_0129.NEF\"", `prestrike.toml:1: retaken needs a frame of the sequence that repeats it: by = "BX1_0160.JPG"`},
		{"retaken by itself", "[[retaken]]\nsequence = \"BX1_0129.NEF\"\nby = \"BX1_0129.NEF\"", "prestrike.toml:3: by names the frame that is to be repeated"},
		{"a retake in single brackets", "[retaken]\nsequence = \"BX1_0129.NEF\"", "prestrike.toml:1: write [[retaken]] on a line of its own, in double brackets"},
		{"unknown key of a retake", "[[retaken]]\nframe = \"BX1_0129.NEF\"", "prestrike.toml:2: [[retaken]] has no key frame: it belongs under [[accept]]"},
		{"accept of an unknown rule", "[[accept]]\nrule = \"iso\"\nreason = \"r\"", `prestrike.toml:2: there is no rule "iso"`},
		{"a table without its bracket", "[shoot\nsupport = 1", `prestrike.toml:1: the brackets of "[shoot" do not match: write [shoot]`},
		{"no setting", "[shoot]\ntripod", `prestrike.toml:2: "tripod" is no setting: write it as name = value`},
		{"no value", "[shoot]\nsupport =\n", "prestrike.toml:2: support has no value"},
		{"a word without quotes", "[shoot]\nsupport = tripod\n", `prestrike.toml:2: support = tripod: put it in quotes, as in support = "tripod"`},
		{"one quotation mark", "[shoot]\nsupport = \"tripod\nlight = \"mains50\"\n", "prestrike.toml:2: the closing quotation mark is missing"},
		{"one setting twice", "[shoot]\nplanned-frames = 1\nplanned-frames = 2\n", "prestrike.toml:3: \"planned-frames = 2\" is in the file twice"},
		{"another encoding", "\xff\xfe[\x00s\x00", "prestrike.toml: the file is not text in UTF-8: save it as UTF-8"},
		{"a body by its name", "\n[body.\"BX-1\"]\nsensor-width-mm = 36.0", "prestrike.toml:2: write [[body]] alone on its line"},
		{"a body in single brackets", "[body]\nmodel = \"BX-1\"", "prestrike.toml:1: write [[body]]"},
		{"an acceptance in single brackets", "[accept]\nrule = \"iso-drift\"", "prestrike.toml:1: write [[accept]] on a line of its own, in double brackets"},
		{"an acceptance of a number", "[[accept]]\nrule = 3", "prestrike.toml:2: rule is 3: write it in quotes"},
		{"a view in capitals beside another", "[[vieW]]\nname = \"front\"\n\n[[view]]\nname = \"keel\"", "prestrike.toml:1: write [[view]] in small letters"},
		{"the shoot in capitals", "[SHOOT]\nsupport = \"tripod\"", "prestrike.toml:1: write [shoot] in small letters"},
		{"a key in capitals", "[[accept]]\nrule = \"iso-drift\"\nReason = \"ambient light\"\nreason = \"stage\"", `prestrike.toml:3: there is no key "accept.Reason": did you mean "accept.reason"?`},
		{"the shoot in double brackets", "[[shoot]]\nsupport = \"tripod\"", "prestrike.toml:1: write [shoot] in single brackets"},
		{"no table above it", "planned-frames = 50", "prestrike.toml:1: planned-frames belongs under [shoot]: write that on a line above it"},
		{"severity of off", "[rule.iso-drift]\nseverity = \"off\"", "prestrike.toml:2: severity is off: write off = true instead"},
		{"kind of value", "[shoot]\nplanned-frames = \"fifty\"", `prestrike.toml:2: planned-frames is "fifty": write a whole number from 0 to 100000, such as 50`},
		{"half a frame", "[shoot]\nplanned-frames = 50.5", "prestrike.toml:2: planned-frames is 50.5: write a whole number from 0 to 100000"},
		{"a number for a word", "[shoot]\nsupport = 3", `prestrike.toml:2: support "3" is not known: write auto, tripod or handheld, in quotes`},
		{"a unit on a count", "[shoot]\nplanned-frames = 10mm", `prestrike.toml:2: planned-frames is "10mm": write a whole number from 0 to 100000, such as 50`},
		{"a number with an exponent", "[shoot]\nfield-width-mm = 1e400", `prestrike.toml:2: field-width-mm is "1e400": write a length such as 10mm`},
		{"no magnification", "[shoot]\nmagnification = \"large\"", `prestrike.toml:2: magnification is "large": write a magnification such as 1:2, 2:1 or 0.5; in quotes where`},
		{"a ratio without quotes", "[shoot]\nmagnification = 1:2", `prestrike.toml:2: magnification = 1:2: put it in quotes, as in magnification = "1:2"; a number needs none`},
		{"a length without quotes", "[shoot]\nfield-width-mm = 8cm", `prestrike.toml:2: field-width-mm = 8cm: put it in quotes`},
		{"a share without quotes", "[rule.iso-drift]\ntolerance = 30%", `prestrike.toml:2: tolerance is "30%": write 0 to 2 EV, such as 0.1`},
		{"a number with a unit, without quotes", "[rule.iso-drift]\ntolerance = 1 EV # more", `prestrike.toml:2: tolerance = 1 EV # more: put it in quotes, as in tolerance = "1 EV"; a number needs none`},
		{"a decimal comma", "[rule.iso-drift]\ntolerance = 0,5", `prestrike.toml:2: tolerance = 0,5: write a point for the comma, as in tolerance = 0.5`},
		{"curly quotation marks", "[shoot]\nsupport = “tripod”", `prestrike.toml:2: support = “tripod”: write straight quotation marks, as in support = "tripod"`},
		{"curly quotation marks around what is wrong", "[shoot]\nsupport = “hand”", `prestrike.toml:2: support "hand" is not known: write auto, tripod or handheld`},
		{"a number of points", "[shoot]\nmagnification = .5", `prestrike.toml:2: magnification = .5: put it in quotes, as in magnification = ".5"; a number needs none`},
		{"a severity without quotes", "[rule.iso-drift]\nseverity = off", "prestrike.toml:2: severity is off: write off = true instead"},
		{"off in another language", "[rule.iso-drift]\noff = yes", `prestrike.toml:2: off is "yes": write true or false, without quotes`},
		{"a rule without its word", "[iso-drift]\nseverity = \"note\"", `prestrike.toml:1: there is no key "iso-drift": write [rule.iso-drift]`},
		{"a rule as a key", "[rule]\niso-drift = \"note\"", `prestrike.toml:2: write [rule.iso-drift] alone on its line, and what is set for the rule on the lines below: severity = "note"`},
		{"a severity without a rule", "severity = \"note\"", "prestrike.toml:1: severity belongs under the head of a rule, such as [rule.iso-drift]: write that on a line above it"},
		{"a number of a rule in the shoot", "[shoot]\ntolerance = 1", "prestrike.toml:2: [shoot] has no key tolerance: it belongs under [rule.iso-drift]"},
		{"a plan in a rule", "[rule.iso-drift]\nplanned-frames = 5", `prestrike.toml:2: rule iso-drift has no key "planned-frames": it belongs under [shoot]`},
		{"a shoot twice", "[shoot]\nsupport = \"tripod\"\n[shoot]\nlight = \"flash\"", `prestrike.toml:3: "[shoot]" is in the file twice: move what is below to the first`},
		{"views in single brackets", "[view]\nname = \"front\"\n[view]\nname = \"keel\"", "prestrike.toml:1: write [[view]] on a line of its own, in double brackets"},
		{"a list", "[shoot]\nmagnification = [1]", `prestrike.toml:2: magnification is a list: write a magnification`},
		{"unknown key of a body", "[[body]]\nmodel = \"BX-1\"\nsensor-width = 36", `prestrike.toml:3: there is no key "body.sensor-width": did you mean "body.sensor-width-mm"?`},
		{"unknown key of an acceptance", "[[accept]]\nrules = \"iso-drift\"", `prestrike.toml:2: there is no key "accept.rules": did you mean "accept.rule"?`},
		{"fewest of a bracket", "[[view]]\nname = \"front\"\nkind = \"bracket\"\nframes = 5\nfewest-frames = 3", `prestrike.toml:1: fewest-frames is for a focus sequence: leave it out, or write kind = "focus"`},
		{"fewest of no number", "[[view]]\nname = \"front\"\nfewest-frames = 30", "prestrike.toml:1: fewest-frames needs the number that is planned: add frames = 30 or more"},
		{"more than planned", "[[view]]\nname = \"front\"\nframes = 30\nfewest-frames = 40", "prestrike.toml:1: fewest-frames is 40, more than the 30 of frames: exchange the two"},
		{"overlap of a bracket", "[[view]]\nname = \"front\"\nkind = \"bracket\"\nframes = 5\noverlap = \"40%\"", `prestrike.toml:1: overlap is for a focus sequence: leave it out, or write kind = "focus"`},
		{"overlap of no number", "[[view]]\nname = \"front\"\noverlap = 0.4", "prestrike.toml:1: overlap is that of the planned number of frames: add frames = 40 or another number"},
		{"overlap of nothing", "[[view]]\nname = \"front\"\nframes = 40\noverlap = 0", "prestrike.toml:4: overlap is 0: write 0.01 to 0.95"},
		// 39 steps of 50 % are a way of 19.5 sharp depths, 27.9 steps of 70 %.
		{"gaps", "[[view]]\nname = \"front\"\nframes = 40\nfewest-frames = 27\noverlap = \"50%\"", "prestrike.toml:1: fewest-frames is 27 and leaves gaps, as 40 frames overlap by 50%: write 28 or more"},
		{"gaps with any", "[[view]]\nname = \"front\"\nframes = 40\nfewest-frames = 39\noverlap = \"30%\"", "prestrike.toml:1: fewest-frames is 39 and leaves gaps, as 40 frames overlap by only 30%: leave it out"},
		{"a single frame at least", "[[view]]\nname = \"front\"\nframes = 30\nfewest-frames = 1", "prestrike.toml:4: fewest-frames is 1: write a whole number from 2 to 100000"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			o := audit.Options{Rules: []*audit.Rule{configRule}}
			_, err := read(&o, "prestrike.toml", []byte(tt.text))
			if err == nil || !strings.Contains(err.Error(), tt.want) {
				t.Errorf("got %v\nwant %s", err, tt.want)
			}
		})
	}
}

// All mistakes of a file are reported at once, in the order of its lines, whether they are of
// grammar or of what is written; and none that is none.
func TestAllMistakesAtOnce(t *testing.T) {
	for _, c := range []struct {
		text string
		want []string // the lines of the mistakes, and words of each
	}{
		{"[shoot]\nlight = \"sun\"\nsupport = \"hand\"\n", []string{":2: light", ":3: support"}},
		{"[shoot]\nsupport = tripod\nmagnification = 1:2\nplanned-frames = 50\n", []string{":2: support = tripod: put it in quotes", ":3: magnification = 1:2: put it in quotes"}},
		{"planned-frames = 50\n[shoot]\nsupport = tripod\ncourier =\nligth = \"flash\"\n", []string{":1: planned-frames belongs", ":3: support = tripod", ":4: courier has no value", ":5: there is no key \"shoot.ligth\""}},
		{"[view]\nname = “front”\n[view]\nname =\nframes = many\n", []string{":1: write [[view]]", ":2: name = “front”: write straight", ":4: name has no value", ":5: frames is \"many\""}},
		{"[shoot\nsupport = tripod\nsupport = \"auto\"\nthe end\n", []string{":1: the brackets", ":2: support = tripod", ":3: \"support = \\\"auto\\\"\" is in the file twice", ":4: \"the end\" is no setting"}},
		{"[[body]]\nmodel = 90\nsensor-width-mm = 360\n[[lens]]\n", []string{":2: model is 90: write it in quotes", ":3: sensor-width-mm is 360", ":4: a lens needs its model"}},
		{"[[accept]]\nrule = iso-drifts\nreason = meant\nframe = 5\n", []string{":2: there is no rule \"iso-drifts\"", ":3: reason = meant: put it in quotes", ":4: frame is 5: write it in quotes"}},
	} {
		o := audit.Options{Rules: []*audit.Rule{configRule}}
		_, err := read(&o, "prestrike.toml", []byte(c.text))
		if err == nil {
			t.Errorf("%q: no mistake", c.text)
			continue
		}
		got := strings.Split(err.Error(), "\n")
		if len(got) != len(c.want) {
			t.Errorf("%q: %d mistakes, want %d: %v", c.text, len(got), len(c.want), err)
			continue
		}
		for i, want := range c.want {
			if !strings.HasPrefix(got[i], "prestrike.toml"+want) {
				t.Errorf("%q: got %s\nwant %s", c.text, got[i], want)
			}
		}
	}
}

// Values that need no quotes, or have them where they need none, and words in capitals.
func TestOtherSpellings(t *testing.T) {
	const text = "[shoot]\nplanned-frames = \"50\"\nsupport = \"Tripod\"\ncourier = 16:00\nfield-width-mm = \"8,5cm\"\nmagnification = \"None\"\n[rule.iso-drift]\ntolerance = \"0,5\"\n"
	o := audit.Options{Rules: []*audit.Rule{configRule}, Magnification: 1}
	made, err := read(&o, "prestrike.toml", []byte(text))
	if err != nil || o.PlannedFrames != 50 || o.Support != shoot.Tripod || o.Courier != 16*time.Hour || o.FieldWidth != 85 || o.Magnification != 0 || o.Params["iso-drift"]["tolerance"] != 0.5 {
		t.Errorf("%v: %+v", err, o)
	}
	var shown []string
	for _, s := range made {
		shown = append(shown, s.Key+" = "+s.Value)
	}
	want := []string{"shoot.support = \"tripod\"", "shoot.planned-frames = 50", "shoot.courier = \"16:00\"", "shoot.magnification = \"none\"", "shoot.field-width-mm = 85", "rule.iso-drift.tolerance = 0.5"}
	if diff := cmp.Diff(want, shown); diff != "" {
		t.Errorf("settings (-want +got):\n%s", diff)
	}
}

func TestFindLooksUp(t *testing.T) {
	dir := t.TempDir()
	inner := filepath.Join(dir, "shoot", "DCIM", "100BXCAM")
	if err := os.MkdirAll(inner, 0o777); err != nil {
		t.Fatal(err)
	}
	name := filepath.Join(dir, "shoot", Name)
	if err := os.WriteFile(name, nil, 0o666); err != nil {
		t.Fatal(err)
	}
	if got, err := Find(inner); err != nil || got != name {
		t.Errorf("Find below %s: %q, %v", name, got, err)
	}
	t.Chdir(dir)
	for _, c := range []struct{ folder, want string }{
		{"shoot", filepath.Join("shoot", Name)},
		{filepath.Join("shoot", "DCIM", "100BXCAM"), filepath.Join("shoot", Name)},
		{filepath.Join(dir, "shoot"), name},
	} {
		if got, err := Find(c.folder); err != nil || got != c.want {
			t.Errorf("Find below %s: %q, %v, want %q", c.folder, got, err, c.want)
		}
	}
	if got, err := Find(dir); err != nil || strings.HasPrefix(got, dir) {
		t.Errorf("Find above it: %q, %v", got, err)
	}
}

// Every fact can be declared in a file as its example shows, and so can the entries of lists
// that a starting file shows.
func TestStartingFileReads(t *testing.T) {
	rules := []*audit.Rule{configRule}
	text := string(StartingFile(rules))
	text = regexp.MustCompile(`(?m)^# (\[\[|[a-z-]+ = )`).ReplaceAllString(text, "$1")
	o := audit.Options{Rules: rules}
	if _, err := read(&o, Name, []byte(text)); err != nil {
		t.Fatalf("%v, in\n%s", err, text)
	}
	if len(o.Bodies) != 1 || o.Bodies[0].PixelWidth != 8256 || len(o.Lenses) != 1 || o.Lenses[0].ClosestFocus != 290 || len(o.Accept) != 1 || len(o.Retaken) != 1 || len(o.Views) != 1 || len(o.FocusSteps) != 1 {
		t.Errorf("declared: %+v", o)
	}
	for _, f := range Facts() {
		o := audit.Options{Rules: rules}
		made, err := read(&o, Name, []byte("[shoot]\n"+f.name+" = "+f.example+"\n"))
		if err != nil || len(made) != 1 || made[0].Value != f.example && f.example != `"1:1"` {
			t.Errorf("%s = %s: %v, %v", f.name, f.example, made, err)
		}
	}
}

// What is given on the command line is held to the same range as in a file.
func TestDeclare(t *testing.T) {
	for _, tt := range []struct {
		key   string
		value any
		want  string // the setting's value, or the error
	}{
		{"support", "tripod", `"tripod"`},
		{"support", "hand", `support "hand" is not known: write auto, tripod or handheld`},
		{"planned-frames", 50, "50"},
		{"planned-frames", 200_000, "200000 is out of range: write 0 to 100000"},
		{"field-width-mm", 80.0, "80"},
		{"magnification", 0.0, "0 is out of range: write 0.001 to 100"},
	} {
		var o audit.Options
		at := slices.IndexFunc(Facts(), func(f *Fact) bool { return f.name == tt.key })
		made, err := Facts()[at].Declare(&o, tt.value, "command line")
		got := made.Value
		if err != nil {
			got = err.Error()
		}
		if got != tt.want {
			t.Errorf("%s of %v: %s, want %s", tt.key, tt.value, got, tt.want)
		}
	}
}

// Values may be written as people write them.
func TestValuesAsPeopleWriteThem(t *testing.T) {
	rules := []*audit.Rule{{ID: "every-unit", Title: "Every unit", Params: []audit.Param{
		{Name: "time", Unit: "s", Min: 0, Max: 100},
		{Name: "length", Unit: "mm", Min: 0, Max: 100},
		{Name: "share", Min: 0, Max: 1},
		{Name: "percent", Unit: "%", Min: 0, Max: 50},
		{Name: "brightness", Unit: "EV", Min: 0, Max: 3},
	}}}
	const text = `
[shoot]
magnification = "1:2"
session-gap = "2m30s"
retake-within = "1.5h"
[[body]]
model = "BX-1"
sensor-width-mm = "3.6cm"
[[lens]]
model = "Borealis 90 mm macro"
closest-focus-mm = "0.29m"
largest-magnification = "1:1"
stabilisation-stops = "4 stops"
[rule.every-unit]
time = "1/30"
length = "1cm"
share = "30%"
percent = "1 %"
brightness = "1/3 EV"
`
	o := audit.Options{Rules: rules}
	if _, err := read(&o, Name, []byte(text)); err != nil {
		t.Fatal(err)
	}
	if o.Magnification != 0.5 || o.SessionGap != 150*time.Second || o.RetakeWithin != 90*time.Minute || o.Bodies[0].SensorWidth != 36 ||
		o.Lenses[0].ClosestFocus != 290 || o.Lenses[0].LargestMagnification != 1 || o.Lenses[0].Stabilisation != 4 {
		t.Errorf("declared: %+v", o)
	}
	want := map[string]float64{"time": 1.0 / 30, "length": 10, "share": 0.3, "percent": 1, "brightness": 1.0 / 3}
	for name, v := range want {
		if got := o.Params["every-unit"][name]; math.Abs(got-v) > 1e-12 {
			t.Errorf("%s: %v, want %v", name, got, v)
		}
	}
}
