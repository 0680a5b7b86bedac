package notify_test

import (
	"bytes"
	"context"
	"net/mail"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/notify"
	"binwatchd/internal/proctest"
)

// running runs a sender until the test ends.
func running(t *testing.T, cfg notify.Config, src notify.Sources) (*notify.Sender, context.CancelFunc) {
	t.Helper()
	s, err := notify.NewSender(cfg, src)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() { s.Run(ctx); close(done) }()
	stop := func() { cancel(); <-done }
	t.Cleanup(stop)
	return s, stop
}

func byMail(t *testing.T, p *postOffice, box *box) (notify.Config, notify.Sources) {
	t.Helper()
	cfg := notify.Config{
		Farm:    hillfoot(t),
		Mail:    notify.Mail{MailSettings: notify.MailSettings{Server: p.addr, From: "bins@example.org", User: "bins"}, Password: "clover-hymn", Roots: p.roots},
		Tellers: notify.Named([]notify.Teller{{Kind: notify.ByMail, TellerSettings: notify.TellerSettings{Mail: "keeper@example.org"}}}),
		Gather:  time.Millisecond,
		Now:     time.Now,
	}
	return cfg, notify.Sources{Outbox: box}
}

// owe puts a change into the outbox for all tellers.
func owe(b *box, cfg notify.Config, c farm.Change) {
	b.add(notify.OwedFor(cfg.Tellers, c, c.At)...)
}

func read(t *testing.T, raw []byte) *mail.Message {
	t.Helper()
	m, err := mail.ReadMessage(bytes.NewReader(raw))
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func TestRaiseAndEasingArriveAsOneThread(t *testing.T) {
	p, b := openPostOffice(t), newBox()
	cfg, src := byMail(t, p, b)
	running(t, cfg, src)
	now := time.Now()
	owe(b, cfg, change(farm.TooHot, farm.Raised, farm.Today, now))
	proctest.Eventually(t, "the raise", func() bool { return len(p.received()) == 1 })
	owe(b, cfg, change(farm.TooHot, farm.Eased, farm.Today, now.Add(time.Second)))
	proctest.Eventually(t, "the easing", func() bool { return len(p.received()) == 2 })
	proctest.Eventually(t, "the settling", b.settled)

	mails := p.received()
	raise, ease := read(t, mails[0].raw), read(t, mails[1].raw)
	id := raise.Header.Get("Message-ID")
	if id == "" || ease.Header.Get("In-Reply-To") != id || !strings.Contains(ease.Header.Get("References"), id) {
		t.Errorf("raise is %s; easing answers %q, refers to %q", id, ease.Header.Get("In-Reply-To"), ease.Header.Get("References"))
	}
	if got := raise.Header.Get("Auto-Submitted"); got != "auto-generated" { // RFC 3834 §5.1
		t.Errorf("Auto-Submitted is %q", got)
	}
	for _, m := range mails {
		if !m.tls || m.user != "bins" {
			t.Errorf("mail came with TLS %v as user %q", m.tls, m.user)
		}
	}
}

// A heading in capitals keeps a unit that is another one in capitals: MS/cm is a
// thousand million times mS/cm.
func TestCapitalsKeepUnits(t *testing.T) {
	for heading, want := range map[string]string{
		"Attic: conductivity 3.3 mS/cm, above its limit of 2.5 mS/cm": "ATTIC: CONDUCTIVITY 3.3 mS/cm, ABOVE ITS LIMIT OF 2.5 mS/cm",
		"Attic: pH 5.5, below its limit of 6":                         "ATTIC: pH 5.5, BELOW ITS LIMIT OF 6",
		"Bed, near is too hot at 33 °C":                               "BED, NEAR IS TOO HOT AT 33 °C",
	} {
		if got := notify.Capitals(heading); got != want {
			t.Errorf("got %q, want %q", got, want)
		}
	}
}
