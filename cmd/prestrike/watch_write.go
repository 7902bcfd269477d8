package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"prestrike/audit"
	"prestrike/audit/config"
	"prestrike/audit/report"
	"prestrike/audit/shoot"
	"prestrike/audit/tablet"
	"prestrike/audit/words"
	"prestrike/rules"

	"github.com/spf13/cobra"
)

// What pages declare, written by the goroutine of the watch.

// undoFor is how long the last declaration may be taken back.
const undoFor = time.Minute

const (
	sequencesChanged = tablet.Refusal("the sequences changed meanwhile: check the page, then try again")
	settingsChanged  = tablet.Refusal("the settings changed meanwhile: check the page, then try again")
)

// A pageEdit is what a page asks the watch to write.
type pageEdit struct {
	declared *tablet.Declaration // nil where the last one is taken back
	edition  string
	answer   chan editAnswer // holds one
}

type editAnswer struct {
	text string
	err  error
}

// edits are what pages may write of a watch. All but asked is for the goroutine of the
// watch.
type edits struct {
	asked chan pageEdit
	// options reads the configuration anew; edition is the fingerprint of its files.
	options func() (*audit.Options, error)
	files   func() ([]string, error)
	edition string
	// last may be taken back until a time; nil for nothing.
	last     *config.Change
	lastText string
	until    time.Time
}

// options reads the options of a watch, and prepares for pages that write, where they may.
func (f *watchFlags) options(cmd *cobra.Command, folder string) (*audit.Options, *edits, error) {
	e := &edits{
		asked: make(chan pageEdit),
		files: func() ([]string, error) { return f.shoot.configFiles([]string{folder}) },
		options: func() (*audit.Options, error) {
			opt, _, err := f.shoot.options(cmd, []string{folder})
			return opt, err
		},
	}
	if !f.beside.write {
		opt, err := e.options()
		return opt, nil, err
	}
	opt, err := e.read()
	return opt, e, err
}

// read reads the configuration. Its edition is that of the files before: what is changed
// while they are read is then noticed.
func (e *edits) read() (*audit.Options, error) {
	files, err := e.files()
	if err != nil {
		return nil, err
	}
	edition := config.Fingerprint(files...)
	opt, err := e.options()
	if err == nil {
		e.edition = edition
	}
	return opt, err
}

// asks returns what pages ask for; nil where they may not.
func (e *edits) asks() <-chan pageEdit {
	if e == nil {
		return nil
	}
	return e.asked
}

// ask hands a request of a page to the watch, and waits for its answer.
func (e *edits) ask(ctx context.Context, p pageEdit) (string, error) {
	p.answer = make(chan editAnswer, 1)
	select {
	case e.asked <- p:
	case <-ctx.Done():
		return "", ctx.Err()
	}
	select {
	case a := <-p.answer:
		return a.text, a.err
	case <-ctx.Done():
		return "", tablet.Refusal("the disk does not answer: it will show here whether this was written")
	}
}

// standing is what pages may declare now.
func (e *edits) standing(now time.Time) tablet.Standing {
	if e.last != nil && !now.Before(e.until) {
		e.last = nil
	}
	s := tablet.Standing{Edition: e.edition}
	if e.last != nil {
		s.Undo = e.lastText
	}
	return s
}

// edit does what a page asks for, and answers.
func (w *watching) edit(p pageEdit) {
	text, err := w.writeEdit(&p)
	if err == nil {
		w.say("from the page: %s", text)
	} else if _, told := errors.AsType[tablet.Refusal](err); !told {
		w.say("from the page: %s", err)
		err = tablet.Refusal(report.Visible(w.withoutFolders(err)))
	}
	p.answer <- editAnswer{text, err}
}

// withoutFolders writes an error for a page: files by their names alone.
func (w *watching) withoutFolders(err error) string {
	text := err.Error()
	if file, found := w.configToWrite(); found == nil {
		text = strings.ReplaceAll(text, file, filepath.Base(file))
	}
	return text
}

// writeEdit is edit, and returns what was written.
func (w *watching) writeEdit(p *pageEdit) (string, error) {
	e := w.edits
	if !w.caught {
		return "", tablet.Refusal("the watch is still reading the folder: try again in a moment")
	}
	files, err := e.files()
	if err != nil {
		return "", err
	}
	if now := config.Fingerprint(files...); now != e.edition {
		// It was written by hand, or for another watch: it is shown before it is written over.
		if err := w.reconsider(); err != nil {
			return "", err
		}
		w.say("the configuration was changed meanwhile: all is judged by what it holds now")
		return "", settingsChanged
	}
	if p.edition != e.edition {
		return "", settingsChanged
	}
	if p.declared == nil {
		return w.takeBack()
	}
	text, steps, err := w.steps(p.declared)
	if err != nil {
		return "", err
	}
	file, err := w.configToWrite()
	if err != nil {
		return "", err
	}
	change, err := config.Write(file, w.opt.Rules, steps...)
	if err != nil {
		return "", w.notSaved(file, err)
	}
	e.last, e.lastText, e.until = change, text, w.now().Add(undoFor)
	return fmt.Sprintf("%s: written to %s", text, filepath.Base(file)), w.reconsider()
}

// takeBack takes the last declaration back.
func (w *watching) takeBack() (string, error) {
	e := w.edits
	if e.standing(w.now()).Undo == "" {
		return "", tablet.Refusal("there is nothing that can still be taken back: change prestrike.toml by hand")
	}
	err := e.last.TakeBack()
	if errors.Is(err, config.ErrChanged) {
		return "", settingsChanged
	}
	if err != nil {
		file, found := w.configToWrite()
		return "", w.notSaved(file, cmp.Or(found, err))
	}
	e.last = nil
	return "taken back: " + e.lastText, w.reconsider()
}

// notSaved reports why a configuration file could not be written.
func (w *watching) notSaved(file string, err error) error {
	if errors.Is(err, config.ErrChanged) {
		return settingsChanged
	}
	if _, mistake := errors.AsType[*config.Error](err); mistake {
		return err
	}
	return notWritten(file, err, "start the watch with another file, by --config", "allow writing to its folder, or start the watch with another file, by --config")
}

// configToWrite returns the file that declarations go to: the one that holds for the folder,
// or a new one in it.
func (w *watching) configToWrite() (string, error) { return w.f.shoot.fileToWrite(w.folder) }

// fileToWrite returns the configuration file that declarations on a folder are written to.
func (f *shootFlags) fileToWrite(folder string) (string, error) {
	if f.config != "" {
		return f.config, nil
	}
	file, err := config.Find(folder)
	if err == nil && file == "" {
		file = filepath.Join(folder, config.Name)
	}
	return file, err
}

// reconsider judges anew by what the files of the configuration hold now.
func (w *watching) reconsider() error {
	fresh, err := w.edits.read()
	if err != nil {
		return err
	}
	// What inspects pictures stays, and refers to these options.
	fresh.Measure, fresh.Slates, fresh.Expected = w.opt.Measure, w.opt.Slates, w.opt.Expected
	*w.opt = *fresh
	w.live.Reconsider(w.opt)
	return nil
}

// steps are the changes of the configuration that a declaration asks for, and what it
// declares as a sentence. It holds only where the newest state has what it names.
func (w *watching) steps(d *tablet.Declaration) (text string, steps []config.Step, err error) {
	r := w.live.Result()
	q, at := sequenceAt(r, d.Key, d.ID)
	if q == nil {
		return "", nil, sequencesChanged
	}
	frame := nameIn(r, q.Frames[0])
	switch d.Kind {
	case tablet.Meant:
		var titles []string
		for _, rule := range slices.Compact(slices.Sorted(slices.Values(d.Rules))) {
			i := slices.IndexFunc(q.Findings, func(f *audit.Finding) bool { return f.Rule == rule && mayBeMeant(f) })
			if i < 0 {
				return "", nil, sequencesChanged
			}
			if title := cmp.Or(q.Findings[i].Title, rule); !slices.Contains(titles, title) {
				titles = append(titles, title)
			}
			steps = append(steps, config.AcceptStep(audit.Acceptance{Rule: rule, Frame: frame, Reason: d.Reason}))
		}
		return fmt.Sprintf("%q of %s is meant", words.List(titles, len(titles)), q.ID), steps, nil
	case tablet.ShotAgain:
		later, then := sequenceAt(r, d.ByKey, d.ByID)
		if later == nil || q.SupersededBy != nil {
			return "", nil, sequencesChanged
		}
		if why := audit.CannotRetake(q, later, then > at); why != "" {
			return "", nil, tablet.Refusal(why)
		}
		step := config.RetakenStep(audit.Retaken{Sequence: frame, By: nameIn(r, later.Frames[0])})
		return fmt.Sprintf("%s repeats %s", later.ID, q.ID), []config.Step{step}, nil
	}
	// A list in the user's own configuration folder is copied: the first view here replaces it.
	if w.f.shoot.config == "" {
		file, err := w.configToWrite()
		if err != nil {
			return "", nil, err
		}
		kept, _, err := viewsElsewhere(file)
		if err != nil {
			return "", nil, err
		}
		steps = append(steps, config.KeepViewsStep(kept))
	}
	v := audit.View{Name: d.View, Sequence: frame}
	if len(q.Frames) > 1 {
		v.Frames = rules.FramesMade(q.Sequence)
	}
	if q.Kind != shoot.Series {
		v.Kind, v.HasKind = q.Kind, true
	}
	for i := range w.opt.Views {
		if config.SameView(w.opt.Views[i].Name, d.View) {
			v.Name = w.opt.Views[i].Name
		}
	}
	step := config.NameViewStep(v, func(frame string) bool {
		return slices.ContainsFunc(q.Frames, func(f *shoot.Frame) bool { return f.Named(frame) })
	})
	return fmt.Sprintf("%s shows %q", q.ID, v.Name), append(steps, step), nil
}

// mayBeMeant reports whether a finding is open.
func mayBeMeant(f *audit.Finding) bool { return f.Severity > audit.Note && !f.Accepted && !f.Closed }

// sequenceAt returns the sequence that has both this first frame and this ID, and its place
// among all; nil where there is none.
func sequenceAt(r *audit.Result, key, id string) (q *audit.Reviewed, place int) {
	for _, s := range r.Sessions {
		for _, q := range s.Sequences {
			if q.Frames[0].Path() == key && q.ID == id {
				return q, place
			}
			place++
		}
	}
	return nil, 0
}
