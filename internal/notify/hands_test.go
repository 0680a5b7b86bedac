package notify_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/notify"
)

// While somebody looks after it the others are not reminded; what gets worse waits, but not what
// comes to now. What goes on at the end is told once more, also to who asked for no reminders.
func TestWhatIsInHands(t *testing.T) {
	const h = time.Hour
	remind := func(every time.Duration) func(*notify.Teller) {
		return func(teller *notify.Teller) { teller.Remind = every }
	}
	taken := func(p *pace, u farm.Urgency, long time.Duration) farm.Standing {
		until := time.Now().Add(long)
		return farm.Standing{Episode: "e-too-hot", Bin: "bed", Zone: "near", Condition: farm.TooHot, Urgency: u, Seen: true, Taken: &until}
	}
	back := func(p *pace, st farm.Standing) {
		st.Seen = false
		p.stand(st)
	}
	for _, tt := range []struct {
		name   string
		remind time.Duration
		then   func(*pace) // an hour after it was told
		want   []time.Duration
	}{
		{"in vain, without reminders", 0, func(p *pace) {
			st := taken(p, farm.Today, 3*h)
			p.stand(st)
			p.pass(3 * h)
			back(p, st)
			p.pass(9 * h)
		}, []time.Duration{10 * time.Second, 4 * h}},
		{"in vain, with reminders of what is at now", 2 * h, func(p *pace) {
			st := taken(p, farm.Now, 5*h)
			p.stand(st)
			p.pass(5 * h)
			back(p, st)
			p.pass(3 * h)
		}, []time.Duration{10 * time.Second, 6 * h, 8 * h}},
		{"given back at once", 0, func(p *pace) {
			st := taken(p, farm.Today, 0)
			back(p, st)
			p.pass(9 * h)
		}, []time.Duration{10 * time.Second, h}},
		{"it is over in time", 0, func(p *pace) {
			p.stand(taken(p, farm.Today, 3*h))
			p.pass(2 * h)
			p.stand()
			p.change(farm.TooHot, farm.Eased, farm.Today)
			p.pass(9 * h)
		}, []time.Duration{10 * time.Second, 3*h + 10*time.Second}},
		{"it comes to now", 0, func(p *pace) {
			st := taken(p, farm.Now, 3*h)
			p.stand(st)
			p.pass(h)
			st.Seen = false // what it was taken for was less
			p.stand(st)
			p.change(farm.TooHot, farm.Worsened, farm.Now)
			p.pass(h)
		}, []time.Duration{10 * time.Second, 2*h + 2*time.Second}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			inBubble(t, remind(tt.remind), func(p *pace) {
				p.stand(farm.Standing{Episode: "e-too-hot", Bin: "bed", Zone: "near", Condition: farm.TooHot, Urgency: farm.Today})
				p.change(farm.TooHot, farm.Raised, farm.Today)
				p.pass(h)
				tt.then(p)
				got := p.times()
				for i := range got {
					got[i] = got[i].Round(time.Second)
				}
				near := func(a, b time.Duration) bool { return (a - b).Abs() <= 70*time.Second } // it looks once a minute
				if !slices.EqualFunc(got, tt.want, near) || !p.box.settled() {
					t.Errorf("told at %v, want %v; fates %v", got, tt.want, p.box.fates())
				}
			})
		})
	}
}

// A letter says who knows of what it tells, but not its reader that they do; and what somebody
// looked after in vain.
func TestALetterSaysWhoKnows(t *testing.T) {
	past, future := start.Add(-time.Hour), start.Add(3*time.Hour)
	for name, tt := range map[string]struct {
		reader string
		st     farm.Standing
		want   string
	}{
		"another knows":                  {"jo", farm.Standing{Seen: true, Known: "Mara knows, 07:12", KnownBy: "mara"}, "Mara knows, 07:12."},
		"the reader knows":               {"mara", farm.Standing{Seen: true, Known: "Mara knows, 07:12", KnownBy: "mara"}, ""},
		"another looks after it":         {"jo", farm.Standing{Seen: true, Known: "Mara looks after it until 21:00", KnownBy: "mara", Taken: &future}, "Mara looks after it until 21:00."},
		"the reader did, in vain":        {"mara", farm.Standing{Known: "Mara looked after it until 21:00", KnownBy: "mara", Taken: &past}, "Mara looked after it until 21:00, and it goes on."},
		"nobody is known to":             {"jo", farm.Standing{Seen: true}, ""},
		"what it was taken for was less": {"jo", farm.Standing{Known: "Mara looks after it until 21:00", KnownBy: "mara", Taken: &future}, "Mara looks after it until 21:00."},
	} {
		cfg := keeperOnly(t)
		cfg.Tellers[0].Who = tt.reader
		c, v := driedOn()
		st := &v.Standing[0]
		st.Seen, st.Known, st.KnownBy, st.Taken = tt.st.Seen, tt.st.Known, tt.st.KnownBy, tt.st.Taken
		raw, err := notify.MailOf(cfg, notify.Sources{Look: look(v)}, owedOf(cfg, c), nil, start)
		if err != nil {
			t.Fatal(err)
		}
		text := open(t, raw).text
		if tt.want != "" && !strings.Contains(text, tt.want) || tt.want == "" && strings.Contains(text, "Mara") {
			t.Errorf("%s: want %q in:\n%s", name, tt.want, text)
		}
	}
}
