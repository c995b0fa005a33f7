package casework

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/translate"
)

const rxnorm = "http://www.nlm.nih.gov/research/umls/rxnorm"

// takes is a statement that somebody takes a medicine, by its RxNorm ingredient.
func takes(n, patient, code, text string) res {
	return res{
		"resourceType": "MedicationStatement", "identifier": numbered(staySystem, "M-"+n), "status": "active",
		"medicationCodeableConcept": res{"coding": []res{{"system": rxnorm, "code": code}}, "text": text},
		"subject":                   ref(patient),
	}
}

// advice is what the rules on medicines say on the last round of a step.
func (h *house) advice(plan, step string) string {
	h.t.Helper()
	return extensionTexts(h.get("Task/"+h.step(plan, step).ID), "medicine-advice")
}

func extensionTexts(t *fhir.Resource, name string) string {
	var out []string
	for _, e := range t.Get("extension").Items() {
		if e.String("url") == extensionBase+name {
			out = append(out, e.String("valueString"))
		}
	}
	return strings.Join(out, "\n")
}

func named(display string) edit { return set("owner", res{"display": display}) }

// look is how a step's last round stands on the wire.
func (h *house) look(plan, step string) string {
	h.t.Helper()
	i := h.step(plan, step)
	return i.State + " " + i.Status + " " + i.Due
}

// A blood thinner in the record: its four items, dated from the rules; the last
// dose is a draft until a named prescriber has signed, and then it is asked.
// Dates by hand for Mon 2027-01-11: last dose on D-6, Tue 5 January; the
// decision three business days before it, 1 January being a holiday.
func TestAMedicineWaitsForItsPrescriber(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	m := takes("1", b.patient, "11289", "warfarin")
	h.put(by(m), m)
	require.Equal(t, "upcoming draft 2026-12-30", h.look(b.plan, "medicine-sign-off"))
	require.Equal(t, "upcoming draft 2027-01-05", h.look(b.plan, "medicine-stop"))
	require.Equal(t, "upcoming", h.step(b.plan, "last-dose-confirmed").State)
	require.Equal(t, "upcoming", h.step(b.plan, "medicine-restart").State)
	says := h.advice(b.plan, "medicine-stop")
	require.True(t, strings.HasPrefix(says, "Warfarin: last dose by Tue 5 Jan 2027.\n"), says)
	require.Contains(t, says, "Source: Douketis JD et al.")
	require.Contains(t, says, "This is advice to the prescriber; the patient follows only a signed plan.")
	require.Contains(t, h.advice(b.plan, "medicine-review"), "Warfarin: last dose by Tue 5 Jan 2027.")

	h.set("2026-12-15 09:00")
	h.work(b.plan, "medicine-review", done(""))
	require.Equal(t, "open requested 2026-12-30", h.look(b.plan, "medicine-sign-off"))
	require.Equal(t, "upcoming draft 2027-01-05", h.look(b.plan, "medicine-stop"), "nobody has signed")

	task := h.step(b.plan, "medicine-sign-off").ID
	for what, owner := range map[string]any{
		"nobody": nil, "the patient": ref(b.patient), "a relative": res{"reference": "RelatedPerson/x", "display": "A Relative"}, "blanks": res{"display": "  "},
	} {
		_, err := h.tryWork(task, done(""), set("owner", owner))
		require.ErrorContains(t, err, "named as its owner", what)
	}
	require.Equal(t, "upcoming draft 2027-01-05", h.look(b.plan, "medicine-stop"))

	h.work(b.plan, "medicine-sign-off", done(""), named("Dr Example Prescriber"))
	require.Equal(t, "done completed 2026-12-30", h.look(b.plan, "medicine-sign-off"))
	require.Equal(t, "open requested 2027-01-05", h.look(b.plan, "medicine-stop"))
}

// The prescriber signs another day, which goes before what the rules give; a day
// after the operation is refused.
func TestAPrescriberSignsAnotherDay(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	m := takes("1", b.patient, "11289", "warfarin")
	h.put(by(m), m)
	h.set("2026-12-15 09:00")
	h.work(b.plan, "medicine-review", done(""))
	signs := func(day string) edit {
		return set("output", []res{{"type": coded(translate.SystemOutput, translate.OutputLastDose), "valueDate": day}})
	}
	task := h.step(b.plan, "medicine-sign-off").ID
	_, err := h.tryWork(task, done(""), named("Dr Example Prescriber"), signs("2027-01-12"))
	require.ErrorContains(t, err, "after the day of surgery")
	_, err = h.tryWork(task, done(""), named("Dr Example Prescriber"), signs("2027-01-04"))
	require.ErrorContains(t, err, "say why another last dose is signed than the advised one (Tue 5 Jan 2027)")
	h.work(b.plan, "medicine-sign-off", done(""), named("Dr Example Prescriber"), signs("2027-01-04"), set("statusReason", res{"text": "INR is slow to fall"}))
	require.Equal(t, "open requested 2027-01-04", h.look(b.plan, "medicine-stop"))
	require.Contains(t, h.advice(b.plan, "medicine-stop"), "last dose by Mon 4 Jan 2027, as a named prescriber signed. The rules say:")
}

// The date moves: what was signed counts for the old date only, and the last
// dose is a draft again, with its new day.
func TestASignedMedicineAndANewDate(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	m := takes("1", b.patient, "11289", "warfarin")
	h.put(by(m), m)
	h.set("2026-12-15 09:00")
	h.work(b.plan, "medicine-review", done(""))
	h.work(b.plan, "medicine-sign-off", done(""), named("Dr Example Prescriber"))
	h.move("1", b.patient, "2027-01-25")
	require.Equal(t, "open requested 2027-01-13", h.look(b.plan, "medicine-sign-off"), "asked again")
	require.Equal(t, "upcoming draft 2027-01-19", h.look(b.plan, "medicine-stop"))
}

// A creatinine that comes later changes the last dose: what was signed for the
// other one is asked again, with the reason.
func TestASignedMedicineAndNewFigures(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	figure := func(n, code, unit string, value float64) {
		o := res{"resourceType": "Observation", "identifier": numbered(staySystem, "F-"+n), "status": "final", "subject": ref(b.patient),
			"effectiveDateTime": "2026-12-0" + n, "code": coded("http://loinc.org", code),
			"valueQuantity": res{"value": value, "unit": unit, "system": "http://unitsofmeasure.org", "code": unit}}
		h.put(by(o), o)
	}
	needle := order("g", b.patient).with("code", coded(snomed, "50697003"))
	h.put(by(needle), needle)
	m := takes("1", b.patient, "1037042", "dabigatran")
	h.put(by(m), m)
	h.set("2026-12-15 09:00")
	require.Contains(t, h.advice(b.plan, "medicine-stop"), "cannot be computed: needs to know what the creatinine is, and what the weight is")
	require.Equal(t, "upcoming draft ", h.look(b.plan, "medicine-stop"))
	require.Equal(t, "what the creatinine is\nwhat the weight is", extensionTexts(h.get("Task/"+h.step(b.plan, "medicine-stop").ID), "unknown-because"))

	figure("1", "29463-7", "kg", 70)
	figure("2", "2160-0", "mg/dL", 0.6) // a woman of 75 with 70 kg: 89.5 mL/min
	h.work(b.plan, "medicine-review", done(""))
	h.work(b.plan, "medicine-sign-off", done(""), named("Dr Example Prescriber"))
	require.Equal(t, "open requested 2027-01-08", h.look(b.plan, "medicine-stop"))
	figure("3", "2160-0", "mg/dL", 1.2) // 44.8 mL/min
	require.Equal(t, "open requested 2026-12-31", h.look(b.plan, "medicine-sign-off"))
	require.Equal(t, "upcoming draft 2027-01-06", h.look(b.plan, "medicine-stop"))
	again := h.get("Task/" + h.step(b.plan, "medicine-sign-off").ID)
	require.Equal(t, "Asked again, because the last dose that the rules give changed since it was done.", again.String("reasonCode", "text"))
}

// Somebody's statement is withdrawn: its open items go, what a prescriber signed
// stays as it was.
func TestAWithdrawnMedicine(t *testing.T) {
	for _, gone := range []string{"entered-in-error", "not-taken", "stopped"} {
		t.Run(gone, func(t *testing.T) {
			h := newHouse(t)
			b := h.book("1", surgery)
			m := takes("1", b.patient, "11289", "warfarin")
			h.put(by(m), m)
			h.set("2026-12-15 09:00")
			h.work(b.plan, "medicine-review", done(""))
			h.work(b.plan, "medicine-sign-off", done(""), named("Dr Example Prescriber"))
			m = m.with("status", gone)
			h.put(by(m), m)
			require.Equal(t, "not-needed cancelled 2027-01-05", h.look(b.plan, "medicine-stop"))
			require.Equal(t, "completed", h.step(b.plan, "medicine-sign-off").Status)
			require.Equal(t, "cancelled", h.step(b.plan, "medicine-restart").Status)
			m = m.with("status", "active")
			h.put(by(m), m)
			require.Equal(t, "open requested 2027-01-05", h.look(b.plan, "medicine-stop"), "taken after all: it was signed for this date")
		})
	}
}

// The day of birth is corrected: the clearance, and with it the last dose,
// follow; and a medicine of another person changes nothing.
func TestMedicinesOfTheRightPerson(t *testing.T) {
	h := newHouse(t)
	b, other := h.book("1", surgery), h.book("2", surgery)
	m := takes("1", other.patient, "11289", "warfarin")
	h.put(by(m), m)
	for _, i := range h.items(b.plan) {
		require.NotEqual(t, "medicine-stop", i.Step)
	}
	m = takes("2", b.patient, "1037042", "dabigatran")
	h.put(by(m), m)
	require.NotContains(t, h.advice(b.plan, "medicine-stop"), "born")
	p := person("1").with("birthDate", nil)
	h.put(by(p), p)
	require.Contains(t, h.advice(b.plan, "medicine-stop"), "on which day the person was born")
}

// More than a plain signature without a last dose is no signature of the advised
// one: a prescriber who writes that the medicine goes on has not signed a stop.
func TestASignatureThatSaysSomethingElse(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	m := takes("1", b.patient, "11289", "warfarin")
	h.put(by(m), m)
	h.set("2026-12-15 09:00")
	h.work(b.plan, "medicine-review", done(""))
	prescriber := named("Dr Example Prescriber")
	dose := res{"type": res{"text": "last dose"}, "valueDate": "2027-01-02"}
	for _, other := range []edit{
		set("statusReason", res{"text": "Go on with it. Do not stop."}),
		set("output", []res{dose}),
	} {
		_, err := h.tryWork(h.step(b.plan, "medicine-sign-off").ID, done(""), prescriber, other)
		require.ErrorIs(t, err, ErrInvalid)
		require.ErrorContains(t, err, "names neither a last dose")
	}
	for _, nobody := range []res{{"display": "."}, {"reference": "Organization/x", "display": "North Clinic"}, {"reference": "Device/x", "display": "robot"}} {
		_, err := h.tryWork(h.step(b.plan, "medicine-sign-off").ID, done(""), set("owner", nobody))
		require.ErrorIs(t, err, ErrInvalid)
	}
	require.NotEqual(t, "done", h.step(b.plan, "medicine-sign-off").State)
	require.Equal(t, "done", h.work(b.plan, "medicine-sign-off", done(""), prescriber).State)
}
