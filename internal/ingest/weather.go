package ingest

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"binwatchd/internal/farm"
)

// Bounds of a weather that is foretold. Common practice, no source: what lies beyond
// them is a wrong unit or a wrong year.
const (
	weatherHours = 72 // that are kept: nobody asks for more than a day and a half
	coldestAir   = -60.0
	hottestAir   = 60.0
)

// aheadTopics lists the topics on which the weather of some room comes ahead.
func aheadTopics(f *farm.Farm) (topics []string) {
	for _, r := range f.Rooms {
		if r.Ahead != "" && !slices.Contains(topics, r.Ahead) {
			topics = append(topics, r.Ahead)
		}
	}
	return topics
}

// weather reads a message of the weather to come, whoever has sent it: a JSON list of
// times and degrees Celsius, each a pair or an object with at and c. Of the hours that
// are over nothing is kept.
func (d *Decoder) weather(topic string, payload []byte, arrived time.Time) Decoded {
	hours, err := weatherOf(payload, d.farm.Location, arrived)
	if err != nil {
		return refused("", BadWeather, "no weather to come: "+err.Error())
	}
	return Decoded{Commands: []farm.Event{{Kind: farm.EventWeather, Arrived: arrived, Weather: &farm.Weather{Topic: topic, Hours: hours}}}}
}

func weatherOf(payload []byte, zone *time.Location, arrived time.Time) (hours []farm.WeatherHour, err error) {
	var items []json.RawMessage
	if len(payload) > maxPayload {
		return nil, fmt.Errorf("it is too long, the most is %d bytes", maxPayload)
	}
	if err := json.Unmarshal(payload, &items); err != nil {
		return nil, fmt.Errorf(`%s is not a list such as [["2026-05-01T18:00:00Z", 4.5], ["2026-05-01T19:00:00Z", 3.9]]`, quote(payload))
	}
	for i, item := range items {
		hour, err := weatherHour(item, zone)
		if err != nil {
			return nil, fmt.Errorf("entry %d of %d: %w", i+1, len(items), err)
		}
		hours = append(hours, hour)
	}
	slices.SortStableFunc(hours, func(a, b farm.WeatherHour) int { return a.At.Compare(b.At) })
	hours = slices.CompactFunc(hours, func(a, b farm.WeatherHour) bool { return a.At.Equal(b.At) })
	if !arrived.IsZero() { // one before it is wanted, to draw the line from
		for len(hours) > 1 && !hours[1].At.After(arrived) {
			hours = hours[1:]
		}
		if len(hours) > 0 && hours[len(hours)-1].At.Before(arrived) {
			return nil, errors.New("all of it is over: it ends with " + hours[len(hours)-1].At.Format(time.RFC3339))
		}
	}
	if len(hours) < 2 {
		return nil, errors.New("it says nothing of two different times")
	}
	return hours[:min(len(hours), weatherHours)], nil
}

// weatherHour reads one entry.
func weatherHour(item json.RawMessage, zone *time.Location) (h farm.WeatherHour, err error) {
	var pair []json.RawMessage
	if json.Unmarshal(item, &pair) != nil {
		var named struct{ At, C json.RawMessage }
		if json.Unmarshal(item, &named) != nil {
			return h, fmt.Errorf("%s is neither a pair nor an object with at and c", quote(item))
		}
		pair = []json.RawMessage{named.At, named.C}
	}
	if len(pair) != 2 || pair[0] == nil || pair[1] == nil {
		return h, fmt.Errorf("%s has not a time and a temperature", quote(item))
	}
	at, given, ok := jsonValue{text, unquoted(pair[0])}.stamp(zone, time.Time{})
	if !given || !ok {
		return h, fmt.Errorf("%s is not a time; write it as 2026-05-01T18:00:00Z", quote(pair[0]))
	}
	if err := json.Unmarshal(pair[1], &h.TempC); err != nil || string(pair[1]) == "null" {
		return h, fmt.Errorf("%s is not a temperature", quote(pair[1]))
	}
	if h.TempC < coldestAir || h.TempC > hottestAir {
		return h, fmt.Errorf("%g °C is no temperature of air; degrees Celsius are meant", h.TempC)
	}
	h.At, h.TempC = at.UTC().Truncate(time.Second), math.Round(h.TempC*10)/10
	return h, nil
}
