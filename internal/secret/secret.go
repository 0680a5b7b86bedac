// Package secret knows where passwords and keys lie, and reads them when they are
// used, so that no configuration holds one. secret.go is the source of one secret,
// file.go the files that a configuration names.
package secret

import (
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
)

// A Secret says where a secret lies and never holds it: in a file, in an
// environment variable, or in a credential that systemd hands over. Whatever
// prints one prints the source. The zero Secret is none.
type Secret struct {
	from Place
	name string // path, variable or credential
}

// Place is what a secret lies in.
type Place string

const (
	File       Place = "file"
	Env        Place = "env"
	Credential Place = "credential"
)

// In is the secret of a name at a place; the error says what is wrong with the
// name.
func In(place Place, name string) (Secret, error) {
	switch {
	case place == Env && strings.ContainsAny(name, "= "):
		return Secret{}, errors.New("an environment variable is named without = and spaces, as in BROKER_PASSWORD")
	case place == Credential && (strings.Contains(name, "/") || name == "." || name == ".."):
		return Secret{}, errors.New("a credential is a name without /, as in LoadCredential=NAME:PATH")
	}
	return Secret{place, name}, nil
}

// InFile is a secret in a file that a command line names.
func InFile(path string) Secret { return Secret{File, path} }

// Source says where the secret lies.
func (s Secret) Source() (Place, string) { return s.from, s.name }

// Beside gives the secret with the path of its file taken from a folder.
func (s Secret) Beside(folder string) Secret {
	if s.from == File && !filepath.IsAbs(s.name) {
		s.name = filepath.Join(folder, s.name)
	}
	return s
}

// IsZero tells whether no secret is configured.
func (s Secret) IsZero() bool { return s.from == "" }

// String gives the source: {file: /etc/binwatchd/broker.secret}.
func (s Secret) String() string {
	if s.IsZero() {
		return "none"
	}
	return "{" + string(s.from) + ": " + s.name + "}"
}

// GoString gives the source, for %#v.
func (s Secret) GoString() string { return "secret.Secret" + s.String() }

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
	case File:
		return readClosed(s.name)
	case Env:
		secret, found := os.LookupEnv(s.name)
		if !found {
			return "", notHere("the environment has no variable " + s.name)
		}
		return secret, nil
	case Credential:
		dir := os.Getenv("CREDENTIALS_DIRECTORY")
		if dir == "" {
			return "", notHere("there are no credentials: systemd hands them over with LoadCredential=" + s.name + ":PATH")
		}
		return readClosed(filepath.Join(dir, s.name))
	}
	return "", fmt.Errorf("no source is configured")
}
