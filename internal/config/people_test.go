package config_test

import (
	"strings"
	"testing"

	"binwatchd/internal/config"
	"binwatchd/internal/farm"
	"github.com/google/go-cmp/cmp"
)

const nursery = `
farm: Hillfoot Nursery
broker: {listen: "127.0.0.1:1883", user: probes, password: {file: /s}}
journal: {path: /j}
mail: {server: "mail.example.org:587", from: bins@example.org}
page: {listen: "0.0.0.0:8338"}
probes: {"{n}-t": {topic: "shed/{n}", measures: temperature}}
bins:
  linden-01: {zones: {all: {aim: living, probes: [l1-t]}}}
  crate: {zones: {all: {aim: keeping, probes: [c-t]}}}
places: {linden: {bins: "linden-*"}, store: {bins: [crate]}}
people:
`

func TestPeople(t *testing.T) {
	c := parseAt(t, nursery+`
  mara: {password: {file: /m}, places: linden, tell: [{mail: mara@example.org}]}
  Jörg.2: {token: {env: JOERG}}
`, config.ForRun)
	want := []farm.Person{{Name: "mara", Places: []string{"linden"}}, {Name: "Jörg.2"}}
	if diff := cmp.Diff(want, c.Farm.People); diff != "" {
		t.Errorf("people (-want +got):\n%s", diff)
	}
	var shown strings.Builder
	if err := c.Show(&shown); err != nil || !strings.Contains(shown.String(), "mara@example.org") {
		t.Errorf("%v:\n%s", err, shown.String())
	}
}

// What is wrong with people is said in its place. A page beyond loopback is locked by one
// person's password, and not by a token.
func TestWrongPeople(t *testing.T) {
	for people, want := range map[string]string{
		"  mara: {password: {file: /m}, places: [lindn]}":                                    "did you mean linden?",
		"  mara: {password: {file: /m}}\n  Mara: {password: {file: /n}}":                     "mara and Mara are one name",
		"  mara: {password: {file: /m}}\n  mara: {password: {file: /n}}":                     "mara",
		"  mara: {places: [linden]}":                                                         "mara has no way to be known",
		"  mara w: {password: {file: /m}}":                                                   "cannot be a name",
		"  page: {password: {file: /m}}":                                                     "can be nobody's name",
		"  mara: {token: {file: /m}}":                                                        "beyond loopback anybody could read",
		"  probes: {token: {file: /m}, password: {file: /m}}":                                "probes is a user of the broker already",
		"  mara: {password: plain}":                                                          "a secret does not stand in this file",
		"  mara: {password: {file: /m}, tell: [{mail: a@b.example}, {mail: a@b.example}]}":   "has an entry already",
		"  mara-of-the-very-long-name-that-no-login-would-ever-take: {password: {file: /m}}": "at most 40 bytes",
		"  mara: {password: {file: /m}, tell: [{mail: m@example.org, places: [lindn]}]}":     "did you mean linden?",
		"  {}": "nothing is named here",
	} {
		_, err := atDesk.Parse("/etc/binwatchd/farm.yaml", []byte(nursery+people+"\n"), config.ForRun)
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: got %v, want %q", people, err, want)
		}
	}
}
