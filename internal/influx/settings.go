package influx

import (
	"binwatchd/internal/secret"
)

// Settings are the database that readings are forwarded to, as the keeper says it.
type Settings struct {
	URL       string        `yaml:"url" kind:"an address" need:"\"http://127.0.0.1:8086\"" help:"Where the database is."`
	Flavour   Flavour       `yaml:"flavour" kind:"a flavour" words:"v1 v2" need:"v2" help:"v2: org, bucket, token. v1: database, user, password, as in InfluxDB 1.x."`
	Org       string        `yaml:"org" flavour:"v2,needed" kind:"an organisation" like:"hillfoot" help:"v2: the organisation."`
	Bucket    string        `yaml:"bucket" flavour:"v2,needed" kind:"a bucket" like:"bins" help:"v2: the bucket."`
	Token     secret.Secret `yaml:"token" flavour:"v2" help:"v2: may write to the bucket."`
	Database  string        `yaml:"database" flavour:"v1,needed" kind:"a database" like:"bins" help:"v1: the database."`
	Retention string        `yaml:"retention" flavour:"v1" kind:"a retention policy" like:"autogen" help:"v1: the retention policy; the database's default when left out."`
	User      string        `yaml:"user" flavour:"v1" kind:"a user" like:"binwatchd" help:"v1: may write to the database."`
	Password  secret.Secret `yaml:"password" flavour:"v1" help:"v1: of the user."`

	CA          string `yaml:"ca" kind:"a file" help:"Certificate of the authority that signed the database's, where it is an own one."`
	Cert        string `yaml:"cert" kind:"a file" help:"Client certificate, for a database that asks for one."`
	Key         string `yaml:"key" kind:"a private key" help:"Key of the client certificate."`
	Measurement string `yaml:"measurement" default:"bin_levels" kind:"a measurement" like:"bin_levels" help:"What readings are called there."`
}
