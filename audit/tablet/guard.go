package tablet

import (
	"crypto/subtle"
	"io"
	"log"
	"net/http"
	"slices"
)

// nothing is where the errors of connections go: they come from outside.
var nothing = log.New(io.Discard, "", 0)

const (
	// cookieKept is how long a tablet stays known, in seconds.
	cookieKept = 30 * 24 * 60 * 60
	tokenKey   = "key" // of the link
)

// contentPolicy allows the page what the server serves, and nothing from elsewhere
// (Content Security Policy, level 3).
const contentPolicy = "default-src 'none'; img-src 'self'; style-src 'self'; script-src 'self'; connect-src 'self'; frame-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

// guarded lets only those requests pass that the page itself makes, or that open it.
func (s *site) guarded(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", contentPolicy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cache-Control", "no-store")
		if !slices.Contains(s.access.Hosts, r.Host) {
			refuse(w, http.StatusMisdirectedRequest, "open the page by the address that prestrike prints")
			return
		}
		writes := s.writes(r)
		if !writes && r.Method != http.MethodGet && r.Method != http.MethodHead {
			refuse(w, http.StatusMethodNotAllowed, "this page is for reading")
			return
		}
		if !s.ownRequest(r) || writes && !fromOwnPage(r) {
			refuse(w, http.StatusForbidden, "another page asked for this")
			return
		}
		if s.access.Token != "" && !s.known(r) {
			if token := r.URL.Query().Get(tokenKey); r.URL.Path == "/" && equal(token, s.access.Token) {
				s.welcome(w)
				return
			}
			refuse(w, http.StatusForbidden, "open the page by the link that prestrike prints, or by its code")
			return
		}
		next.ServeHTTP(w, r)
	})
}

// ownRequest reports whether a request does not come from the page of another site. Only
// opening the page itself may: by a link in a mail, for example.
func (s *site) ownRequest(r *http.Request) bool {
	if origin := r.Header.Get("Origin"); origin != "" && origin != "http://"+r.Host && origin != "https://"+r.Host {
		return false
	}
	switch r.Header.Get("Sec-Fetch-Site") {
	case "", "same-origin", "none":
		return true
	}
	return r.URL.Path == "/" && r.Header.Get("Sec-Fetch-Mode") == "navigate" && r.Header.Get("Sec-Fetch-Dest") == "document"
}

// known reports whether the request has the cookie.
func (s *site) known(r *http.Request) bool {
	c, err := r.Cookie(s.cookieName)
	return err == nil && equal(c.Value, s.cookie)
}

// welcome exchanges the token of the link for a cookie, and leads to the page without it:
// the address bar and the history hold no token then. A page that loads by itself, and is
// no redirection, is needed for a cookie that is sent to this site alone: of requests that
// were led here from elsewhere, browsers keep such cookies back.
func (s *site) welcome(w http.ResponseWriter) {
	http.SetCookie(w, &http.Cookie{
		Name: s.cookieName, Value: s.cookie, Path: "/", MaxAge: cookieKept, HttpOnly: true, SameSite: http.SameSiteStrictMode,
	})
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Refresh", "0; url=/")
	_, _ = io.WriteString(w, "<!doctype html><html lang=\"en\"><title>Opening</title><p><a href=\"/\">Open the page</a></p></html>\n")
}

func equal(a, b string) bool { return subtle.ConstantTimeCompare([]byte(a), []byte(b)) == 1 }

// refuse answers with what to do, and with nothing of the machine.
func refuse(w http.ResponseWriter, code int, what string) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.WriteHeader(code)
	_, _ = io.WriteString(w, what+"\n")
}
