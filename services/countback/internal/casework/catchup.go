package casework

import (
	"context"
	"errors"
	"fmt"
	"runtime/debug"
	"sync"

	"example.org/countback/services/countback/internal/store"
)

// Cases that CatchUp takes up at once: some, because the store commits together
// what waits together, and few, because a request that comes meanwhile waits for
// those before it.
const (
	catchUpTogether = 4
	catchUpBatch    = 64
)

// Caught is what CatchUp did.
type Caught struct {
	Planned int   // cases planned again
	Sick    error // the cases that failed; nil for none
}

// CatchUp plans every open case again that was last planned by another protocol
// than the one in force, each in a transaction of its own, and returns when none
// is left. Then it looks through the bookings without a case. A case row says which protocol planned it: so what is left is known
// after a crash, and a case is never told of twice.
//
// A case that fails keeps no other from its turn. It is handed to Tick, which
// tries it again after a rest, longer each time. The error is one of the store.
func (o *Office) CatchUp(ctx context.Context) (Caught, error) {
	var out Caught
	var place store.Place
	for {
		var ids []string
		err := o.db.Read(ctx, func(tx *store.Tx) error {
			f, err := tx.InForce()
			if err != nil {
				return err
			}
			ids, place, err = tx.OlderCases(f.Canonical(), place, catchUpBatch)
			return err
		})
		if err != nil {
			return out, err
		}
		if len(ids) == 0 {
			err := o.lookThrough(ctx, &out)
			return out, err
		}
		if err := o.catchUp(ctx, ids, &out); err != nil {
			return out, err
		}
	}
}

// catchUp plans the cases of one batch, some side by side.
func (o *Office) catchUp(ctx context.Context, ids []string, out *Caught) error {
	var (
		workers sync.WaitGroup
		mu      sync.Mutex
		failed  error // of the store
		next    = make(chan string, len(ids))
	)
	for _, id := range ids {
		next <- id
	}
	close(next)
	for range catchUpTogether {
		workers.Go(func() {
			for id := range next {
				planned, err := o.catchUpOne(ctx, id)
				var again error
				if err != nil && !ofStore(ctx, err) {
					again = o.db.Write(ctx, func(tx *store.Tx) error { return tx.Fire(id) })
				}
				mu.Lock()
				switch {
				case err == nil && planned:
					out.Planned++
				case err != nil && ofStore(ctx, err):
					failed = errors.Join(failed, err)
				case err != nil:
					out.Sick = errors.Join(out.Sick, fmt.Errorf("case %s: %w", id, err))
					failed = errors.Join(failed, again)
				}
				stop := failed != nil
				mu.Unlock()
				if stop {
					return
				}
			}
		})
	}
	workers.Wait()
	return failed
}

// ofStore reports whether an error is no fault of the case.
func ofStore(ctx context.Context, err error) bool {
	return ctx.Err() != nil || errors.Is(err, store.ErrClosed) || errors.Is(err, store.ErrAborted)
}

// catchUpOne plans one case again, unless that was done meanwhile.
func (o *Office) catchUpOne(ctx context.Context, id string) (planned bool, err error) {
	defer func() {
		if v := recover(); v != nil { // as for timers: one case must not end the service
			err = fmt.Errorf("panic of type %T\n%s", v, debug.Stack())
		}
	}()
	err = o.db.Write(ctx, func(tx *store.Tx) error {
		planned = false
		f, err := tx.InForce()
		if err != nil {
			return err
		}
		c, err := tx.Case(id)
		if err != nil || !c.Open || c.Protocol == f.Canonical() {
			return err
		}
		planned = true
		return o.replan(tx, c.Patient, cause{})
	})
	return planned && err == nil, err
}
