package publish

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"net"
	"net/url"
	"os"
	"strings"
	"testing"
	"time"

	"prestrike/audit/board"
	"prestrike/audit/publish/publishtest"
)

// firstRemark publishes until there is a remark on the connection.
func firstRemark(t *testing.T, opt Options) string {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	remarks := make(chan string, 100)
	opt.Set = "table"
	opt.Remark = func(text string) { remarks <- text }
	p, err := New(opt)
	if err != nil {
		t.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() { ended <- p.Run(ctx, 10*time.Millisecond) }()
	text := <-remarks
	cancel()
	if err := <-ended; err != nil {
		t.Error(err)
	}
	return text
}

// trusting is how to connect by the certificates of an authority, with one of one's own or
// none.
func trusting(t *testing.T, a *publishtest.Authority, own *publishtest.Certificate) *tls.Config {
	t.Helper()
	text, err := os.ReadFile(a.File)
	if err != nil {
		t.Fatal(err)
	}
	c := &tls.Config{RootCAs: x509.NewCertPool(), ServerName: "127.0.0.1", MinVersion: tls.VersionTLS12}
	c.RootCAs.AppendCertsFromPEM(text)
	if own != nil {
		pair, err := tls.LoadX509KeyPair(own.File, own.Key)
		if err != nil {
			t.Fatal(err)
		}
		c.Certificates = []tls.Certificate{pair}
	}
	return c
}

const password = "the secret of a test"

// Whatever keeps a set from its broker is named in one sentence, with what to do, and
// without the password.
func TestTroubleWithABroker(t *testing.T) {
	ours, other := publishtest.NewAuthority(t), publishtest.NewAuthority(t)
	later, past := time.Now().Add(time.Hour), time.Now().AddDate(0, 0, -2)
	start := func(opt publishtest.Options) *url.URL { return publishtest.Start(t, opt).URL("studio") }
	encrypted := start(publishtest.Options{Server: ours.Issue(t, later, "127.0.0.1")})
	asking := start(publishtest.Options{Server: ours.Issue(t, later, "127.0.0.1"), Clients: ours})
	plain := start(publishtest.Options{User: "set", Password: password})
	as := func(u *url.URL, scheme string) *url.URL { return &url.URL{Scheme: scheme, Host: u.Host, Path: u.Path} }
	another, err := (&net.ListenConfig{}).Listen(t.Context(), "tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = another.Close() })
	go func() {
		for {
			c, err := another.Accept()
			if err != nil {
				return
			}
			_, _ = c.Write([]byte("HTTP/1.1 400 Bad Request\r\nContent-Type: text/plain; charset=utf-8\r\nConnection: close\r\n\r\n400 Bad Request"))
			defer c.Close()
		}
	}()
	for _, test := range []struct {
		name   string
		broker *url.URL
		own    *publishtest.Certificate
		user   string
		says   string // what the remark holds, of several behind |
	}{
		{"good", encrypted, nil, "", "publishing to mqtts://"},
		{"an unknown authority", start(publishtest.Options{Server: other.Issue(t, later, "127.0.0.1")}), nil, "", "from an authority that is not known here: name the file with the certificate of that authority in PRESTRIKE_MQTT_CA"},
		{"another name", start(publishtest.Options{Server: ours.Issue(t, later, "broker.museum.example", "10.9.8.7")}), nil, "", "its certificate is not for 127.0.0.1: write the name that it is for, broker.museum.example and 10.9.8.7"},
		{"expired", start(publishtest.Options{Server: ours.Issue(t, past, "127.0.0.1")}), nil, "", "its certificate expired on " + past.Format("2006-01-02") + ": have it renewed, or check the clock of this computer"},
		{"no certificate shown", asking, nil, "", "asks for a certificate"},
		{"another's certificate shown", asking, other.Issue(t, later), "", "refuses the certificate of PRESTRIKE_MQTT_CERT|check the port and the certificate of PRESTRIKE_MQTT_CERT"},
		{"an expired certificate shown", asking, ours.Issue(t, past), "", "refuses the certificate of PRESTRIKE_MQTT_CERT, which expired|check the port and the certificate of PRESTRIKE_MQTT_CERT"},
		{"a good certificate shown", asking, ours.Issue(t, later), "", "publishing to mqtts://"},
		{"not encrypted where the broker does", as(encrypted, "mqtt"), nil, "", "write mqtts:// if it encrypts"},
		{"encrypted where the broker does not", as(plain, "mqtts"), nil, "", "if it does not encrypt, write mqtt://"},
		{"another password", plain, nil, "visitor", "refuses the user visitor or the password: check PRESTRIKE_MQTT_USER, PRESTRIKE_MQTT_PASSWORD"},
		{"no user", plain, nil, "none", "refuses whoever names no user: check PRESTRIKE_MQTT_USER"},
		{"nobody there", &url.URL{Scheme: "mqtt", Host: "127.0.0.1:1", Path: "/studio"}, nil, "", "nothing answers there: start the broker, or check the port"},
		{"no broker", &url.URL{Scheme: "mqtt", Host: another.Addr().String(), Path: "/studio"}, nil, "", "what answers there is no broker that reads MQTT 5: check the address and the port"},
		{"no such name", &url.URL{Scheme: "mqtt", Host: "broker.invalid:1883", Path: "/studio"}, nil, "", "there is no computer broker.invalid: check the name|cannot be looked up: check the network"},
	} {
		opt := Options{Broker: test.broker, TLS: trusting(t, ours, test.own), User: test.user, Password: password}
		if test.user == "none" {
			opt.User, opt.Password = "", ""
		}
		got := firstRemark(t, opt)
		found := false
		for says := range strings.SplitSeq(test.says, "|") {
			found = found || strings.Contains(got, says)
		}
		if !found {
			t.Errorf("%s: the remark is %q, want %q in it", test.name, got, test.says)
		}
		if strings.Contains(got, password) || len(got) > 300 {
			t.Errorf("%s: %q holds the password or is long", test.name, got)
		}
		if !strings.HasPrefix(got, "publishing to ") && !strings.HasSuffix(got, "Messages wait until it is there") {
			t.Errorf("%s: %q does not say what becomes of the messages", test.name, got)
		}
	}
}

// A topic that the broker refuses is reported, and keeps no other from being published.
func TestRefusedTopic(t *testing.T) {
	b := publishtest.Start(t, publishtest.Options{Rules: "topic read #\ntopic write studio/+/state\ntopic write studio/+/closed\n"})
	f := follow(t, b.Address, "studio/#")
	remarks := make(chan string, 100)
	p, err := New(Options{Broker: b.URL("studio"), Set: "table", Remark: func(text string) { remarks <- text }})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- p.Run(ctx, time.Second) }()
	p.Show(aState(board.Shooting, 27))
	p.Closed(aClosed("1.0"), nil)
	f.await(t, "studio/table/state", "the state", last("shooting"))
	f.await(t, "studio/table/closed", "the sequence", func(l [][]byte) bool { return holdsAll(l, 1) })
	<-remarks // that it publishes
	if got := <-remarks; !strings.Contains(got, "refuses messages to studio/table/findings: allow this user to publish there") {
		t.Errorf("the remark is %q", got)
	}
	cancel()
	if err := <-done; err != nil {
		t.Error(err)
	}
}

// TestRefusedTopicIsTriedAgain: a refused topic wakes the publisher when its time is over, once.
func TestRefusedTopicIsTriedAgain(t *testing.T) {
	now := time.Now()
	p := &Publisher{refused: map[string]time.Time{"tried": now.Add(-time.Hour), "later": now.Add(time.Hour), "soon": now.Add(20 * time.Millisecond)}}
	select {
	case <-p.allowed():
	case <-t.Context().Done():
	}
	if time.Since(now) < 20*time.Millisecond || time.Since(now) > 30*time.Minute {
		t.Errorf("woken after %v", time.Since(now))
	}
	delete(p.refused, "later")
	if p.allowed() != nil || len(p.refused) > 0 {
		t.Errorf("still waiting for %v", p.refused)
	}
}
