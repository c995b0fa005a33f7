package translate

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
)

// atEight is an appointment whose anaesthesia starts at 08:00 on S.
func atEight(t *testing.T) *Record {
	return appointment(t, "a", "2026-11-30", hipService, object{"start": "2026-11-30T08:00:00-06:00"})
}

func rx(code, text string) object {
	c := coded(rxnorm, code)
	c["text"] = text
	return object{"medicationCodeableConcept": c}
}

func statement(t *testing.T, id string, more ...object) *Record {
	return record(t, merged(object{
		"resourceType": "MedicationStatement", "id": id, "status": "active", "subject": ref("Patient/p"),
	}, more))
}

// every gives the dose in mg and how often it is taken.
func every(mg, period float64, unit string) object {
	return object{"dosage": []any{object{
		"timing":      object{"repeat": object{"frequency": 1, "period": period, "periodUnit": unit}},
		"doseAndRate": []any{object{"doseQuantity": object{"value": mg, "unit": "mg", "system": ucum, "code": "mg"}}},
	}}}
}

func lastDose(day string) object { return object{"effectiveDateTime": day} }

func observed(t *testing.T, id, code, day string, value float64, unit string, more ...object) *Record {
	return record(t, merged(object{
		"resourceType": "Observation", "id": id, "status": "final", "subject": ref("Patient/p"), "effectiveDateTime": day,
		"code":          coded(loincURI, code),
		"valueQuantity": object{"value": value, "unit": unit, "system": ucum, "code": unit},
	}, more))
}

func somebody(t *testing.T, more ...object) *Record {
	return record(t, merged(object{"resourceType": "Patient", "id": "p", "gender": "female", "birthDate": "1954-03-02"}, more))
}

func ordered(t *testing.T, code string) *Record {
	return record(t, object{"resourceType": "ServiceRequest", "id": "needle" + code, "status": "active", "intent": "order",
		"subject": ref("Patient/p"), "code": coded(snomed, code)})
}

func spinal(t *testing.T) *Record  { return ordered(t, "231249005") }
func general(t *testing.T) *Record { return ordered(t, "50697003") }

// kidneys gives a woman of 72 with 68 kg a creatinine in µmol/L: 110 is a
// clearance of 43.87 mL/min.
func kidneys(t *testing.T, creatinine float64) []*Record {
	return []*Record{somebody(t), observed(t, "cr", "14682-9", "2026-11-02", creatinine, "umol/L"),
		observed(t, "kg", "29463-7", "2026-11-02", 68, "kg")}
}

// advised is the advice on the only medicine.
func advised(t *testing.T, records ...*Record) readiness.MedicineAdvice {
	t.Helper()
	p, f := defaultProtocol(t), chicago(t)
	b := only(t, p, f, append([]*Record{atEight(t)}, records...)...)
	pl := readiness.Make(&b.Case, p.Protocol, f.Calendar, f.clock(t, "2026-10-02 09:00"))
	require.Len(t, pl.Medicines, 1)
	return pl.Medicines[0]
}

func said(t *testing.T, a readiness.MedicineAdvice) string {
	return strings.Join(a.Words(chicago(t).Calendar), "\n")
}

// The case in which two published rules differ: two whole days for surgery allow
// a last dose at 20:00 on D-3, 60 hours before a spinal at 08:00; the society
// for regional anaesthesia asks for 72 (both secondary). Both are told, and the
// stricter is used.
func TestApixabanWithASpinal(t *testing.T) {
	with := append(kidneys(t, 80), statement(t, "m", rx("1364430", "apixaban"), every(5, 12, "h")))
	a := advised(t, append(with, general(t))...)
	require.Equal(t, "2026-11-27", byHand(a.Last), "two whole days: any hour of D-3")

	a = advised(t, append(with, spinal(t))...)
	require.Equal(t, "2026-11-27 08:00", byHand(a.Last))
	evening := chicago(t).clock(t, "2026-11-27 20:00")
	start := chicago(t).clock(t, onS8)
	require.InDelta(t, 60, start.Sub(evening).Hours(), 0)
	require.InDelta(t, 72, start.Sub(a.Last.At).Hours(), 0)
	var both []string
	for _, d := range a.Candidates {
		if d.Applies == readiness.Yes {
			both = append(both, byHand(d.Last))
		}
	}
	require.Equal(t, []string{"2026-11-27", "2026-11-27 08:00"}, both)
	words := said(t, a)
	require.Contains(t, words, "Apixaban: last dose by Fri 27 Nov 2026 08:00 CST.")
	require.Contains(t, words, "last dose by Fri 27 Nov 2026. Two whole days")
	require.Contains(t, words, "(the strictest, and used)")
	require.Contains(t, words, "72 hours before the needle")
	require.Contains(t, words, "Source: 2023 ACC/AHA/ACCP/HRS guideline on atrial fibrillation")
	require.Contains(t, words, "(secondary)")
	require.Contains(t, words, "Restart: Wed 2 Dec 2026 to Thu 3 Dec 2026.")
	require.Contains(t, words, readiness.MedicineCaution)

	a = advised(t, with...)
	require.Zero(t, a.Last, "nobody said whether a spinal is planned")
	require.Equal(t, []string{"whether a spinal or epidural anaesthetic is planned"}, a.Needs)
	require.Equal(t, "2026-11-27 08:00", byHand(a.Earliest), "the decision is due by the stricter one")

	a = advised(t, statement(t, "m", rx("11289", "warfarin")))
	require.Equal(t, "2026-11-24", byHand(a.Last), "five days with a spinal or without: what is in doubt changes nothing")
	a = advised(t, spinal(t), statement(t, "m", rx("1364430", "apixaban")))
	require.Contains(t, a.Needs, "what the creatinine is", "the needle's 72 hours are stricter, but kidneys that are too weak have no rule")
}

// Worked examples (check values computed by hand for S, 08:00).
func TestWorkedMedicines(t *testing.T) {
	for _, r := range []struct {
		name, last string
		says       []string
		records    []*Record
	}{
		{"dabigatran with a clearance of 43.87", "2026-11-25", []string{"Exactly 50 mL/min counts here", "PAUSE", "Creatinine clearance by Cockcroft-Gault, on the day of surgery: 43.87 mL/min"},
			append(kidneys(t, 110), general(t), statement(t, "m", rx("1037042", "dabigatran")))},
		{"dabigatran with a clearance of 46", "2026-11-25", nil,
			append(kidneys(t, 104.9), general(t), statement(t, "m", rx("1037042", "dabigatran")))},
		{"warfarin", "2026-11-24", []string{"INR below 1.5: tested on Fri 27 Nov 2026, the last open day before surgery, and again on arrival.", "Restart: Mon 30 Nov 2026 to Tue 1 Dec 2026."},
			[]*Record{general(t), statement(t, "m", rx("11289", "warfarin"))}},
		{"clopidogrel", "2026-11-24", []string{"To confirm before signing: whether the person has a stent in an artery that was placed recently."},
			[]*Record{general(t), statement(t, "m", rx("32968", "clopidogrel"))}},
		{"prasugrel", "2026-11-22", nil, []*Record{general(t), statement(t, "m", rx("613391", "prasugrel"))}},
		{"adalimumab every two weeks, last on 12 November", "2026-11-16", []string{"last dose from Tue 10 Nov 2026 to Mon 16 Nov 2026", "is in the window", "typically at about 14 days", "about Mon 14 Dec 2026"},
			[]*Record{statement(t, "m", rx("327361", "adalimumab"), every(40, 2, "wk"), lastDose("2026-11-12"))}},
		{"adalimumab, last on 18 November", "2026-11-16", []string{"too near: surgery from Wed 2 Dec 2026"},
			[]*Record{statement(t, "m", rx("327361", "adalimumab"), every(40, 2, "wk"), lastDose("2026-11-18"))}},
		{"adalimumab, last on 2 November", "2026-11-16", []string{"longer ago than the window"},
			[]*Record{statement(t, "m", rx("327361", "adalimumab"), every(40, 2, "wk"), lastDose("2026-11-02"))}},
		{"tofacitinib", "2026-11-26", []string{"surgery on day 4"}, []*Record{statement(t, "m", rx("1357536", "tofacitinib"))}},
		{"empagliflozin", "2026-11-26", nil, []*Record{statement(t, "m", rx("1545653", "empagliflozin"))}},
		{"ertugliflozin", "2026-11-25", nil, []*Record{statement(t, "m", rx("1992672", "ertugliflozin"))}},
		{"semaglutide every week", "", []string{"no last dose is proposed; decided by the prescriber with the anaesthetist", "if it is held, last dose by Mon 23 Nov 2026", "Clear liquids only for 24 hours"},
			[]*Record{statement(t, "m", rx("1991302", "semaglutide"), every(1, 1, "wk"))}},
		{"warfarin with a prosthetic valve", "", []string{"decided by the cardiologist or haematologist"},
			[]*Record{general(t), statement(t, "m", rx("11289", "warfarin")), record(t, object{"resourceType": "Condition", "id": "v",
				"subject": ref("Patient/p"), "code": coded(icd10cm, "Z95.2"), "clinicalStatus": coded("http://terminology.hl7.org/CodeSystem/condition-clinical", "active")})}},
	} {
		t.Run(r.name, func(t *testing.T) {
			a := advised(t, r.records...)
			require.Empty(t, a.Needs)
			require.Equal(t, r.last, byHand(a.Last))
			for _, s := range r.says {
				require.Contains(t, said(t, a), s)
			}
		})
	}
}

// What is missing is named, and no date is made up.
func TestMedicineNeeds(t *testing.T) {
	dabigatran := statement(t, "m", rx("1037042", "dabigatran"))
	whole := kidneys(t, 110)
	for _, r := range []struct {
		name, needs string
		records     []*Record
	}{
		{"no creatinine", "what the creatinine is", []*Record{whole[0], whole[2]}},
		{"no weight", "what the weight is", []*Record{whole[0], whole[1]}},
		{"creatinine of 1 September counts, of 31 August not", "what the creatinine is now (the newest figure is of Mon 31 Aug 2026 and may be 90 days old on the day of surgery)",
			[]*Record{whole[0], observed(t, "cr", "2160-0", "2026-08-31", 1.2, "mg/dL"), whole[2]}},
		{"the newest in a unit that is not understood", "what the creatinine is, in mg/dL or µmol/L (the newest figure has another unit)",
			append(whole[:3:3], observed(t, "cr2", "2160-0", "2026-11-20", 1.2, "mg/mL"))},
		{"the figure of another code system", "what the creatinine is",
			[]*Record{whole[0], whole[2], observed(t, "cr", "2160-0", "2026-11-02", 1.2, "mg/dL", object{"code": coded(snomed, "2160-0")})}},
		{"an estimate per body surface is no creatinine", "what the creatinine is",
			[]*Record{whole[0], whole[2], observed(t, "e", "98979-8", "2026-11-02", 60, "mL/min/{1.73_m2}")}},
		{"a year of birth alone", "on which day the person was born", []*Record{somebody(t, object{"birthDate": "1954"}), whole[1], whole[2]}},
		{"a gender that is neither", "which sex the formula for kidney function is to use", []*Record{somebody(t, object{"gender": "other"}), whole[1], whole[2]}},
		{"a creatinine entered in error", "what the creatinine is", []*Record{whole[0], whole[2], observed(t, "cr", "2160-0", "2026-11-02", 1, "mg/dL", status("entered-in-error"))}},
	} {
		t.Run(r.name, func(t *testing.T) {
			a := advised(t, append(r.records, dabigatran, general(t))...)
			require.Zero(t, a.Last)
			require.Equal(t, []string{r.needs}, a.Needs)
			require.Contains(t, a.Headline(), "the last dose cannot be computed: needs to know "+r.needs)
			require.Equal(t, "2026-11-25", byHand(a.Earliest), "the decision is due by the earliest that may come out")
		})
	}
	a := advised(t, statement(t, "m", rx("327361", "adalimumab"), every(40, 2, "wk")))
	require.Equal(t, []string{"when the last dose of this medicine was given"}, a.Needs)
	a = advised(t, statement(t, "m", rx("327361", "adalimumab"), lastDose("2026-11-12")))
	require.Equal(t, []string{"what the number of days between two doses of this medicine is"}, a.Needs)
	a = advised(t, statement(t, "m", rx("327361", "adalimumab"), every(40, 1, "wk"), lastDose("2026-11-12")))
	require.Equal(t, "the prescriber, because no rule here fits this person", a.Decides, "the table has no weekly adalimumab")
}

// Who takes what: statuses, dates, codes in a contained Medication.
func TestWhatIsTaken(t *testing.T) {
	p, f := defaultProtocol(t), chicago(t)
	warfarin := rx("11289", "warfarin")
	request := func(more ...object) *Record {
		return record(t, merged(object{"resourceType": "MedicationRequest", "id": "r", "status": "active", "intent": "order",
			"subject": ref("Patient/p")}, append([]object{warfarin}, more...)))
	}
	dosed := func(bounds object) object {
		return object{"dosageInstruction": []any{object{"timing": object{"repeat": object{"boundsPeriod": bounds}}}}}
	}
	for _, r := range []struct {
		name   string
		record *Record
		taken  bool
	}{
		{"active", statement(t, "m", warfarin), true},
		{"unknown is asked about", statement(t, "m", warfarin, status("unknown")), true},
		{"on hold is asked about", statement(t, "m", warfarin, status("on-hold")), true},
		{"not taken", statement(t, "m", warfarin, status("not-taken")), false},
		{"stopped", statement(t, "m", warfarin, status("stopped")), false},
		{"completed", statement(t, "m", warfarin, status("completed")), false},
		{"in error", statement(t, "m", warfarin, status("entered-in-error")), false},
		{"over before the booking", statement(t, "m", warfarin, object{"effectivePeriod": object{"end": "2026-08-01"}}), false},
		{"ordered", request(), true},
		{"proposed only", request(object{"intent": "proposal"}), false},
		{"not to be given", request(object{"doNotPerform": true}), false},
		{"from the day of surgery on", request(dosed(object{"start": "2026-11-30"})), false},
		{"from the day before", request(dosed(object{"start": "2026-11-29"})), true},
		{"in a contained Medication", statement(t, "m", object{
			"contained":           []any{object{"resourceType": "Medication", "id": "w", "code": coded(rxnorm, "11289")}},
			"medicationReference": ref("#w")}), true},
	} {
		t.Run(r.name, func(t *testing.T) {
			b := only(t, p, f, atEight(t), r.record)
			var want []string
			if r.taken {
				want = []string{"medicine-warfarin"}
			}
			require.Equal(t, want, b.Case.Repeats[RepeatMedicine])
		})
	}
	b := only(t, p, f, atEight(t), statement(t, "m", warfarin), request())
	require.Equal(t, []string{"medicine-warfarin"}, b.Case.Repeats[RepeatMedicine], "two records of one medicine are one item")
}

// What goes on makes no item of its own, and stands on the list of all medicines,
// as does what no rule knows: on that a prescriber decides.
func TestEveryMedicineIsListed(t *testing.T) {
	p, f := defaultProtocol(t), chicago(t)
	b := only(t, p, f, atEight(t), statement(t, "m1", rx("11289", "warfarin")),
		statement(t, "m2", object{"medicationCodeableConcept": object{"text": "grandmother's drops"}}),
		statement(t, "m3", rx("8640", "prednisone")), statement(t, "m4", rx("6851", "methotrexate")))
	require.Equal(t, []string{"medicine-warfarin", b.Case.Medicines[3].Key}, b.Case.Repeats[RepeatMedicine])
	elsewhere := only(t, p, f, atEight(t), statement(t, "m5", object{"medicationReference": ref("Medication/elsewhere")}))
	require.Equal(t, "A medicine without a name (MedicationStatement/m5)", elsewhere.Case.Medicines[0].Name, "never left out")
	pl := readiness.Make(&b.Case, p.Protocol, f.Calendar, f.clock(t, "2026-10-02 09:00"))
	listed := stepItem(t, pl, "medicine-review").Advice
	require.Equal(t, []string{
		"On record: Warfarin, Methotrexate, Prednisone. No rule here knows: Grandmother's drops; a prescriber decides on each.",
		"Warfarin: last dose by Tue 24 Nov 2026.",
		"Methotrexate: goes on as usual.",
		"Prednisone: never stopped for surgery.",
		"Grandmother's drops: no rule here knows it; a prescriber decides: it goes on, has a last dose on a day, or is not taken.",
		readiness.MedicineCaution,
		"The rules on medicines are an example that no one at this hospital has approved.",
	}, listed)
}

// A last dose that the prescriber signs is told first, and where it is later
// than the rules give, that is said.
func TestSignedLastDose(t *testing.T) {
	p, f := defaultProtocol(t), chicago(t)
	b := only(t, p, f, atEight(t), general(t), statement(t, "m", rx("11289", "warfarin")))
	key := readiness.Key{Step: "medicine-sign-off", Repeat: "medicine-warfarin", Round: 1}
	entry := readiness.Entry{Outcome: readiness.Done, On: date(t, "2026-11-10"), For: b.Case.Snapshot()}
	stop := func(signed string) *readiness.Item {
		entry.Signed = signedMoment(signed)
		b.Case.Entries = map[readiness.Key]readiness.Entry{key: entry}
		return stepItem(t, readiness.Make(&b.Case, p.Protocol, f.Calendar, f.clock(t, "2026-11-11 09:00")), "medicine-stop")
	}
	require.Equal(t, "2026-11-24", byHand(stop("").Due), "as advised")
	i := stop("2026-11-23")
	require.Equal(t, "2026-11-23", byHand(i.Due))
	require.Equal(t, "Warfarin: last dose by Mon 23 Nov 2026, as a named prescriber signed. The rules say:", i.Advice[0])
	i = stop("2026-11-25T08:00:00-06:00")
	require.Equal(t, "2026-11-25 08:00", byHand(i.Due))
	require.Equal(t, "Warfarin: last dose by Wed 25 Nov 2026 08:00 CST, as a named prescriber signed, which is later than the rules give. The rules say:", i.Advice[0])

	entry.For = map[string]string{readiness.DetailDate: "2026-12-07"}
	require.Equal(t, "2026-11-24", byHand(stop("2026-11-23").Due), "signed for another date")
}
