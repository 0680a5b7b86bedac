package control

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net"
	"net/http"
	"strings"
	"syscall"
	"time"

	"binwatchd/internal/farm"
)

// A Client asks the daemon that listens at a socket.
type Client struct {
	path string
	http *http.Client
}

// NewClient makes a client; nothing is dialled yet.
func NewClient(path string) *Client {
	var d net.Dialer
	return &Client{path: path, http: &http.Client{
		Timeout: 35 * time.Second,
		Transport: &http.Transport{DialContext: func(ctx context.Context, _, _ string) (net.Conn, error) {
			return d.DialContext(ctx, "unix", path)
		}},
	}}
}

// Look gives how the farm stands; [ErrNoDaemon] when none is running.
func (c *Client) Look(ctx context.Context) (farm.View, error) {
	var v farm.View
	body, err := c.call(ctx, http.MethodGet, "/view", nil)
	if err != nil {
		return v, err
	}
	if err := json.Unmarshal(body, &v); err != nil {
		return v, fmt.Errorf("read the daemon's view: %w", err)
	}
	return v, nil
}

// Act has the daemon note something; [ErrNoDaemon] when none is running.
func (c *Client) Act(ctx context.Context, a Action) error {
	body, err := json.Marshal(a)
	if err != nil {
		return fmt.Errorf("encode action: %w", err)
	}
	_, err = c.call(ctx, http.MethodPost, "/act", body)
	return err
}

// Reload has the daemon read its configuration again.
func (c *Client) Reload(ctx context.Context) error {
	_, err := c.call(ctx, http.MethodPost, "/reload", nil)
	return err
}

func (c *Client) call(ctx context.Context, method, path string, body []byte) ([]byte, error) {
	req, err := http.NewRequestWithContext(ctx, method, "http://daemon"+path, bytes.NewReader(body))
	if err != nil {
		return nil, fmt.Errorf("ask the daemon: %w", err)
	}
	resp, err := c.http.Do(req)
	switch {
	case errors.Is(err, fs.ErrNotExist), errors.Is(err, syscall.ECONNREFUSED):
		return nil, ErrNoDaemon
	case errors.Is(err, fs.ErrPermission):
		return nil, fmt.Errorf("ask the daemon: no permission to open %s; join the group that owns it", c.path)
	case err != nil:
		return nil, fmt.Errorf("ask the daemon: %w", err)
	}
	defer resp.Body.Close()
	answer, err := io.ReadAll(resp.Body)
	if err != nil {
		return nil, fmt.Errorf("read the daemon's answer: %w", err)
	}
	if resp.StatusCode >= 300 {
		return nil, errors.New(strings.TrimSpace(string(answer)))
	}
	return answer, nil
}
