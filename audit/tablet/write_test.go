package tablet

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"sync/atomic"
	"testing"

	"prestrike/audit/report"
)

// fakeWriter takes in every declaration.
type fakeWriter struct {
	mu       sync.Mutex
	declared []Declaration
	back     int
	fail     error
	wait     chan struct{} // what is declared waits for it; nil for nothing
	atOnce   atomic.Int32
	most     int32
}

func (f *fakeWriter) Choices(key string) (*Choices, error) {
	if f.fail == report.ErrGone {
		return nil, f.fail
	}
	return &Choices{
		Edition: "e1", ID: "1.4", Title: "1.4 focus \x1b[2J", View: "front",
		Open:  []OpenFinding{{"dark-frame", "Dark frame", "0009 is dark", "reshoot"}},
		Later: []LaterSequence{{"/secret/DCIM/BX1_0100.JPG", "1.5", "1.5 focus"}},
		Views: []ListedView{{"front", "1.4"}, {"back\u202e", ""}},
	}, nil
}

func (f *fakeWriter) Declare(ctx context.Context, d *Declaration) (string, error) {
	now := f.atOnce.Add(1)
	defer f.atOnce.Add(-1)
	f.mu.Lock()
	f.most = max(f.most, now)
	f.declared = append(f.declared, *d)
	f.mu.Unlock()
	if f.wait != nil {
		select {
		case <-f.wait:
		case <-ctx.Done():
			return "", ctx.Err()
		}
	}
	return "written \x07", f.fail
}

func (f *fakeWriter) TakeBack(context.Context, string) (string, error) {
	f.back++
	return "taken back", f.fail
}

func newWriteServer(token string) (*Server, *fakeWriter) {
	f := &fakeWriter{}
	s := New(Options{Access: Access{Hosts: []string{hostHere}, Token: token}, Gallery: fakeGallery{}, Writer: f})
	s.Stand(Standing{Edition: "e1", Undo: "1.3 is meant\x07"})
	s.Show(anInspected())
	return s, f
}

const openKey = "/secret/DCIM/BX1_0002.JPG"

// post sends what the page itself sends, changed.
func post(t *testing.T, s *Server, path, body string, change func(*http.Request)) *http.Response {
	t.Helper()
	r := httptest.NewRequest(http.MethodPost, "http://"+hostHere+path, strings.NewReader(body))
	r.Header.Set("Content-Type", "application/json")
	r.Header.Set("Origin", "http://"+hostHere)
	r.Header.Set("Sec-Fetch-Site", "same-origin")
	r.AddCookie(&http.Cookie{Name: s.cookieName, Value: s.cookie})
	if change != nil {
		change(r)
	}
	w := httptest.NewRecorder()
	s.Handler().ServeHTTP(w, r)
	return w.Result()
}

const meantBody = `{"edition":"e1","id":"1.4","kind":"meant","rules":["dark-frame"],"reason":"the light fades on purpose"}`

// Nobody but the page itself, opened by the link of a watch with --page-write, changes
// anything.
func TestStrangersWriteNothing(t *testing.T) {
	s, f := newWriteServer(token)
	at := "/declare/" + s.name("sequence", openKey)
	if r := post(t, s, at, meantBody, nil); r.StatusCode != http.StatusOK || len(f.declared) != 1 {
		t.Fatalf("the page itself: %s, %s", r.Status, body(t, r))
	}
	f.declared = nil
	set := func(pairs ...string) func(*http.Request) {
		return func(r *http.Request) {
			for i := 0; i < len(pairs); i += 2 {
				if r.Header.Del(pairs[i]); pairs[i+1] != "" {
					r.Header.Set(pairs[i], pairs[i+1])
				}
			}
		}
	}
	cookie := func(value string) func(*http.Request) {
		return func(r *http.Request) {
			r.Header.Del("Cookie")
			if value != "" {
				r.AddCookie(&http.Cookie{Name: s.cookieName, Value: value})
			}
		}
	}
	for _, c := range []struct {
		what   string
		change func(*http.Request)
		code   int
	}{
		{"a form of another site", set("Origin", "http://evil.test", "Sec-Fetch-Site", "cross-site", "Content-Type", "text/plain"), http.StatusForbidden},
		{"a script of another site", set("Origin", "http://evil.test", "Sec-Fetch-Site", "cross-site"), http.StatusForbidden},
		{"another site, an older browser", set("Origin", "http://evil.test", "Sec-Fetch-Site", ""), http.StatusForbidden},
		{"another port of this host", set("Origin", "http://set.test:9000", "Sec-Fetch-Site", "same-site"), http.StatusForbidden},
		{"no origin in words", set("Origin", "null", "Sec-Fetch-Site", ""), http.StatusForbidden},
		{"the address bar", set("Sec-Fetch-Site", "none"), http.StatusForbidden},
		{"no browser", set("Origin", "", "Sec-Fetch-Site", ""), http.StatusForbidden},
		{"an origin that is its own, from elsewhere", set("Sec-Fetch-Site", "cross-site", "Sec-Fetch-Mode", "navigate", "Sec-Fetch-Dest", "document"), http.StatusForbidden},
		{"rebinding", func(r *http.Request) {
			r.Host = "evil.test:8140"
			r.Header.Set("Origin", "http://evil.test:8140")
		}, http.StatusMisdirectedRequest},
		{"no cookie", cookie(""), http.StatusForbidden},
		{"a wrong cookie", cookie(strings.Repeat("0", len(s.cookie))), http.StatusForbidden},
		{"the token in place of the cookie", cookie(token), http.StatusForbidden},
		{"the token in the path", func(r *http.Request) {
			cookie("")(r)
			r.URL.RawQuery = "key=" + token
		}, http.StatusForbidden},
		{"a form of its own", set("Content-Type", "application/x-www-form-urlencoded"), http.StatusUnsupportedMediaType},
		{"no type", set("Content-Type", ""), http.StatusUnsupportedMediaType},
		{"another method", func(r *http.Request) { r.Method = http.MethodPut }, http.StatusMethodNotAllowed},
		{"reading", func(r *http.Request) { r.Method = http.MethodGet }, http.StatusNotFound},
		{"another path", func(r *http.Request) { r.URL.Path = "/" }, http.StatusMethodNotAllowed},
		{"the events", func(r *http.Request) { r.URL.Path = "/events" }, http.StatusMethodNotAllowed},
	} {
		for _, path := range []string{at, "/take-back"} {
			r := post(t, s, path, meantBody, c.change)
			text := body(t, r)
			if r.StatusCode != c.code || strings.Contains(text, "secret") || len(text) > 120 || len(r.Cookies()) > 0 {
				t.Errorf("%s at %s: %s, %q, want %d", c.what, path, r.Status, text, c.code)
			}
		}
	}
	if len(f.declared) > 0 || f.back > 0 {
		t.Errorf("strangers declared %+v, and took back %d", f.declared, f.back)
	}
}

// A page for reading takes in nothing, and shows nothing of it.
func TestPageForReadingWritesNothing(t *testing.T) {
	s := newTestServer(token)
	s.Show(anInspected())
	for _, path := range []string{"/declare/" + s.name("sequence", openKey), "/take-back"} {
		if r := post(t, s, path, meantBody, nil); r.StatusCode != http.StatusMethodNotAllowed {
			t.Errorf("%s: %s", path, r.Status)
		}
	}
	known := func(r *http.Request) { r.AddCookie(&http.Cookie{Name: s.cookieName, Value: s.cookie}) }
	if r := get(t, s.Handler(), "/choices/"+s.name("sequence", openKey), known); r.StatusCode != http.StatusNotFound {
		t.Errorf("choices: %s", r.Status)
	}
	if text := string(s.wire()); !strings.Contains(text, `"write":null`) {
		t.Errorf("the state holds what may be written: %s", text)
	}
	if wall := NewWall(Access{Hosts: []string{hostHere}}); wall.access.Writes {
		t.Error("the page over many sets writes")
	}
}

// What a page declares is bounded and of one line of visible text; what it names is looked
// up among what it was shown, and never a path.
func TestDeclarationsAreBounded(t *testing.T) {
	s, f := newWriteServer("")
	at := "/declare/" + s.name("sequence", openKey)
	long := strings.Repeat("ä", 200)
	later := s.name("sequence", "/secret/DCIM/BX1_0100.JPG")
	said := func(fields string) string { return `{"edition":"e1","id":"1.4",` + fields + `}` }
	reason := func(text string) string {
		quoted, err := json.Marshal(text)
		if err != nil {
			t.Fatal(err)
		}
		return said(`"kind":"meant","rules":["dark-frame"],"reason":` + string(quoted))
	}
	for _, c := range []struct {
		what, path, body string
		code             int
		text             string // of an outcome
		want             *Declaration
	}{
		{what: "quotes and a table", body: reason(`"]` + "' [rule.iso-drift] off = true # \\"), want: &Declaration{Kind: Meant, Rules: []string{"dark-frame"}, Reason: `"]` + "' [rule.iso-drift] off = true # \\"}},
		{what: "as long as allowed", body: reason(" " + long + " "), want: &Declaration{Kind: Meant, Rules: []string{"dark-frame"}, Reason: long}},
		{what: "a letter more", body: reason(long + "a"), text: "in one line"},
		{what: "a line break", body: reason("a\nb"), text: "in one line"},
		{what: "a control character", body: reason("a\x1b[2Jb"), text: "in one line"},
		{what: "a bell", body: reason("a\x07b"), text: "in one line"},
		{what: "zero", body: reason("a\x00b"), text: "in one line"},
		{what: "another direction", body: reason("a\u202eb"), text: "in one line"},
		{what: "a line separator", body: reason("a\u2028b"), text: "in one line"},
		{what: "bytes that are no text", body: said(`"kind":"meant","rules":["dark-frame"],"reason":"` + "\xff" + `"`), code: http.StatusBadRequest},
		{what: "blanks", body: reason(" \t "), text: "Write the reason"},
		{what: "no rule", body: said(`"kind":"meant","rules":[],"reason":"meant"`), text: "Choose what is meant"},
		{what: "too many rules", body: said(`"kind":"meant","reason":"r","rules":["a"` + strings.Repeat(`,"a"`, 32) + `]`), text: "in one line"},
		{what: "shot again", body: said(`"kind":"shot-again","by":"` + later + `","by_id":"1.5"`), want: &Declaration{Kind: ShotAgain, ByKey: "/secret/DCIM/BX1_0100.JPG", ByID: "1.5"}},
		{what: "shot again by a path", body: said(`"kind":"shot-again","by":"/secret/DCIM/BX1_0100.JPG","by_id":"1.5"`), text: "check the page, then try again"},
		{what: "shot again by nothing", body: said(`"kind":"shot-again"`), text: "Choose the sequence"},
		{what: "a view", body: said(`"kind":"view","view":" hinge, \"inside\" "`), want: &Declaration{Kind: NamesView, View: `hinge, "inside"`}},
		{what: "no view", body: said(`"kind":"view","view":""`), text: "Choose a view"},
		{what: "a view over lines", body: said(`"kind":"view","view":"a\nb"`), text: "in one line"},
		{what: "another kind", body: said(`"kind":"delete"`), text: "cannot be declared"},
		{what: "another sequence", path: "/declare/" + strings.Repeat("0", 32), body: meantBody, text: "check the page, then try again"},
		{what: "a path", path: "/declare/..%2f..%2fetc%2fpasswd", body: meantBody, text: "check the page, then try again"},
		{what: "too much", body: reason(strings.Repeat("a", mostBody)), code: http.StatusRequestEntityTooLarge},
		{what: "half of it", body: meantBody[:40], code: http.StatusBadRequest},
		{what: "two of it", body: meantBody + meantBody, code: http.StatusBadRequest},
		{what: "a list", body: "[]", code: http.StatusBadRequest},
		{what: "nothing", body: "", code: http.StatusBadRequest},
		{what: "deep", body: strings.Repeat("[", mostBody), code: http.StatusBadRequest},
	} {
		f.declared = nil
		path := c.path
		if path == "" {
			path = at
		}
		r := post(t, s, path, c.body, nil)
		text := body(t, r)
		if c.code != 0 {
			if r.StatusCode != c.code || len(f.declared) > 0 {
				t.Errorf("%s: %s, %q, want %d", c.what, r.Status, text, c.code)
			}
			continue
		}
		var got outcome
		if err := json.Unmarshal([]byte(text), &got); err != nil || r.StatusCode != http.StatusOK || got.Done != (c.want != nil) || !strings.Contains(got.Text, c.text) || strings.Contains(text, "secret") {
			t.Errorf("%s: %s, %q, %v; want %q", c.what, r.Status, text, err, c.text)
		}
		if c.want == nil {
			if len(f.declared) > 0 {
				t.Errorf("%s: declared %+v", c.what, f.declared)
			}
			continue
		}
		c.want.Edition, c.want.Key, c.want.ID = "e1", openKey, "1.4"
		if len(f.declared) != 1 || fmt.Sprint(f.declared[0]) != fmt.Sprint(*c.want) {
			t.Errorf("%s: declared %+v, want %+v", c.what, f.declared, *c.want)
		}
		if got.Text != `Written \a.` {
			t.Errorf("%s: the page is told %q", c.what, got.Text)
		}
	}
}

// What a page is told of the choices and of errors holds no path, and what could steer it is
// escaped.
func TestChoicesHoldNoPath(t *testing.T) {
	s, f := newWriteServer("")
	at := s.name("sequence", openKey)
	r := get(t, s.Handler(), "/choices/"+at, nil)
	text := body(t, r)
	var got shownChoices
	if err := json.Unmarshal([]byte(text), &got); err != nil {
		t.Fatal(err)
	}
	if strings.Contains(text, "secret") || got.Title != `1.4 focus \x1b[2J` || got.Views[1].Shown != `back\u202e` || got.Later[0].Sequence != s.name("sequence", "/secret/DCIM/BX1_0100.JPG") || got.Open[0].Rule != "dark-frame" {
		t.Errorf("the page is told %s", text)
	}
	if text := string(s.wire()); !strings.Contains(text, `"write":{"edition":"e1","undo":"1.3 is meant\\a"}`) {
		t.Errorf("the state holds %s", text)
	}
	for err, want := range map[error]string{
		errors.New("open /secret/prestrike.toml: no such file"): "the terminal of the watch shows why",
		Refusal("prestrike.toml cannot be written"):             "Prestrike.toml cannot be written.",
		context.DeadlineExceeded:                                "try again",
	} {
		f.fail = err
		for _, path := range []string{"/declare/" + at, "/take-back"} {
			r := post(t, s, path, meantBody, nil)
			if text := body(t, r); r.StatusCode != http.StatusOK || !strings.Contains(text, want) || strings.Contains(text, "secret") || !strings.Contains(text, `"done":false`) {
				t.Errorf("%v at %s: %s, %q", err, path, r.Status, text)
			}
		}
	}
	f.fail = report.ErrGone
	if r := get(t, s.Handler(), "/choices/"+at, nil); r.StatusCode != http.StatusNotFound {
		t.Errorf("a sequence that is gone: %s", r.Status)
	}
	if r := post(t, s, "/declare/"+at, meantBody, nil); !strings.Contains(body(t, r), "check the page, then try again") {
		t.Errorf("a sequence that is gone: %s", r.Status)
	}
}

// Of a thousand requests at once a few wait for the watch; the others are told to come again.
func TestManyWritersAtOnce(t *testing.T) {
	s, f := newWriteServer("")
	f.wait = make(chan struct{})
	h := s.Handler()
	var codes sync.Map
	var group sync.WaitGroup
	for range 1000 {
		group.Go(func() {
			r := httptest.NewRequest(http.MethodPost, "http://"+hostHere+"/declare/"+s.name("sequence", openKey), strings.NewReader(meantBody))
			r.Header.Set("Content-Type", "application/json")
			r.Header.Set("Origin", "http://"+hostHere)
			w := httptest.NewRecorder()
			h.ServeHTTP(w, r)
			n, _ := codes.LoadOrStore(w.Code, new(atomic.Int32))
			if n.(*atomic.Int32).Add(1); w.Code == http.StatusServiceUnavailable && w.Header().Get("Retry-After") == "" {
				t.Error("no word of when to come again")
			}
		})
	}
	for f.atOnce.Load() < mostAtOnce {
		if r := post(t, s, "/take-back", "{", nil); r.StatusCode != http.StatusBadRequest {
			t.Errorf("meanwhile: %s", r.Status)
		}
	}
	close(f.wait)
	group.Wait()
	sum := int32(0)
	codes.Range(func(code, n any) bool {
		if code != http.StatusOK && code != http.StatusServiceUnavailable {
			t.Errorf("%v answers of %v", n, code)
		}
		sum += n.(*atomic.Int32).Load()
		return true
	})
	if sum != 1000 || f.most > mostAtOnce {
		t.Errorf("%d answers, %d at once", sum, f.most)
	}
	if r := post(t, s, "/take-back", `{"edition":"e1"}`, nil); r.StatusCode != http.StatusOK || f.back != 1 {
		t.Errorf("afterwards: %s", r.Status)
	}
}

// A page that sends its declaration slowly, or never, holds up nobody.
func TestSlowWriterHoldsNobody(t *testing.T) {
	s, f := newWriteServer("")
	read, write := io.Pipe()
	ended := make(chan int, 1)
	go func() {
		r := httptest.NewRequest(http.MethodPost, "http://"+hostHere+"/declare/"+s.name("sequence", openKey), read)
		r.Header.Set("Content-Type", "application/json")
		r.Header.Set("Origin", "http://"+hostHere)
		w := httptest.NewRecorder()
		s.Handler().ServeHTTP(w, r)
		ended <- w.Code
	}()
	if _, err := write.Write([]byte(meantBody[:30])); err != nil {
		t.Fatal(err)
	}
	for range 2 * mostAtOnce {
		if r := post(t, s, "/take-back", `{"edition":"e1"}`, nil); r.StatusCode != http.StatusOK {
			t.Errorf("meanwhile: %s", r.Status)
		}
	}
	_ = write.CloseWithError(io.ErrUnexpectedEOF)
	if code := <-ended; code != http.StatusBadRequest || len(f.declared) > 0 {
		t.Errorf("half a declaration: %d, %+v", code, f.declared)
	}
}
