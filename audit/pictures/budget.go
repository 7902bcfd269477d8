package pictures

import (
	"runtime"
	"runtime/metrics"
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
	all   int64 // taken since it was made, which counts what was decoded
}

func newBudget(bytes int64) *budget {
	b := &budget{bytes: bytes}
	b.freed = sync.NewCond(&b.mu)
	return b
}

// bound changes how many bytes may be taken from now on.
func (b *budget) bound(bytes int64) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.bytes = bytes
	b.freed.Broadcast()
}

// inUse is how many bytes of all the program's memory the last collection found in use.
func inUse() int64 {
	sample := []metrics.Sample{{Name: "/gc/heap/live:bytes"}}
	metrics.Read(sample)
	return int64(sample[0].Value.Uint64())
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
	b.all += n
}

func (b *budget) give(n int64) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.used -= n
	b.dead += n
	b.freed.Broadcast()
}
