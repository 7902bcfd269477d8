package report

import (
	"bufio"
	"errors"
	"html/template"
	"io"

	"prestrike/audit"
)

// Parts of the page, for the page beside the set.

// ErrGone reports that no sequence begins with the frame that was asked for.
var ErrGone = errors.New("there is no such sequence any more")

// WriteSequence writes a page on one sequence: the one whose first frame has this path.
// It returns [ErrGone] where there is none.
func WriteSequence(w io.Writer, result *audit.Result, key string, opt *Options) error {
	m := newModel(result)
	for i := range m.sessions {
		s := &m.sessions[i]
		for k := range s.sequences {
			q := &s.sequences[k]
			if q.frames[0].Path() != key {
				continue
			}
			// Only this one is on the page, and has the bytes of a page to itself.
			alone := *m
			session := *s
			session.sequences, session.findings = s.sequences[k:k+1], nil
			alone.sessions = []sessionModel{session}
			b := bufio.NewWriter(w)
			if _, err := b.WriteString(pageBegins); err != nil {
				return err
			}
			err := pageTemplate.ExecuteTemplate(b, "part", struct {
				Policy   string
				Style    template.CSS
				Script   template.JS
				Heading  string
				Sequence *pageSequence
			}{PagePolicy(), template.CSS(pageCSS), template.JS(pageJS), Visible(heading(s)), newPageWriter(&alone, opt).sequence(s, q)})
			if err != nil {
				return err
			}
			return b.Flush()
		}
	}
	return ErrGone
}

// SequenceName names a sequence on one line: "1.4 focus 10:09, frames 0013 to 0022 (8)".
func SequenceName(q *audit.Reviewed) string {
	m := newSequence(q)
	return liveName(&m)
}

// Deciding makes the one picture that decides a finding of a sequence, of at most this many
// bytes; nil where none does, or where it could not be made.
func Deciding(q *audit.Reviewed, f *audit.Finding, g Gallery, bytes int) *Picture {
	model := newSequence(q)
	at := &pageWriter{gallery: g, limit: pictureBytes{detail: bytes}}
	of := &pageFinding{at: at, finding: f, sequence: &model, frames: q.Frames, Key: true}
	if show := of.Show(); show != nil && len(show.Pictures) > 0 {
		return show.Pictures[0].made
	}
	return nil
}
