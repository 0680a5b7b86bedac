package auth

import (
	"maps"
	"net/netip"
	"sync"
	"time"
)

const (
	triesAtOnce = 5           // before a wait
	tryEvery    = time.Minute // one more try comes back
	maxCallers  = 1024        // addresses remembered
)

// Tries bounds how often a caller may guess: five at once, then one a minute.
// Callers are told apart by address, an IPv6 one by its /64, since that is
// what one household gets. When more than 1024 call at once the rest share one
// allowance, so memory is bounded and a crowd of guessers gains nothing. Safe
// for concurrent use.
type Tries struct {
	mu      sync.Mutex
	callers map[netip.Prefix]bucket
	crowd   bucket
}

// A bucket counts the tries used, as of a time.
type bucket struct {
	used float64
	at   time.Time
}

// Take uses one of addr's tries. When there is none it says how long to wait.
func (t *Tries) Take(addr string, now time.Time) (wait time.Duration, ok bool) {
	key := callerOf(addr)
	t.mu.Lock()
	defer t.mu.Unlock()
	b, crowded := t.bucketOf(key, now)
	b = b.drained(now)
	if b.used > triesAtOnce-1 {
		return time.Duration((b.used - (triesAtOnce - 1)) * float64(tryEvery)), false
	}
	b.used++
	if crowded {
		t.crowd = b
	} else {
		t.callers[key] = b
	}
	return 0, true
}

// Forgive gives addr its tries back, after the right password.
func (t *Tries) Forgive(addr string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	delete(t.callers, callerOf(addr))
}

func (t *Tries) bucketOf(key netip.Prefix, now time.Time) (b bucket, crowded bool) {
	if t.callers == nil {
		t.callers = make(map[netip.Prefix]bucket)
	}
	b, ok := t.callers[key]
	if ok {
		return b, false
	}
	if len(t.callers) >= maxCallers {
		maps.DeleteFunc(t.callers, func(_ netip.Prefix, b bucket) bool { return b.drained(now).used == 0 })
	}
	if len(t.callers) >= maxCallers {
		return t.crowd, true
	}
	return bucket{at: now}, false
}

// drained is the bucket at a later time. A clock that went back drains nothing.
func (b bucket) drained(now time.Time) bucket {
	if passed := now.Sub(b.at); passed > 0 {
		b.used = max(b.used-float64(passed)/float64(tryEvery), 0)
	}
	b.at = now
	return b
}

// callerOf reads "IP:port" or "IP". What is neither is one caller.
func callerOf(addr string) netip.Prefix {
	ip, err := netip.ParseAddr(addr)
	if ap, err2 := netip.ParseAddrPort(addr); err2 == nil {
		ip, err = ap.Addr(), nil
	}
	if err != nil {
		return netip.Prefix{}
	}
	ip = ip.Unmap().WithZone("")
	p, err := ip.Prefix(min(ip.BitLen(), 64))
	if err != nil {
		return netip.Prefix{}
	}
	return p
}
