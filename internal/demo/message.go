package demo

import (
	"cmp"
	"encoding/csv"
	"fmt"
	"io"
	"time"
)

// A Message is one MQTT publication.
type Message struct {
	At      time.Time // when it is sent; whole milliseconds
	Topic   string
	Payload []byte
	Retain  bool
}

// csvTime is RFC 3339 with milliseconds.
const csvTime = "2006-01-02T15:04:05.000Z07:00"

// WriteCSV lets the farm run until t and writes what it says as rows of
// time, topic and payload, under that header: a file for rehearse --messages.
func (s *Sim) WriteCSV(w io.Writer, t time.Time) error {
	out := csv.NewWriter(w)
	err := out.Write([]string{"time", "topic", "payload"})
	s.Until(t, func(m Message) {
		if err == nil {
			err = out.Write([]string{m.At.UTC().Format(csvTime), m.Topic, string(m.Payload)})
		}
	})
	out.Flush()
	if err = cmp.Or(err, out.Error()); err != nil {
		return fmt.Errorf("write messages: %w", err)
	}
	return nil
}
