package influx

import (
	"cmp"
	"fmt"
	"net/http"
	"strings"
	"time"

	"binwatchd/internal/farm"
)

// alerting decides when the keeper is told about the database: at once when only
// they can mend it, after some patience when it is merely away.
type alerting struct {
	server   *server
	tell     func(farm.Trouble) error
	patience time.Duration

	since time.Time // of the first failure; zero when it goes well
	told  string    // what the keeper was told last; "" when nothing stands
	heard bool      // something has been told since the start
}

// unwell notes a failure and gives the sentence for it.
func (m *alerting) unwell(a answer, now time.Time) string {
	if m.since.IsZero() {
		m.since = now
	}
	lasts := now.Sub(m.since)
	text, due := m.server.absence(a, farm.SayLong(lasts)), m.told == "" && lasts >= m.patience
	if a.verdict == refused {
		text = m.server.refusal(a)
		due = text != m.told
	}
	if due {
		m.say(farm.Trouble{Condition: farm.Unforwarded, Text: text})
	}
	return text
}

// well notes a success. The first one since the start is told as well: what
// was raised before a restart may still stand.
func (m *alerting) well() {
	m.since = time.Time{}
	if m.told != "" || !m.heard {
		m.say(farm.Trouble{Condition: farm.Unforwarded, Over: true, Text: m.server.name + " takes readings."})
	}
}

// say tells the keeper. What could not be noted is told again at the next
// failure or success.
func (m *alerting) say(t farm.Trouble) {
	if m.tell != nil && m.tell(t) != nil {
		return
	}
	m.heard, m.told = true, t.Text
	if t.Over {
		m.told = ""
	}
}

// waiting ends every message about trouble: the first question is what is lost.
const waiting = "Nothing is lost: the readings wait in the journal."

// refusal says that the server refuses and what the keeper has to do.
func (s *server) refusal(a answer) string {
	return fmt.Sprintf("%s takes no readings (%s). %s %s", s.name, a.words(), s.hint(a), waiting)
}

// absence says that the server has been away for long.
func (s *server) absence(a answer, lasts string) string {
	return fmt.Sprintf("%s has been away for %s (%s). %s They follow when it is back.", s.name, lasts, a.words(), waiting)
}

// hint is one sentence on how to mend a refusal.
func (s *server) hint(a answer) string {
	c, v2 := s.cfg, s.cfg.Flavour == V2
	notFound := a.status == http.StatusNotFound || strings.HasPrefix(a.said, "retention policy not found")
	switch {
	case a.remedy != "":
		return a.remedy
	case a.status == http.StatusUnauthorized && v2:
		return "Check token under influx: it may be mistyped, expired or revoked."
	case a.status == http.StatusUnauthorized && c.User == "":
		return "It asks for a login: give user and password under influx."
	case a.status == http.StatusUnauthorized:
		return fmt.Sprintf("Check user and password under influx: the server does not know %s with this password.", c.User)
	case a.status == http.StatusForbidden && v2:
		return fmt.Sprintf("The token may not write there: make one that may write to bucket %s.", c.Bucket)
	case a.status == http.StatusForbidden:
		return fmt.Sprintf("Give the user the right: GRANT WRITE ON %q TO %q.", c.Database, c.User)
	case notFound && v2 && strings.Contains(a.said, "page not found"):
		return "It has no /api/v2/write: if this is InfluxDB 1.x, set flavour: v1 with a database."
	case notFound && v2:
		return fmt.Sprintf("Check org and bucket under influx, or make the bucket: influx bucket create --org %q --name %q.",
			c.Org, c.Bucket)
	case notFound && strings.HasPrefix(a.said, "retention policy"):
		return fmt.Sprintf("Check retention under influx, or make it: CREATE RETENTION POLICY %q ON %q DURATION INF REPLICATION 1.",
			c.Retention, c.Database)
	case notFound && strings.Contains(a.said, "database not found"):
		return fmt.Sprintf("Make the database: CREATE DATABASE %q.", c.Database)
	case notFound:
		return "Check url and flavour under influx: nothing there takes writes of InfluxDB 1.x."
	case a.status/100 == 3:
		return "It sends us elsewhere: put the address that it means into url under influx."
	case a.status == 0:
		return "Check url under influx."
	case a.status == http.StatusBadRequest, a.status == http.StatusUnprocessableEntity:
		return fmt.Sprintf("It refuses every row: something else may have written %s or %s there with other types. "+
			"Use a database of its own.", cmp.Or(c.Measurement, Levels), Marks)
	}
	return "Check the influx section against the server's own log."
}
