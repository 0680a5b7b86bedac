package notify

import (
	_ "embed"
	"html/template"
	"regexp"
	"strings"
	"unicode"
	"unicode/utf8"
)

// A content is what a mail says, before it becomes text and HTML. Both are made
// from the same content, so they cannot differ.
type content struct {
	Subject string
	First   string // the first line: what to do
	Now     bool   // and it is to be done now
	Parts   []part
	Foot    []string
	Pasted  [][2]string // what a command does, and the command: never broken over lines
}

// A part is a stretch of a content.
type part struct {
	Title    string
	Do       string   // what to do, where a content speaks of several things
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

// add puts parts into the content, those that are empty left out.
func (c *content) add(parts ...part) {
	for _, p := range parts {
		if len(p.Lines)+len(p.Rows)+len(p.List)+len(p.Pictures) > 0 || p.Do != "" {
			c.Parts = append(c.Parts, p)
		}
	}
}

// addCautions puts each caution into a part of its own.
func (c *content) addCautions(cautions []string) {
	for _, caution := range cautions {
		c.add(part{Lines: []string{caution}, Careful: true})
	}
}

// pictures lists every picture of a content in its order.
func (c content) pictures() []picture {
	var out []picture
	for _, p := range c.Parts {
		out = append(out, p.Pictures...)
	}
	return out
}

//go:embed mail.html
var mailHTML string

// mailTemplate is the HTML of every mail: one column that fits a phone, colours
// for light and dark, nothing fetched from anywhere.
var mailTemplate = template.Must(template.New("mail").Funcs(template.FuncMap{"tied": tied}).Parse(mailHTML))

// html writes the content as HTML.
func (c content) html() (string, error) {
	var b strings.Builder
	if err := mailTemplate.Execute(&b, c); err != nil {
		return "", err
	}
	return b.String(), nil
}

// Source is where the HTML finds the picture: in the mail itself. The name is
// made by this package.
func (p picture) Source() template.URL { return template.URL("cid:" + p.Name) }

// text writes the content as plain text.
func (c content) text() string {
	var b strings.Builder
	wrap(&b, c.First, "", "")
	for _, p := range c.Parts {
		b.WriteByte('\n')
		p.text(&b)
	}
	if len(c.Foot) > 0 {
		b.WriteString("\n-- \n") // the mark of a signature: clients fold or grey it
		for _, f := range c.Foot {
			wrap(&b, f, "", "  ")
		}
	}
	for _, p := range c.Pasted {
		b.WriteString(p[0] + ":\n  " + p[1] + "\n")
	}
	return b.String()
}

func (p part) text(b *strings.Builder) {
	for _, l := range append([]string{capitals(p.Title), p.Do}, p.Lines...) {
		if l != "" {
			wrap(b, l, "", "")
		}
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

// smallThenCapital is in what is another thing in capitals: mS/cm, pH.
var smallThenCapital = regexp.MustCompile(`\p{Ll}\p{Lu}`)

// capitals writes a heading of a plain text.
func capitals(heading string) string {
	words := strings.Split(heading, " ")
	for i, w := range words {
		if !smallThenCapital.MatchString(w) {
			words[i] = strings.ToUpper(w)
		}
	}
	return strings.Join(words, " ")
}

const unbroken = '\u00a0' // a space at which no line is broken

// tied keeps a figure and its unit on one line.
func tied(s string) string {
	return strings.NewReplacer(" °", "\u00a0°", " %", "\u00a0%").Replace(s)
}

// wrap writes words in lines of at most 72 characters (RFC 5322 §2.1.1 asks for
// at most 78), the first after first, the others after rest. A word that is
// longer stays whole: it is a URL or a name, and the transfer encoding keeps
// lines legal.
func wrap(b *strings.Builder, words, first, rest string) {
	line := first
	fresh := true
	for _, w := range strings.FieldsFunc(tied(words), func(r rune) bool { return unicode.IsSpace(r) && r != unbroken }) {
		switch {
		case fresh:
			line += w
		case utf8.RuneCountInString(line)+1+utf8.RuneCountInString(w) > 72:
			b.WriteString(spaced(line) + "\n")
			line = rest + w
		default:
			line += " " + w
		}
		fresh = false
	}
	b.WriteString(spaced(line) + "\n")
}

func spaced(line string) string { return strings.ReplaceAll(line, string(unbroken), " ") }

// oneLine makes a text fit for a header or a subject: no control characters,
// no runs of spaces, at most limit runes.
func oneLine(s string, limit int) string {
	s = strings.Join(strings.FieldsFunc(strings.ToValidUTF8(s, "�"), func(r rune) bool {
		return unicode.IsSpace(r) || unicode.IsControl(r) || !unicode.IsPrint(r)
	}), " ")
	if utf8.RuneCountInString(s) <= limit {
		return s
	}
	r := []rune(s)[:limit-1]
	return strings.TrimRight(string(r), " ,;:") + "…"
}
