package notify

import (
	_ "embed"
	htmltemplate "html/template"
	"regexp"
	"strings"
	"text/template"
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
	Foot    string
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
	Cautions []string    // a paragraph each, set apart
	Acts     [][2]string // words and address of a button each
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
		if len(p.Lines)+len(p.Rows)+len(p.List)+len(p.Pictures)+len(p.Cautions)+len(p.Do)+len(p.Acts) > 0 {
			c.Parts = append(c.Parts, p)
		}
	}
}

//go:embed mail.txt
var mailText string

// textTemplate is the plain text of every mail.
var textTemplate = template.Must(template.New("text").
	Funcs(template.FuncMap{"wrap": wrap, "capitals": capitals}).Parse(mailText))

//go:embed mail.html
var mailHTML string

// htmlTemplate is the HTML of every mail: one column that fits a phone, colours
// for light and dark, nothing fetched from anywhere.
var htmlTemplate = htmltemplate.Must(htmltemplate.New("mail").Funcs(htmltemplate.FuncMap{"tied": tied}).Parse(mailHTML))

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

const unbroken = "\u00a0" // a space at which no line is broken

// tied keeps a figure and its unit on one line.
func tied(s string) string {
	return strings.NewReplacer(" °", unbroken+"°", " %", unbroken+"%").Replace(s)
}

// wrap writes words in lines of at most 72 characters (RFC 5322 §2.1.1 asks for
// at most 78), the first after first, the others after rest. A word that is
// longer stays whole: it is a URL or a name, and the transfer encoding keeps
// lines legal.
func wrap(words, first, rest string) string {
	line, out := first, ""
	for i, w := range strings.FieldsFunc(tied(words), func(r rune) bool { return unicode.IsSpace(r) && string(r) != unbroken }) {
		switch {
		case i == 0:
			line += w
		case utf8.RuneCountInString(line+" "+w) > 72:
			out += line + "\n"
			line = rest + w
		default:
			line += " " + w
		}
	}
	return strings.ReplaceAll(out+line+"\n", unbroken, " ")
}

// oneLine makes a text fit for a header or a subject: no control characters,
// no runs of spaces, at most limit runes.
func oneLine(s string, limit int) string {
	odd := func(r rune) bool { return r == ' ' || !unicode.IsPrint(r) }
	s = strings.Join(strings.FieldsFunc(strings.ToValidUTF8(s, "�"), odd), " ")
	if r := []rune(s); len(r) > limit {
		return strings.TrimRight(string(r[:limit-1]), " ,;:") + "…"
	}
	return s
}
