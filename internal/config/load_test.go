package config_test

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/config"
	"binwatchd/internal/farm"
	"binwatchd/internal/influx"
	"binwatchd/internal/ingest"
	"binwatchd/internal/journal"
	"binwatchd/internal/notify"
	"binwatchd/internal/page"
	"binwatchd/internal/secret"
	"github.com/google/go-cmp/cmp"
)

// parseAt loads a text as the file /etc/binwatchd/farm.yaml.
func parseAt(t *testing.T, text string, need config.Need) *config.Config {
	t.Helper()
	c, err := atDesk.Parse("/etc/binwatchd/farm.yaml", []byte(text), need)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// replaced is the base configuration with one text replaced by another.
func replaced(t *testing.T, old, text string) string {
	t.Helper()
	base := read(t, "testdata/base.yaml")
	if strings.Count(base, old) != 1 {
		t.Fatalf("%q does not occur once in the base", old)
	}
	return strings.Replace(base, old, text, 1)
}

// The file of the design, to the letter.
func TestContractLoads(t *testing.T) {
	c := parseAt(t, read(t, "testdata/contract.yaml"), config.ForRun)
	zone, err := time.LoadLocation("Europe/London")
	if err != nil {
		t.Fatal(err)
	}

	f := c.Farm
	if f.Name != "Hillfoot Nursery" || f.Units != farm.Metric || f.Location.String() != zone.String() {
		t.Errorf("got %q, %s, %s", f.Name, f.Units, f.Location)
	}
	pace := farm.Zone{
		Patience: 30 * time.Minute, Margin: map[farm.Quantity]float64{farm.Temperature: 0.5, farm.Moisture: 2},
		LookAhead: farm.LookAhead{Heating: 12 * time.Hour, Cooling: 18 * time.Hour, Warming: 18 * time.Hour, Drying: 7 * 24 * time.Hour},
	}
	near, far, all := pace, pace, pace
	near.Name, near.Aim, near.Probes, near.Share = "near", farm.Living, []string{"bed-t", "bed-m"}, 0.7
	near.Bands = map[farm.Quantity]farm.Bands{farm.Moisture: farm.Bands{Thrive: farm.Band{Low: 68, High: 82}, Survive: farm.Band{Low: 58, High: 88}}}
	far.Name, far.Aim, far.Probes, far.Share, far.Patience = "far", farm.Sifting, []string{"bed-far-m"}, 0.3, time.Hour
	all.Name, all.Aim, all.Probes, all.Share = "all", farm.Keeping, []string{"crate-m", "crate-t"}, 1
	bins := []farm.Bin{
		{Name: "bed", Species: []farm.Share{{Species: "red", Fraction: 0.5}, {Species: "blue", Fraction: 0.5}},
			VolumeL: 160, WormsKg: 3, Ambient: "glass-air", Zones: []farm.Zone{near, far}},
		{Name: "crate", VolumeL: 60, Zones: []farm.Zone{all}},
	}
	if diff := cmp.Diff(bins, f.Bins); diff != "" {
		t.Errorf("bins (-want +got):\n%s", diff)
	}

	ten := 10 * time.Minute
	probes := []farm.Probe{
		{ID: "bed-t", Topic: "glass/bed", Value: "/temp_f", Time: "/at", Measures: farm.Temperature, Unit: farm.Fahrenheit, Every: ten},
		{ID: "bed-m", Topic: "glass/bed", Value: "/soil", Measures: farm.Moisture, Unit: farm.RawUnit, Every: ten,
			Calibration: []farm.Point{{Raw: 1420, Value: 84}, {Raw: 2850, Value: 12}}},
		{ID: "bed-far-m", Topic: "glass/far/moisture", Measures: farm.Moisture, Unit: farm.Percent, Every: ten},
		{ID: "glass-air", Topic: "glass/air/temperature", Measures: farm.Temperature, Unit: farm.Celsius, Every: ten},
		{ID: "crate-m", Topic: "store/crate/m", Measures: farm.Moisture, Unit: farm.Percent, Every: ten},
		{ID: "crate-t", Topic: "store/crate/t", Measures: farm.Temperature, Unit: farm.Celsius, Every: ten},
		{ID: "crate-b", Topic: "store/crate/b", Measures: farm.Battery, Unit: farm.Volt, Every: ten, Low: 3.3, Of: []string{"crate-m", "crate-t"}},
	}
	if diff := cmp.Diff(probes, f.Probes); diff != "" {
		t.Errorf("probes (-want +got):\n%s", diff)
	}
	needs := []farm.Need{{CastingsL: 200, By: time.Date(2026, time.April, 10, 0, 0, 0, 0, zone)}}
	if diff := cmp.Diff(needs, f.Needs); diff != "" {
		t.Errorf("needs (-want +got):\n%s", diff)
	}
}

func TestContractServers(t *testing.T) {
	c := parseAt(t, read(t, "testdata/contract.yaml"), config.ForRun)
	got := struct {
		Broker                              ingest.BrokerSettings
		Journal                             journal.Settings
		Control                             string
		Influx                              *influx.Settings
		Page                                *page.Settings
		Mail                                *notify.MailSettings
		Every                               time.Duration
		Rounds                              *notify.RoundsMail
		Password, Token, SMTP, Life, P, Key string
	}{
		Broker: c.Broker, Journal: c.Journal, Control: c.Control, Influx: c.Influx, Page: c.Page, Mail: c.Mail,
		Every: c.SignOfLife.Every, Rounds: c.Rounds,
		Password: c.Broker.Password.String(), Token: c.Influx.Token.String(), SMTP: c.Mail.Password.String(),
		Life: c.SignOfLife.URL.String(), P: c.Tell[1].Push.String(), Key: c.Tell[2].Secret.String(),
	}
	want := got
	want.Broker = ingest.BrokerSettings{URL: "tcp://127.0.0.1:1883", User: "binwatchd", Password: c.Broker.Password,
		ClientID: "binwatchd-hillfoot-nursery", Prefix: "binwatch"}
	want.Journal = journal.Settings{Path: "/var/lib/binwatchd/journal.db", Flush: 30 * time.Second, Keep: 400 * 24 * time.Hour}
	want.Control = "/var/lib/binwatchd/binwatchd.sock"
	want.Influx = &influx.Settings{URL: "http://127.0.0.1:8086", Flavour: influx.V2, Org: "hillfoot", Bucket: "bins", Token: c.Influx.Token, Measurement: "bin_levels"}
	want.Page = &page.Settings{Listen: "127.0.0.1:8338", Open: []page.Part{page.Health}}
	want.Mail = &notify.MailSettings{Server: "mail.example.org:587", From: "bins@example.org", User: "bins", Password: c.Mail.Password, Security: notify.StartTLS}
	want.Every = 15 * time.Minute
	want.Rounds = &notify.RoundsMail{Schedule: notify.Schedule{Days: []time.Weekday{time.Saturday}, At: 8 * time.Hour}, To: []string{"keeper@example.org"}}
	want.Password, want.Token, want.SMTP = "{file: /etc/binwatchd/broker.secret}", "{file: /etc/binwatchd/influx.secret}", "{credential: smtp}"
	want.Life, want.P, want.Key = "{file: /etc/binwatchd/life.secret}", "{file: /etc/binwatchd/push.secret}", "{file: /etc/binwatchd/hook.secret}"
	if diff := cmp.Diff(want, got, cmp.AllowUnexported(secret.Secret{})); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}

	urgent := []string{"now", "today"}
	tell := []notify.TellerSettings{
		{Mail: "keeper@example.org", About: urgent, Quiet: &notify.Window{From: 22 * time.Hour, To: 7 * time.Hour}, Remind: 12 * time.Hour, PerHour: 10},
		{Push: c.Tell[1].Push, About: urgent[:1], PerHour: 10},
		{Webhook: "https://example.org/hook", Secret: c.Tell[2].Secret, About: urgent, PerHour: 10},
	}
	if diff := cmp.Diff(tell, c.Tell, cmp.AllowUnexported(secret.Secret{})); diff != "" {
		t.Errorf("tell (-want +got):\n%s", diff)
	}
}

// Secrets that are not there are told of, not refused: a configuration is
// checked at a desk where they do not lie.
func TestUnreadableSecretIsANote(t *testing.T) {
	t.Setenv("CREDENTIALS_DIRECTORY", "")
	c := parseAt(t, replaced(t, brokerAt, `{url: "tcp://127.0.0.1:1883", user: bins, password: {file: broker.secret}}`), config.ForRun)
	want := []config.Problem{{File: "/etc/binwatchd/farm.yaml", Line: 3, Column: 61,
		Message: "secret {file: /etc/binwatchd/broker.secret}: no such file or directory"}}
	if diff := cmp.Diff(want, c.Notes); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}

func TestRehearsalNeedsTheFarmAlone(t *testing.T) {
	text := replaced(t, "broker: "+brokerAt+"\njournal: {path: /var/lib/binwatchd/journal.db}\n",
		"tell: [{mail: keeper@example.org}, {push: {env: NOT_SET_HERE}}]\n")
	c := parseAt(t, text, config.ForRehearsal)
	if c.Broker.Prefix != "binwatch" || c.Control != "" || len(c.Notes) != 0 || len(c.Farm.Bins) != 1 {
		t.Errorf("got prefix %q, control %q, notes %v, %d bins", c.Broker.Prefix, c.Control, c.Notes, len(c.Farm.Bins))
	}
	if _, err := atDesk.Parse("farm.yaml", []byte(text), config.ForRun); err == nil {
		t.Error("a daemon was given a configuration without broker and journal")
	}
}

func TestProblemsComeAllAtOnce(t *testing.T) {
	text := read(t, "testdata/base.yaml")
	text = strings.Replace(text, "aim: living", "aim: livng", 1)
	text = strings.Replace(text, "measures: moisture", "measures: moist", 1)
	text = strings.Replace(text, "species: red", "specis: red", 1)
	_, err := atDesk.Parse("farm.yaml", []byte(text), config.ForRun)
	want := `farm.yaml:7:50: "moist" is not a quantity: did you mean moisture?
farm.yaml:12:5: a bin has no key "specis": did you mean species?
farm.yaml:15:18: "livng" is not an aim: did you mean living?`
	if err == nil || err.Error() != want {
		t.Errorf("got\n%v\nwant\n%s", err, want)
	}
}

func TestUnreadableFile(t *testing.T) {
	dir := t.TempDir()
	for _, path := range []string{filepath.Join(dir, "none.yaml"), dir} {
		_, err := config.Load(path, config.ForRun)
		var problems *config.Problems
		if err == nil || errors.As(err, &problems) || !strings.Contains(err.Error(), path) {
			t.Errorf("Load(%q): got %v, want a plain error that names it", path, err)
		}
	}
}

// Files are looked for beside the configuration, wherever the daemon starts.
func TestRelativePaths(t *testing.T) {
	dir := t.TempDir()
	text := strings.NewReplacer(
		"/var/lib/binwatchd/journal.db", "data/journal.db",
		brokerAt, `{url: "ssl://127.0.0.1:8883", user: bins, password: {file: s}, tls: {ca: ca.pem}}`,
	).Replace(read(t, "testdata/base.yaml"))
	path := filepath.Join(dir, "farm.yaml")
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "s"), []byte("hunter2\n"), 0o640); err != nil {
		t.Fatal(err)
	}
	c, err := config.Load(path, config.ForRun)
	if err != nil {
		t.Fatal(err)
	}
	password, err := c.Broker.Password.Reveal()
	if password != "hunter2" || err != nil {
		t.Errorf("password: got %q, %v", password, err)
	}
	got := []string{c.Journal.Path, c.Control, c.Broker.TLS.CA}
	want := []string{filepath.Join(dir, "data/journal.db"), filepath.Join(dir, "data/binwatchd.sock"), filepath.Join(dir, "ca.pem")}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}

// Two farms may keep their journals in one folder; their daemons must not share a
// socket.
func TestEachJournalHasASocketOfItsOwn(t *testing.T) {
	for journal, want := range map[string]string{
		"/srv/bins/journal.db": "/srv/bins/binwatchd.sock",
		"/srv/bins/yard.db":    "/srv/bins/binwatchd-yard.db.sock",
		"/srv/bins/yard":       "/srv/bins/binwatchd-yard.sock",
	} {
		c := parseAt(t, replaced(t, "/var/lib/binwatchd/journal.db", journal), config.ForRun)
		if c.Control != want {
			t.Errorf("%s: the socket is %s, want %s", journal, c.Control, want)
		}
	}
}

// Without timezone the machine's own name for its zone is shown, for people
// read it.
func TestMachineZoneHasItsName(t *testing.T) {
	path := filepath.Join(t.TempDir(), "farm.yaml")
	if err := os.WriteFile(path, []byte(replaced(t, "timezone: Europe/London\n", "")), 0o600); err != nil {
		t.Fatal(err)
	}
	t.Setenv("TZ", "America/Los_Angeles")
	c, err := config.Load(path, config.ForRun)
	if err != nil {
		t.Fatal(err)
	}
	if got := c.Farm.Location.String(); got != "America/Los_Angeles" {
		t.Errorf("got %s", got)
	}
	if shown := show(t, c); !strings.Contains(shown, "timezone: America/Los_Angeles # the machine's\n") {
		t.Errorf("shown:\n%s", shown)
	}
}

// A file that was written on Windows, or with a byte order mark, is the same.
func TestForeignLineEnds(t *testing.T) {
	base := read(t, "testdata/base.yaml")
	want := parseAt(t, base, config.ForRun)
	got := parseAt(t, "\ufeff"+strings.ReplaceAll(base, "\n", "\r\n"), config.ForRun)
	if diff := cmp.Diff(want.Farm, got.Farm, cmp.Comparer(sameLocation)); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}
