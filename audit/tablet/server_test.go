package tablet

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"runtime"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"prestrike/audit/board"
	"prestrike/audit/report"
)

const (
	hostHere = "set.test:8140"
	token    = "TESTKEY"
)

// fakeGallery makes pictures that name what they are of.
type fakeGallery struct{ fail error }

func (g fakeGallery) picture(of string) (*report.Picture, error) {
	return &report.Picture{Type: "image/jpeg", Data: []byte(of), Width: 3, Height: 2}, nil
}

func (g fakeGallery) Newest(path string) (*report.Picture, error) { return g.picture("newest " + path) }

func (g fakeGallery) Deciding(key, rule string) (*report.Picture, error) {
	return g.picture(key + " " + rule)
}

func (g fakeGallery) Closed(key string) (*report.Picture, error) { return g.picture("closed " + key) }

func (g fakeGallery) WriteSequence(_ context.Context, w io.Writer, key string) error {
	if g.fail != nil {
		return g.fail
	}
	_, err := io.WriteString(w, "sequence "+key)
	return err
}

func newTestServer(token string) *Server {
	return New(Options{Access: Access{Hosts: []string{hostHere}, Token: token}, Gallery: fakeGallery{}})
}

// anInspected is a state with everything in it.
func anInspected() *board.State {
	now := time.Date(2026, 5, 4, 10, 0, 0, 0, time.UTC)
	q := board.Sequence{Key: "/secret/DCIM/BX1_0002.JPG", ID: "1.4", Kind: "focus", Verdict: "reshoot", Frames: 37, Expected: 50, Open: true}
	return &board.State{
		Phase: board.Again, Since: now, At: now, Sequence: &q, Do: "shoot the whole sequence again", Again: []string{"1.4"},
		Findings: []board.Finding{
			{Sequence: "1.3", Key: "/secret/DCIM/BX1_0001.JPG", Rule: "iso-drift", Title: "ISO changed", Severity: "check", Message: "ISO 100 to 200"},
			{Sequence: "1.4", Key: q.Key, Rule: "soft-frame", Title: "Soft frame", Severity: "check", Message: "0007 is soft"},
			{Sequence: "1.4", Key: q.Key, Rule: "dark-frame", Title: "Dark frame", Severity: "reshoot", Message: "0009 is dark", Action: "shoot it again", Frames: []string{"/secret/DCIM/BX1_0009.JPG"}},
		},
		Closed: []board.Closed{{Sequence: board.Sequence{Key: "/secret/DCIM/BX1_0001.JPG", ID: "1.3", Kind: "focus", View: "front", Verdict: "good", Frames: 40}, First: "0001", Last: "0040", At: now}},
		Views:  "3 of 9 views shot; missing: back", Last: &board.Frame{Path: "/secret/DCIM/BX1_0038.JPG", Came: now}, Gone: []string{},
	}
}

func get(t *testing.T, h http.Handler, path string, change func(*http.Request)) *http.Response {
	t.Helper()
	r := httptest.NewRequest(http.MethodGet, "http://"+hostHere+path, nil)
	if change != nil {
		change(r)
	}
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w.Result()
}

func body(t *testing.T, r *http.Response) string {
	t.Helper()
	text, err := io.ReadAll(r.Body)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// Whatever a page of another site, another name of this computer or a stranger on the
// network sends is refused, and the answer says nothing of the machine.
func TestStrangersAreRefused(t *testing.T) {
	s := newTestServer(token)
	s.Show(anInspected())
	h := s.Handler()
	known := func(r *http.Request) { r.AddCookie(&http.Cookie{Name: s.cookieName, Value: s.cookie}) }
	if r := get(t, h, "/", known); r.StatusCode != http.StatusOK {
		t.Fatalf("the page itself: %s", r.Status)
	}
	header := func(pairs ...string) func(*http.Request) {
		return func(r *http.Request) {
			known(r)
			for i := 0; i < len(pairs); i += 2 {
				r.Header.Set(pairs[i], pairs[i+1])
			}
		}
	}
	name := s.name("sequence", "/secret/DCIM/BX1_0002.JPG")
	for _, c := range []struct {
		what, path string
		change     func(*http.Request)
		code       int
	}{
		{"no cookie", "/", nil, http.StatusForbidden},
		{"a wrong key", "/?key=TESTKEZ", nil, http.StatusForbidden},
		{"an empty key", "/?key=", nil, http.StatusForbidden},
		{"a key for another page", "/events?key=" + token, nil, http.StatusForbidden},
		{"a wrong cookie", "/", func(r *http.Request) {
			r.AddCookie(&http.Cookie{Name: s.cookieName, Value: strings.Repeat("0", len(s.cookie))})
		}, http.StatusForbidden},
		{"rebinding", "/events", func(r *http.Request) { known(r); r.Host = "evil.test:8140" }, http.StatusMisdirectedRequest},
		{"another port", "/events", func(r *http.Request) { known(r); r.Host = "set.test" }, http.StatusMisdirectedRequest},
		{"no host", "/events", func(r *http.Request) { known(r); r.Host = "" }, http.StatusMisdirectedRequest},
		{"another origin", "/events", header("Origin", "http://evil.test"), http.StatusForbidden},
		{"no origin in words", "/events", header("Origin", "null"), http.StatusForbidden},
		{"another site", "/events", header("Sec-Fetch-Site", "cross-site", "Sec-Fetch-Mode", "cors"), http.StatusForbidden},
		{"another port's site", "/events", header("Sec-Fetch-Site", "same-site"), http.StatusForbidden},
		{"in a frame of another site", "/", header("Sec-Fetch-Site", "cross-site", "Sec-Fetch-Mode", "navigate", "Sec-Fetch-Dest", "iframe"), http.StatusForbidden},
		{"a picture on another site", "/picture/" + name, header("Sec-Fetch-Site", "cross-site", "Sec-Fetch-Mode", "no-cors", "Sec-Fetch-Dest", "image"), http.StatusForbidden},
		{"a path", "/picture/..%2f..%2fetc%2fpasswd", known, http.StatusNotFound},
		{"a path of a sequence", "/sequence/%2Fsecret%2FDCIM%2FBX1_0002.JPG", known, http.StatusNotFound},
		{"the folder of assets", "/page/", known, http.StatusNotFound},
		{"a file of the program", "/page/page.html", known, http.StatusNotFound},
		{"a picture that is none", "/picture/" + name, known, http.StatusNotFound},
		{"a sequence that is none", "/sequence/00000000000000000000000000000000", known, http.StatusNotFound},
		{"writing", "/", func(r *http.Request) { known(r); r.Method = http.MethodPost }, http.StatusMethodNotAllowed},
		{"deleting", "/events", func(r *http.Request) { known(r); r.Method = http.MethodDelete }, http.StatusMethodNotAllowed},
	} {
		r := get(t, h, c.path, c.change)
		text := body(t, r)
		if r.StatusCode != c.code || strings.Contains(text, "secret") || strings.Contains(text, "/") || len(text) > 120 {
			t.Errorf("%s: %s, %q, want %d", c.what, r.Status, text, c.code)
		}
		if len(r.Cookies()) > 0 {
			t.Errorf("%s: gets a cookie", c.what)
		}
	}
	if r := get(t, h, "/", header("Sec-Fetch-Site", "cross-site", "Sec-Fetch-Mode", "navigate", "Sec-Fetch-Dest", "document")); r.StatusCode != http.StatusOK {
		t.Errorf("a link in a mail: %s", r.Status)
	}
}

// The link opens the page once for all: its token becomes a cookie that no script reads and
// no other site sends.
func TestLinkBecomesCookie(t *testing.T) {
	s := newTestServer(token)
	h := s.Handler()
	r := get(t, h, "/?key="+token, nil)
	cookies := r.Cookies()
	if r.StatusCode != http.StatusOK || len(cookies) != 1 || r.Header.Get("Refresh") != "0; url=/" {
		t.Fatalf("%s, %d cookies, %v", r.Status, len(cookies), r.Header)
	}
	c := cookies[0]
	if !c.HttpOnly || c.SameSite != http.SameSiteStrictMode || c.Path != "/" || c.Domain != "" || strings.Contains(c.Value, token) {
		t.Errorf("cookie: %v", c)
	}
	if text := body(t, r); strings.Contains(text, token) {
		t.Errorf("the page holds the token: %q", text)
	}
	if r := get(t, h, "/", func(r *http.Request) { r.AddCookie(c) }); r.StatusCode != http.StatusOK {
		t.Errorf("with the cookie: %s", r.Status)
	}
	// A watch that was started again knows the tablet; one with another token does not.
	if r := get(t, newTestServer(token).Handler(), "/", func(r *http.Request) { r.AddCookie(c) }); r.StatusCode != http.StatusOK {
		t.Errorf("after a start: %s", r.Status)
	}
	if r := get(t, newTestServer("ANOTHER").Handler(), "/", func(r *http.Request) { r.AddCookie(c) }); r.StatusCode != http.StatusForbidden {
		t.Errorf("another token: %s", r.Status)
	}
}

// Every answer forbids what the page does not need.
func TestHeaders(t *testing.T) {
	s := newTestServer("")
	s.Show(anInspected())
	h := s.Handler()
	name := s.name("sequence", "/secret/DCIM/BX1_0002.JPG")
	for _, path := range []string{"/", "/page.js", "/page.css", "/nothing", "/sequence/" + name} {
		r := get(t, h, path, nil)
		policy := r.Header.Get("Content-Security-Policy")
		for _, want := range []string{"default-src 'none'", "base-uri 'none'", "form-action 'none'", "frame-ancestors"} {
			if !strings.Contains(policy, want) {
				t.Errorf("%s: policy %q lacks %s", path, policy, want)
			}
		}
		if strings.Contains(policy, "unsafe") || strings.Contains(policy, "*") || r.Header.Get("X-Content-Type-Options") != "nosniff" || r.Header.Get("Access-Control-Allow-Origin") != "" || r.Header.Get("Server") != "" {
			t.Errorf("%s: headers %v", path, r.Header)
		}
	}
	if r := get(t, h, "/sequence/"+name, nil); body(t, r) != "sequence /secret/DCIM/BX1_0002.JPG" {
		t.Errorf("the sequence: %s", r.Status)
	}
	for _, err := range []error{report.ErrGone, errors.New("open /secret/DCIM/BX1_0002.JPG: no such file")} {
		s.gallery = fakeGallery{err}
		if text := body(t, get(t, h, "/sequence/"+name, nil)); strings.Contains(text, "secret") {
			t.Errorf("%v: answers %q", err, text)
		}
	}
}

// What pages are told shows what the state holds, without a path, and with what could steer
// a page or a reader escaped.
func TestWireHoldsNoPath(t *testing.T) {
	s := newTestServer("")
	state := anInspected()
	state.Closed[0].View = "front\u202egnp.exe</script>\x1b[2J"
	state.Gone = []string{"CARD\x07"}
	s.Show(state)
	for _, w := range append(s.wantedNow(), s.wantedLater()...) {
		p, err := w.make()
		if err != nil {
			t.Fatal(err)
		}
		s.shelf.put(s.name("picture", w.name), p)
	}
	text := string(s.wire())
	for _, bad := range []string{"secret", "\u202e", "\x1b", "\x07", "</script>", `\u001b`, `\u0007`} {
		if strings.Contains(text, bad) {
			t.Errorf("the state holds %q: %s", bad, text)
		}
	}
	var got shown
	if err := json.Unmarshal([]byte(text), &got); err != nil {
		t.Fatal(err)
	}
	if got.Word != "again" || got.Number != "1.4" || got.Do != "Shoot the whole sequence again." || got.Detail != "Dark frame" || len(got.Open) != 3 || len(got.Closed) != 1 {
		t.Errorf("got %+v", got)
	}
	for what, name := range map[string]string{
		"/secret/DCIM/BX1_0002.JPG dark-frame": got.Picture,
		"newest /secret/DCIM/BX1_0038.JPG":     got.Newest,
		"closed /secret/DCIM/BX1_0001.JPG":     got.Closed[0].Picture,
	} {
		r := get(t, s.Handler(), "/picture/"+name, nil)
		if body(t, r) != what || r.Header.Get("Content-Type") != "image/jpeg" {
			t.Errorf("the picture of %s: %s", what, r.Status)
		}
	}
}

// An open page hears of every state, and of the server each second; one that reads too
// slowly hears of the latest. No more pages open than are allowed.
func TestEvents(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newTestServer("")
		ctx, cancel := context.WithCancel(t.Context())
		var pages []*bufio.Reader
		var reads []*io.PipeReader
		open := func() *bufio.Reader {
			read, write := io.Pipe()
			reads = append(reads, read)
			r := httptest.NewRequestWithContext(ctx, http.MethodGet, "http://"+hostHere+"/events", nil)
			go func() {
				s.Handler().ServeHTTP(&pipeResponse{write, http.Header{}, 0}, r)
				_ = write.Close()
			}()
			return bufio.NewReader(read)
		}
		event := func(b *bufio.Reader) (name, data string) {
			for {
				line, err := b.ReadString('\n')
				if err != nil {
					return "", err.Error()
				}
				switch line = strings.TrimSpace(line); {
				case line == "":
					return name, data
				case strings.HasPrefix(line, "event: "):
					name = line[7:]
				case strings.HasPrefix(line, "data: "):
					data = line[6:]
				}
			}
		}
		for range MostPages {
			b := open()
			if name, data := event(b); name != "state" || !strings.Contains(data, `"word":"starting"`) {
				t.Fatalf("first: %s %s", name, data)
			}
			pages = append(pages, b)
		}
		refused := open()
		if text, _ := io.ReadAll(refused); !strings.Contains(string(text), "close one") {
			t.Errorf("one too many: %q", text)
		}
		s.Show(anInspected())
		for i, b := range pages {
			if name, data := event(b); name != "state" || !strings.Contains(data, `"word":"again"`) {
				t.Fatalf("page %d: %s %s", i, name, data)
			}
		}
		began := time.Now()
		if name, data := event(pages[0]); name != "beat" || !strings.Contains(data, s.version) || time.Since(began) > Beat {
			t.Errorf("after %v: %s %s", time.Since(began), name, data)
		}
		cancel()
		for _, r := range reads {
			_ = r.Close() // it never fails
		}
		synctest.Wait()
		if len(s.pages) != 0 {
			t.Errorf("%d pages are still open", len(s.pages))
		}
	})
}

// pipeResponse is a response that is read while it is written.
type pipeResponse struct {
	*io.PipeWriter
	header http.Header
	code   int
}

func (p *pipeResponse) Header() http.Header              { return p.header }
func (p *pipeResponse) WriteHeader(code int)             { p.code = code }
func (p *pipeResponse) Flush()                           {}
func (p *pipeResponse) SetWriteDeadline(time.Time) error { return nil }

// Pictures are made beside the states, each once, and those that are not known yet again.
func TestPainter(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		g := &countingGallery{made: map[string]int{}, later: 2}
		s := New(Options{Access: Access{Hosts: []string{hostHere}}, Gallery: g})
		ctx, cancel := context.WithCancel(t.Context())
		go s.paint(ctx, s.quick, s.wantedNow)
		go s.paint(ctx, s.slow, s.wantedLater)
		for range 10 {
			s.Show(anInspected())
			synctest.Wait()
			time.Sleep(time.Second)
		}
		want := map[string]int{"newest": 1, "deciding": 1, "closed": 1}
		for k, n := range want {
			if g.made[k] != n {
				t.Errorf("%s was made %d times, want %d", k, g.made[k], n)
			}
		}
		cancel()
	})
}

type countingGallery struct {
	fakeGallery
	mu    sync.Mutex // two goroutines make pictures
	made  map[string]int
	later int // how often the newest is not known yet
}

func (g *countingGallery) Newest(path string) (*report.Picture, error) {
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.later > 0 {
		g.later--
		return nil, ErrNotYet
	}
	g.made["newest"]++
	return g.fakeGallery.Newest(path)
}

func (g *countingGallery) Deciding(_, _ string) (*report.Picture, error) {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.made["deciding"]++
	return nil, nil // it cannot be made, which does not change
}

func (g *countingGallery) Closed(key string) (*report.Picture, error) {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.made["closed"]++
	return g.fakeGallery.Closed(key)
}

// A day of states, one a second with another newest frame every three, keeps no more than
// a minute of them.
func TestDayKeepsNothing(t *testing.T) {
	s := newTestServer("")
	step := func(i int) {
		state := anInspected()
		state.Last.Path = fmt.Sprintf("BX1_%06d.JPG", i/3)
		state.Closed[0].Key = fmt.Sprintf("closed %d", i/150)
		s.Show(state)
		for _, w := range append(s.wantedNow(), s.wantedLater()...) {
			if name := s.name("picture", w.name); !s.shelf.has(name) {
				s.shelf.put(name, &report.Picture{Data: make([]byte, 1024)})
			}
		}
		s.wire()
	}
	heap := func() uint64 {
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		return m.HeapAlloc
	}
	const minute, day = 60, 24 * 60 * 60 / 10 // a tenth: each second is like the others
	for i := range minute * 10 {
		step(i)
	}
	before := heap()
	for i := range day {
		step(i)
	}
	if after := heap(); after > before+256<<10 {
		t.Errorf("%d KiB after ten minutes, %d after a day", before>>10, after>>10)
	}
	if len(s.shelf.made) > mostKept || len(s.shelf.order) > mostKept || len(s.keys) > 4 {
		t.Errorf("%d pictures, %d in order, %d names", len(s.shelf.made), len(s.shelf.order), len(s.keys))
	}
}

// A server on the network ends with its watch, even where pages are open that do not read,
// and does not wait for those who say nothing.
func TestServeEnds(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	s := New(Options{Access: Access{Hosts: []string{l.Addr().String()}}, Gallery: fakeGallery{}})
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- s.Serve(ctx, l) }()
	silent, err := net.Dial("tcp", l.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	defer silent.Close()
	r, err := http.Get("http://" + l.Addr().String() + "/events")
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	s.Show(anInspected())
	long, err := http.NewRequestWithContext(ctx, http.MethodGet, "http://"+l.Addr().String()+"/", nil)
	if err != nil {
		t.Fatal(err)
	}
	long.Header.Set("X-Long", strings.Repeat("x", 64<<10))
	if r, err := http.DefaultClient.Do(long); err == nil {
		if r.StatusCode != http.StatusRequestHeaderFieldsTooLarge {
			t.Errorf("64 KiB of headers: %s", r.Status)
		}
		_ = r.Body.Close()
	}
	cancel()
	select {
	case err := <-ended:
		if err != nil {
			t.Error(err)
		}
	case <-time.After(time.Minute):
		t.Error("the server does not end")
	}
}
