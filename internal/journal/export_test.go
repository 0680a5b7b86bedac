package journal

import (
	"context"
	"time"

	"binwatchd/internal/farm"
)

// Pack packs readings and ticks as a compaction does, for the tests outside.
func Pack(events []farm.Event, seriesOf func(probe string) int64) []byte {
	rows := make([]row, len(events))
	for i, e := range events {
		rows[i] = rowOf(e, 0)
		if e.Kind == farm.EventReading {
			rows[i] = rowOf(e, seriesOf(e.Reading.Probe))
		}
		rows[i].seq = e.Seq
	}
	body, err := pack(rows)
	if err != nil {
		panic(err)
	}
	return body
}

// Unpack gives back what Pack was given; probes are named by number.
func Unpack(body []byte, probe func(series int64) string) ([]farm.Event, error) {
	rows, err := unpack(body)
	if err != nil {
		return nil, err
	}
	return eventsOf(rows, probe)
}

// UnpackPlain is Unpack without decompression and check sum.
func UnpackPlain(plain []byte) error {
	_, err := unpackPlain(plain)
	return err
}

// Decompress undoes compression alone.
func Decompress(body []byte) ([]byte, error) { return decompress(body) }

func eventsOf(rows []row, probe func(int64) string) ([]farm.Event, error) {
	var all []series
	for _, r := range rows {
		for int64(len(all)) < r.series {
			id := int64(len(all)) + 1
			all = append(all, series{id: id, probe: probe(id)})
		}
	}
	events := make([]farm.Event, len(rows))
	for i, r := range rows {
		e, err := r.event(all)
		if err != nil {
			return nil, err
		}
		events[i] = e
	}
	return events, nil
}

// Restamp moves a stretch by itself, as a batch does with its clock event.
func (j *Journal) Restamp(ctx context.Context, from, to int64, shift time.Duration) error {
	j.compacting.Lock()
	defer j.compacting.Unlock()
	return j.update(ctx, "restamp", func(t *tx) { j.restampTx(t, Restamp{From: from, To: to, Shift: shift}) })
}
