package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os/exec"
	"slices"
	"strings"
	"sync"
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
	command []string
	notify  func(title, message string) error

	mu       sync.Mutex
	remarked bool // that there is no notification service
	running  sync.WaitGroup
	slots    chan struct{}
}

const (
	// commandTime is how long a program may take for a finding.
	commandTime = 10 * time.Second
	// commandsAtOnce bounds how many of them run at the same time.
	commandsAtOnce = 4
)

func newAlerter(c *console, f *watchFlags) (*alerter, error) {
	a := &alerter{c: c, from: audit.Reshoot, slots: make(chan struct{}, commandsAtOnce)}
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
	a.command = strings.Fields(f.onFinding)
	if len(a.command) > 0 {
		if _, err := exec.LookPath(a.command[0]); err != nil {
			return nil, fmt.Errorf("--on-finding: %w", err)
		}
	}
	return a, nil
}

// event alerts to what is new in an event: once, however many findings it has.
func (a *alerter) event(e audit.LiveEvent) {
	worst := slices.MaxFunc(append(slices.Clone(e.Findings), &audit.Finding{}), func(x, y *audit.Finding) int { return int(x.Severity) - int(y.Severity) })
	message := worst.Message
	if e.Kind == audit.SequenceOverdue {
		worst, message = &audit.Finding{Severity: a.from}, e.Reason
	}
	if worst.Severity >= a.from && worst.Severity > 0 {
		a.alert(report.Visible(e.Sequence.ID+": "+message), worst.Severity)
	}
	if len(a.command) == 0 {
		return
	}
	for _, f := range e.Findings {
		if f.Severity < a.from {
			continue
		}
		var b bytes.Buffer
		if err := report.WriteFindingJSON(&b, e.Sequence, f); err != nil {
			a.c.remark("--on-finding: %s", err)
			continue
		}
		a.running.Go(func() { a.run(b.Bytes()) })
	}
}

func (a *alerter) alert(message string, severity audit.Severity) {
	bell := a.bell
	if a.desktop {
		title := "Look at this before you go on"
		if severity == audit.Reshoot {
			title = "Shoot this again"
		}
		if err := a.notify(title, message); err != nil {
			bell = true
			if !a.remarked {
				a.remarked = true
				a.c.remark("no desktop notices can be shown here (%s): the bell sounds instead", err)
			}
		}
	}
	if bell && (a.c.errTerminal || a.c.outTerminal) {
		fmt.Fprint(a.c.err, "\a")
	}
}

// run runs the user's program with a finding on its input.
func (a *alerter) run(finding []byte) {
	a.slots <- struct{}{}
	defer func() { <-a.slots }()
	ctx, cancel := context.WithTimeout(context.Background(), commandTime)
	defer cancel()
	cmd := exec.CommandContext(ctx, a.command[0], a.command[1:]...)
	cmd.Stdin = bytes.NewReader(finding)
	cmd.WaitDelay = time.Second
	out, err := cmd.CombinedOutput()
	if ctx.Err() != nil {
		err = fmt.Errorf("stopped after %s", commandTime)
	}
	if err != nil {
		a.mu.Lock()
		defer a.mu.Unlock()
		said := strings.TrimSpace(string(out))
		if len(said) > 200 {
			said = said[:200]
		}
		a.c.remark("--on-finding %s: %s %s", a.command[0], err, said)
	}
}

// wait lets the programs that still run end.
func (a *alerter) wait() { a.running.Wait() }
