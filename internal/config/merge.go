package config

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"time"

	"gopkg.in/yaml.v3"
)

// A Draft is a configuration as it stands in a file, finished or not, to which probes are
// added: what is there keeps its bytes.
type Draft struct {
	Path    string
	text    []byte
	entries []entry
	body    *yaml.Node
	probes  *yaml.Node // the mapping; nil: there is none yet
	key     *yaml.Node // its key; nil: there is none
}

// An entry is what a draft says of one probe.
type entry struct {
	name          string
	topic, values *regexp.Regexp
}

// ReadDraft reads the file at path.
func ReadDraft(path string) (*Draft, error) {
	path, err := filepath.EvalSymlinks(path) // a link stays one
	if err != nil {
		return nil, fmt.Errorf("read configuration: %w", err)
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("read configuration: %w", err)
	}
	defer f.Close()
	if info, err := f.Stat(); err != nil || !info.Mode().IsRegular() {
		return nil, fmt.Errorf("%s is no file that can be written again", path)
	}
	text, err := io.ReadAll(io.LimitReader(f, largestFile+1))
	if err != nil {
		return nil, fmt.Errorf("read configuration: %w", err)
	}
	return parseDraft(path, text)
}

func parseDraft(path string, text []byte) (*Draft, error) {
	r := &reader{file: path, need: ForRun, marks: marks{}}
	d := &Draft{Path: path, text: text, body: parse(r, text)}
	if d.body == nil {
		return nil, &Problems{List: r.problems}
	}
	if d.body.Kind != yaml.MappingNode || d.body.Style&yaml.FlowStyle != 0 {
		return nil, fmt.Errorf("%s is not written in lines of the form key: value, so nothing can be added", path)
	}
	for i := 0; i+1 < len(d.body.Content); i += 2 {
		key, value := d.body.Content[i], d.body.Content[i+1]
		if key.Value != "probes" {
			continue
		}
		d.key = key
		switch {
		case value.Kind == yaml.ScalarNode && value.Tag == "!!null":
		case value.Kind != yaml.MappingNode || value.Style&yaml.FlowStyle != 0 || value.Anchor != "":
			return nil, fmt.Errorf("%s:%d: probes: is not written in lines, one entry each, so nothing can be added; paste what is proposed", path, key.Line)
		default:
			d.probes = value
		}
	}
	if d.probes == nil {
		return d, nil
	}
	for i := 0; i+1 < len(d.probes.Content); i += 2 {
		e := entry{name: d.probes.Content[i].Value, topic: covering(""), values: covering("")}
		fields := d.probes.Content[i+1]
		for j := 0; j+1 < len(fields.Content); j += 2 {
			switch fields.Content[j].Value {
			case "topic":
				e.topic = covering(fields.Content[j+1].Value)
			case "value":
				e.values = covering(fields.Content[j+1].Value)
			}
		}
		d.entries = append(d.entries, e)
	}
	return d, nil
}

// covering matches what a topic or a pointer of the configuration stands for.
func covering(of string) *regexp.Regexp {
	s := quotedPart.ReplaceAllLiteralString(regexp.QuoteMeta(of), "[^/]+?")
	s = strings.ReplaceAll(s, `\+`, "[^/]*")
	if before, all := strings.CutSuffix(s, "#"); all {
		s = strings.TrimSuffix(before, "/") + "(/.*)?"
	}
	return regexp.MustCompile("^" + s + "$")
}

// Knows tells whether an entry of the draft reads a value of a topic.
func (d *Draft) Knows(topic, value string) bool {
	for _, e := range d.entries {
		if e.topic.MatchString(topic) && e.values.MatchString(value) {
			return true
		}
	}
	return false
}

// Names lists the names of the draft's probes.
func (d *Draft) Names() (names []string) {
	for _, e := range d.entries {
		names = append(names, e.name)
	}
	return names
}

// Add gives the text of the draft with entries, lines as under probes: with two blanks before each
// name, behind its last probe.
func (d *Draft) Add(entries string) []byte {
	lines := bytes.SplitAfter(d.text, []byte("\n"))
	at, indent := d.end(lines), 2
	if d.probes != nil {
		indent = d.probes.Column - 1
	}
	eol := "\n"
	if bytes.Contains(d.text, []byte("\r\n")) {
		eol = "\r\n"
	}
	var w bytes.Buffer
	for _, line := range lines[:at] {
		w.Write(line)
	}
	if w.Len() > 0 && !bytes.HasSuffix(w.Bytes(), []byte("\n")) {
		w.WriteString(eol)
	}
	if d.key == nil {
		w.WriteString("probes:" + eol)
	}
	for line := range strings.SplitSeq(strings.TrimRight(entries, "\n"), "\n") {
		if rest, ok := strings.CutPrefix(line, "  "); ok {
			line = strings.Repeat(" ", indent) + rest
		}
		w.WriteString(line + eol)
	}
	for _, line := range lines[at:] {
		w.Write(line)
	}
	return w.Bytes()
}

// end is behind which line the probes end: before the next key, and before the
// comments that lead to it.
func (d *Draft) end(lines [][]byte) int {
	at, own := len(lines), 1
	if d.probes != nil {
		own = d.probes.Column - 1
	}
	if d.key != nil {
		for i := 0; i < len(d.body.Content); i += 2 {
			if line := d.body.Content[i].Line; line > d.key.Line {
				at = min(at, line-1)
			}
		}
	}
	for at > 0 {
		line := bytes.TrimRight(lines[at-1], "\r\n")
		bare := bytes.TrimLeft(line, " \t")
		foreign := len(bare) == 0 || bare[0] == '#' && len(line)-len(bare) < own || bytes.HasPrefix(line, []byte("..."))
		if !foreign {
			break
		}
		if d.key == nil && len(bare) > 0 && bare[0] == '#' {
			break // no key follows: the comment is of what stands before
		}
		at--
	}
	return at
}

// Check tells what would be wrong with a text in the draft's place that is not wrong with
// the draft.
func (d *Draft) Check(text []byte) error {
	l := Loader{Now: time.Now, Zone: machineZone}
	before, after := problemsOf(l, d.Path, d.text), problemsOf(l, d.Path, text)
	known := map[string]bool{}
	for _, p := range before {
		known[p.Message] = true
	}
	var worse []Problem
	for _, p := range after {
		if !known[p.Message] {
			worse = append(worse, p)
		}
	}
	if len(worse) > 0 {
		return &Problems{List: worse}
	}
	return nil
}

func problemsOf(l Loader, path string, text []byte) []Problem {
	_, err := l.Parse(path, text, ForRun)
	var all *Problems
	if errors.As(err, &all) {
		return all.List
	}
	return nil
}

// Write puts a text in place of the draft's file: at once or not at all, with its owner and
// its rights, and only while the file is as it was read.
func (d *Draft) Write(text []byte) (err error) {
	wrap := func(err error) error { return fmt.Errorf("write configuration: %w", err) }
	info, err := os.Stat(d.Path)
	if err != nil {
		return wrap(err)
	}
	if now, err := os.ReadFile(d.Path); err != nil || !bytes.Equal(now, d.text) {
		return fmt.Errorf("%s has changed meanwhile, so nothing is written", d.Path)
	}
	f, err := os.CreateTemp(filepath.Dir(d.Path), ".binwatchd-*")
	if err != nil {
		return wrap(err)
	}
	defer func() {
		f.Close()
		if err != nil {
			os.Remove(f.Name())
		}
	}()
	if of, ok := info.Sys().(*syscall.Stat_t); ok {
		if err := f.Chown(int(of.Uid), int(of.Gid)); err != nil && os.Geteuid() == 0 {
			return wrap(err)
		}
	}
	if err := f.Chmod(info.Mode().Perm()); err != nil {
		return wrap(err)
	}
	if _, err := f.Write(text); err != nil {
		return wrap(err)
	}
	if err := f.Sync(); err != nil {
		return wrap(err)
	}
	if err := os.Rename(f.Name(), d.Path); err != nil {
		return wrap(err)
	}
	return nil
}
