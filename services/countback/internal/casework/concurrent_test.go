package casework

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// together runs n functions at once.
func together(n int, fn func(n int) error) []error {
	errs := make([]error, n)
	start := make(chan struct{})
	var all sync.WaitGroup
	for i := range n {
		all.Go(func() {
			<-start
			errs[i] = fn(i)
		})
	}
	close(start)
	all.Wait()
	return errs
}

const crowd = 64

// The same booking from many connections at once is one booking.
func TestManySendTheSameBooking(t *testing.T) {
	for what, body := range map[string]string{
		"under its number": bookingMessage("1", surgery),
		"posted": transaction(
			entry{name: personURN, target: "Patient", ifNoneExist: by(person("1")), resource: person("1")},
			entry{target: "Appointment", resource: appointment("1", personURN, surgery)}),
	} {
		t.Run(what, func(t *testing.T) {
			h := newHouse(t)
			for _, err := range together(crowd, func(int) error {
				_, err := h.receive(delivery(t, "", body))
				return err
			}) {
				require.NoError(t, err)
			}
			require.Len(t, h.found("Patient"), 1)
			require.Len(t, h.found("Appointment"), 1)
			require.EqualValues(t, 1, h.found("Appointment")[0].Version)
			h.onlyCase(name(h.found("Patient")[0]))
			require.Len(t, h.rows(), 2)
		})
	}
}

// Many moves of one booking at once: all are accepted, one is the last, and the
// plan is that of the one.
func TestManyMoveTheSameBooking(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	h.setTo(h.clock().Add(time.Hour))
	days := make([]string, crowd)
	for n := range days {
		days[n] = at("2027-01-12 10:00").AddDate(0, 0, n).Format(time.DateOnly)
	}
	for _, err := range together(crowd, func(n int) error {
		a := appointment("1", b.patient, days[n])
		_, err := h.receive(delivery(t, by(a), a.json()))
		return err
	}) {
		require.NoError(t, err)
	}
	held := h.get(b.appointment)
	require.Equal(t, fmt.Sprint(1+crowd), held.String("meta", "versionId"))
	day := held.String("start")[:len(time.DateOnly)]
	require.Contains(t, days, day)
	fresh := h.book("2", day)
	require.Equal(t, h.windows(fresh.plan), h.windows(b.plan))
	known := replicas(t, h)
	require.Equal(t, h.onlyCase(b.patient).Sequence, known[b.plan].sequence)
	require.Equal(t, day, known[b.plan].day)
}

// The same moves, each on the version that was read: one wins, the others are
// told.
func TestManyMoveTheVersionTheyRead(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	won := 0
	for _, err := range together(crowd, func(n int) error {
		a := appointment("1", b.patient, at("2027-01-12 10:00").AddDate(0, 0, n).Format(time.DateOnly))
		_, err := h.receive(delivery(t, by(a), a.json(), ifMatch(`W/"1"`)))
		return err
	}) {
		if err == nil {
			won++
			continue
		}
		require.ErrorIs(t, err, ErrVersion)
	}
	require.Equal(t, 1, won)
	require.Equal(t, "2", h.get(b.appointment).String("meta", "versionId"))
	replicas(t, h)
}

// Bookings, work, time and reading at once, for several people.
func TestAllAtOnce(t *testing.T) {
	h := newHouse(t)
	var all []booked
	for n := range 4 {
		all = append(all, h.book(fmt.Sprint(n), surgery))
	}
	h.set("2026-12-13 09:00")
	works := make([]TaskWork, crowd)
	for n := range works {
		items := h.items(all[n%4].plan)
		works[n] = h.taskWork(items[n].ID, set("note", []res{{"text": fmt.Sprint(n)}}))
	}
	for n, err := range together(crowd, func(n int) error {
		ctx := context.Background()
		b := all[n%4]
		switch n % 5 {
		case 0:
			// A Task that moved since it was read is not overwritten.
			if _, err := h.office.Work(ctx, works[n]); !errors.Is(err, ErrInvalid) {
				return err
			}
			return nil
		case 1:
			a := appointment(fmt.Sprint(n%4), b.patient, at("2027-02-01 10:00").AddDate(0, 0, n).Format(time.DateOnly))
			_, err := h.receive(delivery(t, by(a), a.json()))
			return err
		case 2:
			_, err := h.office.Tick(ctx, h.clock(), 10)
			return err
		case 3:
			plans, err := h.office.Plans(ctx)
			if err == nil && len(plans) != 4 {
				err = fmt.Errorf("%d plans", len(plans))
			}
			return err
		}
		_, err := h.office.Unplanned(ctx)
		return err
	}) {
		require.NoError(t, err, n)
	}
	known := replicas(t, h)
	for _, b := range all {
		require.Equal(t, h.caseRow(b.plan).Sequence, known[b.plan].sequence)
		require.Equal(t, h.caseRow(b.plan).State, known[b.plan].state)
	}
}
