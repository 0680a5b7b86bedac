package main

import (
	"context"
	"fmt"
	"io"
	"net/http"
	"net/mail"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/brokertest"
	"binwatchd/internal/farm"
	"binwatchd/internal/journal"
	"binwatchd/internal/proctest"
)

const spineYAML = `farm: Hillfoot Nursery
timezone: UTC
broker: {url: %[1]q}
journal: {path: %[2]q, flush: 1s}
page: {listen: %[3]q, address: "http://%[3]s"}
mail: {server: %[4]q, from: bins@example.org, user: bins, password: {env: SPINE_MAIL}, ca: %[5]q}
probes:
  bed-t: {topic: glass/bed, value: /t, time: /at, measures: temperature}
  bed-m: {topic: glass/bed, value: /soil/0, time: /at, measures: moisture}
  bad-t: {topic: shed/t, measures: temperature}
bins:
  bed: {species: red, volume: 160 L, zones: {near: {aim: living, probes: [bed-t, bed-m]}}}
  shed: {species: red, zones: {all: {aim: living, probes: [bad-t]}}}
tell:
  - {mail: keeper@example.org}
  - {mail: ann@example.org}
  - {webhook: %[6]q, secret: {env: SPINE_HOOK}}
`

// A spine is the daemon with everything around it that it talks to.
type spine struct {
	t       *testing.T
	broker  *brokertest.Broker
	box     *mailbox
	hook    *hook
	daemon  *proctest.Process
	cfg     string
	db      string
	page    string
	from    time.Time // of the first reading
	sent    int
	rejects int
}

func startSpine(t *testing.T) *spine {
	t.Helper()
	dir := t.TempDir()
	s := &spine{
		t: t, broker: brokertest.StartMosquitto(t, brokertest.Options{}), box: startMailbox(t), hook: startHook(t),
		db: filepath.Join(dir, "journal.db"), page: proctest.FreeAddr(t), from: time.Now().UTC().Add(-30 * time.Hour).Truncate(time.Minute),
	}
	s.cfg = write(t, dir, "binwatchd.yaml", fmt.Sprintf(spineYAML, s.broker.URL, s.db, s.page, s.box.addr, s.box.ca, s.hook.url))
	s.daemon = startChild(t, []string{"SPINE_MAIL=" + mailPassword, "SPINE_HOOK=" + s.hook.secret}, "run", "--config", s.cfg)
	s.daemon.Says("broker reached")
	return s
}

// live publishes the bed's day from one hour to another: a reading every ten
// minutes, stamped by the device.
func (s *spine) live(fromHour, toHour float64) {
	s.t.Helper()
	c := brokertest.Client(s.t, s.broker.URL, "glass", "", "")
	defer c.Disconnect(50)
	for h := fromHour; h < toHour-0.01; h += 1.0 / 6 {
		at := s.from.Add(time.Duration(h * float64(time.Hour))).Round(time.Second)
		body := fmt.Sprintf(`{"t": %.2f, "soil": ["76.5", 0], "at": %q}`, bedTemperature(h), at.Format(time.RFC3339))
		brokertest.Done(s.t, "publish", c.Publish("glass/bed", 1, false, body))
		s.sent++
	}
}

// bedTemperature rises from 20 to 35 °C at 3 K/h, stays, and falls again; a day later it is
// hot once more.
func bedTemperature(h float64) float64 {
	switch {
	case h < 2:
		return 20
	case h < 7:
		return 20 + 3*(h-2)
	case h < 9:
		return 35
	case h < 14:
		return 35 - 3*(h-9)
	case h >= 26.5:
		return min(20+8*(h-26.5), 36)
	}
	return 20
}

// babble publishes what no probe should.
func (s *spine) babble() {
	s.t.Helper()
	c := brokertest.Client(s.t, s.broker.URL, "shed", "", "")
	defer c.Disconnect(50)
	for _, bad := range []string{"", "warm", `{"t": 20}`, "\xff\xfe\x00", strings.Repeat("9", 1<<20)} {
		brokertest.Done(s.t, "publish", c.Publish("shed/t", 1, false, bad))
		s.rejects++
	}
	brokertest.Done(s.t, "publish", c.Publish("shed/t", 1, false, "NaN")) // a number that is none: kept and doubted
	brokertest.Done(s.t, "publish", c.Publish("shed/t", 1, true, "21.5"))
}

// The whole way through, with a real broker, a real SMTP server and a webhook,
// and the broker stopped and started again in between.
func TestReadingsInTroubleOut(t *testing.T) {
	t.Parallel()
	s := startSpine(t)
	s.babble()
	s.live(0, 8)
	proctest.Eventually(t, "the heat is told", func() bool {
		return s.told(farm.TooHot, farm.Worsened) && len(s.buttons("ann@example.org")) > 0 && len(s.buttons("keeper@example.org")) > 0
	})
	s.checkMetrics()
	s.checkCommands()

	s.broker.Stop()
	s.daemon.Says("broker lost")
	s.broker.Start()
	proctest.Eventually(t, "the broker is reached again", func() bool { return strings.Count(s.daemon.Log.String(), "broker reached") == 2 })
	s.live(8, 26.5) // a mild limit is over when the level has been inside for 12 h
	proctest.Eventually(t, "the easing is told", func() bool { return s.told(farm.TooHot, farm.Eased) && s.mailed("no longer too hot") })

	s.checkGarbage()
	s.live(26.5, 29.9) // it heats again
	proctest.Eventually(t, "the heat stands again", func() bool {
		return slices.ContainsFunc(nowView(t, s.cfg).Standing, func(st farm.Standing) bool { return st.Condition == farm.TooHot })
	})
	s.checkButtons()
	s.daemon.Stop()
	s.checkJournal()
	s.checkNotices()
}

// buttons are the addresses of the buttons of the first mail to somebody about the heat, by
// what they do.
func (s *spine) buttons(to string) map[string]string {
	found := map[string]string{}
	for _, m := range s.box.all() {
		body := strings.ReplaceAll(bodyOf(m), "=3D", "=")
		for _, b := range regexp.MustCompile(`http://[^\s"<>]+/act\?do=(\w+)&t=\w+`).FindAllStringSubmatch(body, -1) {
			if strings.Contains(m.Header.Get("To"), to) && strings.Contains(body, "too hot") && found[b[1]] == "" {
				found[b[1]] = b[0]
			}
		}
	}
	return found
}

// checkButtons goes from the mail that a real server took to its buttons' addresses: to look
// does nothing, to press is in the journal, and who presses after another hears of them.
func (s *spine) checkButtons() {
	s.t.Helper()
	mine, hers := s.buttons("keeper@example.org"), s.buttons("ann@example.org")
	before := len(s.acted()) // by commands
	press := func(address string, want ...string) {
		s.t.Helper()
		u, err := url.Parse(address)
		if err != nil || len(u.Query()) != 2 {
			s.t.Fatalf("got the button %q, %v", address, err)
		}
		resp, err := http.PostForm("http://"+u.Host+u.Path, u.Query())
		if err != nil {
			s.t.Fatal(err)
		}
		defer resp.Body.Close()
		body, _ := io.ReadAll(resp.Body)
		for _, w := range want {
			if resp.StatusCode != http.StatusOK || !strings.Contains(string(body), w) {
				s.t.Errorf("%s: status %d without %q:\n%s", u.Path, resp.StatusCode, w, body)
			}
		}
	}
	for _, b := range []map[string]string{mine, hers} {
		for _, do := range []string{"done", "known", "quiet"} {
			if page := fetched(s.t, b[do]); !strings.Contains(page, `name="do" value="`+do+`"`) {
				s.t.Errorf("the button %q leads to\n%s", do, page)
			}
		}
	}
	if got := s.acted()[before:]; len(got) > 0 {
		s.t.Errorf("to look did %q", got)
	}
	press(mine["done"], "Written: Bed") // though it is kept quiet, by the command pasted above
	press(mine["done"], "You did that already")
	press(hers["done"], "keeper@example.org did that already")
	press(hers["known"], "Noted that you know")
	press(hers["quiet"], "Quiet about")
	press(mine["quiet"], "ann@example.org did that already")
	if got, want := s.acted()[before:], []string{"turned bed/near by keeper@example.org", "seen", "quiet about bed/near too-hot"}; !slices.Equal(got, want) {
		s.t.Errorf("in the journal is %q, want %q", got, want)
	}
}

// acted is what keepers have done, in the journal's order.
func (s *spine) acted() (all []string) {
	s.t.Helper()
	j, err := journal.OpenReadOnly(context.Background(), journal.Config{Path: s.db, Now: time.Now})
	if err != nil {
		s.t.Fatal(err)
	}
	defer j.Close()
	if err := j.Replay(context.Background(), 0, func(e farm.Event) error {
		switch e.Kind {
		case farm.EventJot:
			all = append(all, fmt.Sprintf("%s %s/%s by %s", e.Jot.What, e.Jot.Bin, e.Jot.Zone, e.Jot.By))
		case farm.EventSeen:
			all = append(all, "seen")
		case farm.EventHush:
			all = append(all, fmt.Sprintf("quiet about %s/%s %s", e.Hush.Bin, e.Hush.Zone, e.Hush.Condition))
		}
		return nil
	}); err != nil {
		s.t.Fatal(err)
	}
	return all
}

func (s *spine) told(c farm.Condition, kind farm.ChangeKind) bool {
	for _, p := range s.hook.all() {
		if p.Condition == c && p.Change.Change == kind {
			return true
		}
	}
	return false
}

func (s *spine) mailed(text string) bool {
	for _, m := range s.box.all() {
		if strings.Contains(m.Header.Get("Subject"), text) || strings.Contains(bodyOf(m), text) {
			return true
		}
	}
	return false
}

// bodyOf reads a mail's body once and keeps it for the next reader.
func bodyOf(m *mail.Message) string {
	b, _ := io.ReadAll(m.Body)
	m.Body = strings.NewReader(string(b))
	return strings.ReplaceAll(string(b), "=\r\n", "")
}

func (s *spine) checkMetrics() {
	s.t.Helper()
	for _, line := range []string{
		`binwatch_condition{bin="bed",condition="too-hot",urgency="now",zone="near"} 1`,
		`binwatch_broker_connected 1`,
		`binwatch_notices_total{by="mail",outcome="told"}`, // counted a moment after the server's word
		`binwatch_readings_total{outcome="believed",probe="bed-t"}`,
	} {
		proctest.Eventually(s.t, "/metrics holds "+line, func() bool { return strings.Contains(s.metrics(), line) })
	}
}

// checkCommands pastes what a notice offers into a shell, elsewhere than where
// the daemon was started.
func (s *spine) checkCommands() {
	s.t.Helper()
	offered := regexp.MustCompile(`(?m)^  (binwatchd (?:seen|hush) .*too-hot.*?)\r?$`)
	pasted := 0
	for _, m := range s.box.all() {
		for _, found := range offered.FindAllStringSubmatch(bodyOf(m), -1) {
			cmd := exec.Command("/bin/sh", "-c", `binwatchd() { "$SELF" "$@"; }; `+found[1])
			cmd.Dir, cmd.Env = "/", append(os.Environ(), childMark+"=1", "SELF="+os.Args[0])
			if out, err := cmd.CombinedOutput(); err != nil {
				s.t.Errorf("%s: %v: %s", found[1], err, out)
			}
			pasted++
		}
	}
	st := nowView(s.t, s.cfg).Standing
	if pasted < 2 || !slices.ContainsFunc(st, func(st farm.Standing) bool { return st.Condition == farm.TooHot && st.Seen && st.Hushed != nil }) {
		s.t.Errorf("%d commands were pasted; then stood %+v", pasted, st)
	}
}

func (s *spine) metrics() string {
	s.t.Helper()
	return fetched(s.t, "http://"+s.page+"/metrics")
}

// fetched gives what stands at an address.
func fetched(t *testing.T, url string) string {
	t.Helper()
	resp, err := http.Get(url)
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	body, err := io.ReadAll(resp.Body)
	if err != nil {
		t.Fatal(err)
	}
	return string(body)
}

// checkGarbage: the other probes are untouched, and the bad one is counted by
// reason where a keeper looks.
func (s *spine) checkGarbage() {
	s.t.Helper()
	v := nowView(s.t, s.cfg)
	for _, p := range v.Probes {
		total := int64(0)
		for _, n := range p.Rejected {
			total += n
		}
		switch {
		case p.ID == "bad-t" && (total != int64(s.rejects) || len(p.Rejected) < 3 || p.Counts[farm.OutcomeDoubted] != 1):
			s.t.Errorf("got %v rejected and %v kept of bad-t, want %d rejected, by reason, and one doubted", p.Rejected, p.Counts, s.rejects)
		case p.ID != "bad-t" && total != 0:
			s.t.Errorf("got %v rejected of %s, want none", p.Rejected, p.ID)
		}
	}
	out, _ := runChild(s.t, "now", "--config", s.cfg)
	if !strings.Contains(out, "bad-t: 21.5 °C") || !strings.Contains(out, "not_a_number 3") {
		s.t.Errorf("binwatchd now does not show the bad probe:\n%s", out)
	}
}

// checkJournal: nothing lost, nothing twice.
func (s *spine) checkJournal() {
	s.t.Helper()
	j, err := journal.OpenReadOnly(context.Background(), journal.Config{Path: s.db, Now: time.Now})
	if err != nil {
		s.t.Fatal(err)
	}
	defer j.Close()
	seen := map[time.Time]int{}
	if err := j.Replay(context.Background(), 0, func(e farm.Event) error {
		if e.Kind == farm.EventReading && e.Reading.Probe == "bed-t" {
			seen[e.Reading.At]++
		}
		return nil
	}); err != nil {
		s.t.Fatal(err)
	}
	if len(seen) != s.sent {
		s.t.Errorf("got %d readings in the journal, want %d", len(seen), s.sent)
	}
	for at, n := range seen {
		if n != 1 {
			s.t.Errorf("the reading of %s is in the journal %d times", at, n)
		}
	}
}

// checkNotices: each change once to each recipient, in one thread of mails.
func (s *spine) checkNotices() {
	s.t.Helper()
	ids := map[string]int{}
	for _, p := range s.hook.all() {
		ids[p.ID]++
		if ids[p.ID] > 1 {
			s.t.Errorf("webhook %s (%s %s) came twice", p.ID, p.Condition, p.Change.Change)
		}
	}
	came, threads := map[string]bool{}, map[string]bool{}
	for _, m := range s.box.all() {
		id := m.Header.Get("Message-Id")
		if came[id] {
			s.t.Errorf("mail %s came twice", id)
		}
		came[id] = true
		if got := m.Header.Get("Auto-Submitted"); got != "auto-generated" {
			s.t.Errorf("got Auto-Submitted %q, want auto-generated (RFC 3834)", got)
		}
		named := append(strings.Fields(m.Header.Get("References")), id)
		if strings.Contains(m.Header.Get("Subject"), "no longer") && !slices.ContainsFunc(named, func(n string) bool { return threads[n] }) {
			s.t.Errorf("the easing %s names %s: no mail before it does", id, named)
		}
		for _, n := range named {
			threads[n] = true
		}
	}
}
