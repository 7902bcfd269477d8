package values

import (
	"testing"
	"time"
)

func TestMoments(t *testing.T) {
	zone := time.FixedZone("", 3600)
	last := time.Date(2026, 11, 26, 16, 30, 0, 0, zone)
	for text, want := range map[string]time.Time{
		"14:00": time.Date(2026, 11, 26, 14, 0, 0, 0, zone), "9:05": time.Date(2026, 11, 26, 9, 5, 0, 0, zone), "14:00:30": time.Date(2026, 11, 26, 14, 0, 30, 0, zone),
		"2026-11-25 14:00": time.Date(2026, 11, 25, 14, 0, 0, 0, zone), "2026-11-25T14:00": time.Date(2026, 11, 25, 14, 0, 0, 0, zone),
		"2026-11-26": time.Date(2026, 11, 26, 0, 0, 0, 0, zone), "26 November 2026, 14:00": time.Date(2026, 11, 26, 14, 0, 0, 0, zone), "26 Nov 2026 14:00": time.Date(2026, 11, 26, 14, 0, 0, 0, zone),
		"2h": last.Add(-2 * time.Hour), "90m": last.Add(-90 * time.Minute), "2h30m": last.Add(-150 * time.Minute), "20 min": last.Add(-20 * time.Minute),
	} {
		m, err := Since.Read(text)
		if got := m.At(last); err != nil || !got.Equal(want) || !m.Given() || Since.Write(m) != text {
			t.Errorf("%s: %v, %v; want %v", text, got, err, want)
		}
	}
	for _, text := range []string{"", "noon", "25:00", "14", "14.5", "2026-13-01", "26.11.2026", "1/2", "14:00 2026-11-26", "-2h", "0h", "9999999h"} {
		m, err := Since.Read(text)
		refused(t, "since", text, m, err)
	}
	for _, text := range []string{"15:20", "2026-11-26 15:20"} {
		m, err := Now.Read(text)
		if want := time.Date(2026, 11, 26, 15, 20, 0, 0, zone); err != nil || !m.At(last).Equal(want) || Now.Write(m) != text {
			t.Errorf("%s: %v, %v; want %v", text, m.At(last), err, want)
		}
	}
	for _, text := range []string{"2026-11-26", "2h", "noon", ""} {
		m, err := Now.Read(text)
		refused(t, "now", text, m, err)
	}
	if (Moment{}).Given() {
		t.Error("the zero moment is given")
	}
}
