package ingest

import (
	"slices"
	"strings"
	"time"

	"binwatchd/internal/farm"
)

// goneWords are what devices, bridges and their last wills commonly say when they are
// gone, in small letters. Common practice, no source; lost and disconnected are of the Homie
// convention, version 4.
var goneWords = []string{"offline", "lost", "disconnected", "unavailable", "gone", "dead", "down", "false", "0"}

// aliveOf is how the device on a topic of that kind says that it is alive; ok is false
// where no probe has the topic for that.
func aliveOf(f *farm.Farm, topic string) (a farm.Alive, ok bool) {
	i := slices.IndexFunc(f.Probes, func(p farm.Probe) bool { return p.Alive.Topic == topic && topic != "" })
	if i < 0 {
		return a, false
	}
	return f.Probes[i].Alive, true
}

// liveness reads a message by which a device says that it is there, or its broker that it is
// gone; nothing where it says neither.
func (d *Decoder) liveness(a farm.Alive, payload []byte, arrived time.Time) []farm.Event {
	word := ""
	leaves := Leaves(payload, nil)
	for _, l := range leaves {
		if l.Pointer == a.Value || a.Value == "" && (len(leaves) == 1 || l.Pointer == "/state") {
			word = strings.TrimSpace(l.Text)
		}
	}
	if word == "" {
		return nil
	}
	gone := slices.ContainsFunc(a.Gone, func(w string) bool { return strings.EqualFold(w, word) })
	if len(a.Gone) == 0 {
		gone = slices.Contains(goneWords, strings.ToLower(word))
	}
	return []farm.Event{{Kind: farm.EventAlive, Arrived: arrived, Alive: &farm.Liveness{Topic: a.Topic, Gone: gone, Says: clip(word)}}}
}
