package notify_test

import (
	"crypto/x509"
	"strings"
	"testing"
	"time"

	"github.com/emersion/go-smtp"

	"binwatchd/internal/farm"
	"binwatchd/internal/notify"
	"binwatchd/internal/proctest"
)

// soon is the patience with a server that is to keep no mail, and late with one that
// is to come as far as its end: a busy machine may take long over each step. One that
// answers everything has a minute; a mail that it took too long over comes twice.
const soon, late = 150 * time.Millisecond, time.Second

func byClerk(t *testing.T, c *clerk) (notify.Config, notify.Sources, *box) {
	t.Helper()
	cfg, b := keeperOnly(t), newBox()
	cfg.Mail.Server, cfg.Mail.Patience = c.addr, soon
	cfg.Gather, cfg.Now = time.Millisecond, time.Now
	return cfg, notify.Sources{Outbox: b}, b
}

// tried waits until an attempt has failed, and gives what was said of it.
func tried(t *testing.T, s *notify.Sender) string {
	t.Helper()
	proctest.Eventually(t, "a failed attempt", func() bool { return s.Recipients()[0].Trouble != "" })
	return s.Recipients()[0].Trouble
}

// A server that falls silent at any stage before the end of the mail costs an
// attempt and no more: the mail arrives once after a restart.
func TestServerFallsSilentBeforeTheEnd(t *testing.T) {
	for _, stage := range []string{"greeting", "ehlo", "mail", "rcpt", "data"} {
		t.Run(stage, func(t *testing.T) {
			c := openClerk(t)
			c.fallSilentAt(stage)
			cfg, src, b := byClerk(t, c)
			s, stop := running(t, cfg, src)
			owe(b, cfg, change(farm.TooHot, farm.Raised, farm.Today, time.Now()))
			tried(t, s)
			stop()
			c.fallSilentAt("")
			cfg.Mail.Patience = time.Minute
			running(t, cfg, src)
			proctest.Eventually(t, "the settling", b.settled)
			if n := len(c.received()); n != 1 {
				t.Errorf("%d mails arrived", n)
			}
		})
	}
}

// A mail that was kept and whose answer got lost goes out again as the very
// same bundle, though more has come up since; and once more after the server
// could not be reached in between.
func TestLostAnswerMakesTheSameMail(t *testing.T) {
	c := openClerk(t)
	c.fallSilentAt("dot")
	cfg, src, b := byClerk(t, c)
	cfg.Mail.Patience = late
	s, stop := running(t, cfg, src)
	owe(b, cfg, change(farm.TooHot, farm.Raised, farm.Today, time.Now()))
	tried(t, s)
	stop()

	owe(b, cfg, change(farm.TooDry, farm.Raised, farm.Today, time.Now()))
	c.fallSilentAt("mail")
	cfg.Mail.Patience = soon
	s, stop = running(t, cfg, src)
	tried(t, s)
	stop()

	c.fallSilentAt("")
	cfg.Mail.Patience = time.Minute
	running(t, cfg, src)
	proctest.Eventually(t, "the settling", b.settled)
	mails := c.received()
	if len(mails) != 3 {
		t.Fatalf("%d mails arrived, want the first twice and another", len(mails))
	}
	first, again, other := open(t, mails[0]), open(t, mails[1]), open(t, mails[2])
	if a, z := first.header.Get("Message-Id"), again.header.Get("Message-Id"); a != z || a == other.header.Get("Message-Id") {
		t.Errorf("Message-IDs are %s, %s, %s", a, z, other.header.Get("Message-Id"))
	}
	if first.subject(t) != again.subject(t) || strings.Contains(again.text, "too-dry") || !strings.Contains(other.text, "too-dry") {
		t.Errorf("subjects are %q, %q, %q", first.subject(t), again.subject(t), other.subject(t))
	}
}

// A server that keeps the mail and then stalls over the goodbye has taken it.
func TestStalledGoodbyeIsNoFailure(t *testing.T) {
	c := openClerk(t)
	c.fallSilentAt("quit")
	cfg, src, b := byClerk(t, c)
	cfg.Mail.Patience = late
	s, _ := running(t, cfg, src)
	owe(b, cfg, change(farm.TooHot, farm.Raised, farm.Today, time.Now()))
	proctest.Eventually(t, "the settling", b.settled)
	if !c.said("quit") || len(c.received()) != 1 || s.Recipients()[0].Trouble != "" {
		t.Errorf("%d mails arrived, quit said %v, trouble %q", len(c.received()), c.said("quit"), s.Recipients()[0].Trouble)
	}
}

// Power fails between the server's acceptance and the note of it on disk: the
// mail comes again under the same Message-ID.
func TestCrashBetweenAcceptanceAndNote(t *testing.T) {
	p, b := openPostOffice(t), newBox()
	cfg, src := byMail(t, p, b)
	p.stallAt("accepted")
	_, stop := running(t, cfg, src)
	owe(b, cfg, change(farm.TooHot, farm.Raised, farm.Today, time.Now()))
	proctest.Eventually(t, "the mail", func() bool { return len(p.received()) == 1 })
	b.setBroken(full) // whatever the first life learns is lost
	p.release()
	stop()
	b.setBroken(well)
	running(t, cfg, src)
	proctest.Eventually(t, "the settling", b.settled)
	mails := p.received()
	if len(mails) != 2 {
		t.Fatalf("%d mails arrived, want the same twice", len(mails))
	}
	if a, z := read(t, mails[0].raw).Header.Get("Message-Id"), read(t, mails[1].raw).Header.Get("Message-Id"); a != z || a == "" {
		t.Errorf("Message-IDs are %s and %s", a, z)
	}
}

func TestServerSaysNo(t *testing.T) {
	tests := []struct {
		name, stage string
		err         *smtp.SMTPError
	}{
		{"busy", "mail", &smtp.SMTPError{Code: 421, EnhancedCode: smtp.EnhancedCode{4, 3, 2}, Message: "come back later"}},
		{"recipient unknown", "rcpt", &smtp.SMTPError{Code: 550, EnhancedCode: smtp.EnhancedCode{5, 1, 1}, Message: "no such keeper"}},
		{"recipient's box full", "rcpt", &smtp.SMTPError{Code: 452, EnhancedCode: smtp.EnhancedCode{4, 2, 2}, Message: "box full"}},
		{"greylisted", "data", &smtp.SMTPError{Code: 451, EnhancedCode: smtp.EnhancedCode{4, 7, 1}, Message: "greylisted"}},
		{"content disliked", "data", &smtp.SMTPError{Code: 554, EnhancedCode: smtp.EnhancedCode{5, 7, 1}, Message: "looks like an advertisement"}},
		{"not signed in", "auth", &smtp.SMTPError{Code: 535, EnhancedCode: smtp.EnhancedCode{5, 7, 8}, Message: "wrong password clover-hymn"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			p, b := openPostOffice(t), newBox()
			p.failAt(tt.stage, tt.err)
			cfg, src := byMail(t, p, b)
			s, stop := running(t, cfg, src)
			owe(b, cfg, change(farm.TooHot, farm.Raised, farm.Today, time.Now()))
			said := tried(t, s)
			stop()
			words := strings.TrimSuffix(tt.err.Message, " clover-hymn")
			if !strings.Contains(said, words) || strings.Contains(said, "clover-hymn") {
				t.Errorf("trouble is %q", said)
			}
			if len(p.received()) != 0 || b.settled() {
				t.Fatalf("%d mails arrived, fates %v", len(p.received()), b.fates())
			}
		})
	}
}

// A mail whose content is refused waits, and does not hold up the others.
func TestRefusedContentHoldsUpNothingElse(t *testing.T) {
	p, b := openPostOffice(t), newBox()
	p.failAt("data", &smtp.SMTPError{Code: 554, Message: "looks like an advertisement"})
	cfg, src := byMail(t, p, b)
	s, _ := running(t, cfg, src)
	owe(b, cfg, change(farm.TooHot, farm.Raised, farm.Today, time.Now()))
	tried(t, s)
	p.failAt("data", nil)
	owe(b, cfg, change(farm.TooDry, farm.Raised, farm.Today, time.Now()))
	proctest.Eventually(t, "the other mail", func() bool { return len(p.received()) == 1 })
	if o := open(t, p.received()[0].raw); !strings.Contains(o.text, "too-dry") || strings.Contains(o.text, "too-hot") {
		t.Errorf("it says %q", o.text)
	}
}

// A certificate that nobody vouches for ends the conversation before a password
// is said; so does a server far away that offers no TLS. 0.0.0.0 reaches this
// machine, and is no loopback address.
func TestNothingIsSaidWithoutTLS(t *testing.T) {
	t.Run("a stranger's certificate", func(t *testing.T) {
		p, b := openPostOffice(t), newBox()
		cfg, src := byMail(t, p, b)
		cfg.Mail.Roots = x509.NewCertPool()
		s, _ := running(t, cfg, src)
		owe(b, cfg, change(farm.TooHot, farm.Raised, farm.Today, time.Now()))
		if said := tried(t, s); !strings.Contains(said, "certificate") {
			t.Errorf("trouble is %q", said)
		}
		if len(p.received()) != 0 {
			t.Error("a mail arrived")
		}
	})
	t.Run("no TLS offered", func(t *testing.T) {
		c := openClerk(t)
		cfg, src, b := byClerk(t, c)
		cfg.Mail.Server = strings.Replace(c.addr, "127.0.0.1", "0.0.0.0", 1)
		s, _ := running(t, cfg, src)
		owe(b, cfg, change(farm.TooHot, farm.Raised, farm.Today, time.Now()))
		if said := tried(t, s); !strings.Contains(said, "STARTTLS") {
			t.Errorf("trouble is %q", said)
		}
		if c.said("mail") || c.said("auth") {
			t.Error("it went on without TLS")
		}
	})
}

// A stop does not wait for a server that hangs.
func TestStopWhileTheServerHangs(t *testing.T) {
	c := openClerk(t)
	c.fallSilentAt("rcpt")
	cfg, src, b := byClerk(t, c)
	cfg.Mail.Patience = time.Hour
	s, stop := running(t, cfg, src)
	owe(b, cfg, change(farm.TooHot, farm.Raised, farm.Today, time.Now()))
	proctest.Eventually(t, "the stage", func() bool { return c.said("rcpt") })
	stop()
	stop() // twice is once
	if b.settled() || s.Recipients()[0].Trouble == "" {
		t.Errorf("fates %v, trouble %q", b.fates(), s.Recipients()[0].Trouble)
	}
}
