package store

import (
	"context"
	"sync"
)

// watchers are those who want to know of commits.
type watchers struct {
	mu  sync.Mutex
	all map[chan struct{}]struct{}
}

// Watch is signalled after commits that put rows into the outbox, until ctx
// ends. Like Wake it is a hint: signals that nobody took are one, and commits of
// another process are not seen.
func (db *DB) Watch(ctx context.Context) <-chan struct{} {
	c := make(chan struct{}, 1)
	w := &db.watching
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.all == nil {
		w.all = map[chan struct{}]struct{}{}
	}
	w.all[c] = struct{}{}
	context.AfterFunc(ctx, func() {
		w.mu.Lock()
		defer w.mu.Unlock()
		delete(w.all, c)
	})
	return c
}

func (w *watchers) tell() {
	w.mu.Lock()
	defer w.mu.Unlock()
	for c := range w.all {
		signal(c)
	}
}
