package values

import (
	"strings"
	"time"
)

// A Moment is a point in time as people name it on the day: a time of day, a date with or
// without one, or how long before the end. The zero Moment is none.
type Moment struct {
	clock  time.Time // date and time of day, or one of the two
	dated  bool
	hourly bool          // it has a time of day
	before time.Duration // or how long before the last
	text   string
}

// momentLayouts are the ways to write a date, each of which a time of day may follow. With
// colons it is as Exif has it.
var momentLayouts = []string{"2006-01-02", "2006:01:02", "2.1.2006", "2 January 2006", "2 Jan 2006"}

// clockLayouts are the ways to write a time of day.
var clockLayouts = []string{"15:04", "15:04:05", "3:04pm", "3pm"}

// Clock is the kind of a time of day, after midnight.
var Clock = Kind[time.Duration]{"a time of day such as 16:00", readClock, func(d time.Duration) string { return time.Time{}.Add(d).Format("15:04") }}

func readClock(s string) (time.Duration, bool) {
	s = strings.NewReplacer(" am", "am", " pm", "pm").Replace(strings.ToLower(s))
	for _, layout := range clockLayouts {
		if t, err := time.Parse(layout, s); err == nil {
			return t.Sub(t.Truncate(24 * time.Hour)), true
		}
	}
	return 0, false
}

// Since is the kind of a moment.
var Since = Kind[Moment]{
	`a time such as 14:00, "2026-11-26 14:00", 2026-11-26, or 2h for the last two hours`, readMoment, func(m Moment) string { return m.text },
}

// Now is the kind of a moment that has a time of day.
var Now = Kind[Moment]{
	`a time such as 15:20, or "2026-11-26 15:20"`, readNow, func(m Moment) string { return m.text },
}

func readNow(s string) (Moment, bool) {
	m, ok := readMoment(s)
	return m, ok && m.hourly
}

// Given reports whether there is a moment.
func (m Moment) Given() bool { return m.text != "" }

// At returns the moment, given the time of the last frame: a time of day is meant on the
// day of that frame, in its zone, and a duration before it.
func (m Moment) At(last time.Time) time.Time {
	switch {
	case m.before > 0:
		return last.Add(-m.before)
	case m.dated:
		return on(m.clock, m.clock, last.Location())
	}
	return on(last, m.clock, last.Location())
}

// on returns a time of day on a day.
func on(day, clock time.Time, zone *time.Location) time.Time {
	y, month, d := day.Date()
	h, m, s := clock.Clock()
	return time.Date(y, month, d, h, m, s, 0, zone)
}

func readMoment(s string) (Moment, bool) {
	if d, ok := readClock(s); ok {
		return Moment{clock: time.Time{}.Add(d), hourly: true, text: s}, true
	}
	for i := range len(s) + 1 { // between the date and the time of day
		d, hourly := readClock(strings.TrimLeft(s[i:], " T"))
		if !hourly && i < len(s) {
			continue
		}
		for _, day := range momentLayouts {
			if t, err := time.Parse(day, strings.TrimRight(s[:i], ", ")); err == nil {
				return Moment{clock: t.Add(d), dated: true, hourly: hourly, text: s}, true
			}
		}
	}
	// Without its unit a number may be an hour or minutes.
	if t, ok := readTime(s); ok && strings.Trim(s, digits+" ") != "" && !strings.Contains(s, "/") && t < 366*24*3600 {
		return Moment{before: Duration(t), text: s}, true
	}
	return Moment{}, false
}
