package demo

import (
	_ "embed"
	"strings"
	"text/template"
	"time"
)

// Places are the parts of the nursery's configuration that depend on where it
// runs.
type Places struct {
	Broker  string // URL, as in tcp://127.0.0.1:1883
	Journal string // path of the journal's file
	Listen  string // address of the page; "" leaves the page out
}

//go:embed hillfoot.yaml.tmpl
var hillfoot string

// hillfootText is parsed once; a broken template is a broken build, found by
// the first test.
var hillfootText = template.Must(template.New("hillfoot").Parse(hillfoot))

// YAML is the nursery's configuration.
func (s *Sim) YAML(p Places) string {
	var text strings.Builder
	err := hillfootText.Execute(&text, struct {
		Places
		By               string
		RawAt12, RawAt84 float64
		CrateLow         float64
		ShedLow          float64
	}{p, s.start.Add(75 * 24 * time.Hour).Format("2 Jan"), rawAt12, rawAt84, s.crateV.low, s.shedPct.low})
	if err != nil {
		panic("demo: the configuration's own template: " + err.Error())
	}
	return text.String()
}
