package translate

import (
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
)

// An extraction planned for a day that leaves three weeks before surgery on
// Monday 30 November 2026 is confirmed once that day is past, and holds from the
// first day on which it could not be made up for: the 10th, D0-20. Three weeks:
// American Academy of Orthopaedic Surgeons, November 2024 (published); that a
// plan is no proof: common practice, no source.
func TestPlannedWorkIsConfirmed(t *testing.T) {
	p, f := defaultProtocol(t), chicago(t)
	q := p.questionnaires[Base+"/Questionnaire/infection-and-dental-screening"]
	planned := func(status, day string) *Record {
		return record(t, dentist("http://terminology.hl7.org/CodeSystem/service-type", "90", status, day))
	}
	said := response(t, q, "r", "2026-11-02T09:00:00-06:00", says{
		"dental-work-planned": sayYes, "dental-work-planned-kind": sayCode("dental-work", "extraction"), "dental-work-planned-on": sayDay("2026-11-05"),
	})
	later := response(t, q, "s", "2026-11-06T09:00:00-06:00", says{"dental-work-planned": sayNo})
	for _, r := range []struct {
		name, now string
		records   []*Record
		asked     string // the key of the question
		held      bool
		next      string
	}{
		{"the day is to come", "2026-11-04 09:00", []*Record{planned("booked", "2026-11-05")}, "", false, "2026-11-06 00:00"},
		{"the day itself", "2026-11-05 23:59", []*Record{planned("booked", "2026-11-05")}, "", false, "2026-11-06 00:00"},
		{"the day after", "2026-11-06 00:00", []*Record{planned("booked", "2026-11-05")}, "Appointment/d", false, "2026-11-10 00:00"},
		{"the last day on which it could be made up for", "2026-11-09 23:59", []*Record{planned("booked", "2026-11-05")}, "Appointment/d", false, "2026-11-10 00:00"},
		{"too late to make up for it", "2026-11-10 00:00", []*Record{planned("booked", "2026-11-05")}, "Appointment/d", true, ""},
		{"planned for the last day", "2026-11-09 12:00", []*Record{planned("booked", "2026-11-09")}, "", false, "2026-11-10 00:00"},
		{"planned for a day that is too late: its own hold", "2026-11-11 12:00", []*Record{planned("booked", "2026-11-10")}, "", true, ""},
		{"it took place", "2026-11-10 09:00", []*Record{planned("fulfilled", "2026-11-05")}, "", false, ""},
		{"it was called off", "2026-11-10 09:00", []*Record{planned("cancelled", "2026-11-05")}, "", false, ""},
		{"as a procedure, done", "2026-11-10 09:00", []*Record{record(t, dentalWork(snomed, "55162003", "completed", "2026-11-05"))}, "", false, ""},
		{"as a procedure, not done", "2026-11-10 09:00", []*Record{record(t, dentalWork(snomed, "55162003", "preparation", "2026-11-05"))}, "Procedure/d", true, ""},
		{"90 days before surgery", "2026-11-10 09:00", []*Record{planned("booked", "2026-09-01")}, "Appointment/d", true, ""},
		{"91 days before it: of no concern", "2026-11-10 09:00", []*Record{planned("booked", "2026-08-31")}, "", false, ""},
		{"minor work", "2026-11-10 09:00", []*Record{record(t, dentalWork(snomed, "234785005", "preparation", "2026-11-05"))}, "", false, ""},
		{"they said so themselves", "2026-11-06 08:00", []*Record{said}, "QuestionnaireResponse/r#dental-work-planned", false, "2026-11-10 00:00"},
		{"they said so, and nothing since", "2026-11-10 08:00", []*Record{said}, "QuestionnaireResponse/r#dental-work-planned", true, ""},
		{"they have answered again since", "2026-11-10 08:00", []*Record{said, later}, "", false, ""},
	} {
		t.Run(r.name, func(t *testing.T) {
			now := f.clock(t, r.now)
			b := Booking{Primary: "Appointment/a", Case: readiness.Case{Day: date(t, "2026-11-30")}}
			out := p.Questions(r.records, &b, f, now)
			next := ""
			if at := p.NextOfRecords(r.records, &b, f, now); !at.IsZero() {
				next = at.In(f.Calendar.Zone()).Format("2006-01-02 15:04")
			}
			require.Equal(t, r.next, next)
			holds := readiness.Holds(nil, p.Grounds(r.records, &b, f, f.Today(now)), &b.Case, p.Protocol, now)
			require.Equal(t, r.held, len(holds) == 1)
			if r.asked == "" {
				require.Empty(t, out)
				return
			}
			require.Len(t, out, 1)
			require.Equal(t, []string{TriggerRecord, r.asked}, []string{out[0].Trigger, out[0].Key})
			require.False(t, out[0].At.After(now))

			// A person's answer settles it: what is held is released by a person.
			for outcome, settles := range map[readiness.Outcome]bool{readiness.Done: true, readiness.Waived: true, readiness.Failed: false} {
				b.Case.Entries = map[readiness.Key]readiness.Entry{{Step: "ask-about-record", Repeat: r.asked, Round: 1}: {Outcome: outcome}}
				grounds := p.Grounds(r.records, &b, f, f.Today(now))
				require.Equal(t, r.held && !settles, len(readiness.Holds(nil, grounds, &b.Case, p.Protocol, now)) == 1)
				if r.held {
					require.True(t, readiness.Holds(holds, grounds, &b.Case, p.Protocol, now)[0].Open())
				}
			}
			b.Case.Start = now // it has begun: nothing is left to confirm
			require.Empty(t, p.Questions(r.records, &b, f, now))
		})
	}
	b := Booking{Primary: "Appointment/a", Case: readiness.Case{Day: date(t, "2026-11-30")}}
	words := p.Grounds([]*Record{planned("booked", "2026-11-05")}, &b, f, date(t, "2026-11-10"))[0].Says
	require.Equal(t, "oral surgery was planned for Thu 5 Nov 2026, and nobody has said that it was done: if it was, surgery from Thu 26 Nov 2026", words)
	b.Case.Day = 0
	require.Empty(t, p.Questions([]*Record{planned("booked", "2026-11-05")}, &b, f, f.clock(t, "2026-11-10 09:00")), "no date")
}
