package notify

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"time"

	"binwatchd/internal/backoff"
)

const usualLife = 15 * time.Minute

// A lifeSign calls a URL while the daemon is healthy, so that somebody outside
// can tell when it is not, or when the whole machine is dead. It says
// nothing rather than that something is wrong: the missing sign is what is
// watched for.
type lifeSign struct {
	cfg     Config
	healthy func() error
	client  *http.Client
	down    bool // the last call went wrong; told in the log when it changes
}

func newLifeSign(cfg Config, src Sources) (*lifeSign, error) {
	if cfg.Life == nil {
		return nil, nil
	}
	u, err := url.Parse(cfg.Life.URL)
	if err != nil || u.Host == "" || u.Scheme != "https" && u.Scheme != "http" {
		return nil, errors.New("sign of life: its URL is not one of http or https")
	}
	return &lifeSign{cfg: cfg, healthy: src.Healthy, client: plainClient(cfg.CertTime)}, nil
}

func (l *lifeSign) run(ctx context.Context) {
	every := l.cfg.Life.Every
	if every <= 0 {
		every = usualLife
	}
	for {
		l.turn(ctx)
		if !backoff.Pause(ctx, every) {
			return
		}
	}
}

// turn gives one sign, if the daemon is healthy.
func (l *lifeSign) turn(ctx context.Context) {
	if l.healthy != nil {
		if err := l.healthy(); err != nil {
			l.cfg.Log.Warn("sign of life withheld", "reason", err)
			return
		}
	}
	err := l.call(ctx)
	switch {
	case ctx.Err() != nil:
	case err != nil && !l.down:
		l.down = true
		l.cfg.Log.Warn("sign of life not taken", "error", err)
	case err == nil && l.down:
		l.down = false
		l.cfg.Log.Info("sign of life taken again")
	}
}

func (l *lifeSign) call(ctx context.Context) error {
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, l.cfg.Life.URL, nil)
	if err != nil {
		return errors.New("the URL cannot be read")
	}
	req.Header.Set("User-Agent", "binwatchd")
	resp, err := l.client.Do(req)
	if err != nil {
		return errors.New(hidden(plainly(err), secretsIn(l.cfg.Life.URL)))
	}
	defer resp.Body.Close()
	_, _ = io.Copy(io.Discard, io.LimitReader(resp.Body, 64<<10)) // so that the connection can be used again
	if resp.StatusCode < 200 || resp.StatusCode > 299 {
		return fmt.Errorf("answered %d %s", resp.StatusCode, http.StatusText(resp.StatusCode))
	}
	return nil
}
