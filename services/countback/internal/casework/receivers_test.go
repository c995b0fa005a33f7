package casework

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/store"
)

// A rest doubles with each failure up to the longest, and half of it is chance.
func TestRests(t *testing.T) {
	for _, c := range []struct {
		failures    int
		least, most time.Duration
	}{
		{1, 500 * time.Millisecond, time.Second},
		{2, time.Second, 2 * time.Second},
		{5, 8 * time.Second, 16 * time.Second},
		{10, 256 * time.Second, 512 * time.Second},
		{11, 450 * time.Second, 15 * time.Minute},
		{1 << 40, 450 * time.Second, 15 * time.Minute},
	} {
		r := Receivers{Jitter: func() float64 { return 0 }}.withDefaults()
		require.Equal(t, c.least, r.rest(c.failures))
		r.Jitter = func() float64 { return 1 }
		require.Equal(t, c.most, r.rest(c.failures))
	}
	r := Receivers{}.withDefaults()
	require.Equal(t, 24*time.Hour, r.OffAfter)
	seen := map[time.Duration]bool{}
	for range 100 {
		d := r.rest(3)
		require.GreaterOrEqual(t, d, 2*time.Second)
		require.LessOrEqual(t, d, 4*time.Second)
		seen[d] = true
	}
	require.Greater(t, len(seen), 10, "no chance in it")
}

// What was found for a Subscription that changed in between, or that somebody
// else numbered, is found out again: nothing is told twice or by a filter that is
// no more.
func TestNumberedOnce(t *testing.T) {
	h := newHouse(t)
	const text = `{"resourceType":"Subscription","status":"requested","reason":"a list","criteria":"http://countback.example/fhir/SubscriptionTopic/plan-changed",
		"channel":{"type":"rest-hook","endpoint":"https://receiver.larkspindle.example","payload":"application/fhir+json",
		"_payload":{"extension":[{"url":"http://hl7.org/fhir/uv/subscriptions-backport/StructureDefinition/backport-payload-content","valueCode":"id-only"}]}}}`
	r, issues := fhir.Parse([]byte(text), 1<<20)
	require.Empty(t, issues)
	made, err := h.office.Subscribe(t.Context(), Subscribing{Method: "POST", Resource: r})
	require.NoError(t, err)
	var rows []store.OutboxRow
	for n := range int64(3) {
		rows = append(rows, store.OutboxRow{ID: string(rune('a' + n)), CaseID: "c", CaseSequence: n + 1, Body: []byte(`{"id":"x","source":"http://countback.example/facility/main","specversion":"1.0",` +
			`"type":"example.countback.case.ready","subject":"CarePlan/c","time":"2026-09-08T10:22:00-05:00","casesequence":1,"data":{"carePlan":"c","version":1,"state":"ready","protocol":"http://countback.example/fhir/PlanDefinition/x|1"}}`)})
	}
	require.NoError(t, h.db.Write(t.Context(), func(tx *store.Tx) error { return tx.Enqueue(rows) }))
	find := func() (out []numbering) {
		require.NoError(t, h.db.Read(t.Context(), func(tx *store.Tx) (err error) {
			out, err = h.office.behind(tx)
			return err
		}))
		require.Len(t, out, 1)
		require.Len(t, out[0].events, 3)
		return out
	}
	write := func(n numbering) (same bool) {
		require.NoError(t, h.db.Write(t.Context(), func(tx *store.Tx) (err error) {
			same, err = h.office.numbered(tx, n)
			return err
		}))
		return same
	}
	before := find()[0]
	patch, issues := fhir.ParseJSONPatch([]byte(`[{"op":"replace","path":"/reason","value":"another list"}]`), 0)
	require.Empty(t, issues)
	_, err = h.office.Subscribe(t.Context(), Subscribing{Method: "PATCH", ID: made.Stored.ID, Patch: patch})
	require.NoError(t, err)
	require.False(t, write(before), "it was found for another version")
	found := find()[0]
	require.True(t, write(found))
	require.False(t, write(found), "they have their numbers")
	standing, err := h.office.Subscriptions(t.Context())
	require.NoError(t, err)
	require.Equal(t, int64(3), standing[0].Events)
	_, err = h.office.Subscribe(t.Context(), Subscribing{Method: "DELETE", ID: made.Stored.ID})
	require.NoError(t, err)
	require.True(t, write(found), "it is gone: there is nothing to find out again")
}
