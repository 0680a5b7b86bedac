package ingest

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"time"

	"binwatchd/internal/farm"
)

// maxPayload is the largest payload that is looked at, in bytes. A message
// with the values of a whole farm is a hundredth of it.
const maxPayload = 64 << 10

// maxClaims bounds how many topics a Decoder remembers. Topics come from
// outside, and a filter with a wildcard matches any number of them.
const maxClaims = 4096

// A Decoder finds the numbers of the probes of one farm in MQTT messages, and
// the keeper's commands that come the same way. It remembers which probes a
// topic feeds and reads each payload once. It is for one goroutine.
type Decoder struct {
	farm   *farm.Farm
	prefix string // of the command topics, with its slash
	scales []scale
	claims map[string]*claim
	found  []found // for one message, kept to spare allocations
}

// A claim is what the messages of one topic are asked for.
type claim struct {
	parts []part
	tree  *tree
	plain bool // everybody wants the whole payload, nobody a time: no need to scan
}

// A part is one probe's share in a message.
type part struct {
	probe       int // index in farm.Probes
	value, time int // slots; time is -1 when the probe sends none
}

// NewDecoder makes a decoder for the probes of f and for commands under the
// prefix. The farm must not change afterwards.
func NewDecoder(f *farm.Farm, prefix string) *Decoder {
	d := &Decoder{farm: f, prefix: strings.TrimSuffix(prefix, "/") + "/", claims: map[string]*claim{}}
	for _, p := range f.Probes {
		d.scales = append(d.scales, newScale(p))
	}
	return d
}

// Filters lists the topic filters to subscribe to, sorted: those of all probes
// and of the commands. No two of the probes' match the same topic, so a
// reading comes once. A filter of probes that crosses one of the commands is
// not joined with it, since that would be a filter of nearly everything.
func (d *Decoder) Filters() []string {
	var probes []string
	for _, p := range d.farm.Probes {
		probes = append(probes, p.Topic)
	}
	filters := disjoint(probes)
	for _, c := range commandFilters(d.prefix) {
		if !slices.ContainsFunc(filters, func(f string) bool { return covers(f, c) }) {
			filters = append(filters, c)
		}
	}
	slices.Sort(filters)
	return filters
}

// Topics lists the topics of all probes, sorted, each as it is configured.
func (d *Decoder) Topics() []string {
	var topics []string
	for _, p := range d.farm.Probes {
		topics = append(topics, p.Topic)
	}
	slices.Sort(topics)
	return slices.Compact(topics)
}

// Decode reads one message that arrived at a time. It never fails as a whole:
// what can't be used is among the rejections. The result shares nothing with
// the payload.
func (d *Decoder) Decode(topic string, payload []byte, arrived time.Time) Decoded {
	arrived = arrived.UTC().Truncate(time.Millisecond)
	if rest, ok := strings.CutPrefix(topic, d.prefix); ok {
		if strings.HasPrefix(rest, markerTopic+"/") { // of another watcher, heard by a filter for all
			return Decoded{}
		}
		if got, ok := d.command(rest, payload, arrived); ok {
			return got
		}
	}
	c := d.claim(topic)
	if len(c.parts) == 0 {
		return refused("", Unclaimed, "no probe has the topic "+quote([]byte(topic)))
	}
	if r := d.sound(c, payload); r.Reason != "" {
		return d.refusedForAll(c, r)
	}
	return d.read(c, arrived)
}

// sound fills d.found from a payload, or says what is wrong with it as a
// whole.
func (d *Decoder) sound(c *claim, payload []byte) Rejection {
	body := bytes.TrimSpace(payload)
	d.found = growTo(d.found, c.tree.slots)
	switch {
	case len(payload) > maxPayload:
		return Rejection{Reason: TooLarge, Detail: fmt.Sprintf("%d bytes, the most is %d", len(payload), maxPayload)}
	case len(body) == 0:
		return Rejection{Reason: Empty, Detail: "the message is empty"}
	case c.plain:
		d.found[0] = found{kind: text, raw: unquoted(body)}
	case !scan(body, c.tree, d.found):
		return Rejection{Reason: NotJSON, Detail: "not JSON: " + quote(body)}
	}
	return Rejection{}
}

// read makes the readings of a message whose values have been found.
func (d *Decoder) read(c *claim, arrived time.Time) Decoded {
	got := Decoded{Readings: make([]farm.Reading, 0, len(c.parts))}
	for _, p := range c.parts {
		f := d.found[p.value]
		raw, ok := f.number()
		if !ok {
			got.Rejected = append(got.Rejected, d.unread(p, f))
			continue
		}
		r := farm.Reading{Probe: d.farm.Probes[p.probe].ID, At: arrived, Raw: raw, Value: d.scales[p.probe].value(raw)}
		if p.time >= 0 {
			date(&r, d.found[p.time])
		}
		got.Readings = append(got.Readings, r)
	}
	return got
}

// date gives a reading the device's time when that can be believed; until
// then At is the time of arrival.
func date(r *farm.Reading, f found) {
	at, given, ok := f.stamp()
	switch {
	case !given:
	case ok && believable(at, r.At):
		r.At, r.Stamped = at, true
	default:
		r.Misdated = true
	}
}

// unread says why there is no number for one probe.
func (d *Decoder) unread(p part, f found) Rejection {
	probe := d.farm.Probes[p.probe]
	if f.kind == absent {
		return Rejection{probe.ID, Missing, "there is nothing at " + probe.Value}
	}
	return Rejection{probe.ID, NotNumber, "not a number: " + quote(f.raw)}
}

// claim finds what a topic's messages are asked for.
func (d *Decoder) claim(topic string) *claim {
	if c, ok := d.claims[topic]; ok {
		return c
	}
	c := d.newClaim(topic)
	if len(d.claims) < maxClaims {
		d.claims[strings.Clone(topic)] = c
	}
	return c
}

func (d *Decoder) newClaim(topic string) *claim {
	c := &claim{tree: newTree(), plain: true}
	for i, p := range d.farm.Probes {
		if !matches(p.Topic, topic) {
			continue
		}
		part := part{probe: i, value: c.tree.ask(p.Value), time: -1}
		if p.Time != "" {
			part.time = c.tree.ask(p.Time)
		}
		c.plain = c.plain && p.Value == "" && p.Time == ""
		c.parts = append(c.parts, part)
	}
	return c
}

func (d *Decoder) refusedForAll(c *claim, r Rejection) Decoded {
	var got Decoded
	for _, p := range c.parts {
		r.Probe = d.farm.Probes[p.probe].ID
		got.Rejected = append(got.Rejected, r)
	}
	return got
}

func refused(probe, reason, detail string) Decoded {
	return Decoded{Rejected: []Rejection{{probe, reason, detail}}}
}

// unquoted takes the quotes off a payload that is one quoted text.
func unquoted(b []byte) []byte {
	if len(b) >= 2 && b[0] == '"' && b[len(b)-1] == '"' {
		return b[1 : len(b)-1]
	}
	return b
}

// quote shows the beginning of a payload in a way that is safe to print.
func quote(b []byte) string {
	const most = 40
	if len(b) > most {
		return fmt.Sprintf("%+q and %d bytes more", b[:most], len(b)-most)
	}
	return fmt.Sprintf("%+q", b)
}

func growTo(f []found, n int) []found {
	if cap(f) < n {
		return make([]found, n)
	}
	return f[:n]
}
