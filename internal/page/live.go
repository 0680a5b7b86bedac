package page

import (
	"bytes"
	"encoding/base64"
	"fmt"
	"hash"
	"hash/fnv"
	"iter"
	"net/http"
	"regexp"
	"slices"
	"strings"
)

// A page left open asks for itself again and again, and says in a header what it
// holds: the mark of the order of its parts, then the mark of each. A part is an
// element that a template writes with data-live; its mark stands for all that is in it
// but the parts within, which have their own. While the order is the same, only the
// parts with other marks go out; where there are none, nothing does. Who does not send
// the header, or through a proxy that drops it, gets the page as it is.
const (
	holdsHeader = "Page-Holds"
	maxHolds    = 8 << 10    // bytes of the header that are looked at; a part beyond them is sent
	unmarked    = "--------" // what templates write where a mark comes
)

var (
	liveID = regexp.MustCompile(` id="([^"]*)" data-live="`)
	formID = regexp.MustCompile(`name="(?:once|listed|since)" value="[^"]*"`) // new at every look; those before do as well
)

// A part is a stretch of a page that can take the place of an older one.
type part struct {
	from, to int
	mark     string
}

// holders are the elements that are parts or may have one in them. The templates close
// all of these, and html/template leaves no angle bracket in an attribute.
var holders = []string{"article", "div", "figure", "h1", "li", "p", "section", "small", "span", "table"}

// mark finds the parts of a page, in the order in which they begin, and writes their
// marks into it.
func mark(page []byte) (order string, parts []part) {
	sums := []hash.Hash64{fnv.New64a()} // of the order, then of each part
	inside := []int{0}                  // of each element that is open: the innermost part that it is, or is in
	add := func(text []byte) {
		if in := inside[len(inside)-1]; in > 0 {
			sums[in].Write(formID.ReplaceAll(text, nil))
		}
	}
	at := 0
	for from, to := range tags(page) {
		switch tag := page[from:to]; {
		case tag[1] == '/':
			add(page[at:to])
			at = to
			last := len(inside) - 1
			if in := inside[last]; last > 0 && inside[last-1] != in {
				parts[in-1].to = to
			}
			inside = inside[:max(last, 1)]
		default:
			in := inside[len(inside)-1]
			if id := liveID.FindSubmatch(tag); id != nil {
				add(page[at:from])
				at = from
				fmt.Fprintf(sums[0], "%s\n", id[1])
				sums, parts = append(sums, fnv.New64a()), append(parts, part{from: from})
				in = len(parts)
			}
			inside = append(inside, in)
		}
	}
	rest := page
	for i, sum := range sums {
		said := base64.RawURLEncoding.EncodeToString(sum.Sum(nil)[:6])
		if i == 0 {
			order = said
		} else {
			parts[i-1].mark = said
		}
		if to := bytes.Index(rest, []byte(`="`+unmarked+`"`)); to >= 0 {
			rest = rest[to+2+copy(rest[to+2:], said):]
		}
	}
	return order, parts
}

// tags are where the tags of holders begin and end.
func tags(page []byte) iter.Seq2[int, int] {
	return func(yield func(int, int) bool) {
		for to := 0; ; {
			from := bytes.IndexByte(page[to:], '<')
			if from < 0 {
				return
			}
			from += to
			end := bytes.IndexByte(page[from:], '>')
			if end < 0 {
				return
			}
			to = from + end + 1
			name := bytes.TrimPrefix(page[from+1:to-1], []byte("/"))
			if space := bytes.IndexAny(name, " \n"); space >= 0 {
				name = name[:space]
			}
			if slices.Contains(holders, string(name)) && !yield(from, to) {
				return
			}
		}
	}
}

// sendPage sends a page, or to one who holds an older one what has changed in it.
func (v *visit) sendPage(status int, page []byte) {
	order, parts := mark(page)
	if v.Live > 0 {
		v.w.Header().Add("Vary", holdsHeader)
	}
	held := strings.Fields(clip(v.r.Header.Get(holdsHeader), maxHolds))
	if v.Live == 0 || len(held) == 0 || held[0] != order {
		v.send(status, "text/html; charset=utf-8", page)
		return
	}
	var changed []byte
	sent := 0
	for _, p := range parts {
		if p.from >= sent && !slices.Contains(held, p.mark) {
			changed, sent = append(changed, page[p.from:p.to]...), p.to
		}
	}
	if len(changed) == 0 {
		status = http.StatusNoContent
	}
	v.w.Header().Set("Cache-Control", "no-store") // it is no page by itself
	v.send(status, "text/html; charset=utf-8", changed)
}
