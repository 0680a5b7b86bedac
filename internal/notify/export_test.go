package notify

import (
	"bytes"
	"context"
	"errors"
	"net/http"
	"slices"
	"strings"
	"time"

	"binwatchd/internal/farm"
)

// MailOf makes the mail that the first teller would get of what is owed, as
// it would go over the wire.
func MailOf(cfg Config, src Sources, owed []farm.Owed, told map[string][]farm.Owed, now time.Time) ([]byte, error) {
	cfg = cfg.withDefaults()
	s := situation{teller: cfg.Tellers[0], now: now, owed: owed, told: told, cap: usualPerHour, loc: cfg.Farm.Location, farm: &cfg.Farm}
	if src.Look != nil {
		s.view, s.known = src.Look()
	}
	p := decide(s)
	if len(p.bundles) != 1 {
		return nil, errors.New("not one bundle")
	}
	m, err := newMailer(cfg, cfg.Tellers[0].Mail)
	if err != nil {
		return nil, err
	}
	b := p.bundles[0]
	m.who = cfg.Tellers[0].Who
	w := newWriter(cfg, src, now)
	w.to = m.reader()
	return raw(m, w.content(context.Background(), b), envelopeOf(b, now))
}

// RoundsMailOf makes the mail of a care list.
func RoundsMailOf(cfg Config, src Sources, r farm.Rounds, now time.Time) ([]byte, error) {
	cfg = cfg.withDefaults()
	m, err := newMailer(cfg, "keeper@example.org")
	if err != nil {
		return nil, err
	}
	return raw(m, newWriter(cfg, src, now).rounds(context.Background(), r), envelope{id: "rounds", date: now})
}

func raw(m *mailer, c content, e envelope) ([]byte, error) {
	msg, err := m.message(c, e)
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	_, err = msg.WriteTo(&b)
	return b.Bytes(), err
}

// ShortOf makes the push of what is owed.
func ShortOf(cfg Config, src Sources, owed []farm.Owed, now time.Time) string {
	cfg = cfg.withDefaults()
	s := situation{teller: Teller{Kind: ByPush, TellerSettings: TellerSettings{About: allUrgencies}}, now: now, owed: owed, loc: cfg.Farm.Location, cap: 1, farm: &cfg.Farm}
	return newWriter(cfg, src, now).short(decide(s).bundles[0])
}

var allUrgencies = []string{"now", "today", "soon"}

// A Carried bundle is what a test's server sees of one.
type Carried struct {
	Teller   string
	ID       string
	Items    []CarriedItem
	Pressing bool
	At       time.Time
	Text     func() string // as a mail says it
	Short    func() string // as a push says it
}

// A CarriedItem is one episode in a bundle.
type CarriedItem struct {
	Say      string // stands, lighter, over, cameWent, still
	Change   farm.Change
	Notice   string
	Before   []string // notices that go along
	Pressing bool
}

// Carry has a test's function take the bundles of every teller in place of
// their servers: 0 accepts, 1 refuses, 2 is unreachable, 3 does not answer.
func Carry(s *Sender, take func(Carried) int) {
	for _, w := range s.workers {
		w.transport = carrying{w.teller.Key, take}
	}
}

type carrying struct {
	teller string
	take   func(Carried) int
}

func (c carrying) send(ctx context.Context, b bundle, w writer) reply {
	out := Carried{Teller: c.teller, ID: b.id, Pressing: slices.ContainsFunc(b.items, item.pressing), At: w.now}
	out.Short = func() string { return w.short(b) }
	out.Text = func() string {
		said := w.content(ctx, b)
		var text strings.Builder
		if err := textTemplate.Execute(&text, said); err != nil {
			return err.Error()
		}
		return "Subject: " + said.Subject + "\n\n" + text.String()
	}
	for _, it := range b.items {
		cm := CarriedItem{
			Say:    [...]string{"stands", "lighter", "over", "cameWent", "still"}[it.say],
			Change: it.last.Change, Pressing: it.pressing(),
		}
		cm.Notice = it.last.Notice
		for _, o := range it.before {
			cm.Before = append(cm.Before, o.Notice)
		}
		out.Items = append(out.Items, cm)
	}
	return reply{outcome: outcome(c.take(out)), said: "by a test"}
}

// SignatureOf signs a body as a webhook does.
func SignatureOf(secret, id string, now time.Time, body string) (string, error) {
	key, err := hookSecret(secret)
	if err != nil {
		return "", err
	}
	header := http.Header{}
	(&webhook{secret: key}).sign(header, id, now, []byte(body))
	return header.Get("webhook-signature"), nil
}

// RoundsTurn lets the first rounds worker take one turn.
func RoundsTurn(ctx context.Context, s *Sender) (time.Duration, error) { return s.rounds[0].turn(ctx) }

// LifeTurn gives one sign of life.
func LifeTurn(ctx context.Context, s *Sender) { s.life.turn(ctx) }

// CarryOnce has the first teller's transport make one attempt at a bundle about a
// change: 0 accepted, 1 refused, 2 unreachable, 3 unanswered.
func CarryOnce(ctx context.Context, s *Sender, c farm.Change) (verdict int, said string) {
	b := newBundle([]item{{say: stands, last: farm.Owed{Notice: NoticeID("once", c), Change: c}}})
	r := s.workers[0].transport.send(ctx, b, newWriter(s.cfg, s.src, c.At))
	return int(r.outcome), r.said
}

// Capitals is how a plain text writes a heading.
var Capitals = capitals
