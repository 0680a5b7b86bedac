package rules

import (
	"fmt"
	"slices"
	"time"

	"binwatchd/internal/farm"
)

// named says which probe, and where it sits when that is known.
func (s *State) named(p *probe) string {
	if p.who.Bin == "" {
		return "Probe " + p.spec.ID
	}
	return fmt.Sprintf("Probe %s (%s)", p.spec.ID, s.place(p.who))
}

func (s *State) saySilent(p *probe, m time.Time) saying {
	if p.slow() && !p.gone(m) && m.Sub(p.Heard) <= silentAfter*p.Pace.Pause() {
		return s.saySlow(p)
	}
	if p.dropping(m) && s.Linked && !s.noneSpeaks(m) {
		return s.sayDropping(p, m)
	}
	last := "has never been heard"
	if p.Spoke {
		since := p.Said
		if since.IsZero() { // remembered from before this was
			since = p.Heard
		}
		last = fmt.Sprintf("has said nothing for %s", pace(m.Sub(since)))
	}
	text := fmt.Sprintf("%s %s; it is meant to speak every %s.", s.named(p), last, pace(p.spec.Every))
	do := "Look at its battery, its cable and its radio."
	switch {
	case p.gone(m) && s.Linked:
		text += fmt.Sprintf(" Its device has been gone since %s: %s says %q.", s.farm.Dates().Time(p.Gone, m), p.spec.Alive.Topic, p.GoneSays)
		do = "Look at the device's power and at its radio: it has lost the broker."
	case !s.Linked:
		text += " The broker has not been reached since " + s.farm.Dates().Time(s.Since, m) + "."
		do = "Look at the broker and the network first."
	case s.noneSpeaks(m):
		text += " No probe speaks, though the broker is connected."
		do = "Look at the topics in the configuration and at what the broker's access list lets this program read."
	}
	return saying{Text: text, Advice: &farm.Advice{Do: do}}
}

// saySlow is about a probe whose own pace counts as silence. It is told of
// once and stays until the one is changed or the other.
func (s *State) saySlow(p *probe) saying {
	own := "speaks " + howOften(p.Pace.Every())
	if p.Pace.Every() <= silentAfter*p.spec.Every {
		own = "is often quiet for " + pace(p.Pace.Pause())
	}
	return saying{
		Text: fmt.Sprintf("%s %s; it is meant to speak every %s. It is judged all the same.", s.named(p), own, pace(p.spec.Every)),
		Advice: &farm.Advice{Do: fmt.Sprintf("If that is its pace, write every: %s for it in the configuration; else look at its battery and its radio.",
			spelt(p.Pace.Pause()))},
	}
}

// spelt writes a stretch of time as the configuration takes it, rounded up.
func spelt(d time.Duration) string {
	switch {
	case d > 2*time.Hour:
		return fmt.Sprintf("%dh", (d+time.Hour-1)/time.Hour)
	case d > 2*time.Minute:
		return fmt.Sprintf("%dm", (d+time.Minute-1)/time.Minute)
	}
	return fmt.Sprintf("%ds", (d+time.Second-1)/time.Second)
}

// pace says a stretch of time for probes that speak more than once a minute,
// too.
func pace(d time.Duration) string {
	if d < time.Minute {
		return fmt.Sprintf("%.0f seconds", d.Seconds())
	}
	return farm.SayLong(d)
}

// howOften says the pace of a probe.
func howOften(every time.Duration) string {
	switch {
	case every < 750*time.Millisecond:
		return "several times a second"
	case every < 1500*time.Millisecond:
		return "every second"
	}
	return "every " + pace(every)
}

// noneSpeaks tells whether every probe has been quiet for too long.
func (s *State) noneSpeaks(m time.Time) bool {
	if len(s.probes) == 1 && s.probes[0].Spoke {
		return false // one probe of one: its battery is likelier than the broker
	}
	return !slices.ContainsFunc(s.probes, func(p *probe) bool {
		return m.Sub(p.Heard) <= silentAfter*max(p.spec.Every, p.Pace.Pause())
	})
}

func (s *State) saySuspect(p *probe, r *farm.Reading) saying {
	if !p.Felt.At.IsZero() && r.Believed() {
		return s.sayFelt(p)
	}
	doing, said := "", s.number(p, r.Value)
	switch {
	case p.harmful(r):
		doing = fmt.Sprintf(". %s says %s%s: look", p.spec.ID, said, s.sayOthers(p))
	case said != "":
		doing = " (it says " + said + ")"
	}
	return saying{
		Text:   fmt.Sprintf("%s is not believed: %s%s.", s.named(p), r.Doubt, doing),
		Advice: &farm.Advice{Do: doubtDo(r.Doubt)},
	}
}

// sayOthers says what the believed probes beside a doubted one say, the unit
// left out since it stands just before: ", far 26".
func (s *State) sayOthers(p *probe) string {
	others, m := "", p.measured
	for _, o := range m.probes {
		if o != p && o.fresh(s.Now) {
			others += fmt.Sprintf(", %s %s", o.spec.ID, m.Written(s.farm.Units).Number(o.Good.Value))
		}
	}
	return others
}

// doubtDo says what to look at, and how to be believed where it is right.
func doubtDo(d farm.Doubt) string {
	switch d {
	case farm.TooFast:
		return "See whether it still sits in the bin, and seat it again. If it is right, jot that the bin was turned, or emptied where it was filled anew: then it is believed."
	case farm.TwinApart:
		return "Put both probes side by side and see which one is right. If both are, jot that the bin was turned: then it is believed."
	case farm.Frozen:
		return "Power the probe off and on; replace it if it stays frozen."
	case farm.Flooded:
		return "Feel the bin where the probe sits. If it is not that wet, take the probe out, dry it, and look at its seal and at the joint of its cable. If it is right, jot that the bin was watered: then it is believed."
	case farm.Swapped:
		return "See which probe sits where, and put each back into its own bin. If they are where they belong, jot that the bin was turned: then they are believed."
	case farm.Drifted:
		return "Hold it beside another one for an hour, in the same place. If they differ, calibrate it anew or replace it. If it is right, jot that the bin was turned: then it is believed."
	}
	return "Look at its cable, its connectors and its supply."
}

func (s *State) sayBattery(p *probe) saying {
	do := "Bring a fresh battery on the next round."
	if len(p.spec.Of) > 0 {
		do = fmt.Sprintf("Bring a fresh battery for %s on the next round.", farm.SayList(p.spec.Of))
	}
	low := p.spec.Row().Written(s.farm.Units).String(p.spec.Low)
	return saying{
		Text:   fmt.Sprintf("Battery %s is low: %s, under %s.", p.spec.ID, s.number(p, p.Good.Value), low),
		Advice: &farm.Advice{Do: do},
	}
}

// number writes a probe's value in its own quantity; "" for what is no number.
func (s *State) number(p *probe, v float64) string {
	if !farm.Finite(v) {
		return ""
	}
	return p.spec.Row().Written(s.farm.Units).String(v)
}
