package journal

import (
	"context"
	"errors"
	"time"

	"binwatchd/internal/farm"
)

var errNotYet = errors.New("not built yet")

type Journal struct{}

func Open(ctx context.Context, cfg Config) (*Journal, error)         { return nil, errNotYet }
func OpenReadOnly(ctx context.Context, cfg Config) (*Journal, error) { return nil, errNotYet }
func ReadBoot(now time.Time) (Boot, error)                           { return Boot{}, errNotYet }
func (j *Journal) Close() error                                      { return errNotYet }

func (j *Journal) SetFarm(ctx context.Context, f *farm.Farm) error { return errNotYet }
func (j *Journal) Append(ctx context.Context, b *Batch) error      { return errNotYet }
func (j *Journal) Wake() <-chan struct{}                           { return nil }
func (j *Journal) Last(ctx context.Context) (int64, error)         { return 0, errNotYet }
func (j *Journal) Repeats(ctx context.Context, n int) ([]Repeat, error) {
	return nil, errNotYet
}
func (j *Journal) Snapshot(ctx context.Context) (s Snapshot, ok bool, err error) {
	return s, false, errNotYet
}
func (j *Journal) Runs(ctx context.Context) ([]Run, error) { return nil, errNotYet }
func (j *Journal) Restamp(ctx context.Context, fromSeq, toSeq int64, shift time.Duration) error {
	return errNotYet
}
func (j *Journal) Replay(ctx context.Context, after int64, fn func(farm.Event) error) error {
	return errNotYet
}
func (j *Journal) Standing(ctx context.Context) ([]farm.Change, error) { return nil, errNotYet }
func (j *Journal) Recent(ctx context.Context, since time.Time) ([]farm.Change, error) {
	return nil, errNotYet
}
func (j *Journal) Changes(ctx context.Context, bin string, from, to time.Time) ([]farm.Change, error) {
	return nil, errNotYet
}
func (j *Journal) Jots(ctx context.Context, bin string, from, to time.Time) ([]farm.Jot, error) {
	return nil, errNotYet
}

func (j *Journal) Owed(ctx context.Context, teller string, now time.Time, limit int) ([]farm.Owed, error) {
	return nil, errNotYet
}
func (j *Journal) Settle(ctx context.Context, ids []int64, fate farm.Fate, at time.Time) error {
	return errNotYet
}
func (j *Journal) Postpone(ctx context.Context, ids []int64, next time.Time, trouble string) error {
	return errNotYet
}
func (j *Journal) Owe(ctx context.Context, owed []farm.Owed) error { return errNotYet }

// ToldOf: Next of each is the time at which it was told.
func (j *Journal) ToldOf(ctx context.Context, teller, episode string) ([]farm.Owed, error) {
	return nil, errNotYet
}

type Waiting struct {
	Teller string
	N      int64
	Oldest time.Time
	Tries  int
}

func (j *Journal) Waiting(ctx context.Context) ([]Waiting, error) { return nil, errNotYet }

func (j *Journal) Samples(ctx context.Context, bin, zone string, q farm.Quantity, from, to time.Time, step time.Duration) ([]farm.Sample, error) {
	return nil, errNotYet
}
func (j *Journal) ProbeSamples(ctx context.Context, probe string, from, to time.Time, step time.Duration) ([]farm.Sample, error) {
	return nil, errNotYet
}

// Readings streams raw readings by At, in journal order.
func (j *Journal) Readings(ctx context.Context, from, to time.Time, fn func(farm.Event) error) error {
	return errNotYet
}

// Span: the sequence numbers (first, last) of what arrived in [from, to).
func (j *Journal) Span(ctx context.Context, from, to time.Time) (first, last int64, err error) {
	return 0, 0, errNotYet
}

type Stretch struct {
	Events  []farm.Event // readings and jots
	Changes []Change
	Last    int64 // the cursor after it; the after that was asked for when there is nothing
}

func (j *Journal) Forward(ctx context.Context, after int64, limit int) (Stretch, error) {
	return Stretch{}, errNotYet
}
func (j *Journal) Cursor(ctx context.Context, name string) (int64, error)     { return 0, errNotYet }
func (j *Journal) SetCursor(ctx context.Context, name string, to int64) error { return errNotYet }

type Parked struct {
	ID     int64
	At     time.Time
	Line   string
	Reason string
}

func (j *Journal) Park(ctx context.Context, rows []Parked) error { return errNotYet }
func (j *Journal) Parked(ctx context.Context, limit int) (newest []Parked, total int64, err error) {
	return nil, 0, errNotYet
}

type Folded struct {
	Readings int64 // packed
	Chunks   int
	Dropped  int64 // raw readings past Keep
}

func (j *Journal) Fold(ctx context.Context, now time.Time) (Folded, error) { return Folded{}, errNotYet }

func (j *Journal) Backup(ctx context.Context, path string) error { return errNotYet }

type Contents struct {
	Readings, Events, Changes, Owed int64
	First, Last                     time.Time // arrival
}

// Verify checks a copy made by Backup: integrity, schema, every chunk.
func Verify(ctx context.Context, path string) (Contents, error) { return Contents{}, errNotYet }

type Health struct {
	Unclean  bool   // the run before did not end by Close
	Checking bool   // the integrity check runs
	Checked  bool   // and has found nothing
	Damage   string // what it found; "" nothing
	SetAside string // file name of the damaged journal that Open set aside; "" none
}

func (j *Journal) Health() Health { return Health{} }

type Sizes struct {
	FileBytes, LogBytes, FreeBytes int64
	Readings, Packed, Events       int64
	Oldest, Newest                 time.Time
}

func (j *Journal) Sizes(ctx context.Context) (Sizes, error) { return Sizes{}, errNotYet }
