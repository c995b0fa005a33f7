package translate

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// What a record leaves open is asked, and what it says is not: each row beside
// its hold in TestGroundsOfHolds and TestGroundsFromAnswers. Looked at on 20
// November for surgery on the 30th (common practice, no source).
func TestQuestionsAboutRecords(t *testing.T) {
	p, f := defaultProtocol(t), chicago(t)
	const antibiotic, dental = "no record says what it is for", "Minor dental work is planned and has no day"
	q := p.questionnaires[Base+"/Questionnaire/infection-and-dental-screening"]
	given := func(a says) *Record { return response(t, q, "r", "2026-11-20T09:00:00-06:00", a) }
	for _, r := range []struct {
		name   string
		record *Record
		asks   string
	}{
		{"antibiotic without a reason", record(t, course("active", nil, nil)), antibiotic},
		{"its reason in words only", record(t, course("active", object{"text": "see letter"}, nil)), antibiotic},
		{"its reason coded as an infection: a hold", record(t, course("active", coded(icd10cm, "N39.0"), nil)), ""},
		{"its reason coded as something else", record(t, course("active", coded(icd10cm, "L70.0"), nil)), ""},
		{"its reason elsewhere", record(t, course("active", nil, object{"reasonReference": []any{ref("Condition/c")}})), ""},
		{"finished long ago", record(t, course("completed", nil, object{"dateAsserted": "2026-05-01"})), ""},
		{"never taken", record(t, course("not-taken", nil, nil)), ""},
		{"filling without a day", record(t, dentalWork(snomed, "234785005", "preparation", "")), dental},
		{"filling with a day", record(t, dentalWork(snomed, "234785005", "preparation", "2026-11-25")), ""},
		{"filling done, nobody says when", record(t, dentalWork(snomed, "234785005", "completed", "")), ""},
		{"filling called off", record(t, dentalWork(snomed, "234785005", "not-done", "")), ""},
		{"extraction without a day: a hold", record(t, dentalWork(cdt, "D7140", "preparation", "")), ""},
		{"they take one, and do not know why", given(says{"antibiotic": sayYes, "antibiotic-reason": sayUnknown}), antibiotic},
		{"they take one, and left out why", given(says{"antibiotic": sayYes}), antibiotic},
		{"to prevent one", given(says{"antibiotic": sayYes, "antibiotic-reason": sayCode("antibiotic-reason", "prevention")}), ""},
		{"a cleaning is planned, they do not know when", given(says{"dental-work-planned": sayYes, "dental-work-planned-kind": sayCode("dental-work", "cleaning")}), dental},
		{"none is planned", given(says{"dental-work-planned": sayNo}), ""},
	} {
		t.Run(r.name, func(t *testing.T) {
			b := Booking{Primary: "Appointment/a"}
			out := p.Questions([]*Record{r.record}, &b, f, f.clock(t, "2026-11-20 10:00"))
			if r.asks == "" {
				require.Empty(t, out)
				return
			}
			require.Len(t, out, 1)
			require.Contains(t, out[0].Why, r.asks)
			require.True(t, p.Raises(out[0].Trigger), "a step asks it")
			require.Empty(t, p.Questions([]*Record{r.record}, &Booking{Members: []string{r.record.Ref()}}, f, f.clock(t, "2026-11-20 10:00")), "of the booking itself nothing is asked")
		})
	}
}
