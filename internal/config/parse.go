package config

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"regexp"
	"strconv"
	"strings"
	"unicode/utf8"

	"gopkg.in/yaml.v3"
)

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
		case isOddBreak(rest):
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

// isOddBreak tells whether a text begins with a line break that YAML counts
// and editors do not, so that they would disagree about every line after it.
func isOddBreak(text []byte) bool {
	if text[0] == '\r' {
		return len(text) == 1 || text[1] != '\n'
	}
	c, _ := utf8.DecodeRune(text)
	return c == '\u0085' || c == '\u2028' || c == '\u2029'
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
