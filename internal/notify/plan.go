package notify

import (
	"cmp"
	"slices"
	"time"

	"binwatchd/internal/cause"
	"binwatchd/internal/farm"
)

// A situation is all that is known when it is decided what one teller gets now.
type situation struct {
	teller Teller
	farm   *farm.Farm
	now    time.Time
	owed   []farm.Owed            // everything unsettled, oldest first
	told   map[string][]farm.Owed // by episode: what was told before, oldest first
	view   farm.View              // how the farm stands
	known  bool                   // the view is there
	sent   []sent                 // the bundles of the last hour, oldest first
	cap    int
	gather time.Duration
	loc    *time.Location
}

// A plan is what to do with what is owed.
type plan struct {
	needless []int64   // rows that nobody needs to hear of
	along    []int64   // rows of which an earlier letter has spoken already
	bundles  []bundle  // to send now, in this order
	next     time.Time // when something that is held may go; zero: nothing is held
}

// A bundle is what one teller gets in one go: a mail, a push or a post to a
// webhook.
type bundle struct {
	id    string // of the first item's notice: stable over every attempt
	items []item // the most urgent first; what came and went last
	again bool   // an earlier attempt had no answer: it may have arrived

	known map[string]bool // episodes of which the teller was told before, by id
}

// An item is one episode as one bundle tells it.
type item struct {
	say    saying
	last   farm.Owed   // the change that is told
	before []farm.Owed // earlier changes of the episode, never told, that go with it
	told   []farm.Owed // what the teller was told of the episode before this bundle
	then   farm.Change // the change as it was decided, where last speaks of how it stands since
	news   broughtUp   // what it brings up
	shared bool        // others may share the cause
}

// saying is what an item has to say.
type saying uint8

const (
	stands   saying = iota // raised or worse, and still so
	lighter                // still so, and less urgent
	over                   // what was told is over
	cameWent               // began and was over before it could be told
	still                  // a reminder
)

func newBundle(items []item) bundle { return bundle{id: items[0].last.Notice, items: items} }

// canWait tells whether a bundle waits while the outbox cannot note what was told,
// for a restart would tell it again. What is at now is better told twice than late,
// and what is in memory alone is gone with a restart anyway.
func (b bundle) canWait() bool {
	return !slices.ContainsFunc(b.items, func(it item) bool { return it.pressing() || inMemory(it.last.ID) })
}

// ids are the rows of the outbox that a bundle settles as told, and as told
// along with it.
func (b bundle) ids() (told, summed []int64) {
	for _, it := range b.items {
		summed = append(summed, idsOf(it.before)...)
		if it.say == cameWent {
			summed = append(summed, it.last.ID)
		} else {
			told = append(told, it.last.ID)
		}
	}
	return told, summed
}

// tries is how often one of the bundle's notices has been refused already.
func (b bundle) tries() int {
	n := 0
	for _, it := range b.items {
		n = max(n, it.last.Tries)
	}
	return n
}

// pressing tells whether the item is at now, so that nothing holds it back: a
// hush was set for what was known then.
func (it item) pressing() bool { return it.say == stands && it.last.Change.Urgency == farm.Now }

// atNow tells whether the item is to be seen to now, be it news or not.
func (it item) atNow() bool { return it.pressing() || it.say == still }

// weight orders the items of a bundle.
func (it item) weight() int {
	switch it.say {
	case over:
		return 1
	case cameWent:
		return 0
	}
	return 2 + int(it.last.Change.Urgency)
}

// decide makes the plan. It is pure: the same situation gives the same plan.
func decide(s situation) plan {
	var p plan
	loose, handed := divided(s.owed, func(o farm.Owed) bool { return o.Bundle == "" })
	for _, rows := range grouped(handed, func(o farm.Owed) string { return o.Bundle }) {
		// It is made once more by its rows alone, not by how the farm stands by now,
		// so it is the same bundle.
		asHanded := s
		asHanded.view, asHanded.known = farm.View{}, false
		if items := asHanded.items(&p, rows); len(items) > 0 {
			p.bundles = append(p.bundles, bundle{id: rows[0].Bundle, items: items, again: true, known: s.knows()})
		}
	}
	if len(p.bundles) > 0 {
		return p // what follows depends on whether these arrive
	}
	var free []item
	free, p.next = s.release(s.notNamed(&p, s.items(&p, loose)))
	p.bundles = s.packed(free)
	return p
}

// knows tells of which episodes that are loaded the teller was told, and of no end.
func (s situation) knows() map[string]bool {
	known := map[string]bool{}
	for episode, told := range s.told {
		if open, _ := heard(told); open {
			known[episode] = true
		}
	}
	return known
}

// notNamed leaves out the probes of which an earlier letter has spoken, before they were called
// silent themselves: it told of the gateway that they hang on.
func (s situation) notNamed(p *plan, items []item) []item {
	if s.teller.Kind == ByWebhook || !s.known {
		return items
	}
	var silent []farm.Standing
	for _, st := range s.view.Standing {
		if st.Condition == farm.Silent {
			silent = append(silent, st)
		}
	}
	causes := cause.Find(s.farm, &s.view, silent)
	return slices.DeleteFunc(items, func(it item) bool {
		c := it.last.Change
		named := it.say == stands && len(it.told) == 0 && slices.ContainsFunc(causes, func(of cause.Cause) bool {
			at := s.lastLetter(of)
			return of.Has(c.Episode) && !at.IsZero() && of.Named(c.Probe, at)
		})
		if named {
			p.along = append(p.along, idsOf(append(slices.Clone(it.before), it.last))...)
		}
		return named
	})
}

// lastLetter is of when the last letter about a cause was; zero: there was none of late.
func (s situation) lastLetter(of cause.Cause) (at time.Time) {
	for _, st := range of.Facts {
		for _, o := range s.told[st.Episode] {
			if i := slices.IndexFunc(s.sent, func(b sent) bool { return b.at.Equal(o.Next) }); i >= 0 {
				at = latest(at, s.sent[i].written)
			}
		}
	}
	return at
}

// grouped puts rows of one key together, in the order of their first.
func grouped(rows []farm.Owed, key func(farm.Owed) string) [][]farm.Owed {
	var out [][]farm.Owed
	place := map[string]int{}
	for _, o := range rows {
		i, ok := place[key(o)]
		if !ok {
			i = len(out)
			place[key(o)] = i
			out = append(out, nil)
		}
		out[i] = append(out[i], o)
	}
	return out
}

// items puts the rows of each episode together and sees what is left to say
// about it; rows that are left with nothing to say are needless.
func (s situation) items(p *plan, rows []farm.Owed) []item {
	var out []item
	for _, rows := range grouped(rows, func(o farm.Owed) string { return o.Change.Episode }) {
		it, ok, needless := s.episode(rows, s.told[rows[0].Change.Episode])
		p.needless = append(p.needless, idsOf(needless)...)
		if ok {
			it.news.matter, it.shared = s.matter(it.last.Change)
			it.news.pressing = it.pressing()
			out = append(out, it)
		}
	}
	slices.SortStableFunc(out, func(a, b item) int { return cmp.Compare(b.weight(), a.weight()) })
	return out
}

// episode sees what is left to say about one episode.
func (s situation) episode(rows, told []farm.Owed) (it item, ok bool, needless []farm.Owed) {
	reminders, changes := divided(rows, func(o farm.Owed) bool { return o.Reminder })
	if len(changes) == 0 {
		return s.reminder(reminders, told)
	}
	last := changes[len(changes)-1]
	it = item{last: last, before: changes[:len(changes)-1], told: told}
	open, worst := heard(told)
	eased, lightened := last.Change.Change == farm.Eased, last.Change.Change == farm.Lightened
	worth := slices.ContainsFunc(changes, func(o farm.Owed) bool {
		usual := eased && o.Change.RoundsUntil != nil // it came on its usual day and was seen to
		return news(o.Change) && !usual && (o.Change.Urgency == farm.Now || o.Change.Urgency > worst)
	})
	untold := eased && worth && !s.hushedNow(last.Change)
	switch {
	case s.teller.toldOtherwise(last.Change), s.teller.After > 0 && !open && s.seenTo(last.Change):
		return it, false, rows
	case eased && open,
		untold && last.Change.Ended != "": // it may be going on: only the looking is over
		it.say = over
	case untold:
		it.say = cameWent
	case lightened && (worth || open && s.teller.Kind == ByWebhook):
		// Where it is no news a program keeps count of urgencies all the same. A person has enough to
		// read: there is less to do than they know of, the reminders end, the next letter about the cause
		// says how it stands, and its end is told, or that it is at now again.
		it.say = lighter
	case eased || !worth:
		return it, false, rows
	}
	return it, true, reminders // what is new says it better
}

// seenTo tells whether nobody else needs to hear: it is over, no longer at now, or somebody knows
// of it. Who has taken it on may still give it back.
func (s situation) seenTo(c farm.Change) bool {
	st, raised := standing(&s.view, c.Episode)
	return !news(c) || c.Urgency != farm.Now || raised && (st.Seen && st.Taken == nil || st.Urgency != farm.Now)
}

// heard tells from what a teller was told of an episode whether it believes
// the condition to be raised, and the worst urgency it was told.
func heard(told []farm.Owed) (open bool, worst farm.Urgency) {
	for _, o := range told {
		if open = o.Change.Change != farm.Eased; open {
			worst = max(worst, o.Change.Urgency)
		}
	}
	return open, worst
}

// reminder keeps the newest of an episode's reminders while there is still
// reason to remind.
func (s situation) reminder(rows, told []farm.Owed) (it item, ok bool, needless []farm.Owed) {
	last := rows[len(rows)-1]
	open, _ := heard(told)
	st, raised := standing(&s.view, last.Change.Episode)
	if !open || s.known && !(raised && (nagging(st, s.now) || st.Back(s.now))) {
		return it, false, rows
	}
	if raised {
		last.Change = asOfNow(last.Change, st)
	}
	return item{say: still, last: last, told: told}, true, rows[:len(rows)-1]
}

// nagging tells whether a standing condition is one to remind of. Water and
// bedding that were given need time to show, and more of them would do harm.
func nagging(st farm.Standing, now time.Time) bool {
	given := st.Condition == farm.TooDry || st.Condition == farm.TooWet
	waits := given && st.Advice != nil && st.Advice.Wait != nil && st.Advice.Wait.After(now)
	return st.Urgency == farm.Now && !st.Seen && st.Hushed == nil && !waits
}

// standing finds a raised condition.
func standing(v *farm.View, episode string) (farm.Standing, bool) {
	i := slices.IndexFunc(v.Standing, func(st farm.Standing) bool { return st.Episode == episode })
	if i < 0 {
		return farm.Standing{}, false
	}
	return v.Standing[i], true
}

// asOfNow gives a change the words and figures of how its condition stands.
func asOfNow(c farm.Change, st farm.Standing) farm.Change {
	c.Brief, c.Text, c.Forecast, c.Advice, c.Cautions = st.Brief, st.Text, st.Forecast, st.Advice, st.Cautions
	return c
}

// hushedNow tells whether a hush covers a condition that is not raised any
// more.
func (s situation) hushedNow(c farm.Change) bool {
	return slices.ContainsFunc(s.view.Hushes, func(h farm.Hush) bool {
		return h.Until.After(s.now) && h.Covers(c.Bin, c.Zone, c.Condition, c.Quantity)
	})
}

// packed makes bundles of items: one each for a webhook, which a program
// reads, and one for all of them otherwise.
func (s situation) packed(items []item) (out []bundle) {
	together := max(1, len(items))
	if s.teller.Kind == ByWebhook {
		together = 1
		slices.SortStableFunc(items, func(a, b item) int { return cmp.Compare(a.last.ID, b.last.ID) })
	}
	for some := range slices.Chunk(items, together) {
		b := newBundle(some)
		b.known = s.knows()
		out = append(out, b)
	}
	return out
}
