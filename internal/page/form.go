package page

import (
	"errors"
	"mime"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"binwatchd/internal/farm"
	"binwatchd/internal/jot"
	"binwatchd/internal/quantity"
	"binwatchd/internal/snippet"
)

const (
	maxFields = 32
	maxValue  = 200 // bytes
	maxText   = 1000
	maxIDs    = 6000 // of all that a cause shows in
)

// fields are the values of a form that has passed every bound: each field once,
// valid UTF-8 without control characters, trimmed.
type fields map[string]string

// read reads the form that a request carries, or the part of its address after the
// question mark.
func (v *visit) read() (fields, error) {
	if v.r.Method != http.MethodPost {
		values, err := url.ParseQuery(v.r.URL.RawQuery)
		if err != nil {
			return nil, badInput("The part of the address after the question mark cannot be read.")
		}
		return sound(values)
	}
	kind, _, err := mime.ParseMediaType(v.r.Header.Get("Content-Type"))
	if err != nil || kind != "application/x-www-form-urlencoded" {
		return nil, refuse(http.StatusUnsupportedMediaType, "A form must come as application/x-www-form-urlencoded.")
	}
	if err := v.r.ParseForm(); err != nil {
		var tooLarge *http.MaxBytesError
		if errors.As(err, &tooLarge) {
			return nil, refuse(http.StatusRequestEntityTooLarge, "The form is larger than %d bytes.", tooLarge.Limit)
		}
		return nil, badInput("The form cannot be read: it is torn or wrongly encoded.")
	}
	return sound(v.r.PostForm)
}

func sound(values url.Values) (fields, error) {
	if len(values) > maxFields {
		return nil, badInput("The form has more than %d fields.", maxFields)
	}
	f := make(fields, len(values))
	for name, all := range values {
		if len(all) > 1 {
			return nil, badInput("The field %s comes twice.", clip(name, 40))
		}
		v, most := strings.TrimSpace(all[0]), maxValue
		switch name {
		case "id":
			most = maxIDs
		case "text", "words": // of a field for several lines
			v, most = strings.ReplaceAll(strings.ReplaceAll(v, "\r\n", " ; "), "\n", " ; "), maxText
		}
		switch {
		case len(v) > most:
			return nil, badInput("The field %s is longer than %d bytes.", clip(name, 40), most)
		case !utf8.ValidString(v) || strings.ContainsFunc(v, unicode.IsControl):
			return nil, badInput("The field %s holds characters that are no text.", clip(name, 40))
		}
		f[name] = v
	}
	return f, nil
}

// farBack and ahead bound when a jot may have been done.
const (
	farBack = 30 * 24 * time.Hour
	ahead   = 10 * time.Minute
)

// fieldTime is how a browser's own time field writes a moment.
const fieldTime = "2006-01-02T15:04"

// filledIn is when a form was filled in: just now, or, where it waited on a phone for the
// network, so many seconds ago. The phone's own clock may be wrong, so it says how long it
// was and not when; where even that can't be (before the list was made on which it was
// ticked) sure is false, and the time is that of its arrival.
func (v *visit) filledIn() (at time.Time, sure bool) {
	if v.in["ago"] == "" {
		return v.now, true
	}
	ago, err := strconv.ParseFloat(v.in["ago"], 64)
	listed, _ := time.Parse(time.RFC3339, v.in["listed"])
	at = v.now.Add(-time.Duration(ago * float64(time.Second))).Truncate(time.Second)
	if err != nil || !(ago >= 0 && ago <= farBack.Seconds()) || at.Before(listed.Add(-time.Minute)) {
		return v.now, false
	}
	return at, true
}

// moment reads when something was done, in the farm's time zone as a browser's
// own field writes it, or in RFC 3339. Empty means when the form was filled in.
func (v *visit) moment(s string) (time.Time, error) {
	if s == "" {
		at, _ := v.filledIn()
		return at, nil
	}
	for _, layout := range []string{fieldTime, fieldTime + ":05", time.RFC3339} {
		t, err := time.ParseInLocation(layout, s, v.loc)
		switch {
		case err != nil:
			continue
		case t.After(v.now.Add(ahead)):
			return t, badInput("That time is still to come. Leave it empty for now.")
		case t.Before(v.now.Add(-farBack)):
			return t, badInput("That is more than 30 days back. The diary takes no older lines here.")
		}
		return t, nil
	}
	return v.now, badInput("%q is no time I can read; write it like %s, or leave it empty for now.", s, fieldTime)
}

const maxAmount = 2000 // kg or L

// amount reads what the keeper typed, "2", "1,5" or "2 kg", with the unit
// chosen beside it. Empty is no amount.
func (v *visit) amount(typed, unit string) (kg, litres float64, err error) {
	if typed == "" {
		return 0, 0, nil
	}
	if strings.Count(typed, ",") == 1 && !strings.Contains(typed, ".") {
		typed = strings.Replace(typed, ",", ".", 1) // a phone's own decimal sign
	}
	if strings.Trim(typed, "0123456789.") == "" {
		typed += " " + unit
	}
	got, err := jot.Amount(v.Farm, typed)
	switch {
	case err != nil:
		return 0, 0, badInput("The amount is not clear: %v.", err)
	case max(got.Kg, got.Litres) > maxAmount:
		return 0, 0, badInput("%s is more than any bin holds.", typed)
	}
	return got.Kg, got.Litres, nil
}

// unitsFor are those of the field, the usual one of a kind of jot first.
func (v *visit) unitsFor(k farm.JotKind) []string {
	mass, volume := []string{"kg", "g"}, []string{"L", "ml"}
	if v.units == farm.US {
		mass, volume = []string{"lb", "oz"}, []string{"gal", "qt", "pt"}
	}
	if k == farm.Watered || k == farm.Sifted || k == farm.Emptied {
		return append(volume[:1:1], slices.Concat(mass, volume[1:])...)
	}
	return append(mass, volume...)
}

// typed is a jot's amount as the keeper would type it, in the farm's units and
// with two figures: more would claim a care nobody takes.
func (v *visit) typed(j farm.Jot) (number, unit string) {
	switch us := v.units == farm.US; {
	case j.Kg == 0 && j.Litres == 0:
		return "", v.unitsFor(j.What)[0]
	case j.Kg > 0 && us:
		unit = "lb"
	case j.Kg > 0:
		unit = "kg"
	case us && j.Litres < inner("gal"):
		unit = "qt"
	case us:
		unit = "gal"
	default:
		unit = "L"
	}
	rounded, _ := strconv.ParseFloat(strconv.FormatFloat((j.Kg+j.Litres)/inner(unit), 'g', 2, 64), 64)
	return snippet.Number(rounded), unit
}

// inner is how many kg or L a unit is, as package quantity has it.
func inner(unit string) float64 {
	kg, litres, _ := quantity.ParseAmount("1 " + unit)
	return kg + litres
}
