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
	"binwatchd/internal/quantity"
	"binwatchd/internal/snippet"
)

const (
	maxFields = 32
	maxValue  = 200 // bytes
)

// fields are the values of a form that has passed every bound: each field once,
// valid UTF-8 without control characters, trimmed.
type fields map[string]string

func (f fields) get(name string) string { return f[name] }

// readForm reads the form a request carries.
func readForm(w http.ResponseWriter, r *http.Request) (fields, error) {
	kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	if err != nil || kind != "application/x-www-form-urlencoded" {
		return nil, refuse(http.StatusUnsupportedMediaType, "A form must come as application/x-www-form-urlencoded.")
	}
	if err := r.ParseForm(); err != nil {
		var tooLarge *http.MaxBytesError
		if errors.As(err, &tooLarge) {
			return nil, refuse(http.StatusRequestEntityTooLarge, "The form is larger than %d bytes.", tooLarge.Limit)
		}
		return nil, badInput("The form cannot be read: it is torn or wrongly encoded.")
	}
	return sound(r.PostForm)
}

// readQuery reads the part of an address after the question mark in the same
// way.
func readQuery(r *http.Request) (fields, error) {
	v, err := url.ParseQuery(r.URL.RawQuery)
	if err != nil {
		return nil, badInput("The part of the address after the question mark cannot be read.")
	}
	return sound(v)
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
		v := strings.TrimSpace(all[0])
		switch {
		case len(v) > maxValue:
			return nil, badInput("The field %s is longer than %d bytes.", clip(name, 40), maxValue)
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

// moment reads when something was done, in the farm's time zone as a browser's
// own field writes it, or in RFC 3339. Empty means now.
func moment(s string, now time.Time, loc *time.Location) (time.Time, error) {
	if s == "" {
		return now, nil
	}
	for _, layout := range []string{"2006-01-02T15:04", "2006-01-02T15:04:05", time.RFC3339} {
		t, err := time.ParseInLocation(layout, s, loc)
		if err != nil {
			continue
		}
		switch {
		case t.After(now.Add(ahead)):
			return t, badInput("That time is still to come. Leave it empty for now.")
		case t.Before(now.Add(-farBack)):
			return t, badInput("That is more than 30 days back. The logbook takes no older lines here.")
		}
		return t, nil
	}
	return now, badInput("%q is no time I can read; write it like 2006-01-02T15:04, or leave it empty for now.", s)
}

const (
	maxKg     = 2000
	maxLitres = 2000
)

// amount reads what the keeper typed, "2", "1,5" or "2 kg", with the unit
// chosen beside it. Empty is no amount.
func amount(typed, unit string) (kg, litres float64, err error) {
	if typed == "" {
		return 0, 0, nil
	}
	if strings.Count(typed, ",") == 1 && !strings.Contains(typed, ".") {
		typed = strings.Replace(typed, ",", ".", 1) // a phone's own decimal sign
	}
	if strings.Trim(typed, "0123456789.") == "" {
		typed += " " + unit
	}
	kg, litres, err = quantity.ParseAmount(typed)
	switch {
	case err != nil:
		return 0, 0, badInput("The amount is not clear: %v.", err)
	case kg > maxKg || litres > maxLitres:
		return 0, 0, badInput("%s is more than any bin holds.", typed)
	}
	return kg, litres, nil
}

// usualUnit is what a kind of jot is measured in.
func usualUnit(k farm.JotKind, u farm.Units) string {
	litres := k == farm.Watered || k == farm.Sifted || k == farm.Emptied
	switch {
	case litres && u == farm.US:
		return "gal"
	case litres:
		return "L"
	case u == farm.US:
		return "lb"
	}
	return "kg"
}

// unitsOffered are the units of the form, the usual one first.
func unitsOffered(k farm.JotKind, u farm.Units) []string {
	all := []string{"kg", "g", "L", "ml"}
	if u == farm.US {
		all = []string{"lb", "oz", "gal", "qt", "pt"}
	}
	first := usualUnit(k, u)
	return append([]string{first}, slices.DeleteFunc(all, func(unit string) bool { return unit == first })...)
}

// typedAmount is a jot's amount as the keeper would type it, in the farm's
// units and with two figures: more would claim a care nobody takes.
func typedAmount(j farm.Jot, u farm.Units) (number, unit string) {
	switch us := u == farm.US; {
	case j.Kg == 0 && j.Litres == 0:
		return "", usualUnit(j.What, u)
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
	figures := strconv.FormatFloat((j.Kg+j.Litres)/inner(unit), 'g', 2, 64)
	rounded, err := strconv.ParseFloat(figures, 64)
	if err != nil {
		return figures, unit
	}
	return snippet.Number(rounded), unit
}

// inner is how many kg or L a unit is, as package quantity has it.
func inner(unit string) float64 {
	kg, litres, err := quantity.ParseAmount("1 " + unit)
	if err != nil {
		return 1
	}
	return kg + litres
}
