package notify

import (
	"strings"
	"unicode/utf8"
)

// A sheet is what a mail says, before it becomes text and HTML. Both are made
// from the same sheet, so they cannot differ.
type sheet struct {
	Subject string
	First   string // the first line: what to do
	Now     bool   // and it is to be done now
	Parts   []part
	Foot    []string
	Pasted  [][2]string // what a command does, and the command: never broken over lines
}

// A part is a stretch of a sheet.
type part struct {
	Title    string
	Do       string   // what to do, where a sheet speaks of several things
	Lines    []string // paragraphs
	Pictures []picture
	Rows     [][2]string // name and value
	List     []string
	Careful  bool // its lines are cautions
}

// A picture goes into the HTML; the text has its words.
type picture struct {
	Name  string // file name and content id
	Alt   string // what it shows, in words
	PNG   []byte
	Width int // in the HTML, CSS pixels; a phone makes it narrower
}

// pictures lists every picture of a sheet in its order.
func (s sheet) pictures() []picture {
	var out []picture
	for _, p := range s.Parts {
		out = append(out, p.Pictures...)
	}
	return out
}

// textWidth is where lines of plain text are broken: RFC 5322 §2.1.1 asks for at
// most 78 characters.
const textWidth = 72

// text writes the sheet as plain text.
func (s sheet) text() string {
	var b strings.Builder
	wrap(&b, s.First, "", "")
	for _, p := range s.Parts {
		b.WriteByte('\n')
		p.text(&b)
	}
	if len(s.Foot) > 0 {
		b.WriteString("\n-- \n") // the mark of a signature: clients fold or grey it
		for _, f := range s.Foot {
			wrap(&b, f, "", "  ")
		}
	}
	for _, c := range s.Pasted {
		b.WriteString(c[0] + ":\n  " + c[1] + "\n")
	}
	return b.String()
}

func (p part) text(b *strings.Builder) {
	if p.Title != "" {
		wrap(b, strings.ToUpper(p.Title), "", "")
	}
	if p.Do != "" {
		wrap(b, p.Do, "", "")
	}
	for _, l := range p.Lines {
		wrap(b, l, "", "")
	}
	for _, q := range p.Pictures {
		wrap(b, q.Alt+".", "", "")
	}
	for _, r := range p.Rows {
		wrap(b, r[0]+": "+r[1], "", "  ")
	}
	for _, l := range p.List {
		wrap(b, l, "* ", "  ")
	}
}

// wrap writes words in lines of at most textWidth characters, the first after
// first, the others after rest. A word that is longer stays whole: it is a URL
// or a name, and the transfer encoding keeps lines legal.
func wrap(b *strings.Builder, words, first, rest string) {
	b.WriteString(first)
	col := utf8.RuneCountInString(first)
	fresh := true
	for _, w := range glued(strings.Fields(words)) {
		n := utf8.RuneCountInString(w)
		if !fresh && col+1+n > textWidth {
			b.WriteString("\n" + rest)
			col, fresh = utf8.RuneCountInString(rest), true
		}
		if !fresh {
			b.WriteByte(' ')
			col++
		}
		b.WriteString(w)
		col, fresh = col+n, false
	}
	b.WriteByte('\n')
}

// glued keeps a figure and its unit on one line.
func glued(words []string) []string {
	var out []string
	for _, w := range words {
		if n := len(out); n > 0 && (strings.HasPrefix(w, "°") || strings.HasPrefix(w, "%")) {
			out[n-1] += " " + w
			continue
		}
		out = append(out, w)
	}
	return out
}
