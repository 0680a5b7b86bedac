package main

import (
	"bytes"
	"database/sql"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/config"
	"binwatchd/internal/journal"
)

// What is told of an update stands in the list of changes, word for word, and what that
// list says of farms that run already is told.
func TestChangesAreThoseOfTheChangelog(t *testing.T) {
	text, err := os.ReadFile("../../CHANGELOG.md")
	if err != nil {
		t.Fatal(err)
	}
	var listed []string
	for _, m := range regexp.MustCompile(`(?m)^- In a farm that runs already: ((?:.*\n)(?:  .*\n)*)`).FindAllStringSubmatch(string(text), -1) {
		listed = append(listed, strings.Join(strings.Fields(m[1]), " "))
	}
	if got, want := slices.Sorted(slices.Values(changes)), slices.Sorted(slices.Values(listed)); !slices.Equal(got, want) || len(got) == 0 {
		t.Errorf("the program tells of\n%q\nthe changelog of\n%q", got, want)
	}
}

// A life of a journal under programs of several versions, each knowing more or less.
type versions struct {
	t   *testing.T
	cfg *config.Config
	at  time.Time
	log bytes.Buffer
}

// start has a version start on the journal, and gives what it says is news then.
func (v *versions) start(version string, all ...string) []string {
	v.t.Helper()
	v.log.Reset()
	j, err := journal.Open(v.t.Context(), journal.Config{Path: v.cfg.Journal.Path, Now: time.Now})
	if err != nil {
		v.t.Fatal(err)
	}
	defer j.Close()
	d := &daemon{log: slog.New(slog.NewTextHandler(&v.log, nil)), clock: clockwork{now: func() time.Time { return v.at }}, journal: j}
	if err := d.openedBy(v.t.Context(), version, all); err != nil {
		v.t.Fatal(err)
	}
	return d.news(all, v.at)
}

// check is what the command check would note before that start.
func (v *versions) check(all ...string) string {
	v.t.Helper()
	var said bytes.Buffer
	if err := noteUpdate(v.t.Context(), v.cfg, all, &said); err != nil {
		v.t.Fatal(err)
	}
	return said.String()
}

func startVersions(t *testing.T) *versions {
	t.Helper()
	dir := t.TempDir()
	folder := filepath.Join(dir, "copies")
	if err := os.Mkdir(folder, 0o750); err != nil {
		t.Fatal(err)
	}
	text := strings.Replace(truthYAML, "{path: %q}", fmt.Sprintf("{path: %q, backup: {to: %q, disk: same}}", filepath.Join(dir, "journal.db"), folder), 1)
	cfg, err := config.Load(write(t, dir, "farm.yaml", fmt.Sprintf(text, "25")), config.ForRun)
	if err != nil {
		t.Fatal(err)
	}
	return &versions{t: t, cfg: cfg, at: time.Date(2026, 5, 1, 8, 0, 0, 0, time.UTC)}
}

func TestAnUpdateSaysWhatItChanges(t *testing.T) {
	v := startVersions(t)
	says := func(what string, got []string, want ...string) {
		t.Helper()
		if !slices.Equal(got, want) {
			t.Errorf("%s: %q is news, want %q; the log is\n%s", what, got, want, v.log.String())
		}
		if logged := strings.Count(v.log.String(), "changed by this version"); logged > len(want) {
			t.Errorf("%s: the log has %d lines", what, logged)
		}
	}
	if said := v.check("a", "b"); said != "" {
		t.Errorf("without a journal check says %q", said)
	}
	says("a new farm", v.start("1.0", "a", "b"))
	says("a restart", v.start("1.0", "a", "b"))
	if said := v.check("a", "b", "c"); said != "note: with the first start of this version: c\n" {
		t.Errorf("before the update check says %q", said)
	}
	v.at = v.at.AddDate(0, 1, 0)
	says("an update", v.start("1.1", "a", "b", "c"), "c")
	if log := v.log.String(); !strings.Contains(log, "what=c") || !strings.Contains(log, "before=1.0") {
		t.Errorf("the log says %q", log)
	}
	if said := v.check("a", "b", "c"); said != "" {
		t.Errorf("after the update check says %q", said)
	}
	v.at = v.at.AddDate(0, 0, 3)
	says("a restart in the days after", v.start("1.1", "a", "b", "c"), "c")
	says("another update in these days", v.start("1.2", "a", "b", "c", "d"), "c", "d")
	says("an update that changes nothing", v.start("1.2.1", "a", "b", "c", "d"), "c", "d")
	says("back to the older", v.start("1.1", "a", "b", "c"))
	if !strings.Contains(v.log.String(), "a newer version ran") {
		t.Errorf("the log says %q", v.log.String())
	}
	v.at = v.at.AddDate(0, 0, 9)
	says("later", v.start("1.1", "a", "b", "c"))
	says("and anew", v.start("1.2", "a", "b", "c", "d"))
	v.at = v.at.AddDate(-1, 0, 0)
	says("by a clock that is behind", v.start("1.2", "a", "b", "c", "d"))
}

// A journal of before this was noted is told all.
func TestAnUpdateOfAFarmThatNotedNothing(t *testing.T) {
	v := startVersions(t)
	v.start("1.0", "a")
	alterJournal(t, v.cfg.Journal.Path, `DELETE FROM meta WHERE name = 'program'`)
	if got := v.start("1.1", "a", "b"); !slices.Equal(got, []string{"a", "b"}) {
		t.Errorf("got %q", got)
	}
}

// An older program refuses the journal of a newer one, and names the copy to go back to
// and the command that does it, which then works.
func TestADowngradeSaysTheWayBack(t *testing.T) {
	v := startVersions(t)
	says := func(args ...string) (string, int) {
		var out bytes.Buffer
		code := dispatch(t.Context(), append(args, "--config", v.cfg.Path()), &streams{os.Stdin, &out, &out})
		return out.String(), code
	}
	refused := func(want ...string) (said string) {
		t.Helper()
		alterJournal(t, v.cfg.Journal.Path, `PRAGMA user_version = 99`)
		for _, command := range []string{"run", "check", "now", "rounds", "export"} {
			text, code := says(command)
			for _, w := range append(want, "written by a newer binwatchd: it has schema 99, this one knows", "Install 9.9 again") {
				if code != exitWrong || !strings.Contains(text, w) {
					t.Errorf("%s: exit %d, want %q in %s", command, code, w, text)
				}
			}
			said = text
		}
		return said
	}
	v.start("9.9")
	schema := journalNumber(t, v.cfg.Journal.Path, `PRAGMA user_version`)
	refused("none was found", "restore FILE --config "+v.cfg.Path())
	alterJournal(t, v.cfg.Journal.Path, fmt.Sprint(`PRAGMA user_version = `, schema))
	for n := range 3 { // the newest of the good ones is the second
		liveThrough(t, v.cfg.Path(), v.at.AddDate(0, 0, n), v.at.AddDate(0, 0, n).Add(time.Hour), func(_ time.Time, publish func(topic, payload string)) { publish("glass/bed", "20") })
		copies := journal.NewCopies(*v.cfg.Journal.Backup, v.cfg.Journal.Path, slog.New(slog.DiscardHandler), nil)
		j, err := journal.Open(t.Context(), journal.Config{Path: v.cfg.Journal.Path, Now: time.Now})
		if err != nil {
			t.Fatal(err)
		}
		made, err := copies.Turn(t.Context(), j, v.at.AddDate(0, 0, n+1))
		if err != nil || made == "" || j.Close() != nil {
			t.Fatalf("copy %q, %v", made, err)
		}
		if n == 2 {
			alterJournal(t, made, `PRAGMA user_version = 99`)
		}
	}
	alterJournal(t, v.cfg.Journal.Path, `UPDATE meta SET value = json_set(value, '$.version', '9.9') WHERE name = 'program'`)
	said := refused("came after Saturday 2 May 2026, 08:50", "sudo systemctl stop binwatchd; sudo binwatchd restore ")
	_, command, _ := strings.Cut(said, "sudo binwatchd restore ")
	if text, code := says("restore", strings.Fields(command)[0]); code != exitDone || !strings.Contains(text, "12 readings") {
		t.Fatalf("restore: exit %d: %s", code, text)
	}
	if text, code := says("now"); code != exitDone {
		t.Errorf("after that: %s", text)
	}
}

func alterJournal(t *testing.T, path, sqlText string) {
	t.Helper()
	db, err := sql.Open("sqlite", path)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if _, err := db.Exec(sqlText); err != nil {
		t.Fatal(err)
	}
}

func journalNumber(t *testing.T, path, sqlText string) (n int64) {
	t.Helper()
	db, err := sql.Open("sqlite", path)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if err := db.QueryRow(sqlText).Scan(&n); err != nil {
		t.Fatal(err)
	}
	return n
}
