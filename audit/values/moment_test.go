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
		"2pm": time.Date(2026, 11, 26, 14, 0, 0, 0, zone), "2:30 PM": time.Date(2026, 11, 26, 14, 30, 0, 0, zone), "12am": time.Date(2026, 11, 26, 0, 0, 0, 0, zone),
		"26.11.2026 14:00": time.Date(2026, 11, 26, 14, 0, 0, 0, zone), "2026:11:26 14:00:00": time.Date(2026, 11, 26, 14, 0, 0, 0, zone), "26.11.2026": time.Date(2026, 11, 26, 0, 0, 0, 0, zone),
		"25 October 2026, 2 pm": time.Date(2026, 10, 25, 14, 0, 0, 0, zone), "2 hours": last.Add(-2 * time.Hour),
		"2h": last.Add(-2 * time.Hour), "90m": last.Add(-90 * time.Minute), "2h30m": last.Add(-150 * time.Minute), "20 min": last.Add(-20 * time.Minute),
	} {
		m, err := Since.Read(text)
		if got := m.At(last); err != nil || !got.Equal(want) || !m.Given() || Since.Write(m) != text {
			t.Errorf("%s: %v, %v; want %v", text, got, err, want)
		}
	}
	for _, text := range []string{"", "noon", "25:00", "14", "14.5", "2026-13-01", "31.2.2026", "11/26/2026", "13pm", "2026-11-26 14:00 14:00", "1/2", "14:00 2026-11-26", "-2h", "0h", "9999999h"} {
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
	for text, want := range map[string]time.Duration{"16:00": 16 * time.Hour, "0:05": 5 * time.Minute, "4pm": 16 * time.Hour, "4:30 pm": 16*time.Hour + 30*time.Minute} {
		if got, err := Clock.Read(text); err != nil || got != want {
			t.Errorf("%s: %v, %v; want %v", text, got, err, want)
		}
	}
	for _, text := range []string{"24:00", "16", "noon", "", "2026-11-26"} {
		d, err := Clock.Read(text)
		refused(t, "clock", text, d, err)
	}
	if (Moment{}).Given() {
		t.Error("the zero moment is given")
	}
}
