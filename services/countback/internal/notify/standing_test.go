package notify

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/store"
)

// A receiver that takes nothing for a day is switched off with notice. When it
// asks again it goes on where it stopped, and what happened meanwhile comes too.
func TestSwitchedOff(t *testing.T) {
	h, r := newHouse(t), newReceiver(t)
	id := h.subscribe(wish(r.url(), "plan-changed", ""))
	h.pass()
	h.book("1", "2027-01-11")
	h.pass()
	taken := len(r.numbers())
	r.answers(500)
	h.book("1", "2027-01-18")
	h.pass()
	for range 23 * 4 {
		h.wait(15 * time.Minute)
		h.pass()
	}
	status, _ := h.status(id)
	require.Equal(t, "error", status)
	h.wait(time.Hour)
	tried := r.attempts()
	h.pass()
	require.Equal(t, tried+2, r.attempts(), "the last attempt, and that it was the last")
	status, why := h.status(id)
	require.Equal(t, "off", status)
	require.Contains(t, why, "switched off")
	require.Contains(t, why, "since 2026-10-06T10:00:00.000-05:00")
	standing, err := h.office.Subscriptions(t.Context())
	require.NoError(t, err)
	require.Equal(t, []string{"off", why}, []string{standing[0].Status, standing[0].Error})

	h.wait(24 * time.Hour)
	h.book("1", "2027-01-25")
	h.pass()
	require.Equal(t, tried+2, r.attempts(), "nothing is sent to who is off")

	r.answers(200)
	h.change("PATCH", id, `[{"op":"replace","path":"/status","value":"requested"}]`)
	h.pass()
	got := r.taken()
	require.Equal(t, "handshake", got[taken+1].kind)
	require.Equal(t, counted(len(h.outbox("case."))), r.numbers())
	status, why = h.status(id)
	require.Equal(t, []string{"active", ""}, []string{status, why})
}

// The last that is sent says that it is.
func TestFarewell(t *testing.T) {
	h, r := newHouse(t), newReceiver(t)
	id := h.subscribe(wish(r.url(), "plan-changed", ""))
	h.pass()
	h.book("1", "2027-01-11")
	require.NoError(t, h.office.NumberEvents(t.Context()))
	next, err := h.office.NextNotification(t.Context(), id)
	require.NoError(t, err)
	_, err = h.office.Notified(t.Context(), next, "the receiver answered 500")
	require.NoError(t, err)
	h.wait(24 * time.Hour)
	out, err := h.office.Notified(t.Context(), next, "the receiver answered 500")
	require.NoError(t, err)
	require.Equal(t, "off", out.Status)
	require.True(t, out.Turned)
	require.Empty(t, h.worker.send(t.Context(), out.Farewell))
	last := r.taken()[1]
	require.Equal(t, []string{"heartbeat", "off"}, []string{last.kind, last.status})
	require.Contains(t, last.errorText, "switched off")
}

// A handshake that is not answered is an error at once, and tried again.
func TestHandshakeFails(t *testing.T) {
	h, r := newHouse(t), newReceiver(t)
	r.answers(404)
	id := h.subscribe(wish(r.url(), "plan-changed", ""))
	h.book("1", "2027-01-11")
	h.pass()
	status, why := h.status(id)
	require.Equal(t, "error", status)
	require.Contains(t, why, "404")
	r.answers(200)
	h.wait(time.Second)
	h.pass()
	require.Equal(t, "handshake", r.taken()[0].kind)
	require.Equal(t, counted(len(h.outbox("case."))), r.numbers(), "what happened since it was asked for is told")
}

// A receiver that is up again need not wait for the next attempt: it asks again.
func TestAskedAgain(t *testing.T) {
	h, r := newHouse(t), newReceiver(t)
	id := h.subscribe(wish(r.url(), "plan-changed", ""))
	h.pass()
	r.answers(500)
	h.book("1", "2027-01-11")
	for range 10 {
		h.pass()
		h.wait(15 * time.Minute)
	}
	h.pass()
	r.answers(200)
	h.change("PATCH", id, `[{"op":"replace","path":"/status","value":"requested"}]`)
	h.pass()
	require.Equal(t, counted(len(h.outbox("case."))), r.numbers())
	standing, err := h.office.Subscriptions(t.Context())
	require.NoError(t, err)
	require.Zero(t, standing[0].FailingSince)
}

// Where nothing happens, a sign of life comes as often as was asked for.
func TestHeartbeat(t *testing.T) {
	h, r := newHouse(t), newReceiver(t)
	h.subscribe(wish(r.url(), "plan-changed", "", paced(60, 1)))
	h.pass()
	for range 3 {
		h.wait(59 * time.Second)
		h.pass()
		h.wait(time.Second)
		h.pass()
	}
	var kinds []string
	for _, n := range r.taken() {
		kinds = append(kinds, n.kind)
	}
	require.Equal(t, []string{"handshake", "heartbeat", "heartbeat", "heartbeat"}, kinds)
}

// A client switches off, on again, changes what it asks for, and deletes; an end
// that has come is an end.
func TestChanges(t *testing.T) {
	h, r, second := newHouse(t), newReceiver(t), newReceiver(t)
	id := h.subscribe(wish(r.url(), "plan-changed", "CarePlan?event=case.opened"))
	h.pass()
	h.book("1", "2027-01-11")
	h.pass()
	require.Equal(t, []string{"1"}, r.numbers())

	moved := strings.Replace(wish(second.url(), "plan-changed", "CarePlan?event=case.opened,case.redated"), `"status"`, `"id":"`+id+`","status"`, 1)
	h.change("PUT", id, moved)
	h.book("1", "2027-01-18")
	h.pass()
	require.Len(t, r.taken(), 2)
	require.Equal(t, []string{"2"}, second.numbers(), "numbers go on")
	require.Equal(t, "handshake", second.taken()[0].kind)

	off := h.change("PATCH", id, `[{"op":"replace","path":"/status","value":"off"}]`)
	require.True(t, off.Changed)
	again := h.change("PUT", id, string(off.Stored.Body))
	require.False(t, again.Changed)
	require.Equal(t, off.Stored.Version, again.Stored.Version, "the same again is no version")
	for statuses, want := range map[string]int{"off": 1, "active": 0} {
		body, err := h.office.SubscriptionStatus(t.Context(), "", nil, []string{statuses})
		require.NoError(t, err)
		require.Equal(t, want, strings.Count(string(body), `"query-status"`), statuses)
	}
	h.book("2", "2027-01-11")
	h.pass()
	require.Equal(t, []string{"2"}, second.numbers())
	h.change("PATCH", id, `[{"op":"replace","path":"/status","value":"requested"},{"op":"add","path":"/end","value":"2026-10-06T16:00:00Z"}]`)
	h.pass()
	require.Equal(t, []string{"2", "3"}, second.numbers())

	h.wait(time.Hour)
	h.book("3", "2027-01-11")
	h.pass()
	status, why := h.status(id)
	require.Equal(t, []string{"off", "its end has come"}, []string{status, why})
	require.Equal(t, []string{"2", "3"}, second.numbers())

	h.change("DELETE", id, "")
	h.pass()
	standing, err := h.office.Subscriptions(t.Context())
	require.NoError(t, err)
	require.Empty(t, standing)
}

// An answer that comes after the Subscription was changed changes nothing but
// what was taken.
func TestChangedMeanwhile(t *testing.T) {
	h, r := newHouse(t), newReceiver(t)
	id := h.subscribe(wish(r.url(), "plan-changed", ""))
	n, err := h.office.NextNotification(t.Context(), id)
	require.NoError(t, err)
	h.change("PATCH", id, `[{"op":"replace","path":"/reason","value":"another"}]`)
	out, err := h.office.Notified(t.Context(), n, "")
	require.NoError(t, err)
	require.Equal(t, "requested", out.Status, "the handshake was that of another version")
	h.change("DELETE", id, "")
	out, err = h.office.Notified(t.Context(), n, "")
	require.NoError(t, err)
	require.Empty(t, out.Status)
}

// What is gone from the outbox while a receiver was off cannot be told any more:
// one number is left out, so that it sees that something is missing.
func TestGapIsSeen(t *testing.T) {
	h, r := newHouse(t), newReceiver(t)
	id := h.subscribe(wish(r.url(), "plan-changed", ""))
	h.pass()
	h.book("1", "2027-01-11")
	h.pass()
	before := len(r.numbers())
	h.change("PATCH", id, `[{"op":"replace","path":"/status","value":"off"}]`)
	h.book("2", "2027-01-11")
	rows, err := h.db.Unpublished(t.Context(), 10000)
	require.NoError(t, err)
	var marks []store.Mark
	for n, row := range rows {
		marks = append(marks, store.Mark{Seq: row.Seq, StreamSeq: uint64(n + 1)})
	}
	require.NoError(t, h.db.MarkPublished(t.Context(), marks))
	h.wait(8 * 24 * time.Hour)
	_, gone, err := h.db.Prune(t.Context(), 0, h.clock(), 10000)
	require.NoError(t, err)
	require.Len(t, rows, int(gone))

	h.change("PATCH", id, `[{"op":"replace","path":"/status","value":"requested"}]`)
	h.pass()
	got := r.taken()
	require.Equal(t, []string{"event-notification", counted(before + 1)[before]}, []string{got[len(got)-1].kind, got[len(got)-1].total},
		"it is told at once that there was something")
	require.Empty(t, got[len(got)-1].events)
	h.book("3", "2027-01-11")
	h.pass()
	numbers := r.numbers()
	require.Equal(t, counted(before), numbers[:before])
	require.Equal(t, counted(before + 2)[before+1], numbers[before], "one number is left out")
}

// One that cannot be read any more is switched off, and holds up nobody else.
func TestUnreadableSubscription(t *testing.T) {
	h, r := newHouse(t), newReceiver(t)
	lost := h.subscribe(wish(r.url(), "plan-changed", ""))
	h.subscribe(wish(r.url(), "plan-changed", ""))
	held, err := h.office.Get(t.Context(), "Subscription", lost)
	require.NoError(t, err)
	require.NoError(t, h.db.Write(t.Context(), func(tx *store.Tx) error { // as a later version may have left it
		held.Body = []byte(strings.Replace(string(held.Body), "plan-changed", "plan-lost", 1))
		held.Version++
		return tx.Save(held, nil)
	}))
	h.restart()
	h.pass()
	require.Equal(t, 1, r.attempts(), "the other's handshake")
	h.book("1", "2027-01-11")
	h.pass()
	require.Equal(t, counted(len(h.outbox("case."))), r.numbers())
	body, err := h.office.SubscriptionStatus(t.Context(), lost, nil, nil)
	require.NoError(t, err)
	require.Contains(t, string(body), "plan-lost")
	status, why := h.status(lost)
	require.Equal(t, []string{"off", "this version of the service does not understand it any more"}, []string{status, why})
}

// After a time with the clock ahead, nobody waits for it to come again.
func TestClockWasAhead(t *testing.T) {
	h, r := newHouse(t), newReceiver(t)
	id := h.subscribe(wish(r.url(), "plan-changed", ""))
	h.pass()
	require.NoError(t, h.db.Write(t.Context(), func(tx *store.Tx) error {
		d, err := tx.DeliveryOf(id)
		if err != nil {
			return err
		}
		d.Failures, d.FailingSince, d.NotBefore = 1, tx.Now.AddDate(1, 0, 0), tx.Now.AddDate(1, 0, 0)
		return tx.PutDelivery(d)
	}))
	r.answers(500)
	h.book("1", "2027-01-11")
	h.pass()
	require.Equal(t, 2, r.attempts())
	standing, err := h.office.Subscriptions(t.Context())
	require.NoError(t, err)
	require.Equal(t, h.clock(), standing[0].FailingSince)
}
