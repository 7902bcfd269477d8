package exifread

import (
	"fmt"
	"math"
	"time"

	"prestrike/exifread/internal/ifd"
)

// captured collects the parts of a capture time until all are known.
type captured struct {
	date   [3]date // DateTimeOriginal, DateTimeDigitized, DateTime
	subsec [3]Value[string]
	offset [3]Value[string]
	zone   Value[int64] // TimeZoneOffset (TIFF/EP), hours
}

// A date is one of the three as it is recorded.
type date struct {
	stamp Timestamp
	state timeState
	text  string // where it is damaged
	at    problemAt
}

type problemAt struct {
	where string
	at    int64
	tag   uint16
}

// setDate takes a date for one of the three. One that can be read keeps its place
// against others; zeros and damage do not.
func (f *facts) setDate(i int, v ifd.Value) string {
	d := &f.captured.date[i]
	if d.state == timeKnown {
		return ""
	}
	b, what := textBytes(v)
	if len(b) == 0 {
		return what
	}
	switch stamp, state := parseTime(string(b)); {
	case state == timeKnown:
		*d = date{stamp: stamp, state: state}
	case d.state == timeAbsent:
		*d = date{state: state, text: string(b), at: f.here}
	}
	return what
}

// facts is what the directories of one file record, in whichever of its blocks,
// beyond what Metadata holds.
type facts struct {
	m        *Metadata
	src      *source
	captured captured
	// The three 32-bit sensitivities: standard output sensitivity, recommended
	// exposure index, ISO speed.
	sensitivity [3]Value[uint32]
	dngVersion  bool
	values      int // how many values were read

	here problemAt // the entry that is being taken
}

// take reads one entry into the field it belongs to.
func (f *facts) take(file *ifd.File, e ifd.Entry, t *tag, where string) {
	f.here = problemAt{where, e.At, e.Tag}
	v, err := file.Value(e)
	if err != nil {
		f.problem(err.Error())
		return
	}
	if what := t.take(f, v); what != "" {
		f.problem(what)
		return
	}
	f.values++
}

// problem notes what is wrong with the entry that is being taken.
func (f *facts) problem(what string) {
	f.m.problem(Problem{Where: f.here.where, Tag: f.here.tag, Offset: f.here.at, What: what})
}

// sensitivityTags are the places in facts.sensitivity that each SensitivityType names.
var sensitivityTags = [8][]int{1: {0}, 2: {1}, 3: {2}, 4: {0, 1}, 5: {0, 2}, 6: {1, 2}, 7: {0, 1, 2}}

// finish puts together what takes more than one tag.
func (f *facts) finish() {
	m := f.m
	// PhotographicSensitivity has 16 bits and stays at 65535 above; then one of
	// the 32-bit tags has the number. SensitivityType reports which: a bit set of 1
	// standard output sensitivity, 2 recommended exposure index, 3 ISO speed and
	// their combinations (CIPA DC-008, tag 0x8830).
	if iso, ok := m.Sensitivity.Get(); !ok || iso == math.MaxUint16 {
		for _, i := range sensitivityTags[min(m.SensitivityType.Or(7), 7)] {
			if f.sensitivity[i].Known() {
				m.Sensitivity = f.sensitivity[i]
				break
			}
		}
	}
	if !m.Width.Known() || !m.Height.Known() {
		if m.PixelXDimension.Known() && m.PixelYDimension.Known() {
			m.Width, m.Height = m.PixelXDimension, m.PixelYDimension
		}
	}
	m.Captured = f.time()
	m.HasExif = m.HasExif || f.values > 0
}

// time makes the capture time of DateTimeOriginal, else of DateTimeDigitized,
// which for a camera is the same moment. DateTime is when the file was last
// changed: it counts for raw files only, which are never edited.
func (f *facts) time() Value[Timestamp] {
	c := &f.captured
	for i := range c.date {
		if i == 2 && !f.m.Format.Raw() {
			break
		}
		d := &c.date[i]
		switch d.state {
		case timeAbsent, timeUnknown:
			continue
		case timeDamaged:
			f.m.problem(Problem{Where: d.at.where, Tag: d.at.tag, Offset: d.at.at, What: fmt.Sprintf("%q is not a date and time", d.text)})
			continue
		}
		t := d.stamp
		if s, ok := c.subsec[i].Get(); ok && t.Resolution == time.Second {
			t.addSubSeconds(s)
		}
		if s, ok := c.offset[i].Get(); ok {
			t.Offset = parseOffset(s)
		} else if h, ok := c.zone.Get(); ok && i == 0 {
			t.Offset = Of(time.Duration(h) * time.Hour)
		}
		return Of(t)
	}
	return Value[Timestamp]{}
}
