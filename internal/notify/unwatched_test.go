package notify_test

import (
	"io"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/notify"
)

// leaving is the end of an episode of a bin that is no longer in the
// configuration, and what the teller was told of it before.
func leaving(c farm.Condition, at time.Time) (end, raised farm.Change) {
	raised = farm.Change{At: at.Add(-5 * time.Hour), Bin: "linden-02", Zone: "all", Condition: c, Change: farm.Raised, Urgency: farm.Today, Episode: "l-" + string(c), Text: "Linden-02 is dry."}
	end = raised
	end.At, end.Change, end.Ended = at, farm.Eased, farm.Unwatched
	end.Text = "Linden-02 is no longer in the configuration; what was told of it is not watched any more."
	return end, raised
}

// A bin that is renamed had two things raised. Its keeper is told once that it
// is watched no more, and nowhere that something is well again.
func TestWhatIsNoLongerWatchedIsToldOnceAndNotAsOver(t *testing.T) {
	cfg := notify.Config{
		Farm: hillfoot(t), Mail: notify.Mail{MailSettings: notify.MailSettings{Server: "127.0.0.1:25", From: "bins@example.org"}},
		Tellers: notify.Named([]notify.Teller{{Kind: notify.ByMail, TellerSettings: notify.TellerSettings{Mail: "keeper@example.org", About: []string{"now", "today", "soon"}}}}),
	}
	told := map[string][]farm.Owed{}
	var owed []farm.Owed
	for i, c := range []farm.Condition{farm.TooDry, farm.Drying} {
		end, raised := leaving(c, start)
		owed = append(owed, farm.Owed{ID: int64(i + 1), Notice: "n" + string(c), Teller: cfg.Tellers[0].Key, Change: end, Created: start})
		told[end.Episode] = []farm.Owed{{Notice: "r" + string(c), Change: raised, Next: raised.At}}
	}
	for name, before := range map[string]map[string][]farm.Owed{"told": told, "never told": {}} {
		rows := owed
		if len(before) == 0 { // the raise is owed with its end
			rows = nil
			for i, o := range owed {
				_, raised := leaving(o.Change.Condition, start)
				rows = append(rows, farm.Owed{ID: int64(10 + i), Notice: "r" + string(raised.Condition), Teller: o.Teller, Change: raised, Created: raised.At}, o)
			}
		}
		raw, err := notify.MailOf(cfg, notify.Sources{}, rows, before, start.Add(time.Minute))
		if err != nil {
			t.Fatal(name, err)
		}
		msg := read(t, raw)
		body, err := io.ReadAll(msg.Body)
		if err != nil {
			t.Fatal(err)
		}
		text, _, _ := strings.Cut(strings.Join(strings.Fields(strings.ReplaceAll(string(body), "=\r\n", "")), " "), "text/html")
		if got := msg.Header.Get("Subject"); got != "No longer watched: Linden-02" {
			t.Errorf("%s: subject %q", name, got)
		}
		if n := strings.Count(text, "not watched any more"); n != 1 {
			t.Errorf("%s: said %d times, want once:\n%s", name, n, text)
		}
		for _, untrue := range []string{"moist again", "no longer drying", "is over", "was over", "Nothing to do", "It lasted"} {
			if strings.Contains(text, untrue) {
				t.Errorf("%s: says %q:\n%s", name, untrue, text)
			}
		}
	}
}

// Limits that were moved make nothing well, in a push either.
func TestWhatOtherLimitsEndIsNotCalledBetter(t *testing.T) {
	raised := change(farm.TooDry, farm.Raised, farm.Today, start)
	end := change(farm.TooDry, farm.Eased, farm.Today, start.Add(time.Hour))
	end.Ended, end.Text = farm.Relimited, "Bed, near is not too dry by the limits now in force: 66 %."
	got := notify.ShortOf(notify.Config{Farm: hillfoot(t)}, notify.Sources{}, []farm.Owed{
		{ID: 1, Notice: "a", Change: raised, Created: raised.At}, {ID: 2, Notice: "b", Change: end, Created: end.At},
	}, start.Add(2*time.Hour))
	if strings.Contains(got, "moist again") || !strings.Contains(got, "not too dry by the limits now in force") {
		t.Errorf("got %q", got)
	}
}

// That drying has become too dry is told as that: its end is no all-clear, and nothing that
// another mail says. Only who hears nothing of too-dry hears of it, and a program.
func TestWhatHasComeIsNoAllClear(t *testing.T) {
	raised := change(farm.Drying, farm.Raised, farm.Soon, start.Add(-72*time.Hour))
	end := change(farm.Drying, farm.Eased, farm.Soon, start)
	end.Ended, end.Text = farm.Came, "Bed, near was drying out, and is too dry now: 69.8 %."
	dry := change(farm.TooDry, farm.Raised, farm.Today, start)
	owed := func(ch farm.Change) farm.Owed {
		return farm.Owed{ID: int64(len(ch.Condition)), Notice: string(ch.Condition), Change: ch, Created: ch.At}
	}
	told := map[string][]farm.Owed{raised.Episode: {owed(raised)}}
	mail := func(kind notify.Kind, about []string, all ...farm.Change) string {
		cfg := keeperOnly(t)
		cfg.Tellers[0].Kind, cfg.Tellers[0].About = kind, about
		var rows []farm.Owed
		for _, ch := range all {
			rows = append(rows, owed(ch))
		}
		raw, err := notify.MailOf(cfg, notify.Sources{}, rows, told, start.Add(time.Minute))
		if err != nil {
			return err.Error()
		}
		o := open(t, raw)
		return o.header.Get("Subject") + "\n" + o.text
	}
	all := []string{"now", "today", "soon"}
	if got := mail(notify.ByMail, all, dry, end); !strings.HasPrefix(got, "Bed, near: too dry") || strings.Contains(got, "drying") || strings.Contains(got, "over") {
		t.Errorf("got %q, want it to be told as too dry alone", got)
	}
	if got := mail(notify.ByMail, all, end); got != "not one bundle" {
		t.Errorf("got %q, want no mail", got)
	}
	for kind, about := range map[notify.Kind][]string{notify.ByMail: {"drying"}, notify.ByWebhook: all} {
		if got := mail(kind, about, end); !strings.Contains(got, "too dry now") || strings.Contains(got, "no longer") {
			t.Errorf("%v about %v: got %q, want to hear what has come", kind, about, got)
		}
	}
}

// A teller whose bins bear their new names already hears of the old one's end.
func TestEndOfARenamedBinIsOwedToWhoWasToldOfIt(t *testing.T) {
	tellers := notify.Named([]notify.Teller{{Kind: notify.ByMail, TellerSettings: notify.TellerSettings{Mail: "keeper@example.org", Bins: []string{"linden-2"}}}})
	end, raised := leaving(farm.TooDry, start)
	if got := notify.OwedFor(tellers, end, start); len(got) != 1 {
		t.Errorf("owed to %v, want to the keeper", got)
	}
	if got := notify.OwedFor(tellers, raised, start); len(got) != 0 {
		t.Errorf("a raise in a bin that is not the teller's is owed to %v", got)
	}
}
