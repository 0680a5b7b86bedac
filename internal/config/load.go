package config

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"time"

	"golang.org/x/sys/unix"
)

// longestWait is how long a configuration that comes through a pipe is waited
// for.
const longestWait = 10 * time.Second

// A Loader reads configurations. Its two clocks are arguments so that the same
// file gives the same [Config] in a test.
type Loader struct {
	Now  func() time.Time      // for a day without a year in need:
	Zone func() *time.Location // the machine's, for a file without timezone:
}

// Load reads a configuration with the machine's own clock and time zone. The
// error is a [*Problems], unless the file itself cannot be read.
func Load(path string, need Need) (*Config, error) {
	return Loader{Now: time.Now, Zone: machineZone}.Load(path, need)
}

// Load reads the configuration at path.
func (l Loader) Load(path string, need Need) (*Config, error) {
	// A pipe will do, as a shell makes one of a command; but not one that nobody
	// writes into.
	f, err := os.OpenFile(path, os.O_RDONLY|unix.O_NONBLOCK, 0)
	if err != nil {
		return nil, fmt.Errorf("read configuration: %w", err)
	}
	defer f.Close()
	_ = f.SetReadDeadline(time.Now().Add(longestWait)) // a file has none, and needs none
	text, err := io.ReadAll(io.LimitReader(f, largestFile+1))
	if err != nil {
		return nil, fmt.Errorf("read configuration: %w", err)
	}
	return l.Parse(path, text, need)
}

// Parse reads a configuration from its text. path names it in messages, and
// its folder is where files named by relative paths lie.
func (l Loader) Parse(path string, text []byte, need Need) (*Config, error) {
	r := &reader{file: path, need: need, marks: marks{}}
	body := parse(r, text)
	if body == nil {
		return nil, r.asError()
	}
	file := new(File)
	fileForm().read(r, node{body, place{1, 1}}, reflect.ValueOf(file).Elem())
	b := &builder{reader: r, file: file, folder: folderOf(path), now: l.Now(), machine: l.Zone()}
	f := b.build()
	if err := r.asError(); err != nil {
		return nil, err
	}
	return &Config{File: *file, Farm: f, Notes: byPlace(b.notes), Barred: b.barred, loaded: &loaded{path, file, r.marks}}, nil
}

func (r *reader) asError() error {
	if len(r.problems) == 0 {
		return nil
	}
	return &Problems{List: byPlace(r.problems)}
}

// folderOf is the folder of the file, absolute where that can be told, so that
// what [Config.Show] prints means the same from anywhere.
func folderOf(path string) string {
	folder := filepath.Dir(path)
	if abs, err := filepath.Abs(folder); err == nil {
		return abs
	}
	return folder
}

// loadZone finds a time zone by its name in the IANA data base, or the
// machine's as Local.
func loadZone(name string) (*time.Location, error) {
	loc, err := time.LoadLocation(name)
	if err != nil || name == "" {
		return nil, fmt.Errorf("%s is not a time zone, such as Europe/London or America/Los_Angeles", quoted(name))
	}
	return loc, nil
}

// machineZone is the machine's time zone, by its proper name where the machine
// says it the usual way: a page or a mail cannot show "Local".
func machineZone() *time.Location {
	name, set := os.LookupEnv("TZ")
	if !set {
		target, err := os.Readlink("/etc/localtime")
		if err != nil {
			return time.Local
		}
		_, name, _ = strings.Cut(target, "zoneinfo/")
	}
	if loc, err := loadZone(strings.TrimPrefix(name, ":")); err == nil {
		return loc
	}
	return time.Local
}

func parseZone(name string) (string, error) {
	_, err := loadZone(name)
	return name, err
}
