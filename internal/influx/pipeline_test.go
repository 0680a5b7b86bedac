package influx_test

import (
	"net/http"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"
)

// A slow server answers after a second. It keeps how many requests it had at
// a time.
type slow struct {
	*fake
	mu        sync.Mutex
	now, most int
}

func (s *slow) RoundTrip(req *http.Request) (*http.Response, error) {
	s.count(+1)
	defer s.count(-1)
	time.Sleep(time.Second) // synthetic
	return s.fake.RoundTrip(req)
}

func (s *slow) count(by int) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.now += by
	s.most = max(s.most, s.now)
}

func TestBacklogKeepsTwoRequestsOnTheirWay(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, m := &slow{fake: &fake{script: always(taken)}}, &memory{}
		m.fill(100, start)
		cfg := v2(s.fake)
		cfg.Transport, cfg.Pace.Rows = s, 10
		r := forward(t, cfg, hillfoot(), m, nil)
		later(7 * time.Second) // the first goes alone, the nine others in pairs
		if g := r.Figures(); g.Reached != 100 || s.stored() != 100 || s.most != 2 || len(s.seen()) != 10 {
			t.Errorf("figures %+v, stored %d, %d at a time in %d requests; want all in 10 requests, two at a time", g, s.stored(), s.most, len(s.seen()))
		}
	})
}

// TestALoadSentAheadTakesNoPartInTrouble loses one request: the load behind
// it, which was on its way already, neither moves the cursor nor is sent twice, and
// until the server is well again one request at a time asks.
func TestALoadSentAheadTakesNoPartInTrouble(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, m := &slow{fake: &fake{}}, &memory{}
		back := time.Now().Add(time.Minute)
		s.script = func(_ int, lines []string) reply {
			if strings.Contains(lines[0], "raw=66.6 ") && time.Now().Before(back) {
				return dead
			}
			return taken
		}
		m.fill(10, start)
		m.add(readingAt("bed-t", start, 66.6))
		m.fill(9, start.Add(time.Hour))
		m.fill(10, start.Add(2*time.Hour))
		cfg := v2(s.fake)
		cfg.Transport, cfg.Pace.Rows = s, 10
		r := forward(t, cfg, hillfoot(), m, nil)
		later(30 * time.Second)
		if g := r.Figures(); g.Reached != 10 || g.Written != 10 {
			t.Errorf("figures %+v with the second load lost; want the cursor at 10", g)
		}
		later(2 * time.Minute)
		if g := r.Figures(); g.Reached != 30 || s.stored() != 30 || g.Parked != 0 {
			t.Errorf("figures %+v, stored %d; want all 30 rows", g, s.stored())
		}
		third := 0
		for _, q := range s.seen() {
			if strings.HasSuffix(q.lines[0], " 1740988800000") {
				third++
			}
		}
		if d := cmp.Diff(1, third); d != "" {
			t.Errorf("requests with the third load: %s", d)
		}
	})
}

// TestAFailureAheadIsNotCountedAgain loses two loads that are on their way at
// once: only the first is a failure, and the second goes at once when the server is
// back.
func TestAFailureAheadIsNotCountedAgain(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, m := &slow{fake: &fake{}}, &memory{}
		s.script = func(n int, _ []string) reply {
			if n == 1 || n == 2 {
				return dead
			}
			return taken
		}
		m.fill(30, start)
		cfg := v2(s.fake)
		cfg.Transport, cfg.Pace.Rows = s, 10
		r := forward(t, cfg, hillfoot(), m, nil)
		// One second for the first, one for both that are lost, one of waiting, one
		// for the second again and one for the third.
		later(5*time.Second + time.Millisecond)
		if g := r.Figures(); g.Failed != 1 || g.Reached != 30 {
			t.Errorf("figures %+v; want one failure and all 30 rows", g)
		}
	})
}

// TestNothingIsSentAheadInTrouble lets readings come while the server is away: only
// the load whose turn it is asks.
func TestNothingIsSentAheadInTrouble(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f, m, down := &fake{}, &memory{}, time.Now().Add(time.Minute)
		f.script = func(int, []string) reply {
			if time.Now().After(down) {
				return dead
			}
			return taken
		}
		m.fill(1, start)
		forward(t, v2(f), hillfoot(), m, nil)
		later(2 * time.Minute)
		m.fill(1, start.Add(time.Hour)) // fails, and is tried again and again
		later(2 * time.Minute)
		m.add(readingAt("bed-t", start, 66.6))
		later(2 * time.Minute)
		for _, q := range f.seen() {
			if bad(q.lines[0]) {
				t.Errorf("the load behind was sent at %v", q.at)
			}
		}
	})
}

// TestASmallerSizeHoldsForWhatIsSentAhead has a server that bears fewer rows
// than we begin with.
func TestASmallerSizeHoldsForWhatIsSentAhead(t *testing.T) {
	tests := []struct {
		name string
		big  func(line string) bool // refuses more than five rows of these
		want []int                  // rows of each request
	}{
		{"from the start", func(string) bool { return true }, []int{10, 5, 5, 5, 5, 5, 5}},
		{"for the second load, with the third on its way", bad, []int{10, 10, 10, 5, 5}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				s, m := &slow{fake: &fake{}}, &memory{}
				s.script = func(_ int, lines []string) reply {
					if len(lines) > 5 && tt.big(lines[0]) {
						return reply{status: http.StatusRequestEntityTooLarge}
					}
					return taken
				}
				m.fill(10, start)
				for i := range 10 {
					m.add(readingAt("bed-t", start.Add(time.Duration(10+i)*time.Minute), 66.6))
				}
				m.fill(10, start.Add(time.Hour))
				cfg := v2(s.fake)
				cfg.Transport, cfg.Pace.Rows = s, 10
				forward(t, cfg, hillfoot(), m, nil)
				later(time.Minute)
				var got []int
				for _, q := range s.seen() {
					got = append(got, len(q.lines))
				}
				if d := cmp.Diff(tt.want, got); d != "" || s.stored() != 30 {
					t.Errorf("stored %d; rows of each request: %s", s.stored(), d)
				}
			})
		})
	}
}

func TestStoppingWithALoadSentAhead(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, m := &slow{fake: &fake{script: always(taken)}}, &memory{}
		m.fill(100, start)
		cfg := v2(s.fake)
		cfg.Transport, cfg.Pace.Rows = s, 10
		r := forward(t, cfg, hillfoot(), m, nil)
		later(2500 * time.Millisecond)
		r.stop()
		if g := r.Figures(); m.saved() != g.Reached || g.Reached == 0 || g.Reached == 100 || g.Failed != 0 {
			t.Errorf("saved %d, figures %+v; want a cursor on the way and no failure", m.saved(), g)
		}
		if s.now != 0 {
			t.Errorf("%d requests are still on their way", s.now)
		}
	})
}
