package notify

import (
	"slices"
	"time"

	"binwatchd/internal/farm"
)

// usualPerHour is the most bundles in an hour for a teller that says nothing of it.
const usualPerHour = 6

// likeFollows is how long after a bundle another bin's raise of the very same
// condition waits, so that what spreads slowly (a cold night, a power cut) makes
// two bundles and not ten. What is at now does not wait.
const likeFollows = 10 * time.Minute

// sent remembers a bundle for the cap and for likeFollows.
type sent struct {
	at         time.Time
	conditions []farm.Condition // raised in it
}

// release sorts out which items may go at once, and says when the first of
// the others may.
func (s situation) release(items []item) (free []item, next time.Time) {
	for _, it := range items {
		if until := s.heldUntil(it); until.After(s.now) {
			next = sooner(next, until)
		} else {
			free = append(free, it)
		}
	}
	if s.teller.Kind == ByWebhook {
		return free, next
	}
	if until := s.cappedUntil(); until.After(s.now) && len(free) > 0 {
		free = slices.DeleteFunc(free, func(it item) bool { return !it.pressing() })
		next = sooner(next, until)
	}
	if until := s.gathered(free); until.After(s.now) {
		return nil, sooner(next, until)
	}
	return free, next
}

// heldUntil says when an item may go, cap and gathering aside. A hush holds
// back what stands, not the news that it is over.
func (s situation) heldUntil(it item) time.Time {
	until := s.refusedUntil(it)
	if it.pressing() {
		return until
	}
	if st, ok := standing(&s.view, it.last.Change.Episode); ok && st.Hushed != nil && it.say != over {
		until = latest(until, *st.Hushed)
	}
	if usual := it.last.Change.RoundsUntil; usual != nil && it.say == stands && s.teller.Kind != ByWebhook {
		until = latest(until, *usual) // a program decides for itself
	}
	if q := s.teller.Quiet; q != nil {
		if end, inside := q.Ends(s.now, s.loc); inside {
			until = latest(until, end)
		}
	}
	return latest(until, s.likeUntil(it))
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

// likeUntil is when a raise may follow the last bundle about its condition.
func (s situation) likeUntil(it item) time.Time {
	if it.say != stands || s.teller.Kind == ByWebhook || len(it.told) > 0 {
		return time.Time{}
	}
	for _, b := range slices.Backward(s.sent) {
		if slices.Contains(b.conditions, it.last.Change.Condition) {
			return b.at.Add(likeFollows)
		}
	}
	return time.Time{}
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
