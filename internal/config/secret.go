package config

import (
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"strings"

	"gopkg.in/yaml.v3"
)

// A Secret says where a secret lies and never holds it: in a file, in an
// environment variable, or in a credential that systemd hands over. Whatever
// prints one prints the source. The zero Secret is none.
type Secret struct {
	from string // file, env or credential
	name string // path, variable or credential
}

const (
	fromFile       = "file"
	fromEnv        = "env"
	fromCredential = "credential"
)

// FileSecret is a secret in a file that a command line names.
func FileSecret(path string) Secret { return Secret{from: fromFile, name: path} }

// IsZero tells whether no secret is configured.
func (s Secret) IsZero() bool { return s.from == "" }

// String gives the source: {file: /etc/binwatchd/broker.secret}.
func (s Secret) String() string {
	if s.IsZero() {
		return "none"
	}
	return "{" + s.from + ": " + s.name + "}"
}

// GoString gives the source, for %#v.
func (s Secret) GoString() string { return "config.Secret" + s.String() }

// MarshalText gives the source, for JSON and its like.
func (s Secret) MarshalText() ([]byte, error) { return []byte(s.String()), nil }

// LogValue gives the source to a log.
func (s Secret) LogValue() slog.Value { return slog.StringValue(s.String()) }

// Reveal reads the secret, without the one newline that editors put at its
// end. It reads anew each time, so that a changed secret is found. Its errors
// name the source, never the content. A file that everybody may read is
// refused.
func (s Secret) Reveal() (string, error) {
	secret, err := s.read()
	if err != nil {
		return "", fmt.Errorf("secret %s: %w", s, err)
	}
	secret = strings.TrimSuffix(strings.TrimSuffix(secret, "\n"), "\r")
	switch {
	case secret == "":
		return "", fmt.Errorf("secret %s is empty", s)
	case strings.ContainsAny(secret, "\n\r\x00"):
		return "", fmt.Errorf("secret %s has more than one line", s)
	}
	return secret, nil
}

func (s Secret) read() (string, error) {
	switch s.from {
	case fromFile:
		return readClosed(s.name)
	case fromEnv:
		secret, found := os.LookupEnv(s.name)
		if !found {
			return "", notHere("the environment has no variable " + s.name)
		}
		return secret, nil
	case fromCredential:
		dir := os.Getenv("CREDENTIALS_DIRECTORY")
		if dir == "" {
			return "", notHere("there are no credentials: systemd hands them over with LoadCredential=" + s.name + ":PATH")
		}
		return readClosed(filepath.Join(dir, s.name))
	}
	return "", fmt.Errorf("no source is configured")
}

// othersMay are the permission bits by which anybody on the machine could
// read or replace a secret; its group may read it.
const othersMay = 0o006

// notHere says that a secret is kept from whoever looks, which on another
// machine or for another user it may not be.
type notHere string

func (e notHere) Error() string { return string(e) }

// ReadKey reads the file of a private key, by the rule for secrets: one that
// everybody may read or write is refused.
func ReadKey(path string) ([]byte, error) {
	text, err := readClosed(path)
	if err != nil {
		return nil, fmt.Errorf("private key %s: %w", path, err)
	}
	return []byte(text), nil
}

// readClosed reads a file that is closed to others.
func readClosed(path string) (string, error) {
	text, mode, err := readPlain(path, largestSecret)
	if pe := (*fs.PathError)(nil); errors.As(err, &pe) {
		return "", pe.Err // the path is in the source already
	}
	switch {
	case err != nil:
		return "", err
	case mode.Perm()&othersMay != 0:
		return "", fmt.Errorf("everybody may read or write %s; close it with: chmod o= %s", path, path)
	}
	return string(text), nil
}

// secret reads one of the three forms. A plain text is refused without
// repeating it.
func secret() codec[Secret] {
	const forms = "{file: PATH}, {env: NAME} or {credential: NAME}"
	return codec[Secret]{
		read: func(r *reader, n node) (Secret, bool) {
			if n.Kind == yaml.ScalarNode && n.ShortTag() != "!!null" {
				r.problem(n.place(), "a secret does not stand in this file: write %s", forms)
				return Secret{}, false
			}
			pairs, ok := r.pairs(n, "the source of a secret: "+forms)
			if !ok {
				return Secret{}, false
			}
			if len(pairs) != 1 || !isSecretSource(pairs[0].name) {
				r.problem(n.place(), "a secret has one source: write %s", forms)
				return Secret{}, false
			}
			return readSecretSource(r, pairs[0])
		},
		write: func(s Secret) *yaml.Node {
			return &yaml.Node{Kind: yaml.MappingNode, Style: yaml.FlowStyle,
				Content: []*yaml.Node{textNode(s.from), textNode(s.name)}}
		},
		schema: secretSchema(),
	}
}

func isSecretSource(s string) bool { return s == fromFile || s == fromEnv || s == fromCredential }

func readSecretSource(r *reader, p pair) (Secret, bool) {
	name, ok := text("the source of a secret", "").read(r, p.value)
	if !ok {
		return Secret{}, false
	}
	switch {
	case p.name == fromEnv && strings.ContainsAny(name, "= "):
		r.problem(p.value.place(), "an environment variable is named without = and spaces, as in BROKER_PASSWORD")
		return Secret{}, false
	case p.name == fromCredential && (strings.Contains(name, "/") || name == "." || name == ".."):
		r.problem(p.value.place(), "a credential is a name without /, as in LoadCredential=NAME:PATH")
		return Secret{}, false
	}
	return Secret{p.name, name}, true
}
