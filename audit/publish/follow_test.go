package publish

import (
	"context"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"prestrike/audit/board"
	"prestrike/audit/publish/publishtest"
)

// What is heard of sets is what their watches published, of those that came before too;
// while the broker is away that is said, and then all is heard again.
func TestFollow(t *testing.T) {
	b := publishtest.Start(t, publishtest.Options{})
	first, end := publishing(t, b.Address, "table 1")
	second, endSecond := publishing(t, b.Address, "table 2")
	defer endSecond()
	first.Show(aState(board.Shooting, 27))
	var mu sync.Mutex
	sets, troubles := map[string]string{}, []string{}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() {
		done <- Follow(ctx, Options{Broker: at(b.Address)}, func(h Heard) {
			mu.Lock()
			defer mu.Unlock()
			sets[h.Set] = fmt.Sprint("nobody, lost: ", h.Lost)
			if h.State != nil {
				sets[h.Set] = h.State.Headline()
			}
		}, func(text string) {
			mu.Lock()
			defer mu.Unlock()
			troubles = append(troubles, text)
		})
	}()
	await := func(what string, met func() bool) {
		t.Helper()
		for range 3000 {
			mu.Lock()
			ok := met()
			mu.Unlock()
			if ok {
				return
			}
			time.Sleep(10 * time.Millisecond)
		}
		mu.Lock()
		defer mu.Unlock()
		t.Fatalf("%s does not come: %q, %q", what, sets, troubles)
	}
	await("the first set", func() bool { return sets["table 1"] == "shooting 27 of 50" })
	second.Show(aState(board.Stalled, 37))
	await("the second set", func() bool { return sets["table 2"] == "stalled at 37 of 50" })
	end()
	await("the end of the first", func() bool { return sets["table 1"] == "nobody, lost: false" })
	b.Kill()
	await("the trouble", func() bool { return len(troubles) > 0 && strings.Contains(troubles[len(troubles)-1], "broker") })
	second.Show(aState(board.Stalled, 38))
	b.Again(t)
	await("the second set", func() bool { return sets["table 2"] == "stalled at 38 of 50" && troubles[len(troubles)-1] == "" })
	cancel()
	if err := <-done; err != nil {
		t.Error(err)
	}
}

// What others publish below the prefix is passed over, whatever it holds.
func TestStrangeMessages(t *testing.T) {
	state := `{"version":1,"set":"a","state":"shooting","since":"2026-05-04T10:00:00Z","sequence":{"id":"1.1","frame_count":3}}`
	if h, ok := parse("studio", "studio/a/state", []byte(state)); !ok || h.Set != "a" || h.State == nil || h.State.Sequence.Frames != 3 {
		t.Fatalf("a state is passed over: %+v", h)
	}
	if h, ok := parse("studio", "studio/a/state", nil); !ok || h != (Heard{Set: "a", Removed: true}) {
		t.Errorf("an empty message is taken for %+v", h)
	}
	for what, m := range map[string][2]string{
		"another topic":         {"studio/a/closed", state},
		"a set of two levels":   {"studio/a/b/state", state},
		"no set":                {"studio//state", state},
		"no JSON":               {"studio/a/state", "on"},
		"a later version":       {"studio/a/state", strings.Replace(state, `"version":1`, `"version":2`, 1)},
		"no version":            {"studio/a/state", strings.Replace(state, `"version":1,`, "", 1)},
		"an unknown word":       {"studio/a/state", strings.Replace(state, "shooting", "dancing", 1)},
		"no sequence":           {"studio/a/state", `{"version":1,"state":"again","since":"2026-05-04T10:00:00Z"}`},
		"another type":          {"studio/a/state", `{"version":1,"state":"again","since":7}`},
		"an end that is none":   {"studio/a/state", `{"version":1,"state":"good"}`},
		"a message of 2 MB":     {"studio/a/state", state + strings.Repeat(" ", 2<<20)},
		"another type of state": {"studio/a/state", `{"version":1,"state":7}`},
	} {
		if h, ok := parse("studio", m[0], []byte(m[1])); ok {
			t.Errorf("%s is taken for %+v", what, h)
		}
	}
}

// FuzzParse holds that no message ends the program, and that what is shown of a state is
// there.
func FuzzParse(f *testing.F) {
	f.Add("studio/a/state", []byte(`{"version":1,"state":"stalled","since":"2026-05-04T10:00:00Z","sequence":{"id":"1.1"}}`))
	f.Add("studio/a/state", []byte(`{"version":1,"state":"lost"}`))
	f.Fuzz(func(t *testing.T, topic string, payload []byte) {
		h, ok := parse("studio", topic, payload)
		if ok && CheckSet(h.Set) != nil {
			t.Errorf("%q is a set", h.Set)
		}
		if ok && h.State != nil {
			_, _ = h.State.Headline(), h.State.Phase.String() // what a wall writes
		}
	})
}
