package rehearse

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"time"
)

// header of a recording.
var header = [3]string{"time", "topic", "payload"}

// earliest is the first moment at which a message can have arrived. Only a clock
// that nobody has set shows an earlier one, and the zero time would pass for none.
var earliest = time.Unix(0, 0)

// A recording reads messages from CSV.
type recording struct {
	rows    *csv.Reader
	last    time.Time
	payload []byte
}

// openRecording reads the header.
func openRecording(in io.Reader) (*recording, error) {
	rows := csv.NewReader(in)
	rows.FieldsPerRecord = len(header)
	rows.ReuseRecord = true
	row, err := rows.Read()
	if errors.Is(err, io.EOF) {
		return nil, errors.New("read recording: it is empty; the first line must be time,topic,payload")
	}
	if err != nil || [3]string(row) != header {
		return nil, errors.New("read recording: line 1: the first line must be time,topic,payload")
	}
	return &recording{rows: rows}, nil
}

// each hands out every message until one is wrong, fn returns an error, or the
// end. A payload is good until fn returns.
func (c *recording) each(fn func(at time.Time, topic string, payload []byte) error) error {
	for {
		row, err := c.rows.Read()
		switch {
		case errors.Is(err, io.EOF):
			return nil
		case err != nil:
			return fmt.Errorf("read recording: %w", err)
		}
		at, err := time.Parse(time.RFC3339, row[0])
		switch {
		case err != nil:
			return c.wrong("%q is no RFC 3339 time such as 2026-05-01T08:00:00Z", row[0])
		case at.Before(earliest):
			return c.wrong("%s is before 1970, so the clock of who recorded was wrong", row[0])
		case at.Before(c.last):
			return c.wrong("%s is earlier than the row before it; rows must be in order of arrival", row[0])
		}
		c.last = at
		c.payload = append(c.payload[:0], row[2]...)
		if err := fn(at.UTC(), row[1], c.payload); err != nil {
			return err
		}
	}
}

func (c *recording) wrong(format string, what string) error {
	line, _ := c.rows.FieldPos(0)
	return fmt.Errorf("read recording: line %d: "+format, line, what)
}
