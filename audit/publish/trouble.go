package publish

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"strings"
	"syscall"
	"time"

	"github.com/eclipse/paho.golang/autopaho"

	"prestrike/audit/words"
)

// Where the user at the broker and the certificates are written: others see the command
// line.
const (
	EnvUser     = "PRESTRIKE_MQTT_USER"
	EnvPassword = "PRESTRIKE_MQTT_PASSWORD"
	EnvCA       = "PRESTRIKE_MQTT_CA"
	EnvCert     = "PRESTRIKE_MQTT_CERT"
	EnvKey      = "PRESTRIKE_MQTT_KEY"
)

// The reasons with which a broker refuses (MQTT 5, 2.4).
const (
	refusedVersion  = 0x84
	refusedUser     = 0x86
	notAuthorized   = 0x87
	serverAway      = 0x88
	serverBusy      = 0x89
	oldestRefused   = 1    // of MQTT 3.1.1: the version
	tooManyAtATime  = 0x9f // connections
	quotaIsExceeded = 0x97
)

// trouble writes why there is no connection to the broker, and what to do. It holds no
// password.
func (o *Options) trouble(err error) string {
	return fmt.Sprintf("no connection to the broker %s: %s", o.broker(), o.reason(err))
}

func (o *Options) reason(err error) string {
	if refused, ok := errors.AsType[*autopaho.ConnackError](err); ok {
		return o.refusal(refused.ReasonCode)
	}
	if text := o.certificate(err); text != "" {
		return text
	}
	if remote, ok := errors.AsType[*net.OpError](err); ok && remote.Op == "remote error" {
		return o.alert(remote.Err)
	}
	if _, ok := errors.AsType[tls.RecordHeaderError](err); ok {
		return "what answers there does not encrypt: write mqtt://, or another port"
	}
	if name, ok := errors.AsType[*net.DNSError](err); ok {
		if name.IsNotFound {
			return "there is no computer " + name.Name + ": check the name"
		}
		return "the name " + name.Name + " cannot be looked up: check the network"
	}
	if timed, ok := errors.AsType[net.Error](err); ok && timed.Timeout() || errors.Is(err, context.DeadlineExceeded) || errors.Is(err, os.ErrDeadlineExceeded) {
		return "it does not answer: check the address and the network"
	}
	switch {
	case errors.Is(err, syscall.ECONNREFUSED):
		return "nothing answers there: start the broker, or check the port"
	case errors.Is(err, io.EOF), errors.Is(err, syscall.ECONNRESET), errors.Is(err, syscall.EPIPE):
		return o.hungUp()
	}
	_, network := errors.AsType[*net.OpError](err)
	_, system := errors.AsType[syscall.Errno](err)
	if !network && !system { // it answers, and is not understood
		return "what answers there is no broker that reads MQTT 5: check the address and the port"
	}
	return innermost(err) + ": check the address and the network"
}

// refusal writes why the broker refuses a connection that it understands.
func (o *Options) refusal(code byte) string {
	switch code {
	case refusedVersion, oldestRefused:
		return "it does not read MQTT 5: take a broker that does"
	case serverAway, serverBusy, tooManyAtATime, quotaIsExceeded:
		return "it is busy"
	case refusedUser, notAuthorized:
		what := "the user " + o.User + " or the password"
		if o.User == "" {
			what = "whoever names no user"
		}
		// Brokers answer the same where a user may not publish what is to be sent, should
		// the watch die.
		return fmt.Sprintf("it refuses %s: check %s, %s and what this user may do", what, EnvUser, EnvPassword)
	}
	return fmt.Sprintf("it refuses the connection with code 0x%02x (MQTT 5): see the log of the broker", code)
}

// certificate writes what is wrong with the certificate that a broker shows; empty where an
// error is another.
func (o *Options) certificate(err error) string {
	if host, ok := errors.AsType[x509.HostnameError](err); ok {
		names := append([]string{}, host.Certificate.DNSNames...)
		for _, ip := range host.Certificate.IPAddresses {
			names = append(names, ip.String())
		}
		if len(names) == 0 {
			return "its certificate names no host: have it made with the name of the broker as subject alternative name"
		}
		const most = 3
		return fmt.Sprintf("its certificate is not for %s: write the name that it is for, %s", o.Broker.Hostname(), words.List(names, most))
	}
	if _, ok := errors.AsType[x509.UnknownAuthorityError](err); ok {
		return "its certificate is from an authority that is not known here: name the file with the certificate of that authority in " + EnvCA
	}
	invalid, ok := errors.AsType[x509.CertificateInvalidError](err)
	switch {
	case !ok:
		return ""
	case invalid.Reason == x509.Expired && invalid.Cert != nil && time.Now().Before(invalid.Cert.NotBefore):
		return "its certificate is valid only from " + day(invalid.Cert.NotBefore) + ": check the clock of this computer"
	case invalid.Reason == x509.Expired && invalid.Cert != nil:
		return "its certificate expired on " + day(invalid.Cert.NotAfter) + ": have it renewed, or check the clock of this computer"
	}
	return "its certificate cannot be used (" + innermost(err) + "): have it made anew"
}

func day(t time.Time) string { return t.Local().Format("2006-01-02") }

// alert writes why a broker ends an encrypted connection (RFC 8446, 6.2), by the text of
// the alert: package tls has no other.
func (o *Options) alert(err error) string {
	text := strings.TrimPrefix(err.Error(), "tls: ")
	shown := o.TLS != nil && len(o.TLS.Certificates) > 0
	switch {
	case shown && strings.Contains(text, "expired"):
		return "it refuses the certificate of " + EnvCert + ", which expired: have it renewed"
	case shown:
		return fmt.Sprintf("it refuses the certificate of %s (%s): take one from the authority that the broker knows", EnvCert, text)
	case strings.Contains(text, "certificate"):
		return noCertificate
	}
	return "it ends the encrypted connection (" + text + "): see the log of the broker"
}

const noCertificate = "it asks for a certificate: name yours in " + EnvCert + " and its key in " + EnvKey

// hungUp writes why a broker may end a connection without a word. Where a certificate that
// it asks for is not shown, its reason may be lost.
func (o *Options) hungUp() string {
	switch {
	case o.Broker.Scheme != "mqtts":
		return "it hangs up: check the port, and write mqtts:// if it encrypts"
	case len(o.TLS.Certificates) == 0:
		return "it hangs up: if it asks for a certificate, name yours in " + EnvCert + " and its key in " + EnvKey + "; if it does not encrypt, write mqtt://"
	}
	return "it hangs up: check the port and the certificate of " + EnvCert
}

// innermost is the text of the innermost cause of an error.
func innermost(err error) string {
	for inner := errors.Unwrap(err); inner != nil; inner = errors.Unwrap(err) {
		err = inner
	}
	return strings.TrimPrefix(err.Error(), "x509: ")
}
