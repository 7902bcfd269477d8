package tablet

import (
	"bytes"
	"encoding/json"
	"errors"
	"net/http"
	"strconv"

	"prestrike/audit/report"
)

// Handler answers the requests of pages.
func (s *Server) Handler() http.Handler {
	mux := s.mux("page/page.html", "page/page.css", "page/page.js", s.wire)
	mux.HandleFunc("GET /picture/{name}", s.picture)
	mux.HandleFunc("GET /sequence/{name}", s.sequence)
	mux.HandleFunc("GET /declare.js", asset("page/declare.js", "text/javascript; charset=utf-8"))
	if s.writer != nil {
		mux.HandleFunc("GET /choices/{name}", s.choices)
		mux.HandleFunc("POST "+declarePath+"{name}", s.declare)
		mux.HandleFunc("POST "+takeBackPath, s.takeBack)
	}
	return s.guarded(mux)
}

// wire writes the state for pages, on one line.
func (s *Server) wire() []byte {
	s.mu.Lock()
	defer s.mu.Unlock()
	text, err := json.Marshal(s.shown())
	if err != nil {
		return []byte("{}") // it is made of texts and numbers alone
	}
	return text
}

// picture serves a picture that was made for pages.
func (s *Server) picture(w http.ResponseWriter, r *http.Request) {
	s.mu.Lock()
	p := s.shelf.get(r.PathValue("name"))
	s.mu.Unlock()
	if p == nil {
		refuse(w, http.StatusNotFound, "this picture is no longer shown")
		return
	}
	kind := "image/jpeg"
	if p.Type == "image/png" {
		kind = p.Type
	}
	h := w.Header()
	h.Set("Content-Type", kind)
	h.Set("Content-Length", strconv.Itoa(len(p.Data)))
	// Its name is that of its content, and changes with it.
	h.Set("Cache-Control", "private, max-age=3600, immutable")
	_, _ = w.Write(p.Data) // who asked may have gone
}

// sequence serves the page on one sequence.
func (s *Server) sequence(w http.ResponseWriter, r *http.Request) {
	s.mu.Lock()
	key, ok := s.keys[r.PathValue("name")]
	s.mu.Unlock()
	if !ok || s.gallery == nil {
		refuse(w, http.StatusNotFound, "this sequence is no longer shown")
		return
	}
	var page bytes.Buffer // so that an error is an answer and not half a page
	err := s.gallery.WriteSequence(r.Context(), &page, key)
	switch {
	case errors.Is(err, report.ErrGone):
		refuse(w, http.StatusNotFound, "this sequence has changed: go back")
		return
	case err != nil:
		refuse(w, http.StatusInternalServerError, "this sequence could not be shown: the report shows it")
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Content-Security-Policy", report.PagePolicy()+"; frame-ancestors 'self'")
	_, _ = w.Write(page.Bytes()) // who asked may have gone
}
