package tablet

import (
	"bytes"
	"context"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"errors"
	"fmt"
	"net"
	"net/http"
	"strconv"
	"sync"
	"time"

	"golang.org/x/net/netutil"
)

// Limits of what is served at a time.
const (
	mostConnections = 96
	// MostPages is how many pages may be open.
	MostPages = 32
	// Beat is how often a page hears of the server; silence of three beats means that it is
	// not live.
	Beat        = time.Second
	writeWithin = 5 * time.Second
)

//go:embed page
var assets embed.FS

// An Access says who may open a page.
type Access struct {
	// Hosts are the values of Host that are answered, with their ports: a page of another
	// name that leads here gets nothing (DNS rebinding).
	Hosts []string
	// Token is what the link to the page must hold the first time; empty where none is asked.
	Token string
	// Writes says that pages may declare something, and not only read.
	Writes bool
	// Guard is deferred by every goroutine; nil for none.
	Guard func()
}

// A site hands what changes to every page that is open. It is safe for use by several
// goroutines.
type site struct {
	access Access
	guard  func()
	secret [32]byte // from which names are drawn
	// cookie is what a page that knows the token sends; its name differs from set to set, as
	// browsers send cookies to all ports of a host.
	cookieName, cookie string
	// version changes with the server, so that pages of an earlier one load anew.
	version string
	done    chan struct{}

	mu    sync.Mutex
	pages map[chan struct{}]struct{}
}

func newSite(a Access) *site {
	guard := a.Guard
	if guard == nil {
		guard = func() {}
	}
	s := &site{access: a, guard: guard, done: make(chan struct{}), pages: map[chan struct{}]struct{}{}}
	_, _ = rand.Read(s.secret[:]) // it never fails: crypto/rand ends the program first
	s.version = s.name("version", "")
	sum := func(of string) string {
		mac := hmac.New(sha256.New, []byte(a.Token))
		mac.Write([]byte(of))
		return hex.EncodeToString(mac.Sum(nil))
	}
	s.cookieName, s.cookie = "prestrike-"+sum("name")[:8], sum("cookie")
	return s
}

// name draws the name of something that a page may ask for.
func (s *site) name(kind, of string) string {
	mac := hmac.New(sha256.New, s.secret[:])
	mac.Write([]byte(kind + "\x00" + of))
	return hex.EncodeToString(mac.Sum(nil)[:16])
}

// spread wakes every page that is open. A page that is slow gets the latest only.
func (s *site) spread() {
	s.mu.Lock()
	defer s.mu.Unlock()
	for page := range s.pages {
		wake(page)
	}
}

func wake(c chan struct{}) {
	select {
	case c <- struct{}{}:
	default:
	}
}

// serve answers requests on a listener until ctx ends, and then closes it. The error is nil
// where it ended by ctx.
func (s *site) serve(ctx context.Context, l net.Listener, h http.Handler) error {
	server := &http.Server{
		Handler: h, ReadHeaderTimeout: writeWithin, ReadTimeout: 2 * writeWithin, IdleTimeout: 30 * time.Second, MaxHeaderBytes: 8 << 10,
		BaseContext: func(net.Listener) context.Context { return ctx },
		ErrorLog:    nothing,
	}
	stop := context.AfterFunc(ctx, func() {
		defer s.guard()
		close(s.done)
		ending, cancel := context.WithTimeout(context.Background(), time.Second)
		defer cancel()
		if server.Shutdown(ending) != nil {
			_ = server.Close() // a page that does not read is not waited for
		}
	})
	defer stop()
	err := server.Serve(netutil.LimitListener(l, mostConnections))
	if errors.Is(err, http.ErrServerClosed) {
		return nil
	}
	return err
}

// mux answers what every page asks for: its own files, by these names, and what changes,
// which wire writes on one line.
func (s *site) mux(page, style, script string, wire func() []byte) *http.ServeMux {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /{$}", asset(page, "text/html; charset=utf-8"))
	mux.HandleFunc("GET /page.css", asset(style, "text/css; charset=utf-8"))
	mux.HandleFunc("GET /page.js", asset(script, "text/javascript; charset=utf-8"))
	mux.HandleFunc("GET /live.js", asset("page/live.js", "text/javascript; charset=utf-8"))
	mux.HandleFunc("GET /favicon.ico", func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusNoContent) })
	mux.HandleFunc("GET /events", func(w http.ResponseWriter, r *http.Request) { s.events(w, r, wire) })
	mux.HandleFunc("/", func(w http.ResponseWriter, _ *http.Request) {
		refuse(w, http.StatusNotFound, "there is nothing here")
	})
	return mux
}

// asset serves one of our own files.
func asset(name, kind string) http.HandlerFunc {
	content, err := assets.ReadFile(name)
	if err != nil {
		panic(err) // it is part of the program
	}
	return func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", kind)
		w.Header().Set("Content-Length", strconv.Itoa(len(content)))
		_, _ = w.Write(content) // who asked may have gone
	}
}

// events sends the state to a page as often as it changes, and a beat between (server-sent
// events, WHATWG HTML, 9.2).
func (s *site) events(w http.ResponseWriter, r *http.Request, wire func() []byte) {
	page := make(chan struct{}, 1)
	s.mu.Lock()
	full := len(s.pages) >= MostPages
	if !full {
		s.pages[page] = struct{}{}
	}
	s.mu.Unlock()
	if full {
		w.Header().Set("Retry-After", "10")
		refuse(w, http.StatusServiceUnavailable, fmt.Sprintf("%d pages are open: close one", MostPages))
		return
	}
	defer func() {
		s.mu.Lock()
		delete(s.pages, page)
		s.mu.Unlock()
	}()
	w.Header().Set("Content-Type", "text/event-stream")
	out := http.NewResponseController(w)
	beat := time.NewTicker(Beat)
	defer beat.Stop()
	var last []byte
	for {
		text := wire()
		var b bytes.Buffer
		if !bytes.Equal(text, last) {
			fmt.Fprintf(&b, "event: state\ndata: %s\n\n", text)
			last = text
		} else {
			// The time of this computer: that of a tablet may be another.
			fmt.Fprintf(&b, "event: beat\ndata: {\"version\":%q,\"now\":%d}\n\n", s.version, time.Now().UnixMilli())
		}
		if out.SetWriteDeadline(time.Now().Add(writeWithin)) != nil {
			return
		}
		if _, err := w.Write(b.Bytes()); err != nil || out.Flush() != nil {
			return
		}
		select {
		case <-page:
		case <-beat.C:
		case <-s.done:
			return
		case <-r.Context().Done():
			return
		}
	}
}
