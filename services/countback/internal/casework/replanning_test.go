package casework

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/store"
	"example.org/countback/services/countback/internal/translate"
)

// TestReplanning books as many people as COUNTBACK_REPLAN says, adopts a version
// in which the window of one step differs, and tells how long it takes until all
// open cases follow; then another, while bookings go on being posted. Without the
// variable it does so with a few, to see that the figures are real.
//
// Every case is booked through Receive with SQLite's full synchronisation, on
// operating days spread over a year.
func TestReplanning(t *testing.T) {
	n := 40
	if s := os.Getenv("COUNTBACK_REPLAN"); s != "" {
		var err error
		n, err = strconv.Atoi(s)
		require.NoError(t, err)
	}
	h := newHouse(t)
	took := h.fill(0, n)
	t.Logf("%d cases booked in %s, %s each, %d clients; %d bytes on disk each", n, took.Round(time.Millisecond), each(took, n), fillers, h.size()/int64(n))
	pure := h.purely(min(n, 2000))
	t.Logf("pure planning, by the rules alone: %s a case", pure)

	h.adopt(signedText(t, "1.1.0", earlierCleanser(t)...))
	items, size := h.versions(), h.size()
	started := time.Now()
	require.Equal(t, n, h.catchUp())
	took = time.Since(started)
	t.Logf("%d open cases planned again in %s: %s a case, %.1f times the pure planning; %.2f new Task versions and %d bytes a case",
		n, took.Round(time.Millisecond), each(took, n), float64(each(took, n))/float64(pure), float64(h.versions()-items)/float64(n), (h.size()-size)/int64(n))

	// The changes of the second version are those of the first, and another text.
	h.adopt(signedText(t, "1.2.0", append(earlierCleanser(t), callTitle, newTitle)...))
	var waited []time.Duration
	done := make(chan struct{})
	var client sync.WaitGroup
	client.Go(func() {
		for m := n; ; m++ {
			select {
			case <-done:
				return
			default:
			}
			began := time.Now()
			_, err := h.receive(delivery(t, "", bookingMessage(strconv.Itoa(m), h.spread(m))))
			waited = append(waited, time.Since(began))
			if err != nil {
				t.Error(err)
				return
			}
		}
	})
	started = time.Now()
	planned := h.catchUp()
	took = time.Since(started)
	close(done)
	client.Wait()
	require.Equal(t, n, planned)
	slices.Sort(waited)
	t.Logf("again, with one client booking without a pause: %s, %s a case; %d bookings meanwhile, each in %s (half), %s (99 %%), %s (worst)",
		took.Round(time.Millisecond), each(took, n), len(waited), waited[len(waited)/2].Round(time.Microsecond),
		waited[len(waited)*99/100].Round(time.Microsecond), waited[len(waited)-1].Round(time.Microsecond))
	a, err := h.office.Adoption(context.Background())
	require.NoError(t, err)
	require.Equal(t, []int64{int64(n + len(waited)), 0}, []int64{a.Open, a.Older})
}

func each(d time.Duration, n int) time.Duration {
	return (d / time.Duration(n)).Round(time.Microsecond)
}

// fillers book side by side, as a theatre system's connections do.
const fillers = 8

// spread is the day of the n-th booking: some weekday within a year from the day
// of booking on.
func (h *house) spread(n int) string {
	day := at("2026-10-05 12:00").AddDate(0, 0, 7*(n%50)+n/50%5)
	return day.Format(time.DateOnly)
}

func (h *house) fill(from, to int) time.Duration {
	h.t.Helper()
	var next atomic.Int64
	next.Store(int64(from) - 1)
	started := time.Now()
	for _, err := range together(fillers, func(int) error {
		for n := int(next.Add(1)); n < to; n = int(next.Add(1)) {
			if _, err := h.receive(delivery(h.t, "", bookingMessage(strconv.Itoa(n), h.spread(n)))); err != nil {
				return fmt.Errorf("booking %d: %w", n, err)
			}
		}
		return nil
	}) {
		require.NoError(h.t, err)
	}
	return time.Since(started)
}

// purely is how long the rules alone take for a case, over n of them.
func (h *house) purely(n int) time.Duration {
	h.t.Helper()
	p := h.office.Protocol()
	var cases []*readiness.Case
	h.read(func(tx *store.Tx) error {
		open, err := tx.OpenCases("", n)
		if err != nil {
			return err
		}
		for _, c := range open {
			records, err := h.office.records(tx, c.Patient)
			if err != nil {
				return err
			}
			cases = append(cases, &translate.Bookings(records, p, chicago())[0].Case)
		}
		return nil
	})
	started := time.Now()
	for _, c := range cases {
		readiness.Make(c, p.Protocol, chicago().Calendar, h.clock())
	}
	return each(time.Since(started), len(cases))
}

// versions counts the earlier versions of all items.
func (h *house) versions() int {
	h.t.Helper()
	n, err := strconv.Atoi(h.ask(`SELECT count(*) FROM item_version`))
	require.NoError(h.t, err)
	return n
}

// size is that of the database with its log.
func (h *house) size() int64 {
	h.t.Helper()
	var out int64
	for _, suffix := range []string{"", "-wal"} {
		info, err := os.Stat(filepath.Join(h.path, store.File+suffix))
		require.NoError(h.t, err)
		out += info.Size()
	}
	return out
}
