package translate

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
)

func status(s string) object { return object{"status": s} }

// only reads the booking that stands for the first record.
func only(t *testing.T, p *Protocol, f Facility, records ...*Record) Booking {
	t.Helper()
	for _, b := range Bookings(records, p, f) {
		if b.Primary == records[0].Ref() {
			return b
		}
	}
	require.Fail(t, "no booking for "+records[0].Ref())
	return Booking{}
}

// noTimes takes the times off an appointment that need not have them.
var noTimes = object{"start": nil, "end": nil}

func TestEveryStatusOfABooking(t *testing.T) {
	p, f := defaultProtocol(t), chicago(t)
	named := object{"reasonReference": refs("Procedure/p")}
	s := based("ServiceRequest/s")
	for _, r := range []struct {
		name    string
		records []*Record
		ending  readiness.Ending
		held    bool // no date
		opens   bool
		reason  string
	}{
		{"booked", []*Record{appointment(t, "a", opDay, hipService)}, readiness.Running, false, true, ""},
		{"arrived", []*Record{appointment(t, "a", opDay, hipService, status("arrived"))}, readiness.Running, false, true, ""},
		{"checked in", []*Record{appointment(t, "a", opDay, hipService, status("checked-in"))}, readiness.Running, false, true, ""},
		{"fulfilled proves no operation", []*Record{appointment(t, "a", opDay, hipService, status("fulfilled"))}, readiness.Running, false, true, ""},
		{"proposed", []*Record{appointment(t, "a", opDay, hipService, status("proposed"))}, readiness.Running, true, false, "no day of surgery yet"},
		{"pending", []*Record{appointment(t, "a", opDay, hipService, status("pending"))}, readiness.Running, true, false, "no day of surgery yet"},
		{"waitlist", []*Record{appointment(t, "a", opDay, hipService, status("waitlist"))}, readiness.Running, true, false, "no day of surgery yet"},
		{"proposed, without times", []*Record{appointment(t, "a", opDay, hipService, status("proposed"), noTimes)}, readiness.Running, true, false, "no day of surgery yet"},
		{"cancelled", []*Record{appointment(t, "a", opDay, hipService, status("cancelled"))}, readiness.Cancelled, false, false, "called off: cancelled"},
		{"did not come", []*Record{appointment(t, "a", opDay, hipService, status("noshow"))}, readiness.NoShow, false, false, "called off: no-show"},
		{"entered in error, which says nothing of an operation", []*Record{appointment(t, "a", opDay, hipService, status("entered-in-error"))}, readiness.EnteredInErr, false, false, "no code says that it is a hip or knee replacement"},
		{"operation not done", []*Record{appointment(t, "a", opDay, hipService, named), procedure(t, "p", hip, status("not-done"))}, readiness.Cancelled, false, false, "called off: cancelled"},
		{"operation stopped after its start", []*Record{appointment(t, "a", opDay, hipService, named), procedure(t, "p", hip, status("stopped"))}, readiness.Running, false, true, ""},
		{"operation completed", []*Record{appointment(t, "a", opDay, hipService, named), procedure(t, "p", hip, status("completed"))}, readiness.Running, false, true, ""},
		{"operation entered in error", []*Record{appointment(t, "a", opDay, hipService, named), procedure(t, "p", hip, status("entered-in-error"))}, readiness.Running, false, true, ""},
		{"order revoked", []*Record{appointment(t, "a", opDay, hipService, s), order(t, "s", hip, status("revoked"))}, readiness.Cancelled, false, false, "called off: cancelled"},
		{"one order of two revoked", []*Record{appointment(t, "a", opDay, hipService, based("ServiceRequest/s", "ServiceRequest/u")), order(t, "s", hip, status("revoked")), order(t, "u", hip)}, readiness.Running, false, true, ""},
		{"order completed", []*Record{appointment(t, "a", opDay, hipService, s), order(t, "s", hip, status("completed"))}, readiness.Running, false, true, ""},

		{"procedure alone, in preparation", []*Record{procedure(t, "p", hip, performed(opDay))}, readiness.Running, false, true, ""},
		{"procedure alone, no date", []*Record{procedure(t, "p", hip)}, readiness.Running, true, false, "no day of surgery yet"},
		{"procedure alone, completed", []*Record{procedure(t, "p", hip, performed(opDay), status("completed"))}, readiness.Running, false, false, "already performed, or not active"},
		{"procedure alone, not done", []*Record{procedure(t, "p", hip, performed(opDay), status("not-done"))}, readiness.Cancelled, false, false, "called off: cancelled"},
		{"procedure alone, entered in error", []*Record{procedure(t, "p", hip, performed(opDay), status("entered-in-error"))}, readiness.Cancelled, false, false, "no code says that it is a hip or knee replacement"},
		{"procedure alone, no number to know it by", []*Record{procedure(t, "p", hip, performed(opDay), object{"identifier": nil})}, readiness.Running, false, false, "no appointment yet, and no identifier to know it by"},
		{"procedure alone, a number without a system", []*Record{procedure(t, "p", hip, performed(opDay), object{"identifier": []any{object{"value": "7"}}})}, readiness.Running, false, false, "no appointment yet, and no identifier to know it by"},
		{"order alone", []*Record{order(t, "s", hip, object{"occurrenceDateTime": opDay})}, readiness.Running, false, true, ""},
		{"order alone, no date", []*Record{order(t, "s", hip)}, readiness.Running, true, false, "no day of surgery yet"},
		{"order alone, on hold", []*Record{order(t, "s", hip, object{"occurrenceDateTime": opDay}, status("on-hold"))}, readiness.Running, true, false, "already performed, or not active"},
		{"order alone, revoked", []*Record{order(t, "s", hip, object{"occurrenceDateTime": opDay}, status("revoked"))}, readiness.Cancelled, false, false, "called off: cancelled"},
	} {
		t.Run(r.name, func(t *testing.T) {
			b := only(t, p, f, r.records...)
			require.Equal(t, r.ending, b.Case.Ending)
			require.Equal(t, r.held, b.Case.Held)
			require.Equal(t, r.opens, b.Opens)
			require.Equal(t, r.reason, b.Reason)
		})
	}
}

// Which operations open a case, and what is told of those that do not.
func TestWhichBookingsOpenACase(t *testing.T) {
	p, f := defaultProtocol(t), chicago(t)
	reason := func(system, code string) object { return object{"reasonCode": []any{coded(system, code)}} }
	pcs := func(code string) object { return object{"serviceType": []any{coded(pcsHL7, code)}} }
	for _, r := range []struct {
		name                string
		booking             object
		reason              string
		joint, side, extent any
	}{
		{"total hip", pcs("0SR90JZ"), "", "hip", "right", "total"},
		{"total knee", pcs("0SRD0JZ"), "", "knee", "left", "total"},
		{"partial knee", pcs("0SRD0LA"), "", "knee", "left", "partial"},
		{"in the reason", reason(snomed, "52734007"), "", "hip", nil, "total"},
		{"side from the diagnosis", object{"serviceType": []any{coded(snomed, "609588000")}, "reasonCode": []any{coded(icd10cm, "M17.11")}}, "", "knee", "right", "total"},
		{"a side said goes before the diagnosis", object{"serviceType": []any{coded(pcsHL7, "0SRD0JZ")}, "reasonCode": []any{coded(icd10cm, "M17.11")}}, "", "knee", "left", "total"},
		{"two sides said are both", object{"serviceType": []any{coded(pcsHL7, "0SRC0JZ"), coded(pcsHL7, "0SRD0JZ")}}, "", "knee", "both", "total"},
		{"revision", pcs("0SW90JZ"), "a revision of an earlier joint replacement", nil, nil, nil},
		{"replacement with removal of the old one", object{"serviceType": []any{coded(pcsHL7, "0SRB0JZ"), coded(pcsHL7, "0SPB0JZ")}}, "a revision of an earlier joint replacement", "hip", "left", "total"},
		{"hip for a broken bone", object{"serviceType": []any{coded(pcsHL7, "0SRB0JZ")}, "reasonCode": []any{coded(icd10cm, "S72.012A")}}, "a replacement for a broken bone", "hip", "left", "total"},
		{"emergency", object{"serviceType": []any{coded(pcsHL7, "0SRB0JZ")}, "appointmentType": coded(bookType, "EMERGENCY")}, "booked as an emergency", "hip", "left", "total"},
		{"a shoulder", pcs("0RRK0JZ"), "no code says that it is a hip or knee replacement", nil, nil, nil},
		{"orthopaedic surgery, nothing more", orthopaedic, "no code says that it is a hip or knee replacement", nil, nil, nil},
		{"a bare code", object{"serviceType": []any{object{"coding": []any{object{"code": "52734007"}}}}}, "no code says that it is a hip or knee replacement", nil, nil, nil},
		{"words only", object{"serviceType": []any{object{"text": "total hip"}}}, "no code says that it is a hip or knee replacement", nil, nil, nil},
		{"hip and knee at once", object{"serviceType": []any{coded(snomed, "52734007"), coded(snomed, "609588000")}}, "", "unclear", nil, "total"},
	} {
		t.Run(r.name, func(t *testing.T) {
			b := only(t, p, f, appointment(t, "a", opDay, r.booking))
			require.Equal(t, r.reason == "", b.Meets)
			require.Equal(t, r.reason == "", b.Opens)
			require.Equal(t, r.reason, b.Reason)
			require.Equal(t, []any{r.joint, r.side, r.extent}, []any{b.Case.Facts["joint"], b.Case.Facts["side"], b.Case.Facts["extent"]})
		})
	}
}

// A booked start goes before the order's date, and that before the procedure's.
func TestWhichDateCounts(t *testing.T) {
	p, f := defaultProtocol(t), chicago(t)
	named := object{"reasonReference": refs("Procedure/p"), "basedOn": refs("ServiceRequest/s")}
	ordered := object{"occurrenceDateTime": "2026-12-09"}
	for _, r := range []struct {
		name    string
		records []*Record
		want    string
	}{
		{"appointment, order and procedure", []*Record{appointment(t, "a", opDay, hipService, named), procedure(t, "p", hip, performed("2026-12-11")), order(t, "s", ordered)}, opDay},
		{"cancelled without times: the order's", []*Record{appointment(t, "a", opDay, hipService, named, status("cancelled"), noTimes), procedure(t, "p", hip, performed("2026-12-11")), order(t, "s", ordered)}, "2026-12-09"},
		{"waiting: none, whatever the others say", []*Record{appointment(t, "a", opDay, hipService, named, status("waitlist")), procedure(t, "p", hip, performed("2026-12-11")), order(t, "s", ordered)}, ""},
		{"order and procedure", []*Record{procedure(t, "p", hip, based("ServiceRequest/s"), performed("2026-12-11")), order(t, "s", ordered)}, "2026-12-09"},
		{"order's period", []*Record{order(t, "s", hip, object{"occurrencePeriod": object{"start": "2026-12-10T06:00:00Z"}})}, "2026-12-10"},
		{"procedure's period", []*Record{procedure(t, "p", hip, object{"performedPeriod": object{"start": "2026-12-10"}})}, "2026-12-10"},
		{"less than a day is no day", []*Record{procedure(t, "p", hip, performed("2026-12"))}, ""},
		{"the day is the facility's, not the sender's", []*Record{appointment(t, "a", opDay, hipService, object{"start": "2026-12-01T03:00:00Z", "end": "2026-12-01T05:00:00Z"})}, "2026-11-30"},
	} {
		t.Run(r.name, func(t *testing.T) {
			require.Equal(t, r.want, only(t, p, f, r.records...).Case.Day.String())
		})
	}
}

func TestTimesOfABooking(t *testing.T) {
	p, f := defaultProtocol(t), chicago(t)
	extension := func(name, kind string, v any) object {
		return object{"extension": []any{object{"url": ExtensionBase + name, kind: v}}}
	}
	visit := func(more ...object) *Record {
		return encounter(t, "e", append([]object{{"appointment": refs("Appointment/a")}}, more...)...)
	}
	at := func(s string) time.Time { return f.clock(t, s) }

	t.Run("start of anaesthesia", func(t *testing.T) {
		f := f
		f.StartOffset = 90 * time.Minute
		require.Equal(t, at("2026-11-30 09:00"), only(t, p, f, appointment(t, "a", opDay, hipService)).Case.Start, "the facility's offset")
		said := extension("anaesthesia-start", "valueDateTime", "2026-11-30T14:15:00Z")
		require.Equal(t, at("2026-11-30 08:15"), only(t, p, f, appointment(t, "a", opDay, hipService, said)).Case.Start, "the booking's own word")
		require.True(t, only(t, p, f, procedure(t, "p", hip, performed(opDay))).Case.Start.IsZero(), "a day has no time")
	})
	t.Run("booked", func(t *testing.T) {
		require.Equal(t, at("2026-09-28 12:00"), only(t, p, f, appointment(t, "a", opDay, hipService)).Case.Booked, "a created day")
		created := object{"created": "2026-09-28T22:30:00-05:00"}
		require.Equal(t, at("2026-09-28 22:30"), only(t, p, f, appointment(t, "a", opDay, hipService, created)).Case.Booked)
		require.Equal(t, at("2026-10-01 10:00"), only(t, p, f, appointment(t, "a", opDay, hipService, object{"created": nil})).Case.Booked, "first receipt")
		require.Equal(t, at("2026-10-01 10:00"), only(t, p, f, procedure(t, "p", hip, performed(opDay))).Case.Booked, "first receipt")
	})
	t.Run("arrival and discharge", func(t *testing.T) {
		period := object{"period": object{"start": "2026-11-30T06:05:00-06:00", "end": "2026-12-01T10:40:00-06:00"}}
		received := time.Date(2026, 10, 1, 16, 0, 0, 0, time.UTC)
		for _, r := range []struct {
			name          string
			records       []*Record
			arrived, left time.Time
		}{
			{"planned", []*Record{appointment(t, "a", opDay, hipService), visit(period)}, time.Time{}, time.Time{}},
			{"arrived", []*Record{appointment(t, "a", opDay, hipService), visit(period, status("arrived"))}, at("2026-11-30 06:05"), time.Time{}},
			{"in progress", []*Record{appointment(t, "a", opDay, hipService), visit(period, status("in-progress"))}, at("2026-11-30 06:05"), time.Time{}},
			{"finished", []*Record{appointment(t, "a", opDay, hipService), visit(period, status("finished"))}, at("2026-11-30 06:05"), at("2026-12-01 10:40")},
			{"finished, no times said", []*Record{appointment(t, "a", opDay, hipService), visit(status("finished"))}, received, received},
			{"cancelled", []*Record{appointment(t, "a", opDay, hipService), visit(period, status("cancelled"))}, time.Time{}, time.Time{}},
			{"entered in error", []*Record{appointment(t, "a", opDay, hipService), visit(period, status("entered-in-error"))}, time.Time{}, time.Time{}},
			{"appointment arrived", []*Record{appointment(t, "a", opDay, hipService, status("arrived"))}, received, time.Time{}},
		} {
			t.Run(r.name, func(t *testing.T) {
				c := only(t, p, f, r.records...).Case
				require.True(t, r.arrived.Equal(c.Arrived), "%s", c.Arrived)
				require.True(t, r.left.Equal(c.Left), "%s", c.Left)
			})
		}
	})
	t.Run("planned stay", func(t *testing.T) {
		sameDay := object{"class": object{"system": actCode, "code": "AMB"}}
		require.Equal(t, "", only(t, p, f, appointment(t, "a", opDay, hipService)).Case.Stay, "the protocol's default")
		require.Equal(t, "overnight", only(t, p, f, appointment(t, "a", opDay, hipService), visit()).Case.Stay)
		require.Equal(t, "same-day", only(t, p, f, appointment(t, "a", opDay, hipService), visit(sameDay)).Case.Stay)
		said := extension("planned-stay", "valueCode", "same-day")
		b := only(t, p, f, appointment(t, "a", opDay, hipService, said), visit())
		require.Equal(t, "same-day", b.Case.Stay, "the booking's own word goes first")
		require.Equal(t, "same-day", b.Case.Facts["stay"])
		require.Equal(t, "same-day", b.Case.Details["stay"])
	})
}

func TestDetailsThatVoidEvidence(t *testing.T) {
	p, f := defaultProtocol(t), chicago(t)
	people := object{"participant": []any{
		object{"actor": ref("Patient/p"), "status": "accepted"},
		object{"actor": ref("Location/theatre"), "status": "accepted"},
		object{"actor": ref("Practitioner/surgeon/_history/2"), "status": "accepted"},
		object{"actor": ref("Practitioner/other"), "status": "accepted"},
	}}
	b := only(t, p, f, appointment(t, "a", opDay, object{"serviceType": []any{coded(pcsHL7, "0SRD0LA")}}, people))
	require.Equal(t, map[string]string{
		"side": "left", "procedure": "knee partial", "stay": "", "surgeon": "Practitioner/surgeon", "facility": "Location/theatre",
	}, b.Case.Details)

	alone := only(t, p, f, procedure(t, "p", hip, leftSite, performed(opDay)))
	require.Equal(t, map[string]string{"side": "left", "procedure": "hip total", "stay": ""}, alone.Case.Details)
}

func TestPatientOf(t *testing.T) {
	f := chicago(t)
	for _, r := range []struct {
		name      string
		body      object
		ref, text string
	}{
		{"subject", object{"resourceType": "Procedure", "status": "preparation", "subject": ref("Patient/p")}, "Patient/p", ""},
		{"absolute and versioned", object{"resourceType": "Procedure", "status": "preparation", "subject": ref(facilityBase + "/Patient/p/_history/4")}, "Patient/p", ""},
		{"participant", object{"resourceType": "Appointment", "status": "proposed", "participant": []any{
			object{"actor": ref("Practitioner/x"), "status": "accepted"}, object{"actor": ref("Patient/p"), "status": "accepted"}}}, "Patient/p", ""},
		{"task", object{"resourceType": "Task", "status": "draft", "intent": "order", "for": ref("Patient/p")}, "Patient/p", ""},
		{"by number", object{"resourceType": "Procedure", "status": "preparation", "subject": object{"type": "Patient", "identifier": object{"system": "http://hospital.example/mrn", "value": "7"}}}, "", "http://hospital.example/mrn|7"},
		{"by number, as somebody who takes part", object{"resourceType": "Appointment", "status": "proposed", "participant": []any{
			object{"actor": object{"type": "Practitioner", "identifier": object{"system": "http://hospital.example/staff", "value": "1"}}, "status": "accepted"},
			object{"actor": object{"identifier": object{"system": "http://hospital.example/mrn", "value": "7"}}, "status": "accepted"}}}, "", "http://hospital.example/mrn|7?"},
		{"contained", object{"resourceType": "Procedure", "status": "preparation", "subject": ref("#p"), "contained": []any{
			object{"resourceType": "Patient", "id": "p", "identifier": []any{object{"system": "http://hospital.example/mrn", "value": "7"}, object{"value": "bare"}}}}}, "", "http://hospital.example/mrn|7"},
		{"contained, and no patient", object{"resourceType": "Procedure", "status": "preparation", "subject": ref("#g"), "contained": []any{
			object{"resourceType": "Group", "id": "g", "type": "person", "actual": true, "identifier": []any{object{"system": "http://hospital.example/mrn", "value": "7"}}}}}, "", ""},
		{"a group by number", object{"resourceType": "Procedure", "status": "preparation", "subject": object{"type": "Group", "identifier": object{"system": "http://hospital.example/mrn", "value": "7"}}}, "", ""},
		{"another server's", object{"resourceType": "Procedure", "status": "preparation", "subject": ref("https://elsewhere.example/fhir/Patient/p")}, "", ""},
		{"a group", object{"resourceType": "Procedure", "status": "preparation", "subject": ref("Group/g")}, "", ""},
		{"a patient is about itself", object{"resourceType": "Patient", "id": "p"}, "", ""},
	} {
		t.Run(r.name, func(t *testing.T) {
			got, names := f.PatientOf(encoded(t, r.body))
			require.Equal(t, r.ref, got)
			text := ""
			for _, name := range names {
				if text += name.System + "|" + name.Value; !name.Certain {
					text += "?"
				}
			}
			require.Equal(t, r.text, text)
		})
	}
}
