package pixels

import "testing"

// TestPairs: two frames at every position are a habit where every other link
// changes less than all the rest, by enough and over enough links.
func TestPairs(t *testing.T) {
	pairs := func(n, first int, still float64) *story {
		s := tell(n)
		for i := range s.links {
			if i%2 == first {
				s.links[i].change = still
			}
		}
		return s
	}
	odd := pairs(12, 0, 0.45)
	odd.links[4].change = 1.2 // focus moves within what would be a pair
	copies := pairs(12, 0, 0.45)
	copies.links[4].same = true
	for _, c := range []struct {
		name string
		s    *story
		w    Walk
		want bool
	}{
		{"pairs", pairs(12, 0, 0.45), walks, true},
		{"a single frame before the first pair", pairs(13, 1, 0.45), walks, true},
		{"too few", pairs(11, 0, 0.45), walks, false},
		{"hardly less", pairs(12, 0, 0.75), walks, false},
		{"even steps", tell(12), walks, false},
		{"one step within a pair", odd, walks, false},
		{"a copied file", copies, walks, false},
		{"focus stands", pairs(12, 0, 0.45), stands, false},
	} {
		if got := c.s.evidence().pairs(c.w); got != c.want {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
	c := bells(24, 2)
	one, two := tell(24).evidence().askStep(walks, c, Habit{}), tell(24).evidence().askStep(walks, c, Habit{Pairs: true})
	if two.Blur < 1.9*one.Blur {
		t.Errorf("blur of %v px a frame, %v a position; want twice as much", one.Blur, two.Blur)
	}
}
