package config

import (
	"fmt"
	"strings"
)

// Wrong places what is found wrong with a value when it is put to use: key is
// where it stands in the file, such as broker.tls, mail.ca or tell[0], and what
// stands nowhere is placed at the beginning.
func (c *Config) Wrong(key string, err error) Problem {
	d := &c.doc
	at := map[string]place{
		"broker": d.broker.at, "broker.tls": d.broker.v.tls.at, "journal.path": d.journal.v.path.at, "control": d.control.at, "influx": d.influx.at,
		"page": d.page.at, "page.password": d.page.v.password.at, "page.tls": d.page.v.tls.at, "mail": d.mail.at, "mail.ca": d.mail.v.ca.at,
		"sign_of_life": d.life.v.url.at,
	}
	for i, t := range d.tell.v {
		at[fmt.Sprintf("tell[%d]", i)] = t.at
	}
	p := Problem{File: c.file, Line: 1, Column: 1, Message: strings.Join(strings.Fields(err.Error()), " ")}
	if found, ok := at[key]; ok && found.line > 0 {
		p.Line, p.Column = found.line, found.column
	}
	return p
}
