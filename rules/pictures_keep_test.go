package rules

import (
	"os"
	"sync"
	"testing"
	"testing/synctest"

	"prestrike/audit"
)

// TestPicturesMemory holds that pictures wait for memory while others hold it, and
// give it back whether they can be decoded or not.
func TestPicturesMemory(t *testing.T) {
	folder := camera{}.shoot(t, covering()[:2])
	c, err := audit.Collect(t.Context(), []string{folder}, nil)
	if err != nil {
		t.Fatal(err)
	}
	damaged, err := os.ReadFile(c.Files[1].Abs)
	if err != nil {
		t.Fatal(err)
	}
	clear(damaged[len(damaged)/2 : len(damaged)-2])
	if err := os.WriteFile(c.Files[1].Abs, damaged, 0o666); err != nil {
		t.Fatal(err)
	}
	synctest.Test(t, func(t *testing.T) {
		memory := newBudget(1000)
		memory.take(1)
		done := 0
		for _, f := range c.Files {
			go func() {
				measureFrame(&audit.Frame{Files: []*audit.File{f}}, memory)
				memory.take(1)
				done++
				memory.give(1)
			}()
		}
		synctest.Wait()
		if done > 0 {
			t.Errorf("%d pictures were decoded without memory", done)
		}
		memory.give(1)
		synctest.Wait()
		if done != 2 || memory.used != 0 {
			t.Errorf("%d of 2 pictures were looked at, %d bytes not given back", done, memory.used)
		}
	})
}

// TestBudget holds that no more is taken than there is.
func TestBudget(t *testing.T) {
	b := newBudget(100)
	var mu sync.Mutex
	used, most := 0, 0
	var wg sync.WaitGroup
	for i := range 50 {
		wg.Go(func() {
			n := 10 + 7*i%50
			b.take(int64(n))
			mu.Lock()
			used += n
			most = max(most, used)
			mu.Unlock()
			mu.Lock()
			used -= n
			mu.Unlock()
			b.give(int64(n))
		})
	}
	wg.Wait()
	if most > 100 || b.used != 0 {
		t.Errorf("%d of 100 were taken at once, %d not given back", most, b.used)
	}
}
