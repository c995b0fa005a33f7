package casework

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// Entries call each other by urn:uuid; what is stored has our references.
func TestEntriesReferToEachOther(t *testing.T) {
	p, o := person("1"), order("1", personURN)
	b := appointment("1", personURN, surgery).with("basedOn", []res{ref(orderURN)}).
		with("supportingInformation", []res{ref("https://elsewhere.example/fhir/Observation/1"), ref("#held")}).
		with("contained", []res{{"resourceType": "Location", "id": "held", "name": "Ward"}}).
		with("extension", []res{{"url": "https://theatre.larkspindle.example/x", "valueUri": orderURN}, {"url": "https://theatre.larkspindle.example/y", "valueString": orderURN}})
	entries := []entry{
		{name: bookingURN, target: by(b), resource: b},
		{name: orderURN, target: "ServiceRequest", resource: o},
		{name: personURN, target: "Patient", ifNoneExist: strings.TrimPrefix(by(p), "Patient?"), resource: p},
	}
	for _, order := range [][]int{{0, 1, 2}, {2, 1, 0}, {1, 2, 0}} {
		h := newHouse(t)
		var sent []entry
		for _, n := range order {
			sent = append(sent, entries[n])
		}
		h.send(transaction(sent...))
		patient, request, booked := name(h.found("Patient")[0]), name(h.found("ServiceRequest")[0]), h.found("Appointment")[0]
		got := parse(t, booked.Body)
		require.Equal(t, patient, got.String("participant", "actor", "reference"))
		require.Equal(t, request, got.String("basedOn", "reference"))
		require.Equal(t, "https://elsewhere.example/fhir/Observation/1", got.Get("supportingInformation").Item(0).String("reference"))
		require.Equal(t, "#held", got.Get("supportingInformation").Item(1).String("reference"))
		require.Equal(t, request, got.Get("extension").Item(0).String("valueUri"))
		require.Equal(t, orderURN, got.Get("extension").Item(1).String("valueString"), "a text is no reference")
		require.Equal(t, patient, booked.Patient)
		c := h.onlyCase(patient)
		require.Equal(t, name(booked), c.Key)
		require.Equal(t, request, h.step(c.ID, "first-call").Focus)
	}
}

func TestOwnBaseBecomesRelative(t *testing.T) {
	h := newHouse(t)
	patient := name(h.put("Patient", person("1")).Stored)
	got := h.put("Appointment", appointment("1", chicago().Base+"/"+patient, surgery))
	require.Equal(t, patient, parse(t, got.Stored.Body).String("participant", "actor", "reference"))
	require.Equal(t, patient, h.onlyCase(patient).Patient)
}

func TestReferencesThatCannotBeResolved(t *testing.T) {
	h := newHouse(t)
	h.twins()
	held := h.put("Patient", person("1"))
	conditional := func(n string) res { return appointment("1", by(person(n)), surgery) }

	t.Run("one match", func(t *testing.T) {
		b := h.put(by(conditional("1")), conditional("1").with("status", "cancelled"))
		require.Equal(t, name(held.Stored), parse(t, b.Stored.Body).String("participant", "actor", "reference"))
	})
	for _, row := range []struct {
		name string
		sent res
		want refusal
	}{
		{"a urn that no entry has", appointment("2", nobodyURN, surgery), refusal{ErrInvalid, "not-found", "Bundle.entry[0].resource"}},
		{"no match", conditional("unknown"), refusal{ErrVersion, "not-found", "Bundle.entry[0].resource"}},
		{"two matches", conditional("twin"), refusal{ErrVersion, "not-found", "Bundle.entry[0].resource"}},
		{"a condition without a system", appointment("2", "Patient?identifier=P-1", surgery), refusal{ErrMalformed, "value", "Bundle.entry[0].resource"}},
	} {
		t.Run(row.name, func(t *testing.T) {
			h.refuses(row.want, delivery(t, "", transaction(entry{name: bookingURN, target: by(row.sent), resource: row.sent})))
		})
	}
}

// R4 http.html, transaction: conditional references are resolved last, and the
// outcome does not depend on the order of the entries.
func TestConditionalReferenceToWhatTheBundleMakes(t *testing.T) {
	p := person("1")
	b := appointment("1", by(p), surgery)
	person, booking := entry{target: "Patient", resource: p}, entry{target: by(b), resource: b}
	for what, sent := range map[string]string{
		"person first": transaction(person, booking), "booking first": transaction(booking, person),
	} {
		t.Run(what, func(t *testing.T) {
			h := newHouse(t)
			h.send(sent)
			patient := name(h.found("Patient")[0])
			require.Equal(t, patient, parse(t, h.found("Appointment")[0].Body).String("participant", "actor", "reference"))
			h.onlyCase(patient)
		})
	}
}

// R4 http.html, transaction: the same identity twice fails the whole.
func TestTwoEntriesThatMeanOneResource(t *testing.T) {
	p, b := person("1"), appointment("1", "Patient/p-1", surgery)
	moved := appointment("1", "Patient/p-1", "2027-02-01")
	create := strings.TrimPrefix(by(p), "Patient?")
	twice := []struct {
		name      string
		held      bool // whether the resources are there before
		one, more entry
	}{
		{"its id and its identifier", true, entry{target: "Patient/p-1", resource: p.with("id", "p-1")}, entry{target: by(p), resource: p}},
		{"conditional create and its id", true, entry{target: "Patient", ifNoneExist: create, resource: p}, entry{target: "Patient/p-1", resource: p.with("id", "p-1")}},
		{"conditional create and conditional update", true, entry{target: "Patient", ifNoneExist: by(p), resource: p}, entry{target: by(p), resource: p}},
		{"a posted booking and its number", true, entry{target: "Appointment", resource: b}, entry{target: by(b), resource: moved}},
		{"a booking posted twice", true, entry{target: "Appointment", resource: b}, entry{target: "Appointment", resource: moved}},
		{"a new booking and its number", false, entry{target: "Appointment", resource: b}, entry{target: by(b), resource: moved}},
		{"a new booking posted twice", false, entry{target: "Appointment", resource: b}, entry{target: "Appointment", resource: moved}},
		{"a new person and a condition that finds them", false, entry{target: "Patient", resource: p}, entry{target: "Patient", ifNoneExist: create, resource: p}},
		{"two conditions on one new person", false, entry{target: "Patient", ifNoneExist: by(p), resource: p}, entry{target: by(p), resource: p}},
	}
	for _, row := range twice {
		t.Run(row.name, func(t *testing.T) {
			h := newHouse(t)
			if row.held {
				h.put("Patient/p-1", p.with("id", "p-1"))
				h.put("Appointment", b)
			}
			for _, sent := range [][]entry{{row.one, row.more}, {row.more, row.one}} {
				before := h.everything()
				_, err := h.receive(delivery(t, "", transaction(sent...)))
				require.ErrorIs(t, err, ErrInvalid)
				var r *Refusal
				require.ErrorAs(t, err, &r)
				require.Equal(t, "duplicate", r.Issues[0].Code)
				require.Regexp(t, `^Bundle\.entry\[[01]\]\.resource$`, r.Issues[0].Expression)
				require.Equal(t, before, h.everything())
			}
		})
	}
}
