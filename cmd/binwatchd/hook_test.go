package main

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"

	"binwatchd/internal/farm"
)

// A hook is a webhook's receiving end that verifies every signature as
// Standard Webhooks 1.0 says: HMAC-SHA256 over id.timestamp.body.
type hook struct {
	t      *testing.T
	url    string
	secret string // as configured
	key    []byte

	mu    sync.Mutex
	posts []posted
}

type posted struct {
	ID string `json:"id"`
	farm.Change
}

func startHook(t *testing.T) *hook {
	t.Helper()
	h := &hook{t: t, key: []byte("0123456789abcdef0123456789abcdef")}
	h.secret = "whsec_" + base64.StdEncoding.EncodeToString(h.key)
	s := httptest.NewServer(http.HandlerFunc(h.serve))
	t.Cleanup(s.Close)
	h.url = s.URL + "/hook"
	return h
}

func (h *hook) serve(w http.ResponseWriter, r *http.Request) {
	body, err := io.ReadAll(r.Body)
	if err != nil {
		h.t.Errorf("read webhook: %v", err)
	}
	id := r.Header.Get("webhook-id")
	mac := hmac.New(sha256.New, h.key)
	io.WriteString(mac, id+"."+r.Header.Get("webhook-timestamp")+"."+string(body))
	want := "v1," + base64.StdEncoding.EncodeToString(mac.Sum(nil))
	if got := r.Header.Get("webhook-signature"); !strings.Contains(got, want) {
		h.t.Errorf("got signature %q, want %q", got, want)
		w.WriteHeader(http.StatusUnauthorized)
		return
	}
	var p posted
	if err := json.Unmarshal(body, &p); err != nil || p.ID != id {
		h.t.Errorf("got body %s (%v), want JSON with id %q", body, err, id)
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	h.posts = append(h.posts, p)
}

func (h *hook) all() []posted {
	h.mu.Lock()
	defer h.mu.Unlock()
	return append([]posted(nil), h.posts...)
}
