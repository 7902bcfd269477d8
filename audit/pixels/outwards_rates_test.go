package pixels_test

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"prestrike/audit/pixels"
	"prestrike/audit/pixels/pixelstest"
)

// inTurn puts the shots of a run in the order of a camera that goes outwards from the
// middle, on both sides in turn.
func inTurn(s []pixelstest.Shot) []pixelstest.Shot {
	middle := (len(s) - 1) / 2
	out := []pixelstest.Shot{s[middle]}
	for k := 1; len(out) < len(s); k++ {
		if middle-k >= 0 {
			out = append(out, s[middle-k])
		}
		if middle+k < len(s) {
			out = append(out, s[middle+k])
		}
	}
	return out
}

// oneSideFirst puts the shots in the order of a camera that goes from one of them to the
// first, and then to the last.
func oneSideFirst(s []pixelstest.Shot, from int) []pixelstest.Shot {
	out := []pixelstest.Shot{s[from]}
	for k := from - 1; k >= 0; k-- {
		out = append(out, s[k])
	}
	return append(out, s[from+1:]...)
}

// TestOutwardRates counts on rendered runs how often the orders of cameras that go
// outwards are seen, and how often a check is raised on one without a fault; and that no
// faulty run is taken for one. The figures in DEVELOPERS.md are those of
//
//	go test ./audit/pixels -run OutwardRates -v -seeds 12 -first 1701 -timeout 60m
func TestOutwardRates(t *testing.T) {
	overManyScenes(t) // TestPicturesOfOutwards in rules asks of one
	ta := &tally{rows: map[string]*row{}}
	for i := range *seedCount {
		seed := *seedFirst + 2*uint64(i)
		d := pixelstest.Random(seed)
		st := newStudio(d.Build())
		shots := d.Shots()
		n := len(shots)
		rng := rand.New(rand.NewPCG(seed, 9))
		for _, c := range []struct {
			name   string
			shots  []pixelstest.Shot
			faulty bool // a check may be right
		}{
			{"in turn", inTurn(shots), false},
			{"in turn, a frame lost", pixelstest.Missing(inTurn(shots), n/2, 1), true},
			{"one side first", oneSideFirst(shots, n/2), false},
			{"one side first, from a third", oneSideFirst(shots, n/3), false},
		} {
			j := st.judge(c.shots)
			ta.count("B "+c.name+" | seen", pixels.Fine, j.Habit.Outwards != nil)
			check := false
			for _, v := range []pixels.Verdict{j.Order.Verdict, j.Stalls.Verdict, j.Moved.Verdict, j.Dark.Verdict, j.Brightness.Verdict, j.Bands.Verdict} {
				check = check || v.Answer == pixels.Found
			}
			for _, e := range []pixels.Edge{j.First, j.Last} {
				check = check || e.Answer == pixels.Found && e.Share >= 0.1
			}
			held := "A "
			if c.faulty {
				held = "C "
			}
			ta.count(held+c.name+" | a check", pixels.Fine, check)
			ta.count("A "+c.name+" | focus taken to stand", pixels.Fine, j.Walk.Answer == pixels.Fine)
			if check {
				ta.note("seed %d: %s: %s", seed, c.name, summary(j))
			}
		}
		for _, c := range []struct {
			name  string
			shots []pixelstest.Shot
		}{
			{"clean", shots},
			{"a frame lost", pixelstest.Missing(shots, 4+rng.IntN(n-8), 1)},
			{"two swapped", pixelstest.Swap(shots, 4+rng.IntN(n-8))},
			{"starts over", pixelstest.Restart(shots, n/2+rng.IntN(n/3))},
			{"starts over for six frames", pixelstest.Restart(shots, n-6)},
			{"turns back for good", pixelstest.Turn(shots, n/2+rng.IntN(n/4), n)},
			{"turns back for eight frames", pixelstest.Turn(shots, n/3, 8)},
			{"stands", pixelstest.Stall(shots, n/2, 3, true)},
		} {
			j := st.judge(c.shots)
			seen := j.Habit.Outwards != nil
			ta.count("A other runs | taken for outwards", pixels.Fine, seen)
			if seen {
				t.Errorf("seed %d: %s is taken for a run made outwards", seed, c.name)
			}
		}
		moved := st.judge(pixelstest.Bump(inTurn(shots), n/2, n, 3, 0))
		hit := false
		for _, e := range moved.Moved.Events {
			hit = hit || e.To == n/2
		}
		ta.fault(fmt.Sprintf("seed %d", seed), "in turn, knocked by 3 px | located", moved.Moved.Verdict, hit, moved)
	}
	if *showAll {
		for _, n := range ta.notes {
			t.Log(n)
		}
	}
	t.Logf("\n%s", ta)
	for name, r := range ta.rows {
		if lo, hi := wilson(r.found, r.runs-r.cannot); name[0] == 'B' && hi < 0.75 || name[0] == 'A' && lo > 0.1 {
			t.Errorf("%s: %d of %d", name, r.found, r.runs-r.cannot)
		}
	}
}
