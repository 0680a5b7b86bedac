package config

import (
	"fmt"
	"io"
	"reflect"
	"strconv"
	"strings"

	"gopkg.in/yaml.v3"
)

// Show writes every value in force as YAML that loads to the same farm. What
// the file left out is there too, with a comment that says where it comes
// from. Of a secret only its source is shown.
func (c *Config) Show(w io.Writer) error {
	if _, err := fmt.Fprintln(w, "# Every value in force. What the file leaves out has a comment saying where it comes from."); err != nil {
		return err
	}
	enc := yaml.NewEncoder(w)
	enc.SetIndent(2)
	if err := enc.Encode(fileForm().write(c.loaded.marks, reflect.ValueOf(c.loaded.file).Elem())); err != nil {
		return fmt.Errorf("show configuration: %w", err)
	}
	return enc.Close()
}

// Path is where the configuration was read.
func (c *Config) Path() string { return c.loaded.name }

// Wrong places what is found wrong with a value when it is put to use. key is
// where it stands in the file, such as broker.tls, mail.ca or tell[0]; what
// stands nowhere is placed at the beginning.
func (c *Config) Wrong(key string, err error) Problem {
	p := Problem{File: c.loaded.name, Line: 1, Column: 1, Message: strings.Join(strings.Fields(err.Error()), " ")}
	v := reflect.ValueOf(c.loaded.file).Elem()
	for name := range strings.SplitSeq(key, ".") {
		name, index, inList := strings.Cut(strings.TrimSuffix(name, "]"), "[")
		if v = reflect.Indirect(v); !v.IsValid() { // of a section that the file leaves out
			return p
		}
		at := fieldWith(v.Type(), func(key, _ string) bool { return key == name })
		if at < 0 {
			return p
		}
		v = v.Field(at)
		if i, err := strconv.Atoi(index); inList && err == nil && i < v.Len() {
			v = v.Index(i)
		}
	}
	if at := c.loaded.marks.at(pointer(v)); at.line > 0 {
		p.Line, p.Column = at.line, at.column
	}
	return p
}
