package journal

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"time"

	"binwatchd/internal/farm"
)

// eventBody is the JSON of an event that is neither a reading nor a tick. Only
// the part of its kind is there.
type eventBody struct {
	Jot     farm.Jot       `json:"jot,omitzero"`
	Hush    farm.Hush      `json:"hush,omitzero"`
	Seen    farm.Seen      `json:"seen,omitzero"`
	Strike  int64          `json:"strike,omitempty"` // the sequence number of the jot
	By      string         `json:"by,omitempty"`     // of a strike
	Trouble farm.Trouble   `json:"trouble,omitzero"`
	Weather *farm.Weather  `json:"weather,omitempty"`
	Alive   *farm.Liveness `json:"alive,omitempty"`
	Stock   farm.Stock     `json:"stock,omitzero"`
	Up      bool           `json:"up,omitempty"`
	Backlog farm.Backlog   `json:"backlog,omitempty"`
	ShiftMs int64          `json:"shift_ms,omitempty"`
	FromMs  int64          `json:"from_ms,omitempty"`
	Settled bool           `json:"settled,omitempty"` // of a clock event: the shift has been written back, see Restamp
}

func bodyOf(e farm.Event) eventBody {
	b := eventBody{Jot: e.Jot, Hush: e.Hush, Seen: e.Seen, Strike: e.Strike.Line, By: e.Strike.By, Trouble: e.Trouble, Weather: e.Weather, Alive: e.Alive, Stock: e.Stock,
		Up: e.Up, Backlog: e.Backlog, ShiftMs: e.Shift.Milliseconds()}
	for _, at := range []*time.Time{&b.Jot.At, &b.Hush.Until, &b.Seen.Until} {
		*at = at.UTC().Truncate(time.Millisecond)
	}
	if !e.From.IsZero() {
		b.FromMs = e.From.UnixMilli()
	}
	return b
}

// insertEvent writes an event that is neither a reading nor a tick.
func insertEvent(t *tx, e Entry) {
	var bin, at any
	switch e.Event.Kind {
	case farm.EventJot:
		bin, at = e.Event.Jot.Bin, e.Event.Jot.At.UnixMilli()
	case farm.EventStrike:
		bin, at = ofStrikes, e.Event.Strike.Line
	}
	var once any
	if e.Event.Once != "" {
		once = e.Event.Once
	}
	packet, hash, sender := e.packet()
	t.exec(`INSERT INTO event (seq, arrived, kind, bin, at, body, packet, hash, sender, once) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
		e.Event.Seq, e.Event.Arrived.UnixMilli(), int64(e.Event.Kind), bin, at, asJSON(t, bodyOf(e.Event)), packet, hash, sender, once)
	if e.Event.Kind == farm.EventStrike { // what was learned since holds the line
		t.exec(`DELETE FROM snapshot WHERE seq >= ?`, e.Event.Strike.Line)
	}
}

// asJSON is text for a column.
func asJSON(t *tx, v any) string {
	text, err := json.Marshal(v)
	t.fail(err)
	return string(text)
}

// fromJSON reads such text; what and id say whose it is.
func fromJSON(text []byte, v any, what string, id int64) error {
	if err := json.Unmarshal(text, v); err != nil {
		return fmt.Errorf("%w: %s %d: %w", ErrDamaged, what, id, err)
	}
	return nil
}

func scanEvent(e *farm.Event, rows *sql.Rows) error {
	var text []byte
	if err := rows.Scan(&e.Seq, millis{&e.Arrived}, &e.Kind, &text); err != nil {
		return err
	}
	var body eventBody
	if err := fromJSON(text, &body, "event", e.Seq); err != nil {
		return err
	}
	e.Jot, e.Hush, e.Seen, e.Trouble = body.Jot, body.Hush, body.Seen, body.Trouble
	e.Strike = farm.Strike{Line: body.Strike, By: body.By}
	e.Up, e.Backlog, e.Weather, e.Alive, e.Stock = body.Up, body.Backlog, body.Weather, body.Alive, body.Stock
	if !body.Settled {
		e.Shift = time.Duration(body.ShiftMs) * time.Millisecond
	}
	if body.FromMs != 0 {
		e.From = instant(body.FromMs)
	}
	return nil
}

const eventColumns = `seq, arrived, kind, body`

// eventsBetween reads the other events with after < seq <= to.
func eventsBetween(t *tx, after, to int64) []farm.Event {
	return collect(t, scanEvent, `SELECT `+eventColumns+` FROM event WHERE seq > ? AND seq <= ? ORDER BY seq`, after, to)
}

// Jots gives the logbook of one bin in [from, to) by the jots' own times, oldest
// first, without those that were struck. Castings sifted into the bin are in the logbook of the bin they came from.
func (j *Journal) Jots(ctx context.Context, bin string, from, to time.Time) ([]farm.Jot, error) {
	return viewed(ctx, j, "read logbook", func(t *tx) []farm.Jot {
		where, args := j.names(t).where("seq", bin)
		return j.jots(t, where+` AND at >= ? AND at < ? AND seq NOT IN (`+struckLines+`) ORDER BY at, seq`, append(args, from.UnixMilli(), to.UnixMilli())...)
	})
}

// Logbook gives the logbooks of all bins, by the names of now, each as Jots does.
func (j *Journal) Logbook(ctx context.Context, from, to time.Time) (map[string][]farm.Jot, error) {
	return viewed(ctx, j, "read logbook", func(t *tx) map[string][]farm.Jot {
		all := map[string][]farm.Jot{}
		for _, line := range j.jots(t, `bin IS NOT NULL AND kind = ? AND at >= ? AND at < ? AND seq NOT IN (`+struckLines+`) ORDER BY at, seq`, int64(farm.EventJot), from.UnixMilli(), to.UnixMilli()) {
			all[line.Bin] = append(all[line.Bin], line)
		}
		return all
	})
}

// jots gives those that meet a condition and come in an order, both in SQL.
func (j *Journal) jots(t *tx, where string, args ...any) []farm.Jot {
	found := collect(t, scanJot, `SELECT seq, body FROM event WHERE `+where, args...)
	n := j.names(t)
	for i := range found {
		n.jot(&found[i], found[i].ID)
	}
	return found
}

// Struck gives the lines that were struck of the logbook of one bin in [from, to) by the
// jots' own times, oldest first, with who struck them and when.
func (j *Journal) Struck(ctx context.Context, bin string, from, to time.Time) ([]farm.Strike, error) {
	return viewAll(ctx, j, "read struck lines", scanStruck, `SELECT l.seq, l.body, s.arrived, s.body FROM event l JOIN event s ON s.bin = '`+ofStrikes+`' AND s.at = l.seq
		WHERE l.bin = ? AND l.at >= ? AND l.at < ? ORDER BY l.at, l.seq`, bin, from.UnixMilli(), to.UnixMilli())
}

func scanStruck(s *farm.Strike, rows *sql.Rows) error {
	var line, strike []byte
	var of, by eventBody
	if err := rows.Scan(&s.Line, &line, millis{&s.At}, &strike); err != nil {
		return err
	}
	if err := fromJSON(line, &of, "event", s.Line); err != nil {
		return err
	}
	err := fromJSON(strike, &by, "strike of event", s.Line)
	s.Jot, s.By = of.Jot, by.By
	s.Jot.ID = s.Line
	return err
}

func scanJot(jot *farm.Jot, rows *sql.Rows) error {
	var seq int64
	var text sql.RawBytes
	if err := rows.Scan(&seq, &text); err != nil {
		return err
	}
	var body struct{ Jot *farm.Jot } // of [eventBody]
	body.Jot = jot
	err := fromJSON(text, &body, "event", seq)
	jot.ID = seq
	return err
}

// ofStrikes stands in the column of the bin where an event strikes a line, whose
// sequence number stands in that of the time: the index of the logbook finds both. No
// bin is called so.
const ofStrikes = "/"

// struckLines are, in SQL, the sequence numbers of the jots that were struck.
const struckLines = `SELECT at FROM event WHERE bin = '` + ofStrikes + `'`

// struck are the sequence numbers of the jots that were struck.
func struck(t *tx) map[int64]bool {
	all := map[int64]bool{}
	t.each(func(rows *sql.Rows) error {
		var seq int64
		err := rows.Scan(&seq)
		all[seq] = true
		return err
	}, struckLines)
	return all
}

// ErrNoLine says that no line of the logbook is meant.
var ErrNoLine = errors.New("there is no such line in the logbook, or it is struck already")

// Line gives one line of the logbook, by its ID.
func (j *Journal) Line(ctx context.Context, id int64) (farm.Jot, error) {
	found, err := viewed(ctx, j, "read a line", func(t *tx) []farm.Jot {
		return j.jots(t, `seq = ? AND kind = ? AND seq NOT IN (`+struckLines+`)`, id, int64(farm.EventJot))
	})
	if err == nil && len(found) == 0 {
		err = ErrNoLine
	}
	if err != nil {
		return farm.Jot{}, err
	}
	return found[0], nil
}

// LastLines gives the lines of the logbook that were written last, of the whole farm,
// the newest first, without those that were struck.
func (j *Journal) LastLines(ctx context.Context, most int) ([]farm.Jot, error) {
	return viewed(ctx, j, "read the last lines", func(t *tx) []farm.Jot {
		return j.jots(t, `kind = ? AND seq NOT IN (`+struckLines+`) ORDER BY seq DESC LIMIT ?`, int64(farm.EventJot), most)
	})
}

// Already finds what stands in the journal in place of an event that comes by a form: the
// form's own, sent before, or the same act at the same place since the list was made on
// which it is ticked. It is nil where nothing does.
func (j *Journal) Already(ctx context.Context, e farm.Event) (*farm.Already, error) {
	find := func(where string, args ...any) ([]farm.Event, error) {
		return viewAll(ctx, j, "look for a form", scanEvent, `SELECT `+eventColumns+` FROM event WHERE `+where, args...)
	}
	if e.Once != "" {
		own, err := find(`once = ?`, e.Once)
		if err != nil || len(own) > 0 {
			return alreadyIn(own, true), err
		}
	}
	if e.Kind != farm.EventJot || e.Since == 0 {
		return nil, nil
	}
	others, err := find(`bin = ? AND seq > ? AND kind = ? AND seq NOT IN (`+struckLines+`) ORDER BY seq`, e.Jot.Bin, e.Since, int64(farm.EventJot))
	others = slices.DeleteFunc(others, func(o farm.Event) bool { return o.Jot.Zone != e.Jot.Zone || o.Jot.What != e.Jot.What })
	return alreadyIn(others, false), err
}

func alreadyIn(all []farm.Event, own bool) *farm.Already {
	if len(all) == 0 {
		return nil
	}
	return &farm.Already{Event: all[0], Own: own}
}
