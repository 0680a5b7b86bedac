package loopback_test

import (
	"testing"

	"binwatchd/internal/loopback"
)

func TestIs(t *testing.T) {
	for host, want := range map[string]bool{
		"localhost": true, "Localhost": true, "LOCALHOST": true, "localhost.": true, "Localhost.": true,
		"127.0.0.1": true, "127.1.2.3": true, "127.255.255.255": true, "::1": true, "[::1]": true, "0:0:0:0:0:0:0:1": true, "::1%lo": true,
		"::ffff:127.0.0.1": true, "[::ffff:127.0.0.1]": true, "::FFFF:7f00:1": true,

		"": false, ".": false, "[]": false, "0.0.0.0": false, "::": false, "*": false, "128.0.0.1": false, "192.168.1.20": false, "fe80::1": false,
		"127.1": false, "127": false, "2130706433": false, "0x7f.0.0.1": false, "127.0.0.1.": false, "127.0.0.01": false, // forms that only some resolvers take
		"localhost..": false, "localhost.example.org": false, "my.localhost": false, "ocalhost": false, "localhost:1883": false,
		"127.0.0.1.example.org": false, "::ffff:192.168.1.20": false, "locaIhost": false, "ŀocalhost": false, "localhoſt": false, "[127.0.0.1": false,
	} {
		if got := loopback.Is(host); got != want {
			t.Errorf("%q: got %v, want %v", host, got, want)
		}
	}
}
