// Package publishtest runs Debian's MQTT broker, mosquitto, for tests.
package publishtest

import (
	"context"
	"errors"
	"net"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// A Broker is one that runs, and can be killed and started again.
type Broker struct {
	// Address is where it listens, HOST:PORT.
	Address string

	scheme, program, config, users string
	running                        *exec.Cmd
}

// Options say what a broker asks of those who connect. Everybody may where all is empty.
type Options struct {
	// Server is what the broker shows; nil for connections that are not encrypted.
	Server *Certificate
	// Clients is the authority whose certificates the broker asks for; nil for none.
	Clients *Authority
	// User and Password are the one user that it knows.
	User, Password string
	// Rules are the lines of its list of who may publish and follow what; empty for no list.
	Rules string
}

// Start starts a broker that ends with the test, which is skipped where mosquitto is not
// installed.
func Start(t *testing.T, opt Options) *Broker {
	t.Helper()
	b := &Broker{program: find(t), scheme: "mqtt"}
	l, err := (&net.ListenConfig{}).Listen(t.Context(), "tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	b.Address = l.Addr().String()
	_ = l.Close() // the port is free for the broker
	folder := t.TempDir()
	b.config = filepath.Join(folder, "broker.conf")
	_, port, _ := net.SplitHostPort(b.Address)
	lines := []string{"listener " + port + " 127.0.0.1", "max_queued_messages 100000"}
	if os.Geteuid() == 0 {
		lines = append(lines, "user root") // it reads keys that nobody else may
	}
	if opt.Server != nil {
		b.scheme = "mqtts"
		lines = append(lines, "certfile "+opt.Server.File, "keyfile "+opt.Server.Key)
	}
	if opt.Clients != nil {
		lines = append(lines, "cafile "+opt.Clients.File, "require_certificate true")
	}
	if opt.User != "" {
		b.users = filepath.Join(folder, "users")
		b.Know(t, opt.User, opt.Password)
		lines = append(lines, "password_file "+b.users)
	} else {
		lines = append(lines, "allow_anonymous true")
	}
	if opt.Rules != "" {
		lines = append(lines, "acl_file "+write(t, filepath.Join(folder, "rules"), []byte(opt.Rules)))
	}
	write(t, b.config, []byte(strings.Join(lines, "\n")+"\n"))
	b.Again(t)
	t.Cleanup(b.Kill)
	return b
}

// Know has the broker know one user alone from its next start on.
func (b *Broker) Know(t *testing.T, user, password string) {
	t.Helper()
	out, err := exec.CommandContext(t.Context(), "mosquitto_passwd", "-b", "-c", b.users, user, password).CombinedOutput()
	if err != nil {
		t.Fatalf("mosquitto_passwd: %v: %s", err, out)
	}
}

// find returns the path of mosquitto, which is not on everybody's PATH.
func find(t *testing.T) string {
	t.Helper()
	program, err := exec.LookPath("mosquitto")
	if err != nil {
		program = "/usr/sbin/mosquitto"
		if _, err := os.Stat(program); errors.Is(err, os.ErrNotExist) {
			t.Skip("mosquitto is not installed: .ci/run broker installs it")
		}
	}
	return program
}

func write(t *testing.T, name string, data []byte) string {
	t.Helper()
	if err := os.WriteFile(name, data, 0o600); err != nil {
		t.Fatal(err)
	}
	return name
}

// URL is the broker with a prefix of topics.
func (b *Broker) URL(prefix string) *url.URL {
	return &url.URL{Scheme: b.scheme, Host: b.Address, Path: "/" + prefix}
}

// Again starts the broker anew, which forgot all that it kept.
func (b *Broker) Again(t *testing.T) {
	t.Helper()
	b.running = exec.CommandContext(context.Background(), b.program, "-c", b.config) // it is killed
	if err := b.running.Start(); err != nil {
		t.Fatal(err)
	}
	for range 500 {
		if c, err := (&net.Dialer{}).DialContext(t.Context(), "tcp", b.Address); err == nil {
			_ = c.Close() // it answers
			return
		}
		time.Sleep(10 * time.Millisecond)
	}
	t.Fatal("the broker does not start")
}

// Kill kills the broker.
func (b *Broker) Kill() {
	if b.running != nil {
		_ = b.running.Process.Kill() // it may have ended
		_ = b.running.Wait()         // killed
	}
	b.running = nil
}
