package main

import (
	"bytes"
	"encoding/base64"
	"fmt"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/brokertest"
	"binwatchd/internal/influxtest"
	"binwatchd/internal/proctest"
)

const secretsYAML = `farm: Hillfoot Nursery
timezone: UTC
broker: {url: %q, user: bins, password: {file: %q}}
journal: {backup: {to: copies, disk: same}, path: %q, flush: 1s}
influx: {url: %q, flavour: v1, database: bins, user: keeper, password: {env: HIDE_INFLUX}}
page: {listen: %q, password: {file: %q}, open: [health, metrics]}
mail: {server: %q, from: bins@example.org, user: bins, password: {env: HIDE_MAIL}, ca: %q}
sign_of_life: {url: {env: HIDE_LIFE}, every: 1m}
probes:
  n: {topic: chaos/n, value: /v, time: /at, measures: temperature, every: 1h}
  b: {topic: chaos/b, measures: battery, low: 3.3, every: 1h, of: [n]}
bins:
  bed: {species: red, zones: {all: {aim: living, probes: [n]}}}
tell:
  - {mail: keeper@example.org, about: [now, today, soon]}
  - {push: {env: HIDE_PUSH}, about: [now, today, soon]}
  - {webhook: %q, secret: {env: HIDE_HOOK}, about: [now, today, soon]}
rounds: {send: "Sat 08:00", to: keeper@example.org}
`

// secrets are the ones in use, by what they open. None is a word that anything
// else would print.
var secrets = map[string]string{
	"broker": "sTolon-r4king:7f", "influx": "tilth&Furr0w=9", "page": "Dibber@ke!mulch-55", "mail": "h0tbed/cloche?31",
	"life": "w4ttle-hurdle-88", "push": "tru9-basket-push", "hook": "whsec_" + base64.StdEncoding.EncodeToString([]byte("a-cold-frame-of-32-bytes-or-more")),
	"plain": "pl4in-in-the-file",
}

// A secretive is a daemon with a secret for everything, none of which the other
// side takes, and all that it and its commands have said.
type secretive struct {
	t      *testing.T
	dir    string
	cfg    string
	env    []string
	page   string
	daemon *proctest.Process
	said   bytes.Buffer
}

// shut is a server that refuses everything and repeats what it was asked, as
// careless ones do.
func shut(t *testing.T) *httptest.Server {
	t.Helper()
	s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.WriteHeader(http.StatusForbidden)
		fmt.Fprintf(w, "no %s for %s %s", r.Method, r.URL, r.Header)
	}))
	t.Cleanup(s.Close)
	return s
}

func startSecretive(t *testing.T) *secretive {
	t.Helper()
	s := &secretive{t: t, dir: t.TempDir(), page: proctest.FreeAddr(t)}
	b := brokertest.StartMosquitto(t, brokertest.Options{Users: map[string]string{"bins": secrets["broker"]}})
	db := influxtest.StartInfluxd(t, influxtest.Options{Auth: true})
	box, none := startMailbox(t), shut(t)
	if err := os.Mkdir(filepath.Join(s.dir, "copies"), 0o750); err != nil {
		t.Fatal(err)
	}
	host := strings.TrimPrefix(none.URL, "http://")
	s.cfg = write(t, s.dir, "binwatchd.yaml", fmt.Sprintf(secretsYAML, b.URL, secretFile(t, s.dir, "broker", secrets["broker"]),
		filepath.Join(s.dir, "journal.db"), db.URL, s.page, secretFile(t, s.dir, "page", secrets["page"]), box.addr, box.ca, none.URL+"/hook"))
	s.env = []string{
		"HIDE_INFLUX=" + secrets["influx"], "HIDE_MAIL=" + secrets["mail"], "HIDE_LIFE=" + none.URL + "/" + secrets["life"],
		"HIDE_PUSH=generic://" + host + "/" + secrets["push"] + "?disabletls=yes", "HIDE_HOOK=" + secrets["hook"],
	}
	s.daemon = startChild(t, s.env, "run", "--config", s.cfg, "--verbose")
	s.daemon.Says("broker reached")
	c := brokertest.Client(t, b.URL, "", "bins", secrets["broker"])
	brokertest.Done(t, "publish", c.Publish("chaos/n", 1, false, numbered(1, time.Now())))
	brokertest.Done(t, "publish", c.Publish("chaos/n", 1, false, `{"v": "warm"}`))
	brokertest.Done(t, "publish", c.Publish("chaos/b", 1, false, "3"))
	return s
}

// command runs a command in the daemon's environment and keeps what it says.
func (s *secretive) command(args ...string) {
	s.t.Helper()
	cmd := exec.Command(os.Args[0], append(args, "--config", s.cfg)...)
	cmd.Env = append(append(os.Environ(), childMark+"=1"), s.env...)
	out, err := cmd.CombinedOutput()
	if err != nil && cmd.ProcessState == nil {
		s.t.Fatal(err)
	}
	if len(out) == 0 && cmd.ProcessState.ExitCode() != exitDone {
		s.t.Errorf("binwatchd %s ended with %d without a word", args[0], cmd.ProcessState.ExitCode())
	}
	fmt.Fprintf(&s.said, "$ binwatchd %s\n%s", strings.Join(args, " "), out)
}

// browse looks at the pages, first with a wrong password, then with the right
// one.
func (s *secretive) browse() {
	s.t.Helper()
	jar, err := cookiejar.New(nil)
	if err != nil {
		s.t.Fatal(err)
	}
	c := &http.Client{Jar: jar}
	in := false
	for _, password := range []string{secrets["page"] + "x", secrets["page"]} {
		resp, err := c.PostForm("http://"+s.page+"/login", url.Values{"password": {password}})
		if err != nil {
			s.t.Fatal(err)
		}
		s.keep(resp)
		in = resp.StatusCode == http.StatusOK
	}
	if !in {
		s.t.Error("the right password did not open the page")
	}
	for _, path := range []string{"/", "/metrics", "/healthz", "/probes", "/probes/n", "/rounds", "/bins/bed", "/jot", "/hush", "/api", "/api/now", "/api/rounds", "/no-such-page"} {
		resp, err := c.Get("http://" + s.page + path)
		if err != nil {
			s.t.Fatal(err)
		}
		s.keep(resp)
	}
}

func (s *secretive) keep(resp *http.Response) {
	s.t.Helper()
	defer resp.Body.Close()
	body, err := io.ReadAll(resp.Body)
	if err != nil {
		s.t.Fatal(err)
	}
	fmt.Fprintf(&s.said, "%s %v\n%s\n", resp.Request.URL.Path, resp.Header, body)
}

// No secret is in anything that the program says, shows or keeps, not in a
// refusal by the other side, nor when the configuration is wrong.
func TestSecretsAreNeverShown(t *testing.T) {
	t.Parallel()
	s := startSecretive(t)
	proctest.Eventually(t, "everything that needs a secret has been tried", func() bool {
		log := s.daemon.Log.String()
		for _, part := range []string{"teller=mail:", "teller=push:", "teller=webhook:", "influx", "sign of life"} {
			if !strings.Contains(log, part) {
				return false
			}
		}
		return true
	})
	s.browse()
	listed, err := os.ReadFile(fmt.Sprintf("/proc/%d/cmdline", s.daemon.Cmd.Process.Pid)) // what everybody on the machine may read
	if err != nil || !bytes.Contains(listed, []byte("--config")) {
		t.Fatalf("the list of processes has %q, %v", listed, err)
	}
	s.said.Write(listed)
	limits, err := os.ReadFile(fmt.Sprintf("/proc/%d/limits", s.daemon.Cmd.Process.Pid))
	if err != nil || !regexp.MustCompile(`(?m)^Max core file size +0 +0 `).Match(limits) {
		t.Errorf("a dump of memory may be written: %v\n%s", err, limits)
	}
	for _, line := range []string{"check", "check --show", "now", "now --json", "rounds", "tell-test", "export", "rehearse --journal",
		"resend --from 2020-01-01T00:00:00Z", "backup " + filepath.Join(s.dir, "copy.db")} {
		s.command(strings.Fields(line)...)
	}
	// A reload that changes secrets' places, and one with a secret in the open.
	text, err := os.ReadFile(s.cfg)
	if err != nil {
		t.Fatal(err)
	}
	write(t, s.dir, "binwatchd.yaml", strings.Replace(string(text), "{env: HIDE_HOOK}", fmt.Sprintf("{file: %q}", secretFile(t, s.dir, "hook", secrets["hook"])), 1))
	hangup(s.t, s.daemon)
	s.daemon.Says("configuration reloaded")
	write(t, s.dir, "binwatchd.yaml", strings.Replace(string(text), "{env: HIDE_MAIL}", secrets["plain"], 1))
	hangup(s.t, s.daemon)
	s.daemon.Says("configuration not taken")
	s.command("check")
	s.daemon.Stop()
	s.search()
}

// search looks for every secret, plain and in the forms it goes over the wire
// in, in all that was said and in the journal's files.
func (s *secretive) search() {
	s.t.Helper()
	places := map[string][]byte{"the log": []byte(s.daemon.Log.String()), "a page or a command": s.said.Bytes()}
	files, err := filepath.Glob(filepath.Join(s.dir, "*.db*"))
	own, errOwn := filepath.Glob(filepath.Join(s.dir, "copies", "*.db"))
	if err != nil || errOwn != nil || len(files) < 2 || len(own) != 1 {
		s.t.Fatalf("got the files %v and %v (%v), want the journal, its copy and one by the daemon itself", files, own, err)
	}
	files = append(files, own...)
	for _, f := range files {
		if places[filepath.Base(f)], err = os.ReadFile(f); err != nil {
			s.t.Fatal(err)
		}
	}
	for what, secret := range secrets {
		for _, form := range formsOf(what, secret) {
			for place, text := range places {
				if i := bytes.Index(text, []byte(form)); i >= 0 {
					s.t.Errorf("the secret of %s is in %s: ...%s...", what, place, text[max(0, i-120):min(len(text), i+120)])
				}
			}
		}
	}
}

// formsOf gives a secret plain, escaped for a URL, in base64, and as the
// credentials of HTTP's and SMTP's plain login.
func formsOf(what, secret string) []string {
	code := base64.StdEncoding.EncodeToString
	forms := []string{secret, url.QueryEscape(secret), url.PathEscape(secret), code([]byte(secret)),
		code([]byte("keeper:" + secret)), code([]byte("\x00bins\x00" + secret))}
	if what == "hook" {
		forms = append(forms, strings.TrimPrefix(secret, "whsec_"), "a-cold-frame-of-32-bytes-or-more")
	}
	return forms
}
