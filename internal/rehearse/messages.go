package rehearse

import (
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"time"
)

// header of a recording.
var header = [3]string{"time", "topic", "payload"}

// checkEvery is after how many rows a cancelled context is noticed.
const checkEvery = 4096

// Messages rehearses a CSV recording with the header time,topic,payload: the
// time of arrival in RFC 3339, rows in that order. Errors name the line.
func (r *Rehearsal) Messages(ctx context.Context, in io.Reader) error {
	rows := csv.NewReader(in)
	rows.FieldsPerRecord = len(header)
	rows.ReuseRecord = true
	if err := readHeader(rows); err != nil {
		return err
	}
	var last time.Time
	var payload []byte
	for n := 0; ; n++ {
		if n%checkEvery == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		row, err := rows.Read()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return fmt.Errorf("read recording: %w", err)
		}
		line, _ := rows.FieldPos(0)
		at, err := time.Parse(time.RFC3339, row[0])
		if err != nil {
			return fmt.Errorf("read recording: line %d: %q is no RFC 3339 time such as 2026-05-01T08:00:00Z", line, row[0])
		}
		if at.Before(last) {
			return fmt.Errorf("read recording: line %d: %s is earlier than the row before it; rows must be in order of arrival", line, row[0])
		}
		last = at
		payload = append(payload[:0], row[2]...)
		r.Message(at.UTC(), row[1], payload)
	}
}

func readHeader(rows *csv.Reader) error {
	row, err := rows.Read()
	if errors.Is(err, io.EOF) {
		return errors.New("read recording: it is empty; the first line must be time,topic,payload")
	}
	if err == nil && [3]string(row) == header {
		return nil
	}
	return errors.New("read recording: line 1: the first line must be time,topic,payload")
}
