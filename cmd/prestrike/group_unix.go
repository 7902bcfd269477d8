//go:build unix

package main

import (
	"errors"
	"os/exec"
	"sync"
	"syscall"
)

// A group is a program and all that it starts, unless that makes itself a group
// of its own.
type group struct {
	id   int
	mu   sync.Mutex
	gone bool // the number may be another's by now
}

// startGroup starts the program as a group of its own. A Ctrl-C in the terminal
// is not for it.
func startGroup(cmd *exec.Cmd) (*group, error) {
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	if err := cmd.Start(); err != nil {
		return nil, err
	}
	return &group{id: cmd.Process.Pid}, nil
}

// alive reports whether anything of the group still runs. It is to be asked when
// the program itself has ended, and never after it has said no.
func (g *group) alive() bool { return g.signal(0) }

func (g *group) kill() { g.signal(syscall.SIGKILL) }

func (g *group) signal(s syscall.Signal) bool {
	g.mu.Lock()
	defer g.mu.Unlock()
	if !g.gone {
		g.gone = errors.Is(syscall.Kill(-g.id, s), syscall.ESRCH)
	}
	return !g.gone
}

func (g *group) close() {}
