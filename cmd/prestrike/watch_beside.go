package main

import (
	"context"
	"errors"
	"net/url"
	"path/filepath"
	"sync"
	"time"

	"github.com/spf13/pflag"

	"prestrike/audit/report"
	"prestrike/audit/values"
)

// What a watch serves and sends beside the terminal.

// besideFlags are the flags for it.
type besideFlags struct {
	page    string
	write   bool
	publish *url.URL
	set     string
}

func (f *besideFlags) addTo(flags *pflag.FlagSet) {
	addValue(flags, values.Address, &f.page, "page", "serve a page for a tablet beside the set, at `ADDRESS`, HOST:PORT; --page alone is for this computer")
	flags.Lookup("page").NoOptDefVal = pageHere
	flags.BoolVar(&f.write, "page-write", false, "let the page declare what is meant, shot again, or which view it is, in prestrike.toml")
	addValue(flags, values.Broker, &f.publish, "publish", "publish the state to an MQTT broker, `mqtt://HOST:PORT/PREFIX`")
	flags.StringVar(&f.set, "set", "", "the `NAME` of this set at the broker; the folder's where not given")
}

// leaveWithin is how long a watch that ends takes leave of a broker.
const leaveWithin = 2 * time.Second

// serveBeside begins to serve and to send what the flags ask for. The function that it returns
// waits until that has ended, which begins when ctx ends.
func (w *watching) serveBeside(ctx context.Context) (wait func(), err error) {
	f := &w.f.beside
	if f.set != "" && f.publish == nil {
		return nil, errors.New("--set names a set at a broker: write --publish as well")
	}
	if f.write && f.page == "" {
		return nil, errors.New("--page-write is for a page: write --page as well")
	}
	var group sync.WaitGroup
	begin := func(run func() error) {
		group.Add(1)
		go func() {
			defer w.c.guard()
			defer group.Done()
			if err := run(); err != nil {
				w.c.remark("%s", systemWords(err))
			}
		}()
	}
	if f.publish != nil {
		name := f.set
		if name == "" {
			abs, err := filepath.Abs(w.folder)
			if err != nil {
				return nil, err
			}
			name = report.Visible(filepath.Base(abs))
		}
		b, err := newBroadcast(w.c, f.publish, name)
		if err != nil {
			return nil, err
		}
		w.besides = append(w.besides, b.show)
		begin(func() error { return b.Run(ctx, leaveWithin) })
	}
	if f.page != "" {
		t, err := newTabletPage(ctx, w.c, f.page, w.folder, w.live, w.edits)
		if err != nil {
			return nil, err
		}
		w.besides = append(w.besides, t.show)
		t.site.announce(w.c, "the page for a tablet")
		begin(func() error { return t.serve(ctx) })
	}
	w.shows = append(w.shows, w.besides...)
	return group.Wait, nil
}
