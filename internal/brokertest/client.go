package brokertest

import (
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
)

// Client connects a plain client to a broker at an URL, as a probe would. It
// is disconnected when the test ends. With no user it connects as nobody.
func Client(t testing.TB, url, id, user, password string) mqtt.Client {
	t.Helper()
	o := mqtt.NewClientOptions().AddBroker(url).SetClientID(id).SetUsername(user).SetPassword(password).
		SetAutoReconnect(false).SetConnectTimeout(patience).SetWriteTimeout(patience)
	c := mqtt.NewClient(o)
	Done(t, "connect "+id, c.Connect())
	t.Cleanup(func() { c.Disconnect(50) })
	return c
}

// Publish sends one message from a client of its own, and returns when the
// broker has it.
func (b *Broker) Publish(topic string, qos byte, retained bool, payload string) {
	b.t.Helper()
	c := Client(b.t, b.URL, "", "", "")
	defer c.Disconnect(50)
	Done(b.t, "publish "+topic, c.Publish(topic, qos, retained, payload))
}

// Done waits until a client's request is done, and fails the test if it fails.
func Done(t testing.TB, what string, token mqtt.Token) {
	t.Helper()
	if !token.WaitTimeout(patience) {
		t.Fatalf("%s: not done after %s", what, patience)
	}
	if err := token.Error(); err != nil {
		t.Fatalf("%s: %v", what, err)
	}
}

// Eventually waits until a condition holds, and fails the test if it never
// does.
func Eventually(t testing.TB, what string, holds func() bool) {
	t.Helper()
	tick := time.NewTicker(5 * time.Millisecond)
	defer tick.Stop()
	for deadline := time.Now().Add(patience); !holds(); <-tick.C {
		if time.Now().After(deadline) {
			t.Fatalf("%s: not after %s", what, patience)
		}
	}
}
