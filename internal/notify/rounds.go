package notify

import (
	"cmp"
	"context"
	"fmt"
	"strings"
	"time"

	"binwatchd/internal/backoff"
	"binwatchd/internal/chart"
	"binwatchd/internal/farm"
)

// RoundsMail is the care list by mail, on schedule.
type RoundsMail struct {
	Schedule Schedule `yaml:"send" kind:"a time of the week" like:"Sat 08:00" need:"\"Sat 08:00\"" help:"Days and time of day, in the farm's time zone."`
	To       []string `yaml:"to,one" kind:"a mail address" list:"a list of mail addresses" need:"keeper@example.org" help:"Mail addresses."`
}

// A roundsWorker mails the care list to one address on schedule. The moment of
// the last list is a cursor on disk: a list that fell due while the program or
// the mail server was down goes out afterwards, once, and says how things are
// by then.
type roundsWorker struct {
	cfg    Config
	src    Sources
	mailer *mailer
	reach  reach
}

func newRoundsWorkers(cfg Config, src Sources) (out []*roundsWorker, err error) {
	if cfg.Rounds == nil {
		return nil, nil
	}
	for i, to := range cfg.Rounds.To {
		m, err := newMailer(cfg, to)
		if err != nil {
			return nil, fmt.Errorf("rounds to %s: %w", to, err)
		}
		out = append(out, &roundsWorker{cfg: cfg, src: src, mailer: m, reach: reach{state: farm.Recipient{By: "rounds", Place: i + 1, Address: to}}})
	}
	return out, nil
}

func (r *roundsWorker) run(ctx context.Context) {
	failures, wait := 0, time.Duration(0)
	for more := true; more; more = backoff.Pause(ctx, wait) {
		var err error
		if wait, err = r.turn(ctx); err == nil || ctx.Err() != nil {
			failures = 0
			continue
		}
		failures++
		wait = waits.After(failures)
		r.cfg.Log.Warn("rounds not delivered", "to", r.mailer.to, "error", err, "try_again_in", wait.String())
	}
}

// clockSlack is how far a moment may lie ahead that was noted by the same clock.
const clockSlack = time.Minute

// turn sends the list that is due, if one is, and says when to look again. It
// looks every minute at least: a clock that is put right meanwhile, as on a
// machine without a battery for it, must not put the list off.
func (r *roundsWorker) turn(ctx context.Context) (time.Duration, error) {
	now, loc := r.cfg.Now(), r.cfg.Farm.Location
	last, err := r.src.Cursors.Cursor(ctx, "rounds-mail:"+r.mailer.to)
	if err != nil {
		return 0, fmt.Errorf("read cursor: %w", err)
	}
	due := r.cfg.Rounds.Schedule.Last(now, loc)
	switch {
	case last == 0, // the first list is the next one
		last > now.Add(clockSlack).Unix(): // noted by a clock that was ahead, perhaps by years
		return 0, r.remember(ctx, now)
	case last >= due.Unix():
		return max(time.Millisecond, min(r.cfg.Rounds.Schedule.Next(now, loc).Sub(now), lookAgain)), nil
	}
	list, ok := r.src.Rounds()
	if !ok {
		return time.Second, nil // the farm is not known yet
	}
	// The Message-ID is that of the moment and the address.
	id := "rounds-" + hashed(r.cfg.Farm.Name, r.mailer.to, due.UTC().Format(time.RFC3339))
	said := within(ctx, func(ctx context.Context) reply {
		return r.mailer.post(ctx, newWriter(r.cfg, r.src, now).rounds(ctx, list), envelope{id: id, date: now})
	})
	r.reach.note(said, r.cfg.Now())
	if said.outcome != accepted {
		return 0, fmt.Errorf("mail server: %s", said.said)
	}
	return 0, r.remember(ctx, due)
}

func (r *roundsWorker) remember(ctx context.Context, at time.Time) error {
	return wrapped("write cursor", within(ctx, func(ctx context.Context) error {
		return r.src.Cursors.SetCursor(ctx, "rounds-mail:"+r.mailer.to, at.Unix())
	}))
}

// rounds is the content of the care list. It is written when all is well, too:
// a list that stays away would have to be wondered about.
func (w writer) rounds(ctx context.Context, r farm.Rounds) content {
	c := content{Subject: w.roundsSubject(r), First: cmp.Or(r.Opening, "Nothing to do."), Foot: w.foot()}
	for _, s := range r.Causes {
		p := part{Title: s.Title, Do: s.Do}
		if s.Brief != "" {
			p.Lines = []string{s.Brief + "."}
		}
		if s.Caution != "" {
			p.Cautions = []string{s.Caution}
		}
		c.add(p)
	}
	for _, u := range []farm.Urgency{farm.Now, farm.Today, farm.Soon, farm.Calm} {
		c.add(w.careOf(r, u))
	}
	if r.Left != "" {
		c.add(part{Lines: []string{r.Left}})
	}
	needs := part{Title: "Castings wanted"}
	for _, n := range r.Needs {
		needs.List = append(needs.List, n.Text)
	}
	c.add(part{Title: "Bring", List: r.Bring}, part{Title: "All is well", List: r.Well}, part{Title: "Done already", List: r.Done}, part{Title: "Seen lately", List: r.Seen}, part{Cautions: r.Cautions},
		part{Title: "Not known to be well", List: r.Unsure}, part{Title: "Probes", List: r.Probes},
		part{Title: "Kept quiet", List: r.Hushed}, part{Title: farm.ChangedTitle, List: r.Changed}, needs, w.fortnight())
	if w.history != nil {
		for _, b := range w.farm.InUse(w.now).Bins {
			c.add(w.week(ctx, b))
		}
	}
	return c
}

// fortnight is what comes in the next two weeks, after today.
func (w writer) fortnight() part {
	p := part{Title: "The next two weeks"}
	if w.ahead == nil {
		return p
	}
	a, _ := w.ahead()
	for _, c := range a.Comes {
		if c.On.After(w.now) && c.On.Before(w.now.Add(14*day)) {
			p.Rows = append(p.Rows, [2]string{w.farm.Dates().Short(c.On), c.Says(w.farm.Dates(), w.now)})
		}
	}
	return p
}

func (w writer) roundsSubject(r farm.Rounds) string {
	said := "nothing to do"
	switch {
	case len(r.Care) > 0:
		var where []string
		for _, c := range r.Care {
			where = append(where, w.carePlace(c))
		}
		said = things(len(r.Care)) + " to do: " + strings.Join(distinct(where), "; ")
	case len(r.Unsure) > 0:
		said = "nothing is raised, but not everything is known to be well"
	}
	return oneLine("Rounds, "+w.farm.Dates().Short(w.now)+": "+said, 160)
}

func (w writer) carePlace(c farm.Care) string {
	if c.Bin == "" {
		return w.farm.Name
	}
	return w.zonePlace(c.Bin, c.Zone)
}

// careOf lists what has one urgency, in the list's order, the reason behind what
// it is the reason for.
func (w writer) careOf(r farm.Rounds, u farm.Urgency) part {
	p := part{Title: cmp.Or(farm.Capital(u.String()), "While you are there")}
	for i, c := range r.Care {
		if c.Urgency != u {
			continue
		}
		line := w.carePlace(c) + ": " + r.DoAt(i)
		if c.Why != "" {
			line += " (" + strings.TrimSuffix(c.Why, ".") + ".)"
		}
		if c.Usual {
			line += " As usual."
		}
		if c.Seen {
			line += " " + cmp.Or(c.Known, "You know of it") + "."
		}
		p.List = append(p.List, line)
	}
	return p
}

// week is a bin's last seven days: the mean of each quantity of a zone with
// what it swung between, and one small picture.
func (w writer) week(ctx context.Context, b farm.Bin) part {
	p := part{Title: farm.Capital(b.Name) + ": the week"}
	for _, z := range b.Zones {
		var said []string
		for _, q := range farm.Quantities {
			if q.Gauge.Name == "" {
				continue // it is not of a zone
			}
			if mean, within, ok := w.mean(ctx, b.Name, z.Name, q.Name); ok {
				say := q.Written(w.farm.Units)
				said = append(said, fmt.Sprintf("%s (%s)", say.String(mean), span(say, within)))
			}
		}
		name := z.Name
		if len(b.Zones) == 1 {
			name = "On average"
		}
		if len(said) == 0 {
			said = []string{"no believed reading"}
		}
		p.Rows = append(p.Rows, [2]string{farm.Capital(name), strings.Join(said, ", ")})
		if len(p.Pictures) == 0 {
			p.Pictures = w.smallPicture(ctx, b.Name, z)
		}
	}
	return p
}

// mean is that of a week, each step weighing the same, and what it swung between.
func (w writer) mean(ctx context.Context, bin, zone string, q farm.Quantity) (mean float64, within farm.Band, ok bool) {
	samples := w.samples(ctx, bin, zone, period{q, 7 * day, time.Hour})
	for _, s := range samples {
		mean += s.Mean
	}
	return mean / float64(len(samples)), chart.Swing(samples), len(samples) > 0
}

// smallPicture shows what matters most in a zone: the temperature where worms
// live, the moisture elsewhere, and else the first quantity that is known.
func (w writer) smallPicture(ctx context.Context, bin string, z farm.Zone) []picture {
	order := farm.QuantityNames()
	if z.Aim != farm.Living {
		order = append([]farm.Quantity{farm.Moisture}, order...)
	}
	for _, q := range order {
		if c, ok := w.chart(ctx, bin, z.Name, period{q, 7 * day, 2 * time.Hour}); ok {
			c.Width, c.Height = 300, 120
			return drawn(c, "week-"+hashed(bin, z.Name)[:8], 360)
		}
	}
	return nil
}
