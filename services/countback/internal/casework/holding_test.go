package casework

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// The sender of a record that holds a case is told which, as often as it is sent,
// and no more once a person released the hold; whose record holds
// nothing hears nothing of it.
func TestSenderIsToldOfTheHold(t *testing.T) {
	h := newHouse(t)
	h.set("2026-12-12 09:00")
	b := h.book("1", surgery)
	const held = "it holds the case of 2027-01-11 (pending dental work) until a named person releases it"

	x := extraction("1", b.patient, "preparation", "2027-01-06")
	first := h.put(by(x), x)
	require.True(t, first.Changed)
	require.Equal(t, held, first.Note)
	again := h.put(by(x), x)
	require.False(t, again.Changed)
	require.Equal(t, held, again.Note, "said again")

	visit := appointment("9", b.patient, "2027-01-07").
		with("serviceType", []res{coded("http://terminology.hl7.org/CodeSystem/service-type", "90")}).with("reasonCode", nil)
	r := h.put(by(visit), visit)
	require.Contains(t, r.Note, "kept, and no case is opened: ")
	require.Contains(t, r.Note, "; "+held)

	h.set("2026-12-14 09:00")
	h.work(b.plan, "clear-hold", release("Maud Fennimore", "Put off by the dentist."))
	require.NotContains(t, h.put(by(x), x).Note, "it holds")

	other := h.book("2", "2027-05-14")
	y := extraction("2", other.patient, "preparation", "2027-01-06")
	require.Empty(t, h.put(by(y), y).Note, "four months before, it holds nothing")
}
