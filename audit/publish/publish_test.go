package publish

import (
	"bytes"
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"net"
	"net/url"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/eclipse/paho.golang/autopaho"
	"github.com/eclipse/paho.golang/paho"

	"prestrike/audit/board"
	"prestrike/audit/publish/publishtest"
)

var sets = flag.Int("sets", 8, "how many sets publish at a time in TestManySets")

// A follower keeps what it heard of each topic.
type follower struct {
	mu    sync.Mutex
	heard map[string][][]byte
}

func follow(t *testing.T, address, topics string) *follower {
	t.Helper()
	f := &follower{heard: map[string][][]byte{}}
	up := make(chan struct{}, 100)
	m, err := autopaho.NewConnection(t.Context(), autopaho.ClientConfig{
		ServerUrls: []*url.URL{{Scheme: "mqtt", Host: address}}, KeepAlive: 5, CleanStartOnInitialConnection: true, SessionExpiryInterval: 600,
		ReconnectBackoff: func(int) time.Duration { return 50 * time.Millisecond },
		OnConnectionUp: func(m *autopaho.ConnectionManager, _ *paho.Connack) {
			if _, err := m.Subscribe(t.Context(), &paho.Subscribe{Subscriptions: []paho.SubscribeOptions{{Topic: topics, QoS: 1}}}); err == nil {
				up <- struct{}{}
			}
		},
		ClientConfig: paho.ClientConfig{OnPublishReceived: []func(paho.PublishReceived) (bool, error){func(r paho.PublishReceived) (bool, error) {
			f.mu.Lock()
			defer f.mu.Unlock()
			f.heard[r.Packet.Topic] = append(f.heard[r.Packet.Topic], bytes.Clone(r.Packet.Payload))
			return true, nil
		}}},
	})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.Background(), time.Second)
		defer cancel()
		_ = m.Disconnect(ctx) // the broker may be gone
	})
	select {
	case <-up:
	case <-time.After(10 * time.Second):
		t.Fatal("nothing can be followed")
	}
	return f
}

// await waits until what was heard of a topic meets a condition.
func (f *follower) await(t *testing.T, topic, what string, met func([][]byte) bool) {
	t.Helper()
	for range 3000 {
		f.mu.Lock()
		ok := met(f.heard[topic])
		f.mu.Unlock()
		if ok {
			return
		}
		time.Sleep(10 * time.Millisecond)
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	t.Fatalf("%s: %s does not come; heard %q", topic, what, f.heard[topic])
}

func last(word string) func([][]byte) bool {
	return func(list [][]byte) bool {
		if len(list) == 0 {
			return false
		}
		var m struct {
			Version int
			Set     string
			State   string
		}
		return json.Unmarshal(list[len(list)-1], &m) == nil && m.Version == Version && m.Set != "" && m.State == word
	}
}

// at is a broker at an address.
func at(address string) *url.URL {
	return &url.URL{Scheme: "mqtt", Host: address, Path: "/studio"}
}

func publishing(t *testing.T, address, set string) (p *Publisher, end func()) {
	t.Helper()
	p, err := New(Options{Broker: at(address), Set: set})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- p.Run(ctx, 2*time.Second) }()
	return p, func() {
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
	}
}

func aState(phase board.Phase, frames int) *board.State {
	q := &board.Sequence{Key: "BX1_0002.JPG", ID: "1.4", Kind: "focus", Frames: frames, Expected: 50, Open: true}
	return &board.State{
		Phase: phase, At: time.Now(), Sequence: q, Again: []string{}, Closed: []board.Closed{}, Gone: []string{},
		Findings: []board.Finding{{Sequence: "1.4", Rule: "dark-frame", Title: "A frame is dark", Severity: "reshoot"}},
	}
}

func aClosed(id string) board.Closed {
	return board.Closed{Sequence: board.Sequence{Key: id, ID: id, Kind: "focus", Verdict: "good", Frames: 50}}
}

// A set is followed from its start to its end, by those who come late too.
func TestSetIsFollowed(t *testing.T) {
	b := publishtest.Start(t, publishtest.Options{})
	p, end := publishing(t, b.Address, "table 2")
	early := follow(t, b.Address, "studio/#")
	p.Show(aState(board.Shooting, 27))
	early.await(t, "studio/table 2/state", "shooting", last("shooting"))
	early.await(t, "studio/table 2/findings", "the finding", func(l [][]byte) bool {
		return len(l) == 1 && bytes.Contains(l[0], []byte("A frame is dark"))
	})
	late := follow(t, b.Address, "studio/+/state")
	late.await(t, "studio/table 2/state", "the kept state", last("shooting"))
	p.Closed(aClosed("1.4"), nil)
	early.await(t, "studio/table 2/closed", "the sequence", func(l [][]byte) bool {
		return len(l) == 1 && bytes.Contains(l[0], []byte(`"verdict":"good"`))
	})
	// What did not change is not sent again, though its moment is another.
	for range 5 {
		p.Show(aState(board.Shooting, 27))
	}
	p.Show(aState(board.Shooting, 28))
	early.await(t, "studio/table 2/state", "the next frame", func(l [][]byte) bool {
		return len(l) == 2 && bytes.Contains(l[1], []byte(`"frame_count":28`)) && !bytes.Contains(l[1], []byte(`"findings"`))
	})
	end()
	early.await(t, "studio/table 2/state", "the end", last("ended"))
	early.mu.Lock()
	defer early.mu.Unlock()
	if n := len(early.heard["studio/table 2/state"]); n != 3 {
		t.Errorf("%d states, want 3", n)
	}
}

// A cable lies between a set and its broker, and can be cut.
type cable struct {
	listener  net.Listener
	mu        sync.Mutex
	near, far []net.Conn
}

func newCable(t *testing.T, to string) *cable {
	t.Helper()
	l, err := (&net.ListenConfig{}).Listen(t.Context(), "tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	c := &cable{listener: l}
	go func() {
		for {
			near, err := l.Accept()
			if err != nil {
				return
			}
			far, err := net.Dial("tcp", to)
			if err != nil {
				_ = near.Close() // nothing is behind it
				continue
			}
			c.mu.Lock()
			c.near, c.far = append(c.near, near), append(c.far, far)
			c.mu.Unlock()
			go func() { _, _ = io.Copy(far, near) }() // until it is cut
			go func() { _, _ = io.Copy(near, far) }() // until it is cut
		}
	}()
	t.Cleanup(func() {
		_ = l.Close()
		c.cut(&c.near)
		c.cut(&c.far)
	})
	return c
}

// cut ends what goes through at one of its ends: the other hears nothing of it.
func (c *cable) cut(end *[]net.Conn) {
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, conn := range *end {
		_ = conn.Close() // cut
	}
	*end = nil
}

// Where the watch dies, the broker says that the set is lost.
func TestLastWill(t *testing.T) {
	b := publishtest.Start(t, publishtest.Options{})
	c := newCable(t, b.Address)
	p, end := publishing(t, c.listener.Addr().String(), "table")
	f := follow(t, b.Address, "studio/#")
	p.Show(aState(board.Shooting, 27))
	f.await(t, "studio/table/state", "shooting", last("shooting"))
	_ = c.listener.Close() // nothing new comes through
	c.cut(&c.near)
	c.cut(&c.far)
	f.await(t, "studio/table/state", "lost", last("lost"))
	end()
}

// The will of a connection that broke does not take the place of the state that comes by the
// next one: a set that is watched is not shown as lost.
func TestWillDoesNotOutliveItsConnection(t *testing.T) {
	b := publishtest.Start(t, publishtest.Options{})
	c := newCable(t, b.Address)
	p, end := publishing(t, c.listener.Addr().String(), "table")
	defer end()
	f := follow(t, b.Address, "studio/#")
	p.Show(aState(board.Shooting, 27))
	f.await(t, "studio/table/state", "shooting", last("shooting"))
	c.cut(&c.near) // the broker does not see it
	lost := last("lost")
	f.await(t, "studio/table/state", "the will", func(l [][]byte) bool {
		return slices.ContainsFunc(l, func(m []byte) bool { return lost([][]byte{m}) })
	})
	f.await(t, "studio/table/state", "shooting", last("shooting"))
}

// While the broker is away nothing is lost: every closed sequence comes when it is back,
// and the latest state.
func TestBrokerComesBack(t *testing.T) {
	b := publishtest.Start(t, publishtest.Options{})
	p, end := publishing(t, b.Address, "table")
	defer end()
	f := follow(t, b.Address, "studio/#")
	p.Show(aState(board.Shooting, 27))
	f.await(t, "studio/table/state", "shooting", last("shooting"))
	b.Kill()
	for i := range 5 {
		p.Closed(aClosed(fmt.Sprint("1.", i)), nil)
		p.Show(aState(board.Shooting, i))
	}
	p.Show(aState(board.Again, 50))
	b.Again(t)
	f.await(t, "studio/table/state", "the latest state", last("again"))
	f.await(t, "studio/table/closed", "five sequences", func(l [][]byte) bool { return holdsAll(l, 5) })
}

// holdsAll reports whether messages hold the sequences 1.0, 1.1 and so on, in this order
// where doubles are left out.
func holdsAll(list [][]byte, n int) bool {
	next := 0
	for _, text := range list {
		var m closedMessage
		if json.Unmarshal(text, &m) == nil && m.Sequence.ID == fmt.Sprint("1.", next) && m.Dropped == 0 {
			next++
		}
	}
	return next == n
}

// TestManySets has many sets publish 20 messages a second through a broker that is killed
// and started again: each closed sequence arrives.
func TestManySets(t *testing.T) {
	if testing.Short() {
		t.Skip("takes some seconds")
	}
	b := publishtest.Start(t, publishtest.Options{})
	f := follow(t, b.Address, "studio/+/closed")
	const seconds, perSecond = 4, 20
	var list []*Publisher
	for i := range *sets {
		p, end := publishing(t, b.Address, fmt.Sprint("set ", i))
		defer end()
		list = append(list, p)
	}
	counts := make([]int, len(list))
	for i := range seconds * perSecond {
		at := i % len(list)
		list[at].Closed(aClosed(fmt.Sprint("1.", counts[at])), nil)
		list[at].Show(aState(board.Shooting, i))
		counts[at]++
		if i == seconds*perSecond/2 {
			b.Kill()
		}
		if i == seconds*perSecond*3/4 {
			b.Again(t)
		}
		time.Sleep(time.Second / perSecond)
	}
	for i, n := range counts {
		if n > 0 {
			f.await(t, fmt.Sprint("studio/set ", i, "/closed"), fmt.Sprint(n, " sequences"), func(l [][]byte) bool { return holdsAll(l, n) })
		}
	}
}

// A queue that is full drops the oldest, and says how many.
func TestDropsAreCounted(t *testing.T) {
	p, err := New(Options{Broker: at("127.0.0.1:1"), Set: "table"})
	if err != nil {
		t.Fatal(err)
	}
	for i := range MostWaiting + 3 {
		p.Closed(aClosed(fmt.Sprint(i)), nil)
	}
	var first, end closedMessage
	if err := json.Unmarshal(p.waiting[0], &first); err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(p.waiting[MostWaiting-1], &end); err != nil {
		t.Fatal(err)
	}
	if len(p.waiting) != MostWaiting || first.Sequence.ID != "3" || end.Dropped != 2 {
		t.Errorf("%d wait, from %s; dropped %d", len(p.waiting), first.Sequence.ID, end.Dropped)
	}
}

func TestNamesOfSets(t *testing.T) {
	for _, name := range []string{"", "a/b", "a+", "#", "a\x00", "\xff", "$SYS", strings.Repeat("x", 101)} {
		if CheckSet(name) == nil {
			t.Errorf("%q is taken for the name of a set", name)
		}
	}
	if err := CheckSet("Tisch 2, Öl"); err != nil {
		t.Error(err)
	}
}

// Two watches of one name are told so, once each; the next watch of a set that was watched
// before is not.
func TestTwoWatchesOfOneName(t *testing.T) {
	b := publishtest.Start(t, publishtest.Options{})
	watch := func(set string) (p *Publisher, heard chan string, end func()) {
		heard = make(chan string, 100)
		up := make(chan struct{}, 100)
		p, err := New(Options{Broker: at(b.Address), Set: set, Remark: func(text string) {
			if strings.HasPrefix(text, "publishing to ") {
				up <- struct{}{}
				return
			}
			heard <- text
		}})
		if err != nil {
			t.Fatal(err)
		}
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan error, 1)
		go func() { done <- p.Run(ctx, 2*time.Second) }()
		select {
		case <-up:
		case <-time.After(10 * time.Second):
			t.Fatal("there is no broker")
		}
		return p, heard, func() {
			cancel()
			if err := <-done; err != nil {
				t.Error(err)
			}
		}
	}
	everything := follow(t, b.Address, "studio/#")
	first, toFirst, end := watch("table 2")
	first.Show(aState(board.Shooting, 27))
	everything.await(t, "studio/table 2/state", "the first", last("shooting"))
	end()
	everything.await(t, "studio/table 2/state", "its end", last("ended"))

	first, toAgain, end := watch("table 2")
	defer end()
	other, toOther, endOther := watch("table 3")
	defer endOther()
	first.Show(aState(board.Shooting, 28))
	other.Show(aState(board.Shooting, 28))
	everything.await(t, "studio/table 3/state", "the other", last("shooting"))
	everything.await(t, "studio/table 2/state", "the first again", last("shooting"))
	second, toSecond, endSecond := watch("table 2")
	defer endSecond()
	want := "another watch publishes as studio/table 2 too, and each writes over the other: end one, or give it a name of its own with --set"
	for frames := 30; frames < 40; frames++ {
		second.Show(aState(board.Stalled, frames))
		everything.await(t, "studio/table 2/state", "the second", last("stalled"))
		first.Show(aState(board.Shooting, frames))
		everything.await(t, "studio/table 2/state", "the first", last("shooting"))
	}
	for name, heard := range map[string]chan string{"first": toAgain, "second": toSecond} {
		select {
		case text := <-heard:
			if text != want {
				t.Errorf("the %s: %q", name, text)
			}
		case <-time.After(10 * time.Second):
			t.Errorf("the %s is not told", name)
		}
	}
	for name, heard := range map[string]chan string{"one before": toFirst, "first, again": toAgain, "second, again": toSecond, "other": toOther} {
		if len(heard) > 0 {
			t.Errorf("the %s: %q", name, <-heard)
		}
	}
}
