package notify

import (
	"slices"
	"time"

	"binwatchd/internal/farm"
)

// likeFollows is how long after a letter another bin's raise of the very same
// condition waits, so that what spreads slowly (a cold night, a power cut) makes
// two letters and not ten. What is at now does not wait.
const likeFollows = 10 * time.Minute

// sent remembers a letter for the cap and for likeFollows.
type sent struct {
	at         time.Time
	conditions []farm.Condition // raised in it
}

// release sorts out which matters may go at once, and says when the first of
// the others may.
func (c deskCase) release(ms []matter) (free []matter, next time.Time) {
	for _, m := range ms {
		if until := c.heldUntil(m); until.After(c.now) {
			next = sooner(next, until)
		} else {
			free = append(free, m)
		}
	}
	if c.teller.Kind == ByWebhook {
		return free, next
	}
	if until := c.cappedUntil(); until.After(c.now) && len(free) > 0 {
		free = slices.DeleteFunc(free, func(m matter) bool { return !m.pressing() })
		next = sooner(next, until)
	}
	if until := c.gathered(free); until.After(c.now) {
		return nil, sooner(next, until)
	}
	return free, next
}

// heldUntil says when a matter may go, cap and gathering aside. A hush holds
// back what stands, not the news that it is over.
func (c deskCase) heldUntil(m matter) time.Time {
	until := c.refusedUntil(m)
	if m.pressing() {
		return until
	}
	if st, ok := c.standing(m.last.Change.Episode); ok && st.Hushed != nil && m.say != over {
		until = latest(until, *st.Hushed)
	}
	if q := c.teller.Quiet; q != nil {
		if end, inside := q.Ends(c.now, c.loc); inside {
			until = latest(until, end)
		}
	}
	return latest(until, c.likeUntil(m))
}

// refusedUntil is when a notice that its server refused is tried again. No wait
// is longer than waits.Most; a time beyond was written by a clock that was ahead.
func (c deskCase) refusedUntil(m matter) time.Time {
	var until time.Time
	for _, o := range m.rows() {
		if o.Tries > 0 && o.Next.Sub(c.now) <= waits.Most {
			until = latest(until, o.Next)
		}
	}
	return until
}

// gatherParts is how many times sooner a thing goes at now.
const gatherParts = 5

// gathered is when matters that are free to go have waited long enough for
// others that arise with them: when the first of them has, all go. What is at
// now waits a fifth as long. A row from the future, as a wrong clock makes it,
// does not wait at all.
func (c deskCase) gathered(ms []matter) time.Time {
	var at time.Time
	for _, m := range ms {
		switch wait := m.last.Created; {
		case wait.After(c.now):
			at = sooner(at, c.now)
		case m.pressing():
			at = sooner(at, wait.Add(c.gather/gatherParts))
		default:
			at = sooner(at, wait.Add(c.gather))
		}
	}
	return at
}

// likeUntil is when a raise may follow the last letter about its condition.
func (c deskCase) likeUntil(m matter) time.Time {
	if m.say != stands || c.teller.Kind == ByWebhook || len(m.told) > 0 {
		return time.Time{}
	}
	for _, s := range slices.Backward(c.sent) {
		if slices.Contains(s.conditions, m.last.Change.Condition) {
			return s.at.Add(likeFollows)
		}
	}
	return time.Time{}
}

// cappedUntil is when the cap lets another letter go.
func (c deskCase) cappedUntil() time.Time {
	recent := 0
	for _, s := range slices.Backward(c.sent) {
		if c.now.Sub(s.at) >= time.Hour {
			break
		}
		if recent++; recent == c.cap {
			return s.at.Add(time.Hour)
		}
	}
	return time.Time{}
}

func latest(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

// sooner is the earlier of two times, of which a may be zero for none.
func sooner(a, b time.Time) time.Time {
	if a.IsZero() || b.Before(a) {
		return b
	}
	return a
}
