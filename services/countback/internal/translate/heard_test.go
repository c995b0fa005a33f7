package translate

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
)

// A hospital that loads its history must not get a plan for last year's knees.
func TestHeardOfAfterwards(t *testing.T) {
	p, f := defaultProtocol(t), chicago(t)
	for _, r := range []struct {
		name, first string
		opens       bool
	}{
		{"weeks before", "2026-10-01T15:00:00Z", true},
		{"on the day", "2026-12-01T05:59:59Z", true}, // 23:59:59 of 30 November in Chicago
		{"the day after", "2026-12-01T06:00:00Z", false},
	} {
		t.Run(r.name, func(t *testing.T) {
			a := appointment(t, "a", "2026-11-30", hipService)
			var err error
			a.First, err = time.Parse(time.RFC3339, r.first)
			require.NoError(t, err)
			b := only(t, p, f, a)
			require.Equal(t, r.opens, b.Opens)
			require.True(t, b.Meets)
			if !r.opens {
				require.Equal(t, "the day of surgery had passed when it was first heard of", b.Reason)
			}
		})
	}
}

// A visit weeks before that names the operation's appointment is not the stay.
func TestVisitBeforehand(t *testing.T) {
	p, f := defaultProtocol(t), chicago(t)
	a := appointment(t, "a", "2026-11-30", hipService)
	visit := func(start string) *Record {
		return encounter(t, "e", status("finished"), object{
			"appointment": refs("Appointment/a"), "period": object{"start": start, "end": start},
		})
	}
	early := only(t, p, f, a, visit("2026-11-09T09:00:00-06:00"))
	require.Zero(t, early.Case.Arrived)
	require.Zero(t, early.Case.Left)
	stay := only(t, p, f, a, visit("2026-11-30T05:45:00-06:00"))
	require.Equal(t, "2026-11-30T05:45:00-06:00", stay.Case.Arrived.Format(time.RFC3339))
	require.Equal(t, stay.Case.Arrived, stay.Case.Left)
}

// An order on hold holds its booking, and an order that is active does not.
func TestOrderOnHold(t *testing.T) {
	p, f := defaultProtocol(t), chicago(t)
	a := appointment(t, "a", "2026-11-30", hipService, based("ServiceRequest/s"))
	require.True(t, only(t, p, f, a, order(t, "s", hip, status("on-hold"))).Case.Held)
	require.False(t, only(t, p, f, a, order(t, "s", hip)).Case.Held)
}

// The end date that a person records with a step goes into the evidence.
func TestValidUntil(t *testing.T) {
	output := func(system, code, date string) object {
		return object{"status": "completed", "output": []any{object{
			"type": coded(system, code), "valueDate": date,
		}}}
	}
	d := newDesk(t, "visit", "requested", readiness.Must, readiness.Yes, nil)
	w, issues := d.send(t, output(SystemOutput, OutputValidUntil, "2027-03-01"))
	require.Empty(t, issues)
	require.Equal(t, "2027-03-01", w.Until)
	row := Row{Work: w}
	require.Equal(t, date(t, "2027-03-01"), row.Entry().Until)
	w, issues = d.send(t, output("http://other.example", OutputValidUntil, "2027-03-01"))
	require.Empty(t, issues)
	require.Empty(t, w.Until)
}

// When an appointment is called off, the procedure that fits it is called off
// with it; it must not come back as a booking of its own.
func TestCalledOffWithItsProcedure(t *testing.T) {
	p, f := defaultProtocol(t), chicago(t)
	for _, r := range []struct {
		name       string
		procedures []*Record
	}{
		{"one fits", []*Record{procedure(t, "p", hip, performed(opDay))}},
		{"two fit", []*Record{procedure(t, "p", hip, performed(opDay)), procedure(t, "q", hip, performed(opDay))}},
	} {
		t.Run(r.name, func(t *testing.T) {
			records := append([]*Record{appointment(t, "a", opDay, hipService, status("cancelled"))}, r.procedures...)
			for _, b := range Bookings(records, p, f) {
				require.False(t, b.Opens, b.Primary)
				require.Empty(t, b.Case.Raised)
			}
		})
	}
}

// An order with a date that nothing links is no second operation beside the
// appointment that plans the same one; the case that it opened goes over.
func TestOrderBesideItsAppointment(t *testing.T) {
	p, f := defaultProtocol(t), chicago(t)
	o := order(t, "s", hip, object{"occurrenceDateTime": opDay})
	require.True(t, only(t, p, f, o).Opens, "alone it opens one")
	a := appointment(t, "a", opDay, hipService)
	both := Bookings([]*Record{a, o}, p, f)
	require.Len(t, both, 2)
	require.True(t, both[0].Opens)
	require.Equal(t, []string{"ServiceRequest/s"}, both[0].Candidates)
	require.False(t, both[1].Opens)
	require.Equal(t, "an appointment plans the same operation for that time", both[1].Reason)
	later := Bookings([]*Record{a, order(t, "s", hip, object{"occurrenceDateTime": "2027-03-01"})}, p, f)
	require.True(t, later[1].Opens, "another time is another operation")
}

// A protocol that plans nothing, or for everything, is refused.
func TestProtocolThatSaysNothing(t *testing.T) {
	defs, _ := embedded(t)
	_, err := ReadProtocol(parse(t, []byte(`{"resourceType":"PlanDefinition","status":"draft","url":"http://hospital.example/p","version":"1"}`)), defs)
	require.ErrorContains(t, err, "it has no steps")
	require.ErrorContains(t, err, "nothing says which bookings open a case")
}
