package page

import (
	"binwatchd/internal/secret"
)

// Part is a part of what page.listen serves that may stay apart from the login.
type Part string

const (
	Health  Part = "health"
	Metrics Part = "metrics"
)

// Settings are where the page, the metrics and the health of the daemon are served.
type Settings struct {
	Listen   string        `yaml:"listen" kind:"an address to listen at" default:"\"127.0.0.1:8338\"" help:"Where the page, /metrics and /healthz are served."`
	Password secret.Secret `yaml:"password" help:"Asked before the page is shown; needed beyond loopback."`
	TLS      *ServerTLS    `yaml:"tls" kind:"tls" help:"Serves https with this certificate."`
	Address  string        `yaml:"address" kind:"an address" like:"https://bins.example.org" help:"Where the keeper's phone reaches the page; with it, mails have buttons that lead there."`
	Calendar secret.Secret `yaml:"calendar" help:"The secret end of the address of a calendar of what comes: days and bins for whoever knows it. Off where left out."`
	Open     []Part        `yaml:"open,one" kind:"a part of the page" words:"health metrics" list:"a list of parts" default:"[health]" help:"What is served without the password."`
}

// ServerTLS names the files of a certificate.
type ServerTLS struct {
	Cert string `yaml:"cert" kind:"a file" need:"/etc/binwatchd/page.pem" help:"Certificate, with its chain."`
	Key  string `yaml:"key" kind:"a private key" need:"/etc/binwatchd/page.key" help:"Key of the certificate."`
}
