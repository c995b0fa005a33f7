package outbox

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"example.org/countback/services/countback/internal/store"
)

// Errors of the relay.
var (
	ErrRunning = errors.New("the relay is running already")
	ErrStopped = errors.New("the relay has stopped")
)

// Rows is the outbox in the database; *store.DB has it.
type Rows interface {
	// Unpublished returns the first rows by seq that are not marked.
	Unpublished(ctx context.Context, limit int) ([]store.OutboxRow, error)
	// MarkPublished marks rows with the stream sequence that was acknowledged.
	MarkPublished(ctx context.Context, marks []store.Mark) error
	// Published returns marked rows with a seq above afterSeq, by seq.
	Published(ctx context.Context, afterSeq int64, limit int) ([]store.OutboxRow, error)
	// Prune deletes rows that were made and published before a time, among the
	// first limit rows with a seq above afterSeq, and gives the seq to go on from,
	// 0 at the end, and how many it deleted.
	Prune(ctx context.Context, afterSeq int64, before time.Time, limit int) (next, deleted int64, err error)
	// Wake receives after a commit that added rows.
	Wake() <-chan struct{}
}

// RelayOptions configure a relay. Zero durations and numbers take the defaults.
type RelayOptions struct {
	Rows Rows
	JS   jetstream.JetStream
	Now  func() time.Time // the application's clock; only the audit asks it
	Log  *slog.Logger     // nil = silent

	Batch    int           // rows read at a time; default 256
	Lanes    int           // cases published side by side; default 16
	Poll     time.Duration // the longest rest when nothing wakes it; default 1 s
	RetryMin time.Duration // first rest after a failure, doubled each time; default 50 ms
	RetryMax time.Duration // longest rest after a failure; default 5 s
}

// Relay publishes outbox rows after they are committed. Run it once; one relay
// serves a database.
type Relay struct {
	o       RelayOptions
	running atomic.Bool
	stopped chan struct{}
	nudge   chan struct{}

	mu      sync.Mutex
	waiters []chan struct{}

	// mu also guards refused. Only Run's goroutine touches the rest.
	ensured  bool
	unmarked []store.Mark   // acknowledged, but the database has not taken the mark yet
	skipped  int            // rows left behind by the last pass for a refused row before them
	refused  map[int64]bool // rows that the broker will never take, already reported
	failures int

	published atomic.Uint64
	failed    atomic.Uint64
	refusals  atomic.Uint64
}

// Stats are counts since the start.
type Stats struct {
	Published uint64 // acknowledged by JetStream and marked
	Failed    uint64 // passes that ended with an error and were tried again
	Refused   uint64 // rows that the broker will never take: each holds up its case and needs a person
}

// NewRelay checks the options and returns a relay that does nothing yet.
func NewRelay(o RelayOptions) (*Relay, error) {
	if o.Rows == nil || o.JS == nil || o.Now == nil {
		return nil, errors.New("relay: rows, JetStream and a clock are needed")
	}
	o.Log = orSilent(o.Log)
	o.Batch = orDefault(o.Batch, 256)
	o.Lanes = orDefault(o.Lanes, 16)
	o.Poll = orDefault(o.Poll, time.Second)
	o.RetryMin = orDefault(o.RetryMin, 50*time.Millisecond)
	o.RetryMax = max(orDefault(o.RetryMax, 5*time.Second), o.RetryMin)
	return &Relay{
		o: o, stopped: make(chan struct{}), nudge: make(chan struct{}, 1), refused: map[int64]bool{},
	}, nil
}

func orDefault[T int | time.Duration](value, fallback T) T {
	if value <= 0 {
		return fallback
	}
	return value
}

// Run publishes until ctx ends and then returns nil. Nothing that goes wrong
// outside (broker away, leader being elected, stream deleted, database busy)
// ends it: it rests, longer each time, and tries the same rows again. A stream
// that can never serve is logged again and again, as no event leaves meanwhile.
// A second Run is ErrRunning.
func (r *Relay) Run(ctx context.Context) error {
	if !r.running.CompareAndSwap(false, true) {
		return ErrRunning
	}
	defer close(r.stopped)
	for ctx.Err() == nil {
		progress, err := r.pass(ctx)
		switch {
		case err != nil:
			r.rest(ctx, err)
		case progress:
			r.failures = 0
		default:
			r.failures = 0
			r.idle(ctx)
		}
	}
	r.lastMarks(ctx)
	return nil
}

// Stats returns the counts.
func (r *Relay) Stats() Stats {
	return Stats{Published: r.published.Load(), Failed: r.failed.Load(), Refused: r.refusals.Load()}
}

// Drained returns nil when every row that was committed before the call is
// published and marked. It is ErrStopped when Run has ended, and the error of
// ctx when that ends first.
func (r *Relay) Drained(ctx context.Context) error {
	done := make(chan struct{})
	r.mu.Lock()
	r.waiters = append(r.waiters, done)
	r.mu.Unlock()
	select {
	case r.nudge <- struct{}{}:
	default: // a nudge is waiting already, and its pass begins after our entry
	}
	select {
	case <-done:
		return nil
	case <-ctx.Done():
		return fmt.Errorf("wait for the relay: %w", ctx.Err())
	case <-r.stopped:
		return ErrStopped
	}
}

// pass publishes and marks one batch. It tells whether anything was published.
func (r *Relay) pass(ctx context.Context) (progress bool, err error) {
	waiting := r.takeWaiters()
	defer func() { r.returnWaiters(waiting) }()
	if err := r.ensure(ctx); err != nil {
		return false, err
	}
	// Acknowledged rows must be marked before unmarked rows are read, or they
	// would be published again.
	if err := r.mark(ctx); err != nil {
		return false, err
	}
	limit := r.o.Batch + r.skipped
	rows, err := r.o.Rows.Unpublished(ctx, limit)
	if err != nil {
		return false, fmt.Errorf("read unpublished rows: %w", err)
	}
	sent := r.publish(ctx, rows)
	r.unmarked = append(r.unmarked, sent.marks...)
	r.skipped = sent.skipped
	markErr := r.mark(ctx)
	if err := errors.Join(sent.err, markErr); err != nil {
		return false, err
	}
	// Fewer than asked for: these were all, and all of them are out.
	if len(rows) < limit && sent.skipped == 0 {
		for _, done := range waiting {
			close(done)
		}
		waiting = nil
	}
	return len(sent.marks) > 0, nil
}

func (r *Relay) takeWaiters() []chan struct{} {
	r.mu.Lock()
	defer r.mu.Unlock()
	taken := r.waiters
	r.waiters = nil
	return taken
}

func (r *Relay) returnWaiters(waiting []chan struct{}) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.waiters = append(r.waiters, waiting...)
}

func (r *Relay) ensure(ctx context.Context) error {
	if r.ensured {
		return nil
	}
	ctx, cancel := context.WithTimeout(ctx, requestLimit)
	defer cancel()
	if err := EnsureStream(ctx, r.o.JS); err != nil {
		return err
	}
	r.ensured = true
	return nil
}

func (r *Relay) mark(ctx context.Context) error {
	if len(r.unmarked) == 0 {
		return nil
	}
	err := r.o.Rows.MarkPublished(ctx, r.unmarked)
	if errors.Is(err, store.ErrNotFound) {
		// A row was removed meanwhile. Insisting on its mark would hold up
		// everything for ever; the others are published again under their ids,
		// which the broker knows, and marked then.
		r.unmarked = nil
	}
	if err != nil {
		return fmt.Errorf("mark rows as published: %w", err)
	}
	r.published.Add(uint64(len(r.unmarked)))
	r.unmarked = nil
	return nil
}

// lastMarks saves the next start from publishing again what went out while the
// end came. If it fails, that is all that is lost.
func (r *Relay) lastMarks(ctx context.Context) {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), time.Second)
	defer cancel()
	if err := r.mark(ctx); err != nil {
		r.o.Log.Warn("outbox relay stopped before its last marks", "rows", len(r.unmarked), "error", err)
	}
}

// rest waits after a failure. New rows do not cut it short: they would meet the
// same trouble.
func (r *Relay) rest(ctx context.Context, err error) {
	if ctx.Err() != nil {
		return
	}
	if errors.Is(err, jetstream.ErrNoStreamResponse) || errors.Is(err, jetstream.ErrStreamNotFound) {
		r.ensured = false // deleted behind our back, or without a leader
	}
	d := r.o.RetryMax
	if shift := r.failures; shift < 16 {
		d = min(d, r.o.RetryMin<<shift)
	}
	r.failures++
	r.failed.Add(1)
	r.o.Log.Warn("outbox relay will try again", "attempt", r.failures, "rest", d, "error", err)
	_ = pause(ctx, d) // Run looks at ctx itself
}

func (r *Relay) idle(ctx context.Context) {
	timer := time.NewTimer(r.o.Poll)
	defer timer.Stop()
	select {
	case <-ctx.Done():
	case <-r.o.Rows.Wake():
	case <-r.nudge:
	case <-timer.C:
	}
}
