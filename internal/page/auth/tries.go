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
	if t.callers == nil {
		t.callers = make(map[netip.Prefix]bucket)
	}
	if _, known := t.callers[key]; !known && len(t.callers) >= maxCallers {
		maps.DeleteFunc(t.callers, func(_ netip.Prefix, b bucket) bool { return b.drained(now).used == 0 })
		if len(t.callers) >= maxCallers {
			key = netip.Prefix{} // the crowd's
		}
	}
	b := t.callers[key].drained(now)
	if b.used > triesAtOnce-1 {
		return time.Duration((b.used - (triesAtOnce - 1)) * float64(tryEvery)), false
	}
	b.used++
	t.callers[key] = b
	return 0, true
}

// Forgive gives addr its tries back, after the right password.
func (t *Tries) Forgive(addr string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	delete(t.callers, callerOf(addr))
}

// drained is the bucket at a later time. A clock that went back drains nothing.
func (b bucket) drained(now time.Time) bucket {
	if passed := now.Sub(b.at); passed > 0 {
		b.used = max(b.used-float64(passed)/float64(tryEvery), 0)
	}
	b.at = now
	return b
}

// callerOf reads "IP:port" or "IP". What is neither is counted with the crowd.
func callerOf(addr string) netip.Prefix {
	both, err := netip.ParseAddrPort(addr)
	ip := both.Addr()
	if err != nil {
		ip, _ = netip.ParseAddr(addr)
	}
	ip = ip.Unmap().WithZone("")
	p, _ := ip.Prefix(min(ip.BitLen(), 64)) // none of no address
	return p
}
