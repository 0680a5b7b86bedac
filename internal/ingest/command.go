package ingest

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/jot"
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

// command reads jots, a hush or a seen; ok is false when the topic is none.
func (d *Decoder) command(rest string, payload []byte, arrived time.Time) (got Decoded, ok bool) {
	kind, place, _ := strings.Cut(rest, "/")
	if kind == jotTopic {
		return d.jots(place, payload, arrived), true
	}
	e := farm.Event{Arrived: arrived}
	var err error
	switch kind {
	case hushTopic:
		e.Kind = farm.EventHush
		e.Hush, got.Timed, err = d.hush(place, payload, arrived)
	case seenTopic:
		e.Kind = farm.EventSeen
		e.Seen, err = d.seen(place, payload, arrived)
	default:
		return Decoded{}, false
	}
	if err != nil {
		return refused("", BadCommand, kind+": "+err.Error()), true
	}
	got.Commands = []farm.Event{e}
	return got, true
}

// seen reads who knows of a condition, or looks after it; any text that is no object says no more
// than that somebody knows.
func (d *Decoder) seen(id string, payload []byte, arrived time.Time) (n farm.Seen, err error) {
	var in struct{ By, Until string }
	if bytes.HasPrefix(bytes.TrimSpace(payload), []byte("{")) {
		err = strictly(payload, &in)
	}
	n = farm.Seen{Episode: id, By: d.by(in.By)}
	switch {
	case err != nil:
		return n, err
	case id == "" || !word(id):
		return n, fmt.Errorf("not the id of a condition: %q", clip(id))
	case in.Until != "":
		n.Until, err = jot.Until(d.farm, in.Until, arrived)
	}
	return n, err
}

// hush reads a hush. Its time counts from when it was said.
func (d *Decoder) hush(place string, payload []byte, arrived time.Time) (h farm.Hush, timed bool, err error) {
	var in struct {
		For, By   string
		Condition farm.Condition
		Quantity  farm.Quantity
		At        json.RawMessage
	}
	if err := strictly(payload, &in); err != nil {
		return h, false, err
	}
	at, err := d.farm.FindPlace(place)
	if err != nil {
		return h, false, err
	}
	long, err := quantity.ParseDuration(in.For)
	if err != nil {
		return h, false, fmt.Errorf("for: %w", err)
	}
	said, timed, err := d.saidAt(in.At, arrived)
	switch over := said.Add(long); {
	case err != nil:
		return h, false, err
	case said.Sub(arrived) > longestAhead:
		return h, false, errors.New("at: lies in the future: " + said.Format(time.RFC3339))
	case timed && long > 0 && !over.After(arrived):
		return h, false, errors.New("for: it was over by " + over.Format(time.RFC3339))
	}
	h = farm.Hush{Bin: at.Bin, Zone: at.Zone, Condition: in.Condition, Quantity: in.Quantity, Until: said.Add(long), By: d.by(in.By)}
	return h, timed, CheckHush(d.farm, h, arrived)
}

// by is who a message says that it is by: a broker tells nobody who has published it.
func (d *Decoder) by(said string) string {
	p, known := d.farm.PersonCalled(said)
	switch {
	case known:
		return p.Name
	case said == "" || !word(said):
		return farm.ByMQTT
	}
	return said
}

// saidAt reads when a jot was done or a hush was said; nothing means on arrival.
func (d *Decoder) saidAt(raw json.RawMessage, arrived time.Time) (at time.Time, given bool, err error) {
	v := jsonValue{text, unquoted(raw)}
	if string(raw) == "null" {
		v.kind = null
	}
	at, given, ok := v.stamp(d.farm.Location, arrived)
	switch {
	case !ok:
		return arrived, false, fmt.Errorf("at: not a time: %s; write it as 2026-05-01T08:30:00Z", quote(raw))
	case !given:
		return arrived, false, nil
	}
	return at, true, nil
}

// strictly reads one JSON object into v and refuses members it does not know,
// so that a misspelt one is told rather than dropped.
func strictly(payload []byte, v any) error {
	if len(payload) > maxPayload {
		return fmt.Errorf("it is too long, the most is %d bytes", maxPayload)
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

// Bounds of what a keeper may write down. Common practice, no source.
const (
	longestHush = 366 * 24 * time.Hour
	longestWord = 64 // bytes of an episode's id
)

// CheckHush tells what is wrong with a hush: an unknown bin, zone or
// condition, or an end that is past or more than a year away.
func CheckHush(f *farm.Farm, h farm.Hush, now time.Time) error {
	if err := jot.CheckPlace(f, h.Bin, h.Zone); err != nil {
		return err
	}
	switch {
	case h.Condition != "" && !slices.Contains(farm.Conditions, h.Condition):
		return fmt.Errorf("condition: %q is not one of %s", clip(string(h.Condition)), list(farm.Conditions))
	case h.Quantity != "" && !h.Quantity.Row().Limits:
		return fmt.Errorf("quantity: %q is not one that has limits", clip(string(h.Quantity)))
	case !h.Until.After(now):
		return errors.New("for: must be longer than nothing")
	case h.Until.Sub(now) > longestHush:
		return errors.New("for: must not be longer than a year")
	}
	return nil
}

func list[T ~string](all []T) string {
	out := make([]string, 0, len(all))
	for _, w := range all {
		out = append(out, string(w))
	}
	return strings.Join(out, ", ")
}

// word tells whether a text is short and printable.
func word(s string) bool {
	return len(s) <= longestWord && !strings.ContainsFunc(s, func(r rune) bool { return r < ' ' || r == 0x7f || r == '\uFFFD' })
}

// clip shortens a text from outside for an error message.
func clip(s string) string { return clipped(s, longestWord) }

func clipped(s string, most int) string {
	if len(s) <= most {
		return s
	}
	return s[:most] + "…"
}
