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
		Sets []shownSet
		Left int
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
	if want := "no watch |again 1.4|stalled 37 of 50|shooting 37 of 50|good 1.4|ended "; strings.Join(words, "|") != want {
		t.Errorf("got %q, want %q", strings.Join(words, "|"), want)
	}
	if text := string(w.wire()); strings.Contains(text, "\u202e") || strings.Contains(text, "secret") || strings.Contains(text, "</script>") {
		t.Errorf("the wall holds %s", text)
	}
	for i := range 2 * MostSets {
		w.Show(fmt.Sprint("set ", i), state(board.Good))
	}
	read()
	if len(got.Sets) != MostSets || got.Left == 0 {
		t.Errorf("%d sets, %d left out", len(got.Sets), got.Left)
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
