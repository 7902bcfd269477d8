package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"prestrike/exifread"
	"prestrike/exifread/exifwrite"

	"github.com/rogpeppe/go-internal/testscript"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"prestrike": nextDay, "findingprogram": findingProgram})
}

// nextDay is the program on the day after the made-up job.
func nextDay() {
	systemClock = func() time.Time { return time.Date(2026, 3, 5, 9, 0, 0, 0, time.Local) }
	main()
}

// TestScripts runs the scripts of testdata/script; UPDATE=1 rewrites what they
// compare with.
func TestScripts(t *testing.T) {
	cache := t.TempDir()
	testscript.Run(t, testscript.Params{
		Dir:                 filepath.Join("..", "..", "testdata", "script"),
		RequireExplicitExec: true,
		RequireUniqueNames:  true,
		UpdateScripts:       os.Getenv("UPDATE") != "",
		Setup: func(e *testscript.Env) error {
			e.Setenv("TZ", "UTC")
			e.Setenv("LC_ALL", "C")
			e.Setenv("NO_COLOR", "1")
			e.Setenv("XDG_CACHE_HOME", cache) // elsewhere than in what a script audits
			return nil
		},
		Condition: func(cond string) (bool, error) {
			if cond == "root" { // whom no permission stops
				return os.Geteuid() == 0, nil
			}
			return false, fmt.Errorf("unknown condition %q", cond)
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"status": scriptStatus, "card": scriptCard, "lose": scriptLose,
			"cut": scriptCut, "flip": scriptFlip, "mvquoted": scriptMove, "waitfor": scriptWaitFor, "raw": scriptRaw,
		},
	})
}

// scriptStatus is "status N COMMAND...": runs the command and wants the exit status.
func scriptStatus(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: status N COMMAND...")
	}
	want, err := strconv.Atoi(args[0])
	ts.Check(err)
	got := 0
	if err := ts.Exec(args[1], args[2:]...); err != nil {
		exit, ok := errors.AsType[*exec.ExitError](err)
		if !ok {
			ts.Fatalf("%v", err)
		}
		got = exit.ExitCode()
	}
	if got != want {
		ts.Fatalf("exit status %d, want %d", got, want)
	}
}

// scriptCard is "card FOLDER": writes a small demonstration session.
func scriptCard(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: card FOLDER")
	}
	ts.Check(writeCard(ts.MkAbs(args[0])))
}

// scriptLose is "lose FOLDER FIRST LAST": removes frames from such a session.
func scriptLose(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 3 {
		ts.Fatalf("usage: lose FOLDER FIRST LAST")
	}
	first, err := strconv.Atoi(args[1])
	ts.Check(err)
	last, err := strconv.Atoi(args[2])
	ts.Check(err)
	for n := first; n <= last; n++ {
		ts.Check(os.Remove(ts.MkAbs(filepath.Join(args[0], "DCIM", "100BXCAM", fmt.Sprintf("BX1_%04d.JPG", n)))))
	}
}

// scriptCut is "cut FILE BYTES": leaves the first bytes of a file.
func scriptCut(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: cut FILE BYTES")
	}
	n, err := strconv.ParseInt(args[1], 10, 64)
	ts.Check(err)
	ts.Check(os.Truncate(ts.MkAbs(args[0]), n))
}

// scriptFlip is "flip FILE BYTE": changes one bit of a file.
func scriptFlip(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: flip FILE BYTE")
	}
	at, err := strconv.ParseInt(args[1], 10, 64)
	ts.Check(err)
	f, err := os.OpenFile(ts.MkAbs(args[0]), os.O_RDWR, 0)
	ts.Check(err)
	defer f.Close()
	var b [1]byte
	_, err = f.ReadAt(b[:], at)
	ts.Check(err)
	b[0] ^= 1
	_, err = f.WriteAt(b[:], at)
	ts.Check(err)
}

// scriptMove is "mvquoted FILE NAME": renames a file in its folder, to a name
// with the escapes of Go, so that it may hold any byte.
func scriptMove(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: mvquoted FILE NAME")
	}
	name, err := strconv.Unquote(`"` + args[1] + `"`)
	ts.Check(err)
	from := ts.MkAbs(args[0])
	ts.Check(os.Rename(from, filepath.Join(filepath.Dir(from), name)))
}

// scriptWaitFor is "waitfor PATTERN": waits until a file is there.
func scriptWaitFor(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: waitfor PATTERN")
	}
	for range 1000 {
		found, err := filepath.Glob(ts.MkAbs(args[0]))
		ts.Check(err)
		if len(found) > 0 {
			return
		}
		time.Sleep(10 * time.Millisecond)
	}
	ts.Fatalf("no %s after 10 s", args[0])
}

// scriptRaw is "raw FILE...": writes beside each JPEG file a raw file of the same exposure.
func scriptRaw(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) == 0 {
		ts.Fatalf("usage: raw FILE...")
	}
	for _, arg := range args {
		file := ts.MkAbs(arg)
		meta, err := exifread.ReadFile(context.Background(), file)
		ts.Check(err)
		block, err := exifwrite.FromMetadata(meta)
		ts.Check(err)
		block.IFD0 = append(block.IFD0, exifwrite.Byte(0xC612, 1, 4, 0, 0)) // DNGVersion
		content, err := block.Encode()
		ts.Check(err)
		ts.Check(os.WriteFile(strings.TrimSuffix(file, filepath.Ext(file))+".DNG", content, 0o666))
	}
}
