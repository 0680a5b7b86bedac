package config

import (
	"cmp"
	"encoding"
	"errors"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"binwatchd/internal/farm"
	"binwatchd/internal/quantity"
	"gopkg.in/yaml.v3"
)

// single is the form of a single value; wanted says what it is, with its article.
func single(wanted string, read func(s string, into reflect.Value) error, write func(v reflect.Value) *yaml.Node, s schema) form {
	return form{
		read: func(r *reader, n node, into reflect.Value) bool {
			if !r.is(yaml.ScalarNode, n, wanted) {
				return false
			}
			if err := read(n.Value, into); err != nil {
				r.problem(n.place(), "%v", err)
				return false
			}
			return true
		},
		write:  func(_ marks, v reflect.Value) *yaml.Node { return write(v) },
		schema: s,
	}
}

// allKinds lists the kinds that a tag can name, by the tables in force.
func allKinds() map[string]form {
	step := scalar("a difference of temperatures", "0.5C", quantity.ParseTemperatureStep, quantity.FormatTemperatureStep)
	return map[string]form{
		"a number":                     number("a number", nil),
		"a number of degree days":      number("a number of degree days", empty),
		"a number of young":            number("a number of young", empty),
		"a number of notices":          number("a number", wrongCount("notices")),
		"a number of copies":           number("a number", wrongCount("copies")),
		"a percentage":                 scalar("a percentage", "70%", quantity.ParsePercent, quantity.FormatPercent),
		"a share":                      scalar("a percentage", "70%", checked(quantity.ParsePercent, empty), quantity.FormatPercent),
		"a temperature":                scalar("a temperature", "20C", checked(quantity.ParseTemperature, implausible), quantity.FormatTemperature),
		"a difference of temperatures": step,
		"a volume":                     scalar("a volume", "160 L", checked(quantity.ParseVolume, empty), quantity.FormatVolume),
		"a mass":                       scalar("a mass", "3 kg", checked(quantity.ParseMass, empty), quantity.FormatMass),
		"an amount":                    scalar("an amount", "2 qt", parseAmount, formatAmount),
		"a range of temperatures":      band("a range of temperatures", "16C..24C", quantity.ParseTemperatureBand, quantity.FormatTemperatureBand, implausible),
		"a range of percentages":       band("a range of percentages", "68%..82%", quantity.ParsePercentBand, quantity.FormatPercentBand, nil),
		"a feed's pace":                feedPace(),
		"a quantity":                   words("a quantity", farm.QuantityNames()),
		"a unit":                       words("a unit", allUnits()),
		"an aim":                       words("an aim", farm.Aims),
		"an urgency or a condition":    words("an urgency or a condition", subjects()),
		"a day":                        plain(scalar("a day", "10 Apr", parseDate, Date.String)),
		"a day with its year":          plain(scalar("a day with its year", "2026-11-28", checked(parseDate, Date.wrongYear), Date.String)),
		"a time zone":                  textual("a time zone", "Europe/London", parseZone),
		"a topic":                      textual("a topic", "glass/bed", checked(parseText("a topic"), wrongFilter)),
		"a single topic":               textual("a topic", "weather/hours", checked(parseText("a topic"), wrongSingle)),
		"a prefix":                     textual("a prefix", "binwatch", checked(parseText("a prefix"), wrongPrefix)),
		"a JSON Pointer":               textual("a JSON Pointer", "/soil", parsePointer),
		"the address of a broker":      textual("the address of a broker", "tcp://127.0.0.1:1883", parseBrokerURL),
		"an address to listen at":      textual("an address to listen at", "127.0.0.1:8338", parseListen),
		"an address":                   textual("an address", "http://127.0.0.1:8086", parseHTTP),
		"the address of a webhook":     textual("an address", "https://example.org/hook", checked(parseHTTP, wrongWebhook)),
		"a mail server":                textual("a mail server", "mail.example.org:587", parseMailServer),
		"a sender":                     textual("a mail address", "bins@example.org", parseFrom),
		"a mail address":               textual("a mail address", "keeper@example.org", parseAddress),
		"a file":                       textual("the path of a file", "/etc/binwatchd/ca.pem", parseText("the path of a file")),
		"a folder":                     textual("the path of a folder", "/media/stick", parseText("the path of a folder")),
		"a private key":                textual("the path of a file", "/etc/binwatchd/ca.pem", parseText("the path of a file")),
		"a bin or a pattern":           textual("the name of a bin or a pattern of names", "linden-*", checked(parseText("the name of a bin"), wrongPattern)),
		"a former name":                textual("a name", "linden-02", checked(parseText("a name"), wrongProbeName)),
		"a probe":                      textual("the name of a probe", "bed-t", parseText("the name of a probe")),
	}
}

// kindOf finds the kind of a single value: by its tag, by its type, or else it is
// a text of one line.
func (in scope) kindOf(t reflect.Type, what string, tag reflect.StructTag) form {
	k, named := in.kinds[what]
	list, worded := tag.Lookup("words")
	switch {
	case named:
	case worded:
		k = words(what, strings.Fields(list))
	case t == reflect.TypeFor[time.Duration]():
		k = scalar("a length of time", "30m", between(tag.Get("least"), tag.Get("most")), quantity.FormatDuration)
	case t == reflect.TypeFor[level]():
		k = batteryLevel()
	case reflect.PointerTo(t).Implements(reflect.TypeFor[encoding.TextUnmarshaler]()):
		k = readsItself(what)
	default:
		k = textual(what, "", parseText(what)) // of a type that is no text it would panic where each is built
	}
	if like := tag.Get("like"); like != "" {
		k.schema = with(k.schema, schema{"examples": []any{like}})
	}
	return k
}

func textNode(s string) *yaml.Node {
	return &yaml.Node{Kind: yaml.ScalarNode, Tag: "!!str", Value: s}
}

// scalar is a kind with a parser and a printer; the value may be of any type that
// V converts to.
func scalar[V any](wanted, example string, parse func(string) (V, error), format func(V) string) form {
	read := func(s string, into reflect.Value) error {
		v, err := parse(s)
		if err == nil {
			into.Set(reflect.ValueOf(v).Convert(into.Type()))
		}
		return err
	}
	write := func(v reflect.Value) *yaml.Node { return textNode(format(valueOf[V](v))) }
	return single(wanted, read, write, schema{"type": "string", "examples": []any{example}})
}

func valueOf[V any](v reflect.Value) V { return v.Convert(reflect.TypeFor[V]()).Interface().(V) }

// checked narrows a parser: wrong says what is wrong with a value, or "".
func checked[V any](parse func(string) (V, error), wrong func(V) string) func(string) (V, error) {
	return func(s string) (V, error) {
		v, err := parse(s)
		if err == nil && wrong != nil {
			if why := wrong(v); why != "" {
				err = errors.New(why)
			}
		}
		return v, err
	}
}

// textual is a text that is kept as it is parsed.
func textual(wanted, example string, parse func(string) (string, error)) form {
	return scalar(wanted, example, parse, func(s string) string { return s })
}

// longestText bounds free text: no name, topic or path a keeper writes comes
// near it.
const longestText = 1000

// parseText takes free text of one line.
func parseText(wanted string) func(string) (string, error) {
	return func(s string) (string, error) {
		switch {
		case strings.TrimSpace(s) == "":
			return "", fmt.Errorf("%s cannot be empty", wanted)
		case utf8.RuneCountInString(s) > longestText:
			return "", fmt.Errorf("%s cannot be longer than %d characters", wanted, longestText)
		case strings.ContainsFunc(s, unicode.IsControl):
			return "", fmt.Errorf("%s is one line without control characters", wanted)
		}
		return s, nil
	}
}

// words is one of a fixed set.
func words[V ~string](what string, known []V) form {
	list := namesOf(known, func(k V) string { return string(k) })
	k := textual(what, "", func(s string) (string, error) {
		if slices.Contains(list, s) {
			return s, nil
		}
		return "", fmt.Errorf("%s is not %s: %s", quoted(s), what, hint(s, list))
	})
	k.schema = schema{"enum": list}
	return k
}

// subjects is what a recipient can ask to be told about.
func subjects() []string {
	words := []string{farm.Now.String(), farm.Today.String(), farm.Soon.String()}
	for _, c := range farm.Conditions {
		words = append(words, string(c))
	}
	return words
}

// readsItself is a type with a text form of its own. Its errors go on after what
// was written.
func readsItself(wanted string) form {
	read := func(s string, into reflect.Value) error {
		if err := into.Addr().Interface().(encoding.TextUnmarshaler).UnmarshalText([]byte(s)); err != nil {
			return fmt.Errorf("%s %w", quoted(s), err)
		}
		return nil
	}
	write := func(v reflect.Value) *yaml.Node { return textNode(fmt.Sprint(v.Interface())) }
	return single(wanted, read, write, schema{"type": "string"})
}

// plain is written without quotes, as numbers and days are.
func plain(f form) form {
	write := f.write
	f.write = func(m marks, v reflect.Value) *yaml.Node {
		return &yaml.Node{Kind: yaml.ScalarNode, Value: write(m, v).Value}
	}
	return f
}

// number is a plain number without a unit.
func number(wanted string, wrong func(float64) string) form {
	k := plain(scalar(wanted, "", checked(parseNumber, wrong), formatNumber))
	k.schema = schema{"type": "number"}
	return k
}

// mostNumber bounds raw numbers, so that a line through two of them is finite.
const mostNumber = 1e12

func parseNumber(s string) (float64, error) {
	v, err := strconv.ParseFloat(s, 64)
	if err != nil && !errors.Is(err, strconv.ErrRange) || strings.ContainsAny(s, "xX_nN") {
		return 0, fmt.Errorf("%s is not a plain number, such as 2850 or 0.5", quoted(s))
	}
	if math.Abs(v) > mostNumber {
		return 0, fmt.Errorf("%s is larger than any number a probe sends", quoted(s))
	}
	return v + 0, nil // adding 0 turns minus zero into zero
}

func formatNumber(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

func wrongCount(of string) func(float64) string {
	return func(v float64) string {
		if v != math.Trunc(v) || v < 1 || v > 1000 {
			return fmt.Sprintf("%s is not a number of %s: a whole number from 1 to 1000", formatNumber(v), of)
		}
		return ""
	}
}

const day = 24 * time.Hour

// between reads a length of time between two ends; "" is no time at all.
func between(least, most string) func(string) (time.Duration, error) {
	shortest, _ := quantity.ParseDuration(least) // tags, which a test reads all
	longest, _ := quantity.ParseDuration(most)
	return checked(quantity.ParseDuration, func(d time.Duration) string {
		switch {
		case d < shortest:
			return fmt.Sprintf("%s is too short here: it must be at least %s", quantity.FormatDuration(d), quantity.FormatDuration(shortest))
		case d > longest:
			return fmt.Sprintf("%s is too long here: it can be at most %s", quantity.FormatDuration(d), quantity.FormatDuration(longest))
		}
		return ""
	})
}

// feedPace is a length of time that is kept as days.
func feedPace() form {
	parse := between("1h", "1095d")
	return scalar("a length of time", "30m", func(s string) (float64, error) {
		d, err := parse(s)
		return d.Hours() / 24, err
	}, func(days float64) string { return quantity.FormatDuration(time.Duration(days * float64(day))) })
}

// Plausible temperatures of a bin and of what a probe of one can show, °C.
const coldest, hottest = -60, 100

func implausible(c float64) string {
	if c < coldest || c > hottest {
		return fmt.Sprintf("%s is no temperature of a worm bin; is the unit right?", quantity.FormatTemperature(c))
	}
	return ""
}

// empty says what is wrong with an amount of nothing.
func empty(v float64) string {
	if v <= 0 {
		return "this must be more than nothing; leave the key out when it is not known"
	}
	return ""
}

// band is a range; wrong says what is wrong with one of its ends, or "".
func band(wanted, example string, parse func(string) (low, high float64, err error), format func(low, high float64) string, wrong func(float64) string) form {
	return scalar(wanted, example, checked(func(s string) (farm.Band, error) {
		low, high, err := parse(s)
		return farm.Band{Low: low, High: high}, err
	}, func(b farm.Band) string {
		if wrong == nil {
			return ""
		}
		return cmp.Or(wrong(b.Low), wrong(b.High))
	}), func(b farm.Band) string { return format(b.Low, b.High) })
}

// A level is a number in a battery's own unit, which another key decides.
type level struct {
	v    float64
	unit farm.Unit // V or %; "" when only the number was given
}

func batteryLevel() form {
	k := scalar("a voltage or a percentage", "", parseLevel, level.String)
	text, bare := k.write, plain(k).write
	k.write = func(m marks, v reflect.Value) *yaml.Node {
		if valueOf[level](v).unit == "" {
			return bare(m, v)
		}
		return text(m, v)
	}
	k.schema = schema{"type": []string{"number", "string"}, "examples": []any{3.3, "3.3 V", "20%"}}
	return k
}

func parseLevel(s string) (level, error) {
	if v, err := parseNumber(s); err == nil {
		return level{v: v}, nil
	}
	if strings.HasSuffix(strings.TrimSpace(s), "%") {
		v, err := quantity.ParsePercent(s)
		return level{v, farm.Percent}, err
	}
	v, err := quantity.ParseVoltage(s)
	return level{v, farm.Volt}, err
}

// String writes a level with its unit, where it has one.
func (l level) String() string {
	switch l.unit {
	case "":
		return formatNumber(l.v)
	case farm.Percent:
		return quantity.FormatPercent(l.v)
	}
	return quantity.FormatVoltage(l.v)
}

// A Date is a day of the calendar; year is 0 where the file gives none, which
// means the next such day.
type Date struct {
	year  int
	month time.Month
	day   int
}

// dateLayouts are the ways to write a day, with and without its year.
var dateLayouts = []string{
	"2006-01-02", "2 Jan 2006", "2 January 2006", "Jan 2 2006", "January 2 2006", "2 Jan", "2 January", "Jan 2", "January 2",
}

func parseDate(s string) (Date, error) {
	plain := strings.Join(strings.Fields(strings.ReplaceAll(s, ",", " ")), " ")
	for _, layout := range dateLayouts {
		value, hasYear := plain, strings.Contains(layout, "2006")
		if !hasYear { // a leap year, so that 29 Feb can be read
			layout, value = layout+" 2006", value+" 2000"
		}
		switch t, err := time.Parse(layout, value); {
		case err != nil:
		case hasYear:
			return Date{t.Year(), t.Month(), t.Day()}, nil
		default:
			return Date{0, t.Month(), t.Day()}, nil
		}
	}
	return Date{}, fmt.Errorf("%s is not a day, such as 10 Apr or 2027-04-10", quoted(s))
}

// wrongYear tells what keeps a day from being one for good.
func (d Date) wrongYear() string {
	if d.year == 0 {
		return "this day has no year; write it as 2026-11-28"
	}
	return ""
}

// String writes a day whose year is known.
func (d Date) String() string {
	return fmt.Sprintf("%04d-%02d-%02d", d.year, d.month, d.day)
}

// from gives the midnight that begins the day, and where no year is given the
// first such day that is not over at now.
func (d Date) from(now time.Time, loc *time.Location) time.Time {
	if d.year != 0 {
		return time.Date(d.year, d.month, d.day, 0, 0, 0, 0, loc)
	}
	now = now.In(loc)
	today := time.Date(now.Year(), now.Month(), now.Day(), 0, 0, 0, 0, loc)
	t := today
	for year := now.Year(); year <= now.Year()+8; year++ { // 29 Feb waits up to eight years for a leap year
		t = time.Date(year, d.month, d.day, 0, 0, 0, 0, loc)
		if t.Day() == d.day && !t.Before(today) {
			break
		}
	}
	return t
}

// parseAmount reads what a vessel holds.
func parseAmount(s string) (a farm.Amount, err error) {
	a.Kg, a.Litres, err = quantity.ParseAmount(s)
	return a, err
}

func formatAmount(a farm.Amount) string {
	if a.Kg > 0 {
		return quantity.FormatMass(a.Kg)
	}
	return quantity.FormatVolume(a.Litres)
}
