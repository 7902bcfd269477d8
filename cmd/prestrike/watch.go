package main

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"strings"
	"time"

	"prestrike/audit"
	"prestrike/audit/board"
	"prestrike/audit/pictures"
	"prestrike/audit/report"
	"prestrike/audit/shoot"
	"prestrike/audit/values"
	"prestrike/rules"
	"prestrike/rules/optics"
	"prestrike/watch"

	"github.com/spf13/cobra"
)

const watchLong = `Watch follows a folder that fills: a card reader's copy, a tethered camera, a
network share. It prints a line when a sequence of three frames or more closes, or one
with a finding. On a terminal, a line that moves every second shows the open sequence.

A sequence closes at once when it has its frames: as many as planned, or as the
sequences like it have settled on. Otherwise it closes when it is quiet for longer than
its own cadence explains, when another begins, or when you press Enter. One that stops
short of its frames is stalled: it stays open for two more minutes. A file that comes
late reopens a sequence and corrects the line. A folder that cannot be read is reported
at once, and again when it is back.

What later frames cannot change is reported while frames come: a dark frame between two
others, a damaged file, another ISO, a camera that moved.

One bell means that a sequence is good, two that something must be inspected, three that
it must be shot again. A sequence that closes and must be inspected rings only with
--alert-from check. Twice two mean stalled, twice three mean that the folder cannot be
read. Three and twice three repeat every 20 s, until you press Enter, or the retake or the
folder is there. --sound plays tones of the same rhythms.

--page serves the state as a page for a tablet or telephone beside the set. With
--page-write it also declares what is meant, which sequence was shot again and which
view it shows. It writes that to the prestrike.toml of the folder, or of a folder above
it. --publish hands the state to an MQTT broker, for lamps and for prestrike board.

Ctrl-C prints the report on all that is there, once the remaining pictures are
inspected, and ends with its status. A second Ctrl-C ends at once. A file that is not
complete yet is named, and the verdict is then check at least. Started again on the
same folder, watch reports the state of the folder and goes on.

The program of --on-finding runs for findings of reshoot, with --alert-from check for
those of check too. With all that it starts, it is stopped after 10 s. Four run at
a time; later findings wait. At the end of the watch, programs that still run have 2 s.

` + statusHelp

const watchExamples = `  prestrike watch /tethered
  prestrike watch . --planned-frames 50 --alert bell --alert-from check
  prestrike watch . --big --sound              a board to be read and heard from afar
  prestrike watch . --page=:8140               a page for a tablet on the same network
  prestrike watch . --page=:8140 --page-write  a page that also declares what is meant
  prestrike watch . --publish mqtt://192.168.1.2/studio --set "table 2"
  prestrike watch . --on-finding ./lamp        run a program for each finding
  prestrike watch . --once                     end with the status of the first sequence
  prestrike watch /share --poll 5s`

// watchFlags is the command line of prestrike watch.
type watchFlags struct {
	shoot     shootFlags
	format    string
	alert     []string
	alertFrom string
	sound     bool
	big       bool
	onFinding string
	once      bool
	poll      optics.Seconds
	settle    optics.Seconds
	beside    besideFlags
}

func newWatch(c *console) *cobra.Command {
	var f watchFlags
	cmd := &cobra.Command{
		Use:     "watch FOLDER",
		Short:   "Follow a folder that fills, and report at once what must be shot again",
		Long:    watchLong,
		Example: watchExamples,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) == 2 && f.beside.page == pageHere && strings.Contains(args[1], ":") {
				return &usageError{fmt.Errorf("write the address behind an equals sign: --page=%s", args[1]), cmd.CommandPath()}
			}
			if len(args) != 1 {
				return &usageError{errors.New("name one folder to watch"), cmd.CommandPath()}
			}
			return nil
		},
		ValidArgsFunction: func(*cobra.Command, []string, string) ([]cobra.Completion, cobra.ShellCompDirective) {
			return nil, cobra.ShellCompDirectiveFilterDirs
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			defer collectAt(watchGarbage)()
			return runWatch(cmd, c, &f, args[0])
		},
	}
	addChoice(cmd, &f.format, "format", "form of the result", "table\tlines for people", "json\tone JSON object a line")
	f.alert = []string{"bell"}
	addList(cmd.Flags(), values.OneOf("bell", "desktop", "none"), &f.alert, "alert", "how to alert: `KINDS` of bell, desktop, none")
	addChoice(cmd, &f.alertFrom, "alert-from", "the severity from which to alert", "reshoot\tonly what must be shot again", "check\talso what must be inspected")
	cmd.Flags().BoolVar(&f.sound, "sound", false, "play tones in place of the bell, by a program of the system")
	cmd.Flags().BoolVar(&f.big, "big", false, "show the state of the set on the whole terminal, to be read from across the room")
	cmd.Flags().StringVar(&f.onFinding, "on-finding", "", "run `COMMAND`, split at blanks, for each finding from --alert-from on, with the finding as JSON on its input")
	cmd.Flags().BoolVar(&f.once, "once", false, "end when the first sequence closes, with its status")
	addValue(cmd.Flags(), values.Time, &f.poll, "poll", "list the folder every `TIME`, such as 5s, instead of waiting for the system to report")
	addDefault(cmd.Flags(), values.Time, &f.settle, "settle", optics.Seconds(watch.DefaultSettle.Seconds()), "how long a file must not change before it counts as complete, a `TIME` such as 2s")
	f.beside.addTo(cmd.Flags())
	f.shoot.addTo(cmd, c)
	cmd.Flags().SortFlags = false
	return cmd
}

// lookEvery is how often the state is inspected while files come; a look that
// takes long is made less often, so that it costs a quarter of the time at most. Where
// nothing can come of it but the time of day, it is made less often, too.
const (
	lookEvery = 200 * time.Millisecond
	restEvery = time.Second
	lookShare = 4
)

// A watching is a watch that runs.
type watching struct {
	c      *console
	f      *watchFlags
	folder string
	opt    *audit.Options
	live   *audit.Live
	// pictures inspects the pictures; nil where nothing does.
	pictures *pictures.Measurer
	alerts   *alerter
	edits    *edits // nil where no page writes
	readers  *readCache
	set      *board.Set
	shows    []func(*board.State) // that show the state of the set
	besides  []func(*board.State) // those of them that are not on the terminal
	colour   bool
	caught   bool
	shown    time.Time     // the second that was shown last
	shownOf  *audit.Result // the result that was shown last
	scarce   string        // the warning that was made of the room on the disk
	// free answers how many bytes are free on the disk of a folder, and room hands on the
	// answer; asked is when it was asked for.
	free   func(folder string) (int64, error)
	room   chan int64
	asked  time.Time
	asking bool
	lost   []string        // folders that cannot be read for now
	said   map[string]bool // remarks that are made once
}

func runWatch(cmd *cobra.Command, c *console, f *watchFlags, folder string) error {
	opt, pageEdits, err := f.options(cmd, folder)
	if err != nil {
		return err
	}
	opt.Expected = rules.ExpectedFrames
	if f.big && (!c.errTerminal || c.dumb) {
		return &usageError{errors.New("--big: this is no terminal that can show a board: leave it out"), cmd.CommandPath()}
	}
	settle, poll := values.Duration(f.settle), values.Duration(f.poll)
	alerts, err := newAlerter(c, f)
	if err != nil {
		return &usageError{err, cmd.CommandPath()}
	}
	live := audit.NewLive(opt)
	w := &watching{
		c: c, f: f, folder: folder, opt: opt, live: live, alerts: alerts, edits: pageEdits,
		set: board.New(live), free: watch.Free, room: make(chan int64, 1),
		pictures: measurePictures(c, true, false, []string{folder}, opt),
		readers:  newReadCache(folder, settle),
		colour:   c.outTerminal && !c.plain,
	}
	if c.errTerminal && f.format != "json" && !f.big {
		w.shows = append(w.shows, w.showLine)
	}
	watcher, err := watch.New(folder, watch.Options{
		Settle: settle, Poll: poll, Ready: w.readers.ready, Skip: shoot.PassedOver,
		Failed: c.failed,
	})
	if errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("%s: no such folder: check the name, and that the card or disk is connected", folder)
	}
	if err != nil {
		what := "name another folder"
		if errors.Is(err, fs.ErrPermission) {
			what = "allow reading it, or name another folder"
		}
		return fmt.Errorf("%s cannot be watched: %w: %s", folder, systemWords(err), what)
	}
	ctx, cancel := context.WithCancel(cmd.Context())
	defer cancel()
	if f.big {
		b := &bigBoard{c: c, plain: c.plain}
		c.putUp(b)
		w.shows = append(w.shows, b.show)
		defer c.takeDown()
		defer boardSignals(c, b)()
		context.AfterFunc(ctx, func() { // before a second Ctrl-C can end the program
			defer c.guard()
			c.takeDown()
		})
	}
	// It ends after the last report, which it hears of.
	beside, endBeside := context.WithCancel(context.WithoutCancel(ctx))
	defer endBeside()
	waitBeside, err := w.serveBeside(beside)
	if err != nil {
		return &usageError{err, cmd.CommandPath()}
	}
	go func() {
		defer c.guard()
		watcher.Run(ctx)
	}()
	status, err := w.follow(ctx, watcher, c.lines(ctx))
	cancel()
	w.endPrograms(time.Now())
	letEnd(watcher)
	endBeside()
	waitBeside()
	if err != nil {
		return err
	}
	if status != statusGood {
		return status
	}
	return nil
}

// letEnd waits for a watcher that was asked to end, but no longer than a moment:
// a share may not answer.
func letEnd(watcher *watch.Watcher) {
	late := time.After(time.Second)
	for {
		select {
		case _, ok := <-watcher.Events():
			if !ok {
				return
			}
		case <-late:
			return
		}
	}
}

// follow runs until the context ends, or with --once until a sequence closes.
func (w *watching) follow(ctx context.Context, watcher *watch.Watcher, enter <-chan string) (status, error) {
	ticker, every := time.NewTicker(lookEvery), lookEvery
	defer ticker.Stop()
	var collector restingCollector
	defer collector.rests(false, time.Time{})
	pace := func() {
		want := lookEvery
		rests := w.caught && !w.live.Waits()
		if rests {
			want = restEvery
		}
		collector.rests(rests, time.Now())
		if want != every {
			every = want
			ticker.Reset(every)
		}
	}
	var next time.Time
	closeAll := false
	for {
		pace()
		select {
		case <-ctx.Done():
			return w.finish(ctx)
		case e, ok := <-watcher.Events():
			if !ok {
				return w.finish(ctx)
			}
			if err := w.take(ctx, e); err != nil {
				return statusNotAudited, err
			}
			w.show(e.Kind == watch.FolderLost || e.Kind == watch.FolderBack || e.Kind == watch.CaughtUp)
			continue
		case _, ok := <-enter:
			if !ok {
				enter = nil
				continue
			}
			closeAll = w.closesByEnter()
			w.shown = time.Time{} // the line went with Enter: it is shown at once
		case p := <-w.edits.asks():
			w.edit(p)
			next = time.Time{} // it is shown at once
		case <-ticker.C:
		}
		w.sayAll()
		now := time.Now()
		if !w.caught || now.Before(next) && !closeAll {
			w.show(false)
			continue
		}
		events, err := w.live.Look(ctx, w.now(), closeAll, false)
		closeAll = false
		next = now.Add(lookShare * time.Since(now))
		if errors.Is(err, context.Canceled) {
			return w.finish(ctx)
		}
		if err != nil {
			w.say("not everything was judged: %s", err)
		}
		for _, e := range events {
			if err := w.tell(e); err != nil {
				return statusNotAudited, err
			}
			if w.f.once && e.Kind == audit.SequenceClosed {
				return status(e.Sequence.Verdict), nil
			}
		}
		w.show(len(events) > 0)
	}
}

// now is the time that frames come at, and that is quiet.
func (w *watching) now() time.Time {
	if w.c.now != nil {
		return w.c.now()
	}
	return time.Now()
}

// take takes in one event of the folder.
func (w *watching) take(ctx context.Context, e watch.Event) error {
	if w.c.taken != nil {
		defer w.c.taken(e)
	}
	switch e.Kind {
	case watch.Found, watch.Arrived, watch.Changed:
		rel, file := w.readers.take(e)
		came := w.now()
		if !w.caught && e.ModTime.Before(came) {
			came = e.ModTime // it was there at the start
		}
		w.live.Put(rel, file, came)
	case watch.Removed:
		w.live.Remove(w.readers.forget(e.Path))
	case watch.CaughtUp:
		w.caught = true
		return w.start(ctx)
	case watch.FolderLost:
		w.lost = append(w.lost, e.Path)
		w.live.Gone(w.below(e.Path))
		w.set.Lost(e.Path, w.now())
		w.say("%s cannot be read for now: %s: waiting for it to come back", e.Path, systemWords(e.Err))
	case watch.FolderBack:
		w.lost = slices.DeleteFunc(w.lost, func(folder string) bool { return folder == e.Path })
		w.live.Back(w.below(e.Path), w.now())
		w.set.Back(e.Path, w.now())
		w.say("%s is back", e.Path)
	case watch.Overflow:
		w.say("too many changes at once for the system: inspecting everything again")
	case watch.Linked:
		if err := shoot.NotFollowed(e.Path, w.folder); err != nil {
			w.sayOnce(err.Error())
		}
	case watch.Polling:
		w.say("%s does not report changes (%s): it is listed every %s", e.Path, systemWords(e.Err), watch.DefaultPoll)
	}
	return nil
}

// closesByEnter takes in that Enter was pressed, and reports whether it closes the open
// sequences: where something sounds, it ends that instead.
func (w *watching) closesByEnter() bool {
	if w.set.Silence() && w.alerts.audible() {
		w.say("silenced: Enter once more closes the sequence")
		return false
	}
	return true
}

// below returns the path of a folder as those of files are written; empty for the watched
// one.
func (w *watching) below(folder string) string {
	rel := w.readers.rel(folder)
	if rel == "." {
		return ""
	}
	return rel
}

// start reports the state of the folder.
func (w *watching) start(ctx context.Context) error {
	_, err := w.live.Look(ctx, w.now(), false, true)
	if errors.Is(err, context.Canceled) {
		return nil // the report at the end shows the state
	}
	if err != nil {
		w.say("not everything was judged: %s", err)
	}
	w.set.Start(w.now())
	w.alerts.started(w.folder)
	w.sayAll()
	r := w.live.Result()
	if w.f.format == "json" {
		return nil
	}
	var b bytes.Buffer
	if r.Files.Frames == 0 {
		report.Paragraph(&b, "", 0, "Watching "+w.folder+", which holds no frames yet. Enter closes a sequence, Ctrl-C ends with the report.", w.c.textWidth(false))
	} else {
		report.Paragraph(&b, "", 0, fmt.Sprintf("Watching %s, which holds %d frames already. Enter closes a sequence, Ctrl-C ends with the report.", w.folder, r.Files.Frames), w.c.textWidth(false))
		report.WriteClosing(&b, r, w.c.textWidth(false), w.colour)
		if q := w.live.UnderWay(w.now()); q != nil && q.Verdict > audit.VerdictGood && q.SupersededBy == nil {
			report.Paragraph(&b, "", 0, fmt.Sprintf("%s may still be under way: this line is about its %d frames so far.", q.ID, len(q.Frames)), w.c.textWidth(false))
		}
	}
	return w.write(b.Bytes())
}

// tell reports an event, and alerts where it asks for it.
func (w *watching) tell(e audit.LiveEvent) error {
	w.set.Report(e, w.now())
	var b bytes.Buffer
	switch {
	case w.f.format == "json":
		if err := report.WriteLiveJSON(&b, e, w.live.Result()); err != nil {
			return err
		}
	case e.Kind == audit.SequenceClosed && e.Sequence.Verdict == audit.VerdictGood && len(e.Sequence.Frames) < 3:
		// A frame or two without a fault are worth no line.
	default:
		report.WriteLive(&b, e, w.c.textWidth(false), w.colour)
		if e.Kind == audit.SequenceClosed || e.Kind == audit.SequenceCorrected {
			report.WriteTimeLeft(&b, w.live.Result(), w.c.textWidth(false))
		}
	}
	if err := w.write(b.Bytes()); err != nil {
		return err
	}
	if e.Kind == audit.SequenceOverdue || e.Kind == audit.SequenceStalled || e.Sequence.SupersededBy == nil && e.Sequence.Patches == nil {
		w.alerts.event(e)
	}
	return nil
}

// write writes to the result.
func (w *watching) write(text []byte) error {
	if len(text) == 0 {
		return nil
	}
	return w.c.print(text)
}

func (w *watching) say(format string, args ...any) { w.c.remark(format, args...) }

// sayAll makes the remarks that wait.
func (w *watching) sayAll() {
	for _, text := range w.alerts.said() {
		w.say("%s", text)
	}
}

// endPrograms ends the programs that run for findings, once the watch was asked to
// end at some time, and reports what became of them.
func (w *watching) endPrograms(told time.Time) {
	w.alerts.end(programsLeft - time.Since(told))
	w.sayAll()
}

// sayOnce is for what holds on.
func (w *watching) sayOnce(text string) {
	if w.said == nil {
		w.said = map[string]bool{}
	}
	if !w.said[text] {
		w.said[text] = true
		w.say("%s", text)
	}
}

// lines hands on the lines that are typed. The channel is closed at the end of
// the input.
func (c *console) lines(ctx context.Context) <-chan string {
	ch := make(chan string)
	if c.in == nil {
		return ch
	}
	go func() {
		defer c.guard()
		defer close(ch)
		s := bufio.NewScanner(c.in)
		for s.Scan() {
			c.entered() // at once: whatever is written before that leaves the line standing
			select {
			case ch <- s.Text():
			case <-ctx.Done():
				return
			}
		}
	}()
	return ch
}
