package config

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"golang.org/x/sys/unix"
	"gopkg.in/yaml.v3"
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
	b := &builder{reader: r, file: new(File), folder: filepath.Dir(path), now: l.Now(), machine: l.Zone()}
	if abs, err := filepath.Abs(b.folder); err == nil {
		b.folder = abs // so that what Show prints means the same from anywhere
	}
	if body := parse(r, text); body != nil {
		fileForm().read(r, node{body, place{1, 1}}, reflect.ValueOf(b.file).Elem())
		b.build()
	}
	if len(r.problems) > 0 {
		return nil, &Problems{List: byPlace(r.problems)}
	}
	return &Config{File: *b.file, Farm: b.farm, Notes: byPlace(b.notes), Barred: b.barred, loaded: &loaded{path, b.file, r.marks}}, nil
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

// largestFile bounds a configuration; a farm of hundreds of probes needs a
// tenth of it.
const largestFile = 1 << 20

// parse makes the one mapping of a file. It gives nil when the text is not
// YAML, with the reason among the reader's problems.
func parse(r *reader, text []byte) *yaml.Node {
	if at, why := unreadable(text); why != "" {
		r.problem(at, "%s", why)
		return nil
	}
	decoder := yaml.NewDecoder(bytes.NewReader(text))
	root, err := decode(decoder)
	switch {
	case errors.Is(err, io.EOF):
		r.problem(place{1, 1}, "the file is empty; the smallest configuration has farm, broker, journal, probes and bins")
		return nil
	case err != nil:
		r.problem(syntaxPlace(err, text), "this is not YAML: %s", syntaxReason(err, text))
		return nil
	}
	second, err := decode(decoder)
	if !errors.Is(err, io.EOF) {
		at := syntaxPlace(err, text)
		if err == nil {
			at = placeOf(second)
		}
		r.problem(at, "a second document begins here; a configuration is one document, without ---")
		return nil
	}
	body := root.Content[0]
	r.refuseUnneeded(body)
	return body
}

// decode reads one document. The library has panicked on crafted input before;
// here that is one more way of not being YAML.
func decode(d *yaml.Decoder) (doc *yaml.Node, err error) {
	defer func() {
		if p := recover(); p != nil {
			doc, err = nil, fmt.Errorf("yaml: %v", p)
		}
	}()
	doc = new(yaml.Node)
	if err := d.Decode(doc); err != nil {
		return nil, err
	}
	if len(doc.Content) == 0 {
		return nil, io.EOF
	}
	return doc, nil
}

// unreadable finds what no YAML parser should be given, with a better place
// than the parser would name.
func unreadable(text []byte) (place, string) {
	if len(text) > largestFile {
		return place{1, 1}, "the file is larger than 1 MiB, too large for a configuration"
	}
	at := place{1, 1}
	for rest := text; len(rest) > 0; {
		c, size := utf8.DecodeRune(rest)
		switch {
		case c == utf8.RuneError && size == 1:
			return at, "this character is not UTF-8; save the file as UTF-8"
		case c == '\r' && (len(rest) == 1 || rest[1] != '\n'), c == '\u0085', c == '\u2028', c == '\u2029': // an editor counts no line there
			return at, fmt.Sprintf("a line ends here in an unusual way (%#U); end lines with a plain line feed", c)
		case c == '\n':
			at = place{at.line + 1, 0}
		case c < ' ' && c != '\t' && c != '\r', c == 0x7f:
			return at, fmt.Sprintf("a control character (%#U) has no place in a configuration", c)
		}
		at.column++
		rest = rest[size:]
	}
	return place{}, ""
}

var (
	syntaxLine   = regexp.MustCompile(`line (\d+): `)
	unknownAlias = regexp.MustCompile(`unknown anchor '([^']*)' referenced`)
)

// syntaxPlace is where a syntax error lies: the parser names a line at best.
func syntaxPlace(err error, text []byte) place {
	if err == nil {
		return place{1, 1}
	}
	if m := unknownAlias.FindStringSubmatch(err.Error()); m != nil {
		return placeOfText(text, "*"+m[1])
	}
	m := syntaxLine.FindStringSubmatch(err.Error())
	if m == nil {
		return place{1, 1}
	}
	line, _ := strconv.Atoi(m[1]) // digits by the pattern; 0 is mended below
	lines := bytes.Split(text, []byte("\n"))
	line = min(max(line, 1), len(lines))
	indent := len(lines[line-1]) - len(bytes.TrimLeft(lines[line-1], " "))
	return place{line, indent + 1}
}

func placeOfText(text []byte, what string) place {
	before, _, found := bytes.Cut(text, []byte(what))
	if !found {
		return place{1, 1}
	}
	line := bytes.Count(before, []byte("\n")) + 1
	last := before[bytes.LastIndexByte(before, '\n')+1:]
	return place{line, utf8.RuneCount(last) + 1}
}

// syntaxReason puts the parser's words into the keeper's.
func syntaxReason(err error, text []byte) string {
	at := syntaxPlace(err, text)
	if line := bytes.Split(text, []byte("\n"))[at.line-1]; bytes.HasPrefix(bytes.TrimLeft(line, " "), []byte("\t")) {
		return "the line is indented with a tab; use spaces"
	}
	why := strings.TrimPrefix(err.Error(), "yaml: ")
	why = syntaxLine.ReplaceAllString(why, "")
	switch {
	case unknownAlias.MatchString(why):
		return "a value that begins with * must stand in quotes"
	case strings.Contains(why, "mapping values are not allowed"):
		return "a colon stands where none can be; check the indentation, or put the value in quotes"
	case strings.Contains(why, "unexpected end of stream"):
		return "a quote or a bracket is never closed"
	case strings.Contains(why, "cannot start any token"):
		return "a value cannot begin with this character; put it in quotes"
	case strings.Contains(why, "did not find expected"), strings.Contains(why, "could not find expected"):
		return why + "; check indentation, quotes and brackets just before"
	}
	return why
}
