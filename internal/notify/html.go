package notify

import (
	_ "embed"
	"html/template"
	"strings"
)

//go:embed mail.html
var mailHTML string

// mailPage is the HTML of every mail: one column that fits a phone, colours for
// light and dark, nothing fetched from anywhere.
var mailPage = template.Must(template.New("mail").Funcs(template.FuncMap{"tied": tied}).Parse(mailHTML))

// tied keeps a figure and its unit on one line.
func tied(s string) string {
	return strings.NewReplacer(" °", "\u00a0°", " %", "\u00a0%").Replace(s)
}

// html writes the sheet as HTML.
func (s sheet) html() (string, error) {
	var b strings.Builder
	if err := mailPage.Execute(&b, s); err != nil {
		return "", err
	}
	return b.String(), nil
}

// Source is where the HTML finds the picture: in the mail itself. The name is
// made by this package.
func (p picture) Source() template.URL { return template.URL("cid:" + p.Name) }
