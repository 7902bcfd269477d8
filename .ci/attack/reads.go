package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os/exec"
	"strings"
	"time"

	"prestrike/exifread"
)

var errMedium = errors.New("the medium failed")

// A bad medium gives what is asked for, until it does not.
type medium struct {
	r     *bytes.Reader
	reads int // so far
	from  int // the read that goes wrong, and all behind it
	how   func(p []byte, n int) (int, error)
}

func (m *medium) ReadAt(p []byte, off int64) (int, error) {
	m.reads++
	n, err := m.r.ReadAt(p, off)
	if m.reads < m.from {
		return n, err
	}
	return m.how(p, n)
}

// reads has files read from media that fail.
func (a *attack) reads() error {
	ways := []struct {
		what string
		want error
		how  func(p []byte, n int) (int, error)
	}{
		{"fails", errMedium, func([]byte, int) (int, error) { return 0, errMedium }},
		{"fails half way", errMedium, func(_ []byte, n int) (int, error) { return n / 2, errMedium }},
		{"gives nothing", exifread.ErrShrunk, func([]byte, int) (int, error) { return 0, nil }},
		{"ends", exifread.ErrShrunk, func([]byte, int) (int, error) { return 0, io.EOF }},
		{"shrinks", exifread.ErrShrunk, func(_ []byte, n int) (int, error) { return n / 2, io.EOF }},
		{"gives one byte less", exifread.ErrShrunk, func(_ []byte, n int) (int, error) { return max(0, n-1), io.EOF }},
	}
	list := append(hostiles(), hostile{what: "a sound frame", name: "BX1_0001.JPG", content: func() []byte { return frame(1) }})
	read, reached := 0, 0
	var longest time.Duration
	for _, h := range list {
		content := h.content()
		if len(content) == 0 {
			continue
		}
		for _, way := range ways {
			for _, from := range []int{1, 2, 3, 5, 8, 13, 40} {
				m := &medium{r: bytes.NewReader(content), from: from, how: way.how}
				began := cpu()
				_, err := exifread.Read(context.Background(), m, int64(len(content)))
				took := cpu() - began
				longest = max(longest, took)
				read++
				if took > mostCPU {
					a.breach("reading %s from a medium that %s at read %d takes %.2f s", h.what, way.what, from, took.Seconds())
				}
				if _, failed := errors.AsType[*exifread.PanicError](err); failed {
					a.breach("reading %s from a medium that %s at read %d: %v", h.what, way.what, from, err)
				}
				if m.reads < from {
					break // it never comes so far
				}
				reached++
				if !errors.Is(err, way.want) {
					a.breach("reading %s from a medium that %s at read %d: error %v, want %v", h.what, way.what, from, err, way.want)
				}
			}
		}
	}
	fmt.Printf("reads: %d files read in %d ways, %d of which met the fault; at most %.2f s of CPU time\n", len(list), read, reached, longest.Seconds())
	if _, err := exec.LookPath("strace"); err != nil {
		fmt.Println("reads: no strace here, so that no report was run on a medium that fails")
		return nil
	}
	return a.traced()
}

// traced runs reports whose calls of the system fail.
func (a *attack) traced() error {
	const frames = 8
	folder, err := a.sound("reads", frames)
	if err != nil {
		return err
	}
	clean, err := a.report(folder, "--no-cache")
	if err != nil {
		return err
	}
	whole, err := parse(clean.out)
	if err != nil {
		return err
	}
	same, named, refused := 0, 0, 0
	for _, fault := range []string{
		"pread64:retval=0", "pread64:retval=1", "pread64:error=EIO", "pread64:error=EINTR", "read:error=EIO",
		"openat:error=EIO", "openat:error=EMFILE", "getdents64:error=EIO", "newfstatat:error=EIO", "fstat:error=EIO",
	} {
		for _, when := range []string{"1", "3", "6", "9", "14", "1+", "4+", "11+"} {
			if strings.Contains(fault, "EINTR") && strings.HasSuffix(when, "+") {
				continue // a call that is interrupted each time goes on for good
			}
			call, _, _ := bytes.Cut([]byte(fault), []byte(":"))
			got, err := a.start(nil, "strace", "-f", "-o", "/dev/null", "-e", "trace="+string(call), "-e", "inject="+fault+":when="+when,
				a.exe, "report", folder, "--format", "json", "--no-cache")
			if err != nil {
				return err
			}
			if what := got.crashed(); what != "" {
				a.breach("%s, %s: %s", fault, when, what)
				continue
			}
			if got.status == 3 && len(got.out) == 0 {
				refused++
				if len(got.said) == 0 {
					a.breach("%s, %s: nothing was said", fault, when)
				}
				continue
			}
			s, err := parse(got.out)
			switch {
			case err != nil:
				a.breach("%s, %s: status %d, no JSON: %v", fault, when, got.status, err)
			case bytes.Equal(got.out, clean.out):
				same++
			case s.Verdict == whole.Verdict && s.notJudged() <= whole.notJudged() && len(s.Files.Unreadable) == 0:
				a.breach("%s, %s: another report, and nothing in it says why: %s", fault, when, got.said)
			default:
				named++
			}
		}
	}
	fmt.Printf("reads: reports whose calls of the system fail: %d as without, %d that say so, %d refused; verdict without: %s\n", same, named, refused, whole.Verdict)
	if named == 0 {
		return errors.New("no fault reached a frame: the calls are others")
	}
	return nil
}
