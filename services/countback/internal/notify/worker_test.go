package notify

import (
	"context"
	"encoding/json"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/event"
	"example.org/countback/services/countback/internal/store"
)

// The handshake comes first, is signed, and makes the Subscription active.
func TestHandshake(t *testing.T) {
	h, r := newHouse(t), newReceiver(t)
	id := h.subscribe(wish(r.url(), "plan-changed", "", `"header":["Authorization: Bearer ward","X-Ward: 7"]`))
	status, _ := h.status(id)
	require.Equal(t, "requested", status)
	h.pass()
	got := r.taken()
	require.Len(t, got, 1)
	require.Equal(t, []string{"handshake", "requested", "0"}, []string{got[0].kind, got[0].status, got[0].total})
	require.Equal(t, base+"/Subscription/"+id, got[0].subscription)
	require.Equal(t, "http://countback.example/fhir/SubscriptionTopic/plan-changed", got[0].topic)
	require.Equal(t, []string{"Bearer ward", "7", "application/fhir+json", "Countback"}, []string{
		got[0].header.Get("Authorization"), got[0].header.Get("X-Ward"), got[0].header.Get("Content-Type"), got[0].header.Get("User-Agent")})
	h.subscribe(strings.Replace(wish(r.url(), "plan-changed", ""), "application/fhir+json", "application/json", 1))
	status, _ = h.status(id)
	require.Equal(t, "active", status)
	h.pass()
	h.pass()
	require.Len(t, r.taken(), 2, "nothing more is due")
	require.Equal(t, "application/json", r.taken()[1].header.Get("Content-Type"), "as it was asked for")
}

// Each receiver gets its own events with its own numbers, without a gap and in
// the order in which they were committed, which is that of each case.
func TestEventsInOrder(t *testing.T) {
	h, all, one, held := newHouse(t), newReceiver(t), newReceiver(t), newReceiver(t)
	h.subscribe(wish(all.url(), "plan-changed", ""))
	h.subscribe(wish(one.url(), "plan-changed", "CarePlan?patient=Patient/p2&event=case.redated"))
	h.subscribe(wish(held.url(), "hold-changed", "", paced(3600, 2)))
	h.pass()
	for _, n := range []string{"1", "2", "3"} {
		h.book(n, "2027-01-11")
	}
	h.book("2", "2027-01-18")
	h.book("2", "2027-01-25")
	h.book("3", "2027-01-18")
	h.pass()

	want := h.outbox("case.")
	require.GreaterOrEqual(t, len(want), 6)
	require.Equal(t, counted(len(want)), all.numbers())
	var focus []string
	for _, n := range all.taken() {
		for i, e := range n.events {
			focus = append(focus, strings.TrimPrefix(e.focus, base+"/"))
			if i == len(n.events)-1 {
				require.Equal(t, e.number, n.total, "what came is told of up to the last number")
			}
			require.Equal(t, "active", n.status)
		}
	}
	require.Equal(t, want, focus)
	require.Equal(t, []string{"1", "2"}, one.numbers(), "two moves of one person")
	require.Empty(t, held.numbers())
}

// outbox lists whose events of a kind there are, in the order of the rows.
func (h *house) outbox(kind string) []string {
	h.t.Helper()
	rows, err := h.db.Unpublished(context.Background(), 10000)
	require.NoError(h.t, err)
	var out []string
	for _, row := range rows {
		var e struct{ Type, Subject string }
		require.NoError(h.t, json.Unmarshal(row.Body, &e))
		if strings.HasPrefix(e.Type, "example.countback."+kind) {
			out = append(out, e.Subject)
		}
	}
	return out
}

// Tasks and holds are told by their ids, and several events come at a time where
// the receiver asks for it. Nothing of a person is in what leaves.
func TestIDsOnly(t *testing.T) {
	h, tasks, holds, empty := newHouse(t), newReceiver(t), newReceiver(t), newReceiver(t)
	h.subscribe(wish(tasks.url(), "task-changed", "", paced(3600, 50)))
	h.subscribe(wish(holds.url(), "hold-changed", ""))
	h.subscribe(strings.Replace(wish(empty.url(), "plan-changed", ""), `"id-only"`, `"empty"`, 1))
	h.pass()
	h.book("1", "2027-01-11")
	// ICD-10-CM N39.0: a urinary infection, which holds a case.
	h.put(`{"resourceType":"Condition","id":"c1","clinicalStatus":{"coding":[{"system":"http://terminology.hl7.org/CodeSystem/condition-clinical","code":"active"}]},
		"code":{"coding":[{"system":"http://hl7.org/fhir/sid/icd-10-cm","code":"N39.0"}],"text":"QuillfeatherInfection"},"subject":{"reference":"Patient/p1"}}`)
	h.pass()

	require.NotEmpty(t, tasks.numbers())
	var context []string
	for _, n := range tasks.taken() {
		for _, e := range n.events {
			context = append(context, e.context...)
		}
	}
	require.Greater(t, len(context), 20)
	for _, c := range context {
		require.Regexp(t, `^`+base+`/Task/[A-Za-z0-9.-]+$`, c)
	}
	require.Less(t, len(tasks.taken()), 1+len(tasks.numbers()), "several events come at a time")
	require.Equal(t, []string{"1"}, holds.numbers())
	require.Regexp(t, `^`+base+`/Flag/`, holds.taken()[1].events[0].context[0])
	require.NotEmpty(t, empty.numbers())
	for _, n := range empty.taken() {
		require.NotContains(t, n.raw, "CarePlan")
		require.Empty(t, n.topic, "the backport: not with empty")
	}
	for _, r := range []*receiver{tasks, holds, empty} {
		for _, n := range r.taken() {
			for _, word := range []string{"uillfeather", "1951", "555-0134", "N39", "infection", "52734007", "2027-01", "Patient/"} {
				require.NotContains(t, n.raw, word)
			}
			_, issues := fhir.Parse([]byte(n.raw), 1<<20)
			require.Empty(t, issues, "it is no R4")
		}
	}
}

// A receiver that is down is tried again, longer and longer apart, and then gets
// all of it, each once and in order; the other is not touched by it.
func TestDownThenUp(t *testing.T) {
	h, r, other := newHouse(t), newReceiver(t), newReceiver(t)
	id := h.subscribe(wish(r.url(), "plan-changed", ""))
	h.subscribe(wish(other.url(), "plan-changed", ""))
	h.pass()
	r.answers(503)
	h.book("1", "2027-01-11")
	h.book("1", "2027-01-18")
	h.pass()
	want := len(h.outbox("case."))
	require.Equal(t, counted(want), other.numbers())
	require.Empty(t, r.numbers())
	require.Equal(t, 2, r.attempts(), "the handshake, and one attempt")

	// Rests of 1, 2, 4 … seconds, with all of their chance.
	for n, rest := range []time.Duration{1, 2, 4, 8, 16} {
		h.wait(rest*time.Second - time.Millisecond)
		h.pass()
		require.Equal(t, 2+n, r.attempts(), "too early")
		h.wait(time.Millisecond)
		h.pass()
		require.Equal(t, 3+n, r.attempts())
	}
	status, why := h.status(id)
	require.Equal(t, "error", status)
	require.Contains(t, why, "the receiver answered 503")
	require.NotContains(t, why, "127.0.0.1")
	require.Equal(t, 1, strings.Count(h.log.String(), "does not take its notifications"), "it is said once: %s", h.log.String())
	require.Contains(t, h.log.String(), `status=error why="the receiver answered 503"`)
	require.Equal(t, 2, strings.Count(h.log.String(), "is active"), "that of each, after its handshake")

	r.answers(202)
	h.wait(time.Hour)
	h.pass()
	require.Equal(t, counted(want), r.numbers())
	status, why = h.status(id)
	require.Equal(t, []string{"active", ""}, []string{status, why})
	require.Equal(t, 3, strings.Count(h.log.String(), "is active"))
	require.NotContains(t, h.log.String(), "127.0.0.1")
	require.NotContains(t, h.log.String(), "level=ERROR")
	require.Equal(t, Stats{Sent: uint64(len(r.taken()) + len(other.taken())), Failed: 6}, h.worker.Stats())
}

// Many events at once are numbered in several transactions, and none is passed
// over or told twice.
func TestManyEvents(t *testing.T) {
	h, r := newHouse(t), newReceiver(t)
	h.subscribe(wish(r.url(), "plan-changed", "CarePlan?event=case.redated", paced(3600, 100)))
	h.pass()
	const many = 1203
	require.NoError(t, h.db.Write(t.Context(), func(tx *store.Tx) error {
		var rows []store.OutboxRow
		for n := range int64(many) {
			e, err := event.NewCase(event.Options{ID: tx.NewID(), Facility: "main", Name: event.CaseRedated, Time: tx.Now, CaseSequence: n + 1},
				event.CaseData{CarePlan: "c1", Version: n + 1, State: "on-track", Protocol: "http://countback.example/fhir/PlanDefinition/x|1"})
			if err != nil {
				return err
			}
			body, err := event.Encode(e)
			if err != nil {
				return err
			}
			rows = append(rows, store.OutboxRow{ID: e.ID, CaseID: "c1", CaseSequence: n + 1, Subject: "x", Body: body})
		}
		return tx.Enqueue(rows)
	}))
	h.pass()
	require.Equal(t, counted(many), r.numbers())
	require.Len(t, r.taken(), 1+13, "a hundred at a time")
	require.Equal(t, "100", r.taken()[1].total, "the number of the last that came: otherwise the receiver would miss the others")
}

// The process ends at any moment: before anything was numbered, while the
// receiver has answered and nobody wrote it down, after. Nothing is lost, and no
// number is left out.
func TestRestart(t *testing.T) {
	h, r := newHouse(t), newReceiver(t)
	h.subscribe(wish(r.url(), "plan-changed", ""))
	h.pass()
	h.book("1", "2027-01-11")
	h.restart() // not numbered yet
	h.pass()
	first := len(r.numbers())
	require.Equal(t, counted(len(h.outbox("case."))), r.numbers())

	h.book("1", "2027-01-18")
	require.NoError(t, h.office.NumberEvents(t.Context()))
	ids, err := h.office.DueSubscriptions(t.Context())
	require.NoError(t, err)
	n, err := h.office.NextNotification(t.Context(), ids[0])
	require.NoError(t, err)
	require.Empty(t, h.worker.send(t.Context(), n))
	h.restart() // it was taken, and nobody wrote it down
	h.pass()
	numbers := r.numbers()
	require.Equal(t, numbers[first], numbers[first+1], "it comes twice, with its number")
	require.Equal(t, counted(len(h.outbox("case."))), append(numbers[:first:first], numbers[first+1:]...))
	h.restart()
	h.pass()
	require.Len(t, r.numbers(), len(numbers))
}

// A receiver that does not answer holds up neither the others nor what comes in.
func TestSlowReceiver(t *testing.T) {
	h, slow, quick := newHouse(t), newReceiver(t), newReceiver(t)
	slow.hold = make(chan struct{})
	h.subscribe(wish(slow.url(), "plan-changed", ""))
	h.subscribe(wish(quick.url(), "plan-changed", ""))
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error)
	go func() { done <- h.worker.Run(ctx) }()
	<-slow.begun // and from here on it waits
	<-quick.begun
	h.book("1", "2027-01-11")
	<-quick.begun
	require.Empty(t, slow.taken())
	close(slow.hold)
	for len(slow.numbers()) == 0 {
		<-slow.took
	}
	cancel()
	require.NoError(t, <-done)
	var kinds []string
	for _, n := range slow.taken() {
		kinds = append(kinds, n.kind)
	}
	require.Equal(t, []string{"handshake", "event-notification"}, kinds, "while it had not answered, nothing more was sent to it")
}

// Who subscribes is greeted at once, and not only when it is time to look.
func TestSubscribingWakes(t *testing.T) {
	h, r := newHouse(t), newReceiver(t)
	h.worker.o.Poll = 24 * time.Hour
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error)
	go func() { done <- h.worker.Run(ctx) }()
	h.subscribe(wish(r.url(), "plan-changed", ""))
	<-r.begun
	cancel()
	require.NoError(t, <-done)
}

// $events tells again what the numbers say, and no more.
func TestEventsOperation(t *testing.T) {
	h, r := newHouse(t), newReceiver(t)
	id := h.subscribe(wish(r.url(), "plan-changed", ""))
	h.pass()
	h.book("1", "2027-01-11")
	h.book("1", "2027-01-18")
	h.book("1", "2027-01-25")
	h.pass()
	all := len(h.outbox("case."))
	for _, c := range []struct {
		since, until int64
		want         []string
	}{
		{0, 0, counted(all)}, {2, 2, []string{"2"}}, {2, 0, counted(all)[1:]}, {0, 1, []string{"1"}}, {int64(all) + 1, 0, nil},
	} {
		body, err := h.office.SubscriptionEvents(t.Context(), id, c.since, c.until, "")
		require.NoError(t, err)
		n, err := read(body)
		require.NoError(t, err)
		require.Equal(t, "query-event", n.kind)
		var got []string
		for _, e := range n.events {
			got = append(got, e.number)
			require.NotEmpty(t, e.focus)
		}
		require.Equal(t, c.want, got)
	}
	body, err := h.office.SubscriptionEvents(t.Context(), id, 0, 0, "empty")
	require.NoError(t, err)
	require.NotContains(t, string(body), "CarePlan")
	h.wait(8 * 24 * time.Hour)
	require.NoError(t, h.office.PruneDelivered(t.Context()))
	body, err = h.office.SubscriptionEvents(t.Context(), id, 0, 0, "")
	require.NoError(t, err)
	n, err := read(body)
	require.NoError(t, err)
	require.Empty(t, n.events)
	require.Equal(t, counted(all)[all-1], n.total)
}

// What was only tried, and what was undone, is not told, and leaves no gap.
func TestUndoneIsNotTold(t *testing.T) {
	h, r := newHouse(t), newReceiver(t)
	h.subscribe(wish(r.url(), "plan-changed", ""))
	h.pass()
	h.book("1", "2027-01-11")
	h.put(person("2"))
	for range 3 {
		out, err := h.office.Try(t.Context(), h.delivery(booking("2", "2027-01-11")))
		require.NoError(t, err)
		require.True(t, out[0].Created)
	}
	h.pass()
	h.book("2", "2027-01-11")
	h.pass()
	require.Equal(t, counted(len(h.outbox("case."))), r.numbers())
}
