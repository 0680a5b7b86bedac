package notify

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"time"

	"binwatchd/internal/backoff"
)

// A Life is the URL called while the daemon is healthy.
type Life struct {
	LifeSettings        // Every: 0 is a quarter of an hour
	URL          string // revealed; stands before the settings' own, which says where it lies
}

// A signOfLife calls a URL while the daemon is healthy, so that somebody outside
// can tell when it is not, or when the whole machine is dead. It says
// nothing rather than that something is wrong: the missing sign is what is
// watched for.
type signOfLife struct {
	cfg     Config
	healthy func() error
	client  *http.Client
	down    bool // the last call went wrong; told in the log when it changes
}

func newSignOfLife(cfg Config, src Sources) (*signOfLife, error) {
	if cfg.Life == nil {
		return nil, nil
	}
	u, err := url.Parse(cfg.Life.URL)
	if err != nil || u.Host == "" || u.Scheme != "https" && u.Scheme != "http" {
		return nil, errors.New("sign of life: its URL is not one of http or https")
	}
	return &signOfLife{cfg: cfg, healthy: src.Healthy, client: plainClient(cfg.CertTime)}, nil
}

func (l *signOfLife) run(ctx context.Context) {
	for more := true; more; more = backoff.Pause(ctx, cmp.Or(l.cfg.Life.Every, 15*time.Minute)) {
		l.turn(ctx)
	}
}

// turn gives one sign, if the daemon is healthy.
func (l *signOfLife) turn(ctx context.Context) {
	if l.healthy != nil {
		if err := l.healthy(); err != nil {
			l.cfg.Log.Warn("sign of life withheld", "reason", err)
			return
		}
	}
	err := l.sign(ctx)
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

func (l *signOfLife) sign(ctx context.Context) error {
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, l.cfg.Life.URL, nil)
	if err != nil {
		return errors.New("the URL cannot be read")
	}
	resp, err := call(l.client, req)
	if err != nil {
		return errors.New(hidden(err.Error(), secretsIn(l.cfg.Life.URL)))
	}
	if resp.StatusCode/100 != 2 {
		return fmt.Errorf("answered %d %s", resp.StatusCode, http.StatusText(resp.StatusCode))
	}
	return nil
}
