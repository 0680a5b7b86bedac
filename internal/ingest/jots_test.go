package ingest_test

import (
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/google/go-cmp/cmp"

	"binwatchd/internal/brokertest"
	"binwatchd/internal/farm"
	"binwatchd/internal/ingest"
)

// Words on the topic of a jot mean what they mean to the command. What is not
// understood is refused with the nearest reading, and kept as a note.
func TestJotsInWords(t *testing.T) {
	water := farm.Jot{At: noon, Bin: "bed", Zone: "near", What: farm.Watered, Litres: 2, By: "mqtt"}
	yesterday := water
	yesterday.At = time.Date(2026, 4, 30, 12, 0, 0, 0, time.UTC)
	note := func(bin, zone, words string) farm.Jot {
		return farm.Jot{At: noon, Bin: bin, Zone: zone, What: farm.Noted, Words: words, By: "mqtt"}
	}
	for _, tt := range []struct {
		name, topic, payload string
		want                 []farm.Jot
		answer               ingest.Answer
	}{
		{"of the topic's place", "jot/bed/near", "watered 2 L", []farm.Jot{water},
			ingest.Answer{Topic: "binwatch/answer/jot/bed/near", Said: "watered 2 L", Understood: []string{"Bed, near watered 2 L"}}},
		{"of the place it names", "jot", " watered bed near 2 L\n", []farm.Jot{water},
			ingest.Answer{Topic: "binwatch/answer/jot", Said: "watered bed near 2 L", Understood: []string{"Bed, near watered 2 L"}}},
		{"with its time", "jot/bed/near", "watered 2 L yesterday", []farm.Jot{yesterday},
			ingest.Answer{Topic: "binwatch/answer/jot/bed/near", Said: "watered 2 L yesterday", Understood: []string{"Bed, near watered 2 L, Thu 30 Apr, 12:00"}}},
		{"several, a letter off", "jot/bed", "waterd near end 2 L and turned", []farm.Jot{water, {At: noon, Bin: "bed", Zone: "near", What: farm.Turned, By: "mqtt"}},
			ingest.Answer{Topic: "binwatch/answer/jot/bed", Said: "waterd near end 2 L and turned", Understood: []string{"Bed, near watered 2 L", "Bed, near turned"}, Took: []string{"waterd for watered"}}},
		{"unclear", "jot/bed", "turned and fed 2 kg of grain to the neighbour", []farm.Jot{note("bed", "", "turned and fed 2 kg of grain to the neighbour")},
			ingest.Answer{Topic: "binwatch/answer/jot/bed", Said: "turned and fed 2 kg of grain to the neighbour", Refused: `no bin "neighbour"; there are bed and crate`,
				Nearest: []string{"Bed turned", "Bed fed 2 kg of grain"}, Note: "Bed noted: turned and fed 2 kg of grain to the neighbour"}},
		{"no bin", "jot/shelf", "watered 2 L", []farm.Jot{note("", "", "watered 2 L")},
			ingest.Answer{Topic: "binwatch/answer/jot/shelf", Said: "watered 2 L", Refused: `no bin "shelf"; there are bed, crate`, Note: "noted: watered 2 L"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			got := ingest.NewDecoder(shed(), "binwatch").Decode("binwatch/"+tt.topic, []byte(tt.payload), noon)
			var jots []farm.Jot
			for _, e := range got.Commands {
				jots = append(jots, e.Jot)
			}
			if diff := cmp.Diff(tt.want, jots); diff != "" {
				t.Errorf("jots (-want +got):\n%s", diff)
			}
			if diff := cmp.Diff(&tt.answer, got.Answer); diff != "" {
				t.Errorf("answer (-want +got):\n%s", diff)
			}
			if refused := len(got.Rejected) == 1; refused != (tt.answer.Refused != "") {
				t.Errorf("got %v rejected", got.Rejected)
			}
			var sent map[string]any
			if err := json.Unmarshal(got.Answer.Payload(), &sent); err != nil || sent["said"] != tt.answer.Said {
				t.Errorf("sent %s, %v", got.Answer.Payload(), err)
			}
		})
	}
}

// The object that programs send takes amounts and times as people write them.
func TestJotsByObject(t *testing.T) {
	got := ingest.NewDecoder(shed(), "binwatch").Decode("binwatch/jot/bed/near", []byte(`{"what":"watered","amount":"half a gallon","at":"yesterday 5pm"}`), noon)
	want := farm.Jot{At: time.Date(2026, 4, 30, 17, 0, 0, 0, time.UTC), Bin: "bed", Zone: "near", What: farm.Watered, Litres: 3.785411784 / 2, By: "mqtt"}
	if len(got.Commands) != 1 || !got.Timed {
		t.Fatalf("got %+v", got)
	}
	if diff := cmp.Diff(want, got.Commands[0].Jot); diff != "" {
		t.Error(diff)
	}
	for _, payload := range []string{`{"what":"watered","amount":"some"}`, `{"what":"watered","at":"tomorrow"}`, `{"what":"noted"}`, `{"what":"turned","amount":"900 gal"}`} {
		got := ingest.NewDecoder(shed(), "binwatch").Decode("binwatch/jot/bed/near", []byte(payload), noon)
		if len(got.Commands) > 0 || got.Answer == nil || !strings.Contains(got.Rejected[0].Detail, got.Answer.Refused) || got.Answer.Refused == "" {
			t.Errorf("%s: got %+v", payload, got)
		}
	}
}

// The sender of a jot hears what has become of it: of mosquitto, and of our own broker
// where it may jot.
func TestAnswersAreHeard(t *testing.T) {
	answer := &ingest.Answer{Topic: "binwatch/answer/jot/bed", Said: "fed", Refused: "why"}
	listen := func(t *testing.T, url string, refused bool, login ...string) <-chan string {
		heard := make(chan string, 1)
		o := mqtt.NewClientOptions().AddBroker(url).SetClientID(fmt.Sprint("phone", login)).SetProtocolVersion(4)
		if len(login) > 0 {
			o.SetUsername(login[0]).SetPassword(login[1])
		}
		c := mqtt.NewClient(o)
		if token := c.Connect(); !token.WaitTimeout(patience) || token.Error() != nil {
			t.Fatal(token.Error())
		}
		t.Cleanup(func() { c.Disconnect(0) })
		token := c.Subscribe("binwatch/answer/#", 1, func(_ mqtt.Client, m mqtt.Message) { heard <- m.Topic() + " " + string(m.Payload()) }).(*mqtt.SubscribeToken)
		if !token.WaitTimeout(patience) || (token.Result()["binwatch/answer/#"] == 0x80) != refused {
			t.Fatalf("subscribed: %v, %v", token.Result(), token.Error())
		}
		return heard
	}
	want := fmt.Sprintf("%s %s", answer.Topic, answer.Payload())
	t.Run("mosquitto", func(t *testing.T) {
		b := brokertest.StartMosquitto(t, brokertest.Options{})
		s, h := source(t, b, nil)
		h.up()
		heard := listen(t, b.URL, false)
		s.Answer(answer)
		if got := <-heard; got != want {
			t.Errorf("heard %s, want %s", got, want)
		}
	})
	t.Run("our own", func(t *testing.T) {
		l, h := listener(t, func(c *ingest.ListenerConfig) {
			c.Login, c.Keeper = ingest.Login{User: "probes", Password: "willow"}, ingest.Login{User: "keeper", Password: "aspen"}
		})
		h.up()
		url := "tcp://" + l.Addr().String()
		heard := listen(t, url, false, "keeper", "aspen")
		l.Answer(answer)
		if got := <-heard; got != want {
			t.Errorf("heard %s, want %s", got, want)
		}
		listen(t, url, true, "probes", "willow")
	})
}
