package main

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"net/url"
	"os"

	"github.com/spf13/cobra"

	"prestrike/audit/board"
	"prestrike/audit/publish"
	"prestrike/audit/tablet"
	"prestrike/audit/values"
)

// brokerOptions adds what the environment holds for a broker.
func brokerOptions(broker *url.URL) (publish.Options, error) {
	opt := publish.Options{Broker: broker, User: os.Getenv(publish.EnvUser), Password: os.Getenv(publish.EnvPassword)}
	if broker.Scheme != "mqtts" {
		return opt, nil
	}
	opt.TLS = &tls.Config{MinVersion: tls.VersionTLS12, ServerName: broker.Hostname()}
	if file := os.Getenv(publish.EnvCA); file != "" {
		text, err := os.ReadFile(file)
		if err != nil {
			return opt, fmt.Errorf("%s: the certificates of %s cannot be read: %w", file, publish.EnvCA, systemWords(err))
		}
		opt.TLS.RootCAs = x509.NewCertPool()
		if !opt.TLS.RootCAs.AppendCertsFromPEM(text) {
			return opt, fmt.Errorf("%s holds no certificate: let %s name a file in PEM form", file, publish.EnvCA)
		}
	}
	cert, key := os.Getenv(publish.EnvCert), os.Getenv(publish.EnvKey)
	if (cert == "") != (key == "") {
		return opt, fmt.Errorf("set both %s and %s, or neither", publish.EnvCert, publish.EnvKey)
	}
	if cert == "" {
		return opt, nil
	}
	shown, err := os.ReadFile(cert)
	if err != nil {
		return opt, fmt.Errorf("%s: the certificate of %s cannot be read: %w", cert, publish.EnvCert, systemWords(err))
	}
	secret, err := os.ReadFile(key)
	if err != nil {
		return opt, fmt.Errorf("%s: the key of %s cannot be read: %w", key, publish.EnvKey, systemWords(err))
	}
	pair, err := tls.X509KeyPair(shown, secret)
	if err != nil {
		return opt, fmt.Errorf("%s and %s are no certificate and its key: let %s and %s name files in PEM form that belong together", cert, key, publish.EnvCert, publish.EnvKey)
	}
	opt.TLS.Certificates = []tls.Certificate{pair}
	return opt, nil
}

const boardLong = `Board shows all sets of a studio on one page: those whose watches publish to the same
broker, with prestrike watch --publish. The sets that need somebody come first. The page
is for reading.

The page is for this computer alone. With --page=HOST:PORT others on the network can
open it, by the link that is printed or by its code. Ctrl-C ends it.

A user and a password at the broker are read from PRESTRIKE_MQTT_USER and
PRESTRIKE_MQTT_PASSWORD. For mqtts, PRESTRIKE_MQTT_CA names the certificates to trust,
PRESTRIKE_MQTT_CERT and PRESTRIKE_MQTT_KEY those to show.`

const boardExamples = `  prestrike board mqtt://192.168.1.2/studio
  prestrike board mqtts://broker.museum.example/studio --page=:8141`

// boardHere is where the page over all sets is without an address.
const boardHere = "127.0.0.1:8141"

func newBoard(c *console) *cobra.Command {
	var address string
	cmd := &cobra.Command{
		Use:     "board mqtt://HOST:PORT/PREFIX",
		Short:   "Show all sets of a studio on one page",
		Long:    boardLong,
		Example: boardExamples,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) != 1 {
				return &usageError{errors.New("name one broker, such as mqtt://192.168.1.2/studio"), cmd.CommandPath()}
			}
			return nil
		},
		ValidArgsFunction: cobra.NoFileCompletions,
		RunE: func(cmd *cobra.Command, args []string) error {
			return runBoard(cmd, c, args[0], address)
		},
	}
	addDefault(cmd.Flags(), values.Address, &address, "page", boardHere, "`ADDRESS` of the page, HOST:PORT; :PORT for all networks of this computer")
	return cmd
}

func runBoard(cmd *cobra.Command, c *console, broker, address string) error {
	at, err := values.Broker.Read(broker)
	if err != nil {
		return &usageError{err, cmd.CommandPath()}
	}
	opt, err := brokerOptions(at)
	if err != nil {
		return err
	}
	ctx, cancel := context.WithCancel(cmd.Context())
	defer cancel()
	site, err := listenPage(ctx, c, address, opt.Broker.Host+opt.Broker.Path, false)
	if err != nil {
		return err
	}
	wall := tablet.NewWall(site.access)
	wall.Trouble("connecting to the broker")
	site.announce(c, "the page over all sets")
	failed := make(chan error, 2)
	go func() {
		defer c.guard()
		failed <- wall.Serve(ctx, site.listener)
	}()
	go func() {
		defer c.guard()
		failed <- publish.Follow(ctx, opt, func(h publish.Heard) {
			switch {
			case h.Removed:
				wall.Remove(h.Set)
			case h.State != nil:
				wall.Show(h.Set, h.State)
			default:
				wall.Gone(h.Set, h.Lost)
			}
		}, func(text string) {
			wall.Trouble(text)
			if text != "" {
				c.remark("%s", text)
			}
		})
	}()
	err = <-failed
	cancel()
	return errors.Join(err, <-failed)
}

// A broadcast publishes the set of a watch.
type broadcast struct {
	*publish.Publisher
	known map[string]string // what was published of the closed sequences of the latest state, by their keys
}

// newBroadcast makes what publishes a set to a broker.
func newBroadcast(c *console, broker *url.URL, set string) (*broadcast, error) {
	opt, err := brokerOptions(broker)
	if err != nil {
		return nil, err
	}
	opt.Set = set
	opt.Remark = func(text string) { c.remark("%s", text) }
	p, err := publish.New(opt)
	if err != nil {
		return nil, fmt.Errorf("%w: name it with --set", err)
	}
	return &broadcast{p, map[string]string{}}, nil
}

// show publishes the state, and what closed since the last one.
func (b *broadcast) show(state *board.State) {
	b.Show(state)
	known := make(map[string]string, len(state.Closed))
	for i := len(state.Closed) - 1; i >= 0; i-- {
		q := state.Closed[i]
		now := fmt.Sprint(q.Verdict, q.Frames, q.Retaken)
		known[q.Key] = now
		if b.known[q.Key] == now {
			continue
		}
		var open []board.Finding
		for _, f := range state.Findings {
			if f.Key == q.Key {
				open = append(open, f)
			}
		}
		b.Closed(q, open)
	}
	b.known = known
}
