package translate

import (
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
)

const (
	cdt  = "http://www.ada.org/cdt"
	atc  = "http://www.whocc.no/atc"
	vers = "http://terminology.hl7.org/CodeSystem/condition-ver-status"
	clin = "http://terminology.hl7.org/CodeSystem/condition-clinical"
)

func illness(code, clinical, verification string, more object) object {
	out := object{"resourceType": "Condition", "id": "c", "subject": ref("Patient/p"), "code": coded(icd10cm, code)}
	if clinical != "" {
		out["clinicalStatus"] = coded(clin, clinical)
	}
	if verification != "" {
		out["verificationStatus"] = coded(vers, verification)
	}
	for k, v := range more {
		out[k] = v
	}
	return out
}

func temperature(value any, unit, status string) object {
	return object{
		"resourceType": "Observation", "id": "o", "status": status, "subject": ref("Patient/p"), "code": coded("http://loinc.org", "8310-5"),
		"effectiveDateTime": "2026-11-18T08:00:00-06:00",
		"valueQuantity":     object{"value": value, "system": ucum, "code": unit},
	}
}

func dentist(system, code, status, day string) object {
	out := object{"resourceType": "Appointment", "id": "d", "status": status, "serviceType": []any{coded(system, code)},
		"participant": []any{object{"actor": ref("Patient/p"), "status": "accepted"}}}
	if day != "" {
		out["start"], out["end"] = day+"T15:00:00-06:00", day+"T15:30:00-06:00"
	}
	return out
}

func dentalWork(system, code, status, day string) object {
	out := object{"resourceType": "Procedure", "id": "d", "status": status, "subject": ref("Patient/p"), "code": coded(system, code)}
	if day != "" {
		out["performedDateTime"] = day
	}
	return out
}

func course(status string, reason object, more object) object {
	out := object{"resourceType": "MedicationStatement", "id": "m", "status": status, "subject": ref("Patient/p"), "medicationCodeableConcept": coded(atc, "J01CA04")}
	if reason != nil {
		out["reasonCode"] = []any{reason}
	}
	for k, v := range more {
		out[k] = v
	}
	return out
}

// Is this a ground for a hold? Surgery on Monday 30 November 2026, looked at on
// 20 November. Sources: teeth, 3 weeks before and 3 months after: American
// Academy of Orthopaedic Surgeons with the American Association of Hip and Knee
// Surgeons, dental procedures and joint replacement, November 2024 (published;
// the table of minor work not seen in full); COVID-19, 2 and 7 weeks: worked
// examples of the day counts (secondary); positive urine culture without
// symptoms is no hold: Infectious Diseases Society of America, asymptomatic
// bacteriuria, 2019, doi 10.1093/cid/ciy1121 (published); injection, 3 months:
// convention, evidence mixed; every other number of days: common practice, no
// source.
func TestGroundsOfHolds(t *testing.T) {
	p, f := defaultProtocol(t), chicago(t)
	const none = ""
	healed := func(day string) object { return object{"abatementDateTime": day} }
	for _, r := range []struct {
		name   string
		record object
		kind   string // of the hold that surgery on 30 November meets
		clear  string // first day of surgery; empty: cannot be computed
	}{
		{"urinary infection that goes on", illness("N39.0", "active", "confirmed", nil), "recent-infection", ""},
		{"not said whether it goes on: it does", illness("N39.0", "", "", nil), "recent-infection", ""},
		{"suspected only: goes up", illness("N39.0", "active", "provisional", nil), "recent-infection", ""},
		{"came back", illness("N30.00", "relapse", "confirmed", nil), "recent-infection", ""},
		{"over on the 19th: 7 days", illness("N39.0", "resolved", "confirmed", healed("2026-11-19")), none, "2026-11-26"},
		{"over on the 23rd, a day still to come: goes on", illness("N39.0", "active", "confirmed", healed("2026-11-23")), "recent-infection", ""},
		{"over, nobody says when", illness("N39.0", "resolved", "confirmed", object{"recordedDate": "2026-10-20"}), "recent-infection", ""},
		{"over long ago, nobody says when", illness("N39.0", "resolved", "confirmed", object{"recordedDate": "2026-08-20"}), none, none},
		{"bacteria in the urine without symptoms", illness("R82.71", "active", "confirmed", nil), none, none},
		{"refuted", illness("N39.0", "active", "refuted", nil), none, none},
		{"influenza over on the 16th: 14 days, on the day", illness("J11.1", "resolved", "confirmed", healed("2026-11-16")), none, "2026-11-30"},
		{"influenza over on the 17th", illness("J11.1", "resolved", "confirmed", healed("2026-11-17")), "recent-infection", "2026-12-01"},
		{"COVID-19 on the 20th: under 2 weeks", illness("U07.1", "active", "confirmed", object{"onsetDateTime": "2026-11-20"}), "recent-infection", "2026-12-04"},
		{"COVID-19 on the 16th: 2 weeks on the day, still to be looked at", illness("U07.1", "resolved", "confirmed", object{"onsetDateTime": "2026-11-16"}), "recent-infection", "2026-11-30"},
		{"COVID-19 on 13 October: 48 days", illness("U07.1", "resolved", "confirmed", object{"onsetDateTime": "2026-10-13"}), "recent-infection", "2026-10-27"},
		{"COVID-19 on 12 October: 7 weeks", illness("U07.1", "resolved", "confirmed", object{"onsetDateTime": "2026-10-12"}), none, "2026-10-26"},
		{"COVID-19 without a day", illness("U07.1", "resolved", "confirmed", nil), "recent-infection", ""},
		{"cellulitis healed today", illness("L03.115", "resolved", "confirmed", healed("2026-11-20")), none, "2026-11-20"},
		{"joint infection: the surgeon decides", illness("M00.051", "resolved", "confirmed", healed("2026-11-01")), "recent-infection", ""},
		{"diabetes is no infection", illness("E11.9", "active", "confirmed", nil), none, none},

		{"38.3 degrees two days ago", temperature(38.3, "Cel", "final"), "recent-infection", "2026-11-25"},
		{"38.2 degrees", temperature(38.2, "Cel", "final"), none, none},
		{"101 degrees Fahrenheit are 38.33", temperature(101, "[degF]", "final"), "recent-infection", "2026-11-25"},
		{"100.4 degrees Fahrenheit are 38.0", temperature(100.4, "[degF]", "final"), none, none},
		{"a unit that nobody knows", temperature(311, "K", "final"), none, none},
		{"not measured after all", temperature(39, "Cel", "cancelled"), none, none},

		{"antibiotic for a urinary infection, taken now", course("active", coded(icd10cm, "N39.0"), nil), "recent-infection", ""},
		{"course finished on the 20th: 7 days", course("completed", coded(icd10cm, "N39.0"), object{"effectivePeriod": object{"end": "2026-11-20"}}), none, "2026-11-27"},
		{"course finished on the 24th: goes on until then", course("active", coded(icd10cm, "N39.0"), object{"effectivePeriod": object{"end": "2026-11-24"}}), "recent-infection", ""},
		{"antibiotic without a reason: a question, no hold", course("active", nil, nil), none, none},
		{"never taken", course("not-taken", coded(icd10cm, "N39.0"), nil), none, none},

		{"extraction done on the 9th: 21 days, on the day", dentalWork(snomed, "55162003", "completed", "2026-11-09"), none, "2026-11-30"},
		{"extraction done on the 12th", dentalWork(snomed, "55162003", "completed", "2026-11-12"), "pending-dental-work", "2026-12-03"},
		{"extraction planned for 10 December", dentalWork(snomed, "55162003", "preparation", "2026-12-10"), "pending-dental-work", "2026-12-31"},
		{"extraction booked five days before", dentist("http://terminology.hl7.org/CodeSystem/service-type", "90", "booked", "2026-11-25"), "pending-dental-work", "2026-12-16"},
		{"extraction without a day", dentalWork(cdt, "D7140", "preparation", ""), "pending-dental-work", ""},
		{"extraction called off", dentist("http://terminology.hl7.org/CodeSystem/service-type", "90", "cancelled", "2026-11-25"), none, none},
		{"extraction the day before three months after", dentalWork(snomed, "55162003", "preparation", "2027-02-27"), "pending-dental-work", "2027-03-20"},
		{"extraction three months after", dentalWork(snomed, "55162003", "preparation", "2027-02-28"), none, "2027-03-21"},
		{"cleaning the day before", dentalWork(snomed, "1260009003", "completed", "2026-11-29"), none, "2026-11-30"},
		{"cleaning on the day", dentist("http://terminology.hl7.org/CodeSystem/service-type", "313", "booked", "2026-11-30"), "pending-dental-work", "2026-12-01"},
		{"filling two months after", dentalWork(snomed, "234785005", "preparation", "2027-01-30"), "pending-dental-work", "2027-01-31"},
		{"filling without a day: a question, no hold", dentalWork(snomed, "234785005", "preparation", ""), none, none},

		{"injection on 31 August", dentalWork("http://hl7.org/fhir/sid/icd-10-pcs", "3E0U33Z", "completed", "2026-08-31"), "recent-joint-injection", "2026-11-30"},
		{"injection planned", dentalWork("http://hl7.org/fhir/sid/icd-10-pcs", "3E0U33Z", "preparation", "2026-09-15"), none, none},
	} {
		t.Run(r.name, func(t *testing.T) {
			grounds := p.groundsOf([]*Record{record(t, r.record)}, nil, f, date(t, "2026-11-20"))
			c := readiness.Case{Day: date(t, "2026-11-30")}
			holds := readiness.Holds(nil, grounds, &c, p.Protocol, f.clock(t, "2026-11-20 09:00"))
			if r.name == "injection on 31 August" { // three months to the day
				require.Empty(t, holds)
				c.Day--
				holds = readiness.Holds(nil, grounds, &c, p.Protocol, f.clock(t, "2026-11-20 09:00"))
			}
			if r.kind == none {
				require.Empty(t, holds)
			} else {
				require.Len(t, holds, 1)
				require.Equal(t, r.kind, holds[0].Kind)
			}
			clear := ""
			if len(grounds) > 0 {
				clear = grounds[0].Clear().String()
			}
			require.Equal(t, r.clear, clear)
		})
	}
}

// The booking's own procedure is no ground against itself.
func TestOwnRecordsAreNoGround(t *testing.T) {
	p, f := defaultProtocol(t), chicago(t)
	r := record(t, dentalWork(snomed, "55162003", "completed", "2026-11-12"))
	require.Len(t, p.groundsOf([]*Record{r}, nil, f, date(t, "2026-11-20")), 1)
	require.Empty(t, p.groundsOf([]*Record{r}, []string{r.Ref()}, f, date(t, "2026-11-20")))
}

// What a person answers holds as what a record says, from the newest response:
// yes does, unknown is asked about. Days as in TestGroundsOfHolds.
func TestGroundsFromAnswers(t *testing.T) {
	p, f := defaultProtocol(t), chicago(t)
	q := p.questionnaires[Base+"/Questionnaire/infection-and-dental-screening"]
	day := sayDay
	kind := func(code string) object { return sayCode("dental-work", code) }
	for _, r := range []struct {
		name    string
		answers says
		kind    string
		clear   string
	}{
		{"nothing", says{"skin": sayNo, "fever": sayNo}, "", ""},
		{"fever", says{"fever": sayYes}, "recent-infection", ""},
		{"fever, not known: a question", says{"fever": sayUnknown}, "", ""},
		{"burning, over on the 23rd: to come", says{"urinary-with-symptoms": sayYes, "urinary-with-symptoms-ended": day("2026-11-23")}, "recent-infection", ""},
		{"burning, over on the 19th: 7 days", says{"urinary-with-symptoms": sayYes, "urinary-with-symptoms-ended": day("2026-11-19")}, "", "2026-11-26"},
		{"a cold, over on the 17th: 14 days", says{"flu-like": sayYes, "flu-like-ended": day("2026-11-17")}, "recent-infection", "2026-12-01"},
		{"COVID-19 since the 20th", says{"covid": sayYes, "covid-began": day("2026-11-20")}, "recent-infection", "2026-12-04"},
		{"COVID-19, nobody knows since when", says{"covid": sayYes}, "recent-infection", ""},
		{"germs without symptoms", says{"urine-test-without-symptoms": sayYes}, "", ""},
		{"antibiotic to prevent one", says{"antibiotic": sayYes, "antibiotic-reason": sayCode("antibiotic-reason", "prevention")}, "", ""},
		{"antibiotic for an infection", says{"antibiotic": sayYes, "antibiotic-reason": sayCode("antibiotic-reason", "infection")}, "recent-infection", ""},
		{"antibiotic, nobody knows what for: a question", says{"antibiotic": sayYes, "antibiotic-reason": sayUnknown}, "", ""},
		{"extraction planned for 25 November", says{"dental-work-planned": sayYes, "dental-work-planned-kind": kind("extraction"), "dental-work-planned-on": day("2026-11-25")}, "pending-dental-work", "2026-12-16"},
		{"work without a kind or day: goes up", says{"dental-work-planned": sayYes}, "pending-dental-work", ""},
		{"cleaning without a day: a question", says{"dental-work-planned": sayYes, "dental-work-planned-kind": kind("cleaning")}, "", ""},
		{"cleaning on the day", says{"dental-work-planned": sayYes, "dental-work-planned-kind": kind("cleaning"), "dental-work-planned-on": day("2026-11-30")}, "pending-dental-work", "2026-12-01"},
		{"tooth pulled on the 9th", says{"dental-work-done": sayYes, "dental-work-done-kind": kind("extraction"), "dental-work-done-on": day("2026-11-09")}, "", "2026-11-30"},
		{"tooth pulled on the 10th", says{"dental-work-done": sayYes, "dental-work-done-kind": kind("extraction"), "dental-work-done-on": day("2026-11-10")}, "pending-dental-work", "2026-12-01"},
	} {
		t.Run(r.name, func(t *testing.T) {
			given := response(t, q, "r", "2026-11-20T09:00:00-06:00", r.answers)
			grounds := p.groundsOf([]*Record{given}, nil, f, date(t, "2026-11-20"))
			c := readiness.Case{Day: date(t, "2026-11-30")}
			now := f.clock(t, "2026-11-20 10:00")
			holds := readiness.Holds(nil, grounds, &c, p.Protocol, now)
			clear := ""
			if len(grounds) > 0 {
				clear = grounds[0].Clear().String()
			}
			require.Equal(t, r.clear, clear)
			if r.kind == "" {
				require.Empty(t, holds)
				return
			}
			require.Len(t, holds, 1)
			require.Equal(t, r.kind, holds[0].Kind)

			// A later response that says no raises nothing, and releases nothing.
			later := response(t, q, "s", "2026-11-21T09:00:00-06:00", says{"fever": sayNo})
			grounds = p.groundsOf([]*Record{given, later}, nil, f, date(t, "2026-11-21"))
			require.Empty(t, readiness.Holds(nil, grounds, &c, p.Protocol, now))
			require.True(t, readiness.Holds(holds, grounds, &c, p.Protocol, now)[0].Open())

			// Entered in error, there never was one.
			wrong := response(t, q, "r", "2026-11-20T09:00:00-06:00", r.answers, object{"status": "entered-in-error"})
			grounds = p.groundsOf([]*Record{wrong}, nil, f, date(t, "2026-11-21"))
			require.Equal(t, readiness.Withdrawn, readiness.Holds(holds, grounds, &c, p.Protocol, now)[0].How)
		})
	}
}

// Whoever may release a kind of hold is among those whom its Task asks: else it
// would be asked of nobody.
func TestEveryHoldAsksItsRole(t *testing.T) {
	p := defaultProtocol(t)
	asked := map[string]bool{}
	for _, s := range p.Steps {
		if s.Trigger == readiness.TriggerHold {
			for _, pf := range s.Performers {
				asked[pf.Role] = true
			}
		}
	}
	require.Len(t, p.kinds, 6)
	for code, k := range p.kinds {
		require.True(t, asked[k.ReleasedBy], "%s is released by %q", code, k.ReleasedBy)
	}
}
