package translate

import (
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
)

// Where one answer ends and the next begins, looked at on 20 November 2026. The
// numbers of days are those of TestGroundsOfHolds; that a course without an end
// that began 90 days ago is no matter any more: common practice, no source.
func TestEdgesOfGrounds(t *testing.T) {
	p, f := defaultProtocol(t), chicago(t)
	healed := func(day string) object { return object{"abatementDateTime": day} }
	on := func(o object, day string) object {
		o["effectiveDateTime"] = day + "T08:00:00-06:00"
		return o
	}
	asked := func(element string, day any) object {
		return object{"resourceType": "ServiceRequest", "id": "s", "status": "active", "intent": "order", "subject": ref("Patient/p"), "code": coded(snomed, "55162003"), element: day}
	}
	const goesOn = "goes on"
	for _, r := range []struct {
		name   string
		record object
		is     string // goesOn, the first day of surgery that it allows, or empty: it is none
	}{
		{"over today", illness("N39.0", "active", "confirmed", healed("2026-11-20")), "2026-11-27"},
		{"over yesterday, though it is called active", illness("N39.0", "active", "confirmed", healed("2026-11-19")), "2026-11-26"},
		{"over tomorrow", illness("N39.0", "active", "confirmed", healed("2026-11-21")), goesOn},
		{"over tomorrow, though it is called over", illness("N39.0", "resolved", "confirmed", healed("2026-11-21")), goesOn},
		{"over after surgery, though it is called over", illness("N39.0", "resolved", "confirmed", healed("2026-12-20")), goesOn},
		{"over, recorded 90 days ago", illness("N39.0", "resolved", "confirmed", object{"recordedDate": "2026-08-22"}), goesOn},
		{"over, recorded 91 days ago", illness("N39.0", "resolved", "confirmed", object{"recordedDate": "2026-08-21"}), ""},
		{"over, and nothing has a day", illness("N39.0", "resolved", "confirmed", nil), goesOn},
		{"the surgeon decides, over 90 days ago", illness("M00.051", "resolved", "confirmed", healed("2026-08-22")), goesOn},
		{"the surgeon decides, over 91 days ago", illness("M00.051", "resolved", "confirmed", healed("2026-08-21")), ""},

		{"38.3 degrees seven days ago", on(temperature(38.3, "Cel", "final"), "2026-11-13"), "2026-11-20"},
		{"six days ago", on(temperature(38.3, "Cel", "final"), "2026-11-14"), goesOn + " 2026-11-21"},
		{"a figure that is none", func() object {
			o := temperature(38.3, "Cel", "final")
			delete(o["valueQuantity"].(object), "value")
			return o
		}(), ""},
		{"cancelled", temperature(39, "Cel", "cancelled"), ""},
		{"another unit", temperature(311, "K", "final"), ""},

		{"a course until today", course("active", coded(icd10cm, "N39.0"), object{"effectivePeriod": object{"end": "2026-11-20"}}), goesOn},
		{"until yesterday", course("active", coded(icd10cm, "N39.0"), object{"effectivePeriod": object{"end": "2026-11-19"}}), "2026-11-26"},
		{"done, begun 90 days ago", course("completed", coded(icd10cm, "N39.0"), object{"effectiveDateTime": "2026-08-22"}), goesOn},
		{"done, begun 91 days ago", course("completed", coded(icd10cm, "N39.0"), object{"effectiveDateTime": "2026-08-21"}), ""},
		{"done, and nothing has a day", course("completed", coded(icd10cm, "N39.0"), nil), goesOn},
		{"never taken", course("not-taken", coded(icd10cm, "N39.0"), nil), ""},

		{"an extraction asked for on a day", asked("occurrenceDateTime", "2026-11-25"), "2026-12-16"},
		{"in a period", asked("occurrencePeriod", object{"start": "2026-11-25"}), "2026-12-16"},
		{"at any time", asked("note", []any{object{"text": "soon"}}), goesOn},
		{"called off", dentist("http://terminology.hl7.org/CodeSystem/service-type", "90", "cancelled", "2026-11-25"), ""},
		{"a filling without a day", dentalWork(snomed, "234785005", "preparation", ""), ""},

		{"an injection, nobody knows when", dentalWork("http://hl7.org/fhir/sid/icd-10-pcs", "3E0U33Z", "completed", ""), goesOn},
		{"an injection to come", dentalWork("http://hl7.org/fhir/sid/icd-10-pcs", "3E0U33Z", "preparation", "2026-11-25"), ""},
	} {
		t.Run(r.name, func(t *testing.T) {
			is := ""
			for _, g := range p.groundsOf([]*Record{record(t, r.record)}, nil, f, date(t, "2026-11-20")) {
				require.Empty(t, is, "one ground")
				switch is = g.Clear().String(); {
				case g.Active && is == "":
					is = goesOn
				case g.Active:
					is = goesOn + " " + is
				case is == "":
					is = "no matter"
				}
			}
			require.Equal(t, r.is, is)
		})
	}
	q := p.questionnaires[Base+"/Questionnaire/infection-and-dental-screening"]
	for day, clear := range map[string]string{"2026-11-19": "2026-11-26", "2026-11-20": "2026-11-27", "2026-11-21": ""} {
		given := response(t, q, "r", "2026-11-20T09:00:00-06:00", says{"urinary-with-symptoms": sayYes, "urinary-with-symptoms-ended": sayDay(day)})
		grounds := p.groundsOf([]*Record{given}, nil, f, date(t, "2026-11-20"))
		require.Len(t, grounds, 1)
		require.Equal(t, clear, grounds[0].Clear().String(), "burning that was over on %s", day)
		require.Equal(t, clear == "", grounds[0].Active)
	}
}

// The factors follow from the definitions of the units in UCUM: g/L and g/dL
// differ by ten, and a degree Fahrenheit is five ninths of a degree Celsius
// above 32.
func TestUnitsOfFindings(t *testing.T) {
	for _, r := range []struct {
		of, to string
		is     float64
		known  bool
	}{
		{"g/dL", "g/dL", 45, true},
		{"g/L", "g/dL", 4.5, true},
		{"g/dL", "g/L", 0, false},
		{"g/L", "mmol/L", 0, false},
		{"mmol/L", "g/dL", 0, false},
		{"[degF]", "Cel", (45.0 - 32) * 5 / 9, true},
		{"[degF]", "K", 0, false},
		{"K", "Cel", 0, false},
	} {
		v, known := quantity{system: ucum, code: r.of, value: 45}.in(r.to)
		require.Equal(t, r.known, known, "%s in %s", r.of, r.to)
		require.InDelta(t, r.is, v, 1e-9, "%s in %s", r.of, r.to)
	}
	_, known := quantity{system: "http://units.example", code: "Cel", value: 45}.in("Cel")
	require.False(t, known, "a unit of another system")
}

// A rule that could hold nobody, everybody, or for no time that can be told is
// refused by name.
func TestHoldRulesAreRefused(t *testing.T) {
	set := func(e object, part, key string, v any) {
		for _, of := range e["extension"].([]any) {
			if of := of.(object); of["url"] == part {
				of[key] = v
			}
		}
	}
	drop := func(e object, part string) {
		var left []any
		for _, of := range e["extension"].([]any) {
			if of.(object)["url"] != part {
				left = append(left, of)
			}
		}
		e["extension"] = left
	}
	length := func(n int, code string) object { return object{"value": n, "system": ucum, "code": code} }
	for _, r := range []struct {
		name, of string // the type of the rule's input
		change   func(in, e object)
		says     string
	}{
		{"a mode for another type", "Observation", func(in, _ object) { in["type"] = "Condition" }, `the mode "finding" does not fit an input of type "Condition"`},
		{"no mode", "Observation", func(_, e object) { drop(e, "mode") }, `the mode "" does not fit an input of type "Observation"`},
		{"answers to nothing", "QuestionnaireResponse", func(_, e object) { drop(e, "topic") }, `the mode "illness" does not fit an input of type "QuestionnaireResponse"`},
		{"answers read as a course", "QuestionnaireResponse", func(_, e object) { set(e, "mode", "valueCode", "treatment") }, `the mode "treatment" does not fit an input of type "QuestionnaireResponse"`},
		{"no kind", "Observation", func(_, e object) { drop(e, "kind") }, "raises-hold needs kind and says"},
		{"no words", "Observation", func(_, e object) { drop(e, "says") }, "raises-hold needs kind and says"},
		{"a finding without a limit", "Observation", func(_, e object) { drop(e, "at-least") }, "raises-hold of a finding needs at-least"},
		{"a limit that is none", "Observation", func(_, e object) { set(e, "at-least", "valueQuantity", object{"code": "Cel"}) }, "at-least is no quantity"},
		{"clear hours", "Observation", func(_, e object) { set(e, "after", "valueDuration", length(7, "h")) }, "raises-hold: after must be in days, weeks or months"},
		{"days before it", "Observation", func(_, e object) { set(e, "after", "valueDuration", length(-7, "d")) }, "raises-hold: after must be in days, weeks or months"},
		{"months before it", "Procedure", func(_, e object) { set(e, "not-before", "valueDuration", length(-3, "mo")) }, "raises-hold: not-before must be in days, weeks or months"},
		{"no code", "Observation", func(in, _ object) { delete(in, "codeFilter") }, "raises-hold on Observation without a codeFilter would hold everybody"},
	} {
		t.Run(r.name, func(t *testing.T) {
			defs, pd := decoded(t)
			found := false
			for _, in := range action(t, pd, "clear-hold")["input"].([]any) {
				in := in.(object)
				if in["type"] == r.of && !found {
					r.change(in, in["extension"].([]any)[0].(object))
					found = true
				}
			}
			require.True(t, found)
			_, err := ReadProtocol(encoded(t, pd), defs)
			var refused *readiness.ProtocolError
			require.ErrorAs(t, err, &refused)
			require.Len(t, refused.Faults, 1)
			require.Contains(t, refused.Faults[0], r.says)
			require.Contains(t, refused.Faults[0], "clear-hold: ")
		})
	}
}

// A restart is dated only where the rule says from when and until when.
func TestDatesOfARestart(t *testing.T) {
	for part, dated := range map[string]bool{"": true, "restart-from": false, "restart-to": false} {
		defs, pd, tree := medicineTree(t)
		a := action(t, tree, "warfarin-surgical")
		e := a["extension"].([]any)[0].(object)
		var left []any
		for _, of := range e["extension"].([]any) {
			if of.(object)["url"] != part {
				left = append(left, of)
			}
		}
		require.Equal(t, dated, len(left) == len(e["extension"].([]any)))
		e["extension"] = left
		defs.Medicines = encoded(t, tree)
		p, err := ReadProtocol(parse(t, pd), defs)
		require.NoError(t, err)
		for _, kind := range p.drugs.kinds {
			for _, r := range kind.rules {
				if r.Code == "warfarin-surgical" {
					require.Equal(t, dated, r.Restart.Dated, "without %q", part)
				}
			}
		}
	}
}

// A report is about the latest operation that had begun, and of two bookings of
// it the one that has the case.
func TestLatestOperation(t *testing.T) {
	f := chicago(t)
	at := f.clock(t, "2026-12-20 12:00")
	booking := func(day string, opens bool) Booking {
		return Booking{Primary: day, Meets: true, Opens: opens, Case: readiness.Case{Day: date(t, day)}}
	}
	for _, r := range []struct {
		name     string
		bookings []Booking
		is       int // -1: none
	}{
		{"the later", []Booking{booking("2026-11-30", true), booking("2026-12-10", true)}, 1},
		{"the later, the other way round", []Booking{booking("2026-12-10", true), booking("2026-11-30", true)}, 0},
		{"the one that has the case", []Booking{booking("2026-12-10", false), booking("2026-11-30", true)}, 1},
		{"the one that has the case, the other way round", []Booking{booking("2026-11-30", true), booking("2026-12-10", false)}, 0},
		{"of two on one day the first", []Booking{booking("2026-12-10", true), booking("2026-12-10", true)}, 0},
		{"of two without a case the later", []Booking{booking("2026-11-30", false), booking("2026-12-10", false)}, 1},
		{"today", []Booking{booking("2026-12-20", true)}, 0},
		{"tomorrow", []Booking{booking("2026-12-21", true)}, -1},
		{"without a date", []Booking{{Meets: true, Opens: true}}, -1},
	} {
		t.Run(r.name, func(t *testing.T) {
			got := lastOperated(r.bookings, at, f.Calendar)
			if r.is < 0 {
				require.Nil(t, got)
				return
			}
			require.Same(t, &r.bookings[r.is], got)
		})
	}
}

// A medicine whose record gives a code and no word is named by its kind: nobody
// knows a medicine by its number.
func TestNumbersAreNoNames(t *testing.T) {
	for _, r := range []struct{ name, kind, is string }{
		{"11289", "medicine-warfarin", "Warfarin (code 11289)"},
		{"B01AA03", "medicine-warfarin", "Warfarin (code B01AA03)"},
		{"6-MP", "medicine-azathioprine", "6-MP"},
		{"Warfarin 5 mg", "medicine-warfarin", "Warfarin 5 mg"},
		{"77", "medicine-mao-inhibitors", "Mao inhibitors (code 77)"},
	} {
		require.Equal(t, r.is, inWords(r.name, r.kind))
	}
	p, f := defaultProtocol(t), chicago(t)
	m := statement(t, "m", object{"medicationCodeableConcept": coded(rxnorm, "11289")})
	require.Equal(t, "Warfarin (code 11289)", only(t, p, f, atEight(t), m).Case.Medicines[0].Name)
}
