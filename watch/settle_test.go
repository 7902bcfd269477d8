package watch

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"
)

var errTorn = errors.New("image data ends early")

// A fakeFile has the size that its writer has reached, and reads well at its full size.
type fakeFile struct {
	size, full int64
	mtime      time.Time
	err        error // from reading its entry or opening it
}

// A bench runs a settler on made-up files in made-up time.
type bench struct {
	mu    sync.Mutex
	files map[string]*fakeFile
	asked []string
	told  []string // "seconds kind path size error"

	start  time.Time
	news   chan news
	opened map[string]int
	onOpen func(path string)
	cancel context.CancelFunc
	ended  chan struct{} // closed when the settler has
}

const settleTime = 1500 * time.Millisecond

func newBench(t *testing.T) *bench {
	b := &bench{files: map[string]*fakeFile{}, start: time.Now(), news: make(chan news), opened: map[string]int{}, ended: make(chan struct{})}
	out := make(chan Event)
	s := &settler{
		guard:  func() {},
		settle: settleTime, scan: time.Minute, stat: b.stat, check: b.check, news: b.news, out: out,
		ask: func(dir string) {
			b.mu.Lock()
			defer b.mu.Unlock()
			b.asked = append(b.asked, dir)
		},
	}
	ctx, cancel := context.WithCancel(t.Context())
	b.cancel = cancel
	go func() {
		defer close(b.ended)
		s.run(ctx)
	}()
	go func() {
		for {
			select {
			case e := <-out:
				b.mu.Lock()
				line := fmt.Sprintf("%.1f %v %s %d", time.Since(b.start).Seconds(), e.Kind, e.Path, e.Size)
				if e.Err != nil {
					line += " " + e.Err.Error()
				}
				b.told = append(b.told, line)
				b.mu.Unlock()
			case <-ctx.Done():
				return
			}
		}
	}()
	return b
}

func (b *bench) look(path string) (stamp, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	f := b.files[path]
	if f == nil {
		return stamp{}, &fs.PathError{Op: "stat", Path: path, Err: fs.ErrNotExist}
	}
	return stamp{f.size, f.mtime.UnixNano()}, f.err
}

func (b *bench) stat(path string) (stamp, error) { return b.look(path) }

func (b *bench) check(_ context.Context, path string, want stamp) (stamp, error) {
	b.mu.Lock()
	b.opened[path]++
	onOpen := b.onOpen
	b.mu.Unlock()
	if onOpen != nil {
		onOpen(path)
	}
	got, err := b.look(path)
	if err != nil {
		return want, err
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	if f := b.files[path]; f.size < f.full {
		err = errTorn
	}
	return got, err
}

// set gives a file a size now, and reports it unless silent.
func (b *bench) set(path string, size, full int64, silent bool) {
	b.mu.Lock()
	b.files[path] = &fakeFile{size: size, full: full, mtime: time.Now()}
	b.mu.Unlock()
	if !silent {
		b.touch(path)
	}
}

func (b *bench) touch(path string) {
	b.news <- news{kind: newsTouched, path: "d", names: []string{path[2:]}}
}

func (b *bench) remove(path string) {
	b.mu.Lock()
	delete(b.files, path)
	b.mu.Unlock()
}

func (b *bench) age(path string, d time.Duration) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.files[path].mtime = time.Now().Add(-d)
}

func (b *bench) want(t *testing.T, want ...string) {
	t.Helper()
	synctest.Wait()
	b.mu.Lock()
	defer b.mu.Unlock()
	if !slices.Equal(b.told, want) {
		t.Errorf("told\n%q, want\n%q", b.told, want)
	}
}

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }

// at sleeps until s seconds after the start.
func (b *bench) at(s float64) { time.Sleep(time.Until(b.start.Add(seconds(s)))) }

func TestSettle(t *testing.T) {
	tests := []struct {
		name string
		do   func(b *bench)
		want []string
	}{
		{
			"at once", func(b *bench) { b.set("d/a", 9, 9, false) },
			[]string{"1.5 arrived d/a 9"},
		},
		{
			"slow copy of 10 s with an event for each write",
			func(b *bench) {
				for n := range int64(101) {
					b.at(float64(n) / 10)
					b.set("d/a", n, 100, false)
				}
			},
			[]string{"11.5 arrived d/a 100"},
		},
		{
			// The last growth is seen by the check after it, at most a third of
			// the settling time late.
			"slow copy of 10 s of which only the first event came",
			func(b *bench) {
				b.set("d/a", 0, 100, false)
				for n := range int64(101) {
					b.at(float64(n)/10 + 0.03)
					b.set("d/a", n, 100, true)
				}
			},
			[]string{"12.0 arrived d/a 100"},
		},
		{
			"copy that pauses longer than the settling time, and is not torn",
			func(b *bench) {
				for n := range int64(6) {
					b.at(float64(n) * 10)
					b.set("d/a", n, 5, false)
				}
			},
			[]string{"51.5 arrived d/a 5"},
		},
		{
			"writes that leave size and time alone keep it waiting",
			func(b *bench) {
				b.set("d/a", 5, 5, false)
				b.at(1)
				b.touch("d/a")
			},
			[]string{"2.5 arrived d/a 5"},
		},
		{
			"torn for good, then completed",
			func(b *bench) {
				b.set("d/a", 4, 9, false)
				b.at(30)
				b.set("d/a", 9, 9, false)
			},
			[]string{"12.0 arrived d/a 4 image data ends early", "31.5 changed d/a 9"},
		},
		{
			"completed while it waits to be called torn",
			func(b *bench) {
				b.set("d/a", 4, 9, false)
				b.at(11)
				b.set("d/a", 9, 9, false)
			},
			[]string{"12.5 arrived d/a 9"},
		},
		{
			"rewritten, same size",
			func(b *bench) {
				b.set("d/a", 9, 9, false)
				b.at(5)
				b.set("d/a", 9, 9, false)
			},
			[]string{"1.5 arrived d/a 9", "6.5 changed d/a 9"},
		},
		{
			"looked at again without a change",
			func(b *bench) {
				b.set("d/a", 9, 9, false)
				b.at(5)
				b.touch("d/a")
				b.at(9)
				b.news <- news{kind: newsListed, path: "d", names: []string{"a"}}
			},
			[]string{"1.5 arrived d/a 9"},
		},
		{
			"gone before it was complete",
			func(b *bench) {
				b.set("d/a", 9, 9, false)
				b.at(1)
				b.remove("d/a")
			},
			nil,
		},
		{
			"goes on after a pause, without an event",
			func(b *bench) {
				b.set("d/a", 9, 9, false)
				b.at(3.1)
				b.set("d/a", 12, 12, true)
			},
			// Seen by the check two settling times after it was handed out.
			[]string{"1.5 arrived d/a 9", "6.0 changed d/a 12"},
		},
		{
			"rewritten long after, without an event, is found by the sweep",
			func(b *bench) {
				b.set("d/a", 9, 9, false)
				b.at(1000.3)
				b.set("d/a", 12, 12, true)
			},
			[]string{"1.5 arrived d/a 9", "1003.5 changed d/a 12"},
		},
		{
			"cannot be looked at, then can",
			func(b *bench) {
				b.set("d/a", 9, 9, true)
				b.files["d/a"].err = fs.ErrPermission
				b.touch("d/a")
				b.at(100.3)
				b.set("d/a", 9, 9, true)
			},
			// The sweep sees it at 101 s.
			[]string{"12.0 arrived d/a 0 permission denied", "103.5 changed d/a 9"},
		},
		{
			"renamed away and back within the settling time",
			func(b *bench) {
				b.set("d/a", 9, 9, false)
				b.at(5)
				f := b.files["d/a"]
				b.remove("d/a")
				b.touch("d/a")
				b.at(6)
				b.mu.Lock()
				b.files["d/a"] = f
				b.mu.Unlock()
				b.touch("d/a")
			},
			[]string{"1.5 arrived d/a 9"},
		},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				b := newBench(t)
				test.do(b)
				time.Sleep(20 * time.Minute)
				b.want(t, test.want...)
				b.cancel()
			})
		})
	}
}

// A file that grows while it is read is not complete, even if it read well.
func TestGrowsWhileRead(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t)
		b.onOpen = func(path string) {
			if b.opened[path] == 1 {
				b.set(path, 20, 20, true)
			}
		}
		b.set("d/a", 10, 10, false)
		time.Sleep(time.Minute)
		b.want(t, "3.0 arrived d/a 20")
		b.cancel()
	})
}

// A write that comes while the file waits to be read voids the verdict.
func TestTouchedWhileRead(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t)
		b.onOpen = func(path string) {
			if b.opened[path] == 1 {
				time.Sleep(time.Second)
			}
		}
		b.set("d/a", 10, 10, false)
		b.at(2)
		b.touch("d/a")
		time.Sleep(time.Minute)
		b.want(t, "3.5 arrived d/a 10")
		b.cancel()
	})
}

// A torn file is read again with each sweep, but reported once.
func TestTornIsToldOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t)
		b.set("d/a", 4, 9, false)
		time.Sleep(10 * time.Minute)
		b.want(t, "12.0 arrived d/a 4 image data ends early")
		if n := b.opened["d/a"]; n < patience+8 || n > patience+10 {
			t.Errorf("opened %d times in 10 minutes, want %d and once more each minute", n, patience)
		}
		b.cancel()
	})
}

func TestRemovedOnlyWhenTheFolderSaysSo(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t)
		b.set("d/a", 9, 9, false)
		b.set("d/b", 9, 9, false)
		b.at(10)
		b.remove("d/a")
		b.touch("d/a")
		b.at(20) // no answer has come to what was asked
		told := []string{"1.5 arrived d/a 9", "1.5 arrived d/b 9"}
		slices.Sort(b.told)
		b.want(t, told...)
		if !slices.Contains(b.asked, "d") {
			t.Errorf("asked for %q, want d", b.asked)
		}
		b.news <- news{kind: newsLost, path: "d", err: fs.ErrPermission}
		b.at(30)
		told = append(told, "20.0 folder lost d 0 permission denied")
		b.want(t, told...)
		b.news <- news{kind: newsBack, path: "d"}
		told = append(told, "30.0 folder back d 0")
		b.at(40)
		b.want(t, told...)
		b.news <- news{kind: newsListed, path: "d", names: []string{"b"}}
		told = append(told, "40.0 removed d/a 0")
		b.at(50)
		b.want(t, told...)
		b.cancel()
	})
}

// Nothing is inspected in a lost folder, and what came up meanwhile is reported after.
func TestLostFolderWaits(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t)
		b.set("d/a", 9, 9, false)
		b.set("d/grows", 4, 9, false)
		b.at(5)
		b.news <- news{kind: newsLost, path: "d", err: fs.ErrNotExist}
		b.mu.Lock()
		saved := b.files
		b.files = map[string]*fakeFile{}
		b.mu.Unlock()
		b.at(500)
		told := []string{"1.5 arrived d/a 9", "5.0 folder lost d 0 file does not exist"}
		b.want(t, told...)
		b.mu.Lock()
		b.files = saved
		b.mu.Unlock()
		b.set("d/grows", 9, 9, true)
		b.news <- news{kind: newsBack, path: "d"}
		b.at(600)
		b.want(t, append(told, "500.0 folder back d 0", "501.5 arrived d/grows 9")...)
		b.cancel()
	})
}

func TestCaughtUp(t *testing.T) {
	listed := func(b *bench, names ...string) {
		b.news <- news{kind: newsListed, path: "d", names: names, initial: true}
		b.news <- news{kind: newsWalked}
	}
	tests := []struct {
		name string
		do   func(b *bench)
		want []string
	}{
		{"empty folder", func(b *bench) { listed(b) }, []string{"0.0 caught up  0"}},
		{
			"old files need no rest", func(b *bench) {
				b.set("d/a", 9, 9, true)
				b.age("d/a", time.Hour)
				listed(b, "a")
			},
			[]string{"0.0 found d/a 9", "0.0 caught up  0"},
		},
		{
			"new files are waited for", func(b *bench) {
				b.set("d/a", 9, 9, true)
				b.age("d/a", time.Second)
				listed(b, "a")
			},
			[]string{"1.5 found d/a 9", "1.5 caught up  0"},
		},
		{
			"growing and torn ones are not", func(b *bench) {
				b.set("d/grows", 1, 9, true)
				b.set("d/torn", 4, 9, true)
				b.age("d/torn", time.Hour)
				listed(b, "grows", "torn")
				for n := range int64(9) {
					b.at(float64(n) + 1.2)
					b.set("d/grows", n+1, 9, true)
				}
			},
			[]string{"1.5 caught up  0", "11.0 found d/grows 9", "12.0 found d/torn 4 image data ends early"},
		},
		{
			"nor one that goes", func(b *bench) {
				b.set("d/a", 9, 9, true)
				listed(b, "a")
				b.at(0.9)
				b.remove("d/a")
			},
			[]string{"1.0 caught up  0"},
		},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				b := newBench(t)
				test.do(b)
				time.Sleep(10 * time.Minute)
				b.want(t, test.want...)
				b.cancel()
			})
		})
	}
}

// Files that take long to be read do not hold the others, nor the start.
func TestSlowFilesMoveAside(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t)
		b.onOpen = func(path string) {
			if strings.HasPrefix(path, "d/slow") {
				time.Sleep(5 * time.Minute)
			}
		}
		names := []string{"slow1", "slow2", "slow3"}
		for _, name := range names {
			b.set("d/"+name, 9, 9, true)
			b.age("d/"+name, time.Hour)
		}
		b.news <- news{kind: newsListed, path: "d", names: names, initial: true}
		b.news <- news{kind: newsWalked}
		b.at(1)
		b.set("d/a", 9, 9, false)
		b.at(200)
		// The first two move aside at 2 s and the third at 4 s; the other file
		// came at 1 s and rests at 2.5 s.
		b.want(t, "2.5 arrived d/a 9", "4.0 caught up  0")
		time.Sleep(10 * time.Minute)
		b.mu.Lock()
		told := slices.Clone(b.told)
		b.mu.Unlock()
		var when []string
		for _, line := range told {
			when = append(when, strings.Fields(line)[0])
		}
		if want := []string{"2.5", "4.0", "300.0", "300.0", "302.0"}; !slices.Equal(when, want) {
			t.Errorf("told\n%q, want at %q", told, want)
		}
		b.cancel()
	})
}

// However many files are slow, only a limited number is read at once.
func TestSlowFilesAreBounded(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t)
		var now, most int
		b.onOpen = func(string) {
			b.mu.Lock()
			now++
			most = max(most, now)
			b.mu.Unlock()
			time.Sleep(time.Minute)
			b.mu.Lock()
			now--
			b.mu.Unlock()
		}
		for i := range 50 {
			b.set(fmt.Sprintf("d/%d", i), 9, 9, false)
		}
		time.Sleep(time.Hour)
		synctest.Wait()
		b.mu.Lock()
		defer b.mu.Unlock()
		if len(b.told) != 50 || most != readers+aside {
			t.Errorf("%d files told, want 50; %d read at once, want %d", len(b.told), most, readers+aside)
		}
		b.cancel()
	})
}

// The end does not wait for a file that is being read.
func TestSlowFileDoesNotHoldTheEnd(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t)
		b.onOpen = func(string) { time.Sleep(time.Hour) }
		b.set("d/a", 9, 9, false)
		b.set("d/b", 9, 9, false)
		time.Sleep(time.Minute)
		before := time.Now()
		b.cancel()
		<-b.ended
		if waited := time.Since(before); waited > 0 {
			t.Errorf("the end came %s later", waited)
		}
		time.Sleep(2 * time.Hour) // until the readers end
	})
}
