package pictures

import (
	"runtime"
	"sync"
)

// A budget is bytes that several goroutines share. What was given back stays
// taken until it is collected: the collector of its own lets garbage grow as
// large as what is in use.
type budget struct {
	mu    sync.Mutex
	freed *sync.Cond
	bytes int64
	used  int64
	dead  int64 // given back and not collected, as far as is known
}

func newBudget(bytes int64) *budget {
	b := &budget{bytes: bytes}
	b.freed = sync.NewCond(&b.mu)
	return b
}

// take waits until n bytes are left. A request above the budget runs alone.
func (b *budget) take(n int64) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for b.used+b.dead+n > b.bytes {
		if b.dead > 0 {
			runtime.GC()
			b.dead = 0
		} else if b.used > 0 {
			b.freed.Wait()
		} else {
			break
		}
	}
	b.used += n
}

func (b *budget) give(n int64) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.used -= n
	b.dead += n
	b.freed.Broadcast()
}
