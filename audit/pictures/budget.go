package pictures

import "sync"

// A budget is bytes that several goroutines share.
type budget struct {
	mu    sync.Mutex
	freed *sync.Cond
	bytes int64
	used  int64
}

func newBudget(bytes int64) *budget {
	b := &budget{bytes: bytes}
	b.freed = sync.NewCond(&b.mu)
	return b
}

// take waits until so many bytes are left. Who asks for more than there are gets
// them alone.
func (b *budget) take(n int64) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for b.used > 0 && b.used+n > b.bytes {
		b.freed.Wait()
	}
	b.used += n
}

func (b *budget) give(n int64) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.used -= n
	b.freed.Broadcast()
}
