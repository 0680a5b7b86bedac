package watch

import (
	"maps"
	"slices"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/ingest"
)

// delivery takes one message in. It is acknowledged with its batch, also when
// it holds nothing of use: a message that is never acknowledged comes for ever.
func (l *Loop) delivery(d *ingest.Delivery) {
	l.batch.unacked = append(l.batch.unacked, d)
	// A broker that leaves few messages unacknowledged hands its backlog over in
	// as many steps, each as long as a commit waits.
	l.batch.hurry = l.batch.hurry || d.Hurry || l.memory.Arrivals.Waiting()
	if d.Caught || l.memory.Arrivals.Through(l.now()) {
		l.backlogDone()
	}
	if d.Own {
		return
	}
	if l.repeats.is(d) {
		l.counts.messages[messageRepeated]++
	} else {
		l.decode(d)
	}
	d.Payload = nil // it may be large, and hundreds wait for the commit
}

// misread are the reasons of a rejection that are told in the log: somebody has to
// change something before it gets better.
var misread = []string{ingest.NotJSON, ingest.NotNumber, ingest.BadWeather}

// mostMisread bounds how many topics are remembered: a wildcard matches any number.
const mostMisread = 1000

func (l *Loop) decode(d *ingest.Delivery) {
	got := l.decoder.Decode(d.Topic, d.Payload, l.now())
	for _, r := range got.Rejected {
		if r.Probe != "" {
			bump(l.counts.rejected, r.Probe, string(r.Reason))
		}
		if slices.Contains(misread, r.Reason) && !l.misread[d.Topic] && len(l.misread) < mostMisread {
			l.misread[d.Topic] = true
			l.cfg.Log.Warn("a message is not understood; this is logged once a topic", "topic", d.Topic, "probe", r.Probe, "detail", r.Detail)
		}
		l.cfg.Log.Debug("message rejected", "topic", d.Topic, "probe", r.Probe, "reason", r.Reason, "detail", r.Detail)
	}
	if len(got.Rejected) == 0 {
		l.counts.messages[messageTaken]++
	} else { // once, however many probes it was meant for
		l.counts.messages[got.Rejected[0].Reason]++
	}
	for i := range got.Readings {
		l.reading(d, got.Readings[i])
	}
	for _, e := range got.Commands {
		if d.User != "" {
			e.Sign(d.User)
		}
		l.command(d, e, l.unsure(d, got))
	}
	if a := got.Answer; a != nil && !d.Retained {
		if a.Refused != "" {
			l.cfg.Log.Warn("jot refused", "topic", d.Topic, "said", a.Said, "reason", a.Refused, "kept_as_note", a.Note != "")
		}
		l.batch.answers, l.batch.urgent = append(l.batch.answers, a), true
	}
}

// command lets one thing happen that a message asks for.
func (l *Loop) command(d *ingest.Delivery, e farm.Event, unsure bool) {
	if d.Retained && e.Kind != farm.EventWeather && e.Kind != farm.EventAlive { // an old wish is no wish; weather says of what hours it is, and a device is there until it is said to be gone
		return
	}
	e.Arrived = l.now()
	if e.Kind == farm.EventWeather {
		delete(l.misread, d.Topic)
		if l.sameWeather(d) {
			return
		}
	}
	if e.Kind == farm.EventAlive {
		if l.words[d.Topic] == e.Alive.Says {
			return
		}
		l.words[d.Topic] = e.Alive.Says
	}
	switch {
	case e.Kind == farm.EventJot:
		e.Jot.Uncertain = unsure
	case e.Kind == farm.EventHush && unsure:
		l.hushFromThen(&e.Hush)
	}
	l.take(e, d)
}

// A weatherMessage is the weather to come as it was sent.
type weatherMessage struct {
	payload string
	at      time.Time // when it came
}

// weatherHolds is how long the same words say nothing new. A choice, and well
// within the time after which a weather to come is too old to go by.
const weatherHolds = 6 * time.Hour

// sameWeather tells whether a message says what the one before it on its topic
// said lately: some sources send every minute what changes every few hours, and
// all that is taken goes to the disk.
func (l *Loop) sameWeather(d *ingest.Delivery) bool {
	last := l.weather[d.Topic]
	if last.payload == string(d.Payload) && l.now().Sub(last.at) < weatherHolds {
		return true
	}
	l.weather[d.Topic] = weatherMessage{string(d.Payload), l.now()}
	return false
}

// reading has one reading doubted and judged. What the broker had stored is
// old news: it is shown where nothing else is known, and never kept twice.
func (l *Loop) reading(d *ingest.Delivery, r farm.Reading) {
	r.Retained = d.Retained
	if r.Retained && l.memory.State.Knows(r.Probe) {
		return
	}
	if l.memory.stamps.know(r) {
		bump(l.counts.readings, r.Probe, farm.OutcomeRepeated)
		return
	}
	l.separate(&r)
	l.memory.Arrivals.Mark(&r, l.now(), l.held(d))
	l.memory.Doubter.Judge(&r)
	if !r.Retained {
		bump(l.counts.readings, r.Probe, outcome(r, l.memory.State.Late(r)))
		if r.Stamped && l.TimesFinal() {
			l.counts.delays.Add(l.now().Sub(r.At) - l.held(d))
		}
	}
	l.take(farm.Event{Kind: farm.EventReading, Arrived: l.now(), Reading: r}, d)
	l.logPace(r.Probe)
}

// logPace says once that a probe speaks at another pace than the keeper has said.
func (l *Loop) logPace(probe string) {
	if l.paced[probe] {
		return
	}
	own, every := l.memory.Arrivals.Pace(probe)
	if own != 0 && (own > 2*every || 2*own < every) {
		l.paced[probe] = true
		l.cfg.Log.Info("probe speaks at another pace than its every says; it is judged all the same", "probe", probe, "speaks_every", own.Round(time.Second), "every", every)
	}
}

// unsure tells whether a jot or hush says no time of its own and has waited.
func (l *Loop) unsure(d *ingest.Delivery, got ingest.Decoded) bool {
	return !got.Timed && l.memory.Arrivals.Unsure(l.now(), l.held(d))
}

// hushFromThen counts a hush that has waited from the earliest time at which it can
// have been said: nobody wants yesterday's two hours of quiet to begin now, and to
// be told once too often does less harm.
func (l *Loop) hushFromThen(h *farm.Hush) {
	long := h.Until.Sub(l.now())
	if h.Until = l.memory.Arrivals.Earliest().Add(long); !h.Until.After(l.now()) {
		h.Until = l.now() // over: it ends one like it that is still on
		l.cfg.Log.Warn("a hush waited until it was over; give it a time of its own (at) where it may wait", "bin", h.Bin, "zone", h.Zone, "for", long)
	}
}

// held is how long a message has waited since it came: while the journal can't
// be written, nothing is taken in.
func (l *Loop) held(d *ingest.Delivery) time.Duration {
	if d.Arrived.IsZero() {
		return 0
	}
	return l.cfg.Now().Sub(d.Arrived)
}

// separate keeps readings without a time stamp of one probe a millisecond apart:
// a database takes two of one time for the same.
func (l *Loop) separate(r *farm.Reading) {
	if r.Stamped {
		return
	}
	if last := l.newest[r.Probe]; !r.At.After(last) && last.Sub(r.At) < time.Second {
		r.At = last.Add(time.Millisecond)
	}
	l.newest[r.Probe] = r.At
}

// stampsKept is how many of a probe's newest stamped readings are known again:
// more than a device keeps to send once more.
const stampsKept = 64

// A stamp is a reading as its device sent it.
type stamp struct {
	ms  int64
	raw float64
}

// stamps know a device's own re-sending: the same number with the same time
// stamp is the same reading.
type stamps map[string][]stamp

// know notes a stamped reading and tells whether it was known.
func (s stamps) know(r farm.Reading) (repeated bool) {
	if !r.Stamped {
		return false
	}
	now, kept := stamp{r.At.UnixMilli(), r.Raw}, s[r.Probe]
	if slices.Contains(kept, now) {
		return true
	}
	s[r.Probe] = append(slices.Delete(kept, 0, max(0, len(kept)+1-stampsKept)), now)
	return false
}

// repeatsKept is how many packets are remembered: more than a source has room
// for, all of which may be committed when their connection is gone already, and
// far fewer than the 65,535 after which ids come round again. It is not left to
// the broker's window: mosquitto 2.0.11 sends all it has, whatever that is set
// to, once the first message is acknowledged.
const repeatsKept = 8192

// repeats knows again what is sent once more: marked DUP, by the same sender in
// the same session, with a packet id and content that are in the journal already.
// That happens when the daemon dies between a commit and its acknowledgements.
type repeats struct {
	session int64
	known   map[packetID]packet
	order   []packetID // ring of what became known, the nth at n modulo its length
	count   int64      // that ever became known
}

// A packetID is the number of a packet and who gave it, in one session of theirs.
type packetID struct {
	sender uint32
	id     uint16
}

// A packet is what was last known to come under an id. A broker that was killed
// may begin again with ids it had used before.
type packet struct {
	hash uint32
	nth  int64
}

func newRepeats(session int64) repeats {
	return repeats{session: session, known: map[packetID]packet{}}
}

// know notes a packet that has been committed.
func (r *repeats) know(id packetID, hash uint32) {
	if len(r.order) < repeatsKept {
		r.order = append(r.order, id)
	} else {
		oldest := &r.order[r.count%repeatsKept]
		if r.known[*oldest].nth == r.count-repeatsKept { // else it is known anew since
			delete(r.known, *oldest)
		}
		*oldest = id
	}
	r.known[id] = packet{hash, r.count}
	r.count++
}

// is tells whether a delivery is in the journal already. A message that is not
// marked takes its id over from the one before.
func (r *repeats) is(d *ingest.Delivery) bool {
	if d.QoS == 0 {
		return false
	}
	id := packetID{d.Sender, d.ID}
	if !d.Dup {
		delete(r.known, id)
		return false
	}
	p, ok := r.known[id]
	return ok && p.hash == hashOf(d)
}

// forget begins a new session of a sender: its packet ids mean other messages. It tells
// whether anything was heard in the one before.
func (r *repeats) forget(sender uint32) (heard bool) {
	r.session++
	n := len(r.known)
	maps.DeleteFunc(r.known, func(id packetID, _ packet) bool { return id.sender == sender })
	return len(r.known) < n
}

// Outcomes of a message, for the metrics. A rejected one counts under its
// reason.
const (
	messageTaken    = "taken"
	messageRepeated = "repeated"
)

// MessageOutcomes are all that can become of a message here.
var MessageOutcomes = append([]string{messageTaken, messageRepeated}, ingest.Reasons...)

// counts are what the loop has seen since it began. They are not on disk.
type counts struct {
	messages map[string]int64
	rejected map[string]map[string]int64 // probe → reason
	readings map[string]map[string]int64 // probe → outcome
	delays   farm.Delays                 // of stamped readings
	up       bool
	since    time.Time // when up became what it is; zero: that is not known yet
}

func newCounts() counts {
	return counts{messages: map[string]int64{}, rejected: map[string]map[string]int64{}, readings: map[string]map[string]int64{}}
}

// outcome is what became of a reading; late ones are kept, not judged.
func outcome(r farm.Reading, late bool) string {
	switch {
	case late:
		return farm.OutcomeLate
	case !r.Believed():
		return farm.OutcomeDoubted
	case r.Uncertain:
		return farm.OutcomeUncertain
	}
	return farm.OutcomeBelieved
}

func bump(m map[string]map[string]int64, a, b string) {
	if m[a] == nil {
		m[a] = map[string]int64{}
	}
	m[a][b]++
}
