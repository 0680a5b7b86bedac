package main

import (
	"fmt"
	"io"
	"slices"
	"strings"
)

// table writes the figures in Markdown.
func table(w io.Writer, r *results) {
	fmt.Fprintln(w, "| figure | against | aim | seen | absolute, on this machine |\n|---|---|---|---|---|")
	for _, row := range rows(r) {
		fmt.Fprintln(w, "| "+strings.Join(row[:], " | ")+" |")
	}
	fmt.Fprintln(w, "\n| trouble on simulated bins | cases it came to | told before | false per 100 bin-months (at now) | lead: median (tenth percentile) | 80 % intervals that held | forecast after the truth: median (10 to 90 %) | notices a bin and week |\n|---|---|---|---|---|---|---|---|")
	for _, c := range [][2]string{
		{"heating", "heating"}, {"drying", "drying"}, {"sifting window opens (lead: to its closing)", "sift_opens"}, {"sifting window closes", "sift_closes"}, {"quiet", "quiet"},
		{"heating, probes that speak every hour", "heating_hourly"}, {"heating, every two hours", "heating_2h"},
		{"air around the moisture probe after work (false: told to be dry or drying)", "air_gap"},
		{"warmed from outside: sun, heater, lamp, mat, heat wave", "warm"}, {"the same, fed", "warm_fed"},
		{"the same, fed grain every week", "warm_weekly"},
	} {
		of := func(unit, format string) string { return r.say(format, "Acceptance/"+c[1], unit) }
		fmt.Fprintf(w, "| %s, %s bin-months | %s | %s | %s (%s) | %s (%s) | %s of %s | %s | %s |\n", c[0], of("months", "%.0f"), of("came", "%.0f"), of("told", "%.0f"),
			of("false/100-months", "%.1f"), of("false-now", "%.0f"), of("lead-h", "%.0f h"), of("lead-h-10", "%.0f h"), of("covered-%", "%.0f %%"), of("intervals", "%.0f"), off(of), of("notices/week", "%.1f"))
	}
	exposures(w, r)
	shelves(w, r)
	grounds(w, r)
	feedings(w, r)
	doses(w, r)
}

// off writes by how much forecasts lay after the truth.
func off(of func(unit, format string) string) string {
	return of("off-h-50", "%+.1f h") + " (" + of("off-h-10", "%+.0f") + " to " + of("off-h-90", "%+.0f") + ")"
}

// doses writes how close doses come to what a bin truly wants.
func doses(w io.Writer, r *results) {
	fmt.Fprintln(w, "\n| doses on simulated bins, by a dry mass | doses | dose ÷ need at 10, 50, 90 % | 80 % ranges that held | bins | said by the fourth settled watering that what was told is wrong (ever) |\n|---|---|---|---|---|---|")
	for _, c := range [][2]string{
		{"guessed", "guess"}, {"learned", "learned"}, {"told rightly", "told"}, {"told 1.6 times too high, learned since", "told_high"}, {"told 1.6 times too low, learned since", "told_low"},
	} {
		of := func(unit, format string) string { return r.say(format, "Doses/"+c[1], unit) }
		fmt.Fprintf(w, "| %s | %s | %s, %s, %s | %s | %s | %s (%s) |\n", c[0], of("doses", "%.0f"), of("ratio-10", "%.2f"), of("ratio-50", "%.2f"), of("ratio-90", "%.2f"),
			of("held-%", "%.0f %%"), of("bins", "%.0f"), of("within-4", "%.0f"), of("spoke", "%.0f"))
	}
}

// exposures writes how well it is told what the room brings.
func exposures(w io.Writer, r *results) {
	fmt.Fprintln(w, "\n| what the room brings, on simulated bins | times it came | told before | of them six hours before | false per 100 bin-months | lead: median (tenth percentile) | 80 % intervals that held | forecast after the truth: median (10 to 90 %) | nights told of twice | notices a bin and week |\n|---|---|---|---|---|---|---|---|---|---|")
	for _, c := range [][2]string{
		{"fronts, cold nights, hot spells and usual days, weather foretold", "weather_foretold"}, {"the same, nothing foretold", "weather"},
		{"a window left open, a heater that fails, weather foretold", "fault_foretold"}, {"the same, nothing foretold", "fault"},
	} {
		of := func(unit, format string) string { return r.say(format, "Exposed/"+c[1], unit) }
		fmt.Fprintf(w, "| %s, %s bin-months | %s | %s | %s | %s | %s (%s) | %s of %s | %s | %s | %s |\n", c[0], of("months", "%.0f"), of("came", "%.0f"), of("told", "%.0f"), of("early", "%.0f"),
			of("false/100-months", "%.1f"), of("lead-h", "%.0f h"), of("lead-h-10", "%.0f h"), of("covered-%", "%.0f %%"), of("intervals", "%.0f"), off(of), of("twice", "%.0f"), of("notices/week", "%.2f"))
	}
}

// shelves writes how well bad probes are told from honest ones.
func shelves(w io.Writer, r *results) {
	fmt.Fprintln(w, "\n| probes on simulated shelves | came to | found | after (half of them, nine in ten) | honest ones doubted |\n|---|---|---|---|---|")
	for _, c := range [][2]string{
		{"nothing is wrong, up to a year", "honest"}, {"water in a moisture probe, found within four days", "soak"}, {"two changed places, 40 hours", "swap"},
		{"one goes off by a little each day, 90 days", "drift"}, {"one repeats a number, three days", "freeze"}, {"the noise of a thermometer grows to 2.5 K, 14 days", "noise"},
	} {
		of := func(unit, format string) string { return r.say(format, "Shelf/"+c[1], unit) }
		found := "–"
		if c[1] != "honest" {
			found = of("took-h-50", "%.0f h") + ", " + of("took-h-90", "%.0f h")
		}
		fmt.Fprintf(w, "| %s | %s | %s | %s | %s of %s, in %s probe-months |\n", c[0], of("cases", "%.0f"), of("found", "%.0f"), found, of("wrong", "%.0f"), of("honest", "%.0f"), of("months", "%.0f"))
	}
}

// grounds writes what is told of real soil, which does nothing, and of probes that fall silent.
func grounds(w io.Writer, r *results) {
	fmt.Fprintln(w, "\n| a bed of red worms in the ground of a real logger | weeks | heating | changes of mild limits | to harm and back | suspect |\n|---|---|---|---|---|---|")
	for _, logger := range []string{"a", "b", "c"} {
		of := func(unit string) string { return r.say("%.0f", "Ground/"+logger, unit) }
		fmt.Fprintf(w, "| %s | %s | %s | %s | %s | %s |\n", logger, of("weeks"), of("heating"), of("mild"), of("harm"), of("suspect"))
	}
	of := func(unit string) string { return r.say("%.0f", "DropOuts", unit) }
	fmt.Fprintf(w, "\nDevices of two probes that dropped out %s times in %s weeks were told of %s times.\n", of("drops"), of("weeks"), of("told"))
}

// feedings writes how well it is told that feed is due.
func feedings(w io.Writer, r *results) {
	fmt.Fprintln(w, "\n| feed due on simulated bins | bins | days told after it was due: median (10 to 90 %) | left when told: median (10 to 90 %) | told with over half left | never told |\n|---|---|---|---|---|---|")
	for _, c := range [][2]string{
		{"once, what so many worms are used to", "usual"}, {"a bucket a day for six days, few worms", "daily"}, {"one feed far too big", "heap"},
		{"a handful for very many worms", "trifle"}, {"cardboard soon after a feed", "cardboard"}, {"five weeks of this and that", "mixed"},
	} {
		of := func(unit, format string) string { return r.say(format, "Feeding/"+c[1], unit) }
		fmt.Fprintf(w, "| %s | %s | %s (%s to %s) | %s (%s to %s) | %s | %s |\n", c[0], of("cases", "%.0f"),
			of("off-days-50", "%.0f"), of("off-days-10", "%.0f"), of("off-days-90", "%.0f"),
			of("left-%-50", "%.0f %%"), of("left-%-10", "%.0f"), of("left-%-90", "%.0f"), of("early", "%.0f"), of("untold", "%.0f"))
	}
}

func rows(r *results) [][5]string {
	intake := func(name string) (ratio, absolute string) {
		of := func(unit string) string { return r.say("%.0f", "Intake/"+name, unit) }
		return r.say("%.2f", "Intake/"+name, "ratio"), of("durable-messages/s") + " and " + of("bare-messages/s") + " messages/s"
	}
	const bare = "a bare subscriber that only acknowledges"
	m20, abs20 := intake("mosquitto_20_in_flight")
	m200, abs200 := intake("mosquitto_200_in_flight")
	s20, abss20 := intake("strictly_20_in_flight")
	s200, abss200 := intake("strictly_200_in_flight")
	const wear, slow = "Wear/20_probes_each_minute", "Wear/20_probes_each_10_minutes"
	old := func(unit, format string) string { return r.say(format, "Decade", unit) }
	nursery := func(unit, format string) string { return r.say(format, "Nursery", unit) }
	night := func(what, cause string) [5]string {
		of := func(unit, format string) string { return r.say(format, "Night/"+cause, unit) }
		return [5]string{"letters for one cause, 200 bins: " + what, "–", "–", of("letters", "%.0f") + of("things", ", about %.0f things"), of("pushes", "%.0f pushes of what is now, ") + of("letters-after-30-min", "%.0f letters to who is told after half an hour")}
	}
	return [][5]string{
		{"durable QoS 1 intake, mosquitto, 20 in flight", bare, "≥ 0.9", m20, abs20},
		{"the same, 200 in flight", bare, "≥ 0.8", m200, abs200},
		{"the same from a broker that keeps strictly to 20", bare, "≥ 0.9", s20, abss20},
		{"the same, strictly to 200", bare, "≥ 0.8", s200, abss200},
		{"intake while the database is down", "the same intake alone", "–", r.say("%.2f", "Beside/a_database_that_is_down", "ratio"), ""},
		{"intake while a backlog is forwarded to influxd", "the same intake alone", "–", r.say("%.2f", "Beside/a_backlog_on_its_way", "ratio"), ""},
		{"rehearse, readings/s from CSV", "encoding/csv and encoding/json alone", "≥ 0.5", r.say("%.2f", "Rehearse", "ratio"),
			r.say("%.0f", "Rehearse", "rehearsed/s") + " and " + r.say("%.0f", "Rehearse", "decoded/s") + " readings/s"},
		{"Step on the quiet path", "–", "< 1 µs, 0 allocations",
			r.say("%.0f ns", "Step", "quiet-ns/reading") + ", " + r.say("%.2f allocations", "Step", "quiet-allocs/reading"), ""},
		{"a zone's hourly refit, apart", "–", "–", r.say("%.0f µs", "Step", "us/refit"), ""},
		{"bytes written a reading, 20 probes a minute, folding included", "one commit a reading into a (probe, time) keyed table", "≤ 0.125",
			r.say("%.3f", wear, "written/keyed"), r.say("%.0f", wear, "written_B/reading") + " and " + r.say("%.0f", wear, "keyed_B/reading") + " bytes"},
		{"the same, what reaches the disk", "same", "≤ 0.125", r.say("%.3f", wear, "disk_written/keyed"), ""},
		{"the same of 20 probes every ten minutes", "same", "≤ 0.2", r.say("%.3f", slow, "written/keyed"), r.say("%.0f", slow, "written_B/reading") + " bytes"},
		{"the same, what reaches the disk", "same", "≤ 0.2", r.say("%.3f", slow, "disk_written/keyed"), ""},
		{"bytes on disk a reading after folding", "20-byte rows", "≤ 0.33", r.say("%.2f", wear, "kept/20B_rows"), r.say("%.2f bytes", wear, "kept_B/reading")},
		{"forwarding a week's backlog to influxd", "the client writing prepared batches of the same size", "≥ 0.9", r.say("%.2f", "Backlog", "ratio"),
			r.say("%.0f", "Backlog", "forwarder-points/s") + " and " + r.say("%.0f", "Backlog", "client-points/s") + " points/s"},
		{"work of the processor while 200 probes speak once a minute", "one core", "< 0.5 %", r.say("%.2f %%", "Flood", "idle-%"), ""},
		{"resident memory while two million messages come", "–", "flat", plot(r), r.say("most ever %.0f MB", "Flood", "peak-MB")},
		{"journal of 1000 probes in 500 bins after ten years", "–", "–", old("journal-MB", "%.0f MB"), old("kept-readings", "%.0f single readings, a year's, ") + "and the history of all years"},
		{"start of that", "–", "–", old("start-s", "%.1f s") + old("start-cpu-s", ", %.1f s of work"), old("now-s", "the command now %.1f s") + old("front-ms", ", GET / %.0f ms") + old("bin-ms", ", a year of one bin %.0f ms") +
			old("probes-ms", ", /probes %.0f ms") + old("scrape-ms", ", a scrape %.0f ms") + old("backup-s", "; backup %.0f s") + old("backup-MB", ", %.0f MB") + old("resident-MB", "; resident %.0f MB") + old("peak-MB", ", most ever %.0f MB")},
		{"resident memory, 200 probes, a year of history", "–", "≤ 32 MB, 38 once looked at", r.say("%.0f MB", "Year", "at-work-MB"),
			r.say("%.0f MB after every page and a year's curve were looked at", "Year", "looked-at-MB") + ", of it " +
				r.say("%.0f MB of the program's own file", "Year", "file-MB") + "; most ever " + r.say("%.0f MB", "Year", "peak-MB")},
		{"all that comes, 40 zones and a year of logbook", "–", "≤ 300 ms", r.say("%.0f ms", "Ahead", "ahead-ms"), "the command, beside its daemon: " + r.say("%.0f ms of work", "Ahead", "ahead-cpu-ms") + "; " + r.say("%.0f things come", "Ahead", "things")},
		{"a line is written in the logbook and answered, same farm", "–", "≤ 100 ms", r.say("%.0f ms", "Ahead", "jot-ms"), "the command, beside its daemon"},
		{"start to first judgement, same farm", "–", "≤ 300 ms", r.say("%.0f ms", "Year", "start-ms"), r.say("%.0f readings in the journal", "Year", "readings")},
		{"publish to mail accepted, over the 2 s it waits for others", "–", "≤ 50 ms", r.say("%.1f ms", "Told", "mail-ms"), ""},
		{"publish to webhook answered", "–", "≤ 50 ms", r.say("%.1f ms", "Told", "webhook-ms"), ""},
		{"GET / of a daemon of 200 bins and 600 probes after three years, middle of 11", "–", "≤ 30 ms", nursery("front-ms", "%.0f ms"), nursery("probes-ms", "/probes %.0f ms") + nursery("now-ms", ", the command now %.0f ms") +
			nursery("start-s", "; start %.1f s") + nursery("start-cpu-s", ", %.1f s of work") + nursery("reload-ms", "; reload %.0f ms") + nursery("resident-MB", "; resident %.0f MB") + nursery("peak-MB", ", most ever %.0f MB")},
		{"journal of that", "–", "–", nursery("journal-MB", "%.0f MB"), nursery("kept-readings", "%.0f single readings, a year's, ") + "and the history of all years"},
		night("the heating of a shed of 50 is off for three hours", "heating_of_one_shed_off"), night("a gateway of 151 probes is dead for an hour", "gateway_dead"), night("the power is cut for an hour", "power_cut"),
		{"a probe's acknowledgement, 99 of 100, beside 200 readers of 200 probes that speak every second", "the same without readers", "≤ 20 ms later",
			r.say("%.0f", "Readers", "beside-p99-ms") + r.say(" and %.0f ms", "Readers", "alone-p99-ms"), r.say("%.0f pages", "Readers", "pages") + r.say(" in %.2f s", "Readers", "page-p50-s") +
				r.say(" (99 of 100 in %.1f s)", "Readers", "page-p99-s") + r.say(", %.0f readers asked to come again", "Readers", "sent-away") + r.say(", %.0f answers that should not be", "Readers", "bad")},
		{"most resident memory of that", "–", "≤ 80 MB", r.say("%.0f MB", "Readers", "peak-MB"), ""},
		{"a scrape of that farm, work of the processor", "–", "≤ 0.02 ms a probe", r.say("%.3f ms", "Readers", "scrape-ms/probe"), ""},
		{"GET / with 24 zones drawn, p50", "–", "< 30 ms", r.say("%.1f ms", "Front/drawn", "p50-ms"), r.say("%.0f bytes", "Front/drawn", "B/page")},
		{"GET / with 200 bins in rows, p50", "–", "≤ 30 ms", r.say("%.1f ms", "Front/rows", "p50-ms"), r.say("%.0f bytes", "Front/rows", "B/page")},
	}
}

// plot draws the memory during a flood of messages, from nothing to the most that was seen.
func plot(r *results) string {
	var seen []float64
	for i := range floods {
		unit := fmt.Sprintf("MB-%02d", i)
		r.say("", "Flood", unit) // notes what is missing
		seen = append(seen, r.measured["Flood"][unit])
	}
	bars, most := []rune("▁▂▃▄▅▆▇█"), max(1, slices.Max(seen))
	var b strings.Builder
	for _, mb := range seen {
		b.WriteRune(bars[int(mb/most*float64(len(bars)-1)+0.5)])
	}
	return fmt.Sprintf("%s %.0f to %.0f MB", &b, slices.Min(seen), most)
}
