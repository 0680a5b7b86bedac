package notify

import (
	"fmt"
	"image/color"
	"sync"

	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
)

// Sizes of what is written on a picture.
var (
	small     = vg.Points(10.5)
	titleSize = vg.Points(12.5)
)

// scribe writes in the one typeface of the pictures. It is read when the first
// picture is drawn: on many days there is none.
var scribe = sync.OnceValue(func() text.Handler {
	face, err := opentype.Parse(goregular.TTF)
	if err != nil {
		panic(fmt.Sprintf("the typeface that this program is built with: %v", err))
	}
	return text.Plain{Fonts: font.NewCache(font.Collection{{Font: typeface, Face: face}})}
})

var typeface = font.Font{Typeface: "Go"}

// style is a text style of the pictures.
func style(size vg.Length, col color.Color, x text.XAlignment, y text.YAlignment) text.Style {
	return text.Style{Color: col, Font: font.From(typeface, size), XAlign: x, YAlign: y, Handler: scribe()}
}
