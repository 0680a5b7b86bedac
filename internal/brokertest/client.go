package brokertest

import (
	"testing"

	"binwatchd/internal/proctest"

	mqtt "github.com/eclipse/paho.mqtt.golang"
)

// Client connects a plain client to a broker at an URL, as a probe would. It
// is disconnected when the test ends. With no user it connects as nobody.
func Client(t testing.TB, url, id, user, password string) mqtt.Client {
	t.Helper()
	o := mqtt.NewClientOptions().AddBroker(url).SetClientID(id).SetUsername(user).SetPassword(password).
		SetAutoReconnect(false).SetConnectTimeout(proctest.Patience).SetWriteTimeout(proctest.Patience)
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
	if !token.WaitTimeout(proctest.Patience) {
		t.Fatalf("%s: not done after %s", what, proctest.Patience)
	}
	if err := token.Error(); err != nil {
		t.Fatalf("%s: %v", what, err)
	}
}
