package ingest

import "time"

// Shift moves the times that are known from a moment on, after the clock was put
// right: what was heard on the wrong clock was heard as long ago as it was.
func (d *Doubter) Shift(by time.Duration, from time.Time) {
	ms, begin := by.Milliseconds(), from.UnixMilli()
	move := func(times ...*int64) {
		for _, t := range times {
			if *t != 0 && *t >= begin {
				*t += ms
			}
		}
	}
	var tracks []*track
	for i := range d.tracks {
		tracks = append(tracks, &d.tracks[i])
		if prior := d.tracks[i].Prior; prior != nil {
			tracks = append(tracks, prior)
		}
	}
	for _, t := range tracks {
		move(&t.Last, &t.Heard, &t.T, &t.GoodAt, &t.LeftAt, &t.Begun, &t.FollowAt, &t.Worked, &t.Stirred, &t.Handled, &t.Renewed)
		move(&t.Jump.From, &t.Jump.Begun, &t.Jump.Since)
		move(&t.Still.From, &t.Still.To, &t.Still.Day)
		move(&t.Twin.SlowAt, &t.Twin.AgreedAt, &t.Twin.Apart, &t.Twin.Far, &t.Twin.Climbed)
		move(&t.Base.From, &t.Base.At)
		for k := range t.Twin.Marks {
			move(&t.Twin.Marks[k].At)
		}
		for k := range t.N {
			move(&t.WinAt[k])
		}
	}
	for k := range d.pairs {
		move(&d.pairs[k].At)
	}
}
