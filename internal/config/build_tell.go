package config

import (
	"strings"

	"binwatchd/internal/farm"
)

func (b *builder) buildTell(c *Config) {
	first := map[string]int{} // mail addresses and webhooks → line
	for i := range b.doc.tell.v {
		x := &b.doc.tell.v[i]
		b.checkTeller(x, first)
		c.Tell = append(c.Tell, b.tellerOf(&x.v))
	}
}

func (b *builder) checkTeller(x *val[tellerDoc], first map[string]int) {
	d := x.v
	ways := 0
	for _, given := range []bool{d.mail.present(), d.push.present(), d.webhook.present()} {
		if given {
			ways++
		}
	}
	switch {
	case ways != 1:
		b.problem(x.at, "a recipient has one of mail, push and webhook")
	case d.mail.set:
		b.needMail(d.mail.at)
	}
	if d.secret.set && !d.webhook.present() {
		b.problem(d.secret.at, "a secret signs what a webhook gets; this recipient has no webhook")
	}
	for _, y := range []val[string]{d.mail, d.webhook} {
		name := strings.ToLower(y.v)
		if line, twice := first[name]; twice && y.set {
			b.problem(y.at, "this recipient has an entry already, on line %d: put both into one", line)
		} else if y.set {
			first[name] = y.at.line
		}
	}
	for _, name := range d.bins.v {
		if _, known := b.farm.BinByName(name.v); !known && len(b.farm.Bins) > 0 {
			b.problem(name.at, "there is no bin %s: %s", quoted(name.v), hint(name.v, b.binNames()))
		}
	}
}

// needMail checks that mail can go out at all.
func (b *builder) needMail(at place) {
	if !b.doc.mail.present() && b.need == ForRun {
		b.problem(at, `mail needs a server: add mail: {server: "mail.example.org:587", from: bins@example.org}`)
	}
}

func (b *builder) tellerOf(d *tellerDoc) Teller {
	t := Teller{
		Mail: d.mail.v, Push: b.secretAt(&d.push), Webhook: d.webhook.v, Secret: b.secretAt(&d.secret),
		Quiet: d.quiet.v, Remind: d.remind.v, PerHour: int(d.perHour.v),
	}
	for _, word := range d.about.v {
		if u, ok := farm.ParseUrgency(word.v); ok {
			t.About = append(t.About, u)
		} else {
			t.Conditions = append(t.Conditions, farm.Condition(word.v))
		}
	}
	for _, name := range d.bins.v {
		t.Bins = append(t.Bins, name.v)
	}
	return t
}

func (b *builder) buildRounds(c *Config) {
	if !b.doc.rounds.set {
		return
	}
	d := b.doc.rounds.v
	c.Rounds = &Rounds{Send: d.send.v}
	for _, to := range d.to.v {
		c.Rounds.To = append(c.Rounds.To, to.v)
	}
	b.needMail(b.doc.rounds.at)
}

func (b *builder) binNames() []string {
	names := make([]string, len(b.farm.Bins))
	for i, bin := range b.farm.Bins {
		names[i] = bin.Name
	}
	return names
}
