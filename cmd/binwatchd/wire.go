package main

import (
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"encoding/hex"
	"errors"
	"fmt"
	"log/slog"
	"path/filepath"
	"strings"
	"time"

	"binwatchd/internal/config"
	"binwatchd/internal/influx"
	"binwatchd/internal/ingest"
	"binwatchd/internal/notify"
)

// Each function here turns settings into what one package wants to know, and
// reveals the secrets on the way.

// revealed reads a secret that may be missing.
func revealed(s config.Secret) (string, error) {
	if s.IsZero() {
		return "", nil
	}
	return s.Reveal()
}

func sourceConfig(cfg *config.Config, filters []string, log *slog.Logger, times times) (ingest.SourceConfig, error) {
	b := cfg.Broker
	password, err := revealed(b.Password)
	if err != nil {
		return ingest.SourceConfig{}, fmt.Errorf("broker password: %w", err)
	}
	tc, err := clientTLS(b.TLS)
	if err != nil {
		return ingest.SourceConfig{}, fmt.Errorf("broker: %w", err)
	}
	if tc == nil {
		tc = &tls.Config{MinVersion: tls.VersionTLS12}
	}
	tc.Time = times.certificates
	return ingest.SourceConfig{
		URLs: b.URLs, User: b.User, Password: password, TLS: tc, ClientID: b.ClientID, Filters: filters,
		Marker: ingest.MarkerTopic(b.Prefix, b.ClientID), Log: log, Now: time.Now,
	}, nil
}

func listenerConfig(cfg *config.Config, topics []string, log *slog.Logger, now func() time.Time) (ingest.ListenerConfig, error) {
	b := cfg.Broker
	lc := ingest.ListenerConfig{Address: b.Listen, Login: ingest.Login{User: b.User}, Topics: topics, Prefix: b.Prefix, Log: log, Now: now}
	var err error
	if lc.Login.Password, err = revealed(b.Password); err != nil {
		return lc, fmt.Errorf("broker password: %w", err)
	}
	if b.Keeper != nil {
		lc.Keeper.User = b.Keeper.User
		if lc.Keeper.Password, err = b.Keeper.Password.Reveal(); err != nil {
			return lc, fmt.Errorf("password of the broker's keeper: %w", err)
		}
	}
	return lc, nil
}

func clientTLS(files *config.ClientTLS) (*tls.Config, error) {
	if files == nil {
		return nil, nil
	}
	tc := &tls.Config{MinVersion: tls.VersionTLS12}
	if files.CA != "" {
		pool, err := authority(files.CA)
		if err != nil {
			return nil, err
		}
		tc.RootCAs = pool
	}
	if files.Cert != "" {
		pair, err := keyPair(files.Cert, files.Key)
		if err != nil {
			return nil, fmt.Errorf("read the client certificate: %w", err)
		}
		tc.Certificates = []tls.Certificate{pair}
	}
	return tc, nil
}

// keyPair reads a certificate and its private key.
func keyPair(cert, key string) (tls.Certificate, error) {
	keyPEM, err := config.ReadKey(key)
	if err != nil {
		return tls.Certificate{}, err
	}
	certPEM, err := config.ReadPlain(cert)
	if err != nil {
		return tls.Certificate{}, err
	}
	return tls.X509KeyPair(certPEM, keyPEM)
}

// authority reads the certificates of an own authority.
func authority(path string) (*x509.CertPool, error) {
	pem, err := config.ReadPlain(path)
	if err != nil {
		return nil, fmt.Errorf("read the authority's certificate: %w", err)
	}
	pool := x509.NewCertPool()
	if !pool.AppendCertsFromPEM(pem) {
		return nil, fmt.Errorf("%s holds no certificate", path)
	}
	return pool, nil
}

// notifyConfig is for the configuration of the file at path; "" where no command
// of a letter could name it.
func notifyConfig(cfg *config.Config, path string, log *slog.Logger, times times) (notify.Config, error) {
	nc := notify.Config{Farm: cfg.Farm, Log: log, Now: times.now, CertTime: times.certificates}
	var errs []error
	if path != "" {
		whole, err := filepath.Abs(path)
		if err != nil {
			errs = append(errs, fmt.Errorf("path of the configuration: %w", err))
		}
		nc.File = whole
	}
	reveal := func(what string, s config.Secret) string {
		text, err := revealed(s)
		if err != nil {
			errs = append(errs, fmt.Errorf("%s: %w", what, err))
		}
		return text
	}
	if m := cfg.Mail; m != nil {
		nc.Mail = notify.Mail{Server: m.Server, From: m.From, User: m.User, Password: reveal("mail password", m.Password), Security: notify.Security(m.Security)}
		if m.CA != "" {
			pool, err := authority(m.CA)
			if err != nil {
				errs = append(errs, fmt.Errorf("mail: %w", err))
			}
			nc.Mail.Roots = pool
		}
	}
	for _, t := range cfg.Tell {
		nc.Tellers = append(nc.Tellers, teller(t, reveal))
	}
	nc.Tellers = notify.Named(nc.Tellers)
	if r := cfg.Rounds; r != nil {
		at := time.Duration(r.Send.Hour)*time.Hour + time.Duration(r.Send.Minute)*time.Minute
		nc.Rounds = &notify.RoundsMail{Schedule: notify.Schedule{Days: r.Send.Days, At: at}, To: r.To}
	}
	if l := cfg.SignOfLife; l != nil {
		nc.Life = &notify.Life{URL: reveal("sign of life", l.URL), Every: l.Every}
	}
	return nc, errors.Join(errs...)
}

func teller(t config.Teller, reveal func(string, config.Secret) string) notify.Teller {
	nt := notify.Teller{About: t.About, Conditions: t.Conditions, Remind: t.Remind, Bins: t.Bins, PerHour: t.PerHour}
	switch {
	case t.Mail != "":
		nt.Kind, nt.To = notify.ByMail, t.Mail
	case t.Webhook != "":
		nt.Kind, nt.URL, nt.Secret = notify.ByWebhook, t.Webhook, reveal("webhook secret", t.Secret)
	default:
		nt.Kind, nt.URL = notify.ByPush, reveal("push", t.Push)
	}
	if !t.Quiet.IsZero() {
		nt.Quiet = &notify.Window{From: time.Duration(t.Quiet.From) * time.Minute, To: time.Duration(t.Quiet.To) * time.Minute}
	}
	return nt
}

func influxConfig(cfg *config.Config, log *slog.Logger, times times) (influx.Config, error) {
	in := cfg.Influx
	token, err := revealed(in.Token)
	if err != nil {
		return influx.Config{}, fmt.Errorf("influx token: %w", err)
	}
	password, err := revealed(in.Password)
	if err != nil {
		return influx.Config{}, fmt.Errorf("influx password: %w", err)
	}
	return influx.Config{
		URL: in.URL, Flavour: influx.Flavour(in.Flavour), Org: in.Org, Bucket: in.Bucket, Token: token,
		Database: in.Database, Retention: in.Retention, User: in.User, Password: password, Log: log, Now: times.now, CertTime: times.certificates,
	}, nil
}

// digest names a configuration, so that a snapshot taken under another is
// noticed. It is made of what is in force, secrets redacted.
func digest(cfg *config.Config) (string, error) {
	var b strings.Builder
	if err := cfg.Show(&b); err != nil {
		return "", fmt.Errorf("write out the configuration: %w", err)
	}
	sum := sha256.Sum256([]byte(versionName() + "\n" + b.String()))
	return hex.EncodeToString(sum[:8]), nil
}
