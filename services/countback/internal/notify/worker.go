package notify

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"sync"
	"sync/atomic"
	"time"

	"example.org/countback/services/countback/internal/casework"
	"example.org/countback/services/countback/internal/subscription"
)

// Options configure a worker. Office, Now and Secret are required.
type Options struct {
	Office  *casework.Office
	Changed <-chan struct{}     // signalled after commits that hold events; nil: only Poll
	Now     func() time.Time    // the clock of signatures: the real one, whatever day is tried out
	Secret  []byte              // that notifications are signed with: at least 32 bytes
	Policy  subscription.Policy // of the addresses that are written to
	Log     *slog.Logger        // nil: silent
	Poll    time.Duration       // the longest rest when nothing wakes it; default 1 s
	Gather  time.Duration       // the shortest rest, in which events are gathered; default 50 ms
}

// Worker sends notifications. Run it once; one worker serves a database.
type Worker struct {
	o      Options
	client *http.Client

	mu    sync.Mutex
	busy  map[string]bool // receivers that have a goroutine now
	lanes sync.WaitGroup

	sent   atomic.Uint64
	failed atomic.Uint64
}

// Stats are counts since the start.
type Stats struct {
	Sent   uint64 // notifications that a receiver took
	Failed uint64 // attempts that it did not take
}

// New checks the options and returns a worker that does nothing yet.
func New(o Options) (*Worker, error) {
	if o.Office == nil || o.Now == nil {
		return nil, errors.New("notifications: an office and a clock are needed")
	}
	if len(o.Secret) < minSecret {
		return nil, fmt.Errorf("notifications: the secret has %d bytes, and needs at least %d", len(o.Secret), minSecret)
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	if o.Poll <= 0 {
		o.Poll = time.Second
	}
	if o.Gather <= 0 {
		o.Gather = 50 * time.Millisecond
	}
	return &Worker{o: o, client: newClient(o.Policy, nil), busy: map[string]bool{}}, nil
}

// Stats returns the counts.
func (w *Worker) Stats() Stats { return Stats{Sent: w.sent.Load(), Failed: w.failed.Load()} }

// Run sends until ctx ends, and returns nil when nothing is on its way any more.
// Nothing that goes wrong outside ends it.
func (w *Worker) Run(ctx context.Context) error {
	poll, gather := time.NewTicker(w.o.Poll), time.NewTicker(w.o.Gather)
	defer poll.Stop()
	defer gather.Stop()
	defer w.client.CloseIdleConnections()
	defer w.lanes.Wait()
	for {
		if err := w.start(ctx); err != nil && ctx.Err() == nil {
			w.o.Log.Error("notifications", "error", err)
		}
		select {
		case <-ctx.Done():
			return nil
		case <-gather.C: // numbering each event by itself would make what comes in wait for it
		}
		select {
		case <-ctx.Done():
			return nil
		case <-w.o.Changed:
		case <-w.o.Office.Subscribed():
		case <-poll.C:
		}
	}
}

// Pass numbers what is new, sends what is due, and returns when all receivers
// that something was due for have taken all of it, or failed.
func (w *Worker) Pass(ctx context.Context) error {
	err := w.start(ctx)
	w.lanes.Wait()
	return err
}

// start gives each receiver that something is due for a goroutine, unless it has
// one.
func (w *Worker) start(ctx context.Context) error {
	if err := w.o.Office.NumberEvents(ctx); err != nil {
		return err
	}
	due, err := w.o.Office.DueSubscriptions(ctx)
	if err != nil {
		return fmt.Errorf("due: %w", err)
	}
	for _, id := range due {
		if !w.take(id) {
			continue
		}
		w.lanes.Add(1)
		go func() {
			defer w.lanes.Done()
			defer w.leave(id)
			if err := w.lane(ctx, id); err != nil && ctx.Err() == nil {
				w.o.Log.Error("notifications", "subscription", id, "error", err)
			}
		}()
	}
	return nil
}

func (w *Worker) take(id string) bool {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.busy[id] {
		return false
	}
	w.busy[id] = true
	return true
}

func (w *Worker) leave(id string) {
	w.mu.Lock()
	defer w.mu.Unlock()
	delete(w.busy, id)
}

// lane sends to one receiver, one after the other, until nothing is due.
func (w *Worker) lane(ctx context.Context, id string) error {
	for ctx.Err() == nil {
		n, err := w.o.Office.NextNotification(ctx, id)
		if err != nil || n == nil {
			return err
		}
		why := w.send(ctx, n)
		if ctx.Err() != nil {
			return nil // we broke it off: it says nothing about the receiver
		}
		if why == "" {
			w.sent.Add(1)
		} else {
			w.failed.Add(1)
		}
		out, err := w.o.Office.Notified(ctx, n, why)
		if err != nil {
			return err
		}
		w.tell(id, out, why)
		if out.Farewell != nil {
			w.send(ctx, out.Farewell)
		}
		if why != "" {
			return nil
		}
	}
	return nil
}

// tell says in the log when it turns for the worse or the better, once each.
func (w *Worker) tell(id string, out casework.Outcome, why string) {
	switch {
	case !out.Turned:
	case out.Status == subscription.Active:
		w.o.Log.Info("a Subscription is active", "subscription", id)
	default:
		w.o.Log.Warn("a receiver does not take its notifications", "subscription", id, "status", out.Status, "why", why)
	}
}
