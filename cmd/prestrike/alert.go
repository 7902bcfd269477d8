package main

import (
	"bytes"
	"errors"
	"fmt"
	"os/exec"
	"slices"
	"strings"
	"time"

	"prestrike/audit"
	"prestrike/audit/board"
	"prestrike/audit/report"

	"github.com/gen2brain/beeep"
)

// An alerter sounds, shows a notice, or runs a program when something is found.
type alerter struct {
	c       *console
	bell    bool
	desktop bool
	from    audit.Severity
	notify  func(title, message string) error
	// sounds makes the sounds; nil where none is to be heard.
	sounds *sounder
	// programs runs a program for each finding; nil where none is to be run.
	programs *programs

	remarked bool     // that there is no notification service
	mute     bool     // that tones cannot be played was remarked
	remarks  []string // that wait to be made
}

func newAlerter(c *console, f *watchFlags) (*alerter, error) {
	a := &alerter{c: c, from: audit.Reshoot}
	a.notify = func(title, message string) error { return beeep.Notify(title, message, "") }
	for _, kind := range f.alert {
		switch kind {
		case "bell":
			a.bell = true
		case "desktop":
			a.desktop = true
		case "none":
			if len(f.alert) > 1 {
				return nil, errors.New("--alert: none and others do not go together: leave one out")
			}
		}
	}
	if f.alertFrom == "check" {
		a.from = audit.Check
	}
	if command := strings.Fields(f.onFinding); len(command) > 0 {
		if _, err := exec.LookPath(command[0]); err != nil {
			return nil, fmt.Errorf("--on-finding: there is no program %q: write its name with the folder, such as ./lamp", command[0])
		}
		a.programs = newPrograms(command, c.guard)
	}
	a.useSounds(f.sound)
	return a, nil
}

// useSounds prepares what is to be heard: tones where they are asked for and can be
// played, bells else.
func (a *alerter) useSounds(tones bool) {
	if !tones && !a.bell && !a.desktop {
		return
	}
	a.sounds = newSounder(a.ring, a.c.sleep, a.c.guard)
	if !tones {
		return
	}
	if err := a.sounds.useTones(players()); err != nil {
		a.bell, a.mute = true, true
		a.remarks = append(a.remarks, "no program that plays tones was found: the bell sounds instead")
	}
}

// ring sounds the bell once, where it was asked for.
func (a *alerter) ring() {
	if a.c.errTerminal || a.c.outTerminal {
		a.c.bell()
	}
}

// audible reports whether anything can be heard.
func (a *alerter) audible() bool {
	return a.sounds != nil && (len(a.sounds.player) > 0 || a.bell && (a.c.errTerminal || a.c.outTerminal))
}

// sound has a sound of the set heard. That a sequence which closed must be inspected is
// heard only where alerts begin there.
func (a *alerter) sound(s board.Sound) {
	if s == board.Silence || s == board.SoundDoubt && a.from > audit.Check || !a.audible() {
		return
	}
	a.sounds.make(s)
}

// event shows what is new in an event on the desktop, once, however many findings it has,
// and hands its findings to the program. What is certain while frames come counts from
// check on: it can still be stopped.
func (a *alerter) event(e audit.LiveEvent) {
	worst := slices.MaxFunc(append(slices.Clone(e.Findings), &audit.Finding{}), func(x, y *audit.Finding) int { return int(x.Severity) - int(y.Severity) })
	message, from := report.Headline(e.Sequence.ID, worst), a.from
	switch e.Kind {
	case audit.SequenceOverdue, audit.SequenceStalled:
		worst, message = &audit.Finding{Severity: a.from}, report.Visible(e.Sequence.ID+": "+e.Reason)
	case audit.FindingCertain:
		from = audit.Check
	}
	if worst.Severity >= from && worst.Severity > 0 {
		a.notice(message, worst.Severity)
	}
	if a.programs == nil {
		return
	}
	for _, f := range e.Findings {
		if f.Severity < a.from {
			continue
		}
		var b bytes.Buffer
		if err := report.WriteFindingJSON(&b, e.Sequence, f); err != nil {
			a.remarks = append(a.remarks, fmt.Sprintf("--on-finding: %s", err))
			continue
		}
		a.programs.give(b.Bytes())
	}
}

// started shows on the desktop that a folder is watched, so that a desktop that shows
// nothing is reported at once, and not when an alert is lost.
func (a *alerter) started(folder string) {
	if a.desktop {
		a.show("prestrike", report.Visible("Watching "+folder))
	}
}

// show shows a notice on the desktop and reports whether it could; the first time that
// it cannot, it leaves a remark. Its error is for programmers, and not shown.
func (a *alerter) show(title, message string) bool {
	if a.notify(title, message) == nil {
		return true
	}
	if !a.remarked {
		a.remarked, a.bell = true, true
		a.remarks = append(a.remarks, "no desktop notices can be shown here: the bell sounds instead")
	}
	return false
}

// notice shows on the desktop what was found.
func (a *alerter) notice(message string, severity audit.Severity) {
	if !a.desktop {
		return
	}
	title := "Inspect this before you go on"
	if severity == audit.Reshoot {
		title = "Shoot this again"
	}
	a.show(title, message)
}

// said returns the remarks to be made since it was last asked.
func (a *alerter) said() []string {
	if a.sounds != nil && !a.mute && a.sounds.failure() != nil {
		a.bell, a.mute = true, true
		a.remarks = append(a.remarks, "the tones cannot be played here: the bell sounds instead")
	}
	said := a.remarks
	a.remarks = nil
	if a.programs != nil {
		said = append(said, a.programs.said()...)
	}
	return said
}

// end ends what sounds, and the programs that run for findings, so long from now at the
// latest.
func (a *alerter) end(after time.Duration) {
	if a.sounds != nil {
		a.sounds.end()
		a.sounds = nil
	}
	if a.programs != nil {
		a.programs.end(after)
	}
}
