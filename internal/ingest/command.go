package ingest

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/quantity"
)

// Topics of the keeper's commands, under the prefix.
const (
	jotTopic  = "jot"
	hushTopic = "hush"
	seenTopic = "seen"
)

// commandFilters are the topics of the commands under a prefix that ends in a
// slash.
func commandFilters(prefix string) []string {
	return []string{prefix + jotTopic + "/#", prefix + hushTopic + "/#", prefix + seenTopic + "/#"}
}

// command reads a jot, hush or seen; ok is false when the topic is none.
func (d *Decoder) command(rest string, payload []byte, arrived time.Time) (got Decoded, ok bool) {
	kind, place, _ := strings.Cut(rest, "/")
	var err error
	switch kind {
	case jotTopic:
		got.Jot, got.Timed, err = d.jot(place, payload, arrived)
	case hushTopic:
		got.Hush, got.Timed, err = d.hush(place, payload, arrived)
	case seenTopic:
		got.Seen = &farm.Seen{Episode: place}
		err = checkEpisode(place)
	default:
		return Decoded{}, false
	}
	if err != nil {
		return refused("", BadCommand, kind+": "+err.Error()), true
	}
	return got, true
}

func (d *Decoder) jot(place string, payload []byte, arrived time.Time) (jot *farm.Jot, timed bool, err error) {
	var in struct {
		What, Amount, Of, To string
		At                   json.RawMessage
	}
	if err := strictly(payload, &in); err != nil {
		return nil, false, err
	}
	at, err := d.farm.FindPlace(place)
	if err != nil {
		return nil, false, err
	}
	j := farm.Jot{Bin: at.Bin, Zone: at.Zone, What: farm.JotKind(in.What), Of: in.Of, By: "mqtt"}
	if in.To != "" {
		to, err := d.farm.FindPlace(in.To)
		if err != nil {
			return nil, false, fmt.Errorf("to: %w", err)
		}
		j.To = to.Bin
	}
	if in.Amount != "" {
		if j.Kg, j.Litres, err = quantity.ParseAmount(in.Amount); err != nil {
			return nil, false, err
		}
	}
	if j.At, timed, err = saidAt(in.At, arrived); err != nil {
		return nil, false, err
	}
	return &j, timed, CheckJot(d.farm, j, arrived)
}

// saidAt reads when a jot was done or a hush was said; nothing means on arrival.
func saidAt(raw json.RawMessage, arrived time.Time) (at time.Time, given bool, err error) {
	t := newTree()
	out := make([]found, 1)
	t.ask("")
	if len(raw) > 0 {
		scan(raw, t, out)
	}
	at, given, ok := out[0].stamp()
	switch {
	case !ok:
		return arrived, false, fmt.Errorf("at: not a time: %s; write it as 2026-05-01T08:30:00Z", quote(raw))
	case !given:
		return arrived, false, nil
	}
	return at, true, nil
}

// hush reads a hush. Its time counts from when it was said.
func (d *Decoder) hush(place string, payload []byte, arrived time.Time) (hush *farm.Hush, timed bool, err error) {
	var in struct {
		For       string
		Condition farm.Condition
		At        json.RawMessage
	}
	if err := strictly(payload, &in); err != nil {
		return nil, false, err
	}
	at, err := d.farm.FindPlace(place)
	if err != nil {
		return nil, false, err
	}
	long, err := quantity.ParseDuration(in.For)
	if err != nil {
		return nil, false, fmt.Errorf("for: %w", err)
	}
	said, timed, err := saidAt(in.At, arrived)
	switch over := said.Add(long); {
	case err != nil:
		return nil, false, err
	case said.Sub(arrived) > longestAhead:
		return nil, false, errors.New("at: lies in the future: " + said.Format(time.RFC3339))
	case timed && long > 0 && !over.After(arrived):
		return nil, false, errors.New("for: it was over by " + over.Format(time.RFC3339))
	}
	h := farm.Hush{Bin: at.Bin, Zone: at.Zone, Condition: in.Condition, Until: said.Add(long)}
	return &h, timed, CheckHush(d.farm, h, arrived)
}

// strictly reads one JSON object into v and refuses members it does not know,
// so that a misspelt one is told rather than dropped.
func strictly(payload []byte, v any) error {
	if len(payload) > maxPayload {
		return fmt.Errorf("%d bytes, the most is %d", len(payload), maxPayload)
	}
	dec := json.NewDecoder(bytes.NewReader(payload))
	dec.DisallowUnknownFields()
	if err := dec.Decode(v); err != nil {
		return errors.New("cannot read " + quote(payload) + ": " + strings.TrimPrefix(err.Error(), "json: "))
	}
	if _, err := dec.Token(); !errors.Is(err, io.EOF) {
		return errors.New("something follows the object: " + quote(payload))
	}
	return nil
}
