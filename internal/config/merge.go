package config

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"time"

	"gopkg.in/yaml.v3"
)

// A Draft is a configuration, finished or not, to which entries are added: what is there
// keeps its bytes.
type Draft struct {
	Path    string
	text    []byte
	was     []byte // what the file holds; nil: there is no file
	fresh   bool   // it owes nothing to what the file holds
	entries []entry
	body    *yaml.Node
}

// An entry is what a draft says of one probe.
type entry struct {
	name          string
	topic, values covering
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
	return (&Draft{Path: path, was: text}).with(text)
}

// StartDraft begins a configuration with a text. A file that is at path is set aside under
// another name when it is written.
func StartDraft(path string, text []byte) (*Draft, error) {
	was, err := os.ReadFile(path)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("read configuration: %w", err)
	}
	return (&Draft{Path: path, was: was, fresh: true}).with(text)
}

// with gives the draft with another text.
func (d Draft) with(text []byte) (*Draft, error) {
	r := &reader{file: d.Path, need: ForRun, marks: marks{}}
	d.text, d.body, d.entries = text, parse(r, text), nil
	if d.body == nil {
		return nil, &Problems{List: r.problems}
	}
	if d.body.Kind != yaml.MappingNode || d.body.Style&yaml.FlowStyle != 0 {
		return nil, fmt.Errorf("%s is not written in lines of the form key: value, so nothing can be added", d.Path)
	}
	_, probes, err := d.section("probes")
	if probes == nil {
		return &d, err
	}
	for i := 0; i+1 < len(probes.Content); i += 2 {
		e := entry{name: probes.Content[i].Value, topic: cover(""), values: cover("")}
		fields := probes.Content[i+1]
		for j := 0; j+1 < len(fields.Content); j += 2 {
			switch fields.Content[j].Value {
			case "topic":
				e.topic = cover(fields.Content[j+1].Value)
			case "value":
				e.values = cover(fields.Content[j+1].Value)
			}
		}
		d.entries = append(d.entries, e)
	}
	return &d, nil
}

// section finds a key at the root and the mapping behind it; nil, where there is none.
func (d *Draft) section(name string) (key, entries *yaml.Node, err error) {
	for i := 0; i+1 < len(d.body.Content); i += 2 {
		k, value := d.body.Content[i], d.body.Content[i+1]
		if k.Value != name {
			continue
		}
		key = k
		switch {
		case value.Kind == yaml.ScalarNode && value.Tag == "!!null":
		case value.Kind != yaml.MappingNode || value.Style&yaml.FlowStyle != 0 || value.Anchor != "":
			return nil, nil, fmt.Errorf("%s:%d: %s: is not written in lines, one entry each, so nothing can be added; paste what is proposed", d.Path, key.Line, name)
		default:
			entries = value
		}
	}
	return key, entries, nil
}

// A covering is what a topic or a pointer of the configuration stands for.
type covering struct {
	pattern *regexp.Regexp
	parts   []string // named, as they occur
}

func cover(of string) covering {
	s := quotedPart.ReplaceAllLiteralString(regexp.QuoteMeta(of), "([^/]+?)")
	s = strings.ReplaceAll(s, `\+`, "[^/]*")
	if before, all := strings.CutSuffix(s, "#"); all {
		s = strings.TrimSuffix(before, "/") + "(?:/.*)?"
	}
	return covering{regexp.MustCompile("^" + s + "$"), partsIn(of)}
}

// fill puts what the named parts stand for in a text into a name; ok is false where the
// covering does not stand for it.
func (c covering) fill(name, text string) (filled string, ok bool) {
	m := c.pattern.FindStringSubmatch(text)
	if m == nil {
		return "", false
	}
	for i, part := range c.parts {
		name = strings.ReplaceAll(name, "{"+part+"}", m[i+1])
	}
	return name, true
}

// Name is what the draft calls the probe that reads a value of a topic; "" where none does.
func (d *Draft) Name(topic, value string) string {
	for _, e := range d.entries {
		if name, ok := e.topic.fill(e.name, topic); ok {
			if name, ok = e.values.fill(name, value); ok {
				return name
			}
		}
	}
	return ""
}

// Knows tells whether an entry of the draft reads a value of a topic.
func (d *Draft) Knows(topic, value string) bool { return d.Name(topic, value) != "" }

// Names lists the names of the draft's probes.
func (d *Draft) Names() (names []string) {
	for _, e := range d.entries {
		names = append(names, e.name)
	}
	return names
}

// Add gives the draft with more entries in a section, lines with two blanks before each
// name, behind its last entry; a section that is missing comes at the end.
func (d *Draft) Add(name, entries string) (*Draft, error) {
	key, there, err := d.section(name)
	if err != nil {
		return nil, err
	}
	indent := 2
	if there != nil {
		indent = there.Column - 1
	}
	lines := bytes.SplitAfter(d.text, []byte("\n"))
	at := d.end(lines, key, indent)
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
	if key == nil {
		w.WriteString(name + ":" + eol)
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
	return d.with(w.Bytes())
}

// Append gives the draft with lines behind all that it has.
func (d *Draft) Append(lines string) (*Draft, error) {
	text := bytes.TrimRight(d.text, "\n")
	return d.with(append(text[:len(text):len(text)], "\n"+lines...))
}

// end is behind which line a section ends whose entries are indented: before the next key,
// and before the comments that lead to it.
func (d *Draft) end(lines [][]byte, key *yaml.Node, own int) int {
	at := len(lines)
	if key != nil {
		for i := 0; i < len(d.body.Content); i += 2 {
			if line := d.body.Content[i].Line; line > key.Line {
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
		if key == nil && len(bare) > 0 && bare[0] == '#' {
			break // no key follows: the comment is of what stands before
		}
		at--
	}
	return at
}

// Check tells what would be wrong with the draft that is not wrong with its file.
func (d *Draft) Check() error {
	l := Loader{Now: time.Now, Zone: machineZone}
	var before []Problem
	if !d.fresh {
		before = problemsOf(l, d.Path, d.was)
	}
	after := problemsOf(l, d.Path, d.text)
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

// Write puts the draft in place of its file: at once or not at all, with the owner and the
// rights that were, and only while the file is as it was read.
func (d *Draft) Write() (err error) {
	wrap := func(err error) error { return fmt.Errorf("write configuration: %w", err) }
	rights, owner := fs.FileMode(0o644), (*syscall.Stat_t)(nil)
	if d.was != nil {
		info, err := os.Stat(d.Path)
		if err != nil {
			return wrap(err)
		}
		if now, err := os.ReadFile(d.Path); err != nil || !bytes.Equal(now, d.was) {
			return fmt.Errorf("%s has changed meanwhile, so nothing is written", d.Path)
		}
		rights = info.Mode().Perm()
		owner, _ = info.Sys().(*syscall.Stat_t)
	}
	f, err := os.CreateTemp(filepath.Dir(d.Path), ".binwatchd-*")
	if err != nil {
		return wrap(err)
	}
	defer func() {
		f.Close()
		os.Remove(f.Name()) // it has gone where all went well
	}()
	if owner != nil {
		if err := f.Chown(int(owner.Uid), int(owner.Gid)); err != nil && os.Geteuid() == 0 {
			return wrap(err)
		}
	}
	if err := f.Chmod(rights); err != nil {
		return wrap(err)
	}
	if _, err := f.Write(d.text); err != nil {
		return wrap(err)
	}
	if err := f.Sync(); err != nil {
		return wrap(err)
	}
	switch {
	case d.was == nil: // and none may have come meanwhile
		err = os.Link(f.Name(), d.Path)
	case d.fresh:
		if err = os.Link(d.Path, d.Path+asideEnd); err == nil {
			err = os.Rename(f.Name(), d.Path)
		}
	default:
		err = os.Rename(f.Name(), d.Path)
	}
	if err != nil {
		return wrap(err)
	}
	d.was, d.fresh = d.text, false
	return nil
}

// asideEnd is behind the name of a file that another took the place of.
const asideEnd = ".old"
