package influx_test

import (
	"errors"
	"fmt"
	"net/http"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"

	"binwatchd/internal/farm"
	"binwatchd/internal/influx"
)

var dead = reply{err: errors.New("connection refused")}

func TestWaitsGrowToACapAndTheRowsArriveOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var down []reply
		for range 9 {
			down = append(down, dead)
		}
		f, m := &fake{script: first(down...)}, &memory{}
		m.fill(10, start)
		r := forward(t, v2(f), hillfoot(), m, nil)
		later(time.Hour)
		want := []time.Duration{1, 2, 4, 8, 16, 32, 60, 60, 60}
		for i := range want {
			want[i] *= time.Second
		}
		if d := cmp.Diff(want, f.waits()); d != "" {
			t.Error(d)
		}
		g := r.Figures()
		if f.stored() != 10 || g.Written != 10 || g.Failed != 9 || g.Reached != 10 || g.Trouble != "" {
			t.Errorf("stored %d, figures %+v; want 10 rows through after 9 failures", f.stored(), g)
		}
	})
}

func TestRetryAfterIsHonoured(t *testing.T) {
	tests := []struct {
		name   string
		status int
		header string
		want   time.Duration
	}{
		{"seconds", http.StatusTooManyRequests, "90", 90 * time.Second},
		{"a date", http.StatusServiceUnavailable, "Sat, 01 Jan 2000 00:05:00 GMT", 5 * time.Minute},
		{"a date that has passed", http.StatusServiceUnavailable, "Fri, 31 Dec 1999 00:00:00 GMT", time.Second},
		{"less than our own wait", http.StatusTooManyRequests, "0", time.Second},
		{"nonsense", http.StatusTooManyRequests, "soon", time.Second},
		{"longer than is sane", http.StatusTooManyRequests, "999999999", time.Hour},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) { // a bubble begins at midnight UTC 2000-01-01
				f := &fake{script: first(reply{status: tt.status, header: map[string]string{"Retry-After": tt.header}})}
				m := &memory{}
				m.fill(1, start)
				forward(t, v2(f), hillfoot(), m, nil)
				later(2 * time.Hour)
				if d := cmp.Diff([]time.Duration{tt.want}, f.waits()); d != "" {
					t.Error(d)
				}
			})
		})
	}
}

func TestAwayForLongIsToldOnceAndEased(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		back := time.Now().Add(3 * time.Hour)
		f := &fake{script: func(int, []string) reply {
			if time.Now().Before(back) {
				return dead
			}
			return taken
		}}
		m, told := &memory{}, &troubles{}
		m.fill(3, start)
		r := forward(t, v2(f), hillfoot(), m, told.tell)
		later(59 * time.Minute)
		wantTold(t, told.told())
		if g := r.Figures(); !strings.Contains(g.Trouble, "has been away for 58 minutes (connection refused)") {
			t.Errorf("trouble shown: %q", g.Trouble)
		}
		later(2 * time.Hour)
		wantTold(t, told.told(), "InfluxDB at influx.example:8086 has been away for 60 minutes (connection refused). Nothing is lost")
		later(2 * time.Hour)
		wantTold(t, told.told(), "has been away", "takes readings")
		if last := told.told()[1]; !last.Over {
			t.Errorf("the last is not over: %+v", last)
		}
		m.fill(5, start.Add(time.Hour))
		later(time.Minute)
		wantTold(t, told.told(), "has been away", "takes readings") // and no more
		if f.stored() != 8 {
			t.Errorf("stored %d rows, want 8", f.stored())
		}
	})
}

// While the journal can't be written nothing can be noted; it is told when it can.
func TestWhatCouldNotBeToldIsToldLater(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		began := time.Now()
		at := func(from, to time.Duration) bool {
			return time.Since(began) >= from && time.Since(began) < to
		}
		f := &fake{script: func(int, []string) reply {
			if at(0, 4*time.Hour) {
				return dead
			}
			return taken
		}}
		m, told := &memory{}, &troubles{}
		told.deaf = func() bool { return at(0, 2*time.Hour) || at(3*time.Hour, 6*time.Hour) }
		m.fill(3, start)
		forward(t, v2(f), hillfoot(), m, told.tell)
		later(119 * time.Minute)
		wantTold(t, told.told())
		later(time.Hour)
		wantTold(t, told.told(), "has been away for 2 hours")
		later(2 * time.Hour) // it is well again, and that can't be noted
		m.fill(1, start.Add(time.Hour))
		later(30 * time.Minute)
		wantTold(t, told.told(), "has been away")
		later(time.Hour)
		m.fill(1, start.Add(2*time.Hour))
		later(time.Minute)
		wantTold(t, told.told(), "has been away", "takes readings")
	})
}

func TestFirstSuccessEasesWhatStoodBeforeTheStart(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m, told := &memory{}, &troubles{}
		forward(t, v2(&fake{script: always(taken)}), hillfoot(), m, told.tell)
		later(time.Hour)
		wantTold(t, told.told()) // nothing was sent, so nothing is known
		m.add(farm.Event{Kind: farm.EventTick, Arrived: start})
		later(time.Hour)
		wantTold(t, told.told())
		m.fill(1, start)
		later(time.Hour)
		wantTold(t, told.told(), "takes readings")
	})
}

func TestRefusalsAreToldAtOnceWithTheRemedyAndNothingMoves(t *testing.T) {
	page := map[string]string{"Content-Type": "text/html; charset=utf-8"}
	// The words of version 1 are those of InfluxDB 1.6.7; those of version 2
	// are from memory of its documentation.
	tests := []struct {
		name string
		cfg  func(*fake) influx.Config
		r    reply
		want string
	}{
		{"v1 wrong password", v1, reply{status: 401, body: `{"error":"authorization failed"}`},
			"takes no readings (401: authorization failed). Check user and password under influx: the server does not know keeper"},
		{"v1 no user given", func(f *fake) influx.Config { c := v1(f); c.User = ""; return c },
			reply{status: 401, body: `{"error":"unable to parse authentication credentials"}`}, "give user and password"},
		{"v1 no right", v1, reply{status: 403, body: `{"error":"\"keeper\" user is not authorized to write to database \"bins\""}`},
			`GRANT WRITE ON "bins" TO "keeper"`},
		{"v1 no database", v1, reply{status: 404, body: `{"error":"database not found: \"bins\""}`}, `CREATE DATABASE "bins"`},
		{"v1 no retention policy", func(f *fake) influx.Config { c := v1(f); c.Retention = "year"; return c },
			reply{status: 500, body: `{"error":"retention policy not found: year"}`}, `CREATE RETENTION POLICY "year" ON "bins"`},
		{"v1 no such path", v1, reply{status: 404, body: "404 page not found\n"}, "Check url and flavour"},
		{"v2 bad token", v2, reply{status: 401, body: `{"code":"unauthorized","message":"unauthorized access"}`}, "Check token under influx"},
		{"v2 no right", v2, reply{status: 403, body: `{"code":"forbidden","message":"insufficient permissions for write"}`}, "may write to bucket bins"},
		{"v2 no bucket", v2, reply{status: 404, body: `{"code":"not found","message":"bucket \"bins\" not found"}`},
			`influx bucket create --org "hillfoot" --name "bins"`},
		{"v2 on a server of version 1", v2, reply{status: 404, body: "404 page not found\n"}, "set flavour: v1"},
		{"a redirect", v2, reply{status: 308, header: map[string]string{"Location": "https://elsewhere.example/"}}, "put the address that it means"},
		{"a login page", v2, reply{status: 200, body: "<html>", header: page}, "web page, so it is not an InfluxDB"},
		{"something else", v2, reply{status: 405}, "takes no readings (405: Method Not Allowed)"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				mended := time.Now().Add(time.Hour)
				f := &fake{script: func(int, []string) reply {
					if time.Now().Before(mended) {
						return tt.r
					}
					return taken
				}}
				m, told, log := &memory{}, &troubles{}, &book{}
				m.fill(3, start)
				cfg := tt.cfg(f)
				cfg.Log = log.log()
				r := forward(t, cfg, hillfoot(), m, told.tell)
				later(30 * time.Minute)
				wantTold(t, told.told(), tt.want)
				if n := len(f.seen()); n > 16 {
					t.Errorf("%d requests in half an hour; it is to retry slowly", n)
				}
				if g := r.Figures(); g.Reached != 0 || g.Parked != 0 || g.Trouble == "" {
					t.Errorf("figures %+v; want nothing moved, nothing parked and the trouble shown", g)
				}
				later(time.Hour)
				wantTold(t, told.told(), tt.want, "takes readings")
				if f.stored() != 3 {
					t.Errorf("stored %d rows after mending, want 3", f.stored())
				}
				for _, secret := range []string{"token-secret", "password-secret"} {
					if strings.Contains(log.text(), secret) || strings.Contains(told.told()[0].Text, secret) {
						t.Errorf("%s is shown", secret)
					}
				}
			})
		})
	}
}

func TestAServersLongAnswerIsCutShort(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m, told := &memory{}, &troubles{}
		m.fill(1, start)
		f := &fake{script: always(reply{status: 403, body: strings.Repeat("ä\n\x00", 1<<20)})}
		forward(t, v2(f), hillfoot(), m, told.tell)
		synctest.Wait()
		if got := told.told(); len(got) != 1 || len(got[0].Text) > 2000 || strings.ContainsAny(got[0].Text, "\n\x00") {
			t.Errorf("told %d times, want once in one short line: %.300s", len(got), fmt.Sprint(got))
		}
	})
}
