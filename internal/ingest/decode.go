package ingest

import (
	"bytes"
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"binwatchd/internal/farm"
)

// maxPayload is the largest payload that is looked at, in bytes. A message
// with the values of a whole farm is a hundredth of it.
const maxPayload = 64 << 10

// maxRoutes bounds how many topics a Decoder remembers. Topics come from
// outside, and a filter with a wildcard matches any number of them.
const maxRoutes = 4096

// A Decoder finds the numbers of the probes of one farm in MQTT messages, and
// the keeper's commands that come the same way. It remembers which probes a
// topic feeds and reads each payload once. It is for one goroutine.
type Decoder struct {
	farm   *farm.Farm
	prefix string // of the command topics, with its slash
	routes map[string]*route
	found  []jsonValue // in one message, kept to spare allocations
}

// A route is what the messages of one topic are asked for.
type route struct {
	probes  []routed
	tree    *tree
	weather bool        // the weather to come
	alive   *farm.Alive // word of a device that is there or gone
}

// A routed probe is one that a topic feeds.
type routed struct {
	farm.Probe
	scale       scale
	value, time int // slots; time is -1 when the probe sends none
}

// NewDecoder makes a decoder for the probes of f and for commands under the
// prefix. The farm must not change afterwards.
func NewDecoder(f *farm.Farm, prefix string) *Decoder {
	return &Decoder{farm: f, prefix: strings.TrimSuffix(prefix, "/") + "/", routes: map[string]*route{}}
}

// Filters lists the topic filters to subscribe to, sorted: those of all probes
// and of the commands. No two of the probes' match the same topic, so a
// reading comes once. A filter of probes that crosses one of the commands is
// not joined with it, since that would be a filter of nearly everything.
func (d *Decoder) Filters() []string {
	filters := disjoint(d.Topics())
	for _, c := range commandFilters(d.prefix) {
		if !slices.ContainsFunc(filters, func(f string) bool { return covers(f, c) }) {
			filters = append(filters, c)
		}
	}
	slices.Sort(filters)
	return filters
}

// Topics lists the topics of all probes, of their devices' words of life and of the weather, sorted, each as it is configured.
func (d *Decoder) Topics() []string {
	var topics []string
	for _, p := range d.farm.Probes {
		topics = append(topics, p.Topic)
		if p.Alive.Topic != "" {
			topics = append(topics, p.Alive.Topic)
		}
	}
	topics = append(topics, aheadTopics(d.farm)...)
	slices.Sort(topics)
	return slices.Compact(topics)
}

// Decode reads one message that arrived at a time. It never fails as a whole:
// what can't be used is among the rejections. The result shares nothing with
// the payload.
func (d *Decoder) Decode(topic string, payload []byte, arrived time.Time) Decoded {
	arrived = arrived.UTC().Truncate(time.Millisecond)
	if rest, ok := strings.CutPrefix(topic, d.prefix); ok {
		if strings.HasPrefix(rest, markerTopic+"/") || strings.HasPrefix(rest, answerTopic+"/") { // of a watcher, heard by a filter for all
			return Decoded{}
		}
		if got, ok := d.command(rest, payload, arrived); ok {
			return got
		}
	}
	c := d.route(topic)
	switch {
	case c.weather:
		return d.weather(topic, payload, arrived)
	case c.alive != nil && len(c.probes) == 0:
		return Decoded{Commands: d.liveness(*c.alive, payload, arrived)}
	case len(c.probes) == 0:
		return refused("", Unclaimed, "no probe has the topic "+quote([]byte(topic)))
	}
	whole := d.read(c, payload)
	got := Decoded{Readings: make([]farm.Reading, 0, len(c.probes))}
	if c.alive != nil {
		got.Commands = d.liveness(*c.alive, payload, arrived)
	}
	for i := range c.probes {
		p := &c.probes[i]
		raw, wrong := d.number(p, whole)
		if wrong.Reason != "" {
			got.Rejected = append(got.Rejected, wrong)
			continue
		}
		r := farm.Reading{Probe: p.ID, At: arrived, Raw: raw, Value: p.scale.value(raw)}
		if p.time >= 0 {
			date(&r, d.found[p.time], d.farm.Location)
		}
		got.Readings = append(got.Readings, r)
	}
	return got
}

// read fills d.found from a payload, or says what is wrong with it as a whole.
func (d *Decoder) read(c *route, payload []byte) Rejection {
	body := bytes.TrimSpace(payload)
	if cap(d.found) < c.tree.slots {
		d.found = make([]jsonValue, c.tree.slots)
	}
	d.found = d.found[:c.tree.slots]
	switch {
	case len(payload) > maxPayload:
		return Rejection{Reason: TooLarge, Detail: fmt.Sprintf("it is too long, the most is %d bytes", maxPayload)}
	case len(body) == 0:
		return Rejection{Reason: Empty, Detail: "the message is empty"}
	case len(c.tree.root.kids) == 0: // everybody wants the whole payload, nobody a time: no need to scan
		d.found[0] = jsonValue{kind: text, raw: unquoted(body)}
	case !(&lexer{b: body, out: d.found}).read(c.tree.root):
		return Rejection{Reason: NotJSON, Detail: not("JSON", body)}
	}
	return Rejection{}
}

// number gives the number for a probe in the message that was read, or says what
// is wrong, with the message as a whole or with what is there for the probe.
func (d *Decoder) number(p *routed, whole Rejection) (raw float64, wrong Rejection) {
	if whole.Reason != "" {
		whole.Probe = p.ID
		return 0, whole
	}
	v := d.found[p.value]
	n, unit, ok := v.amount()
	switch {
	case v.kind == absent:
		return 0, Rejection{p.ID, Missing, "there is nothing at " + p.Value}
	case !ok:
		return 0, Rejection{p.ID, NotNumber, not("a number", v.raw)}
	}
	raw, why := p.raw(n, unit)
	if why != "" {
		return 0, Rejection{p.ID, NotNumber, why}
	}
	return raw, Rejection{}
}

// not says what a payload is not, and what it is where that can be told.
func not(wanted string, b []byte) string {
	s := "not " + wanted + ": " + quote(b)
	if shape := Shape(b); shape != "" {
		s += ", which is " + shape
	}
	return s
}

// date gives a reading the device's time when that can be believed; until
// then At is the time of arrival.
func date(r *farm.Reading, f jsonValue, zone *time.Location) {
	at, given, ok := f.stamp(zone, r.At)
	switch {
	case !given:
	case ok && Believable(at, r.At):
		r.At, r.Stamped = at, true
	default:
		r.Misdated = true
	}
}

// route finds what a topic's messages are asked for.
func (d *Decoder) route(topic string) *route {
	if c, ok := d.routes[topic]; ok {
		return c
	}
	c := &route{tree: newTree(), weather: slices.Contains(aheadTopics(d.farm), topic)}
	if a, ok := aliveOf(d.farm, topic); ok {
		c.alive = &a
	}
	for _, p := range d.farm.Probes {
		if !matches(p.Topic, topic) {
			continue
		}
		to := routed{Probe: p, scale: newScale(p), value: c.tree.ask(p.Value), time: -1}
		if p.Time != "" {
			to.time = c.tree.ask(p.Time)
		}
		c.probes = append(c.probes, to)
	}
	if len(d.routes) < maxRoutes {
		d.routes[strings.Clone(topic)] = c
	}
	return c
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

// Reasons for a rejection. They are few and fixed, because they serve as
// labels of the metrics.
const (
	Unclaimed  = "unclaimed"    // no probe and no command has this topic
	TooLarge   = "too_large"    // over 64 KiB
	Empty      = "empty"        // nothing but white space
	NotJSON    = "not_json"     // a JSON Pointer is to be followed in what is not JSON
	Missing    = "missing"      // the JSON Pointer points at nothing
	NotNumber  = "not_a_number" // something else than a number stands there
	BadCommand = "bad_command"  // a jot, hush or seen that can't be understood
	BadWeather = "bad_weather"  // a weather to come that can't be understood, or is over
)

// Reasons lists every reason of a rejection.
var Reasons = []string{Unclaimed, TooLarge, Empty, NotJSON, Missing, NotNumber, BadCommand, BadWeather}

// ProbeReasons are those that concern a probe.
var ProbeReasons = []string{TooLarge, Empty, NotJSON, Missing, NotNumber}

// A Rejection is a message, or one probe's part of it, that made no reading.
type Rejection struct {
	Probe  string // "" when no probe is concerned
	Reason string // one of Reasons
	Detail string // a sentence for people, with at most a little of the payload
}

// Decoded is what one message became. A message may feed several probes, and
// give a reading for one while it is rejected for another.
type Decoded struct {
	Readings []farm.Reading
	Commands []farm.Event // jots, a hush or a seen, the weather to come, or a device's word of life
	Timed    bool         // the jots or the hush say their own time
	Answer   *Answer      // to jots; else nil
	Rejected []Rejection
}

// Explain says in a few lines what a message would become: which probes it
// feeds, what they would read, and what is wrong with it. It knows no time of
// arrival and no earlier readings, so it judges neither a device's clock nor
// spikes and the like.
func (d *Decoder) Explain(topic string, payload []byte) string {
	var w strings.Builder
	fmt.Fprintf(&w, "%s %s\n", topic, quote(payload))
	if rest, ok := strings.CutPrefix(topic, d.prefix); ok {
		if got, ok := d.command(rest, payload, time.Time{}); ok {
			explainCommand(&w, got)
			return w.String()
		}
	}
	c := d.route(topic)
	if c.weather {
		explainCommand(&w, d.weather(topic, payload, time.Time{}))
		return w.String()
	}
	if c.alive != nil {
		d.explainAlive(&w, *c.alive, payload)
	}
	if len(c.probes) == 0 {
		if c.alive != nil {
			return w.String()
		}
		fmt.Fprintf(&w, "  rejected (%s): no probe has the topic %s\n", Unclaimed, topic)
		return w.String()
	}
	whole := d.read(c, payload)
	for i := range c.probes {
		p := &c.probes[i]
		if raw, wrong := d.number(p, whole); wrong.Reason != "" {
			fmt.Fprintf(&w, "  %s: rejected (%s): %s\n", p.ID, wrong.Reason, wrong.Detail)
		} else {
			fmt.Fprintf(&w, "  %s\n", d.explainNumber(p, raw))
		}
	}
	return w.String()
}

// explainNumber says what a probe would read: "bed-t: 61.7 F is 16.5 °C".
func (d *Decoder) explainNumber(p *routed, raw float64) string {
	value := p.scale.value(raw)
	s := fmt.Sprintf("%s: %s %s is %s", p.ID, spell(raw), p.Unit, d.spellValue(p.Probe, value))
	if doubt := rangeDoubt(&p.Probe, value); doubt != farm.NoDoubt {
		s += ", not believed: " + doubt.String()
	}
	if p.time < 0 {
		return s
	}
	switch at, given, ok := d.found[p.time].stamp(d.farm.Location, time.Time{}); {
	case !given:
		return s + ", without a time of its own"
	case !ok:
		return s + ", with a time that can't be read: " + quote(d.found[p.time].raw)
	default:
		return s + ", taken at " + at.In(cmp.Or(d.farm.Location, time.UTC)).Format(time.RFC3339) + " by its own clock"
	}
}

func (d *Decoder) spellValue(p farm.Probe, v float64) string {
	switch row := p.Row(); {
	case !farm.Finite(v):
		return "no number"
	case p.Measures == farm.Temperature:
		return row.Written(d.farm.Units).String(v)
	default: // the number as it is, however people read it elsewhere
		return strings.TrimSpace(spell(v) + " " + row.Metric.Word) // pH has no word
	}
}

// explainAlive says of which probes the device says that it is there, or gone.
func (d *Decoder) explainAlive(w *strings.Builder, a farm.Alive, payload []byte) {
	var of []string
	for _, p := range d.farm.Probes {
		if p.Alive.Topic == a.Topic {
			of = append(of, p.ID)
		}
	}
	switch e := d.liveness(a, payload, time.Time{}); {
	case len(e) == 0:
		fmt.Fprintf(w, "  says nothing of whether the device of %s is there\n", farm.SayList(of))
	case e[0].Alive.Gone:
		fmt.Fprintf(w, "  the device of %s is gone\n", farm.SayList(of))
	default:
		fmt.Fprintf(w, "  the device of %s is there\n", farm.SayList(of))
	}
}

func explainCommand(w *strings.Builder, got Decoded) {
	if len(got.Rejected) > 0 {
		fmt.Fprintf(w, "  rejected (%s): %s\n", got.Rejected[0].Reason, got.Rejected[0].Detail)
		if got.Answer != nil && got.Answer.Note != "" {
			fmt.Fprintf(w, "  kept as a note: %s\n", got.Answer.Note)
		}
		return
	}
	for _, e := range got.Commands {
		explainEvent(w, e)
	}
}

func explainEvent(w *strings.Builder, e farm.Event) {
	switch e.Kind {
	case farm.EventJot:
		fmt.Fprintf(w, "  a jot: %s\n", strings.TrimSpace(farm.Place{Bin: e.Jot.Bin, Zone: e.Jot.Zone}.String()+" "+e.Jot.Spelled(spell)))
	case farm.EventHush:
		what, at := cmp.Or(strings.TrimSpace(string(e.Hush.Condition)+" "+string(e.Hush.Quantity)), "everything"), farm.Place{Bin: e.Hush.Bin, Zone: e.Hush.Zone}
		fmt.Fprintf(w, "  a hush: quiet about %s at %s for %s\n", what, at, farm.SayLong(e.Hush.Until.Sub(time.Time{})))
	case farm.EventSeen:
		fmt.Fprintf(w, "  seen: the keeper knows of %s\n", e.Seen.Episode)
	case farm.EventWeather:
		hours := e.Weather.Hours
		from, to := hours[0], hours[len(hours)-1]
		fmt.Fprintf(w, "  the weather to come, %d entries from %s to %s, the first %s °C\n", len(hours), from.At.Format(time.RFC3339), to.At.Format(time.RFC3339), spell(from.TempC))
	}
}

func spell(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) }
