package notify_test

import (
	"os/exec"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/notify"
)

// driedOn is a crate that went on drying after its notice was decided.
func driedOn() (farm.Change, farm.View) {
	c := tooDry()
	c.Brief = "too dry at 39.9 %"
	c.Text = "Crate is too dry at 39.9 %. The limit for doing well is 40 %."
	v := hillfootView()
	v.Bins[2].Zones[0].Level(farm.Moisture).Value = 36
	now := farm.Standing{
		Episode: c.Episode, Bin: c.Bin, Zone: c.Zone, Condition: c.Condition, Urgency: c.Urgency, Since: c.Since,
		Brief: "too dry at 36 %", Text: "Crate is too dry at 36 %. The limit for doing well is 40 %.",
		Advice: &farm.Advice{Do: "Give about 2 litres this visit: sprinkle, loosen, wait, look again.", WaterLitres: 4.5, VisitLitres: 2},
	}
	v.Standing = []farm.Standing{now}
	return c, v
}

// A bundle speaks of the moment at which it is written, in every part; what was
// decided long before is named with its time.
func TestALetterIsOfOneMoment(t *testing.T) {
	cfg := keeperOnly(t)
	for _, late := range []time.Duration{5 * time.Second, 20 * time.Minute, 6 * time.Hour} {
		c, v := driedOn()
		c.At = start.Add(-late)
		owed := owedOf(cfg, c)
		src := notify.Sources{History: hillfootPast(), Look: look(v)}
		raw, err := notify.MailOf(cfg, src, owed, nil, start)
		if err != nil {
			t.Fatal(err)
		}
		o := open(t, raw)
		text := strings.Join(strings.Fields(o.text), " ")
		said := o.header.Get("Subject") + "\n" + text
		if late >= time.Hour {
			then := "It was then: Crate is too dry at 39.9 %. The limit for doing well is 40 %."
			if !strings.Contains(said, then) {
				t.Errorf("%s late: the mail does not say %q:\n%s", late, then, said)
			}
			said = strings.Replace(said, then, "", 1)
		}
		for _, part := range []string{said, notify.ShortOf(cfg, src, owed, start)} {
			if !strings.Contains(part, "36 %") && !strings.Contains(part, "Give about 2 litres") {
				t.Errorf("%s late: it does not say how things stand:\n%s", late, part)
			}
			if strings.Contains(part, "39.9 %") || strings.Contains(part, "1¼ litres") || strings.Contains(part, "2½ litres") {
				t.Errorf("%s late: it speaks of before:\n%s", late, part)
			}
		}
	}
}

// A weekly list with nothing to do does not say that all is well where that is
// not known.
func TestRoundsSayWhatIsNotKnown(t *testing.T) {
	r := farm.Rounds{
		At: start, Farm: "Hillfoot Nursery", Opening: "Nothing is raised, but not everything is known to be well.",
		Unsure: []string{"Bed, near can't be judged: no fresh reading."},
	}
	raw, err := notify.RoundsMailOf(keeperOnly(t), notify.Sources{}, r, start)
	if err != nil {
		t.Fatal(err)
	}
	o := open(t, raw)
	if got := o.header.Get("Subject"); !strings.HasSuffix(got, "nothing is raised, but not everything is known to be well") {
		t.Errorf("subject %q", got)
	}
	if !strings.Contains(o.text, "* Bed, near can't be judged: no fresh reading.") {
		t.Errorf("it does not say what is not known:\n%s", o.text)
	}
}

// A reminder advises by how things stand, not by what was told half a day ago.
func TestAReminderIsOfNow(t *testing.T) {
	cfg := keeperOnly(t)
	c, v := driedOn()
	c.Urgency, v.Standing[0].Urgency = farm.Now, farm.Now
	told := owedOf(cfg, c)
	again := told[0]
	again.Notice, again.Reminder = "remind-1", true
	raw, err := notify.MailOf(cfg, notify.Sources{Look: look(v)}, []farm.Owed{again}, map[string][]farm.Owed{c.Episode: told}, start)
	if err != nil {
		t.Fatal(err)
	}
	o := open(t, raw)
	if !strings.Contains(o.text, "Give about 2 litres this visit") || strings.Contains(o.text, "1¼ litres") || strings.Contains(o.text, "39.9 %") {
		t.Errorf("the reminder:\n%s", o.text)
	}
}

// The commands of a bundle are taken by a shell as they stand: every word, the
// path of the configuration among them, arrives whole.
func TestCommandsCanBePasted(t *testing.T) {
	for _, bin := range []string{"bed", "Linden-02", "the old bath", "Nan's tub", `a"b$HOME`, "été", "a;b|c&d", "*", "~"} {
		for _, file := range []string{"", "/etc/binwatchd/binwatchd.yaml", "/home/nan o'b/my farm (1).yaml", "/srv/$x/`y`.yaml"} {
			cfg := keeperOnly(t)
			cfg.File = file
			cfg.Farm.Bins[0].Name = bin
			c := heating()
			c.Bin = bin
			raw, err := notify.MailOf(cfg, notify.Sources{}, owedOf(cfg, c), nil, start)
			if err != nil {
				t.Fatal(err)
			}
			_, foot, _ := strings.Cut(open(t, raw).text, "\n-- \n")
			want := map[string][]string{"I know:": {"seen", c.Episode}, "Quiet for a day:": {"hush", bin + "/near", "heating", "--for", "24h"}}
			for lead, words := range want {
				if file != "" {
					words = append(words, "--config", file)
				}
				if got, want := pasted(t, foot, lead), strings.Join(words, "\n")+"\n"; got != want {
					t.Errorf("%s %s: a shell makes %q of it, want %q, in\n%s", bin, file, got, want, foot)
				}
			}
		}
	}
}

// pasted has a shell take the command under a line, and gives its words.
func pasted(t *testing.T, foot, lead string) string {
	t.Helper()
	_, command, ok := strings.Cut(foot, lead+"\n")
	if !ok {
		return "no " + lead
	}
	command, _, _ = strings.Cut(command, "\n")
	out, err := exec.Command("/bin/sh", "-c", `binwatchd() { printf '%s\n' "$@"; }; `+command).Output()
	if err != nil {
		return err.Error()
	}
	return string(out)
}
