package main

import (
	"runtime/debug"
	"testing"
	"time"
)

// share is the percentage at which garbage is looked for.
func share() int {
	now := debug.SetGCPercent(100)
	debug.SetGCPercent(now)
	return now
}

// TestCollectAt: a watch keeps less garbage than a report while it runs, unless the
// environment decides it.
func TestCollectAt(t *testing.T) {
	before := share()
	for env, want := range map[string]int{"": 25, "300": before} {
		t.Setenv("GOGC", env)
		back := collectAt(25)
		if got := share(); got != want {
			t.Errorf("GOGC=%q: %d, want %d", env, got, want)
		}
		if back(); share() != before {
			t.Errorf("GOGC=%q: %d behind it, want %d", env, share(), before)
		}
	}
}

// TestRestingCollector: garbage is not looked for while a watch rests for long, until a good
// deal was added, and as before once something comes.
func TestRestingCollector(t *testing.T) {
	before, limit := share(), debug.SetMemoryLimit(-1)
	for _, c := range []struct {
		gogc, limit string
		rests       bool
	}{{"", "", true}, {"100", "", false}, {"", "1GiB", false}} {
		t.Setenv("GOGC", c.gogc)
		t.Setenv("GOMEMLIMIT", c.limit)
		var r restingCollector
		at := time.Unix(1000, 0)
		r.rests(true, at)
		r.rests(true, at.Add(restAfter-1))
		if share() != before {
			t.Errorf("%+v: off after a short rest", c)
		}
		r.rests(true, at.Add(restAfter))
		now := debug.SetMemoryLimit(-1)
		if off := share() < 0; off != c.rests || off != (now < limit) {
			t.Errorf("%+v: off %t, memory limit %d", c, off, now)
		}
		r.rests(false, at.Add(restAfter))
		if share() != before || debug.SetMemoryLimit(-1) != limit {
			t.Errorf("%+v: %d %% and %d bytes behind it, want %d and %d", c, share(), debug.SetMemoryLimit(-1), before, limit)
		}
		r.rests(true, at.Add(restAfter))
		if share() != before {
			t.Errorf("%+v: a rest goes on behind what came", c)
		}
	}
}
