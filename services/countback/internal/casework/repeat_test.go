package casework

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// The same message again changes nothing but the archive of what came in.
func TestTheSameMessageThreeTimes(t *testing.T) {
	for what, send := range map[string]func(h *house) []Result{
		"a transaction": func(h *house) []Result {
			out, err := h.receive(delivery(h.t, "", bookingMessage("1", surgery)))
			require.NoError(h.t, err)
			return out
		},
		"a posted booking": func(h *house) []Result {
			p := h.put("Patient/p-1", person("1").with("id", "p-1"))
			return []Result{p, h.put("Appointment", appointment("1", "Patient/p-1", surgery))}
		},
		"a booking under its number": func(h *house) []Result {
			p, b := person("1"), appointment("1", by(person("1")), surgery)
			return []Result{h.put(by(p), p), h.put(by(b), b)}
		},
	} {
		t.Run(what, func(t *testing.T) {
			h := newHouse(t)
			first := send(h)
			require.True(t, first[1].Created)
			before := h.everything()
			for _, when := range []string{"2026-09-08 10:25", "2026-09-09 16:00"} {
				h.set(when) // the next day nothing has changed with time either
				again := send(h)
				for n := range again {
					require.False(t, again[n].Created)
					require.False(t, again[n].Changed)
					require.Equal(t, first[n].Stored.ID, again[n].Stored.ID)
					require.EqualValues(t, 1, again[n].Stored.Version)
					require.Equal(t, string(first[n].Stored.Body), string(again[n].Stored.Body))
				}
			}
			after := h.everything()
			require.NotEqual(t, before["received"], after["received"], "each delivery is kept")
			delete(before, "received")
			delete(before, "feed")
			delete(after, "received")
			delete(after, "feed")
			require.Equal(t, before, after)
		})
	}
}

// What a client read and sends back unchanged is no change: our own id and meta
// are read past.
func TestReadAndSentBack(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	mark := h.mark()
	current := h.get(b.appointment)
	out, err := h.receive(delivery(t, b.appointment, string(current.Raw), ifMatch(`W/"1"`)))
	require.NoError(t, err)
	require.False(t, out[0].Changed)
	require.Empty(t, h.after(mark))
}

// The same content in another spelling is, as things are, a new version of the
// resource, because bytes are compared; but the plan is the same, so nothing of
// it is written and nobody is told.
func TestTheSameContentInAnotherSpelling(t *testing.T) {
	for what, spell := range map[string]func(string) string{
		"spaces":           func(s string) string { return strings.ReplaceAll(s, `":`, `" : `) },
		"an escape":        func(s string) string { return strings.Replace(s, "B-1", `\u0042-1`, 1) },
		"an unread member": func(s string) string { return strings.Replace(s, "{", `{"comment":"moved desks",`, 1) },
	} {
		t.Run(what, func(t *testing.T) {
			h := newHouse(t)
			b := h.book("1", surgery)
			before, mark := h.everything(), h.mark()
			a := appointment("1", b.patient, surgery)
			out, err := h.receive(delivery(t, by(a), spell(a.json())))
			require.NoError(t, err)
			require.True(t, out[0].Changed)
			require.EqualValues(t, 2, out[0].Stored.Version)
			require.Empty(t, h.after(mark))
			after := h.everything()
			for _, table := range []string{"care_case", "item", "item_version", "outbox"} {
				require.Equal(t, before[table], after[table], table)
			}
			require.Len(t, h.found("Provenance"), 1)
			require.Equal(t, "1", h.get("CarePlan/"+b.plan).String("meta", "versionId"))
		})
	}
}
