package exifread

import (
	"strings"
	"time"
)

type timeState int

const (
	timeAbsent timeState = iota
	timeKnown
	timeUnknown
	timeDamaged
)

// parseTime reads the clock's text: "2026:03:04 10:11:12" by the standard, and
// in the wild with other signs between the numbers, with decimals, and with a
// zone. Blanks and zeros alone are the standard's "unknown".
func parseTime(s string) (Timestamp, timeState) {
	if blankTime(s) {
		return Timestamp{}, timeUnknown
	}
	part, rest, ok := clockNumbers(s)
	if !ok {
		return Timestamp{}, timeDamaged
	}
	year, month, day, hour, minute, second := part[0], part[1], part[2], part[3], part[4], part[5]
	// Some clocks record 24:00:05 for the first seconds of the next day, and 60 is a leap second.
	if year == 0 || month < 1 || month > 12 || day < 1 || hour > 24 || minute > 59 || second > 60 {
		return Timestamp{}, timeDamaged
	}
	midnight := time.Date(year, time.Month(month), day, 0, 0, 0, 0, time.UTC)
	if midnight.Day() != day { // the month has no such day
		return Timestamp{}, timeDamaged
	}
	t := Timestamp{
		Wall:       midnight.Add(time.Duration(hour*3600+minute*60+second) * time.Second),
		Resolution: time.Second,
	}
	if len(rest) > 1 && (rest[0] == '.' || rest[0] == ',') {
		n := 1
		for n < len(rest) && rest[n] >= '0' && rest[n] <= '9' {
			n++
		}
		t.addSubSeconds(rest[1:n])
		rest = rest[n:]
	}
	t.Offset = parseOffset(strings.TrimSpace(rest))
	return t, timeKnown
}

// blankTime reports whether a text holds no digit but 0, and nothing that does not
// belong to a time.
func blankTime(s string) bool {
	for i := range len(s) {
		if s[i] != '0' && !separates(s[i]) {
			return false
		}
	}
	return true
}

// separates reports whether a byte may stand between the numbers of a time.
func separates(c byte) bool {
	switch c {
	case ':', '-', '/', '.', ' ', 'T':
		return true
	}
	return false
}

// clockNumbers reads the six numbers of a date and a time, and returns what
// stands behind them.
func clockNumbers(s string) (part [6]int, rest string, ok bool) {
	rest = s
	for i, digits := range [6]int{4, 2, 2, 2, 2, 2} {
		if i > 0 {
			n := 0
			for n < len(rest) && separates(rest[n]) {
				n++
			}
			if n < 1 || n > 2 {
				return part, rest, false
			}
			rest = rest[n:]
		}
		n := 0
		for n < digits && n < len(rest) && rest[n] >= '0' && rest[n] <= '9' {
			part[i] = 10*part[i] + int(rest[n]-'0')
			n++
		}
		if n == 0 || i == 0 && n < 4 {
			return part, rest, false
		}
		rest = rest[n:]
	}
	return part, rest, true
}

// addSubSeconds adds the decimals of a second. What is no digit is unknown.
func (t *Timestamp) addSubSeconds(s string) {
	s = strings.TrimSpace(s)
	if s == "" || len(s) > 64 {
		return
	}
	sum, unit := time.Duration(0), time.Second
	for i, c := range s {
		if c < '0' || c > '9' {
			return
		}
		if i < 9 { // Go's clock has nanoseconds
			unit /= 10
			sum += time.Duration(c-'0') * unit
		}
	}
	t.Wall, t.Resolution = t.Wall.Add(sum), unit
}

// parseOffset reads "+01:00", "-0530", "Z"; anything else is unknown.
func parseOffset(s string) Value[time.Duration] {
	if s == "Z" || s == "z" {
		return Of(time.Duration(0))
	}
	if len(s) < 2 || s[0] != '+' && s[0] != '-' {
		return Value[time.Duration]{}
	}
	h, m, colon := strings.Cut(s[1:], ":")
	if !colon && len(h) == 4 {
		h, m = h[:2], h[2:]
	}
	hours, ok := twoDigits(h)
	minutes, okMinutes := twoDigits(m)
	if !ok || !okMinutes && m != "" || hours > 15 || minutes > 59 {
		return Value[time.Duration]{}
	}
	off := time.Duration(hours)*time.Hour + time.Duration(minutes)*time.Minute
	if s[0] == '-' {
		off = -off
	}
	return Of(off)
}

func twoDigits(s string) (int, bool) {
	if len(s) == 0 || len(s) > 2 {
		return 0, false
	}
	n := 0
	for _, c := range s {
		if c < '0' || c > '9' {
			return 0, false
		}
		n = 10*n + int(c-'0')
	}
	return n, true
}
