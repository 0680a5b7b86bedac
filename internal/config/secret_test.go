package config_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/sys/unix"

	"binwatchd/internal/config"
	"binwatchd/internal/ingest"
	"binwatchd/internal/secret"
)

// password loads a configuration with a broker password from a source.
func password(t *testing.T, source string) secret.Secret {
	t.Helper()
	return parseAt(t, replaced(t, brokerAt, `{url: "tcp://127.0.0.1:1883", user: bins, password: `+source+`}`), config.ForRun).Broker.Password
}

func writeSecret(t *testing.T, content string, mode os.FileMode) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "secret")
	if err := os.WriteFile(path, []byte(content), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(path, mode); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestReveal(t *testing.T) {
	tests := []struct {
		name, content string
		mode          os.FileMode
		want, wrong   string
	}{
		{"plain", "hunter2", 0o600, "hunter2", ""},
		{"one newline is the editor's", "hunter2\n", 0o640, "hunter2", ""},
		{"one newline of Windows", "hunter2\r\n", 0o400, "hunter2", ""},
		{"spaces belong to it", " hunter2 ", 0o400, " hunter2 ", ""},
		{"everybody may read", "hunter2", 0o644, "", "everybody may read or write"},
		{"everybody may write", "hunter2", 0o602, "", "everybody may read or write"},
		{"nothing in it", "\n", 0o600, "", "is empty"},
		{"two lines", "hunter2\nhunter3\n", 0o600, "", "more than one line"},
		{"a book", strings.Repeat("hunter2", 10_000), 0o600, "", "larger than 64 KiB"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			path := writeSecret(t, tt.content, tt.mode)
			got, err := password(t, "{file: "+path+"}").Reveal()
			checkSecret(t, got, err, tt.want, tt.wrong)
		})
	}
	t.Run("a folder", func(t *testing.T) {
		got, err := password(t, "{file: "+t.TempDir()+"}").Reveal()
		checkSecret(t, got, err, "", "not a plain file")
	})
	t.Run("a pipe that nobody writes into", func(t *testing.T) {
		path := filepath.Join(t.TempDir(), "secret")
		if err := unix.Mkfifo(path, 0o600); err != nil {
			t.Fatal(err)
		}
		got, err := password(t, "{file: "+path+"}").Reveal()
		checkSecret(t, got, err, "", path+" is a pipe, not a plain file")
		if _, err := secret.ReadPlain(path); err == nil || !strings.Contains(err.Error(), "is a pipe") {
			t.Errorf("as a certificate: %v", err)
		}
		if _, err := config.Load(path, config.ForRun); err == nil || !strings.Contains(err.Error(), path) {
			t.Errorf("as a configuration: %v", err)
		}
	})
	t.Run("a device without end", func(t *testing.T) {
		got, err := password(t, "{file: /dev/zero}").Reveal()
		checkSecret(t, got, err, "", "/dev/zero is a device, not a plain file")
	})
	t.Run("not there", func(t *testing.T) {
		got, err := password(t, "{file: /nowhere/secret}").Reveal()
		checkSecret(t, got, err, "", "secret {file: /nowhere/secret}: no such file or directory")
	})
}

func checkSecret(t *testing.T, got string, err error, want, wrong string) {
	t.Helper()
	if wrong == "" {
		if err != nil || got != want {
			t.Errorf("got %q, %v; want %q", got, err, want)
		}
		return
	}
	if err == nil || got != "" || !strings.Contains(err.Error(), wrong) || strings.Contains(err.Error(), "hunter") {
		t.Errorf("got %q, %v; want an error with %q and nothing of the secret", got, err, wrong)
	}
}

func TestRevealFromElsewhere(t *testing.T) {
	t.Setenv("BINS_PASSWORD", "hunter2")
	got, err := password(t, "{env: BINS_PASSWORD}").Reveal()
	checkSecret(t, got, err, "hunter2", "")
	got, err = password(t, "{env: BINS_NOT_SET}").Reveal()
	checkSecret(t, got, err, "", "the environment has no variable BINS_NOT_SET")

	path := writeSecret(t, "hunter2\n", 0o400)
	t.Setenv("CREDENTIALS_DIRECTORY", filepath.Dir(path))
	got, err = password(t, "{credential: secret}").Reveal()
	checkSecret(t, got, err, "hunter2", "")
	t.Setenv("CREDENTIALS_DIRECTORY", "")
	got, err = password(t, "{credential: secret}").Reveal()
	checkSecret(t, got, err, "", "systemd hands them over with LoadCredential=secret:PATH")

	got, err = secret.Secret{}.Reveal()
	checkSecret(t, got, err, "", "secret none: no source is configured")
}

// A changed secret is found without a new configuration.
func TestRevealReadsAnew(t *testing.T) {
	path := writeSecret(t, "hunter2", 0o600)
	s := password(t, "{file: "+path+"}")
	for _, want := range []string{"hunter2", "hunter3"} {
		if err := os.WriteFile(path, []byte(want), 0o600); err != nil {
			t.Fatal(err)
		}
		got, err := s.Reveal()
		checkSecret(t, got, err, want, "")
	}
}

// However a secret is printed, only its source comes out.
func TestSecretPrintsItsSource(t *testing.T) {
	t.Setenv("BINS_PASSWORD", "hunter2")
	s := password(t, "{env: BINS_PASSWORD}")
	var log bytes.Buffer
	slog.New(slog.NewTextHandler(&log, nil)).Info("read", "password", s)
	asJSON, err := json.Marshal(map[string]any{"password": s})
	if err != nil {
		t.Fatal(err)
	}
	broker := ingest.BrokerSettings{Password: s}
	for _, printed := range []string{
		s.String(), fmt.Sprintf("%v %+v %s", s, s, s), fmt.Sprintf("%#v", s), fmt.Sprintf("%+v", broker), string(asJSON), log.String(),
	} {
		if strings.Contains(printed, "hunter2") || !strings.Contains(printed, "{env: BINS_PASSWORD}") {
			t.Errorf("printed %s", printed)
		}
	}
}
