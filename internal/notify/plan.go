package notify

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"binwatchd/internal/farm"
)

// A deskCase is all that is known when it is decided what one teller gets now.
type deskCase struct {
	teller Teller
	now    time.Time
	owed   []farm.Owed            // everything unsettled, oldest first
	told   map[string][]farm.Owed // by episode: what was told before, oldest first
	view   farm.View              // how the farm stands
	known  bool                   // the view is there
	sent   []sent                 // the letters of the last hour, oldest first
	cap    int
	gather time.Duration
	loc    *time.Location
}

// A plan is what to do with what is owed.
type plan struct {
	needless []int64   // rows that nobody needs to hear of
	letters  []letter  // to carry now, in this order
	next     time.Time // when something that is held may go; zero: nothing is held
}

// decide makes the plan. It is pure: the same case gives the same plan.
func decide(c deskCase) plan {
	var p plan
	marked, loose := apart(c.owed)
	for _, rows := range marked {
		l, ok, needless := c.anew(rows)
		p.needless = append(p.needless, needless...)
		if ok {
			p.letters = append(p.letters, l)
		}
	}
	if len(p.letters) > 0 {
		return p // what follows depends on whether these arrive
	}
	ms, needless := c.matters(loose)
	p.needless = append(p.needless, needless...)
	free, next := c.release(ms)
	p.next = next
	p.letters = c.packed(free)
	return p
}

// apart sorts the rows that an earlier attempt has marked, by letter, from the
// others.
func apart(owed []farm.Owed) (marked [][]farm.Owed, loose []farm.Owed) {
	place := map[string]int{}
	for _, o := range owed {
		id, ok := handedOver(o)
		if !ok {
			loose = append(loose, o)
			continue
		}
		i, ok := place[id]
		if !ok {
			i = len(marked)
			place[id] = i
			marked = append(marked, nil)
		}
		marked[i] = append(marked[i], o)
	}
	return marked, loose
}

// anew makes a marked letter once more. It goes by the rows alone, not by how
// the farm stands by now, so it is the same letter; ok is false when the rows
// are what was left after its others had been settled.
func (c deskCase) anew(rows []farm.Owed) (l letter, ok bool, needless []int64) {
	c.view, c.known = farm.View{}, false
	ms, needless := c.matters(rows)
	if len(ms) == 0 {
		return l, false, needless
	}
	l = newLetter(ms)
	l.id, l.again = markOf(rows), true
	return l, true, needless
}

func markOf(rows []farm.Owed) string {
	id, _ := handedOver(rows[0])
	return id
}

// matters puts the rows of each episode together and sees what is left to
// say about it; rows that are left with nothing to say are needless.
func (c deskCase) matters(rows []farm.Owed) (ms []matter, needless []int64) {
	var order []string
	byEpisode := map[string][]farm.Owed{}
	for _, o := range rows {
		e := o.Change.Episode
		if byEpisode[e] == nil {
			order = append(order, e)
		}
		byEpisode[e] = append(byEpisode[e], o)
	}
	for _, e := range order {
		m, ok, none := c.episode(byEpisode[e], c.told[e])
		needless = append(needless, none...)
		if ok {
			ms = append(ms, m)
		}
	}
	slices.SortStableFunc(ms, func(a, b matter) int { return cmp.Compare(b.weight(), a.weight()) })
	return ms, needless
}

// weight orders the matters of a letter.
func (m matter) weight() int {
	switch m.say {
	case stands, lighter, still:
		return 2 + int(m.last.Change.Urgency)
	case over:
		return 1
	}
	return 0
}

// episode sees what is left to say about one episode.
func (c deskCase) episode(rows, told []farm.Owed) (m matter, ok bool, needless []int64) {
	rows, reminders := parted(rows)
	if len(rows) == 0 {
		return c.reminder(reminders, told)
	}
	needless = idsOf(reminders) // what is new says it better
	last := rows[len(rows)-1]
	m = matter{last: last, before: rows[:len(rows)-1], told: told}
	open, worst := heard(told)
	worth := slices.ContainsFunc(rows, func(o farm.Owed) bool { return worthTelling(o.Change, worst) })
	switch kind := last.Change.Change; {
	case kind == farm.Eased && open:
		m.say = over
	case kind == farm.Eased && worth && !c.hushedNow(last.Change):
		m.say = cameWent
		if last.Change.Ended != "" {
			m.say = over // it may be going on: only the looking is over
		}
	case kind == farm.Eased:
		return m, false, append(needless, idsOf(rows)...)
	case worth:
		m.say = stands
		if kind == farm.Lightened {
			m.say = lighter
		}
	case kind == farm.Lightened && open && c.teller.Kind == ByWebhook:
		m.say = lighter // a program keeps count of urgencies; a person has enough to read
	default:
		return m, false, append(needless, idsOf(rows)...)
	}
	return m, true, needless
}

// heard tells from what a teller was told of an episode whether it believes
// the condition to be raised, and the worst urgency it was told.
func heard(told []farm.Owed) (open bool, worst farm.Urgency) {
	for _, o := range told {
		if o.Change.Change == farm.Eased {
			open = false
			continue
		}
		open = true
		worst = max(worst, o.Change.Urgency)
	}
	return open, worst
}

// worthTelling tells whether a change is news to somebody who was told of at
// worst that urgency in the same episode.
func worthTelling(c farm.Change, worst farm.Urgency) bool {
	return news(c) && (c.Urgency == farm.Now || c.Urgency > worst)
}

// reminder keeps the newest of an episode's reminders while there is still
// reason to remind.
func (c deskCase) reminder(rows, told []farm.Owed) (m matter, ok bool, needless []int64) {
	last := rows[len(rows)-1]
	open, _ := heard(told)
	st, standing := c.standing(last.Change.Episode)
	if !open || c.known && !(standing && nagging(st, c.now)) {
		return m, false, idsOf(rows)
	}
	if standing {
		last.Change = asOfNow(last.Change, st)
	}
	return matter{say: still, last: last, told: told}, true, idsOf(rows[:len(rows)-1])
}

// nagging tells whether a standing condition is one to remind of. Water and
// bedding that were given need time to show, and more of them would do harm.
func nagging(st farm.Standing, now time.Time) bool {
	given := st.Condition == farm.TooDry || st.Condition == farm.TooWet
	waits := given && st.Advice != nil && st.Advice.Wait != nil && st.Advice.Wait.After(now)
	return st.Urgency == farm.Now && !st.Seen && st.Hushed == nil && !waits
}

func (c deskCase) standing(episode string) (farm.Standing, bool) {
	for _, st := range c.view.Standing {
		if st.Episode == episode {
			return st, true
		}
	}
	return farm.Standing{}, false
}

// hushedNow tells whether a hush covers a condition that is not raised any
// more.
func (c deskCase) hushedNow(ch farm.Change) bool {
	return slices.ContainsFunc(c.view.Hushes, func(h farm.Hush) bool {
		return h.Until.After(c.now) && h.Bin == ch.Bin && (h.Zone == "" || h.Zone == ch.Zone) &&
			(h.Condition == "" || h.Condition == ch.Condition)
	})
}

// packed makes letters of matters: one each for a webhook, which a program
// reads, and one for all of them otherwise.
func (c deskCase) packed(ms []matter) []letter {
	if len(ms) == 0 {
		return nil
	}
	if c.teller.Kind != ByWebhook {
		return []letter{newLetter(ms)}
	}
	slices.SortStableFunc(ms, func(a, b matter) int { return cmp.Compare(a.last.ID, b.last.ID) })
	var out []letter
	for _, m := range ms {
		out = append(out, newLetter([]matter{m}))
	}
	return out
}

const reminding = "remind-"

// parted sorts the reminders from the changes.
func parted(rows []farm.Owed) (changes, reminders []farm.Owed) {
	for _, o := range rows {
		if strings.HasPrefix(o.Notice, reminding) {
			reminders = append(reminders, o)
		} else {
			changes = append(changes, o)
		}
	}
	return changes, reminders
}

func idsOf(rows []farm.Owed) []int64 {
	var ids []int64
	for _, o := range rows {
		ids = append(ids, o.ID)
	}
	return ids
}
