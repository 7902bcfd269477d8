package tablet

import (
	"encoding/json"
	"fmt"
	"net/http"
	"strings"
	"testing"

	"prestrike/audit/board"
)

// A wall shows what needs somebody first, and what nobody watches.
func TestWall(t *testing.T) {
	w := NewWall(Access{Hosts: []string{hostHere}})
	state := func(phase board.Phase) *board.State {
		s := *anInspected()
		s.Phase = phase
		return &s
	}
	w.Show("b", state(board.Good))
	w.Show("a\u202e</script>", state(board.Shooting))
	w.Show("c", state(board.Again))
	w.Gone("d", false)
	w.Gone("e", true)
	w.Show("f", state(board.Stalled))
	var got struct {
		Sets  []shownSet
		Left  bool
		Needs int
	}
	read := func() {
		t.Helper()
		if err := json.Unmarshal(w.wire(), &got); err != nil {
			t.Fatal(err)
		}
	}
	read()
	var words []string
	for _, s := range got.Sets {
		words = append(words, s.Word+" "+s.Number)
	}
	if want := "no watch |again 1.4|stalled 37 of 50|shooting 37 of 50|good 1.4|ended "; strings.Join(words, "|") != want || got.Needs != 3 {
		t.Errorf("got %q, want %q", strings.Join(words, "|"), want)
	}
	if text := string(w.wire()); strings.Contains(text, "\u202e") || strings.Contains(text, "secret") || strings.Contains(text, "</script>") {
		t.Errorf("the wall holds %s", text)
	}
	for i := range 2 * MostSets {
		w.Show(fmt.Sprint("set ", i), state(board.Good))
	}
	read()
	if len(got.Sets) != MostSets || !got.Left {
		t.Errorf("%d sets, left out: %v", len(got.Sets), got.Left)
	}
	w.Remove("c")
	read()
	if len(got.Sets) != MostSets-1 || got.Needs != 2 {
		t.Errorf("%d sets, of which %d need somebody, after one was taken off", len(got.Sets), got.Needs)
	}
	h := w.guarded(w.mux("page/wall.html", "page/page.css", "page/wall.js", w.wire))
	if r := get(t, h, "/", nil); r.StatusCode != http.StatusOK || !strings.Contains(body(t, r), "All sets") {
		t.Errorf("the page: %s", r.Status)
	}
	if r := get(t, h, "/sequence/00", nil); r.StatusCode != http.StatusNotFound {
		t.Errorf("a sequence: %s", r.Status)
	}
	if r := get(t, h, "/", func(r *http.Request) { r.Host = "evil.test" }); r.StatusCode != http.StatusMisdirectedRequest {
		t.Errorf("rebinding: %s", r.Status)
	}
}

// Sets that need nobody stay where they are, by their names as people count.
func TestWallKeepsItsOrder(t *testing.T) {
	w := NewWall(Access{Hosts: []string{hostHere}})
	order := func() string {
		var got struct{ Sets []shownSet }
		if err := json.Unmarshal(w.wire(), &got); err != nil {
			t.Fatal(err)
		}
		var names []string
		for _, s := range got.Sets {
			names = append(names, s.Name)
		}
		return strings.Join(names, "|")
	}
	names := []string{"table 1", "table 2", "table 02b", "table 9", "table 10", "table 10 b", "window"}
	for i, phase := range []board.Phase{board.Shooting, board.Good, board.Idle, board.Good, board.Shooting, board.Idle, board.Good} {
		s := *anInspected()
		s.Phase = phase
		w.Show(names[i], &s)
	}
	want := strings.Join(names, "|")
	if got := order(); got != want {
		t.Errorf("the order is %s, want %s", got, want)
	}
	s := *anInspected()
	s.Phase = board.Shooting
	w.Show("table 9", &s)
	if got := order(); got != want {
		t.Errorf("after a frame the order is %s, want %s", got, want)
	}
}
