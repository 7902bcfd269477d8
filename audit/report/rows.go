package report

import (
	"cmp"
	"fmt"
	"path"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/audit/words"
)

// The cells of the table.

// A row is one sequence, or a run of single frames.
type row struct {
	id, body, time, kind, frames, count    string
	focal, fNumber, exposure, iso, cadence string
	verdict                                string
}

// notRecorded is the cell of what the files do not record.
const notRecorded = "-"

// varies is the cell of values that differ from frame to frame.
const varies = "varies"

// heading names the session, its day, bodies and frames.
func heading(s *sessionModel) string {
	var b strings.Builder
	fmt.Fprintf(&b, "Session %s: ", s.id)
	const day = "2 January 2006"
	switch {
	case s.first == nil:
		b.WriteString("no times recorded")
	case s.first.Time.Format(day+" 15:04") == s.last.Time.Format(day+" 15:04"):
		b.WriteString(s.first.Time.Format(day + ", 15:04"))
	case s.first.Time.Format(day) == s.last.Time.Format(day):
		b.WriteString(s.first.Time.Format(day+", 15:04") + " to " + s.last.Time.Format("15:04"))
	default:
		b.WriteString(s.first.Time.Format(day+", 15:04") + " to " + s.last.Time.Format(day+", 15:04"))
	}
	for i, body := range s.bodies {
		b.WriteString("; ")
		if len(s.bodies) > 1 {
			b.WriteString(shoot.BodyLetter(i) + " = ")
		}
		b.WriteString(bodyName(body))
	}
	b.WriteString("; " + words.Count(s.frames, "frame", "frames"))
	return b.String()
}

func bodyName(b *shoot.Body) string {
	name := b.Model
	if !strings.HasPrefix(strings.ToLower(b.Model), strings.ToLower(b.Make)) {
		name = strings.TrimSpace(b.Make + " " + b.Model)
	}
	if name == "" {
		name = "unknown body"
	}
	if b.Serial != "" {
		name += " no. " + b.Serial
	}
	if b.Index > 0 {
		name += fmt.Sprintf(" (body %d)", b.Index)
	}
	return name
}

// rowsOf returns a row per sequence, with what closes its holes. Single frames in a row share one, so that
// a day of single frames stays one line; those to be shot again do not share
// with others.
func rowsOf(s *sessionModel) []row {
	class := func(q *sequenceModel) string {
		if q.supersededBy == "" && q.verdict != audit.VerdictReshoot {
			return ""
		}
		return q.verdictWord()
	}
	var rows []row
	for i := 0; i < len(s.sequences); {
		n := 1
		for q := &s.sequences[i]; i+n < len(s.sequences); n++ {
			next := &s.sequences[i+n]
			singles := len(q.with) == 0 && q.kind == shoot.Single && next.kind == shoot.Single && next.body == q.body && class(next) == class(q)
			if !next.patch && !singles {
				break
			}
		}
		r := newRow(s.sequences[i : i+n])
		r.body = shoot.BodyLetter(s.sequences[i].body)
		rows = append(rows, r)
		i += n
	}
	return rows
}

func newRow(sequences []sequenceModel) row {
	first, last := &sequences[0], &sequences[len(sequences)-1]
	var frames []*shoot.Frame
	worst := first
	for i := range sequences {
		q := &sequences[i]
		frames = append(frames, q.frames...)
		if q.verdict > worst.verdict {
			worst = q
		}
	}
	r := row{
		id:      idRange(first.id, last.id),
		time:    notRecorded,
		kind:    first.kind.String(),
		frames:  frameSpan(frames[0], frames[len(frames)-1]),
		count:   countCell(len(frames), first.exposures),
		cadence: notRecorded,
		verdict: worst.verdictWord(),
	}
	one := len(sequences) == 1
	if last.patch { // one sequence, made at several times
		one, r.id, r.verdict = true, first.id, first.verdictWord()
		r.frames = frameSpan(first.frames[0], first.frames[len(first.frames)-1])
		if len(sequences) == 2 {
			r.frames += ", " + frameSpan(last.frames[0], last.frames[len(last.frames)-1])
		} else { // findings and the last line name them all
			more := fmt.Sprintf("%d more", len(sequences)-1)
			r.frames += " and " + more
			if len(first.with) > 1 && first.supersededBy == "" {
				r.verdict = first.verdictAlone() + " with " + more
			}
		}
	}
	if len(first.merged) > 0 && one {
		r.kind += ", merged"
	}
	for _, f := range first.frames {
		if f.Timed() {
			r.time = f.Time.Format("15:04")
			break
		}
	}
	if c, ok := first.cadence.Get(); ok {
		r.cadence = shoot.FormatDuration(c)
	} else if first.kind == shoot.Single || first.kind == shoot.Bracket {
		r.cadence = ""
	}
	if one && first.kind != shoot.Bracket && first.kind != shoot.Single {
		r.settings(first.settings)
	} else {
		r.common(frames)
	}
	return r
}

// settings fills in what most frames of a sequence agree on.
func (r *row) settings(s shoot.Settings) {
	r.focal, r.fNumber, r.exposure, r.iso = notRecorded, notRecorded, notRecorded, notRecorded
	if v, ok := s.FocalLength.Get(); ok {
		r.focal = shoot.FormatFocalLength(v)
	}
	if v, ok := s.FNumber.Get(); ok {
		r.fNumber = shoot.FormatFNumber(v)
	}
	if v, ok := s.ExposureTime.Get(); ok {
		r.exposure = shoot.FormatExposureTime(v)
	}
	if v, ok := s.ISO.Get(); ok {
		r.iso = strconv.FormatUint(uint64(v), 10)
	}
}

// common fills in what the frames agree on; of exposure times that differ, as
// in a bracket, the shortest and the longest.
func (r *row) common(frames []*shoot.Frame) {
	var focal, fNumber, exposure, iso []string
	shortest, longest := frames[0], frames[0]
	for _, f := range frames {
		m := f.Meta()
		if !m.HasExif && len(frames) > 1 { // it shows nothing of the others
			continue
		}
		cells := row{}
		cells.settings(shoot.Settings{ExposureTime: m.ExposureTime, FNumber: m.FNumber, ISO: m.Sensitivity, FocalLength: m.FocalLength})
		focal = append(focal, cells.focal)
		fNumber = append(fNumber, cells.fNumber)
		exposure = append(exposure, cells.exposure)
		iso = append(iso, cells.iso)
		if t, ok := m.ExposureTime.Get(); ok {
			if s, ok := shortest.Meta().ExposureTime.Get(); !ok || t.Float() < s.Float() {
				shortest = f
			}
			if l, ok := longest.Meta().ExposureTime.Get(); !ok || t.Float() > l.Float() {
				longest = f
			}
		}
	}
	same := func(cells []string) string {
		if len(cells) == 0 {
			return notRecorded
		}
		if slices.ContainsFunc(cells, func(c string) bool { return c != cells[0] }) {
			return varies
		}
		return cells[0]
	}
	r.focal, r.fNumber, r.exposure, r.iso = same(focal), same(fNumber), same(exposure), same(iso)
	if r.exposure == varies && !slices.Contains(exposure, notRecorded) {
		from, _ := shortest.Meta().ExposureTime.Get()
		to, _ := longest.Meta().ExposureTime.Get()
		r.exposure = strings.TrimSuffix(shoot.FormatExposureTime(from), " s") + "-" + shoot.FormatExposureTime(to)
	}
}

// countCell writes how many frames a sequence has: "36", and "12 x 3" where each of its
// positions has a number of exposures.
func countCell(frames, exposures int) string {
	if exposures > 0 && frames%exposures == 0 {
		return fmt.Sprintf("%d x %d", frames/exposures, exposures)
	}
	return strconv.Itoa(frames)
}

// idRange writes the sequences from first to last: "1.2", "1.2-9".
func idRange(first, last string) string {
	if first == last {
		return first
	}
	_, place, ok := strings.Cut(last, ".")
	if !ok {
		place = last
	}
	return first + "-" + place
}

// spanWidth is how many columns the first and the last frame of a sequence take at most.
const spanWidth = 17

// frameSpan writes the first and the last frame: "0001-0050", and of names what
// distinguishes them: "…anterior-…apical" for scan anterior.JPG and scan apical.JPG.
func frameSpan(first, last *shoot.Frame) string {
	a, b := frameCell(first), frameCell(last)
	if first == last {
		return shortenedLeft(a, spanWidth)
	}
	shortened := shortenedLeft // camera numbers and the like are at the end
	if !first.Number.Known && !last.Number.Known && textWidth(a)+textWidth(b) >= spanWidth {
		if alike := commonWords(a, b); alike > 0 {
			a, b, shortened = "…"+a[alike:], "…"+b[alike:], shortenedRight
		}
	}
	half := spanWidth / 2
	room := half + max(0, half-min(textWidth(a), textWidth(b))) // what the shorter one leaves
	return shortened(a, room) + "-" + shortened(b, room)
}

// frameCell is the label of a frame without the extension of a name.
func frameCell(f *shoot.Frame) string {
	label := f.Label()
	if !f.Number.Known {
		label = cmp.Or(strings.TrimSuffix(label, path.Ext(label)), label)
	}
	return label
}

// commonWords returns how many bytes two names have in common at their beginnings, up to the
// end of a word.
func commonWords(a, b string) int {
	n, words := 0, 0
	for i, r := range a {
		if !strings.HasPrefix(b[n:], string(r)) {
			break
		}
		if n = i + utf8.RuneLen(r); !unicode.IsLetter(r) && !unicode.IsDigit(r) {
			words = n
		}
	}
	return words
}

// shortenedLeft and shortenedRight cut text to a number of columns at most, and no mark from
// the letter that it belongs to.
func shortenedLeft(s string, most int) string {
	if textWidth(s) <= most {
		return s
	}
	r := []rune(s)
	for len(r) > 0 && (textWidth(string(r)) > most-1 || unicode.IsMark(r[0])) {
		r = r[1:]
	}
	return "…" + string(r)
}

func shortenedRight(s string, most int) string {
	if textWidth(s) <= most {
		return s
	}
	return Cut(s, most-1) + "…"
}
