package notify

import (
	"cmp"
	"slices"
	"time"

	"binwatchd/internal/cause"
	"binwatchd/internal/farm"
)

// usualPerHour is the most bundles in an hour for a teller that says nothing of it.
const usualPerHour = 6

// What follows the first letter about a cause is gathered: shed by shed, bins go cold within
// an hour, and each letter is to say more than the one before. Choices, no source.
const (
	likeFollows = 10 * time.Minute // where what another bin has is alike, and no cause is known that they share
	joinFirst   = 2 * time.Minute  // after the first letter about a cause
	joinAgain   = 15 * time.Minute // after each other one
	causeRests  = time.Hour        // without a letter, and the next is a first one again
	easeAsOne   = time.Hour        // what has eased waits so long for the rest of its cause
	aroseAsOne  = 6 * time.Hour    // so far apart at most began what ends as one
)

// sent remembers a bundle for the cap and the pace.
type sent struct {
	at      time.Time // when it was accepted
	written time.Time // not after: of which moment it spoke
	news    []broughtUp
}

// broughtUp is a piece of news that a bundle has told.
type broughtUp struct {
	matter   string
	pressing bool
}

// matter names what an item is about, for its pace: a cause that it may share with others, or
// else its condition.
func (s situation) matter(c farm.Change) (name string, shared bool) {
	if key := cause.KeyOf(s.farm, s.view.Standing, asStanding(c)); !key.IsZero() {
		return string(key.Kind) + ":" + key.Air, true
	}
	return string(c.Condition), false
}

// asStanding is a change as one of what is raised.
func asStanding(c farm.Change) farm.Standing {
	return farm.Standing{
		Episode: c.Episode, Bin: c.Bin, Zone: c.Zone, Probe: c.Probe, Condition: c.Condition, Quantity: c.Quantity, Urgency: c.Urgency,
		Since: c.Since, Brief: c.Brief, Text: c.Text, Forecast: c.Forecast, Advice: c.Advice, Cautions: c.Cautions,
	}
}

// release sorts out which items may go at once, and says when the first of
// the others may. With those that go, others go that would only wait for a letter about
// the same matter.
func (s situation) release(items []item) (free []item, next time.Time) {
	var waiting []item
	for _, it := range items {
		hard, soft := s.heldUntil(it)
		switch until := latest(hard, soft); {
		case !until.After(s.now):
			free = append(free, it)
		default:
			next = sooner(next, until)
			if !hard.After(s.now) {
				waiting = append(waiting, it)
			}
		}
	}
	if s.teller.Kind == ByWebhook {
		return free, next
	}
	if until := s.cappedUntil(); until.After(s.now) && len(free) > 0 {
		waiting = append(waiting, slices.DeleteFunc(slices.Clone(free), item.pressing)...)
		free = slices.DeleteFunc(free, func(it item) bool { return !it.pressing() })
		next = sooner(next, until)
	}
	if until := s.gathered(free); until.After(s.now) {
		return nil, sooner(next, until)
	}
	for _, it := range waiting {
		if s.joins(it, free) {
			free = append(free, it)
		}
	}
	slices.SortStableFunc(free, func(a, b item) int { return cmp.Compare(b.weight(), a.weight()) })
	return free, next
}

// joins tells whether an item that waits goes with a letter: what is at now with any, the rest with
// one about its own cause.
func (s situation) joins(it item, letter []item) bool {
	return len(letter) > 0 && it.pressing() ||
		it.shared && slices.ContainsFunc(letter, func(o item) bool { return o.news.matter == it.news.matter })
}

// heldUntil says when an item may go, cap and gathering aside: hard is what holds it
// back whatever else goes, soft what only keeps it from being a letter of its own. A hush holds
// back what stands, not the news that it is over.
func (s situation) heldUntil(it item) (hard, soft time.Time) {
	hard, soft = latest(s.refusedUntil(it), s.othersUntil(it)), s.pacedUntil(it)
	if it.pressing() {
		return hard, soft
	}
	if st, ok := standing(&s.view, it.last.Change.Episode); ok && it.say != over {
		if st.Hushed != nil {
			hard = latest(hard, *st.Hushed)
		}
		if st.InHands(s.now) && len(it.told) > 0 {
			hard = latest(hard, *st.Taken)
		}
	}
	if usual := it.last.Change.RoundsUntil; usual != nil && it.say == stands && s.teller.Kind != ByWebhook {
		hard = latest(hard, *usual) // a program decides for itself
	}
	if q := s.teller.Quiet; q != nil {
		if end, inside := q.Ends(s.now, s.loc); inside {
			soft = latest(soft, end)
		}
	}
	return hard, soft
}

// othersUntil is until when those who are told before this teller may see to an item, take it on, or keep
// quiet about it.
func (s situation) othersUntil(it item) (until time.Time) {
	if s.teller.After <= 0 || len(it.told) > 0 {
		return until
	}
	for _, o := range append(slices.Clone(it.before), it.last) {
		if news(o.Change) && o.Change.Urgency == farm.Now {
			until = o.Created.Add(s.teller.After)
			break
		}
	}
	st, _ := standing(&s.view, it.last.Change.Episode)
	if st.Hushed != nil {
		until = latest(until, *st.Hushed)
	}
	if st.Taken != nil && (st.Seen || !st.Taken.After(s.now)) {
		until = latest(until, st.Taken.Add(s.teller.After))
	}
	return until
}

// refusedUntil is when a notice that its server refused is tried again. No wait
// is longer than waits.Most; a time beyond was written by a clock that was ahead.
func (s situation) refusedUntil(it item) time.Time {
	var until time.Time
	for _, o := range append(slices.Clone(it.before), it.last) {
		if o.Tries > 0 && o.Next.Sub(s.now) <= waits.Most {
			until = latest(until, o.Next)
		}
	}
	return until
}

// gatherParts is how many times sooner a thing goes at now.
const gatherParts = 5

// gathered is when items that are free to go have waited long enough for
// others that arise with them: when the first of them has, all go. What is at
// now waits a fifth as long. A row from the future, as a wrong clock makes it,
// does not wait at all.
func (s situation) gathered(items []item) time.Time {
	var at time.Time
	for _, it := range items {
		begun, wait := it.last.Created, s.gather
		if it.pressing() {
			wait /= gatherParts
		}
		if begun.After(s.now) {
			begun, wait = s.now, 0
		}
		at = sooner(at, begun.Add(wait))
	}
	return at
}

// pacedUntil is when an item may be a letter of its own, by what was told of its matter before.
func (s situation) pacedUntil(it item) time.Time {
	switch {
	case s.teller.Kind == ByWebhook:
		return time.Time{}
	case it.say == over && it.shared && s.goesOn(it):
		return it.last.Created.Add(easeAsOne)
	case it.say == over, it.say == still, !it.shared && (it.say != stands || it.pressing() || len(it.told) > 0):
		return time.Time{}
	}
	letters, last := 0, time.Time{}
	for _, b := range s.sent {
		about := slices.ContainsFunc(b.news, func(n broughtUp) bool { return n.matter == it.news.matter && (n.pressing || !it.pressing()) })
		if about && s.now.Sub(b.at) < causeRests {
			letters, last = letters+1, b.at
		}
	}
	switch {
	case letters == 0:
		return time.Time{}
	case !it.shared:
		return last.Add(likeFollows)
	case letters == 1:
		return last.Add(joinFirst)
	}
	return last.Add(joinAgain)
}

// goesOn tells whether others that arose with what is over are still raised, of which the
// teller was told.
func (s situation) goesOn(it item) bool {
	return slices.ContainsFunc(s.view.Standing, func(st farm.Standing) bool {
		other, _ := s.matter(farm.Change{Bin: st.Bin, Zone: st.Zone, Probe: st.Probe, Condition: st.Condition})
		open, _ := heard(s.told[st.Episode])
		return other == it.news.matter && open && st.Episode != it.last.Change.Episode && st.Since.Sub(it.last.Change.Since).Abs() < aroseAsOne
	})
}

// cappedUntil is when the cap lets another bundle go.
func (s situation) cappedUntil() time.Time {
	recent := 0
	for _, b := range slices.Backward(s.sent) {
		if s.now.Sub(b.at) >= time.Hour {
			break
		}
		if recent++; recent == s.cap {
			return b.at.Add(time.Hour)
		}
	}
	return time.Time{}
}

func latest(times ...time.Time) time.Time { return slices.MaxFunc(times, time.Time.Compare) }

// sooner is the earlier of two times, of which a may be zero for none.
func sooner(a, b time.Time) time.Time {
	if a.IsZero() || b.Before(a) {
		return b
	}
	return a
}
