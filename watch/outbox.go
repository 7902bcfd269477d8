package watch

// An outbox holds the events that wait for the receiver, merged by what they
// speak of, so that it grows no larger than the tree however long the receiver
// takes.
type outbox struct {
	queue   []*Event // in order; Kind 0 where nothing is left to report
	taken   int      // how many at the start of queue are done with
	empty   int      // how many after that have Kind 0
	files   map[string]*Event
	remarks map[remark]*Event
}

type remark struct {
	kind Kind
	path string
}

func (o *outbox) push(e Event) {
	if o.files == nil {
		o.files, o.remarks = map[string]*Event{}, map[remark]*Event{}
	}
	switch e.Kind {
	case Found, Arrived, Changed, Removed:
		if waiting := o.files[e.Path]; waiting != nil {
			o.merge(waiting, e)
			return
		}
		o.files[e.Path] = &e
	default:
		// Back and lost again: the receiver knows of a loss, or will by the
		// one that waits before it.
		if back := (remark{FolderBack, e.Path}); e.Kind == FolderLost && o.remarks[back] != nil {
			o.cancel(o.remarks[back])
			delete(o.remarks, back)
			return
		}
		if o.remarks[remark{e.Kind, e.Path}] != nil {
			return
		}
		o.remarks[remark{e.Kind, e.Path}] = &e
	}
	o.queue = append(o.queue, &e)
}

// merge makes of two events of one file what the receiver, who has seen
// neither, needs to know.
func (o *outbox) merge(waiting *Event, e Event) {
	was := waiting.Kind
	switch {
	case e.Kind == Removed && (was == Found || was == Arrived): // never heard of
		delete(o.files, e.Path)
		o.cancel(waiting)
		return
	case e.Kind == Changed && was != Removed:
		e.Kind = was
	case e.Kind != Removed && was == Removed: // there before, there again
		e.Kind = Changed
	}
	*waiting = e
}

func (o *outbox) cancel(waiting *Event) {
	waiting.Kind = 0
	o.empty++
	if o.empty > 1024 && o.empty > len(o.queue)/2 {
		o.compact()
	}
}

// peek returns the next event to report.
func (o *outbox) peek() (Event, bool) {
	for o.taken < len(o.queue) {
		if e := o.queue[o.taken]; e.Kind != 0 {
			return *e, true
		}
		o.empty--
		o.drop()
	}
	return Event{}, false
}

// pop removes the event that peek returned.
func (o *outbox) pop() {
	e := o.queue[o.taken]
	if o.files[e.Path] == e {
		delete(o.files, e.Path)
	} else {
		delete(o.remarks, remark{e.Kind, e.Path})
	}
	o.drop()
}

func (o *outbox) drop() {
	o.queue[o.taken] = nil
	o.taken++
	if o.taken > 1024 && o.taken > len(o.queue)/2 || o.taken == len(o.queue) {
		o.compact()
	}
}

// compact closes the gaps in the queue.
func (o *outbox) compact() {
	kept := o.queue[:0]
	for _, e := range o.queue[o.taken:] {
		if e.Kind != 0 {
			kept = append(kept, e)
		}
	}
	clear(o.queue[len(kept):])
	o.queue, o.taken, o.empty = kept, 0, 0
}
