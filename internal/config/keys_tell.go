package config

import (
	"fmt"
	"math"
	"time"

	"binwatchd/internal/farm"
)

func teller() codec[tellerDoc] {
	return section("a recipient", []field[tellerDoc]{
		key("mail", "Told by mail, at this address.", scalar("a mail address", "keeper@example.org", parseAddress, asIs),
			func(d *tellerDoc) *val[string] { return &d.mail }),
		key("push", "Told by a push service, whose address is kept secret.", secret(),
			func(d *tellerDoc) *val[Secret] { return &d.push }),
		key("webhook", "Told by a POST to this address; https, or http on loopback.", scalar("an address", "https://example.org/hook", parseWebhook, asIs),
			func(d *tellerDoc) *val[string] { return &d.webhook }),
		key("secret", "Signs what the webhook gets.", secret(),
			func(d *tellerDoc) *val[Secret] { return &d.secret }),
		key("about", "Urgencies (now, today, soon), and single conditions that are wanted whatever their urgency.",
			oneOrMore("a list of urgencies or conditions", word("an urgency or a condition", subjects())),
			func(d *tellerDoc) *val[[]val[string]] { return &d.about }).defaults("[now, today]"),
		key("bins", "Only these; all when left out. What concerns the whole farm is always told.",
			oneOrMore("a list of bins", text("the name of a bin", "bed")), func(d *tellerDoc) *val[[]val[string]] { return &d.bins }),
		key("quiet", "A stretch of the day in which only what is urgent now is told.", scalar("a stretch of the day", "22:00-07:00", parseWindow, Window.String),
			func(d *tellerDoc) *val[Window] { return &d.quiet }),
		key("remind", "How often what is urgent now is told again until it is eased, seen or hushed.", duration(time.Minute, 30*day),
			func(d *tellerDoc) *val[time.Duration] { return &d.remind }),
		key("per_hour", "The most notices in an hour; the rest come as one. What is urgent now is never held back.", checked(number("a number"), wrongCount),
			func(d *tellerDoc) *val[float64] { return &d.perHour }).defaults("10"),
	})
}

// subjects is what a recipient can ask to be told about.
func subjects() []string {
	words := []string{farm.Now.String(), farm.Today.String(), farm.Soon.String()}
	for _, c := range farm.Conditions {
		words = append(words, string(c))
	}
	return words
}

func wrongCount(v float64) string {
	if v != math.Trunc(v) || v < 1 || v > 1000 {
		return fmt.Sprintf("%s is not a number of notices: a whole number from 1 to 1000", formatNumber(v))
	}
	return ""
}

func rounds() codec[roundsDoc] {
	return section("the entry rounds", []field[roundsDoc]{
		key("send", "Days and time of day, in the farm's time zone.", scalar("a time of the week", "Sat 08:00", parseSchedule, Schedule.String),
			func(d *roundsDoc) *val[Schedule] { return &d.send }).needed(`"Sat 08:00"`),
		key("to", "Mail addresses.", oneOrMore("a list of mail addresses", scalar("a mail address", "keeper@example.org", parseAddress, asIs)),
			func(d *roundsDoc) *val[[]val[string]] { return &d.to }).needed("keeper@example.org"),
	})
}
