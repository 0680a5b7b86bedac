package config_test

import (
	"fmt"
	"maps"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	mqtt "github.com/eclipse/paho.mqtt.golang"

	"binwatchd/internal/brokertest"
	"binwatchd/internal/config"
	"binwatchd/internal/proctest"
)

const samples = "../../configs/"

func TestSmallSample(t *testing.T) {
	text := read(t, samples+"small.yaml")
	if c := parseAt(t, text, config.ForRun); len(c.Notes) != 0 {
		t.Errorf("got notes %v", c.Notes)
	}
	if lines := strings.Count(text, "\n"); lines > 20 {
		t.Errorf("the small sample has %d lines", lines)
	}
}

// otherWay is a line of the full sample that shows another way to write a key.
var otherWay = regexp.MustCompile(`(?m)^# ([a-z_]+): \{.*$`)

// ways gives the full sample as it is, then once more with each other way put
// in the place of its key.
func ways(text string) []string {
	all := []string{text}
	for _, m := range otherWay.FindAllStringSubmatch(text, -1) {
		block := regexp.MustCompile(`(?m)^` + m[1] + `:.*\n( .*\n)*`)
		all = append(all, block.ReplaceAllLiteralString(text, strings.TrimPrefix(m[0], "# ")+"\n"))
	}
	return all
}

// The full sample loads in each of its ways, and together they use every key
// there is.
func TestFullSampleHasEveryKey(t *testing.T) {
	all := ways(read(t, samples+"full.yaml"))
	if len(all) < 5 {
		t.Fatalf("found only %d ways", len(all))
	}
	used := map[string]bool{}
	for i, text := range all {
		if _, err := atDesk.Parse(fmt.Sprintf("full.yaml, way %d", i), []byte(text), config.ForRun); err != nil {
			t.Errorf("%v", err)
		}
		markKeys(used, schemaOf(t), "", decoded(t, text))
	}
	for _, path := range slices.Sorted(maps.Keys(keysOf(schemaOf(t), ""))) {
		parent, source := path[:strings.LastIndex(path, ".")], path[strings.LastIndex(path, ".")+1:]
		if used[".people.*.tell"] && strings.HasPrefix(path, ".people.*.tell.") {
			continue // they are those of tell
		}
		if slices.Contains([]string{"file", "env", "credential"}, source) && used[parent] {
			continue // one source of each secret is enough; all three are among them
		}
		if !used[path] {
			t.Errorf("the full sample has no %s", path)
		}
	}
}

// markKeys marks the keys that a value uses, by the paths of keysOf.
func markKeys(used map[string]bool, s shape, at string, v any) {
	switch v := v.(type) {
	case map[string]any:
		known := keysOf(s, "")
		for name, x := range v {
			path := at + "." + name
			if _, fixed := known[path]; !fixed {
				path = at + ".*"
			}
			used[path] = true
			markKeys(used, s, path, x)
		}
	case []any:
		for _, x := range v {
			markKeys(used, s, at, x)
		}
	}
}

// mosquitto takes the sample beside Debian's own configuration, lets nobody in
// without a password, and keeps more for a daemon that is away than the 1000
// messages of its default.
func TestMosquittoSample(t *testing.T) {
	dir, addr := t.TempDir(), proctest.FreeAddr(t)
	port := addr[strings.LastIndex(addr, ":")+1:]
	sample := strings.NewReplacer(
		"listener 1883 127.0.0.1", "listener "+port+" 127.0.0.1",
		"/etc/mosquitto/binwatchd.passwords", dir+"/passwords",
	).Replace(read(t, samples+"mosquitto.conf"))
	if err := os.Mkdir(dir+"/conf.d", 0o755); err != nil {
		t.Fatal(err)
	}
	debian := "pid_file " + dir + "/pid\npersistence true\npersistence_location " + dir + "/\nlog_dest stderr\ninclude_dir " + dir + "/conf.d\nuser root\n"
	for name, text := range map[string]string{"conf.d/binwatchd.conf": sample, "mosquitto.conf": debian} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if out, err := exec.Command("mosquitto_passwd", "-b", "-c", dir+"/passwords", "binwatchd", "hunter2").CombinedOutput(); err != nil {
		t.Fatalf("mosquitto_passwd: %v: %s", err, out)
	}
	startMosquitto(t, filepath.Join(dir, "mosquitto.conf"), addr)

	nobody := mqtt.NewClient(mqtt.NewClientOptions().AddBroker("tcp://" + addr).SetClientID("nobody"))
	if token := nobody.Connect(); token.Wait() && token.Error() == nil {
		t.Error("somebody came in without a password")
	}
	keepsMessages(t, "tcp://"+addr, 1500)
}

// keepsMessages publishes to a session that is away, and counts what it gets
// when it is back.
func keepsMessages(t *testing.T, url string, n int) {
	t.Helper()
	got := make(chan struct{}, n)
	connect := func() mqtt.Client {
		o := mqtt.NewClientOptions().AddBroker(url).SetClientID("binwatchd").SetUsername("binwatchd").SetPassword("hunter2").
			SetCleanSession(false).SetDefaultPublishHandler(func(mqtt.Client, mqtt.Message) { got <- struct{}{} })
		c := mqtt.NewClient(o)
		brokertest.Done(t, "connect", c.Connect())
		return c
	}
	away := connect()
	brokertest.Done(t, "subscribe", away.Subscribe("glass/#", 1, nil))
	away.Disconnect(100)

	probe := brokertest.Client(t, url, "probe", "binwatchd", "hunter2")
	var last mqtt.Token
	for i := range n {
		last = probe.Publish("glass/bed", 1, false, fmt.Sprint(i))
	}
	brokertest.Done(t, "publish", last)
	back := connect()
	t.Cleanup(func() { back.Disconnect(100) })
	proctest.Eventually(t, fmt.Sprintf("all of %d messages", n), func() bool { return len(got) == n })
}

func startMosquitto(t *testing.T, conf, addr string) {
	t.Helper()
	path, err := exec.LookPath("mosquitto")
	if err != nil {
		path = "/usr/sbin/mosquitto" // where Debian has it; a user's PATH may lack sbin
	}
	p := proctest.Start(t, exec.Command(path, "-c", conf))
	err = p.Ready(func() bool {
		c, err := net.Dial("tcp", addr)
		if err == nil {
			c.Close()
		}
		return err == nil
	})
	if err != nil {
		t.Fatalf("mosquitto refuses the sample: %v", err)
	}
}
