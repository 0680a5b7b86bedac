package ingest

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
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
	e := farm.Event{Arrived: arrived}
	var err error
	switch kind {
	case jotTopic:
		e.Kind = farm.EventJot
		e.Jot, got.Timed, err = d.jot(place, payload, arrived)
	case hushTopic:
		e.Kind = farm.EventHush
		e.Hush, got.Timed, err = d.hush(place, payload, arrived)
	case seenTopic:
		e.Kind, e.Seen = farm.EventSeen, farm.Seen{Episode: place}
		if place == "" || !word(place) {
			err = fmt.Errorf("not the id of a condition: %q", clip(place))
		}
	default:
		return Decoded{}, false
	}
	if err != nil {
		return refused("", BadCommand, kind+": "+err.Error()), true
	}
	got.Command = &e
	return got, true
}

func (d *Decoder) jot(place string, payload []byte, arrived time.Time) (j farm.Jot, timed bool, err error) {
	var in struct {
		What, Amount, Of, To string
		At                   json.RawMessage
	}
	if err := strictly(payload, &in); err != nil {
		return j, false, err
	}
	j = farm.Jot{Bin: place, To: in.To, What: farm.JotKind(in.What), Of: in.Of, By: "mqtt"}
	if err := PlaceJot(d.farm, &j); err != nil {
		return j, false, err
	}
	if in.Amount != "" {
		if j.Kg, j.Litres, err = quantity.ParseAmount(in.Amount); err != nil {
			return j, false, err
		}
	}
	if j.At, timed, err = d.saidAt(in.At, arrived); err != nil {
		return j, false, err
	}
	return j, timed, CheckJot(d.farm, j, arrived)
}

// hush reads a hush. Its time counts from when it was said.
func (d *Decoder) hush(place string, payload []byte, arrived time.Time) (h farm.Hush, timed bool, err error) {
	var in struct {
		For       string
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
	h = farm.Hush{Bin: at.Bin, Zone: at.Zone, Condition: in.Condition, Quantity: in.Quantity, Until: said.Add(long)}
	return h, timed, CheckHush(d.farm, h, arrived)
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

// Bounds of what a keeper may write down. Common practice, no source: they
// catch a wrong year and a wrong unit, not a large farm.
const (
	oldestJot   = 366 * 24 * time.Hour
	longestHush = 366 * 24 * time.Hour
	largest     = 10000 // kg or L
	longestWord = 64    // bytes of a kind of food or an episode's id
)

// PlaceJot puts the configuration's names in place of those that a keeper wrote in
// Bin, which may name a zone too, and in To.
func PlaceJot(f *farm.Farm, j *farm.Jot) error {
	at, err := f.FindPlace(j.Bin)
	if err != nil {
		return err
	}
	j.Bin, j.Zone = at.Bin, at.Zone
	if j.To == "" {
		return nil
	}
	to, err := f.FindPlace(j.To)
	if err != nil {
		return fmt.Errorf("to: %w", err)
	}
	j.To = to.Bin
	return nil
}

// CheckJot tells what is wrong with a jot, wherever it came from: an unknown
// bin, zone or deed, an amount no bin can hold, a time to come. Now is the
// time of arrival; a zero one leaves the jot's time unchecked.
func CheckJot(f *farm.Farm, j farm.Jot, now time.Time) error {
	if err := checkPlace(f, j.Bin, j.Zone); err != nil {
		return err
	}
	switch {
	case !slices.Contains(farm.JotKinds, j.What):
		return fmt.Errorf("what: %q is not one of %s", clip(string(j.What)), list(farm.JotKinds))
	case !amount(j.Kg) || !amount(j.Litres):
		return fmt.Errorf("amount: must be from 0 to %d kg or L", largest)
	case !now.IsZero() && j.At.Sub(now) > longestAhead:
		return errors.New("at: lies in the future: " + j.At.Format(time.RFC3339))
	case now.Sub(j.At) > oldestJot:
		return errors.New("at: more than a year ago: " + j.At.Format(time.RFC3339))
	case !word(j.Of) || !word(j.By):
		return fmt.Errorf("of: not a word: %q", clip(j.Of))
	case j.What == farm.Stocked && j.Of != "" && !slices.ContainsFunc(f.Species, func(s farm.Species) bool { return s.ID == j.Of }):
		return fmt.Errorf("of: no species %q", clip(j.Of))
	case j.To == "":
		return nil
	case j.What != farm.Sifted:
		return fmt.Errorf("to: only what is sifted goes to another bin, not what is %s", j.What)
	}
	bin, zone, _ := strings.Cut(j.To, "/")
	if err := checkPlace(f, bin, zone); err != nil {
		return fmt.Errorf("to: %w", err)
	}
	return nil
}

// CheckHush tells what is wrong with a hush: an unknown bin, zone or
// condition, or an end that is past or more than a year away.
func CheckHush(f *farm.Farm, h farm.Hush, now time.Time) error {
	if err := checkPlace(f, h.Bin, h.Zone); err != nil {
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

// checkPlace looks for a bin and, when one is named, its zone, by their very
// names.
func checkPlace(f *farm.Farm, bin, zone string) error {
	want := farm.Place{Bin: bin, Zone: zone}
	got, err := f.FindPlace(want.String())
	if err == nil && got != want {
		err = fmt.Errorf("no place %q; it is called %s", clip(want.String()), got)
	}
	return err
}

func list[T ~string](all []T) string {
	out := make([]string, 0, len(all))
	for _, w := range all {
		out = append(out, string(w))
	}
	return strings.Join(out, ", ")
}

func amount(v float64) bool { return v >= 0 && v <= largest && !math.IsNaN(v) }

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
