package journal

import (
	"context"
	"database/sql"
	"fmt"
	"math"
	"slices"
	"sync"

	"binwatchd/internal/farm"
)

// Rows keep the names of their time. A period is a stretch of the journal in which a
// bin, a zone or a probe, known by a number that stays, had a name. Whoever reads is
// given the names of now: history belongs to the thing, not to what it is called.

// The kinds of what has a name.
const (
	aBin   = "bin"
	aZone  = "zone"
	aProbe = "probe"
)

// A period is one row of the table of that name.
type period struct {
	id, subject, bin  int64 // bin: the subject that a zone is part of
	kind, name        string
	after             int64 // the name means the subject in rows after it, until another period takes it
	since, until      int64 // ms; see [farm.Called]
	seat, topic, calb string
	changed           bool // not in the file like this
}

func (p *period) open() bool { return p.until == 0 }

// inForce is a sequence number after all others.
const inForce = math.MaxInt64

// A register is the periods of a journal, to be looked up.
type register struct {
	by     map[nameKey][]*period
	newest map[int64]*period // by subject: the one in force, else the last
	plain  bool              // nothing has ever had two names
}

type nameKey struct {
	kind string
	bin  int64
	name string
}

func (p *period) key() nameKey { return nameKey{p.kind, p.bin, p.name} }

// indexed makes all of periods, oldest first.
func indexed(all []*period) *register {
	n := &register{by: map[nameKey][]*period{}, newest: map[int64]*period{}, plain: true}
	for _, p := range all {
		old, with := n.newest[p.subject], n.by[p.key()]
		n.plain = n.plain && (old == nil || old.name == p.name) && (len(with) == 0 || with[0].subject == p.subject)
		n.by[p.key()] = append(with, p)
		if old == nil || !old.open() || p.open() {
			n.newest[p.subject] = p
		}
	}
	return n
}

// holder is the subject that a name meant in the row with a sequence number; 0 for none.
func (n *register) holder(k nameKey, seq int64) int64 {
	for _, p := range slices.Backward(n.by[k]) {
		if p.after < seq {
			return p.subject
		}
	}
	return 0
}

// called is the name of now of a subject, or of what none is known of, a name that it had.
// One whose name has passed to another is told apart in a way that no name can have.
func (n *register) called(subject int64, name string) string {
	p := n.newest[subject]
	switch {
	case p == nil:
		return name
	case n.holder(p.key(), inForce) != subject:
		return fmt.Sprintf("%s (until %s)", p.name, instant(p.until).Format("2006-01-02"))
	}
	return p.name
}

// place gives the names of now of what a row calls a bin and its zone.
func (n *register) place(at farm.Place, seq int64) farm.Place {
	if n.plain || at.Bin == "" {
		return at
	}
	bin := n.holder(nameKey{kind: aBin, name: at.Bin}, seq)
	out := farm.Place{Bin: n.called(bin, at.Bin), Zone: at.Zone}
	if at.Zone != "" && bin != 0 {
		out.Zone = n.called(n.holder(nameKey{aZone, bin, at.Zone}, seq), at.Zone)
	}
	return out
}

func (n *register) bin(name string, seq int64) string {
	return n.place(farm.Place{Bin: name}, seq).Bin
}

func (n *register) probe(id string, seq int64) string {
	if n.plain || id == "" {
		return id
	}
	return n.called(n.holder(nameKey{kind: aProbe, name: id}, seq), id)
}

// event puts the names of now into what the journal says happened.
func (n *register) event(e *farm.Event) {
	if n.plain {
		return
	}
	put := func(bin, zone *string) {
		at := n.place(farm.Place{Bin: *bin, Zone: *zone}, e.Seq)
		*bin, *zone = at.Bin, at.Zone
	}
	put(&e.Hush.Bin, &e.Hush.Zone)
	put(&e.Stock.Bin, &e.Stock.Zone)
	n.jot(&e.Jot, e.Seq)
	n.jot(&e.Strike.Jot, e.Strike.Line)
}

func (n *register) jot(j *farm.Jot, seq int64) {
	at := n.place(farm.Place{Bin: j.Bin, Zone: j.Zone}, seq)
	j.Bin, j.Zone, j.To = at.Bin, at.Zone, n.bin(j.To, seq)
}

// change does it in what followed.
func (n *register) change(c *Change) {
	at := n.place(farm.Place{Bin: c.Bin, Zone: c.Zone}, c.Seq)
	c.Bin, c.Zone, c.Probe = at.Bin, at.Zone, n.probe(c.Probe, c.Seq)
	if c.Advice != nil {
		c.Advice.SiftTo = n.bin(c.Advice.SiftTo, c.Seq)
	}
}

// series does it in a series.
func (n *register) series(s series) series {
	seq := s.after + 1
	s.probe = n.probe(s.probe, seq)
	s.places = slices.Clone(s.places)
	for i, p := range s.places {
		at := n.place(farm.Place{Bin: p[0], Zone: p[1]}, seq)
		if s.places[i] = (place{at.Bin, at.Zone}); at.Zone != "" && s.seat == (farm.Place{}) {
			s.seat = at
		}
	}
	return s
}

// where is a condition, in SQL, on the column bin and the sequence numbers of rows that
// mean what is called so now.
func (n *register) where(seq, bin string) (cond string, args []any) {
	key := nameKey{kind: aBin, name: bin}
	subject := n.holder(key, inForce)
	switch {
	case n.plain || subject == 0:
		return `bin = ?`, []any{bin}
	case n.called(subject, bin) != bin: // nothing is called so now
		return `0`, nil
	}
	for k, with := range n.by {
		for i, p := range with {
			if k.kind != aBin || p.subject != subject {
				continue
			}
			upto := int64(inForce)
			if i+1 < len(with) {
				upto = with[i+1].after
			}
			if cond != "" {
				cond += ` OR `
			}
			cond += `bin = ? AND ` + seq + ` > ? AND ` + seq + ` <= ?`
			args = append(args, p.name, p.after, upto)
		}
	}
	return `(` + cond + `)`, args
}

// since gives what is called otherwise now than in the row with a sequence number.
func (n *register) since(seq int64) farm.Renames {
	r := farm.Renames{Bins: map[string]string{}, Zones: map[farm.Place]string{}, Probes: map[string]string{}}
	if n.plain {
		return r
	}
	for k := range n.by {
		switch k.kind {
		case aBin:
			r.Bins[k.name] = n.bin(k.name, seq)
		case aProbe:
			r.Probes[k.name] = n.probe(k.name, seq)
		}
	}
	for k := range n.by {
		for bin := range r.Bins {
			if k.kind == aZone && n.holder(nameKey{kind: aBin, name: bin}, seq) == k.bin {
				at := farm.Place{Bin: bin, Zone: k.name}
				r.Zones[at] = n.place(at, seq).Zone
			}
		}
	}
	return r
}

// nameTable remembers the names as they were at some number of changes of the table.
type nameTable struct {
	mu      sync.Mutex
	version int64
	farm    *farm.Farm // under which they were read
	names   *register
}

// forget is for a new file.
func (c *nameTable) forget() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.names = nil
}

// timesNamed asks how often the table has changed.
const timesNamed = `SELECT value FROM meta WHERE name = 'named'`

// names gives those of the file, and in a journal that is only read those that will be
// once a daemon has the farm that reading goes by.
func (j *Journal) names(t *tx) *register {
	version, f := t.number(timesNamed), j.farm.Load()
	j.called.mu.Lock()
	defer j.called.mu.Unlock()
	if n := &j.called; n.names != nil && n.version == version && n.farm == f {
		return n.names
	}
	all := j.periods(t)
	if j.lock == nil && f != nil {
		r := j.naming(t, all)
		r.give(f)
		all = r.all
	}
	n := indexed(all)
	if t.err == nil {
		j.called.version, j.called.farm, j.called.names = version, f, n
	}
	return n
}

// naming begins to hold the names of the file against those of a farm.
func (j *Journal) naming(t *tx, all []*period) *naming {
	head := t.head
	if !head.known {
		head = readHead(t)
	}
	r := &naming{all: all, after: head.next - 1, now: max(j.cfg.Now().UnixMilli(), 1), old: head.next > 1 && len(all) == 0}
	var text []byte
	if t.get(into(&text), `SELECT value FROM meta WHERE name = 'was'`) {
		t.fail(fromJSON(text, &r.known, "names given", 0))
	}
	return r
}

// nameFarm writes down what things are called in a farm.
func (j *Journal) nameFarm(t *tx, f *farm.Farm) *naming {
	r := j.naming(t, j.periods(t))
	known := asJSON(t, r.known)
	r.give(f)
	n := 0
	for _, p := range r.all {
		if p.changed {
			n++
			t.exec(`INSERT OR REPLACE INTO period (id, kind, subject, bin, name, after_seq, since, until, seat, topic, calibration)
				VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`, p.id, p.kind, p.subject, p.bin, p.name, p.after, p.since, p.until, p.seat, p.topic, p.calb)
		}
	}
	if given := asJSON(t, r.given); given != known {
		t.setMeta("was", given)
	}
	if n > 0 {
		t.setMeta("named", t.number(timesNamed)+1)
	}
	return r
}

func (j *Journal) periods(t *tx) []*period {
	if j.nameless {
		return nil
	}
	return collect(t, func(p **period, rows *sql.Rows) error {
		x := new(period)
		*p = x
		return rows.Scan(&x.id, &x.kind, &x.subject, &x.bin, &x.name, &x.after, &x.since, &x.until, &x.seat, &x.topic, &x.calb)
	}, `SELECT id, kind, subject, bin, name, after_seq, since, until, seat, topic, calibration FROM period ORDER BY id`)
}

// Renames gives what is called otherwise now than after the event of a sequence number.
func (j *Journal) Renames(ctx context.Context, seq int64) (farm.Renames, error) {
	return viewed(ctx, j, "read names", func(t *tx) farm.Renames { return j.names(t).since(seq) })
}

// BinCalled gives the name of now of the bin that was last called so; "" when none was.
func (j *Journal) BinCalled(ctx context.Context, name string) (string, error) {
	return viewed(ctx, j, "read names", func(t *tx) string {
		n := j.names(t)
		if s := n.holder(nameKey{kind: aBin, name: name}, inForce); s != 0 {
			return n.called(s, name)
		}
		return ""
	})
}

// Called gives every name that bins, zones and probes have had, oldest first.
func (j *Journal) Called(ctx context.Context) ([]farm.Called, error) {
	return viewed(ctx, j, "read names", func(t *tx) (out []farm.Called) {
		n := j.names(t)
		for _, p := range j.periods(t) {
			c := farm.Called{Kind: p.kind, ID: p.subject, Name: p.name, Seat: p.seat, Topic: p.topic, Calibration: p.calb}
			if p.kind == aZone {
				c.Name = farm.Place{Bin: n.called(p.bin, ""), Zone: p.name}.String()
			}
			if p.since != 0 {
				c.Since = instant(p.since)
			}
			if p.until != 0 {
				c.Until = instant(p.until)
			}
			out = append(out, c)
		}
		return out
	})
}
