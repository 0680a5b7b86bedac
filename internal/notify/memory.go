package notify

import (
	"slices"
	"strings"
	"sync"
	"time"

	"binwatchd/internal/farm"
)

// memory is a small outbox for what cannot be on disk. Its rows have negative
// ids, so that they pass along with the journal's.
type memory struct {
	mu   sync.Mutex
	last int64
	rows []farm.Owed
	told []farm.Owed
}

// owe adds a change unless it was owed before.
func (m *memory) owe(teller string, c farm.Change, now time.Time) {
	m.mu.Lock()
	defer m.mu.Unlock()
	notice := NoticeID(teller, c)
	same := func(o farm.Owed) bool { return o.Notice == notice }
	if slices.ContainsFunc(m.rows, same) || slices.ContainsFunc(m.told, same) {
		return
	}
	m.last--
	m.rows = append(m.rows, farm.Owed{ID: m.last, Notice: notice, Teller: teller, Change: c, Created: now, Next: now})
}

func (m *memory) owed() []farm.Owed {
	m.mu.Lock()
	defer m.mu.Unlock()
	return slices.Clone(m.rows)
}

func (m *memory) toldOf(episode string) []farm.Owed {
	m.mu.Lock()
	defer m.mu.Unlock()
	return slices.DeleteFunc(slices.Clone(m.told), func(o farm.Owed) bool { return o.Change.Episode != episode })
}

// settle takes rows out; those that were told are remembered for a while.
func (m *memory) settle(ids []int64, fate farm.Fate, at time.Time) {
	const remembered = 50
	m.mu.Lock()
	defer m.mu.Unlock()
	m.rows = slices.DeleteFunc(m.rows, func(o farm.Owed) bool {
		if !slices.Contains(ids, o.ID) {
			return false
		}
		if fate != farm.Dropped {
			o.Next = at
			m.told = append(m.told, o)
		}
		return true
	})
	if n := len(m.told); n > remembered {
		m.told = slices.Clone(m.told[n-remembered:])
	}
}

func (m *memory) postpone(ids []int64, next time.Time, trouble string) {
	m.mu.Lock()
	defer m.mu.Unlock()
	for i := range m.rows {
		o := &m.rows[i]
		if !slices.Contains(ids, o.ID) {
			continue
		}
		o.Next, o.Trouble = next, trouble
		if !strings.HasPrefix(trouble, handing) {
			o.Tries++
		}
	}
}

// byHome sorts ids into those of memory and those of the journal.
func byHome(ids []int64) (mem, disk []int64) {
	for _, id := range ids {
		if id < 0 {
			mem = append(mem, id)
		} else {
			disk = append(disk, id)
		}
	}
	return mem, disk
}
