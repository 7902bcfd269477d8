package values

import (
	"net"
	"net/url"
	"strconv"
	"strings"
	"unicode"
)

// readAddress reads HOST:PORT, the host empty for all networks.
func readAddress(s string) (string, bool) {
	host, port, err := net.SplitHostPort(s)
	if err != nil || strings.ContainsFunc(host, func(r rune) bool { return unicode.IsControl(r) || unicode.IsSpace(r) || r == '/' }) {
		return "", false
	}
	return s, isPort(port)
}

func isPort(s string) bool {
	n, err := strconv.ParseUint(s, 10, 16)
	return err == nil && strconv.FormatUint(n, 10) == s
}

// The ports that IANA has registered for MQTT.
const portMQTT, portMQTTS = "1883", "8883"

// readBroker reads mqtt://HOST:PORT/PREFIX; the port may be left out. A prefix holds no
// wildcard, and is not the broker's own, which begins with $ (MQTT 5, 4.7).
func readBroker(s string) (*url.URL, bool) {
	u, err := url.Parse(s)
	if err != nil || u.Scheme != "mqtt" && u.Scheme != "mqtts" || u.User != nil || u.Hostname() == "" || u.RawQuery != "" || u.Fragment != "" {
		return nil, false
	}
	prefix := strings.Trim(u.Path, "/")
	if prefix == "" || len(prefix) > 1000 || strings.ContainsAny(prefix, "+#") || prefix[0] == '$' || strings.ContainsFunc(prefix, unicode.IsControl) || strings.ToValidUTF8(prefix, "") != prefix {
		return nil, false
	}
	port := u.Port()
	switch {
	case port != "":
	case u.Scheme == "mqtts":
		port = portMQTTS
	default:
		port = portMQTT
	}
	if !isPort(port) {
		return nil, false
	}
	return &url.URL{Scheme: u.Scheme, Host: net.JoinHostPort(u.Hostname(), port), Path: "/" + prefix}, true
}
