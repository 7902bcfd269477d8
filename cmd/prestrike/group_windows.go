package main

import (
	"os/exec"
	"sync"
	"unsafe"

	"golang.org/x/sys/windows"
)

// A group is a program and all that it starts: a job object.
type group struct {
	mu  sync.Mutex
	job windows.Handle // 0 when it is closed
}

// startGroup starts the program in a group of its own. What it starts in the
// instant before it is put there is not in the group.
func startGroup(cmd *exec.Cmd) (*group, error) {
	job, err := windows.CreateJobObject(nil, nil)
	if err != nil {
		return nil, err
	}
	g := &group{job: job}
	limits := windows.JOBOBJECT_EXTENDED_LIMIT_INFORMATION{
		BasicLimitInformation: windows.JOBOBJECT_BASIC_LIMIT_INFORMATION{LimitFlags: windows.JOB_OBJECT_LIMIT_KILL_ON_JOB_CLOSE},
	}
	_, err = windows.SetInformationJobObject(job, windows.JobObjectExtendedLimitInformation, uintptr(unsafe.Pointer(&limits)), uint32(unsafe.Sizeof(limits)))
	if err == nil {
		err = cmd.Start()
	}
	if err != nil {
		g.close()
		return nil, err
	}
	const access = windows.PROCESS_SET_QUOTA | windows.PROCESS_TERMINATE
	if process, err := windows.OpenProcess(access, false, uint32(cmd.Process.Pid)); err == nil {
		// Where it fails the program has ended already, or is in a job that
		// allows no other: it runs all the same.
		_ = windows.AssignProcessToJobObject(job, process)
		_ = windows.CloseHandle(process)
	}
	return g, nil
}

// accounting is JOBOBJECT_BASIC_ACCOUNTING_INFORMATION.
type accounting struct {
	userTime, kernelTime, periodUserTime, periodKernelTime int64
	pageFaults, processes, active, terminated              uint32
}

// alive reports whether anything of the group still runs.
func (g *group) alive() bool {
	g.mu.Lock()
	defer g.mu.Unlock()
	var a accounting
	if g.job == 0 {
		return false
	}
	err := windows.QueryInformationJobObject(g.job, windows.JobObjectBasicAccountingInformation, uintptr(unsafe.Pointer(&a)), uint32(unsafe.Sizeof(a)), nil)
	return err == nil && a.active > 0
}

func (g *group) kill() {
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.job != 0 {
		_ = windows.TerminateJobObject(g.job, 1) // all have ended, else
	}
}

// close ends what is still in the group.
func (g *group) close() {
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.job != 0 {
		_ = windows.CloseHandle(g.job)
		g.job = 0
	}
}
