package notify_test

import (
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"strconv"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/notify"
	"binwatchd/internal/proctest"
)

// What is meant for one address is not for another to read, whatever the first says.
func TestWebhookIsNotFollowedToAnotherHost(t *testing.T) {
	for _, code := range []int{http.StatusMovedPermanently, http.StatusFound, http.StatusSeeOther, http.StatusTemporaryRedirect, http.StatusPermanentRedirect} {
		t.Run(strconv.Itoa(code), func(t *testing.T) {
			meant, other := openLanding(t), openLanding(t)
			meant.answer(code)
			other.answer(http.StatusBadGateway)
			meant.extra.Set("Location", other.URL+"/thief")
			cfg, src, b := byHook(t, meant)
			s, stop := running(t, cfg, src)
			owe(b, cfg, change(farm.TooHot, farm.Raised, farm.Today, time.Now()))
			said := tried(t, s)
			stop()
			if n := len(other.got()); n != 0 {
				t.Errorf("the other host got %d posts", n)
			}
			if !strings.Contains(said, "redirects are not followed") || strings.Contains(said, "thief") || b.settled() {
				t.Errorf("trouble is %q, fates %v", said, b.fates())
			}
		})
	}
}

// A webhook that takes the post and never answers holds up no stop, and gets it once
// more under the same id.
func TestWebhookHangs(t *testing.T) {
	t.Parallel()
	hangs, ids := make(chan struct{}), make(chan string, 2)
	server := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		_, _ = io.Copy(io.Discard, r.Body)
		ids <- r.Header.Get("webhook-id")
		<-hangs
	}))
	defer server.Close()
	cfg, src, b := byHook(t, &landing{Server: server})
	s, stop := running(t, cfg, src)
	owe(b, cfg, change(farm.TooHot, farm.Raised, farm.Today, time.Now()))
	first := <-ids
	stop()
	if b.settled() || s.Recipients()[0].Trouble == "" {
		t.Errorf("fates %v, trouble %q", b.fates(), s.Recipients()[0].Trouble)
	}
	close(hangs)
	b.due()
	running(t, cfg, src)
	if again := <-ids; again != first || first == "" {
		t.Errorf("it came as %q and then as %q", first, again)
	}
	proctest.Eventually(t, "the settling", b.settled)
}

// A webhook says 500 for a day, in which twenty conditions arise and stay, and forty
// come and go, some many times. It is tried once an hour, and then hears of each once:
// what is over by then as one post that says so, and nothing is lost.
func TestAServerThatIsIllForADay(t *testing.T) {
	for _, kind := range []notify.Kind{notify.ByWebhook, notify.ByMail} {
		t.Run(string(kind), func(t *testing.T) {
			inBubble(t, func(teller *notify.Teller) {
				if teller.Kind = kind; kind == notify.ByWebhook {
					teller.Mail, teller.URL = "", "http://127.0.0.1:9/"
				}
			}, func(p *pace) {
				p.answer(2)
				says := func(n int, k farm.ChangeKind) {
					c := change(farm.TooHot, k, farm.Today, time.Now())
					c.Episode, c.Bin = fmt.Sprint("e", n), fmt.Sprint("bin", n)
					p.box.add(notify.OwedFor(p.cfg.Tellers, c, c.At)...)
				}
				for n := range 60 {
					says(n, farm.Raised)
					p.pass(10 * time.Minute)
					if n%3 != 0 {
						says(n, farm.Eased)
					}
					p.pass(14 * time.Minute)
				}
				day := len(p.bundles())
				if day < 24 || day > 24+10 {
					t.Errorf("tried %d times in a day, want about once an hour", day)
				}
				p.answer(0)
				p.pass(12 * time.Hour)
				told := map[string][]string{}
				for _, b := range p.bundles()[day:] {
					for _, it := range b.Items {
						told[it.Change.Episode] = append(told[it.Change.Episode], it.Say)
					}
				}
				for n := range 60 {
					want := "[cameWent]"
					if n%3 == 0 {
						want = "[stands]"
					}
					if got := fmt.Sprint(told[fmt.Sprint("e", n)]); got != want {
						t.Errorf("episode %d is told as %s, want %s", n, got, want)
					}
				}
				if !p.box.settled() || len(told) != 60 {
					t.Errorf("%d told of, fates %v", len(told), p.box.fates())
				}
				for _, fate := range p.box.fates() {
					if fate == farm.Dropped {
						t.Error("something was dropped")
					}
				}
			})
		})
	}
}

// A mail server that takes the message and drops the link before its answer gets the
// very same mail again.
func TestLinkIsDroppedBeforeTheAnswer(t *testing.T) {
	c := openClerk(t)
	c.fallSilentAt("hangup")
	cfg, src, b := byClerk(t, c)
	cfg.Mail.Patience = time.Minute
	s, stop := running(t, cfg, src)
	owe(b, cfg, change(farm.TooHot, farm.Raised, farm.Today, time.Now()))
	tried(t, s)
	stop()
	if b.settled() {
		t.Error("a mail without an answer counts as told")
	}
	c.fallSilentAt("")
	b.due()
	running(t, cfg, src)
	proctest.Eventually(t, "the settling", b.settled)
	mails := c.received()
	if len(mails) != 2 {
		t.Fatalf("%d mails arrived, want the same twice", len(mails))
	}
	first, again := open(t, mails[0]), open(t, mails[1])
	if a, z := first.header.Get("Message-Id"), again.header.Get("Message-Id"); a != z || a == "" || first.text != again.text {
		t.Errorf("Message-IDs are %q and %q", a, z)
	}
}

// A mail server whose certificate has expired is told nothing, neither the password;
// when it has a good one, the mail goes.
func TestMailServersCertificateHasExpired(t *testing.T) {
	p, b := openPostOffice(t), newBox()
	cfg, src := byMail(t, p, b)
	cfg.CertTime = func() time.Time { return time.Date(2300, 1, 1, 0, 0, 0, 0, time.UTC) }
	s, stop := running(t, cfg, src)
	owe(b, cfg, change(farm.TooHot, farm.Raised, farm.Today, time.Now()))
	said := tried(t, s)
	stop()
	if !strings.Contains(said, "expired") || strings.Contains(said, cfg.Mail.Password) || len(p.received()) != 0 || b.settled() {
		t.Errorf("trouble is %q, %d mails", said, len(p.received()))
	}
	cfg.CertTime = time.Now
	b.due()
	running(t, cfg, src)
	proctest.Eventually(t, "the settling", b.settled)
	if len(p.received()) != 1 {
		t.Errorf("%d mails arrived", len(p.received()))
	}
}
