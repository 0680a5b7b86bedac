package notify_test

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/notify"
	"binwatchd/internal/proctest"
)

const hookSecret = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"

// The test vector that the libraries of Standard Webhooks 1.0 share (from
// memory), and the example of its specification (likewise).
func TestSignature(t *testing.T) {
	tests := []struct {
		name, secret, id string
		at               int64
		body, want       string
	}{
		{"shared vector", hookSecret, "msg_p5jXN8AQM9LWM0D4loKWxJek", 1614265330, `{"test": 2432232314}`, "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="},
		{"example", "whsec_plJ3nmyCDGBKInavdOK15jsl", "msg_loFOjxBNrRLzqYUf", 1731705121, `{"event_type":"ping","data":{"success":true}}`, "v1,rAvfW3dJ/X/qxhsaXPOyyCGmRKsaKWcsNccKXlIktD0="},
		{"base64 without its prefix", strings.TrimPrefix(hookSecret, "whsec_"), "msg_p5jXN8AQM9LWM0D4loKWxJek", 1614265330, `{"test": 2432232314}`, "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got, err := notify.SignatureOf(tt.secret, tt.id, time.Unix(tt.at, 0), tt.body)
			if err != nil || got != tt.want {
				t.Errorf("got %q, %v, want %q", got, err, tt.want)
			}
		})
	}
}

// A landing is a webhook's far end.
type landing struct {
	*httptest.Server
	mu    sync.Mutex
	posts []post
	code  int
	extra http.Header
}

type post struct {
	header http.Header
	body   []byte
}

func openLanding(t *testing.T) *landing {
	t.Helper()
	l := &landing{code: http.StatusNoContent, extra: http.Header{}}
	l.Server = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body, err := io.ReadAll(r.Body)
		if err != nil {
			t.Error(err)
		}
		l.mu.Lock()
		defer l.mu.Unlock()
		l.posts = append(l.posts, post{r.Header.Clone(), body})
		for k, v := range l.extra {
			w.Header()[k] = v
		}
		w.WriteHeader(l.code)
	}))
	t.Cleanup(l.Close)
	return l
}

func (l *landing) answer(code int) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.code = code
}

func (l *landing) got() []post {
	l.mu.Lock()
	defer l.mu.Unlock()
	return append([]post(nil), l.posts...)
}

func byHook(t *testing.T, l *landing) (notify.Config, notify.Sources, *box) {
	t.Helper()
	cfg, b := keeperOnly(t), newBox()
	cfg.Now = time.Now
	cfg.Tellers = notify.Named([]notify.Teller{{Kind: notify.ByWebhook, URL: l.URL + "/hook/t0ken", Secret: hookSecret}})
	return cfg, notify.Sources{Outbox: b}, b
}

// verified checks a post as the far end does in Standard Webhooks 1.0.
func verified(t *testing.T, p post) map[string]any {
	t.Helper()
	key, err := base64.StdEncoding.DecodeString(strings.TrimPrefix(hookSecret, "whsec_"))
	if err != nil {
		t.Fatal(err)
	}
	id, stamp := p.header.Get("webhook-id"), p.header.Get("webhook-timestamp")
	mac := hmac.New(sha256.New, key)
	mac.Write([]byte(id + "." + stamp + "." + string(p.body)))
	if want := "v1," + base64.StdEncoding.EncodeToString(mac.Sum(nil)); p.header.Get("webhook-signature") != want {
		t.Errorf("signature is %q, want %q", p.header.Get("webhook-signature"), want)
	}
	if n, err := strconv.ParseInt(stamp, 10, 64); err != nil || time.Since(time.Unix(n, 0)).Abs() > 5*time.Minute {
		t.Errorf("time stamp is %q", stamp)
	}
	var body map[string]any
	if err := json.Unmarshal(p.body, &body); err != nil {
		t.Fatal(err)
	}
	if body["id"] != id || id == "" {
		t.Errorf("the body's id is %v, the header's %q", body["id"], id)
	}
	return body
}

func TestWebhookCarriesTheChange(t *testing.T) {
	l := openLanding(t)
	cfg, src, b := byHook(t, l)
	running(t, cfg, src)
	c := heating()
	c.At = time.Now()
	owe(b, cfg, c)
	proctest.Eventually(t, "the settling", b.settled)
	c.At, c.Change, c.Urgency = c.At.Add(time.Second), farm.Lightened, farm.Soon
	owe(b, cfg, c)
	proctest.Eventually(t, "the lightening", b.settled)
	posts := l.got()
	if len(posts) != 2 {
		t.Fatalf("%d posts", len(posts))
	}
	body := verified(t, posts[0])
	for field, want := range map[string]any{"bin": "bed", "zone": "near", "condition": "heating", "change": "raised", "urgency": "today"} {
		if body[field] != want {
			t.Errorf("%s is %v, want %v", field, body[field], want)
		}
	}
	forecast, _ := body["forecast"].(map[string]any)
	if _, ok := forecast["earliest"].(string); !ok {
		t.Errorf("forecast is %v", body["forecast"])
	}
	if _, ok := body["probe"]; ok {
		t.Error("an absent part is there")
	}
	if later := verified(t, posts[1]); later["change"] != "lightened" || later["id"] == body["id"] {
		t.Errorf("then came %v", later)
	}
}

// Every attempt bears the same id; what was not taken comes again.
func TestWebhookComesAgainUnderItsID(t *testing.T) {
	for _, code := range []int{http.StatusFound, http.StatusUnauthorized, http.StatusBadRequest, http.StatusTooManyRequests, http.StatusInternalServerError} {
		t.Run(strconv.Itoa(code), func(t *testing.T) {
			l := openLanding(t)
			l.answer(code)
			l.extra.Set("Location", l.URL+"/elsewhere")
			cfg, src, b := byHook(t, l)
			s, stop := running(t, cfg, src)
			owe(b, cfg, change(farm.TooHot, farm.Raised, farm.Today, time.Now()))
			said := tried(t, s)
			if !strings.HasPrefix(said, strconv.Itoa(code)) || strings.Contains(said, "t0ken") {
				t.Errorf("trouble is %q", said)
			}
			stop()
			l.answer(http.StatusOK)
			b.due()
			running(t, cfg, src)
			proctest.Eventually(t, "the settling", b.settled)
			posts := l.got()
			if len(posts) != 2 || posts[0].header.Get("webhook-id") != posts[1].header.Get("webhook-id") {
				t.Errorf("%d posts, a redirect counted as one", len(posts))
			}
		})
	}
}

func TestWebhookAddressAndSecretAreChecked(t *testing.T) {
	tests := []struct {
		name, url, secret, want string
	}{
		{"plain http away from here", "http://example.org/hook", hookSecret, "https"},
		{"plain http to a name like localhost", "http://localhost.example.org/hook", hookSecret, "https"},
		{"no host", "https:///hook", hookSecret, "address"},
		{"another scheme", "file:///etc/passwd", hookSecret, "address"},
		{"a secret that is not base64", "https://example.org/hook", "whsec_***", "base64"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			cfg := keeperOnly(t)
			cfg.Tellers = notify.Named([]notify.Teller{{Kind: notify.ByWebhook, URL: tt.url, Secret: tt.secret}})
			_, err := notify.NewSender(cfg, notify.Sources{})
			if err == nil || !strings.Contains(err.Error(), tt.want) {
				t.Fatalf("error is %v", err)
			}
			if strings.Contains(err.Error(), "whsec") && tt.secret != "whsec_***" || strings.Contains(err.Error(), "***") {
				t.Errorf("the secret shows: %v", err)
			}
		})
	}
}

// A dead address is said without its path, which may be a secret.
func TestWebhookTroubleHidesThePath(t *testing.T) {
	l := openLanding(t)
	cfg, src, b := byHook(t, l)
	l.Close()
	s, _ := running(t, cfg, src)
	owe(b, cfg, change(farm.TooHot, farm.Raised, farm.Today, time.Now()))
	if said := tried(t, s); said == "" || strings.Contains(said, "t0ken") {
		t.Errorf("trouble is %q", said)
	}
}

// Certificates are judged by the clock that is given for it, not by the
// machine's.
func TestCertificatesAreJudgedByTheirOwnClock(t *testing.T) {
	server := httptest.NewTLSServer(http.NotFoundHandler()) // its certificate is good from 1970 to 2084
	defer server.Close()
	for at, want := range map[time.Time]string{
		time.Date(2100, 1, 1, 0, 0, 0, 0, time.UTC): "expired",
		time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC): "unknown authority",
		time.Date(1969, 1, 1, 0, 0, 0, 0, time.UTC): "not yet valid",
	} {
		s, err := notify.NewSender(notify.Config{
			Farm: hillfoot(t), Tellers: notify.Named([]notify.Teller{{Kind: notify.ByWebhook, URL: server.URL}}),
			Now: time.Now, CertTime: func() time.Time { return at },
		}, notify.Sources{})
		if err != nil {
			t.Fatal(err)
		}
		if _, said := notify.CarryOnce(t.Context(), s, change(farm.TooDry, farm.Raised, farm.Today, start)); !strings.Contains(said, want) {
			t.Errorf("in %d: got %q, want it to say %q", at.Year(), said, want)
		}
	}
}
