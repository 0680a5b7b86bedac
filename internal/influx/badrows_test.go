package influx_test

import (
	"fmt"
	"math/bits"
	"net/http"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"pgregory.net/rapid"

	"binwatchd/internal/farm"
)

// picky is a server that takes all rows but those with a bad mark, stores the good
// ones of a mixed request and says so in the words of a version.
func picky(f *fake, status int, words string, isBad func(string) bool) func(int, []string) reply {
	return func(_ int, lines []string) reply {
		var good []string
		for _, l := range lines {
			if !isBad(l) {
				good = append(good, l)
			}
		}
		f.take(good)
		if n := len(lines) - len(good); n > 0 {
			return reply{status: status, body: strings.ReplaceAll(words, "N", fmt.Sprint(n))}
		}
		return taken
	}
}

const (
	conflictV1      = `{"error":"partial write: field type conflict: input field \"raw\" on measurement \"bin_levels\" is type float, already exists as type integer dropped=N"}`
	conflictV2      = `{"code":"unprocessable entity","message":"failure writing points to database: partial write: field type conflict dropped=N"}`
	unparsedV1      = `{"error":"partial write: unable to parse 'x': invalid boolean dropped=0"}`
	nothingParsedV1 = `{"error":"unable to parse 'x': invalid boolean"}`
	wordless        = `{"code":"invalid","message":"no"}`
)

// bad marks the rows with 66.6.
func bad(line string) bool { return strings.Contains(line, "raw=66.6 ") }

func TestBadRowsAreFoundParkedAndPassed(t *testing.T) {
	tests := []struct {
		name   string
		status int
		words  string
	}{
		{"version 1", http.StatusBadRequest, conflictV1},
		{"version 1, no count", http.StatusBadRequest, unparsedV1},
		{"version 2", http.StatusUnprocessableEntity, conflictV2},
		{"a reason that names no row", http.StatusBadRequest, wordless},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				f, m, told := &fake{}, &memory{}, &troubles{}
				f.script = picky(f, tt.status, tt.words, bad)
				for i := range 1000 {
					v := 15.0
					if i == 0 || i == 417 || i == 999 {
						v = 66.6
					}
					m.add(readingAt("bed-t", start.Add(time.Duration(i)*time.Minute), v))
				}
				r := forward(t, v2(f), hillfoot(), m, told.tell)
				synctest.Wait()
				if g := r.Figures(); g.Reached != 1000 || g.Written != 997 || g.Parked != 3 || f.stored() != 997 {
					t.Errorf("stored %d, figures %+v; want 997 through and 3 parked", f.stored(), g)
				}
				wantParked(t, m.parked, 3)
				if m.saved() != 1000 {
					t.Errorf("cursor saved at %d; parking goes with the cursor, want 1000", m.saved())
				}
				// A bad row costs two requests a halving at most.
				if most := 1 + 3*2*bits.Len(1000); len(f.seen()) > most {
					t.Errorf("%d requests, want at most %d", len(f.seen()), most)
				}
				wantTold(t, told.told(), "takes readings")
			})
		})
	}
}

// TestManyBadRowsTogetherAreStillRows has most of a request's rows bad: those
// that were taken show that the database is well.
func TestManyBadRowsTogetherAreStillRows(t *testing.T) {
	tests := []struct {
		name     string
		words    string
		from, to int // the good ones of 1000
	}{
		{"good ones last", conflictV1, 500, 1000},
		{"good ones last, uncounted", unparsedV1, 500, 1000},
		{"good ones last, wordless", wordless, 500, 1000},
		{"good ones first", conflictV1, 0, 500},
		{"good ones first, wordless", wordless, 0, 500},
		{"a good one in the middle", conflictV1, 700, 701},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				f, m, told := &fake{}, &memory{}, &troubles{}
				f.script = picky(f, 400, tt.words, bad)
				for i := range 1000 {
					v := 66.6
					if tt.from <= i && i < tt.to {
						v = 15
					}
					m.add(readingAt("bed-t", start.Add(time.Duration(i)*time.Minute), v))
				}
				r := forward(t, v2(f), hillfoot(), m, told.tell)
				synctest.Wait()
				good := int64(tt.to - tt.from)
				wantParked(t, m.parked, int(1000-good))
				if g := r.Figures(); g.Written != good || g.Parked != 1000-good || g.Reached != 1000 {
					t.Errorf("figures %+v; want %d through and the rest parked", g, good)
				}
				wantTold(t, told.told(), "takes readings")
			})
		})
	}
}

func TestABadProbeAmongGoodOnesIsNoTrouble(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f, m, told := &fake{}, &memory{}, &troubles{}
		f.script = picky(f, 400, conflictV1, bad)
		r := forward(t, v2(f), hillfoot(), m, told.tell)
		for i := range 300 {
			v := 66.6
			if i%60 == 59 {
				v = 15
			}
			m.add(readingAt("bed-t", start.Add(time.Duration(i)*time.Minute), v))
			later(time.Minute)
		}
		if g := r.Figures(); g.Written != 5 || g.Parked != 295 || g.Reached != 300 {
			t.Errorf("figures %+v; want 5 through and 295 parked", g)
		}
		wantTold(t, told.told(), "takes readings")
	})
}

func wantParked(t *testing.T, got []farm.Parked, rows int) {
	t.Helper()
	if len(got) != rows {
		t.Errorf("%d rows parked, want %d: %+v", len(got), rows, got)
	}
	for _, p := range got {
		if !bad(p.Line) || p.Reason == "" || p.At.IsZero() || p.Rows != 1 {
			t.Errorf("parked %+v, want one bad row with reason and time", p)
		}
	}
}

// TestAnyMixOfRowsEndsUpStoredOrParked is the law behind the halving: whatever
// rows are bad and whatever hinders in between, each good row is stored and each
// bad one parked once, in their order.
func TestAnyMixOfRowsEndsUpStoredOrParked(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		mix := rapid.SliceOfN(rapid.IntRange(0, 9), 1, 90).Draw(rt, "mix")
		hiccup := rapid.IntRange(2, 7).Draw(rt, "every n-th request is lost")
		batch := rapid.IntRange(1, 40).Draw(rt, "rows a request")
		biggest := rapid.IntRange(1, 40).Draw(rt, "rows the server bears")
		synctest.Test(t, func(t *testing.T) {
			f, m := &fake{}, &memory{}
			sort := picky(f, 400, conflictV1, bad)
			f.script = func(n int, lines []string) reply {
				switch {
				case n%hiccup == hiccup-1:
					return dead
				case len(lines) > biggest:
					return reply{status: http.StatusRequestEntityTooLarge}
				}
				return sort(n, lines)
			}
			good := 0
			for i, k := range mix {
				v := 66.6
				if k > 0 {
					good, v = good+1, 15
				}
				m.add(readingAt("bed-t", start.Add(time.Duration(i)*time.Minute), v))
			}
			cfg := v2(f)
			cfg.Pace.Rows = batch
			r := forward(t, cfg, hillfoot(), m, nil)
			later(12 * time.Hour)
			g := r.Figures()
			if f.stored() != good || g.Written != int64(good) || g.Parked != int64(len(mix)-good) || g.Reached != int64(len(mix)) {
				rt.Fatalf("stored %d of %d good rows of %d, figures %+v", f.stored(), good, len(mix), g)
			}
			wantParked(t, m.parked, len(mix)-good)
			r.stop()
		})
	})
}

func TestAPoisonRowAloneDoesNotBlock(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f, m := &fake{}, &memory{}
		f.script = picky(f, 422, conflictV2, bad)
		r := forward(t, v2(f), hillfoot(), m, nil)
		for range 5 { // one by one, as they come in a quiet farm
			m.add(readingAt("bed-t", start, 66.6))
			later(time.Minute)
		}
		m.add(readingAt("bed-t", start, 15))
		later(time.Minute)
		if g := r.Figures(); g.Reached != 6 || g.Parked != 5 || g.Written != 1 {
			t.Errorf("figures %+v; want 5 parked and 1 through", g)
		}
	})
}

func TestADatabaseThatRefusesEveryRowIsTheKeepersMatter(t *testing.T) {
	for _, words := range []string{conflictV1, nothingParsedV1, wordless} {
		t.Run(words[:24], func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				f, m, told := &fake{}, &memory{}, &troubles{}
				mended := time.Now().Add(time.Hour)
				f.script = func(n int, lines []string) reply {
					if time.Now().After(mended) {
						return taken
					}
					return reply{status: 400, body: strings.ReplaceAll(words, "N", fmt.Sprint(len(lines)))}
				}
				m.fill(300, start)
				r := forward(t, v2(f), hillfoot(), m, told.tell)
				later(30 * time.Minute)
				wantTold(t, told.told(), "It refuses every row: something else may have written bin_levels")
				if g := r.Figures(); g.Reached != 0 || len(m.parked) != 0 {
					t.Errorf("figures %+v, %d parked; want nothing moved and nothing parked", g, len(m.parked))
				}
				later(time.Hour)
				if g := r.Figures(); f.stored() != 300 || g.Written != 300 || g.Parked != 0 {
					t.Errorf("stored %d, figures %+v; want all 300 once mended", f.stored(), g)
				}
			})
		})
	}
}

func TestRowsOlderThanTheDatabaseKeepsArePassedInOneGo(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f, m, told := &fake{}, &memory{}, &troubles{}
		old := func(l string) bool { return strings.Contains(l, "raw=66.6 ") }
		f.script = picky(f, 400, `{"error":"partial write: points beyond retention policy dropped=N"}`, old)
		for i := range 4000 {
			m.add(readingAt("bed-t", start.Add(time.Duration(i)*time.Minute), 66.6))
		}
		m.fill(100, start)
		cfg := v2(f)
		cfg.Pace.Rows = 1000
		r := forward(t, cfg, hillfoot(), m, told.tell)
		synctest.Wait()
		if g := r.Figures(); g.Parked != 4000 || g.Written != 100 || len(f.seen()) != 5 {
			t.Errorf("figures %+v after %d requests; want 4000 parked and 100 through after 5", g, len(f.seen()))
		}
		if len(m.parked) != 4 || m.parked[0].Rows != 1000 || !strings.Contains(m.parked[0].Reason, "(1000 rows from this one on)") {
			t.Errorf("parked %+v; want one entry for each request, saying how many rows", m.parked)
		}
		wantTold(t, told.told(), "takes readings") // and no complaint
	})
}

func TestTooBigIsHalvedOnceAndRemembered(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f, m := &fake{}, &memory{}
		f.script = func(_ int, lines []string) reply {
			if len(lines) > 300 || strings.Contains(lines[0], "raw=66.6 ") {
				return reply{status: http.StatusRequestEntityTooLarge, body: `{"error":"Request Entity Too Large"}`}
			}
			return taken
		}
		m.fill(1000, start)
		r := forward(t, v2(f), hillfoot(), m, nil)
		synctest.Wait()
		var sizes []int
		for _, q := range f.seen() {
			sizes = append(sizes, len(q.lines))
		}
		if got, want := fmt.Sprint(sizes), "[1000 500 250 250 250 250]"; got != want {
			t.Errorf("rows a request: got %s, want %s", got, want)
		}
		m.add(readingAt("bed-t", start, 66.6)) // too big by itself
		m.fill(10, start.Add(24*time.Hour))
		later(time.Minute)
		if g := r.Figures(); g.Written != 1010 || g.Parked != 1 || g.Reached != 1011 {
			t.Errorf("figures %+v; want 1010 through and the big row parked", g)
		}
	})
}
