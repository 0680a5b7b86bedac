package brokertest_test

import (
	"sync/atomic"
	"testing"

	mqtt "github.com/eclipse/paho.mqtt.golang"

	"binwatchd/internal/brokertest"
	"binwatchd/internal/proctest"
)

// A stop saves retained messages, a kill loses those since the last save: the
// tests of others stand on both.
func TestStopSavesAndKillDoesNot(t *testing.T) {
	b := brokertest.StartMosquitto(t, brokertest.Options{})
	b.Publish("hillfoot/saved", 1, true, "1")
	b.Stop()
	b.Start()
	b.Publish("hillfoot/asked", 1, true, "1")
	b.Save()
	b.Publish("hillfoot/lost", 1, true, "1")
	b.Kill()
	b.Start()

	var saved, asked, lost atomic.Int32
	c := brokertest.Client(t, b.URL, "reader", "", "")
	brokertest.Done(t, "subscribe", c.Subscribe("hillfoot/#", 1, func(_ mqtt.Client, m mqtt.Message) {
		switch m.Topic() {
		case "hillfoot/saved":
			saved.Add(1)
		case "hillfoot/asked":
			asked.Add(1)
		case "hillfoot/lost":
			lost.Add(1)
		}
	}))
	// The broker sends what it has stored before anything newer.
	b.Publish("hillfoot/saved", 1, false, "2")
	proctest.Eventually(t, "two messages", func() bool { return saved.Load() == 2 })
	if asked.Load() != 1 {
		t.Error("what the broker was asked to save is gone")
	}
	if lost.Load() != 0 {
		t.Error("a killed broker kept what it had not saved")
	}
}

func TestUsersAreAsked(t *testing.T) {
	b := brokertest.StartMosquitto(t, brokertest.Options{Users: map[string]string{"bins": "rhubarb"}})
	brokertest.Client(t, b.URL, "good", "bins", "rhubarb")
	bad := mqtt.NewClient(mqtt.NewClientOptions().AddBroker(b.URL).SetUsername("bins").SetPassword("wrong"))
	if token := bad.Connect(); token.Wait() && token.Error() == nil {
		t.Error("a wrong password was let in")
	}
}
