package notify

import (
	"time"

	"binwatchd/internal/secret"
)

// MailSettings are the server that mail goes out by, as the keeper says it.
type MailSettings struct {
	Server   string        `yaml:"server" kind:"a mail server" need:"\"mail.example.org:587\"" help:"Host and port."`
	From     string        `yaml:"from" kind:"a sender" need:"bins@example.org" help:"The address that mail comes from."`
	User     string        `yaml:"user" kind:"a user" like:"bins" help:"Given to the server."`
	Password secret.Secret `yaml:"password" help:"Of the user."`
	Security Security      `yaml:"security" kind:"a kind of security" words:"starttls tls offered none" help:"starttls, or tls from the first byte. On loopback also offered (STARTTLS where the server has it) and none. By the port when left out: tls on 465, else starttls; offered on loopback."`
	CA       string        `yaml:"ca" kind:"a file" help:"Certificate of the server's own authority."`
}

// TellerSettings are one recipient of notices, as the keeper says it. Exactly one
// of Mail, Push and Webhook is set.
type TellerSettings struct {
	Mail    string        `yaml:"mail" kind:"a mail address" help:"Told by mail, at this address."`
	Push    secret.Secret `yaml:"push" help:"Told by a push service, whose address is kept secret."`
	Webhook string        `yaml:"webhook" kind:"the address of a webhook" help:"Told by a POST to this address; https, or http on loopback."`
	Secret  secret.Secret `yaml:"secret" help:"Signs what the webhook gets."`
	About   []string      `yaml:"about,one" kind:"an urgency or a condition" list:"a list of urgencies or conditions" default:"[now, today]" help:"Urgencies (now, today, soon), and single conditions that are wanted whatever their urgency."`
	Bins    []string      `yaml:"bins,one" kind:"a bin or a pattern" like:"linden-*" list:"a list of bins" help:"Only these; all when left out, and a * stands for any part of a name. What concerns the whole farm is always told."`
	Places  []string      `yaml:"places,one" kind:"the name of a place" like:"linden" list:"a list of places" help:"The bins of these places, and the probes in their air, as bins does; with both, what either means."`
	Quiet   *Window       `yaml:"quiet" kind:"a stretch of the day" like:"22:00-07:00" help:"A stretch of the day in which only what is urgent now is told."`
	Remind  time.Duration `yaml:"remind" least:"1m" most:"30d" help:"How often what is urgent now is told again until it is eased, seen or hushed."`
	After   time.Duration `yaml:"after" least:"1m" most:"7d" help:"Told only of what is urgent now, and has for so long neither been seen nor eased: for somebody who is called when nobody else comes."`
	PerHour int           `yaml:"per_hour" kind:"a number of notices" default:"10" help:"The most notices in an hour; the rest come as one. What is urgent now is never held back."`
}

// LifeSettings are an address that is called while the daemon is healthy.
type LifeSettings struct {
	URL   secret.Secret `yaml:"url" need:"{file: /etc/binwatchd/life.secret}" help:"The address to call."`
	Every time.Duration `yaml:"every" least:"1s" most:"1d" default:"15m" help:"How often."`
}
