package main

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strings"
	"sync"
	"time"

	"prestrike/audit/shoot"
	"prestrike/audit/words"
)

const (
	// programTime is how long a program may take for a finding, with all that it
	// started.
	programTime = 10 * time.Second
	// programsAtOnce bounds how many of them run at the same time.
	programsAtOnce = 4
	// programsLeft is how long they may hold the end of a watch.
	programsLeft = 2 * time.Second
	// mostSaid is how many bytes are kept of what a program writes, in case it fails.
	mostSaid = 64 << 10
	// mostWaiting is how many bytes of findings wait for a program at most.
	mostWaiting = 16 << 20
)

// programs runs the user's program for findings, a few at a time.
type programs struct {
	command []string
	limit   time.Duration // for each
	guard   func()        // deferred by every goroutine

	mu      sync.Mutex
	queue   [][]byte // findings that wait
	waiting int      // bytes in queue
	left    int      // findings that no program got
	running map[*program]bool
	remarks []string // that wait to be made, as a line on the terminal may be open
	ended   bool
	idle    sync.Cond // nothing runs and nothing waits, or time is up
}

func newPrograms(command []string, guard func()) *programs {
	p := &programs{command: command, limit: programTime, guard: guard, running: map[*program]bool{}}
	p.idle.L = &p.mu
	return p
}

// give has a program run for a finding, now or when another has ended.
func (p *programs) give(finding []byte) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.ended || p.waiting+len(finding) > mostWaiting {
		p.left++
		return
	}
	p.queue = append(p.queue, finding)
	p.waiting += len(finding)
	p.next()
}

// next starts programs while there is room. p is locked.
func (p *programs) next() {
	for !p.ended && len(p.queue) > 0 && len(p.running) < programsAtOnce {
		finding := p.queue[0]
		p.queue = p.queue[1:]
		p.waiting -= len(finding)
		one, err := startProgram(p.command, finding, p.guard)
		if err != nil {
			p.remark(err, "")
			continue
		}
		p.running[one] = true
		go func() {
			defer p.guard()
			p.follow(one)
		}()
	}
	if len(p.queue)+len(p.running) == 0 {
		p.idle.Broadcast()
	}
}

// follow waits for a program, and for what it left behind, and ends both when
// their time is up.
func (p *programs) follow(one *program) {
	limit := time.NewTimer(p.limit)
	defer limit.Stop()
	select {
	case <-one.exited:
		if one.err != nil {
			p.failed(one.err, one.said())
		}
		look := time.NewTicker(50 * time.Millisecond)
		defer look.Stop()
		for late := false; !late && one.group.alive(); { // what it left behind
			select {
			case <-look.C:
			case <-limit.C:
				late = true
			}
		}
		one.group.kill()
	case <-limit.C:
		one.group.kill()
		p.failed(fmt.Errorf("stopped after %s", shoot.FormatDuration(p.limit)), one.said())
	}
	one.group.close()
	p.mu.Lock()
	defer p.mu.Unlock()
	delete(p.running, one)
	p.next()
}

// failed notes what went wrong with a program, unless the watch ended it.
func (p *programs) failed(err error, said string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if !p.ended {
		p.remark(err, said)
	}
}

// remark notes what went wrong. p is locked.
func (p *programs) remark(err error, said string) {
	said = strings.TrimSpace(said)
	if r := []rune(said); len(r) > 200 {
		said = string(r[:200]) + "…"
	}
	p.remarks = append(p.remarks, strings.TrimSpace(fmt.Sprintf("--on-finding %s: %s %s", p.command[0], err, said)))
}

// said returns the remarks to be made since it was last asked.
func (p *programs) said() []string {
	p.mu.Lock()
	defer p.mu.Unlock()
	said := p.remarks
	p.remarks = nil
	return said
}

// end lets programs go on until all have ended, or for so long at most, and
// ends those that are left. What no program got is among the remarks.
func (p *programs) end(after time.Duration) {
	p.mu.Lock()
	defer p.mu.Unlock()
	late := false
	timer := time.AfterFunc(after, func() {
		defer p.guard()
		p.mu.Lock()
		defer p.mu.Unlock()
		late = true
		p.idle.Broadcast()
	})
	defer timer.Stop()
	for len(p.queue)+len(p.running) > 0 && !late {
		p.idle.Wait()
	}
	if p.ended {
		return
	}
	p.ended = true
	stopped := 0
	for one := range p.running {
		select {
		case <-one.exited: // only what it left behind is still there
		default:
			stopped++
		}
		one.group.kill()
	}
	if n := p.left + len(p.queue); n > 0 {
		p.remarks = append(p.remarks, fmt.Sprintf("--on-finding %s: %s given to it, as it took too long", p.command[0], words.Count(n, "finding was not", "findings were not")))
	}
	if stopped > 0 {
		p.remarks = append(p.remarks, fmt.Sprintf("--on-finding %s: %s stopped, as the watch ended", p.command[0], words.Count(stopped, "program was", "programs were")))
	}
	p.queue, p.left = nil, 0
}

// A program is one run of the user's program.
type program struct {
	group  *group
	exited chan struct{} // closed when the program itself has ended
	err    error         // how; to be read after that
	output *head
	copied chan struct{} // closed when nobody holds its output any more
}

// startProgram starts the program with a finding on its input.
func startProgram(command []string, finding []byte, guard func()) (*program, error) {
	// A pipe of our own: with one of exec's, Wait would wait for whatever the
	// program leaves behind.
	from, to, err := os.Pipe()
	if err != nil {
		return nil, err
	}
	cmd := exec.Command(command[0], command[1:]...)
	cmd.Stdin, cmd.Stdout, cmd.Stderr = bytes.NewReader(finding), to, to
	cmd.WaitDelay = time.Second // for input that is never read
	group, err := startGroup(cmd)
	to.Close()
	if err != nil {
		from.Close()
		return nil, err
	}
	p := &program{group: group, exited: make(chan struct{}), output: &head{most: mostSaid}, copied: make(chan struct{})}
	go func() {
		defer guard()
		defer close(p.copied)
		defer from.Close()
		_, _ = io.Copy(p.output, from) // what cannot be read is left out
	}()
	go func() {
		defer guard()
		defer close(p.exited)
		if p.err = cmd.Wait(); p.err == exec.ErrWaitDelay { // it has ended well, its input was of no use
			p.err = nil
		}
	}()
	return p, nil
}

// said returns the beginning of what the program wrote. It is for a program that
// has ended, and waits a moment for the last of it.
func (p *program) said() string {
	select {
	case <-p.copied:
	case <-time.After(200 * time.Millisecond):
	}
	return p.output.String()
}

// A head keeps the first bytes that are written to it, and takes all.
type head struct {
	most int
	mu   sync.Mutex
	kept []byte
}

func (h *head) Write(b []byte) (int, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.kept = append(h.kept, b[:min(len(b), h.most-len(h.kept))]...)
	return len(b), nil
}

func (h *head) String() string {
	h.mu.Lock()
	defer h.mu.Unlock()
	return string(h.kept)
}
