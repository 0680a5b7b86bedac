package influx

import (
	"time"

	"binwatchd/internal/farm"
)

// mood decides when the keeper is told about the database: at once when only
// they can mend it, after some patience when it is merely away.
type mood struct {
	server   *server
	tell     func(farm.Trouble) error
	patience time.Duration

	since time.Time // of the first failure; zero when it goes well
	told  string    // what the keeper was told last; "" when nothing stands
	heard bool      // something has been told since the start
}

// unwell notes a failure and gives the sentence for it.
func (m *mood) unwell(a answer, now time.Time) string {
	if m.since.IsZero() {
		m.since = now
	}
	lasts := now.Sub(m.since)
	if a.verdict == refused {
		text := m.server.refusal(a)
		if text != m.told {
			m.say(farm.Trouble{Condition: farm.Unforwarded, Text: text})
		}
		return text
	}
	text := m.server.absence(a, farm.SayLong(lasts))
	if m.told == "" && lasts >= m.patience {
		m.say(farm.Trouble{Condition: farm.Unforwarded, Text: text})
	}
	return text
}

// well notes a success. The first one since the start is told as well: what
// was raised before a restart may still stand.
func (m *mood) well() {
	m.since = time.Time{}
	if m.told != "" || !m.heard {
		m.say(farm.Trouble{Condition: farm.Unforwarded, Over: true, Text: m.server.name() + " takes readings."})
	}
}

// say tells the keeper. What could not be noted is told again at the next
// failure or success.
func (m *mood) say(t farm.Trouble) {
	if m.tell != nil && m.tell(t) != nil {
		return
	}
	m.heard, m.told = true, t.Text
	if t.Over {
		m.told = ""
	}
}
