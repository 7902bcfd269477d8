package main

import (
	"bytes"
	"errors"
	"io"
	"os"
	"os/exec"
	"strings"
	"sync"
	"testing"
)

// A fragile writer panics.
type fragile struct{}

func (fragile) Write([]byte) (int, error) { panic("out of paper \x1b[2J") }

// TestCrashIsNoVerdict holds that a fault of the program ends it with the status of
// what could not be audited and a plain sentence, also in another goroutine.
func TestCrashIsNoVerdict(t *testing.T) {
	var said bytes.Buffer
	c := &console{out: fragile{}, err: &said}
	if got := run(t.Context(), []string{"rules"}, c); got != statusNotAudited {
		t.Errorf("status %d, want %d", got, statusNotAudited)
	}
	want := "prestrike: the program failed here, please report it (out of paper \\x1b[2J at crash_test.go:"
	if got := said.String(); !strings.HasPrefix(got, want) || strings.Count(got, "\n") != 1 {
		t.Errorf("said %q, want %q and the line", got, want)
	}

	ended := make(chan int, 1)
	said.Reset()
	c = &console{out: io.Discard, err: &said, exit: func(code int) { ended <- code }}
	go func() {
		defer c.guard()
		var names []string
		said.WriteString(names[len(ended)])
	}()
	if got := <-ended; got != statusNotAudited || !strings.Contains(said.String(), "index out of range [0] with length 0 at crash_test.go:") {
		t.Errorf("status %d, said %q", got, said.String())
	}
}

// TestCrashStatus holds that what nothing recovers ends a process with none of the
// statuses that mean something.
func TestCrashStatus(t *testing.T) {
	const how = "PRESTRIKE_TEST_CRASH"
	switch os.Getenv(how) {
	case "goroutine":
		crashesAreSignals()
		go func() { panic("in a goroutine") }()
		select {}
	case "runtime":
		crashesAreSignals()
		lock := new(sync.Mutex)
		lock.Unlock() // fatal, and no panic
	}
	for _, way := range []string{"goroutine", "runtime"} {
		cmd := exec.Command(os.Args[0], "-test.run=^TestCrashStatus$")
		cmd.Dir = t.TempDir() // where the system may leave its memory
		cmd.Env = append(os.Environ(), how+"="+way)
		out, err := cmd.CombinedOutput()
		exit, ok := errors.AsType[*exec.ExitError](err)
		if !ok {
			t.Fatalf("%s: %v\n%s", way, err, out)
		}
		if code := exit.ExitCode(); code >= statusGood && code <= statusNotAudited {
			t.Errorf("%s: status %d", way, code)
		}
	}
}
