package journal

import (
	"cmp"
	"context"
	"database/sql"
	"errors"
	"maps"
	"slices"
)

// seriesDay names one day of one series.
type seriesDay struct{ series, day int64 }

// folds gathers days that are to be added to the history.
type folds map[seriesDay]*day

// add puts a row into its hour, if it belongs into a history at all.
func (f folds) add(r row, all []series) {
	if !r.judged() || r.series > int64(len(all)) {
		return
	}
	v, ok := steps(r.value, all[r.series-1].quantity)
	if !ok {
		return
	}
	key := seriesDay{r.series, dayOf(r.at())}
	d := f[key]
	if d == nil {
		d = new(day)
		f[key] = d
	}
	d[hourOf(r.at())].add(v)
}

// keys gives the days in the order of the table, so that pages are written in
// order and the same folds always write the same bytes.
func (f folds) keys() []seriesDay {
	return slices.SortedFunc(maps.Keys(f), func(a, b seriesDay) int {
		return cmp.Or(cmp.Compare(a.series, b.series), cmp.Compare(a.day, b.day))
	})
}

// mergeInto adds the days to those of the file.
func (f folds) mergeInto(tx *tx) error {
	for _, key := range f.keys() {
		old, err := readDay(tx.ctx, tx, key)
		if err != nil {
			return err
		}
		for h, g := range f[key] {
			old[h].merge(g)
		}
		if err := writeDay(tx, key, old); err != nil {
			return err
		}
	}
	return nil
}

func readDay(ctx context.Context, q querier, key seriesDay) (day, error) {
	var b []byte
	err := q.QueryRowContext(ctx, `SELECT hours FROM history WHERE series = ? AND day = ?`, key.series, key.day).Scan(&b)
	if errors.Is(err, sql.ErrNoRows) {
		return day{}, nil
	}
	if err != nil {
		return day{}, err
	}
	return decodeDay(b)
}

func writeDay(tx *tx, key seriesDay, d day) error {
	w := d.whole()
	return tx.exec(`INSERT OR REPLACE INTO history (series, day, n, sum, min, max, hours) VALUES (?, ?, ?, ?, ?, ?, ?)`,
		key.series, key.day, w.n, w.sum, w.min, w.max, d.encode())
}

// rebuildDays makes the given days anew from the packed readings, after times
// have moved. Readings that Keep has already dropped are not known any more:
// they are left out, which concerns only days at the very end of what is kept.
func rebuildDays(tx *tx, days map[seriesDay]bool, all []series) error {
	fresh := folds{}
	chunks := map[chunkInfo]bool{}
	for key := range days {
		fresh[key] = new(day)
		within, err := chunksWithin(tx.ctx, tx, key.day*dayMs, (key.day+1)*dayMs)
		if err != nil {
			return err
		}
		for _, c := range within {
			chunks[c] = true
		}
	}
	for c := range chunks {
		rows, err := readChunk(tx.ctx, tx, c)
		if err != nil {
			return err
		}
		for _, r := range rows {
			if days[seriesDay{r.series, dayOf(r.at())}] {
				fresh.add(r, all)
			}
		}
	}
	return fresh.replace(tx)
}

// replace writes the days in place of those of the file; a day without values
// goes.
func (f folds) replace(tx *tx) error {
	for _, key := range f.keys() {
		if f[key].whole().n == 0 {
			if err := tx.exec(`DELETE FROM history WHERE series = ? AND day = ?`, key.series, key.day); err != nil {
				return err
			}
			continue
		}
		if err := writeDay(tx, key, *f[key]); err != nil {
			return err
		}
	}
	return nil
}
