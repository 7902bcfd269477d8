package shoot_test

import (
	"testing"
	"time"

	"prestrike/audit/audittest"
	"prestrike/audit/pixels/pixelstest"
	"prestrike/audit/shoot"
)

// Two bodies of which nothing shows how far their clocks are apart keep their times; what
// shows it is found, and rightly. A wrong alignment is worse than none: it mixes shoots.
func TestClocksAreAligned(t *testing.T) {
	pixelstest.Long(t)
	n := uint64(*seeds / 25)
	if testing.Short() {
		n /= 8
	}
	const from = 5_000_000 // those from 4,000,000 were inspected while this was written
	type way = audittest.TwoClocks
	for _, c := range []struct {
		name  string
		way   way
		least float64 // share of shoots whose clocks are aligned
		by    shoot.ClockEvidence
	}{
		{"clocks alike, in turn", way{}, 0, 0},
		{"clocks alike, one after the other", way{Order: audittest.AfterAnother}, 0, 0},
		{"clocks alike, at once", way{Order: audittest.AtOnce}, 0, 0},
		{"clocks alike, cards of two file systems", way{Written: audittest.WrittenByCameras}, 0, 0},
		{"clocks alike, cards of two file systems, one after the other", way{Order: audittest.AfterAnother, Written: audittest.WrittenByCameras}, 0, 0},
		{"clocks alike, cards of two file systems, at once", way{Order: audittest.AtOnce, Written: audittest.WrittenByCameras}, 0, 0},
		{"clocks alike, by computer", way{Order: audittest.AfterAnother, Written: audittest.WrittenByComputer}, 0, 0},
		{"clocks alike, wrong zone, in turn", way{Zones: audittest.WrongZone}, 0, 0},
		{"clocks alike, wrong zone, one after the other", way{Order: audittest.AfterAnother, Zones: audittest.WrongZone}, 0, 0},
		{"apart, one after the other", way{Order: audittest.AfterAnother, Apart: true}, 0, 0},
		{"apart, at once", way{Order: audittest.AtOnce, Apart: true}, 0, 0},
		{"apart, one after the other, copied", way{Order: audittest.AfterAnother, Apart: true, Written: audittest.WrittenByCopy}, 0, 0},
		{"clocks alike, even pauses, one after the other", way{Order: audittest.AfterAnother, Even: true}, 0, 0},
		{"clocks alike, even pauses, at once", way{Order: audittest.AtOnce, Even: true}, 0, 0},
		{"apart, in turn", way{Apart: true}, 0.2, shoot.ClockTurns},
		{"apart, in turn, zones", way{Apart: true, Zones: audittest.RightZones}, 0.8, shoot.ClockZones},
		{"apart, in turn, by computer", way{Apart: true, Written: audittest.WrittenByComputer}, 0.8, shoot.ClockWritten},
		{"apart, in turn, by computer, zone not changed", way{Apart: true, Written: audittest.WrittenByComputer, Zones: audittest.SameZone}, 0.8, shoot.ClockWritten},
		{"apart by an odd amount, by computer, at once", way{Apart: true, Odd: true, Order: audittest.AtOnce, Written: audittest.WrittenByComputer}, 0.8, shoot.ClockWritten},
		{"apart by an odd amount, by computer, one after the other", way{Apart: true, Odd: true, Order: audittest.AfterAnother, Written: audittest.WrittenByComputer}, 0.8, shoot.ClockWritten},
	} {
		aligned, wrong, exact, sequences := 0, 0, 0, 0
		for seed := uint64(from); seed < from+n; seed++ {
			made, ahead := c.way.Make(seed)
			sessions := shoot.Group(made.Files, &shoot.Options{})
			found, missed := made.Compare(sessions)
			exact, sequences = exact+len(found), sequences+len(found)+len(missed)
			clock := clockOf(sessions)
			if clock.Of == nil {
				continue
			}
			aligned++
			// Which body's clock is taken for right is another matter.
			if clock.Of.Model == "BX-2" {
				clock.Ahead = -clock.Ahead
			}
			if (clock.Ahead - ahead).Abs() > 3*time.Minute {
				wrong++
				t.Errorf("%s, seed %d: ahead by %v, not %v", c.name, seed, clock.Ahead, ahead)
			} else if clock.By != c.by {
				t.Errorf("%s, seed %d: shown by %v, want %v", c.name, seed, clock.By, c.by)
			}
		}
		t.Logf("%-60s %3d of %d aligned, %d wrongly; %d of %d sequences exact", c.name, aligned, n, wrong, exact, sequences)
		if share := float64(aligned) / float64(n); share < c.least && !testing.Short() || c.least == 0 && aligned > 0 {
			t.Errorf("%s: %d of %d aligned, want a share of %v", c.name, aligned, n, c.least)
		}
	}
}

// clockOf returns the one clock that was found to be off.
func clockOf(sessions []*shoot.Session) shoot.ClockOffset {
	for _, s := range sessions {
		for _, b := range s.Bodies {
			if b.Clock.Of != nil {
				return b.Clock
			}
		}
	}
	return shoot.ClockOffset{}
}

// Aligned clocks give the order of sequences and one session, and programs still learn
// when and in which zone each frame was made.
func TestAlignedClocksOrderSequences(t *testing.T) {
	text, err := audittest.ReadFile("../../testdata/sessions/trade/two-bodies-in-two-zones.txt")
	if err != nil {
		t.Fatal(err)
	}
	sessions := shoot.Group(text.Files, &shoot.Options{})
	if len(sessions) != 1 {
		t.Fatalf("%d sessions, want 1", len(sessions))
	}
	var order string
	for _, q := range sessions[0].Sequences {
		order += q.Body.Serial[len(q.Body.Serial)-1:]
		f := q.Frames[0]
		zone, ok := f.Zone().Get()
		if !ok || zone != time.Hour {
			t.Errorf("%s: zone %v, want that of the first body, 1 h", f.Path(), zone)
		}
		at, _ := f.Meta().Captured.Get()
		recorded, _ := at.Offset.Get()
		if !f.Time.Add(-zone).Equal(at.Wall.Add(-recorded)) {
			t.Errorf("%s: %v in zone %v is not the moment recorded", f.Path(), f.Time, zone)
		}
	}
	if order != "121212" {
		t.Errorf("sequences by bodies %s, want 121212", order)
	}
}
