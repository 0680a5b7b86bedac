package ingest

import (
	"binwatchd/internal/secret"
)

// BrokerSettings are how probes are heard: by calling brokers, or by being the broker at
// Listen. One of URL, URLs and Listen is given, none when a rehearsal has none.
type BrokerSettings struct {
	URL      string          `yaml:"url" kind:"the address of a broker" help:"Where the broker is."`
	URLs     []string        `yaml:"urls" kind:"the address of a broker" list:"a list of addresses" help:"Where the brokers of a cluster are, tried in turn."`
	Listen   string          `yaml:"listen" kind:"an address to listen at" like:"127.0.0.1:1883" help:"binwatchd is itself the broker for the probes, at this address; they can only publish."`
	User     string          `yaml:"user" kind:"a user" like:"binwatchd" help:"Given to the broker, or asked of the probes."`
	Password secret.Secret   `yaml:"password" help:"Of the user."`
	TLS      *ClientTLS      `yaml:"tls" kind:"tls" help:"For a broker with its own authority or one that asks for a client certificate."`
	ClientID string          `yaml:"client_id" kind:"a client id" like:"binwatchd-hillfoot" help:"Names this daemon to the broker, which keeps messages for it; binwatchd- and the farm's name when left out."`
	Prefix   string          `yaml:"prefix" kind:"a prefix" default:"binwatch" help:"Of the topics for jots, hushes and seen."`
	Keeper   *KeeperSettings `yaml:"keeper" kind:"keeper" help:"With listen: the user who may send jots, hushes and seens; no other may then. Without it they are taken at loopback alone."`
}

// Addresses are the brokers to call, in this order.
func (b BrokerSettings) Addresses() []string {
	if b.URL != "" {
		return []string{b.URL}
	}
	return b.URLs
}

// KeeperSettings are who may send jots, hushes and seens.
type KeeperSettings struct {
	User     string        `yaml:"user" kind:"a user" like:"keeper" need:"keeper" help:"Asked of the keeper's phone or program; another than the probes'."`
	Password secret.Secret `yaml:"password" need:"{file: /etc/binwatchd/keeper.secret}" help:"Of the user."`
}

// ClientTLS names the files for a broker with its own authority.
type ClientTLS struct {
	CA   string `yaml:"ca" kind:"a file" help:"Certificate of the authority that signed the broker's."`
	Cert string `yaml:"cert" kind:"a file" help:"Client certificate."`
	Key  string `yaml:"key" kind:"a private key" help:"Key of the client certificate."`
}
