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
	// programs runs a program for each finding; nil where none is to be run.
	programs *programs

	remarked bool     // that there is no notification service
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
		case "command":
			if f.onFinding == "" {
				return nil, errors.New("--alert command: name the command with --on-finding")
			}
		case "none":
		default:
			return nil, fmt.Errorf("--alert %s: write bell, desktop, command or none, several joined by commas", kind)
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
	return a, nil
}

// event alerts to what is new in an event: once, however many findings it has.
func (a *alerter) event(e audit.LiveEvent) {
	worst := slices.MaxFunc(append(slices.Clone(e.Findings), &audit.Finding{}), func(x, y *audit.Finding) int { return int(x.Severity) - int(y.Severity) })
	message := report.Headline(e.Sequence.ID, worst)
	if e.Kind == audit.SequenceOverdue || e.Kind == audit.SequenceStalled {
		worst, message = &audit.Finding{Severity: a.from}, report.Visible(e.Sequence.ID+": "+e.Reason)
	}
	if worst.Severity >= a.from && worst.Severity > 0 {
		a.alert(message, worst.Severity)
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
		a.remarked = true
		a.remarks = append(a.remarks, "no desktop notices can be shown here: the bell sounds instead")
	}
	return false
}

func (a *alerter) alert(message string, severity audit.Severity) {
	bell := a.bell
	if a.desktop {
		title := "Inspect this before you go on"
		if severity == audit.Reshoot {
			title = "Shoot this again"
		}
		bell = !a.show(title, message) || bell
	}
	if bell && (a.c.errTerminal || a.c.outTerminal) {
		fmt.Fprint(a.c.err, "\a")
	}
}

// said returns the remarks to be made since it was last asked.
func (a *alerter) said() []string {
	said := a.remarks
	a.remarks = nil
	if a.programs != nil {
		said = append(said, a.programs.said()...)
	}
	return said
}

// end ends the programs that run for findings, so long from now at the latest.
func (a *alerter) end(after time.Duration) {
	if a.programs != nil {
		a.programs.end(after)
	}
}
