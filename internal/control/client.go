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
	"net/url"
	"path/filepath"
	"strings"
	"syscall"
	"time"

	"binwatchd/internal/farm"
)

// A Client asks the daemon that listens at a socket.
type Client struct {
	path    string
	journal string
	http    *http.Client
}

// NewClient makes a client for the daemon that keeps a journal; nothing is dialled
// yet. A daemon that keeps another one answers with an error.
func NewClient(path, journal string) *Client {
	var d net.Dialer
	return &Client{path: path, journal: journal, http: &http.Client{
		Timeout: 35 * time.Second,
		Transport: &http.Transport{DialContext: func(ctx context.Context, _, _ string) (net.Conn, error) {
			return d.DialContext(ctx, "unix", path)
		}},
	}}
}

// Look gives how the farm stands; closely, with the castings account and what the
// database refused; [ErrNoDaemon] when none is running.
func (c *Client) Look(ctx context.Context, closely bool) (farm.View, error) {
	var v farm.View
	path := "/view"
	if !closely {
		path += glance
	}
	body, err := c.call(ctx, http.MethodGet, path, nil)
	if err != nil {
		return v, err
	}
	if err = json.Unmarshal(body, &v); err != nil {
		err = fmt.Errorf("read the daemon's view: %w", err)
	}
	return v, err
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

// Copy gives the journal from the daemon that has it open, where its path no
// longer names it; [ErrInPlace] where it does, [ErrNoDaemon] when none is running.
// The caller closes it.
func (c *Client) Copy(ctx context.Context) (io.ReadCloser, error) {
	resp, err := c.ask(ctx, &http.Client{Transport: c.http.Transport}, http.MethodGet, "/copy", nil) // a large one takes its time
	if err != nil {
		return nil, err
	}
	switch {
	case resp.StatusCode == http.StatusOK:
		return resp.Body, nil
	case resp.StatusCode == http.StatusNoContent, resp.StatusCode == http.StatusNotFound: // not found: a daemon of before
		resp.Body.Close()
		return nil, ErrInPlace
	}
	_, err = said(resp)
	return nil, err
}

func (c *Client) call(ctx context.Context, method, path string, body []byte) ([]byte, error) {
	resp, err := c.ask(ctx, c.http, method, path, body)
	if err != nil {
		return nil, err
	}
	return said(resp)
}

func (c *Client) ask(ctx context.Context, by *http.Client, method, path string, body []byte) (*http.Response, error) {
	req, err := http.NewRequestWithContext(ctx, method, "http://daemon"+path, bytes.NewReader(body))
	if err != nil {
		return nil, fmt.Errorf("ask the daemon: %w", err)
	}
	if whole, err := filepath.Abs(c.journal); c.journal != "" && err == nil {
		req.Header.Set(journalHeader, url.PathEscape(whole))
	}
	resp, err := by.Do(req)
	switch {
	case errors.Is(err, fs.ErrNotExist), errors.Is(err, syscall.ECONNREFUSED):
		return nil, ErrNoDaemon
	case errors.Is(err, fs.ErrPermission):
		return nil, fmt.Errorf("ask the daemon: no permission to open %s; join the group that owns it", c.path)
	case err != nil:
		return nil, fmt.Errorf("ask the daemon: %w", err)
	}
	return resp, nil
}

// said reads a short answer; one that is no success is an error in the daemon's
// words.
func said(resp *http.Response) ([]byte, error) {
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
