package audittest

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"time"

	"prestrike/audit/shoot"
	"prestrike/exifread"
)

// A TwoClocks is a way to use two bodies, whose clocks may be apart.
type TwoClocks struct {
	Order   Order
	Written Written
	Zones   Zones
	Apart   bool // the clock of the second body is off
	Odd     bool // by no number of quarter-hours
	Even    bool // few runs, with pauses much alike
}

// An Order is how the two bodies are used.
type Order uint8

// How two bodies are used.
const (
	InTurn       Order = iota // one photographer, view by view, mostly in one order
	AfterAnother              // the second once the first is done
	AtOnce                    // two photographers
)

// Written is who gave the files their modification times.
type Written uint8

// Who gave the files their modification times.
const (
	WrittenByNobody   Written = iota // none are known
	WrittenByCopy                    // one time for all
	WrittenByCameras                 // each camera on its card, by its own clock
	WrittenByComputer                // one computer, as each frame arrived
)

// Zones is which zones the bodies record.
type Zones uint8

// Which zones two bodies record.
const (
	NoZones    Zones = iota
	SameZone         // whatever their clocks show
	RightZones       // the clock of the second body was set for the zone that it records
	WrongZone        // the second body records another zone, and its clock is right
)

// Make makes up a shoot of two bodies, and returns by how much the clock of the second is
// ahead. The same seed makes the same shoot.
func (w TwoClocks) Make(seed uint64) (*Shoot, time.Duration) {
	r := rand.New(rand.NewPCG(seed, 0x636c6f636b73))
	s := &Shoot{Clean: true}
	start := time.Date(2026, 3, 4, 8+r.IntN(4), r.IntN(60), r.IntN(60), 0, time.UTC)
	var bodies [2]*randomBody
	for i := range bodies {
		b := &randomBody{
			r: r, shoot: s, model: fmt.Sprintf("BX-%d", 1+i), serial: fmt.Sprintf("3%d%05d", i, r.IntN(100000)), resolution: 10 * time.Millisecond,
			number: 1 + r.IntN(5000), folder: 100, pair: r.IntN(3), prefix: "BX1_", card: fmt.Sprintf("card%d/", i+1), now: start,
		}
		b.base()
		bodies[i] = b
	}
	runs := 8 + r.IntN(13)
	n := func() int { return 10 + r.IntN(30) }
	// move is the way from body to body, or to the next view.
	move := func() float64 { return math.Max(8, 40*math.Exp(0.8*r.NormFloat64())) }
	if w.Even {
		runs = 5 + r.IntN(4)
		n = func() int { return 25 }
		move = func() float64 { return bodies[0].between(85, 95) }
	}
	run := func(b *randomBody, i int) {
		c := b.offBeat(0.6, 2.5)
		b.held(shoot.Focus, shoot.Tripod, fmt.Sprintf("stack %d", i+1), b.stack(b.quick(b.look, c), n(), c, 0.02, walk{}))
		b.wait(seconds(b.look.t))
	}
	switch w.Order {
	case InTurn:
		habit := r.Float64() < 0.7 // the same body first in every view
		for i := range runs {
			order := r.Perm(2)
			if habit {
				order = []int{0, 1}
			}
			for _, k := range order {
				run(bodies[k], i)
				bodies[k].wait(move())
				bodies[1-k].now = bodies[k].now
			}
		}
	case AfterAnother:
		for k, b := range bodies {
			for i := range runs {
				run(b, i)
				b.wait(move())
			}
			if k == 0 {
				bodies[1].now = b.now
			}
		}
	case AtOnce:
		for _, b := range bodies {
			for i := range runs {
				run(b, i)
				b.wait(move())
			}
		}
	}
	ahead := w.ahead(r)
	w.stamp(s, ahead, r)
	return s, ahead
}

// ahead draws by how much the second clock is off.
func (w TwoClocks) ahead(r *rand.Rand) time.Duration {
	if !w.Apart {
		return time.Duration(r.IntN(61)-30) * time.Second
	}
	quarters := []int{4, -4, 8, 24, 36, -20, 1, 2}[r.IntN(8)]
	ahead := time.Duration(quarters)*15*time.Minute + time.Duration(r.IntN(61)-30)*time.Second
	if w.Odd {
		ahead += time.Duration(4+r.IntN(7)) * time.Minute
	}
	if w.Zones == RightZones {
		ahead = ahead.Round(15 * time.Minute)
	}
	return ahead
}

// stamp sets the clock of the second body, the zones and the modification times.
func (w TwoClocks) stamp(s *Shoot, ahead time.Duration, r *rand.Rand) {
	const home = time.Hour
	copied := time.Date(2026, 3, 4, 18, 0, 0, 0, time.UTC)
	wrong := time.Duration(1+r.IntN(9)) * time.Hour
	mounted := time.Duration(r.IntN(2)) * time.Hour // one file system keeps local time, another UTC
	for _, f := range s.Files {
		second := strings.HasPrefix(f.Path, "card2/")
		at, _ := f.Meta.Captured.Get()
		done := at.Wall.Add(time.Duration((f.Meta.ExposureTime.Or(exifread.Rational{Den: 1}).Float() + 0.3 + 1.2*r.Float64()) * float64(time.Second)))
		if second {
			at.Wall = at.Wall.Add(ahead)
		}
		switch zone := home; w.Zones {
		case SameZone:
			at.Offset = exifread.Of(zone)
		case RightZones:
			if second {
				zone += ahead
			}
			at.Offset = exifread.Of(zone)
		case WrongZone:
			if second {
				zone += wrong
			}
			at.Offset = exifread.Of(zone)
		}
		f.Meta.Captured = exifread.Of(at)
		switch w.Written {
		case WrittenByCopy:
			f.Meta.Modified = copied
		case WrittenByCameras:
			if second {
				done = done.Add(ahead + mounted)
			}
			f.Meta.Modified = done.Truncate(cardClock)
		case WrittenByComputer:
			f.Meta.Modified = done.Add(-home) // the computer knows UTC
		}
	}
	slices.SortStableFunc(s.Files, func(a, b *shoot.File) int { return strings.Compare(a.Path, b.Path) })
}
