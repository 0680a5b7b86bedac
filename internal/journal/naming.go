package journal

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"binwatchd/internal/farm"
)

// A naming holds the periods of a journal against a farm, and makes those that follow.
//
// A farm says of a thing what it was called before. That is done once, when it is first
// said: which of it is said at present is remembered, so that two things that have
// changed names do not change them back at the next start.
type naming struct {
	all   []*period
	known map[string]bool // what is said to have been called what, and was under the farm before
	given map[string]bool // the same under this one
	after int64           // the last row so far
	now   int64           // ms
	old   bool            // rows are older than this table
	last  int64           // subject that was made
	said  []followed
}

// A followed is a history that goes on under another name; Held is why one does not.
type followed struct{ kind, was, is, held string }

// A wearer is a thing of the farm that has a name.
type wearer struct {
	name              string
	was               []string
	seat, topic, calb string
	fresh             []string // of was: what is said for the first time
	subjects          []int64  // whose history it has; the first is what it is from now on
	unwritten         []string // of was: what the table does not know
}

// give gives the names of a farm to what its history belongs to.
func (r *naming) give(f *farm.Farm) {
	r.given = map[string]bool{}
	var bins, probes []*wearer
	for _, b := range f.Bins {
		bins = append(bins, &wearer{name: b.Name, was: b.Was})
	}
	for _, p := range f.Probes {
		w := &wearer{name: p.ID, was: p.Was, seat: f.ZoneOf(p.ID).String(), topic: p.Topic + p.Value}
		for _, c := range p.Calibration {
			w.calb = strings.TrimSpace(w.calb + " " + strconv.FormatFloat(c.Raw, 'f', -1, 64) + ":" + strconv.FormatFloat(c.Value, 'f', -1, 64))
		}
		probes = append(probes, w)
	}
	r.giveTo(aBin, 0, bins)
	live := map[int64]bool{}
	for i, b := range f.Bins {
		var zones []*wearer
		for _, z := range b.Zones {
			zones = append(zones, &wearer{name: z.Name, was: z.Was})
		}
		bin := bins[i].subjects[0]
		live[bin] = true
		r.giveTo(aZone, bin, zones)
	}
	for _, p := range r.all {
		if p.kind == aZone && !live[p.bin] {
			r.end(p)
		}
	}
	r.giveTo(aProbe, 0, probes)
}

// giveTo does it for all of a kind, or for the zones of one bin.
func (r *naming) giveTo(kind string, bin int64, all []*wearer) {
	byName, taken := map[string]*wearer{}, map[int64]*wearer{}
	for _, w := range all {
		byName[w.name] = w
		for _, was := range w.was {
			said := fmt.Sprintf("%s %d %s %s", kind, bin, w.name, was)
			if r.given[said] = true; !r.known[said] {
				w.fresh = append(w.fresh, was)
			}
		}
	}
	n := indexed(r.all)
	for _, w := range all {
		for _, was := range w.fresh {
			r.claim(n, nameKey{kind, bin, was}, w, byName, taken)
		}
	}
	for _, w := range all {
		keep(n, nameKey{kind, bin, w.name}, w, byName, taken)
	}
	for _, w := range all {
		if len(w.subjects) == 0 {
			w.subjects = []int64{r.newSubject()}
		}
		for _, was := range w.unwritten {
			r.add(&period{kind: kind, bin: bin, subject: w.subjects[0], name: was, until: r.now})
		}
	}
	live := map[int64]bool{}
	for _, w := range all {
		r.join(kind, w.subjects)
		r.wear(kind, bin, w)
		live[w.subjects[0]] = true
	}
	for _, p := range r.all {
		if p.kind == kind && p.bin == bin && !live[p.subject] {
			r.end(p)
		}
	}
}

// claim gives a thing the history of what had a name, unless that goes on to be called
// so, or as something else.
func (r *naming) claim(n *register, k nameKey, w *wearer, byName map[string]*wearer, taken map[int64]*wearer) {
	s := n.holder(k, inForce)
	if s == 0 {
		k, s = folded(n, k)
	}
	if s == 0 {
		w.unwritten = append(w.unwritten, k.name)
		return
	}
	is := n.newest[s]
	stays := byName[is.name]
	switch {
	case is.name == w.name: // it has that history, or had
		return
	case taken[s] != nil:
		r.say(k, w, "its history is "+taken[s].name+"'s")
		return
	case is.open() && stays != nil && len(stays.fresh) == 0:
		r.say(k, w, "its history goes on as "+is.name+"'s")
		return
	}
	taken[s] = w
	w.subjects = append(w.subjects, s)
	r.say(k, w, "")
}

// folded finds the one name that differs in nothing but its letters' case.
func folded(n *register, k nameKey) (nameKey, int64) {
	var fits []nameKey
	for o := range n.by {
		if o.kind == k.kind && o.bin == k.bin && strings.EqualFold(o.name, k.name) {
			fits = append(fits, o)
		}
	}
	if len(fits) != 1 {
		return k, 0
	}
	return fits[0], n.holder(fits[0], inForce)
}

func (r *naming) say(k nameKey, w *wearer, held string) {
	r.said = append(r.said, followed{k.kind, k.name, w.name, held})
}

// keep leaves a thing the history that its own name has, if it is still its own.
func keep(n *register, k nameKey, w *wearer, byName map[string]*wearer, taken map[int64]*wearer) {
	s := n.holder(k, inForce)
	if s == 0 || taken[s] != nil {
		return
	}
	is := n.newest[s]
	if is.name != w.name && byName[is.name] != nil {
		return // it goes on under that one
	}
	// Two that were both there until now are two things; what is gone and what is
	// there may be one, which was not told of.
	both := slices.ContainsFunc(w.subjects, func(o int64) bool { return n.newest[o].open() })
	bore := slices.ContainsFunc(w.was, func(was string) bool {
		return slices.ContainsFunc(n.by[nameKey{k.kind, k.bin, was}], func(p *period) bool { return p.subject == s })
	})
	if len(w.subjects) == 0 || is.open() && !both || bore {
		taken[s] = w
		w.subjects = append(w.subjects, s)
	}
}

// join makes several histories one.
func (r *naming) join(kind string, subjects []int64) {
	for _, s := range subjects[1:] {
		for _, p := range r.all {
			switch {
			case kind == aBin && p.kind == aZone && p.bin == s:
				for _, o := range r.all {
					if o.kind == aZone && o.bin == subjects[0] && o.name == p.name {
						r.join(aZone, []int64{o.subject, p.subject})
						break
					}
				}
				p.bin, p.changed = subjects[0], true
			case p.kind == kind && p.subject == s:
				r.end(p)
				p.subject, p.changed = subjects[0], true
			}
		}
	}
}

// wear begins a period where anything is otherwise than in the one in force.
func (r *naming) wear(kind string, bin int64, w *wearer) {
	p := &period{kind: kind, bin: bin, subject: w.subjects[0], name: w.name, after: r.after, since: r.now, seat: w.seat, topic: w.topic, calb: w.calb}
	known := false
	for _, o := range r.all {
		known = known || o.key() == p.key()
		if o.kind != kind || o.subject != p.subject || !o.open() {
			continue
		}
		if o.name == p.name && o.seat == p.seat && o.topic == p.topic && o.calb == p.calb {
			return
		}
		r.end(o)
	}
	if !known { // whatever rows have that name are of it
		p.after = 0
		if r.old {
			p.since = 0
		}
	}
	r.add(p)
}

func (r *naming) end(p *period) {
	if p.open() {
		p.until, p.changed = r.now, true
	}
}

func (r *naming) add(p *period) {
	p.id, p.changed = 1, true
	if n := len(r.all); n > 0 {
		p.id = r.all[n-1].id + 1
	}
	r.all = append(r.all, p)
}

func (r *naming) newSubject() int64 {
	for _, p := range r.all {
		r.last = max(r.last, p.subject)
	}
	r.last++
	return r.last
}
