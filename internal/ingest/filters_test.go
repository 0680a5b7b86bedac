package ingest_test

import (
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"binwatchd/internal/farm"
	"binwatchd/internal/ingest"
)

func withTopics(topics ...string) *farm.Farm {
	f := &farm.Farm{}
	for i, topic := range topics {
		f.Probes = append(f.Probes, farm.Probe{ID: string(rune('a' + i)), Topic: topic, Measures: farm.Moisture, Unit: farm.Percent})
	}
	return f
}

func TestFilters(t *testing.T) {
	commands := []string{"binwatch/hush/#", "binwatch/jot/#", "binwatch/seen/#"}
	cases := []struct {
		name   string
		topics []string
		want   []string
	}{
		{"each its own", []string{"a/b", "a/c"}, []string{"a/b", "a/c"}},
		{"the same twice", []string{"a/b", "a/b"}, []string{"a/b"}},
		{"one covers the other", []string{"a/b", "a/+"}, []string{"a/+"}},
		{"everything below", []string{"a/#", "a", "a/b/c"}, []string{"a/#"}},
		{"crossing ones are joined", []string{"a/+/t", "+/b/t"}, []string{"+/+/t"}},
		{"joining meets a third", []string{"c/d/t", "a/+/t", "+/b/t"}, []string{"+/+/t"}},
		{"everything there is", []string{"#"}, []string{"#"}},
		{"the broker's own", []string{"$SYS/broker/uptime", "+/broker/uptime"}, []string{"$SYS/broker/uptime", "+/broker/uptime"}},
	}
	for _, tt := range cases {
		t.Run(tt.name, func(t *testing.T) {
			got := ingest.NewDecoder(withTopics(tt.topics...), "binwatch/").Filters()
			want := tt.want
			if want[0] != "#" {
				want = append(want, commands...)
			}
			if diff := cmp.Diff(slices.Sorted(slices.Values(want)), got); diff != "" {
				t.Error(diff)
			}
		})
	}
}

// A topic that feeds a probe is subscribed to exactly once. The matching here
// is written from MQTT 3.1.1 §4.7, apart from the program's.
func TestEveryTopicIsSubscribedOnce(t *testing.T) {
	level := rapid.SampledFrom([]string{"a", "b", "c"})
	rapid.Check(t, func(t *rapid.T) {
		filter := rapid.Custom(func(t *rapid.T) string {
			levels := rapid.SliceOfN(rapid.SampledFrom([]string{"a", "b", "c", "+"}), 1, 4).Draw(t, "levels")
			if rapid.IntRange(0, 4).Draw(t, "rest") == 0 {
				levels = append(levels, "#")
			}
			return strings.Join(levels, "/")
		})
		topics := rapid.SliceOfN(filter, 1, 6).Draw(t, "filters")
		topic := strings.Join(rapid.SliceOfN(level, 1, 5).Draw(t, "topic"), "/")
		d := ingest.NewDecoder(withTopics(topics...), "binwatch")
		feeds := 0
		for _, f := range topics {
			if fits(strings.Split(f, "/"), strings.Split(topic, "/")) {
				feeds++
			}
		}
		if got := len(d.Decode(topic, []byte("50"), noon).Readings); got != feeds {
			t.Fatalf("%s feeds %d probes of %v, want %d", topic, got, topics, feeds)
		}
		times := 0
		for _, f := range d.Filters() {
			if fits(strings.Split(f, "/"), strings.Split(topic, "/")) {
				times++
			}
		}
		if times > 1 || feeds > 0 && times == 0 {
			t.Fatalf("%s is subscribed to %d times by %v", topic, times, d.Filters())
		}
	})
}

func fits(filter, topic []string) bool {
	switch {
	case len(filter) > 0 && filter[0] == "#":
		return true
	case len(filter) == 0 || len(topic) == 0:
		return len(filter) == len(topic)
	case filter[0] != "+" && filter[0] != topic[0]:
		return false
	}
	return fits(filter[1:], topic[1:])
}
