// Package audittest writes capture sessions as text, for tests: a line per
// frame or per run of frames, and the findings wanted.
//
//	## A focus sequence of 50 frames that lost numbers 0020 and 0021.
//	# want missing-frame reshoot 0019-0022
//	DCIM/100BXCAM/BX1_0001..0019.NEF every 1.3s time=2026-03-04T10:11:12.34+01:00 t=0.8 f=8 iso=100 mm=90
//	DCIM/100BXCAM/BX1_0022..0050.NEF after 3.9s
//
// A frame line is a path, then words and key=value pairs. Two numbers joined by
// two dots in the path make a run of frames, the endings joined by + a pair
// ("BX1_0001..0050.NEF+JPG"). What a line leaves out is inherited from the
// line above; "-" takes a value away.
//
// In a name without a run of numbers, a layout between braces is replaced by the
// time, in the notation of [time.Time.Format] ("IMG_{20060102_150405}.JPG
// frames=12"; a comma before parts of a second is left out).
//
// The words and keys are:
//
//	every D       time from each frame to the next
//	dead D        the same, from the end of each exposure
//	after D       time from the last frame above to the first of this line;
//	              without it, and without time=, the frames run on
//	jitter P%     scatter of every single step, the same at each reading
//	time=T        of the first frame; the digits of its seconds give the clock's
//	              resolution; "-" holds for this line only, while time goes on
//	t= f= iso= isotype= mm= mm35=      exposure time, f-number, ...: decimals or fractions
//	make= body= serial=                Make, Model, BodySerialNumber
//	lens= lensserial=                  LensModel, LensSerialNumber
//	wb=           auto or manual
//	program=      manual, normal, aperture, shutter or a number
//	mode=         auto, manual or bracket
//	bias=         ExposureBiasValue
//	flash=        fired, off or the number of the bit field (16: switched off)
//	orient= size=WxH
//	dist=         SubjectDistance: metres, inf or unknown; a..b walks through the line
//	plane=        FocalPlaneXResolution and FocalPlaneYResolution, pixels to the cm: 2293x2293
//	widest=       smallest f-number of LensSpecification
//	lensspec=     LensSpecification: 24-70/2.8-4; a value that a lens does not record is left out: 60-60/-
//	composite=    CompositeImage, as numbered
//	jpegsize=WxH  of the files that are not raw, where it is not that of the raw files
//	bytes=        size of each file; a..b draws it, the same at each reading
//	modified=     modification time of the files: kept as cards keep it, kept-61m by a
//	              clock 61 minutes behind that of the body, or a time in UTC that all share,
//	              as after a copy; "-", as at the beginning, for none
//
// Several values of t, f, iso, bias or flash, joined by commas, come in turn, in
// this line only. These hold for this line only, too:
//
//	frames=N      number of frames, for a name without a run of numbers
//	reversed      the numbers count down while time goes on
//	copyof=PATH   copies, byte for byte, of files above, this one the first; no time passes
//	unreadable="reason" torn="reason" unchecked noexif
//
// Lines that begin with ## are comments. Those with a single # declare how the
// session is to be audited and what is wanted:
//
//	# planned 50                          frames of a focus sequence
//	# planned-time-lapse 240
//	# planned-views 12
//	# view "front, raking light" kind=focus frames=40 fewest=34 f=8 iso=100 t=0.8 m=0.5 optional
//	# view hinge body=BX-1 file=BX1_0043.NEF
//	# now "2026-03-04 17:00:00"           when the session is audited; without it nobody knows
//	# final                               the shoot is over
//	# slate 0042 hinge                    what a single frame shows: a view, unread or foreign
//	# support handheld
//	# param iso-drift tolerance 0.5
//	# magnification 0.5
//	# field-width 36                      mm
//	# light mains50
//	# body BX-1 width=36 pixels=8256 f-numbers=effective
//	# lens "Borealis 90 mm macro" closest=310 largest=1 pupil=0.8 stops=3 f-numbers=nominal
//	# want RULE SEVERITY FIRST-LAST       a finding, by its first and last frame
//	# want-not-judged RULE REASON         part of the reason is enough
//	# want-verdict reshoot                of the whole audit
//
// Sessions of the trade state what a photographer wants, see [Text.Differences].
// There a rule may be one of several (a|b), a severity the least (check+), and
// the frames of a finding lie anywhere between those named. More lines:
//
//	# may RULE SEVERITY FIRST-LAST      a finding that may be there too
//	# never RULE                        not even a note
//	# at-most RULE N                    findings of the rule in the whole audit
//	# want-words RULE TEXT              in a finding of the rule
//	# want-sequence KIND FIRST-LAST SUPPORT    kinds joined by |; the support may be left out
//	# want-sequences N                  in the whole audit
//	# accept RULE FRAME REASON          declared as meant, by the sequence's first frame
//	# open REASON                       the program is known to differ, and why
package audittest

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strconv"
	"strings"
	"time"

	"prestrike/audit"
	"prestrike/audit/shoot"
)

// A Text is a session read from text.
type Text struct {
	Files   []*shoot.File
	Options audit.Options // without rules
	// Wants are the findings wanted, NotJudged what must not be judged.
	Wants     []Want
	NotJudged []NotJudged
	Verdict   string // wanted; empty where the text does not state it

	// What only Differences compares.
	May       []Want   // findings that may be there
	Never     []string // rules that are to be silent, notes included
	AtMost    map[string]int
	Words     []Words
	Sequences []WantSequence
	Count     int // of sequences; 0 where the text does not state it
	// Open is why the program is known to differ; empty where it must not.
	Open string
}

// ReadFile reads the session in the named file.
func ReadFile(name string) (*Text, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	t, err := Read(f)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return t, nil
}

// Read reads a session. An error names the line.
func Read(r io.Reader) (*Text, error) {
	p := parser{text: &Text{}, line: newLine()}
	s := bufio.NewScanner(r)
	for n := 1; s.Scan(); n++ {
		if err := p.read(strings.TrimSpace(s.Text())); err != nil {
			return nil, fmt.Errorf("line %d: %w", n, err)
		}
	}
	paths := map[string]bool{}
	for _, f := range p.text.Files {
		if paths[f.Path] {
			return nil, fmt.Errorf("two files are called %s", f.Path)
		}
		paths[f.Path] = true
	}
	return p.text, s.Err()
}

type parser struct {
	text    *Text
	line    line
	last    time.Time     // of the last frame, before the clock's resolution cuts it
	exposed time.Duration // of the last frame
	// seed of what is drawn in a line: the number of lines of frames so far, so
	// that no comment and no directive changes it.
	seed uint64
}

func (p *parser) read(text string) error {
	switch {
	case text == "" || strings.HasPrefix(text, "##"):
		return nil
	case strings.HasPrefix(text, "#"):
		words, err := split(text[1:])
		if err != nil {
			return err
		}
		return p.directive(words)
	}
	words, err := split(text)
	if err != nil {
		return err
	}
	p.line.forget()
	if err := p.line.path(words[0]); err != nil {
		return err
	}
	for i := 1; i < len(words); i++ {
		word := words[i]
		key, value, pair := strings.Cut(word, "=")
		if !pair && slices.Contains([]string{"every", "dead", "after", "jitter"}, word) {
			i++
			if i == len(words) {
				return fmt.Errorf("%s needs a value", word)
			}
			key, value = word, words[i]
		}
		if err := p.line.set(key, value); err != nil {
			return fmt.Errorf("%s: %w", word, err)
		}
	}
	p.seed++
	return p.frames()
}

func (p *parser) directive(words []string) error {
	if len(words) == 0 {
		return nil
	}
	name, args := words[0], words[1:]
	known, err := p.declared(name, args)
	if !known {
		known, err = p.shotList(name, args)
	}
	if !known {
		known, err = p.wanted(name, args)
	}
	if !known {
		return fmt.Errorf("%q is no directive with %d values; comments begin with ##", name, len(args))
	}
	return err
}

// declared reads how the session is to be audited.
//
// whole: each word is one case, read by itself; there is one list of words to keep.
func (p *parser) declared(name string, args []string) (known bool, err error) {
	opt := &p.text.Options
	switch {
	case name == "planned" && len(args) == 1:
		opt.PlannedFrames, err = strconv.Atoi(args[0])
	case name == "planned-time-lapse" && len(args) == 1:
		opt.PlannedTimeLapse, err = strconv.Atoi(args[0])
	case name == "planned-views" && len(args) == 1:
		opt.PlannedViews, err = strconv.Atoi(args[0])
	case name == "now" && len(args) == 1:
		var now time.Time
		now, err = time.Parse(time.DateTime, args[0])
		opt.Now = func(time.Time) time.Time { return now }
	case name == "support" && len(args) == 1:
		for s := shoot.SupportAuto; s <= shoot.Handheld; s++ {
			if s.String() == args[0] {
				opt.Support = s
				return true, nil
			}
		}
		err = fmt.Errorf("%q is no support", args[0])
	case name == "param" && len(args) == 3:
		var v float64
		v, err = strconv.ParseFloat(args[2], 64)
		if opt.Params == nil {
			opt.Params = map[string]map[string]float64{}
		}
		if opt.Params[args[0]] == nil {
			opt.Params[args[0]] = map[string]float64{}
		}
		opt.Params[args[0]][args[1]] = v
	case name == "magnification" && len(args) == 1:
		opt.Magnification, err = strconv.ParseFloat(args[0], 64)
	case name == "field-width" && len(args) == 1:
		opt.FieldWidth, err = strconv.ParseFloat(args[0], 64)
	case name == "light" && len(args) == 1:
		opt.Light, err = audit.ParseLight(args[0])
	case name == "body" && len(args) > 1:
		b := audit.BodyFacts{Model: args[0]}
		pixels := 0.0
		err = facts(args[1:], map[string]*float64{"width": &b.SensorWidth, "pixels": &pixels}, &b.FNumbers)
		b.PixelWidth = int(pixels)
		opt.Bodies = append(opt.Bodies, b)
	case name == "lens" && len(args) > 1:
		l := audit.LensFacts{Model: args[0]}
		err = facts(args[1:], map[string]*float64{
			"closest": &l.ClosestFocus, "largest": &l.LargestMagnification, "pupil": &l.PupilMagnification, "stops": &l.Stabilisation,
		}, &l.FNumbers)
		opt.Lenses = append(opt.Lenses, l)
	case name == "accept" && len(args) >= 3:
		opt.Accept = append(opt.Accept, audit.Acceptance{Rule: args[0], Frame: args[1], Reason: strings.Join(args[2:], " ")})
	default:
		return false, nil
	}
	return true, err
}

// wanted reads what is to be found.
func (p *parser) wanted(name string, args []string) (known bool, err error) {
	switch {
	case name == "want" && len(args) == 3:
		err = addWant(&p.text.Wants, args)
	case name == "may" && len(args) == 3:
		err = addWant(&p.text.May, args)
	case name == "never" && len(args) == 1:
		p.text.Never = append(p.text.Never, args[0])
	case name == "want-sequences" && len(args) == 1:
		p.text.Count, err = strconv.Atoi(args[0])
	case name == "at-most" && len(args) == 2:
		if p.text.AtMost == nil {
			p.text.AtMost = map[string]int{}
		}
		p.text.AtMost[args[0]], err = strconv.Atoi(args[1])
	case name == "want-words" && len(args) >= 2:
		p.text.Words = append(p.text.Words, Words{args[0], strings.Join(args[1:], " ")})
	case name == "want-sequence" && (len(args) == 2 || len(args) == 3):
		w := WantSequence{Kinds: strings.Split(args[0], "|"), Span: parseSpan(args[1])}
		if len(args) == 3 {
			w.Support = args[2]
		}
		p.text.Sequences = append(p.text.Sequences, w)
	case name == "open" && len(args) > 0:
		p.text.Open = strings.Join(args, " ")
	case name == "want-not-judged" && len(args) >= 2:
		p.text.NotJudged = append(p.text.NotJudged, NotJudged{args[0], strings.Join(args[1:], " ")})
	case name == "want-verdict" && len(args) == 1:
		p.text.Verdict = args[0]
	default:
		return false, nil
	}
	return true, err
}

func addWant(list *[]Want, args []string) error {
	span := parseSpan(args[2])
	if _, err := audit.ParseSeverity(strings.TrimSuffix(args[1], "+")); err != nil {
		return err
	}
	*list = append(*list, Want{Rule: args[0], Severity: args[1], First: span.First, Last: span.Last})
	return nil
}

// facts reads what is declared of a body or a lens.
func facts(pairs []string, numbers map[string]*float64, kind *audit.FNumbers) error {
	for _, pair := range pairs {
		key, value, _ := strings.Cut(pair, "=")
		if key == "f-numbers" {
			for k := audit.FNumbersUnknown; k <= audit.FNumbersEffective; k++ {
				if k.String() == value {
					*kind = k
				}
			}
			if kind.String() != value {
				return fmt.Errorf("%q: f-numbers are nominal, effective or unknown", value)
			}
			continue
		}
		to := numbers[key]
		if to == nil {
			return fmt.Errorf("%q is no fact", key)
		}
		v, err := strconv.ParseFloat(value, 64)
		if err != nil {
			return err
		}
		*to = v
	}
	return nil
}

// split cuts a line at spaces outside double quotes, and takes the quotes off.
func split(s string) ([]string, error) {
	var words []string
	var word strings.Builder
	quoted, any := false, false
	for _, r := range s {
		switch {
		case r == '"':
			quoted, any = !quoted, true
		case (r == ' ' || r == '\t') && !quoted:
			if any {
				words = append(words, word.String())
			}
			word.Reset()
			any = false
		default:
			word.WriteRune(r)
			any = true
		}
	}
	if quoted {
		return nil, errors.New("a quote is not closed")
	}
	if any {
		words = append(words, word.String())
	}
	return words, nil
}
