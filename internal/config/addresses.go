package config

import (
	"errors"
	"fmt"
	"net"
	netmail "net/mail"
	"net/netip"
	"net/url"
	"regexp"
	"strconv"
	"strings"
	"unicode"

	"binwatchd/internal/loopback"
	"binwatchd/internal/quantity"
)

// Addresses can hold passwords, so the messages here never repeat one.

// parseBrokerURL checks the address of a broker: scheme, host and port.
func parseBrokerURL(s string) (string, error) {
	u, err := bareURL(s)
	switch {
	case err != nil:
	case !isPlainScheme(u.Scheme) && !isTLSScheme(u.Scheme):
		err = errors.New("a broker's address begins with tcp:// or, for TLS, ssl:// (mqtt://, tls:// and mqtts:// will do too), as in tcp://127.0.0.1:1883")
	case u.Port() == "":
		err = errors.New("the broker's port is missing: add :1883, or :8883 for TLS")
	case u.RawQuery != "" || u.Fragment != "":
		err = errors.New("a broker's address ends with its port, as in tcp://127.0.0.1:1883")
	}
	return s, err
}

func isPlainScheme(s string) bool { return s == "tcp" || s == "mqtt" }
func isTLSScheme(s string) bool   { return s == "ssl" || s == "tls" || s == "mqtts" }

// parseHTTP checks an http or https address without user and password.
func parseHTTP(s string) (string, error) {
	u, err := bareURL(s)
	if err == nil && u.Scheme != "http" && u.Scheme != "https" {
		err = errors.New("the address begins with http:// or https://")
	}
	return s, err
}

// wrongWebhook refuses plain http to other machines, where anybody on the way could
// read and change what is told.
func wrongWebhook(s string) string {
	if u, err := url.Parse(s); err != nil || u.Scheme == "http" && !loopback.Is(u.Hostname()) {
		return "a webhook goes over plain http only to this machine: use https://"
	}
	return ""
}

func bareURL(s string) (*url.URL, error) {
	u, err := url.Parse(s)
	switch {
	case err != nil, u.Scheme == "", u.Opaque != "":
		return nil, errors.New("this is not an address with a scheme, a host and a port, such as tcp://127.0.0.1:1883 or http://127.0.0.1:8086")
	case u.User != nil:
		return nil, errors.New("the address holds a user or a password: take it out, and use the keys for user and secret")
	case u.Hostname() == "":
		return nil, errors.New("the address has no host, as the 127.0.0.1 in http://127.0.0.1:8086")
	case u.Port() != "" && !isPort(u.Port(), 1):
		return nil, errors.New("the port is a number from 1 to 65535")
	}
	return u, nil
}

// parseListen checks host:port to listen at. Port 0 is any free one.
func parseListen(s string) (string, error) {
	host, port, err := net.SplitHostPort(s)
	if err != nil || !isPort(port, 0) || !isHost(host) {
		return "", fmt.Errorf("%s is not an address to listen at: host and port, such as 127.0.0.1:8338, or :8338 for every network of this machine", quoted(s))
	}
	if loopback.Is(host) && strings.HasSuffix(host, ".") { // a resolver may know it without the dot alone
		return net.JoinHostPort(strings.TrimSuffix(host, "."), port), nil
	}
	return s, nil
}

func isPort(s string, least uint64) bool {
	n, err := strconv.ParseUint(s, 10, 16)
	return err == nil && n >= least
}

// isHost accepts "" (every network), an IP address and a host name.
func isHost(s string) bool {
	_, err := netip.ParseAddr(s)
	return err == nil || hostName.MatchString(s)
}

var hostName = regexp.MustCompile(`^[A-Za-z0-9._-]*$`)

// hostOf is the host of host:port, which has been checked before.
func hostOf(address string) string {
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return address
	}
	return host
}

// parseMailServer checks host:port; the port is 587 (submission, RFC 6409)
// when left out.
func parseMailServer(s string) (string, error) {
	host, port, err := net.SplitHostPort(s)
	if err != nil {
		host, port = s, "587"
	}
	if host == "" || !isHost(host) || !isPort(port, 1) {
		return "", fmt.Errorf("%s is not a mail server: host and port, such as mail.example.org:587", quoted(s))
	}
	return net.JoinHostPort(host, port), nil
}

// parseFrom checks a mail address that may come with a name.
func parseFrom(s string) (string, error) {
	_, err := netmail.ParseAddress(s)
	if err != nil || strings.ContainsFunc(s, unicode.IsControl) {
		return "", fmt.Errorf("%s is not a mail address, such as bins@example.org", quoted(s))
	}
	return s, nil
}

// parseAddress gives the bare address of a recipient.
func parseAddress(s string) (string, error) {
	a, err := netmail.ParseAddress(s)
	if err != nil {
		return "", fmt.Errorf("%s is not a mail address, such as keeper@example.org", quoted(s))
	}
	return a.Address, nil
}

// wrongFilter tells what keeps a text from being a topic filter by MQTT 3.1.1
// (OASIS 2014) §4.7, or "". That it is not empty, holds no U+0000 and is far
// shorter than 65535 bytes, text has seen to.
func wrongFilter(s string) string {
	levels := strings.Split(s, "/")
	for i, level := range levels {
		switch {
		case strings.Contains(level, "#") && (level != "#" || i != len(levels)-1):
			return fmt.Sprintf("in the topic %s the # must stand alone at the end, after a slash", quoted(s))
		case strings.Contains(level, "+") && level != "+":
			return fmt.Sprintf("in the topic %s the + must stand alone between slashes", quoted(s))
		}
	}
	return ""
}

// wrongPrefix tells what keeps a text from being the beginning of topics.
func wrongPrefix(s string) string {
	switch {
	case strings.ContainsAny(s, "+#"):
		return "the prefix cannot hold + or #"
	case strings.HasPrefix(s, "/"), strings.HasSuffix(s, "/"), strings.HasPrefix(s, "$"):
		return "the prefix stands without a slash at its ends and without $, as in binwatch"
	}
	return wrongFilter(s)
}

// parsePointer checks a JSON Pointer by RFC 6901 §3: empty, or parts that each
// begin with a slash, in which ~ stands only as ~0 or ~1.
func parsePointer(s string) (string, error) {
	if s == "" {
		return s, nil
	}
	if !strings.HasPrefix(s, "/") {
		return "", fmt.Errorf("%s is not a JSON Pointer: it begins with a slash, as in /%s", quoted(s), strings.TrimPrefix(strings.ReplaceAll(quantity.Shortened(s), ".", "/"), "$/"))
	}
	if len(s) > longestText {
		return "", fmt.Errorf("a JSON Pointer cannot be longer than %d bytes", longestText)
	}
	for i, c := range s {
		if c == '~' && (i+1 == len(s) || s[i+1] != '0' && s[i+1] != '1') {
			return "", fmt.Errorf("%s is not a JSON Pointer: ~ is written ~0 in it, and a slash inside a name ~1 (RFC 6901)", quoted(s))
		}
	}
	return s, nil
}
