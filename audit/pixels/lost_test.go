package pixels

import (
	"math"
	"math/rand/v2"
	"testing"
)

// shows gives the frames of a story tiles, with texture and a little noise; frame k shows what
// the number of its picture does.
func (s *story) shows(tiles int, picture func(k int) int) {
	rng := rand.New(rand.NewPCG(10, 3))
	for k := range s.frames {
		s.frames[k].tiles = make([]tile, tiles)
		for t := range s.frames[k].tiles {
			texture := 30 * math.Sin(float64(1+t*t*(7+picture(k))))
			noise := rng.NormFloat64()
			s.frames[k].tiles[t] = tile{energy: 10, luma: float32(100 + texture + noise)}
		}
	}
}

// TestMovedLost: a link that cannot be followed is a picture lost where the tiles show
// another picture behind it.
func TestMovedLost(t *testing.T) {
	for _, c := range []struct {
		name  string
		tiles int
		lost  bool
	}{
		{"another picture", 400, true},
		{"the same", 400, false},
		{"another, of few tiles", 10, false},
	} {
		s := tell(20)
		s.links[9].motion = Motion{Gain: 1, Unexplained: 1}
		s.shows(c.tiles, func(k int) int {
			if k >= 10 && c.name != "the same" {
				return 1
			}
			return 0
		})
		m := s.evidence().askMoved(walks, Order{})
		if lost := len(m.Events) == 1 && m.Events[0].Lost && m.Events[0].Lasting && m.Events[0].To == 10; lost != c.lost || len(m.Unmatched) != 1 {
			t.Errorf("%s: %+v, unmatched %v", c.name, m.Events, m.Unmatched)
		}
		for i := range s.links { // blurred all over: nothing is clear
			s.links[i].motion.Unexplained = 0.1
		}
		if m := s.evidence().askMoved(walks, Order{}); m.Answer == Found {
			t.Errorf("%s, among blurred ones: %+v", c.name, m.Events)
		}
	}
}

// TestMovedLostForOneFrame: a frame that matches neither neighbour is lost where its tiles show
// another picture; where they show the same, or are too few, it is not known whether it moved.
func TestMovedLostForOneFrame(t *testing.T) {
	const at = 10
	for _, c := range []struct {
		name    string
		tiles   int
		picture int
		lost    bool
	}{
		{"another picture", 400, 1, true},
		{"the same", 400, 0, false},
		{"another, of few tiles", 10, 1, false},
	} {
		s := tell(20)
		s.frames[at].odd, s.strange[at] = true, true
		s.links[at-1].to = at + 1
		s.links = append(s.links[:at], s.links[at+1:]...)
		s.shows(c.tiles, func(k int) int {
			if k == at {
				return c.picture
			}
			return 0
		})
		m := s.evidence().askMoved(walks, Order{})
		lost := len(m.Events) == 1 && m.Events[0].Lost && !m.Events[0].Lasting && m.Events[0].To == at
		unknown := len(m.Unmatched) == 1 && m.Unmatched[0] == at
		if lost != c.lost || unknown == c.lost {
			t.Errorf("%s: %v %+v, unmatched %v", c.name, m.Answer, m.Events, m.Unmatched)
		}
	}
}
