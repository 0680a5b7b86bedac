package influx_test

import (
	"context"
	"net/http"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"binwatchd/internal/influx"
)

func TestResendBringsTheRangeAndNothingElse(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f, m := &fake{script: first(dead)}, &memory{}
		m.fill(600, start)
		late := readingAt("bed-t", start.Add(20*24*time.Hour), 15) // arrived long after it was taken
		late.Reading.At = start.Add(150*time.Minute + time.Second)
		m.add(late)
		r := influx.Range{From: start.Add(100 * time.Minute), To: start.Add(200 * time.Minute)}
		calls := 0
		cfg := v2(f)
		cfg.Pace.Rows = 40
		sent, err := influx.Resend(t.Context(), cfg, hillfoot(), m, r, func(influx.Sent) { calls++ })
		if err != nil || sent.Written != 101 || f.stored() != 101 || calls == 0 {
			t.Errorf("sent %+v, stored %d, %d calls, error %v; want 101 rows", sent, f.stored(), calls, err)
		}
		if m.saves != 0 || len(m.parked) != 0 {
			t.Errorf("%d cursors saved, %d rows parked; a resend leaves the journal alone", m.saves, len(m.parked))
		}
	})
}

func TestResendWithoutAnEnd(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f, m := &fake{}, &memory{}
		f.script = picky(f, 400, conflictV1, bad)
		m.fill(10, start)
		m.add(readingAt("bed-t", start.Add(time.Hour), 66.6))
		sent, err := influx.Resend(t.Context(), v2(f), hillfoot(), m, influx.Range{From: start.Add(5 * time.Minute)}, nil)
		if err != nil || sent.Written != 5 || sent.Refused != 1 || len(sent.Reasons) != 1 {
			t.Errorf("sent %+v, error %v; want 5 written and 1 refused with its reason", sent, err)
		}
	})
}

func TestResendOfAnEmptyRange(t *testing.T) {
	m := &memory{}
	m.fill(10, start)
	sent, err := influx.Resend(t.Context(), v2(&fake{}), hillfoot(), m, influx.Range{From: start.AddDate(1, 0, 0)}, nil)
	if err != nil || sent.Written != 0 {
		t.Errorf("sent %+v, error %v; want nothing", sent, err)
	}
}

func TestResendGivesUpInWords(t *testing.T) {
	tests := []struct {
		name string
		r    reply
		want string
	}{
		{"refused", reply{status: http.StatusNotFound, body: `{"code":"not found","message":"bucket not found"}`}, "influx bucket create"},
		{"away", dead, "does not answer (connection refused); run the same again later"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				m := &memory{}
				m.fill(10, start)
				_, err := influx.Resend(t.Context(), v2(&fake{script: always(tt.r)}), hillfoot(), m, influx.Range{From: start}, nil)
				if err == nil || !strings.Contains(err.Error(), tt.want) {
					t.Errorf("got %v, want %q in it", err, tt.want)
				}
			})
		})
	}
	t.Run("stopped", func(t *testing.T) {
		m := &memory{}
		m.fill(10, start)
		ctx, cancel := context.WithCancel(t.Context())
		cancel()
		if _, err := influx.Resend(ctx, v2(&fake{script: always(taken)}), hillfoot(), m, influx.Range{From: start}, nil); err == nil {
			t.Error("got no error from a stopped resend")
		}
	})
	t.Run("journal", func(t *testing.T) {
		m := &memory{readErr: errDisk}
		m.fill(10, start)
		_, err := influx.Resend(t.Context(), v2(&fake{}), hillfoot(), m, influx.Range{From: start}, nil)
		if err == nil || !strings.Contains(err.Error(), "read journal after 0: disk trouble") {
			t.Errorf("got %v, want the journal's error", err)
		}
	})
}
