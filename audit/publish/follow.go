package publish

import (
	"context"
	"encoding/json"
	"fmt"
	"strings"

	"github.com/eclipse/paho.golang/autopaho"
	"github.com/eclipse/paho.golang/paho"

	"prestrike/audit/board"
)

// mostBytes is the size above which a message is no state of ours.
const mostBytes = 1 << 20

// A Heard is what a broker holds of a set.
type Heard struct {
	Set string
	// State is what the watch published last; nil where nobody watches the set any more: it
	// ended, or was lost.
	State *board.State
	Lost  bool
	// Removed reports that the broker keeps nothing of the set any more.
	Removed bool
}

// Follow hears of all sets below the prefix of a broker until ctx ends. What is no message
// of ours, or one of a later version, is passed over. Trouble is called with why nothing is
// heard, and with an empty text when it is heard again. Set is not used.
func Follow(ctx context.Context, opt Options, heard func(Heard), trouble func(string)) error {
	prefix := strings.Trim(opt.Broker.Path, "/")
	var known reported
	lost := func(format string, args ...any) {
		if text := fmt.Sprintf(format, args...); known.first(text) {
			trouble(text)
		}
	}
	config := opt.connection()
	config.OnConnectionUp = func(m *autopaho.ConnectionManager, _ *paho.Connack) {
		// What is kept comes anew with each subscription (3.3.1.3: retained messages).
		_, err := m.Subscribe(ctx, &paho.Subscribe{Subscriptions: []paho.SubscribeOptions{{Topic: prefix + "/+/state", QoS: quality}}})
		if err != nil {
			lost("the broker %s does not let this user follow %s: allow it there", opt.broker(), prefix)
			return
		}
		known.forget()
		trouble("")
	}
	config.OnConnectionDown = func() bool {
		lost("the broker %s is away: what is shown may be old", opt.broker())
		return true
	}
	config.OnConnectError = func(err error) { lost("%s", opt.trouble(err)) }
	config.OnPublishReceived = []func(paho.PublishReceived) (bool, error){func(r paho.PublishReceived) (bool, error) {
		if h, ok := parse(prefix, r.Packet.Topic, r.Packet.Payload); ok {
			heard(h)
		}
		return true, nil
	}}
	m, err := autopaho.NewConnection(ctx, config)
	if err != nil {
		return fmt.Errorf("the broker %s cannot be used: %w", opt.broker(), err)
	}
	<-ctx.Done()
	<-m.Done()
	return nil
}

// parse reads a message on the state of a set.
func parse(prefix, topic string, payload []byte) (Heard, bool) {
	set, ok := strings.CutSuffix(strings.TrimPrefix(topic, prefix+"/"), "/state")
	if !ok || CheckSet(set) != nil || len(payload) > mostBytes {
		return Heard{}, false
	}
	if len(payload) == 0 { // nothing is kept from now on (MQTT 5, 3.3.1.3)
		return Heard{Set: set, Removed: true}, true
	}
	var head struct {
		Version int    `json:"version"`
		State   string `json:"state"`
		Since   any    `json:"since"`
	}
	if json.Unmarshal(payload, &head) != nil || head.Version != Version {
		return Heard{}, false
	}
	if head.Since == nil { // nobody watches any more
		return Heard{Set: set, Lost: head.State == board.Lost.String()}, head.State == board.Lost.String() || head.State == ended
	}
	var state board.State
	if json.Unmarshal(payload, &state) != nil {
		return Heard{}, false
	}
	needs := state.Phase == board.Shooting || state.Phase == board.Stalled || state.Phase == board.Again || state.Phase == board.Inspect
	if needs && state.Sequence == nil {
		return Heard{}, false
	}
	return Heard{Set: set, State: &state}, true
}
