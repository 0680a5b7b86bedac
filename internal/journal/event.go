package journal

import (
	"database/sql"
	"encoding/json"
	"fmt"
	"time"

	"binwatchd/internal/farm"
)

// eventBody is the JSON of an event that is neither a reading nor a tick. Only
// the part of its kind is there.
type eventBody struct {
	Jot     *farm.Jot     `json:"jot,omitempty"`
	Hush    *farm.Hush    `json:"hush,omitempty"`
	Seen    *farm.Seen    `json:"seen,omitempty"`
	Trouble *farm.Trouble `json:"trouble,omitempty"`
	Up      bool          `json:"up,omitempty"`
	Backlog farm.Backlog  `json:"backlog,omitempty"`
	ShiftMs int64         `json:"shift_ms,omitempty"`
	FromMs  int64         `json:"from_ms,omitempty"`
	Settled bool          `json:"settled,omitempty"` // of a clock event: the shift has been written back, see Restamp
}

func bodyOf(e farm.Event) (eventBody, error) {
	switch e.Kind {
	case farm.EventJot:
		jot := e.Jot
		jot.At = jot.At.UTC().Truncate(time.Millisecond)
		return eventBody{Jot: &jot}, nil
	case farm.EventHush:
		hush := e.Hush
		hush.Until = hush.Until.UTC().Truncate(time.Millisecond)
		return eventBody{Hush: &hush}, nil
	case farm.EventSeen:
		return eventBody{Seen: &e.Seen}, nil
	case farm.EventTrouble:
		return eventBody{Trouble: &e.Trouble}, nil
	case farm.EventLink:
		return eventBody{Up: e.Up, Backlog: e.Backlog}, nil
	case farm.EventClock:
		return eventBody{ShiftMs: e.Shift.Milliseconds(), FromMs: e.From.UnixMilli()}, nil
	case farm.EventStart, farm.EventCaught:
		return eventBody{}, nil
	}
	return eventBody{}, fmt.Errorf("event of unknown kind %d", e.Kind)
}

// insertEvent writes an event that is neither a reading nor a tick.
func insertEvent(tx *tx, e Entry) error {
	body, err := bodyOf(e.Event)
	if err != nil {
		return err
	}
	text, err := json.Marshal(body)
	if err != nil {
		return err
	}
	var bin, at any
	if body.Jot != nil {
		bin, at = body.Jot.Bin, body.Jot.At.UnixMilli()
	}
	packet, hash, sender := e.packet()
	return tx.exec(`INSERT INTO event (seq, arrived, kind, bin, at, body, packet, hash, sender) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)`,
		e.Event.Seq, e.Event.Arrived.UnixMilli(), int64(e.Event.Kind), bin, at, string(text), packet, hash, sender)
}

func scanEvent(rows *sql.Rows) (farm.Event, error) {
	var e farm.Event
	var arrived int64
	var text []byte
	if err := rows.Scan(&e.Seq, &arrived, &e.Kind, &text); err != nil {
		return e, err
	}
	var body eventBody
	if err := json.Unmarshal(text, &body); err != nil {
		return e, fmt.Errorf("%w: event %d: %w", ErrDamaged, e.Seq, err)
	}
	e.Arrived = instant(arrived)
	body.into(&e)
	return e, nil
}

func (b eventBody) into(e *farm.Event) {
	if b.Jot != nil {
		e.Jot = *b.Jot
	}
	if b.Hush != nil {
		e.Hush = *b.Hush
	}
	if b.Seen != nil {
		e.Seen = *b.Seen
	}
	if b.Trouble != nil {
		e.Trouble = *b.Trouble
	}
	e.Up, e.Backlog = b.Up, b.Backlog
	if !b.Settled {
		e.Shift = time.Duration(b.ShiftMs) * time.Millisecond
	}
	if b.FromMs != 0 {
		e.From = time.UnixMilli(b.FromMs).UTC()
	}
}
