package main

import (
	"runtime/debug"
	"testing"
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
	for env, want := range map[string]int{"": 50, "300": before} {
		t.Setenv("GOGC", env)
		back := collectAt(50)
		if got := share(); got != want {
			t.Errorf("GOGC=%q: %d, want %d", env, got, want)
		}
		if back(); share() != before {
			t.Errorf("GOGC=%q: %d behind it, want %d", env, share(), before)
		}
	}
}
