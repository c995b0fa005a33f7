package casework

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// An appointment in a year that nobody can mean is refused by its place, alone and
// in a bundle, new and as a change: it must never pass for one without a date. Now
// is 2 November 2026.
func TestAnAppointmentInNoYear(t *testing.T) {
	at := func(start string) func(res) {
		return func(a res) { a["start"], a["end"] = start, start }
	}
	for _, r := range []struct {
		name    string
		start   string
		status  string
		refused bool
	}{
		{"the first year", "0001-01-01T00:00:00Z", "booked", true},
		{"the last year", "9999-12-31T23:59:59Z", "booked", true},
		{"without a confirmed date, and absurd", "9999-12-31T23:59:59Z", "proposed", true},
		{"called off", "9999-12-31T23:59:59Z", "cancelled", false},
		{"entered in error", "0001-01-01T00:00:00Z", "entered-in-error", false},
		{"more than ten years from now", "2036-11-03T10:00:00-06:00", "booked", true},
		{"within ten years", "2036-10-30T10:00:00-06:00", "booked", false},
		{"longer ago than a life", "1906-11-01T10:00:00-06:00", "booked", true},
		{"a life ago", "1906-11-05T10:00:00-06:00", "fulfilled", false},
	} {
		t.Run(r.name, func(t *testing.T) {
			h := newHouse(t)
			h.set("2026-11-02 09:00")
			b := h.book("1", surgery)
			before := h.everything()
			change := appointment("1", b.patient, surgery).with("status", r.status)
			at(r.start)(change)
			fresh := appointment("2", b.patient, surgery).with("status", r.status)
			at(r.start)(fresh)
			if !r.refused {
				h.put(by(change), change)
				h.put("Appointment", fresh)
				return
			}
			h.refuses(refusal{ErrInvalid, "value", "Appointment.start"}, delivery(t, by(change), change.json()))
			h.refuses(refusal{ErrInvalid, "value", "Appointment.start"}, delivery(t, "Appointment", fresh.json()))
			h.refuses(refusal{ErrInvalid, "value", "Bundle.entry[1].resource.start"}, delivery(t, "", transaction(
				entry{target: "Patient", resource: person("3")}, entry{target: "Appointment", resource: fresh})))
			require.Equal(t, before, h.everything())
			require.NotEqual(t, "held", h.onlyCase(b.patient).State)
		})
	}
}

// A booking that changes hands is a correction of the hospital's, or the wrong
// number: it is taken, and its sender is told, each time that it happens.
func TestABookingThatChangesHandsIsSaid(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	other := name(h.put("Patient", person("2")).Stored)
	require.Empty(t, h.move("1", b.patient, "2027-01-18").Note, "the same person, another day")
	for _, to := range []string{other, b.patient, other} {
		require.Contains(t, h.move("1", to, surgery).Note, "it was another patient's before")
	}
	require.Empty(t, h.move("1", other, surgery).Note, "sent again")

	// From a person to nobody, and from nobody to a person: nobody else's case.
	a := appointment("1", other, surgery).with("participant", []res{{"actor": res{"display": "to be named"}, "status": "accepted"}})
	require.NotContains(t, h.put(by(a), a).Note, "another patient's")
	require.Empty(t, h.move("1", other, surgery).Note)
	// What is no appointment changes nobody's booking.
	c := infection("1", b.patient, "active", "")
	h.put(by(c), c)
	c = infection("1", other, "active", "")
	require.NotContains(t, h.put(by(c), c).Note, "another patient's")
}

// A record that a message gives to another person is listed in the morning for a
// week, with both of them: those of one source and two persons together.
func TestRecordsOfAnotherPersonAreListed(t *testing.T) {
	h := newHouse(t)
	b, other := h.book("1", surgery), h.newPatient("2")
	illness := res{"resourceType": "Condition", "identifier": numbered(operation, "C-1"), "code": coded(snomed, hipCode), "subject": ref(b.patient)}
	h.store(illness)
	h.store(illness.with("note", []res{{"text": "of the same person"}}))
	morning := func() []MovedRecords {
		m, err := h.office.Morning(context.Background(), MorningOptions{Rows: 9, More: 9})
		require.NoError(t, err)
		return m.Moved
	}
	require.Empty(t, morning())
	h.setTo(h.clock().Add(time.Hour))
	a := appointment("1", other, surgery)
	require.Contains(t, h.put(by(a), a).Note, "another patient's before")
	h.put(by(illness), illness.with("subject", ref(other)))
	listed := morning()
	sources := map[string]bool{}
	var records int64
	for _, m := range listed {
		sources[m.Source] = true
		records += m.N
		require.Equal(t, []string{b.patient, other}, []string{m.Was.Ref, m.Now.Ref})
	}
	require.EqualValues(t, 2, records)
	require.Len(t, listed, len(sources))
	h.setTo(h.clock().Add(8 * 24 * time.Hour))
	require.Empty(t, morning())
}
