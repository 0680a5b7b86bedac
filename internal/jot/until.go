package jot

import (
	"fmt"
	"strings"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/quantity"
)

// longestHands bounds for how long somebody looks after a thing: longer is forgetting it.
const longestHands = 7 * 24 * time.Hour

// Until reads until when somebody looks after something, in the farm's time zone: tonight (nine
// in the evening, and midnight after that), tomorrow (noon), a time of the day that comes, a length of time, or now.
func Until(f *farm.Farm, words string, now time.Time) (time.Time, error) {
	now = now.Truncate(time.Millisecond) // as the journal keeps it
	here := now.In(f.Location)
	at := func(days, hour, minute int) time.Time {
		return time.Date(here.Year(), here.Month(), here.Day()+days, hour, minute, 0, 0, f.Location)
	}
	switch word := strings.ToLower(strings.TrimSpace(words)); word {
	case "now":
		return now, nil
	case "tonight":
		if evening := at(0, 21, 0); evening.After(now) {
			return evening, nil
		}
		return at(1, 0, 0), nil
	case "tomorrow":
		return at(1, 12, 0), nil
	default:
		for _, layout := range []string{"15:04", "3pm", "3 pm", "3:04pm", "3:04 pm"} {
			t, err := time.Parse(layout, word)
			if err != nil {
				continue
			}
			if today := at(0, t.Hour(), t.Minute()); today.After(now) {
				return today, nil
			}
			return at(1, t.Hour(), t.Minute()), nil
		}
		long, err := quantity.ParseDuration(word)
		if err != nil || long <= 0 || long > longestHands {
			return now, fmt.Errorf("%q says no time up to a week from now; write tonight, tomorrow, 18:00 or 2h", clipped(words, 40))
		}
		return now.Add(long), nil
	}
}
