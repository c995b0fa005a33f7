package casework

import (
	"context"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// A booking that would open a case must carry a number that a later change can
// name; any other resource without one is kept.
func TestBookingWithoutIdentifier(t *testing.T) {
	h := newHouse(t)
	patient := name(h.put("Patient", person("1")).Stored)
	bare := appointment("1", patient, surgery).with("identifier", nil)
	t.Run("refused", func(t *testing.T) {
		h.refuses(refusal{ErrInvalid, "required", "Appointment.identifier"}, delivery(t, "Appointment", bare.json()))
	})
	t.Run("refused in its place in a bundle", func(t *testing.T) {
		h.refuses(refusal{ErrInvalid, "required", "Bundle.entry[1].resource.identifier"}, delivery(t, "", transaction(
			entry{target: "Patient", resource: person("2")}, entry{target: "Appointment", resource: bare})))
	})
	t.Run("a number without a system is none", func(t *testing.T) {
		h.refuses(refusal{ErrInvalid, "required", "Appointment.identifier"},
			delivery(t, "Appointment", bare.with("identifier", []res{{"value": "B-1"}}).json()))
	})
	t.Run("kept when it opens nothing", func(t *testing.T) {
		require.True(t, h.put("Appointment", bare.with("status", "cancelled")).Created)
		require.True(t, h.put("Procedure", procedure("1", patient, cholecystCode, surgery).with("identifier", nil)).Created)
		require.Empty(t, h.cases(patient))
	})
	t.Run("an operation alone is kept, and listed", func(t *testing.T) {
		require.True(t, h.put("Procedure", procedure("2", patient, rightHip, surgery).with("identifier", nil)).Created)
		require.Empty(t, h.cases(patient))
	})
}

// One that waited for its person is not that person's fault: they are taken in,
// and the booking is listed. Sent by itself, it is refused.
func TestBookingWithoutIdentifierWaits(t *testing.T) {
	h := newHouse(t)
	bare := appointment("1", "", surgery).with("identifier", nil).
		with("participant", []res{{"actor": logical(personSystem, "P-1"), "status": "accepted"}})
	kept := h.put("Appointment", bare)
	patient := h.newPatient("1")
	require.Empty(t, h.cases(patient))
	list, err := h.office.Unplanned(context.Background())
	require.NoError(t, err)
	require.Equal(t, []Unplanned{{Booking: name(kept.Stored), Patient: patient, Reason: "no identifier to know it by"}}, list)
	h.refuses(refusal{ErrInvalid, "required", "Appointment.identifier"}, delivery(t, "Appointment", bare.json()))
	// With a number it opens its case.
	h.put(name(kept.Stored), bare.with("id", kept.Stored.ID).with("identifier", numbered(bookingSystem, "B-1")))
	h.onlyCase(patient)
}

// A transaction with one bad entry among good ones stores nothing of any.
func TestARefusalStoresNothing(t *testing.T) {
	h := newHouse(t)
	h.twins()
	b := h.book("held", surgery)
	good := []entry{
		{name: personURN, target: "Patient", resource: person("new")},
		{target: "Appointment", resource: appointment("new", personURN, surgery)},
		{target: by(appointment("held", "", surgery)), resource: appointment("held", b.patient, "2027-02-01")},
		{target: "Procedure", resource: procedure("held", b.patient, rightHip, surgery)},
		{target: "Encounter", resource: stay("held", b.patient, b.appointment, "arrived", surgery+" 07:00", "")},
	}
	bad := []struct {
		name  string
		entry entry
		err   error
	}{
		{"a condition without a system", entry{target: "ServiceRequest?identifier=R-1", resource: order("x", b.patient)}, ErrMalformed},
		{"two matches", entry{target: by(person("twin")), resource: person("twin")}, ErrMultiple},
		{"a taken id", entry{target: by(person("x")), resource: person("x").with("id", b.patient[len("Patient/"):])}, ErrConflict},
		{"a foreign id", entry{target: by(person("held")), resource: person("held").with("id", "x")}, ErrMalformed},
		{"an old version", entry{target: by(person("held")), ifMatch: `W/"9"`, resource: person("held")}, ErrVersion},
		{"a loose end", entry{target: "ServiceRequest", resource: order("x", nobodyURN)}, ErrInvalid},
		{"an unknown person", entry{target: "ServiceRequest", resource: order("x", by(person("nobody")))}, ErrVersion},
		{"a booking without a number", entry{target: "Appointment", resource: appointment("x", b.patient, "2027-06-01").with("identifier", nil)}, ErrInvalid},
		{"a person twice", entry{target: "Patient", ifNoneExist: by(person("new")), resource: person("new")}, ErrInvalid},
	}
	before := h.everything()
	rapid.Check(t, func(rt *rapid.T) {
		entries := []entry{good[0]} // the others refer to it
		for n := range good[1:] {
			if rapid.Bool().Draw(rt, "with") {
				entries = append(entries, good[n+1])
			}
		}
		poison := rapid.SampledFrom(bad).Draw(rt, "bad")
		entries = slices.Insert(entries, rapid.IntRange(0, len(entries)).Draw(rt, "place"), poison.entry)
		_, err := h.receive(delivery(rt, "", transaction(entries...)))
		require.ErrorIs(rt, err, poison.err, poison.name)
		require.Equal(rt, before, h.everything(), poison.name)
	})

	// The same good entries without the bad one are welcome: they were not
	// what was refused.
	require.Len(t, h.send(transaction(good...)), len(good))

}
