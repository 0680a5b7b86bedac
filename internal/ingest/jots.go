package ingest

import (
	"bytes"
	"cmp"
	"encoding/json"
	"errors"
	"strings"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/jot"
)

// answerTopic is where answers to jots go, under the prefix, followed by the topic of
// the jot: binwatch/answer/jot/bed/near.
const answerTopic = "answer"

// An Answer is what becomes of a jot that came as a message, for its sender to hear.
type Answer struct {
	Topic      string   `json:"-"`
	Said       string   `json:"said"`                 // the message
	Understood []string `json:"understood,omitempty"` // the lines that are written, in full
	Took       []string `json:"took,omitempty"`       // what was taken for what, where a letter was off
	Refused    string   `json:"refused,omitempty"`    // why nothing of it is written
	Nearest    []string `json:"nearest,omitempty"`    // what it may mean; nothing of it is written
	Note       string   `json:"note,omitempty"`       // the note that is kept in its place
}

// Payload is an answer as it is sent.
func (a *Answer) Payload() []byte {
	b, err := json.Marshal(a)
	if err != nil {
		return nil // of texts alone it can't be
	}
	return b
}

// jots reads the lines of a logbook: words as a keeper writes them, or the one JSON
// object for programs. What is not understood is refused, and words are kept as a note
// all the same.
func (d *Decoder) jots(place string, payload []byte, arrived time.Time) (got Decoded) {
	text := strings.ToValidUTF8(string(bytes.TrimSpace(payload)), "\uFFFD")
	got.Answer = &Answer{Topic: strings.TrimSuffix(d.prefix+answerTopic+"/"+jotTopic+"/"+place, "/"), Said: clip(text)}
	var lines []farm.Jot
	var err error
	switch {
	case len(payload) > maxPayload:
		_, err = d.jotObject(place, payload, arrived)
	case strings.HasPrefix(text, "{"):
		var one farm.Jot
		if one, err = d.jotObject(place, payload, arrived); err == nil {
			lines = []farm.Jot{one}
		}
	default:
		lines, err = d.jotWords(place, text, arrived, got.Answer)
	}
	if err != nil {
		got.Answer.Refused = err.Error()
		got.Rejected = []Rejection{{Reason: BadCommand, Detail: jotTopic + ": " + err.Error()}}
	}
	got.Timed = len(lines) > 0
	for i, j := range lines {
		got.Timed = got.Timed && !j.At.IsZero()
		switch said := jot.Said(d.farm, j); {
		case err != nil:
			got.Answer.Note = said
		default:
			got.Answer.Understood = append(got.Answer.Understood, said)
		}
		if j.By = cmp.Or(j.By, farm.ByMQTT); j.At.IsZero() {
			j.At = arrived
		}
		got.Commands = append(got.Commands, farm.Event{Kind: farm.EventJot, Arrived: arrived, Jot: j})
		lines[i] = j
	}
	return got
}

// jotWords reads words. After an error the lines are the note that is kept of them.
func (d *Decoder) jotWords(place, text string, arrived time.Time, a *Answer) ([]farm.Jot, error) {
	var here farm.Place
	var err error
	if place != "" {
		here, err = d.farm.FindPlace(place)
	}
	if text == "" {
		return nil, cmp.Or(err, errors.New("an empty message"))
	}
	var r jot.Reading
	if err == nil {
		r, err = jot.ReadAt(d.farm, here, text, arrived)
	}
	if err == nil {
		a.Took = r.Took
		return r.Jots, nil
	}
	var q *jot.Question
	if errors.As(err, &q) {
		a.Nearest = q.Nearest.Says(d.farm)
	}
	return []farm.Jot{jot.Note(d.farm, here, text, arrived)}, err
}

// jotObject reads the object that programs send.
func (d *Decoder) jotObject(place string, payload []byte, arrived time.Time) (j farm.Jot, err error) {
	var in struct {
		What, Amount, Of, To, Words, By string
		At                              json.RawMessage
	}
	if err := strictly(payload, &in); err != nil {
		return j, err
	}
	j = farm.Jot{Bin: place, To: in.To, What: farm.JotKind(in.What), Of: in.Of, Words: in.Words, By: d.by(in.By)}
	if err := jot.Place(d.farm, &j); err != nil {
		return j, err
	}
	if in.Amount != "" {
		got, err := jot.Amount(d.farm, in.Amount)
		if err != nil {
			return j, err
		}
		j.Kg, j.Litres = got.Kg, got.Litres
	}
	at, timed, err := d.saidWhen(in.At, arrived)
	if err != nil {
		return j, err
	}
	checked := j
	if checked.At = at; timed {
		j.At = at
	}
	return j, jot.Check(d.farm, checked, arrived)
}

// saidWhen reads when a jot was done: a time stamp, or words such as "yesterday 5pm".
func (d *Decoder) saidWhen(raw json.RawMessage, arrived time.Time) (at time.Time, given bool, err error) {
	at, given, err = d.saidAt(raw, arrived)
	if err == nil {
		return at, given, nil
	}
	var words string
	if json.Unmarshal(raw, &words) == nil {
		if when, wrong := jot.When(d.farm, words, arrived); wrong == nil {
			return when, !when.IsZero(), nil
		}
	}
	return at, given, err
}
