package notify_test

import (
	"context"
	"log/slog"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/emersion/go-smtp"

	"binwatchd/internal/farm"
	"binwatchd/internal/notify"
	"binwatchd/internal/proctest"
)

// notes are cursors in memory.
type notes map[string]int64

func (n notes) Cursor(_ context.Context, name string) (int64, error) { return n[name], nil }
func (n notes) SetCursor(_ context.Context, name string, to int64) error {
	n[name] = to
	return nil
}

// A list goes out at its time and once: not at the first start, not twice over
// a restart, and afterwards when the program or the server was down.
func TestRoundsGoOutOnceAtTheirTime(t *testing.T) {
	p := openPostOffice(t)
	cfg := keeperOnly(t)
	cfg.Mail = notify.Mail{MailSettings: notify.MailSettings{Server: p.addr, From: "bins@example.org"}}
	cfg.Rounds = &notify.RoundsMail{Schedule: notify.Schedule{Days: []time.Weekday{time.Saturday}, At: 8 * time.Hour}, To: []string{"keeper@example.org"}}
	var now time.Time
	cfg.Now = func() time.Time { return now }
	src := notify.Sources{Cursors: notes{}, Rounds: func() (farm.Rounds, bool) {
		return farm.Rounds{Farm: "Hillfoot Nursery", Opening: "Nothing to do."}, true
	}}
	loc := london(t)
	steps := []struct {
		name, at string
		refuse   bool
		restart  bool
		mails    int
		failed   bool
	}{
		{name: "first start", at: "2025-10-21 12:00"},
		{name: "a minute before", at: "2025-10-25 07:59"},
		{name: "at its time", at: "2025-10-25 08:00", mails: 1},
		{name: "a minute later", at: "2025-10-25 08:01", mails: 1},
		{name: "after a restart", at: "2025-10-25 08:02", restart: true, mails: 1},
		{name: "the server refuses", at: "2025-11-01 08:00", refuse: true, mails: 1, failed: true},
		{name: "the server is back after a day", at: "2025-11-02 09:00", mails: 2},
		{name: "down over two Saturdays", at: "2025-11-18 10:00", restart: true, mails: 3},
		{name: "and that was all", at: "2025-11-18 10:01", mails: 3},
		{name: "by a clock that is a year ahead", at: "2026-11-19 10:00", mails: 4},
		{name: "the clock is put right", at: "2025-11-19 10:00", mails: 4},
		{name: "and the next list comes at its time", at: "2025-11-22 08:00", mails: 5},
	}
	var s *notify.Sender
	for _, st := range steps {
		now = at(t, loc, st.at)
		p.failAt("mail", nil)
		if st.refuse {
			p.failAt("mail", &smtp.SMTPError{Code: 421, Message: "not now"})
		}
		if s == nil || st.restart {
			var err error
			if s, err = notify.NewSender(cfg, src); err != nil {
				t.Fatal(err)
			}
		}
		var err error
		for range 2 { // a turn may end with the note of what it did
			if _, err = notify.RoundsTurn(t.Context(), s); err != nil {
				break
			}
		}
		if (err != nil) != st.failed || len(p.received()) != st.mails {
			t.Errorf("%s: %d mails, want %d; error %v", st.name, len(p.received()), st.mails, err)
		}
	}
	ids := map[string]bool{}
	for _, m := range p.received() {
		ids[read(t, m.raw).Header.Get("Message-Id")] = true
	}
	if len(ids) != 5 {
		t.Errorf("%d Message-IDs over three lists", len(ids))
	}
}

func TestSignOfLife(t *testing.T) {
	l := openLanding(t)
	var ill error
	var log strings.Builder
	cfg := keeperOnly(t)
	cfg.Log = slog.New(slog.NewTextHandler(&log, nil))
	cfg.Life = &notify.Life{URL: l.URL + "/ping/s3cret"}
	s, err := notify.NewSender(cfg, notify.Sources{Healthy: func() error { return ill }})
	if err != nil {
		t.Fatal(err)
	}
	notify.LifeTurn(t.Context(), s)
	if len(l.got()) != 1 {
		t.Fatalf("%d signs while healthy", len(l.got()))
	}
	ill = http.ErrAbortHandler
	notify.LifeTurn(t.Context(), s)
	if len(l.got()) != 1 {
		t.Error("a sign of life while not healthy")
	}
	ill = nil
	l.answer(http.StatusNotFound)
	for range 3 {
		notify.LifeTurn(t.Context(), s)
	}
	l.Close()
	notify.LifeTurn(t.Context(), s)
	if got := strings.Count(log.String(), "not taken"); got != 1 {
		t.Errorf("its trouble is logged %d times:\n%s", got, log.String())
	}
	if strings.Contains(log.String(), "s3cret") {
		t.Errorf("the URL shows:\n%s", log.String())
	}
}

// Everyone gets a specimen of each kind, and whoever gets the rounds those.
func TestTellTest(t *testing.T) {
	p, l, bell := openPostOffice(t), openLanding(t), openBell(t)
	cfg, _ := byMail(t, p, newBox())
	cfg.Tellers = notify.Named([]notify.Teller{
		{Kind: notify.ByMail, TellerSettings: notify.TellerSettings{Mail: "keeper@example.org"}},
		{Kind: notify.ByPush, URL: bell.url()},
		{Kind: notify.ByWebhook, URL: l.URL + "/hook", Secret: hookSecret},
	})
	cfg.Rounds = &notify.RoundsMail{To: []string{"keeper@example.org"}}
	s, err := notify.NewSender(cfg, notify.Sources{})
	if err != nil {
		t.Fatal(err)
	}
	reports := s.TellTest(t.Context())
	var got []string
	for _, r := range reports {
		got = append(got, r.Teller+" "+r.Specimen)
		if !r.OK || r.Said == "" {
			t.Errorf("%s of %s: %v, %q", r.Specimen, r.Teller, r.OK, r.Said)
		}
	}
	want := "mail:keeper@example.org raised, mail:keeper@example.org eased, mail:keeper@example.org several at once, " +
		"push:1 raised, push:1 eased, push:1 several at once, webhook:127.0.0.1#1 raised, webhook:127.0.0.1#1 eased, mail:keeper@example.org rounds"
	if strings.Join(got, ", ") != want {
		t.Errorf("reports are %s", strings.Join(got, ", "))
	}
	mails := p.received()
	if len(mails) != 4 || len(bell.heard()) != 3 || len(l.got()) != 2 {
		t.Fatalf("%d mails, %d pushes, %d posts", len(mails), len(bell.heard()), len(l.got()))
	}
	raised := open(t, mails[0].raw)
	if !strings.Contains(strings.ToLower(raised.text), "test") || len(raised.pictures) != 1 {
		t.Errorf("the specimen has %d pictures and says\n%s", len(raised.pictures), raised.text)
	}
	if again := s.TellTest(t.Context()); !again[0].OK || read(t, p.received()[4].raw).Header.Get("Message-Id") == raised.header.Get("Message-Id") {
		t.Error("a second test is the first one again")
	}
}

// What goes wrong is reported for each, in the server's words.
func TestTellTestReportsTrouble(t *testing.T) {
	p, l := openPostOffice(t), openLanding(t)
	p.failAt("rcpt", &smtp.SMTPError{Code: 550, Message: "no such keeper"})
	l.answer(http.StatusUnauthorized)
	cfg, _ := byMail(t, p, newBox())
	cfg.Tellers = notify.Named([]notify.Teller{
		{Kind: notify.ByMail, TellerSettings: notify.TellerSettings{Mail: "keeper@example.org"}}, {Kind: notify.ByWebhook, URL: l.URL + "/hook"},
	})
	s, err := notify.NewSender(cfg, notify.Sources{})
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range s.TellTest(t.Context()) {
		kind, _, _ := strings.Cut(r.Teller, ":")
		words := map[string]string{"mail": "550", "webhook": "401"}[kind]
		if r.OK || !strings.Contains(r.Said, words) {
			t.Errorf("%s: %v, %q", r.Teller, r.OK, r.Said)
		}
	}
}

// Each recipient is shown by its place and with what its own server said; a
// secret is not.
func TestRecipientsAreShown(t *testing.T) {
	p, l := openPostOffice(t), openLanding(t)
	l.answer(http.StatusServiceUnavailable)
	cfg, src := byMail(t, p, newBox())
	cfg.Tellers = notify.Named([]notify.Teller{
		{Kind: notify.ByMail, TellerSettings: notify.TellerSettings{Mail: "keeper@example.org"}},
		{Kind: notify.ByPush, URL: "generic://127.0.0.1:1/s3cret-topic?disabletls=yes"},
		{Kind: notify.ByWebhook, URL: l.URL + "/s3cret-hook"},
	})
	cfg.Rounds = &notify.RoundsMail{To: []string{"rota@example.org"}}
	b := newBox()
	src.Outbox = b
	s, stop := running(t, cfg, src)
	defer stop()
	owe(b, cfg, change(farm.TooHot, farm.Raised, farm.Now, time.Now()))
	var got []farm.Recipient
	proctest.Eventually(t, "an attempt for each", func() bool {
		got = s.Recipients()
		return !got[0].Last.IsZero() && got[1].Trouble != "" && got[2].Trouble != ""
	})
	for i, want := range []farm.Recipient{
		{By: "mail", Place: 1, Address: "keeper@example.org"}, {By: "push", Place: 1}, {By: "webhook", Place: 1},
		{By: "rounds", Place: 1, Address: "rota@example.org"},
	} {
		r := got[i]
		if (r.Trouble == "") != r.Since.IsZero() || (r.Trouble == "") != (i == 0 || i == 3) || strings.Contains(r.Trouble, "s3cret") {
			t.Errorf("%s: trouble %q since %v", r.Name(), r.Trouble, r.Since)
		}
		if r.Trouble, r.Since, r.Last = "", want.Since, want.Last; r != want {
			t.Errorf("got %+v, want %+v", r, want)
		}
	}
	if !strings.Contains(got[2].Trouble, "503") {
		t.Errorf("the webhook's trouble is %q", got[2].Trouble)
	}
}

// The weekly mail tells what comes in the two weeks after today, each with its day.
func TestRoundsTellTheNextTwoWeeks(t *testing.T) {
	cfg := keeperOnly(t)
	today := time.Date(start.Year(), start.Month(), start.Day(), 0, 0, 0, 0, cfg.Farm.Location)
	coming := func(days int, text string) farm.Coming { return farm.Coming{On: today.AddDate(0, 0, days), Text: text} }
	three := coming(3, "Bed, near: water about 2 litres, as usual")
	three.First, three.Last = today.AddDate(0, 0, 2), today.AddDate(0, 0, 4)
	src := notify.Sources{Ahead: func() (farm.Ahead, bool) {
		return farm.Ahead{Comes: []farm.Coming{coming(0, "Crate: cocoons hatching"), three, coming(13, "Barrel: food"), coming(15, "Trough: food")}}, true
	}}
	raw, err := notify.RoundsMailOf(cfg, src, farm.Rounds{Farm: "Hillfoot Nursery", Opening: "Nothing to do."}, start)
	if err != nil {
		t.Fatal(err)
	}
	text := strings.Join(strings.Fields(open(t, raw).text), " ")
	for want, told := range map[string]bool{
		"THE NEXT TWO WEEKS": true, cfg.Farm.Dates().Short(three.On) + ": Bed, near: water about 2 litres, as usual (" + cfg.Farm.Dates().Span(three.First, three.Last, start) + ")": true,
		"Barrel: food": true, "Crate": false, "Trough": false,
	} {
		if strings.Contains(text, want) != told {
			t.Errorf("%q is told: %v, want %v:\n%s", want, !told, told, text)
		}
	}
}
