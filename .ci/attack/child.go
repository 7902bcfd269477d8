package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strings"
	"sync"
	"syscall"
	"time"
	"unicode"
	"unicode/utf8"
)

// deadline is from when a run counts as one that never ends. It is long, as the machine
// may be busy: what a run takes is counted.
const deadline = time.Minute

// A result is what one run of the program came to.
type result struct {
	status int // -1 where a signal ended it
	late   bool
	out    []byte
	said   []byte
	cpu    time.Duration
	memory int64 // the most that was resident, in bytes
}

// A noting keeps what is written, and reports when there is something.
type noting struct {
	mu    sync.Mutex
	b     bytes.Buffer
	first chan struct{}
	once  sync.Once
}

func (n *noting) Write(p []byte) (int, error) {
	n.mu.Lock()
	defer n.mu.Unlock()
	n.once.Do(func() { close(n.first) })
	return n.b.Write(p)
}

// start runs the program to its end. Where meet is not nil it is called once the program
// runs, and may end it; the channel is closed when the program has written something.
func (a *attack) start(meet func(p *os.Process, written <-chan struct{}), command ...string) (result, error) {
	cmd := exec.Command(command[0], command[1:]...)
	cmd.Env = a.env
	out, said := &noting{first: make(chan struct{})}, &noting{first: make(chan struct{})}
	cmd.Stdout, cmd.Stderr = out, said
	in, err := cmd.StdinPipe() // a watch ends its lines with its input
	if err != nil {
		return result{}, err
	}
	defer in.Close()
	if err := cmd.Start(); err != nil {
		return result{}, err
	}
	var r result
	timer := time.AfterFunc(deadline, func() {
		r.late = true
		_ = cmd.Process.Kill() // it may have ended at this moment
	})
	if meet != nil {
		meet(cmd.Process, out.first)
	}
	err = cmd.Wait()
	timer.Stop()
	if _, ended := err.(*exec.ExitError); err != nil && !ended {
		return r, err
	}
	r.status = cmd.ProcessState.ExitCode()
	r.out, r.said = out.b.Bytes(), said.b.Bytes()
	r.cpu = cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()
	usage, ok := cmd.ProcessState.SysUsage().(*syscall.Rusage)
	if !ok {
		return r, fmt.Errorf("the system does not say what %s took", command[0])
	}
	r.memory = usage.Maxrss * maxrssUnit
	return r, nil
}

// report runs a report as JSON on a folder.
func (a *attack) report(folder string, more ...string) (result, error) {
	return a.start(nil, append([]string{a.exe, "report", folder, "--format", "json"}, more...)...)
}

// watch runs a watch on a folder until it has written something, for 3 s at most, and
// ends it as Ctrl-C does.
func (a *attack) watch(folder string, more ...string) (result, error) {
	return a.start(func(p *os.Process, written <-chan struct{}) {
		select {
		case <-written:
		case <-time.After(3 * time.Second):
		}
		_ = p.Signal(os.Interrupt) // it may have ended
	}, append([]string{a.exe, "watch", folder, "--settle", "50ms"}, more...)...)
}

// shown is what is checked of a report.
type shown struct {
	Verdict  string
	Sessions []struct {
		Sequences []struct {
			Frames    []struct{ Files []string }
			NotJudged []any `json:"not_judged"`
		}
	}
	Files struct {
		Frames, Other int
		Unreadable    []struct{ Path string }
	}
}

func parse(text []byte) (*shown, error) {
	decoder := json.NewDecoder(bytes.NewReader(text))
	var s shown
	if err := decoder.Decode(&s); err != nil {
		return nil, err
	}
	if _, err := decoder.Token(); err != io.EOF {
		return nil, fmt.Errorf("more than one JSON value")
	}
	return &s, nil
}

// files are all that are in frames.
func (s *shown) files() map[string]int {
	all := map[string]int{}
	for _, session := range s.Sessions {
		for _, q := range session.Sequences {
			for _, f := range q.Frames {
				for _, file := range f.Files {
					all[file]++
				}
			}
		}
	}
	return all
}

func (s *shown) notJudged() (n int) {
	for _, session := range s.Sessions {
		for _, q := range session.Sequences {
			n += len(q.NotJudged)
		}
	}
	return n
}

// unsafe returns the first character of a text that a terminal may obey: a control
// character other than the end of a line, one that turns the direction of text, or a
// byte that is none.
func unsafe(text []byte) string {
	for i := 0; i < len(text); {
		r, n := utf8.DecodeRune(text[i:])
		turns := r >= 0x202A && r <= 0x202E || r >= 0x2066 && r <= 0x2069
		if r == utf8.RuneError && n == 1 || r != '\n' && unicode.IsControl(r) || turns {
			return fmt.Sprintf("%q at byte %d of %q", text[i:i+n], i, around(text, i))
		}
		i += n
	}
	return ""
}

func around(text []byte, at int) []byte { return text[max(0, at-40):min(len(text), at+40)] }

// crashed returns what of a run shows that the program itself failed.
func (r *result) crashed() string {
	all := string(r.said) + string(r.out)
	switch {
	case r.late:
		return fmt.Sprintf("it had not ended after %s", deadline)
	case r.status < 0:
		return "a signal ended it"
	case r.status > 3:
		return fmt.Sprintf("status %d", r.status)
	case strings.Contains(all, "the program failed"), strings.Contains(all, "goroutine "):
		return fmt.Sprintf("it failed: %.300s", r.said)
	}
	return ""
}
