package casework

import (
	"context"
	"errors"
	"fmt"
	"runtime/debug"
	"time"

	"example.org/countback/services/countback/internal/store"
)

// How long a copy of the service may work on the cases that it took before
// another may take them too, and how long a case that failed rests: longer each
// time, so that one that cannot be planned costs nothing and is not forgotten.
const (
	leaseFor = time.Minute
	restMin  = 10 * time.Second
	restMax  = time.Hour
)

// Tick plans again every case for which something changes with time alone at
// or before now, at most limit of them, and says how many it took up. Where
// what is stored is ahead of now, time goes on from there.
//
// Cases are taken with a lease, so that several copies share the work; a lease
// that ended is anyone's. It is not what keeps an event from being told twice: a
// plan is compared with what stands in the transaction that writes it, so that a
// second look finds nothing to tell. A case that fails is in the error, keeps no
// other waiting, and is tried again after a rest.
func (o *Office) Tick(ctx context.Context, now time.Time, limit int) (int, error) {
	leases, now, err := o.take(ctx, now, limit)
	if err != nil {
		return 0, err
	}
	var failed error
	for _, l := range leases {
		err := o.fire(ctx, l)
		if ctx.Err() != nil {
			return 0, ctx.Err()
		}
		if err == nil {
			continue
		}
		failed = errors.Join(failed, fmt.Errorf("case %s, attempt %d: %w", l.CaseID, l.Attempts, err))
		if err := o.db.Write(ctx, func(tx *store.Tx) error {
			return tx.Rest(l.CaseID, o.holder, now.Add(rest(l.Attempts)))
		}); err != nil {
			return 0, errors.Join(failed, err) // the store is at fault, not the case
		}
	}
	return len(leases), failed
}

// take leases what is due; it writes only when something is.
func (o *Office) take(ctx context.Context, now time.Time, limit int) ([]store.Lease, time.Time, error) {
	var due []string
	err := o.db.Read(ctx, func(tx *store.Tx) error {
		now = later(now, tx.Now)
		var err error
		due, err = tx.DueCases(now, limit)
		return err
	})
	if err != nil || len(due) == 0 {
		return nil, now, err
	}
	var leases []store.Lease
	err = o.db.Write(ctx, func(tx *store.Tx) error {
		now = later(now, tx.Now)
		var err error
		leases, err = tx.LeaseDue(o.holder, now, now.Add(leaseFor), limit)
		return err
	})
	return leases, now, err
}

// fire plans one case again and gives its lease back, in one transaction. One
// that somebody else took over meanwhile is theirs.
func (o *Office) fire(ctx context.Context, l store.Lease) (err error) {
	defer func() {
		// One case in which the rules run into a fault of ours must not end the
		// service for all others, again at every start.
		if v := recover(); v != nil {
			err = fmt.Errorf("panic of type %T\n%s", v, debug.Stack())
		}
	}()
	return o.db.Write(ctx, func(tx *store.Tx) error {
		held, err := tx.Leased(l.CaseID, o.holder)
		if err != nil || !held {
			return err
		}
		c, err := tx.Case(l.CaseID)
		if err != nil {
			return err
		}
		if err := o.replan(tx, c.Patient, cause{}); err != nil {
			return err
		}
		return tx.Release(l.CaseID, o.holder)
	})
}

func rest(attempts int) time.Duration {
	return min(restMax, restMin<<min(attempts-1, 16))
}

func later(a, b time.Time) time.Time {
	if a.Before(b) {
		return b
	}
	return a
}
