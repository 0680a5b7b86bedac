package ahead

import (
	"bytes"
	"fmt"
	"strings"
	"time"
	"unicode/utf8"

	"binwatchd/internal/farm"
)

// Calendar writes what comes as an iCalendar object (RFC 5545) of whole days in the farm's
// zone. full adds the sentences with their amounts; without it days and bins are all that
// is told. before is what was written the last time: what it held and does not come any
// more is cancelled, so that a calendar which was given it shows nothing twice.
//
// A thing keeps its UID when its day moves: it is the next watering of a zone, the one
// after that, and so on. SEQUENCE grows with the hours, as DTSTAMP does; it needs no memory.
func Calendar(a farm.Ahead, d farm.Dates, full bool, before []byte) []byte {
	loc := d.Location
	c := &calendar{at: a.At.UTC(), host: uidHost(a.Farm)}
	c.line("BEGIN:VCALENDAR")
	c.line("VERSION:2.0")
	c.line("PRODID:-//binwatchd//what comes//EN")
	c.line("CALSCALE:GREGORIAN")
	c.line("METHOD:PUBLISH")
	c.line("X-WR-CALNAME:" + escaped(a.Farm))
	c.line("X-WR-TIMEZONE:" + escaped(loc.String()))
	c.line("REFRESH-INTERVAL;VALUE=DURATION:PT6H") // RFC 7986
	comes := map[string]bool{}
	for _, one := range a.Comes {
		uid := c.uid(one.ID)
		if comes[uid] {
			continue
		}
		comes[uid] = true
		text := ""
		if full {
			if text = one.Text; one.First.Before(one.Last) && !one.First.IsZero() {
				text += fmt.Sprintf(" (%s to %s)", d.Date(one.First), d.Date(one.Last)) // read on any day
			}
		}
		c.event(uid, one.On.In(loc).Format(dateOnly), one.On.In(loc).AddDate(0, 0, 1).Format(dateOnly), one.Brief, text, "")
	}
	for _, old := range eventsOf(before) {
		if uid := old["UID"]; strings.HasSuffix(uid, c.host) && !comes[uid] && old["STATUS"] != "CANCELLED" {
			c.event(uid, old["DTSTART"], old["DTEND"], "", "", old["SUMMARY"])
		}
	}
	c.line("END:VCALENDAR")
	return c.out.Bytes()
}

const dateOnly = "20060102"

type calendar struct {
	out  bytes.Buffer
	at   time.Time
	host string
}

// event writes one. cancelled is the summary, as it was written, of one that is called off.
func (c *calendar) event(uid, from, to, brief, text, cancelled string) {
	c.line("BEGIN:VEVENT")
	c.line("UID:" + uid)
	c.line("DTSTAMP:" + c.at.Format("20060102T150405Z"))
	c.line(fmt.Sprintf("SEQUENCE:%d", int(c.at.Sub(sequenceEpoch).Hours())))
	c.line("DTSTART;VALUE=DATE:" + from)
	c.line("DTEND;VALUE=DATE:" + to)
	switch {
	case cancelled != "":
		c.line("SUMMARY:" + cancelled)
		c.line("STATUS:CANCELLED")
	default:
		c.line("SUMMARY:" + escaped(brief))
	}
	if text != "" {
		c.line("DESCRIPTION:" + escaped(text))
	}
	c.line("TRANSP:TRANSPARENT") // nobody is busy because of it
	c.line("END:VEVENT")
}

// sequenceEpoch is when the counting of SEQUENCE begins.
var sequenceEpoch = time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)

// uid makes an id of the world of one of the farm.
func (c *calendar) uid(id string) string { return uidWord(id) + c.host }

func uidHost(name string) string { return "@" + uidWord(name) + ".binwatchd.invalid" }

// uidWord keeps letters and digits, and writes the rest as its code.
func uidWord(s string) string {
	var b strings.Builder
	for _, r := range strings.ToLower(s) {
		switch {
		case r >= 'a' && r <= 'z', r >= '0' && r <= '9', r == '-':
			b.WriteRune(r)
		case r == '/':
			b.WriteByte('.')
		case r == ' ':
			b.WriteByte('_')
		default:
			fmt.Fprintf(&b, "x%x", r)
		}
	}
	return b.String()
}

// escaped writes TEXT (RFC 5545, 3.3.11).
func escaped(s string) string {
	s = strings.Map(func(r rune) rune {
		if r < ' ' && r != '\n' || r == 0x7f {
			return -1
		}
		return r
	}, strings.ToValidUTF8(strings.ReplaceAll(s, "\r\n", "\n"), "\uFFFD"))
	return strings.NewReplacer(`\`, `\\`, ";", `\;`, ",", `\,`, "\n", `\n`).Replace(s)
}

// line writes a content line, folded to 75 octets and never within a letter (3.1).
func (c *calendar) line(s string) {
	const most = 75
	for room := most; len(s) > room; room = most - 1 {
		cut := room
		for !utf8.RuneStart(s[cut]) {
			cut--
		}
		c.out.WriteString(s[:cut] + "\r\n ")
		s = s[cut:]
	}
	c.out.WriteString(s + "\r\n")
}

// eventsOf reads the events of a calendar that was written here: each property by its name,
// as it was written.
func eventsOf(text []byte) (all []map[string]string) {
	var one map[string]string
	unfolded := strings.ReplaceAll(string(text), "\r\n ", "")
	for l := range strings.SplitSeq(unfolded, "\r\n") {
		name, value, ok := strings.Cut(l, ":")
		name, _, _ = strings.Cut(name, ";")
		switch {
		case l == "BEGIN:VEVENT":
			one = map[string]string{}
		case l == "END:VEVENT" && one != nil:
			all = append(all, one)
			one = nil
		case ok && one != nil:
			one[name] = value
		}
	}
	return all
}
