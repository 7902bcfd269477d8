// Package publish hands what a watch knows of a set to an MQTT broker (MQTT 5, OASIS
// standard), so that a lamp, a board or a database follows any number of sets with what
// reads MQTT already.
//
// Below the prefix, each set has three topics. Their messages are JSON objects, with
// "version": 1 and the name of the set in "set":
//
//	PREFIX/SET/state     retained: the [board.State] without its findings; "state" is "lost"
//	                     where the watch itself has gone without a word, which is its last
//	                     will, and "ended" where it ended as asked
//	PREFIX/SET/findings  retained: the findings that are still open
//	PREFIX/SET/closed    one message for each sequence that closes
//
// Messages wait while the broker is away. Then the latest state counts, and every closed
// sequence.
package publish

import (
	"context"
	"crypto/rand"
	"crypto/tls"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"net/url"
	"strings"
	"sync"
	"time"
	"unicode"

	"github.com/eclipse/paho.golang/autopaho"
	"github.com/eclipse/paho.golang/paho"

	"prestrike/audit/board"
)

// Version is that of the messages.
const Version = 1

// MostWaiting is how many closed sequences wait for a broker that is away. The oldest are
// dropped then: their number is in the next message.
const MostWaiting = 10_000

// ended is the state of a set whose watch ended as asked.
const ended = "ended"

// quality is "at least once" of MQTT.
const quality = 1

const (
	keepAlive     = 5               // seconds; the broker sends the will after half as much again
	triedEvery    = 2 * time.Second // how often a connection is tried
	triedFirst    = 200 * time.Millisecond
	connectWithin = 10 * time.Second
	sentWithin    = 10 * time.Second
	refusedFor    = 30 * time.Second // how long a topic that is refused is not tried
)

// Options say where to publish.
type Options struct {
	Broker *url.URL // mqtt://HOST:PORT/PREFIX or mqtts://HOST:PORT/PREFIX
	Set    string   // the name of the set: one level of a topic
	// User and Password are those at the broker; empty for none.
	User, Password string
	TLS            *tls.Config // for mqtts
	// Remark takes in what became of the connection; nil for nobody.
	Remark func(text string)
}

// CheckSet returns why a name is none for a set; nil where it is one.
func CheckSet(name string) error {
	switch {
	case name == "":
		return errors.New("the name of the set is empty")
	case len(name) > 100:
		return errors.New("the name of the set is longer than 100 bytes")
	case strings.ContainsAny(name, "/+#$") || strings.ContainsFunc(name, unicode.IsControl) || strings.ToValidUTF8(name, "") != name:
		return errors.New("the name of the set holds one of / + # $ or a control character")
	}
	return nil
}

// A Publisher publishes one set. Its methods are safe for use by several goroutines, and
// never wait for the broker.
type Publisher struct {
	opt   Options
	topic string // PREFIX/SET
	ended chan struct{}

	mu       sync.Mutex
	state    []byte // the latest, as it is sent
	findings []byte
	sent     map[string]string // what the broker has, by topic
	waiting  [][]byte          // closed sequences, the oldest first
	dropped  int
	refused  map[string]time.Time // until when a topic is not tried
	giveUp   func()               // ends the sending that is under way
	woken    chan struct{}
	reported reported
}

type stateMessage struct {
	Version int    `json:"version"`
	Set     string `json:"set"`
	board.State
	// These hide those of the state: findings have a topic of their own, and a message is
	// sent where something changed, not every second.
	Findings *struct{} `json:"findings,omitempty"`
	At       *struct{} `json:"at,omitempty"`
}

type goneMessage struct {
	Version int    `json:"version"`
	Set     string `json:"set"`
	State   string `json:"state"`
}

type findingsMessage struct {
	Version  int             `json:"version"`
	Set      string          `json:"set"`
	Findings []board.Finding `json:"findings"`
}

type closedMessage struct {
	Version  int             `json:"version"`
	Set      string          `json:"set"`
	Sequence board.Closed    `json:"sequence"`
	Findings []board.Finding `json:"findings"`
	Dropped  int             `json:"dropped"` // messages that were lost before this one
}

// New makes a publisher. Run connects it.
func New(opt Options) (*Publisher, error) {
	if err := CheckSet(opt.Set); err != nil {
		return nil, err
	}
	return &Publisher{
		opt: opt, topic: strings.Trim(opt.Broker.Path, "/") + "/" + opt.Set,
		sent: map[string]string{}, refused: map[string]time.Time{}, woken: make(chan struct{}, 1), ended: make(chan struct{}),
	}, nil
}

// Show takes in the state of the set.
func (p *Publisher) Show(state *board.State) {
	m := stateMessage{Version: Version, Set: p.opt.Set, State: *state}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.state = encode(m)
	p.findings = encode(findingsMessage{Version, p.opt.Set, state.Findings})
	p.wake()
}

// Closed takes in a sequence that closed, with what is open on it.
func (p *Publisher) Closed(q board.Closed, findings []board.Finding) {
	if findings == nil {
		findings = []board.Finding{}
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.waiting = append(p.waiting, encode(closedMessage{Version, p.opt.Set, q, findings, p.dropped}))
	if len(p.waiting) > MostWaiting {
		p.dropped++
		p.waiting = p.waiting[1:]
	}
	p.wake()
}

// encode writes a message. Times, texts and numbers always can be.
func encode(m any) []byte {
	text, err := json.Marshal(m)
	if err != nil {
		return []byte(`{"version":1}`)
	}
	return text
}

func (p *Publisher) wake() {
	select {
	case p.woken <- struct{}{}:
	default:
	}
}

// gone is the state of a set that is not watched any more.
func (p *Publisher) gone(word string) []byte {
	return encode(goneMessage{Version, p.opt.Set, word})
}

// connection returns how to connect to the broker. Its client has one name, so that the
// broker ends the connection before it, with its will, when the next one comes: not later,
// when the will would take the place of a newer state (MQTT 5, 3.1.4 and 3.1.2.5).
func (o *Options) connection() autopaho.ClientConfig {
	broker := &url.URL{Scheme: o.Broker.Scheme, Host: o.Broker.Host}
	return autopaho.ClientConfig{
		ServerUrls: []*url.URL{broker}, TlsCfg: o.TLS, KeepAlive: keepAlive,
		CleanStartOnInitialConnection: true, ConnectTimeout: connectWithin,
		ReconnectBackoff: func(tried int) time.Duration {
			if tried == 0 {
				return triedFirst
			}
			return triedEvery
		},
		ConnectUsername: o.User, ConnectPassword: []byte(o.Password),
		ClientConfig: paho.ClientConfig{ClientID: clientName()},
	}
}

// clientName draws a name of a form that every broker takes: at most 23 letters and digits
// (MQTT 5, 3.1.3.1).
func clientName() string {
	var lot [7]byte
	_, _ = rand.Read(lot[:]) // it never fails: crypto/rand ends the program first
	return "prestrike" + hex.EncodeToString(lot[:])
}

// broker is the broker without its prefix.
func (o *Options) broker() string { return o.Broker.Scheme + "://" + o.Broker.Host }

// reported are the troubles that were reported since a broker was there for the last time.
type reported struct {
	mu    sync.Mutex
	texts map[string]bool
}

// first reports whether a trouble was not reported yet, and counts it as reported.
func (r *reported) first(text string) bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.texts[text] {
		return false
	}
	if r.texts == nil {
		r.texts = map[string]bool{}
	}
	r.texts[text] = true
	return true
}

func (r *reported) forget() {
	r.mu.Lock()
	defer r.mu.Unlock()
	clear(r.texts)
}

func (p *Publisher) remarkOnce(format string, args ...any) {
	if text := fmt.Sprintf(format, args...); p.reported.first(text) {
		p.remark("%s", text)
	}
}

func (p *Publisher) remark(format string, args ...any) {
	if p.opt.Remark != nil {
		p.opt.Remark(fmt.Sprintf(format, args...))
	}
}

// Run publishes until ctx ends, connects again whenever the broker was away, and takes
// leave of it within the given time.
func (p *Publisher) Run(ctx context.Context, leave time.Duration) error {
	// The connection outlives ctx by the time that it takes to take leave.
	link, hangUp := context.WithCancel(context.WithoutCancel(ctx))
	defer hangUp()
	config := p.opt.connection()
	config.WillMessage = &paho.WillMessage{Topic: p.topic + "/state", Payload: p.gone(board.Lost.String()), QoS: quality, Retain: true}
	config.OnConnectionUp = func(m *autopaho.ConnectionManager, _ *paho.Connack) {
		p.mu.Lock()
		clear(p.sent) // the will may have taken the place of the state
		p.mu.Unlock()
		p.reported.forget()
		p.remark("publishing to %s as %s", p.opt.broker(), p.topic)
		p.wake()
		p.listen(link, m)
	}
	config.OnPublishReceived = []func(paho.PublishReceived) (bool, error){p.hear}
	config.OnConnectionDown = func() bool {
		p.mu.Lock()
		defer p.mu.Unlock()
		if p.giveUp != nil {
			p.giveUp() // no answer comes any more
		}
		return true
	}
	config.OnConnectError = func(err error) {
		p.remarkOnce("%s. Messages wait until it is there", p.opt.trouble(err))
	}
	manager, err := autopaho.NewConnection(link, config)
	if err != nil {
		return fmt.Errorf("the broker %s cannot be used: %w", p.opt.broker(), err)
	}
	for {
		select {
		case <-ctx.Done():
			p.takeLeave(link, manager, leave)
			return nil
		case <-p.woken:
		case <-p.allowed():
		}
		p.send(ctx, manager)
	}
}

// listen asks for what others publish as the state of the set: neither what was sent from
// here (no local) nor what is kept of earlier (MQTT 5, 3.8.3.1). A broker may refuse that
// to whoever only publishes: then nobody is heard, and all else is as before.
func (p *Publisher) listen(ctx context.Context, m *autopaho.ConnectionManager) {
	const notWhatIsKept = 2
	_, _ = m.Subscribe(ctx, &paho.Subscribe{Subscriptions: []paho.SubscribeOptions{
		{Topic: p.topic + "/state", NoLocal: true, RetainHandling: notWhatIsKept},
	}})
}

// hear reports another watch that publishes the same set, as the two write over each other's
// state. The will of a watch that is gone is none, nor is a message that removes what is kept.
func (p *Publisher) hear(r paho.PublishReceived) (bool, error) {
	if topic := r.Packet.Topic; topic == p.topic+"/state" && !r.Packet.Retain {
		if h, ok := parse(strings.TrimSuffix(p.topic, "/"+p.opt.Set), topic, r.Packet.Payload); ok && h.State != nil {
			p.remarkOnce("another watch publishes as %s too, and each writes over the other: end one, or give it a name of its own with --set", p.topic)
		}
	}
	return true, nil
}

// send sends what the broker does not have. What fails is sent with the next that is to be
// sent, or once the broker is back.
func (p *Publisher) send(ctx context.Context, m *autopaho.ConnectionManager) {
	for ctx.Err() == nil {
		topic, text := p.next()
		if topic == "" {
			return
		}
		refused, err := p.publish(ctx, m, topic, text)
		if refused {
			p.refuse(topic)
			continue
		}
		if err != nil {
			wait := triedEvery
			if errors.Is(err, context.Canceled) { // the connection is down, and waited for
				wait = triedFirst
			}
			select {
			case <-ctx.Done():
			case <-time.After(wait):
			}
			p.wake()
			return
		}
		p.mu.Lock()
		if topic == p.topic+"/closed" {
			if len(p.waiting) > 0 && &p.waiting[0][0] == &text[0] { // it was not dropped meanwhile
				p.waiting = p.waiting[1:]
			}
		} else {
			p.sent[topic] = string(text)
		}
		p.mu.Unlock()
	}
}

// refuse leaves a topic alone for a while: the others go on.
func (p *Publisher) refuse(topic string) {
	p.mu.Lock()
	p.refused[topic] = time.Now().Add(refusedFor)
	p.mu.Unlock()
	p.remarkOnce("the broker %s refuses messages to %s: allow this user to publish there. They wait", p.opt.broker(), topic)
}

// allowed delivers when the next of the refused topics is to be tried again.
func (p *Publisher) allowed() <-chan time.Time {
	p.mu.Lock()
	defer p.mu.Unlock()
	now := time.Now()
	var next time.Time
	for topic, at := range p.refused {
		if now.After(at) { // it was tried, or has nothing to send
			delete(p.refused, topic)
		} else if next.IsZero() || at.Before(next) {
			next = at
		}
	}
	if next.IsZero() {
		return nil
	}
	return time.After(next.Sub(now) + time.Millisecond)
}

// next returns what is to be sent next; no topic for nothing.
func (p *Publisher) next() (topic string, text []byte) {
	p.mu.Lock()
	defer p.mu.Unlock()
	now := time.Now()
	for _, of := range []struct {
		topic string
		text  []byte
	}{{p.topic + "/state", p.state}, {p.topic + "/findings", p.findings}} {
		if of.text != nil && p.sent[of.topic] != string(of.text) && now.After(p.refused[of.topic]) {
			return of.topic, of.text
		}
	}
	if closed := p.topic + "/closed"; len(p.waiting) > 0 && now.After(p.refused[closed]) {
		return closed, p.waiting[0]
	}
	return "", nil
}

// publish sends a message, and reports whether the broker took it and refuses it.
func (p *Publisher) publish(ctx context.Context, m *autopaho.ConnectionManager, topic string, text []byte) (refused bool, err error) {
	ctx, cancel := context.WithTimeout(ctx, sentWithin)
	defer cancel()
	p.mu.Lock()
	p.giveUp = cancel
	p.mu.Unlock()
	if err := m.AwaitConnection(ctx); err != nil {
		return false, err
	}
	answer, err := m.Publish(ctx, &paho.Publish{
		Topic: topic, Payload: text, QoS: quality, Retain: topic != p.topic+"/closed",
		Properties: &paho.PublishProperties{ContentType: "application/json"},
	})
	const failure = 0x80 // from this reason on (MQTT 5, 4.13)
	return answer != nil && answer.ReasonCode >= failure, err
}

// takeLeave sends what waits and that the watch ended, as far as the time allows, and
// disconnects, so that the broker sends no will.
func (p *Publisher) takeLeave(ctx context.Context, m *autopaho.ConnectionManager, within time.Duration) {
	ctx, cancel := context.WithTimeout(ctx, within)
	defer cancel()
	p.mu.Lock()
	p.state = p.gone(ended)
	p.mu.Unlock()
	p.send(ctx, m)
	_ = m.Disconnect(ctx) // the will says it where this fails
}
