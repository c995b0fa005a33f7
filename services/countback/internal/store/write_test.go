package store

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
)

var errRefused = errors.New("refused")

func caseIDs(t *testing.T, db *DB) map[string]bool {
	t.Helper()
	got := map[string]bool{}
	read(t, db, func(tx *Tx) error {
		all, err := tx.OpenCases("", 1<<20)
		for _, c := range all {
			got[c.ID] = true
		}
		return err
	})
	return got
}

// 64 clients write at once, and every third write fails after it has changed
// rows: exactly the answered ones are there, each in full.
func TestWritesAtOnce(t *testing.T) {
	db := open(t)
	const clients, each = 64, 10
	var wg sync.WaitGroup
	var mu sync.Mutex
	want := map[string]bool{}
	for client := range clients {
		wg.Go(func() {
			for n := range each {
				id := fmt.Sprintf("%02d-%d", client, n)
				err := db.Write(context.Background(), func(tx *Tx) error {
					if err := tx.SaveCase(Case{ID: id, Open: true}); err != nil {
						return err
					}
					if err := tx.SaveItems([]Item{{CaseID: id, N: 1, Version: 1}}); err != nil {
						return err
					}
					if (client+n)%3 == 0 {
						return errRefused
					}
					return tx.Enqueue([]OutboxRow{{ID: id, CaseID: id, CaseSequence: 1}})
				})
				mu.Lock()
				if err == nil {
					want[id] = true
				} else if !errors.Is(err, errRefused) {
					t.Errorf("write %s: %v", id, err)
				}
				mu.Unlock()
			}
		})
	}
	wg.Wait()
	require.Equal(t, want, caseIDs(t, db))
	rows, err := db.Unpublished(context.Background(), 1<<20)
	require.NoError(t, err)
	require.Len(t, rows, len(want))
	for _, r := range rows {
		require.True(t, want[r.CaseID])
		read(t, db, func(tx *Tx) error {
			items, err := tx.Items(r.CaseID)
			require.Len(t, items, 1)
			return err
		})
	}
}

// queued starts writes that wait behind one that is held back, so that they
// form a group with it. The first is the first of the group.
func queued(t *testing.T, db *DB, fns ...func(*Tx) error) []error {
	t.Helper()
	hold, holding := make(chan struct{}), make(chan struct{})
	answers := make([]error, len(fns))
	var wg sync.WaitGroup
	wg.Go(func() {
		answers[0] = db.Write(context.Background(), func(tx *Tx) error {
			close(holding)
			<-hold
			return fns[0](tx)
		})
	})
	<-holding
	for i, fn := range fns[1:] {
		turn := make(chan struct{})
		wg.Go(func() {
			close(turn)
			answers[i+1] = db.Write(context.Background(), fn)
		})
		<-turn
		for range 100 { // let it reach the queue
			runtime.Gosched()
		}
	}
	close(hold)
	wg.Wait()
	return answers
}

func TestOneFailsAlone(t *testing.T) {
	save := func(id string, err error) func(*Tx) error {
		return func(tx *Tx) error {
			if e := tx.SaveCase(Case{ID: id, Open: true}); e != nil {
				return e
			}
			return err
		}
	}
	tests := map[string]struct {
		fns  []func(*Tx) error
		want map[string]bool
	}{
		"the first":         {[]func(*Tx) error{save("a", errRefused), save("b", nil), save("c", nil)}, map[string]bool{"b": true, "c": true}},
		"one in the middle": {[]func(*Tx) error{save("a", nil), save("b", errRefused), save("c", nil)}, map[string]bool{"a": true, "c": true}},
		"the last":          {[]func(*Tx) error{save("a", nil), save("b", nil), save("c", errRefused)}, map[string]bool{"a": true, "b": true}},
		"all":               {[]func(*Tx) error{save("a", errRefused), save("b", errRefused)}, map[string]bool{}},
		"a constraint": {[]func(*Tx) error{save("a", nil), func(tx *Tx) error {
			if err := tx.SaveCase(Case{ID: "c"}); err != nil {
				return err
			}
			return tx.SaveItems([]Item{item(1), item(2), item(1)})
		}, save("c", nil)}, map[string]bool{"a": true, "c": true}},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			db := open(t)
			answers := queued(t, db, tt.fns...)
			require.Equal(t, tt.want, caseIDs(t, db))
			failed := 0
			for _, err := range answers {
				if err != nil {
					failed++
				}
			}
			require.Equal(t, len(tt.fns)-len(tt.want), failed)
			read(t, db, func(tx *Tx) error {
				items, err := tx.Items("c")
				require.Empty(t, items)
				return err
			})
		})
	}
}

func TestPanicAndExitLeaveNothing(t *testing.T) {
	for name, leave := range map[string]func(){
		"panic":   func() { panic("broken") },
		"go exit": runtime.Goexit,
	} {
		t.Run(name, func(t *testing.T) {
			db := open(t)
			done := make(chan any)
			go func() {
				defer func() { done <- recover() }()
				_ = db.Write(context.Background(), func(tx *Tx) error {
					_ = tx.SaveCase(Case{ID: "a", Open: true})
					leave()
					return nil
				})
			}()
			recovered := <-done
			require.Equal(t, name == "panic", recovered != nil, "a panic stays the caller's")
			write(t, db, func(tx *Tx) error { return tx.SaveCase(Case{ID: "b", Open: true}) })
			require.Equal(t, map[string]bool{"b": true}, caseIDs(t, db))
		})
	}
}

func TestReadersSeeSnapshots(t *testing.T) {
	db := open(t)
	write(t, db, func(tx *Tx) error { return tx.SaveCase(Case{ID: "a", Open: true}) })
	read(t, db, func(tx *Tx) error {
		_, err := tx.Case("a")
		require.NoError(t, err)
		write(t, db, func(tx *Tx) error { return tx.SaveCase(Case{ID: "b", Open: true}) })
		_, err = tx.Case("b")
		require.ErrorIs(t, err, ErrNotFound)
		for name, change := range map[string]error{
			"case":     tx.SaveCase(Case{ID: "c"}),
			"items":    tx.SaveItems([]Item{item(1)}),
			"resource": tx.Save(saved("Patient", "a", 2, ""), nil),
			"outbox":   tx.Enqueue([]OutboxRow{event(1)}),
		} {
			require.ErrorIs(t, change, ErrReadOnly, name)
		}
		return nil
	})
	require.Len(t, caseIDs(t, db), 2)
}

func TestTransactionIsOver(t *testing.T) {
	db := open(t)
	var kept *Tx
	write(t, db, func(tx *Tx) error { kept = tx; return nil })
	require.Error(t, kept.SaveCase(Case{ID: "a"}))
	require.Empty(t, caseIDs(t, db))
}

func TestReopen(t *testing.T) {
	folder := t.TempDir()
	for n := range 3 {
		db, err := Open(context.Background(), Options{Path: folder, Now: standing})
		require.NoError(t, err)
		require.Len(t, caseIDs(t, db), n)
		write(t, db, func(tx *Tx) error { return tx.SaveCase(Case{ID: fmt.Sprint(n), Open: true}) })
		require.NoError(t, db.Close())
		require.NoError(t, db.Close(), "closing again is no error")
		require.ErrorIs(t, db.Write(context.Background(), func(*Tx) error { return nil }), ErrClosed)
		require.ErrorIs(t, db.Read(context.Background(), func(*Tx) error { return nil }), ErrClosed)
	}
	info, err := os.Stat(filepath.Join(folder, File))
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o600), info.Mode().Perm(), "only the owner may read it")
}

func TestOpenNeeds(t *testing.T) {
	_, err := Open(context.Background(), Options{Now: standing})
	require.ErrorContains(t, err, "folder")
	_, err = Open(context.Background(), Options{Path: t.TempDir()})
	require.ErrorContains(t, err, "clock")
	file := filepath.Join(t.TempDir(), File)
	require.NoError(t, os.WriteFile(file, []byte("this is not a database, it is a text of some length"), 0o600))
	_, err = Open(context.Background(), Options{Path: filepath.Dir(file), Now: standing})
	require.Error(t, err)
}

func TestContextCountsUntilTheStart(t *testing.T) {
	db := open(t)
	ctx, cancel := context.WithCancel(context.Background())
	require.NoError(t, db.Write(ctx, func(tx *Tx) error {
		cancel() // too late
		return tx.SaveCase(Case{ID: "a", Open: true})
	}))
	for range 20 { // never by chance
		require.ErrorIs(t, db.Write(ctx, saveOpen("b")), context.Canceled)
	}
	require.Equal(t, map[string]bool{"a": true}, caseIDs(t, db))
}

func TestWaitingWriteIsGivenUp(t *testing.T) {
	db := open(t)
	require.NoError(t, db.Write(context.Background(), func(*Tx) error {
		ctx, cancel := context.WithCancel(context.Background())
		answer := make(chan error)
		go func() { answer <- db.Write(ctx, saveOpen("a")) }()
		cancel()
		require.ErrorIs(t, <-answer, context.Canceled, "while the writer is at work")
		return nil
	}))
	require.Empty(t, caseIDs(t, db))
}

// More readers than connections, some of which panic: none is lost.
func TestReadersShareConnections(t *testing.T) {
	db := open(t)
	write(t, db, saveOpen("a"))
	var wg sync.WaitGroup
	for n := range 8 * cap(db.readers) {
		wg.Go(func() {
			defer func() { _ = recover() }()
			err := db.Read(context.Background(), func(tx *Tx) error {
				_, err := tx.Case("a")
				if n%3 == 0 {
					panic("broken")
				}
				return err
			})
			if err != nil {
				t.Errorf("read: %v", err)
			}
		})
	}
	wg.Wait()
	require.Len(t, db.readers, cap(db.readers))
	require.Len(t, caseIDs(t, db), 1)
}
