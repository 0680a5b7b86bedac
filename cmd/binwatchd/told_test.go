package main

import (
	"context"
	"database/sql"

	"binwatchd/internal/farm"
)

// owing is how many notices wait to be given.
func (c *chaos) owing() int64 {
	c.t.Helper()
	j := c.kept.open()
	defer j.Close()
	all, err := j.Waiting(context.Background())
	if err != nil {
		c.t.Fatal(err)
	}
	n := int64(0)
	for _, w := range all {
		n += w.N
	}
	return n
}

// checkNotices holds what the webhook got against what the journal says was
// told. A notice comes once; a daemon killed between the webhook's answer and
// the note of it in the journal gives it again under the same id, by which the
// webhook knows it.
func (c *chaos) checkNotices() (told int) {
	c.t.Helper()
	times := map[string]int{}
	for _, p := range c.hook.all() {
		if p.Condition != farm.Unwritten { // what is told from memory is not in the journal
			times[p.ID]++
		}
	}
	again := 0
	for id, n := range times {
		if again += n - 1; n > 2 {
			c.t.Errorf("notice %s was given %d times", id, n)
		}
	}
	if again > c.kills {
		c.t.Errorf("%d notices were given again in %d kills of the daemon", again, c.kills)
	}
	fates := c.fates()
	for id, fate := range fates {
		if fate == farm.Told && times[id] == 0 {
			c.t.Errorf("the journal says that notice %s was told, and it never came", id)
		}
	}
	for id := range times {
		if fates[id] != farm.Told && fates[id] != farm.Summed {
			c.t.Errorf("notice %s came, and the journal has it as %q", id, fates[id])
		}
	}
	if len(times) < 2 {
		c.t.Errorf("got %d notices; the test shows nothing", len(times))
	}
	return len(times)
}

// fates gives what became of every notice, as the journal has it. What was
// summed up in a later notice went out under that one's id.
func (c *chaos) fates() map[string]farm.Fate {
	c.t.Helper()
	db, err := sql.Open("sqlite", "file:"+c.kept.path+"?mode=ro")
	if err != nil {
		c.t.Fatal(err)
	}
	defer db.Close()
	rows, err := db.Query(`SELECT notice, coalesce(fate, '') FROM owed`)
	if err != nil {
		c.t.Fatal(err)
	}
	defer rows.Close()
	out := map[string]farm.Fate{}
	for rows.Next() {
		var id string
		var fate farm.Fate
		if err := rows.Scan(&id, &fate); err != nil {
			c.t.Fatal(err)
		}
		out[id] = fate
	}
	if err := rows.Err(); err != nil {
		c.t.Fatal(err)
	}
	return out
}

// unwritten gives the notices from memory that a webhook has got.
func (h *hook) unwritten() (out []posted) {
	for _, p := range h.all() {
		if p.Condition == farm.Unwritten {
			out = append(out, p)
		}
	}
	return out
}
