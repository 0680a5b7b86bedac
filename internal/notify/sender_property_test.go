package notify_test

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"pgregory.net/rapid"

	"binwatchd/internal/farm"
	"binwatchd/internal/notify"
)

// Over random histories of changes, hushes, servers that refuse or fall silent,
// a disk that fills up and restarts: nobody is told anything twice, nothing
// owed is lost, quiet hours, hushes and the cap hold, and every raise that was
// told is followed by its easing, which nobody else hears of.
func TestSenderKeepsItsPromises(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		steps := drawSteps(rt)
		var wrong []string
		synctest.Test(t, func(t *testing.T) {
			w := newWorld(t)
			w.live(t, steps)
			wrong = w.audit()
		})
		if len(wrong) > 0 {
			rt.Fatalf("%d things wrong, first: %s", len(wrong), wrong[0])
		}
	})
}

func newWorld(t *testing.T) *world {
	all := []string{"now", "today", "soon"}
	night := &notify.Window{From: 22 * time.Hour, To: 7 * time.Hour}
	cfg := notify.Config{
		Farm: hillfoot(t),
		Mail: notify.Mail{MailSettings: notify.MailSettings{Server: "127.0.0.1:25", From: "bins@example.org"}},
		Tellers: notify.Named([]notify.Teller{
			{Kind: notify.ByMail, TellerSettings: notify.TellerSettings{PerHour: 3, Mail: "all@example.org", About: all, Quiet: night, Remind: 6 * time.Hour}},
			{Kind: notify.ByMail, TellerSettings: notify.TellerSettings{PerHour: 3, Mail: "now@example.org", About: []string{"now"}}},
			{Kind: notify.ByPush, TellerSettings: notify.TellerSettings{PerHour: 3, Quiet: night, Bins: []string{"bin0", "bin1"}}, URL: "generic://127.0.0.1:9/"},
			{Kind: notify.ByWebhook, TellerSettings: notify.TellerSettings{PerHour: 3, About: all}, URL: "http://127.0.0.1:9/"},
		}),
		Now: time.Now,
	}
	return &world{cfg: cfg, box: newBox()}
}

// live runs a sender through the steps, and then for a day of peace.
func (w *world) live(t *testing.T, steps []step) {
	stop := w.open(t)
	for _, s := range steps {
		time.Sleep(s.Wait)
		synctest.Wait()
		w.happen(t, s, &stop)
		synctest.Wait()
	}
	w.box.setBroken(well)
	w.mu.Lock()
	w.verdict = 0
	w.mu.Unlock()
	time.Sleep(26 * time.Hour)
	synctest.Wait()
	stop()
}

// open starts a sender on the world.
func (w *world) open(t *testing.T) (stop func()) {
	s, err := notify.NewSender(w.cfg, notify.Sources{Outbox: w.box, Look: w.look})
	if err != nil {
		t.Fatal(err)
	}
	notify.Carry(s, w.take)
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() { s.Run(ctx); close(done) }()
	return func() { cancel(); <-done }
}

func (w *world) happen(t *testing.T, s step, stop *func()) {
	now := time.Now()
	w.box.mu.Lock()
	broken := w.box.broken != well
	w.box.mu.Unlock()
	e := &w.episodes[s.Episode]
	switch {
	case s.What == "change" && !broken: // what cannot be written does not happen
		w.change(s.Episode, s.Urgency, now)
	case s.What == "disk" && broken:
		w.box.setBroken(well)
	case s.What == "disk":
		w.box.setBroken(full + disk(s.Verdict%2))
	case s.What == "restart" && !broken:
		(*stop)()
		w.restarts = append(w.restarts, now)
		*stop = w.open(t)
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	switch s.What {
	case "hush":
		e.hushed, e.ever = now.Add(s.For), true
	case "seen":
		e.seen = e.now != farm.Calm
	case "server":
		w.verdict = s.Verdict
	}
}

// audit lists what went wrong.
func (w *world) audit() []string {
	var wrong []string
	bad := func(format string, args ...any) { wrong = append(wrong, fmt.Sprintf(format, args...)) }
	for _, r := range w.box.all() {
		if r.fate == "" && len(r.Notice) == 24 { // a reminder may be waiting for the morning
			bad("lost: row %d is still owed", r.ID)
		}
	}
	for _, t := range w.cfg.Tellers {
		tried := w.attempts(t.Key)
		w.auditOnce(bad, t, tried)
		w.auditPeace(bad, t, tried)
		w.auditCap(bad, t, tried)
		w.auditThreads(bad, t, tried)
		w.auditRows(bad, t, tried)
	}
	return wrong
}

type badly func(format string, args ...any)

// unworded leaves out the words of reminders, which say how it stands as they are
// written: one that comes again is the same reminder, perhaps in other words.
func unworded(all []notify.CarriedItem) []notify.CarriedItem {
	out := slices.Clone(all)
	for i := range out {
		if strings.HasPrefix(out[i].Notice, "remind-") {
			c := &out[i].Change
			c.Text, c.Forecast, c.Advice, c.Cautions = "", nil, nil, nil
		}
	}
	return out
}

// auditOnce: a bundle that comes again is the same bundle, and no notice is
// in two bundles.
func (w *world) auditOnce(bad badly, t notify.Teller, tried []attempt) {
	contents, home := map[string]string{}, map[string]string{}
	for _, a := range tried {
		if !a.arrived {
			continue
		}
		content := fmt.Sprint(unworded(a.Items))
		if first, ok := contents[a.ID]; ok && first != content {
			bad("%s: bundle %s came as %s and as %s", t.Key, a.ID, first, content)
		}
		contents[a.ID] = content
		for _, m := range a.Items {
			notices := []string{m.Notice}
			if t.Kind != notify.ByWebhook { // whose body shows the last change alone
				notices = append(notices, m.Before...)
			}
			for _, n := range notices {
				if in, ok := home[n]; ok && in != a.ID {
					bad("%s: notice %s twice, in %s and %s", t.Key, n, in, a.ID)
				}
				home[n] = a.ID
			}
		}
	}
}

// auditPeace: in quiet hours only what is at now, and what comes of the same cause; nothing that is
// hushed, but what has come to now.
func (w *world) auditPeace(bad badly, t notify.Teller, tried []attempt) {
	before := map[string]bool{}
	for _, a := range tried {
		resent := before[a.ID] // its place in time was its first attempt's
		before[a.ID] = true
		if resent {
			continue
		}
		quiet := false
		if t.Quiet != nil {
			_, quiet = t.Quiet.Ends(a.At, w.cfg.Farm.Location)
		}
		for _, m := range a.Items {
			alike := slices.ContainsFunc(a.Items, func(o notify.CarriedItem) bool { return o.Pressing && o.Change.Condition == m.Change.Condition })
			if quiet && !alike {
				bad("%s: %s of %s in quiet hours, %s", t.Key, m.Say, m.Change.Episode, a.At)
			}
			if a.hushed[m.Change.Episode] && !m.Pressing && m.Say != "over" {
				bad("%s: %s of %s while hushed, %s", t.Key, m.Say, m.Change.Episode, a.At)
			}
		}
	}
}

// auditCap: no more bundles an hour than the cap, but for what is at now.
func (w *world) auditCap(bad badly, t notify.Teller, tried []attempt) {
	if t.Kind == notify.ByWebhook {
		return
	}
	var accepted []time.Time
	for _, a := range tried {
		if !a.accepted {
			continue
		}
		hour := a.At.Add(-time.Hour)
		recent := 0
		for _, at := range accepted {
			if at.After(hour) {
				recent++
			}
		}
		fresh := slices.ContainsFunc(w.restarts, func(r time.Time) bool { return r.After(hour) })
		resent := slices.ContainsFunc(tried, func(b attempt) bool { return b.ID == a.ID && b.At.Before(a.At) })
		if !a.Pressing && recent >= t.PerHour && !fresh && !resent {
			bad("%s: bundle %d of an hour at %s", t.Key, recent+1, a.At)
		}
		accepted = append(accepted, a.At)
	}
}

// auditThreads: what a teller knows at the end is true, and it never heard of
// the easing of what it had not been told.
func (w *world) auditThreads(bad badly, t notify.Teller, tried []attempt) {
	open := map[string]bool{}
	for _, a := range tried {
		if !a.accepted {
			continue
		}
		for _, m := range a.Items {
			e := m.Change.Episode
			switch m.Say {
			case "stands", "lighter":
				open[e] = true
			case "over", "still":
				if !open[e] {
					bad("%s: %s of %s, which it was not told of", t.Key, m.Say, e)
				}
				open[e] = m.Say == "still"
			case "cameWent":
				open[e] = false
			}
		}
	}
	for n, e := range w.episodes {
		minds := len(t.Bins) == 0 || slices.Contains(t.Bins, fmt.Sprintf("bin%d", n%3))
		if e.now == farm.Calm && open[name(n)] {
			bad("%s: never heard that %s is over", t.Key, name(n))
		}
		if e.now == farm.Now && minds && !open[name(n)] {
			bad("%s: never heard that %s is at now", t.Key, name(n))
		}
	}
}

// auditRows: what the outbox calls told was in an accepted bundle, and what it
// calls dropped was no news, or was over while hushed.
func (w *world) auditRows(bad badly, t notify.Teller, tried []attempt) {
	told := map[string]bool{}
	worst := map[string]farm.Urgency{}
	for _, a := range tried {
		if !a.accepted {
			continue
		}
		for _, m := range a.Items {
			told[m.Notice] = true
			for _, n := range m.Before {
				told[n] = true
			}
		}
	}
	for _, r := range w.box.all() {
		if r.Teller != t.Key || r.fate == "" {
			continue
		}
		c := r.Change
		var n int
		if _, err := fmt.Sscanf(c.Episode, "episode-%d", &n); err != nil {
			bad("%s: an episode of nobody's: %q", t.Key, c.Episode)
			continue
		}
		news := c.Change == farm.Raised || c.Change == farm.Worsened
		switch {
		case r.fate == farm.Dropped && told[r.Notice]:
			bad("%s: %s was told and is called dropped", t.Key, r.Notice)
		case r.fate != farm.Dropped && !told[r.Notice]:
			bad("%s: %s is called %s and was in no bundle", t.Key, r.Notice, r.fate)
		case r.fate == farm.Dropped && news && len(r.Notice) == 24 && (c.Urgency == farm.Now || c.Urgency > worst[c.Episode]) && !w.episodes[n].ever:
			bad("%s: dropped news of %s at %s", t.Key, c.Episode, c.Urgency)
		}
		if r.fate != farm.Dropped && news {
			worst[c.Episode] = max(worst[c.Episode], c.Urgency)
		}
	}
}
