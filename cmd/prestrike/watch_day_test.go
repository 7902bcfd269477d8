package main

import (
	"context"
	"fmt"
	"io"
	"net/http"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"prestrike/audit"
	"prestrike/audit/pixels/pixelstest"
	"prestrike/audit/publish/publishtest"
	"prestrike/audit/shoot"
	"prestrike/rules"
)

// A day is a watch whose clock runs fast.
type day struct {
	*handWatch
	broker         *publishtest.Broker
	frames         []*shoot.File
	clock          time.Time
	closed, states int
}

// openPage opens the page of the watch until ctx ends.
func (d *day) openPage(ctx context.Context) {
	_, address, _ := strings.Cut(d.remarks.String(), "http://")
	address, _, _ = strings.Cut(address, "/")
	page, err := http.NewRequestWithContext(ctx, http.MethodGet, "http://"+address+"/events", nil)
	if err != nil {
		d.t.Fatal(err)
	}
	r, err := http.DefaultClient.Do(page)
	if err != nil {
		d.t.Fatal(err)
	}
	go func() {
		defer r.Body.Close()
		_, _ = io.Copy(io.Discard, r.Body) // until the watch ends
	}()
}

// second has the i-th second of the day pass.
func (d *day) second(ctx context.Context, i int) {
	const minute = 60
	d.clock = d.clock.Add(time.Second)
	folder := fmt.Sprintf("%04d/", i/(10*minute))
	for n, f := range d.frames {
		switch i % (10 * minute) {
		case minute + n:
			of := *f
			of.Path = folder + filepath.Base(f.Path)
			d.live.Put(of.Path, &of, d.clock)
		case 6 * minute:
			d.live.Remove(folder + filepath.Base(f.Path))
		}
	}
	switch i % (60 * minute) {
	case 20 * minute:
		d.broker.Kill()
	case 30 * minute:
		d.broker.Again(d.t)
	}
	events, err := d.live.Look(ctx, d.clock, false, false)
	if err != nil {
		d.t.Fatal(err)
	}
	for _, e := range events {
		if e.Kind == audit.SequenceClosed {
			d.closed++
		}
		if err := d.tell(e); err != nil {
			d.t.Fatal(err)
		}
	}
	d.show(len(events) > 0)
	d.states++
	d.shown.Reset()
	d.remarks.Reset()
}

// heap is how many bytes are in use.
func heap() uint64 {
	least := uint64(1 << 62)
	for range 4 { // what is under way for the page ends meanwhile
		time.Sleep(500 * time.Millisecond)
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		least = min(least, m.HeapAlloc)
	}
	return least
}

// TestPublishADay watches for 24 hours of a clock that runs fast, with a page that is open and
// a broker: every ten minutes a sequence comes and closes, is moved on to another folder five
// minutes later, and once an hour the broker is away for ten minutes. Nothing of it stays in
// memory.
func TestPublishADay(t *testing.T) {
	pixelstest.Long(t)
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	d := &day{
		handWatch: watchByHand(t, &audit.Options{Rules: rules.All(), Pixels: audit.PixelsOff, PlannedFrames: 10, Expected: rules.ExpectedFrames}),
		broker:    publishtest.Start(t, publishtest.Options{}), clock: time.Now(),
	}
	d.f.beside = besideFlags{page: "127.0.0.1:0", publish: d.broker.URL("studio"), set: "table"}
	wait, err := d.serveBeside(ctx)
	if err != nil {
		t.Fatal(err)
	}
	d.openPage(ctx)
	for _, n := range good {
		path := filepath.Join(d.card, "DCIM", "100BXCAM", "BX1_"+n+".JPG")
		d.frames = append(d.frames, shoot.ReadFile(ctx, path, path))
	}
	d.c.now = func() time.Time { return d.clock }
	d.caught = true
	const quarter, all = 6 * 60 * 60, 24 * 60 * 60 // the page keeps the pictures of some hours
	for i := range quarter {
		d.second(ctx, i)
	}
	before, goroutines := heap(), runtime.NumGoroutine()
	for i := quarter; i < all; i++ {
		d.second(ctx, i)
	}
	after := heap()
	t.Logf("%d sequences closed, %d states; %d KiB after six hours, %d after 24", d.closed, d.states, before>>10, after>>10)
	// The page keeps 48 pictures, here of 10 KiB and more; a state is more than a kilobyte.
	if after > before+1<<20 || runtime.NumGoroutine() > goroutines+5 {
		t.Errorf("%d KiB and %d goroutines after six hours, %d and %d after 24", before>>10, goroutines, after>>10, runtime.NumGoroutine())
	}
	if d.closed != all/600 {
		t.Errorf("%d sequences closed, want %d", d.closed, all/600)
	}
	stop()
	wait()
}
