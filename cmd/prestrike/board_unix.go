//go:build unix

package main

import (
	"os"
	"os/signal"
	"syscall"
)

// boardSignals has the board taken down before a signal ends or stops the program, and put
// up again when it goes on. It returns a function that ends that.
func boardSignals(c *console, b *bigBoard) (end func()) {
	signals := make(chan os.Signal, 1)
	for _, s := range []os.Signal{syscall.SIGHUP, syscall.SIGQUIT, syscall.SIGTSTP} {
		// What the program was started to ignore, as by nohup, neither ends nor stops it.
		if !signal.Ignored(s) {
			signal.Notify(signals, s)
		}
	}
	done := make(chan struct{})
	go func() {
		defer c.guard()
		for {
			select {
			case <-done:
				return
			case s := <-signals:
				c.takeDown()
				if s == syscall.SIGTSTP { // Ctrl-Z
					_ = syscall.Kill(os.Getpid(), syscall.SIGSTOP)
					c.putUp(b)
					continue
				}
				signal.Reset(s)
				_ = syscall.Kill(os.Getpid(), s.(syscall.Signal))
			}
		}
	}()
	return func() {
		signal.Stop(signals)
		close(done)
	}
}
