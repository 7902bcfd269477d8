package main

import (
	"bufio"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"
)

// findingProgram is what tests run for a finding, as a process of its own: the
// first argument is what it does, the second where to call. A call lasts until
// the process ends or is answered.
func findingProgram() {
	call := func() {
		conn, err := net.Dial("tcp", os.Args[2])
		if err != nil {
			os.Exit(70)
		}
		fmt.Fprintln(conn, os.Args[1])
		_, _ = conn.Read(make([]byte, 1)) // an answer, or the end of the test
	}
	switch os.Args[1] {
	case "flood":
		line := []byte(strings.Repeat("light the lamp ", 100))
		for range 10_000 { // 15 MB
			if _, err := os.Stdout.Write(line); err != nil {
				os.Exit(71)
			}
		}
		os.Exit(1)
	case "leave", "leave-and-fail", "hang-both": // a child that holds everything open
		child := exec.Command(os.Args[0], "hang", os.Args[2])
		child.Stdin, child.Stdout, child.Stderr = os.Stdin, os.Stdout, os.Stderr
		if err := child.Start(); err != nil {
			os.Exit(72)
		}
		switch os.Args[1] {
		case "leave-and-fail":
			os.Exit(1)
		case "hang-both":
			call()
		}
	case "hang":
		call()
	case "tell":
		conn, err := net.Dial("tcp", os.Args[2])
		if err == nil {
			_, err = io.Copy(conn, os.Stdin)
		}
		if err != nil || conn.Close() != nil {
			os.Exit(74)
		}
	case "read":
		data, err := io.ReadAll(os.Stdin)
		if err != nil || len(data) == 0 {
			os.Exit(73)
		}
	}
}

// A callee is who findingProgram calls.
type callee struct {
	t     *testing.T
	at    string
	calls chan net.Conn
}

func newCallee(t *testing.T) *callee {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Skipf("no network here: %v", err)
	}
	c := &callee{t: t, at: listener.Addr().String(), calls: make(chan net.Conn, 100)}
	go func() {
		for {
			conn, err := listener.Accept()
			if err != nil {
				return
			}
			c.calls <- conn
		}
	}()
	t.Cleanup(func() {
		listener.Close()
		for {
			select {
			case conn := <-c.calls:
				conn.Close()
			default:
				return
			}
		}
	})
	return c
}

// next waits for a call.
func (c *callee) next() net.Conn {
	conn := <-c.calls
	if _, err := bufio.NewReader(conn).ReadString('\n'); err != nil {
		c.t.Fatalf("a call without a word: %v", err)
	}
	c.t.Cleanup(func() { conn.Close() })
	return conn
}

// ended waits until the process that called is no more.
func (c *callee) ended(conn net.Conn) { _, _ = io.Copy(io.Discard, conn) }

// wait waits until the program that was given something has ended, and what it
// left behind.
func (p *programs) wait() {
	p.mu.Lock()
	defer p.mu.Unlock()
	for len(p.queue)+len(p.running) > 0 {
		p.idle.Wait()
	}
}

const aFinding = `{"event":"finding"}`

// programFor runs findingProgram for one finding until it has ended, with a limit
// long enough for none to reach it but those that hang.
func programFor(t *testing.T, what string, limit time.Duration, at string) *programs {
	t.Helper()
	p := newPrograms([]string{"findingprogram", what, at}, func() {})
	p.limit = limit
	p.give([]byte(aFinding))
	return p
}

func TestProgramEndsWell(t *testing.T) {
	p := programFor(t, "read", time.Hour, "")
	p.wait()
	if said := p.said(); len(said) > 0 {
		t.Errorf("remarks %q, want none", said)
	}
}

// A finding that is longer than a pipe holds, for a program that does not read it.
func TestProgramThatDoesNotRead(t *testing.T) {
	p := newPrograms([]string{"findingprogram", "nothing"}, func() {})
	p.limit = time.Hour
	p.give(make([]byte, 8<<20))
	p.wait()
	if said := p.said(); len(said) > 0 {
		t.Errorf("remarks %q, want none", said)
	}
}

func TestProgramThatWritesMuch(t *testing.T) {
	p := programFor(t, "flood", time.Hour, "")
	var one *program
	p.mu.Lock()
	for one = range p.running {
	}
	p.mu.Unlock()
	p.wait()
	<-one.copied
	if n := len(one.output.String()); n != mostSaid {
		t.Errorf("%d bytes of its output are kept, want %d", n, mostSaid)
	}
	said := p.said()
	if len(said) != 1 || !strings.HasPrefix(said[0], "--on-finding findingprogram: exit status 1 light the lamp") || len(said[0]) > 300 {
		t.Errorf("remarks %q, want one of at most 300 bytes", said)
	}
}

// A program that leaves a child behind and ends well has succeeded; the child is
// ended after the limit.
func TestProgramThatLeavesAChild(t *testing.T) {
	callee := newCallee(t)
	p := programFor(t, "leave", 3*time.Second, callee.at)
	child := callee.next()
	callee.ended(child)
	p.wait()
	if said := p.said(); len(said) > 0 {
		t.Errorf("remarks %q, want none", said)
	}
}

// One that fails is reported while the child still runs.
func TestProgramThatFailsAndLeavesAChild(t *testing.T) {
	callee := newCallee(t)
	p := programFor(t, "leave-and-fail", time.Hour, callee.at)
	child := callee.next()
	var said []string
	for len(said) == 0 {
		said = p.said()
		time.Sleep(time.Millisecond)
	}
	if len(said) != 1 || !strings.Contains(said[0], "exit status 1") {
		t.Errorf("remarks %q, want the exit status", said)
	}
	p.end(0)
	callee.ended(child)
}

func TestProgramThatHangs(t *testing.T) {
	callee := newCallee(t)
	p := programFor(t, "hang-both", time.Second, callee.at)
	p.wait()
	if said := p.said(); len(said) != 1 || said[0] != "--on-finding findingprogram: stopped after 1 s" {
		t.Errorf("remarks %q, want that it was stopped", said)
	}
	// On a busy machine it may be stopped before it calls, or its child.
	for {
		select {
		case conn := <-callee.calls:
			callee.ended(conn)
			continue
		default:
		}
		break
	}
}

// A few run at once, the others wait; what is not given to a program is reported at
// the end, which waits for none.
func TestProgramsWait(t *testing.T) {
	callee := newCallee(t)
	p := newPrograms([]string{"findingprogram", "hang", callee.at}, func() {})
	p.limit = time.Hour
	const findings = 20
	for range findings {
		p.give([]byte(aFinding))
	}
	var calls []net.Conn
	for range programsAtOnce {
		calls = append(calls, callee.next())
	}
	p.mu.Lock()
	running, waiting := len(p.running), len(p.queue)
	p.mu.Unlock()
	if running != programsAtOnce || waiting != findings-programsAtOnce {
		t.Errorf("%d programs run and %d findings wait, want %d and %d", running, waiting, programsAtOnce, findings-programsAtOnce)
	}
	// One that ends makes room for another.
	if _, err := calls[0].Write([]byte{1}); err != nil {
		t.Fatal(err)
	}
	calls[0] = callee.next()
	p.end(0)
	for _, call := range calls {
		callee.ended(call)
	}
	want := []string{
		"--on-finding findingprogram: 15 findings were not given to it, as it took too long",
		"--on-finding findingprogram: 4 programs were stopped, as the watch ended",
	}
	if said := p.said(); strings.Join(said, "\n") != strings.Join(want, "\n") {
		t.Errorf("remarks %q, want %q", said, want)
	}
	p.wait() // and nothing is reported of it later
	if said := p.said(); len(said) > 0 {
		t.Errorf("remarks after the end %q, want none", said)
	}
}

// What waits is bounded, and what is too much is counted.
func TestProgramsWaitWithinBounds(t *testing.T) {
	callee := newCallee(t)
	p := newPrograms([]string{"findingprogram", "hang", callee.at}, func() {})
	p.limit = time.Hour
	for range programsAtOnce {
		p.give([]byte(aFinding))
	}
	for range 5 {
		p.give(make([]byte, mostWaiting/4))
	}
	p.mu.Lock()
	waiting, left := len(p.queue), p.left
	p.mu.Unlock()
	if waiting != 4 || left != 1 {
		t.Errorf("%d findings wait and %d are left out, want 4 and 1", waiting, left)
	}
	p.end(0)
	if said := p.said(); len(said) == 0 || !strings.Contains(said[0], "5 findings were not given") {
		t.Errorf("remarks %q, want the number of findings", said)
	}
}

// A program that hangs does not hold the end of a watch.
func TestWatchEndsWhileAProgramHangs(t *testing.T) {
	callee := newCallee(t)
	w := startWatch(t, nil, "--on-finding", "findingprogram hang-both "+callee.at)
	w.wait(&w.out, "holds no frames yet")
	w.feed("0013", "0014", "0015", "0016", "0019", "0020", "0021", "0022")
	w.enter("Missing frames")
	one, two := callee.next(), callee.next()
	if status := w.end(); status != statusReshoot {
		t.Errorf("status %d, want %d", status, statusReshoot)
	}
	callee.ended(one)
	callee.ended(two)
	if !strings.Contains(w.err.String(), "1 program was stopped, as the watch ended") {
		t.Errorf("remarks %q, want that the program was stopped", w.err.String())
	}
}
