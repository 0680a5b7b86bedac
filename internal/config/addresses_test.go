package config_test

import (
	"strings"
	"testing"

	"binwatchd/internal/config"
)

// A name that ends in the root's dot is this machine, but no resolver need know
// it in that form: what is listened at has none.
func TestListenAtLoopbackByName(t *testing.T) {
	text := read(t, "../../configs/small.yaml")
	for written, want := range map[string]string{"localhost.:8338": "localhost:8338", "LOCALHOST.:8338": "LOCALHOST:8338", "Localhost:8338": "Localhost:8338", "[::1]:8338": "[::1]:8338"} {
		t.Run(written, func(t *testing.T) {
			c := parseAt(t, strings.Replace(text, `"127.0.0.1:8338"`, `"`+written+`"`, 1), config.ForRun)
			if c.Page.Listen != want {
				t.Errorf("got %q, want %q", c.Page.Listen, want)
			}
		})
	}
}

// A scheme may be written in any letters.
func TestTLSNeedsAnAddressWithTLS(t *testing.T) {
	for _, url := range []string{"tcp://mq.example:1883", "TCP://mq.example:1883", "MQTT://mq.example:1883"} {
		text := replaced(t, `{url: "tcp://127.0.0.1:1883"}`, `{url: "`+url+`", tls: {ca: ca.pem}}`)
		_, err := atDesk.Parse("farm.yaml", []byte(text), config.ForRun)
		if err == nil || !strings.Contains(err.Error(), "this address is a plain one") {
			t.Errorf("%s: got %v, want it refused", url, err)
		}
	}
}
