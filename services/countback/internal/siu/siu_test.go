package siu

import (
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/hl7"
)

var systems = map[string]string{
	"REG": "https://registry.meadowfold.example/person", "THEATRE": "https://theatre.meadowfold.example/appointment", "STAFF": "https://staff.meadowfold.example/id",
	"MEADOWFOLD": "https://theatre.meadowfold.example/room", "ORDERS": "https://orders.meadowfold.example/surgery", "LOCAL": "https://theatre.meadowfold.example/operation",
}

func options(t *testing.T) Options {
	t.Helper()
	zone, err := time.LoadLocation("America/Chicago")
	require.NoError(t, err)
	west, err := time.LoadLocation("America/Denver")
	require.NoError(t, err)
	return Options{Systems: systems, Zone: zone, Zones: map[string]*time.Location{"hl7v2:WEST": west}}
}

// parts are the segments of a message; what is empty is as in the first row of
// the tests.
type parts struct{ msh, event, id, at, sch, pid, ais, more string }

func (p parts) message(t *testing.T) *hl7.Message {
	t.Helper()
	or := func(s, otherwise string) string {
		if s == "" {
			return otherwise
		}
		return s
	}
	text := fmt.Sprintf("MSH|^~\\&|%s||%s||SIU^%s|%s|P|2.5.1\r%s\r%s\r%s\r%s",
		or(p.msh, "THEATRE|MEADOWFOLD|"), or(p.at, "20261005101500-0500"), or(p.event, "S12"), or(p.id, "1"),
		or(p.sch, "SCH||A-1|||||||||^^^20261130073000^20261130093000"), or(p.pid, "PID|||P-1^^^REG||Fern^Ada"), or(p.ais, "AIS|||0SRD0J9^Left knee^I10P"), p.more)
	m, err := hl7.Parse([]byte(text))
	require.NoError(t, err)
	return m
}

// mapped gives the resource of a type that a message leads to.
func (p parts) mapped(t *testing.T, typ string) map[string]any {
	t.Helper()
	b, err := Map(p.message(t), options(t))
	require.NoError(t, err)
	raw, err := b.Bundle()
	require.NoError(t, err)
	var out struct {
		Entry []struct {
			Resource map[string]any
			Request  map[string]any
		}
	}
	require.NoError(t, json.Unmarshal(raw, &out))
	for _, e := range out.Entry {
		if e.Resource["resourceType"] == typ {
			e.Resource["request"] = e.Request
			return e.Resource
		}
	}
	return nil
}

// get follows a path of names and, for lists, of their first elements.
func get(v any, path ...string) any {
	for _, name := range path {
		if l, ok := v.([]any); ok && len(l) > 0 {
			v = l[0]
		}
		o, _ := v.(map[string]any)
		v = o[name]
	}
	if l, ok := v.([]any); ok && len(l) == 1 {
		v = l[0]
	}
	return v
}

// schedule is SCH with a status and, where it must have them, times.
func schedule(status string) string {
	return "SCH||A-1|||||||||^^^20261130073000^20261130093000||||||||||||||" + status
}

// TestStatus is the whole table of event and status. Source of what a status
// becomes: HL7 v2-to-FHIR, concept map of table 0278; the rest is ours.
func TestStatus(t *testing.T) {
	const no = "" // refused
	events := []string{"S12", "S13", "S14", "S15", "S16", "S17", "S26"}
	for status, want := range map[string][]string{
		"":             {"booked", "booked", "booked", "cancelled", "cancelled", "entered-in-error", "noshow"},
		"Pending":      {"pending", "pending", "pending", no, no, no, no},
		"Waitlist":     {"waitlist", "waitlist", "waitlist", no, no, no, no},
		"Booked":       {"booked", "booked", "booked", no, no, no, no},
		"BOOKED":       {"booked", "booked", "booked", no, no, no, no},
		"Started":      {"checked-in", "checked-in", "checked-in", no, no, no, no},
		"Complete":     {"fulfilled", "fulfilled", "fulfilled", no, no, no, no},
		"Cancelled":    {"cancelled", "cancelled", "cancelled", "cancelled", "cancelled", "cancelled", "cancelled"},
		"Deleted":      {"entered-in-error", "entered-in-error", "entered-in-error", "entered-in-error", "entered-in-error", "entered-in-error", "entered-in-error"},
		"Noshow":       {"noshow", "noshow", "noshow", "noshow", "noshow", "noshow", "noshow"},
		"Discontinued": {no, no, no, no, "cancelled", no, no},
		"DC":           {no, no, no, no, "cancelled", no, no},
		"Blocked":      {no, no, no, no, no, no, no},
		"Overbook":     {no, no, no, no, no, no, no},
		"canary":       {no, no, no, no, no, no, no},
	} {
		for n, event := range events {
			t.Run(event+" "+status, func(t *testing.T) {
				p := parts{event: event, sch: schedule(status)}
				if want[n] != no {
					require.Equal(t, want[n], p.mapped(t, "Appointment")["status"])
					return
				}
				_, err := Map(p.message(t), options(t))
				var faults hl7.Faults
				require.True(t, errors.As(err, &faults))
				require.Equal(t, "SCH-25", faults[0].At.String())
				require.Equal(t, hl7.CodeTable, faults[0].Code)
				require.NotContains(t, err.Error(), "canary")
			})
		}
	}
}

func TestAppointment(t *testing.T) {
	const at, end = "2026-11-30T07:30:00-06:00", "2026-11-30T09:30:00-06:00"
	for _, c := range []struct {
		name string
		p    parts
		path string
		want any
	}{
		{"start", parts{}, "start", at},
		{"end", parts{}, "end", end},
		{"known by SCH-2", parts{}, "request.url", "Appointment?identifier=https%3A%2F%2Ftheatre.meadowfold.example%2Fappointment%7CA-1"},
		{"known by SCH-1", parts{sch: "SCH|W-1^^2.999.1^ISO||||||||||^^^20261130073000^20261130093000"}, "request.url", "Appointment?identifier=urn%3Aoid%3A2.999.1%7CW-1"},
		{"SCH-1 without an authority is shown", parts{sch: "SCH|W-1|A-1|||||||||^^^20261130073000^20261130093000"}, "identifier", []any{
			map[string]any{"system": systems["THEATRE"], "value": "A-1"}, map[string]any{"value": "W-1"}}},
		{"an authority by its UUID", parts{sch: "SCH||A-1^x^0B5C-AA^UUID|||||||||^^^20261130073000^20261130093000"}, "identifier.system", "urn:uuid:0b5c-aa"},
		{"an authority by its URI", parts{sch: "SCH||A-1^x^https://a.example^URI|||||||||^^^20261130073000^20261130093000"}, "identifier.system", "https://a.example"},
		{"an authority that is an OID", parts{sch: "SCH||A-1^2.999.5|||||||||^^^20261130073000^20261130093000"}, "identifier.system", "urn:oid:2.999.5"},
		{"the end from SCH-9 in hours", parts{sch: "SCH||A-1|||||||2|h|^^^20261130073000"}, "end", end},
		{"the duration in minutes", parts{sch: "SCH||A-1|||||||2|h|^^^20261130073000"}, "minutesDuration", 120.0},
		{"the end from AIS-7", parts{sch: "SCH||A-1|||||||||^^^20261130073000", ais: "AIS|1|D|x||||5|min\rAIS|2||x||||120"}, "end", end},
		{"times of TQ1", parts{sch: "SCH||A-1\rTQ1|||||||20261130073000|20261130093000"}, "start", at},
		{"time of AIS", parts{sch: "SCH||A-1|||||||120", ais: "AIS|1|D|x|20261129073000\rAIS|2||x|20261130073000"}, "start", at},
		{"an offset counts before the zone", parts{sch: "SCH||A-1|||||||||^^^20261130083000-0500^20261130093000"}, "start", "2026-11-30T08:30:00-05:00"},
		{"the sender's zone", parts{msh: "WEST||", sch: "SCH||A-1^THEATRE|||||||||^^^20261130073000^20261130093000"}, "start", "2026-11-30T07:30:00-07:00"},
		{"why it was called off", parts{event: "S15", sch: "SCH||A-1||||prov-labs^Labs^http://terminology.hl7.org/CodeSystem/appointment-cancellation-reason"}, "cancelationReason.coding.system", "http://terminology.hl7.org/CodeSystem/appointment-cancellation-reason"},
		{"a reason of another event is none", parts{event: "S14", sch: "SCH||A-1||||x|||||^^^20261130073000^20261130093000"}, "cancelationReason", nil},
		{"an emergency is the type", parts{sch: "SCH||A-1|||||EMERGENCY|Normal|||^^^20261130073000^20261130093000"}, "appointmentType.coding", map[string]any{"system": "http://terminology.hl7.org/CodeSystem/v2-0276", "code": "EMERGENCY"}},
		{"a reason of another table leaves the type to SCH-8", parts{sch: "SCH||A-1|||||M17.12^Worn^I10C|Normal|||^^^20261130073000^20261130093000"}, "appointmentType.coding.system", "http://terminology.hl7.org/CodeSystem/v2-0277"},
		{"the reason", parts{sch: "SCH||A-1|||||M17.12^Worn^I10C|Normal|||^^^20261130073000^20261130093000"}, "reasonCode.coding", map[string]any{"system": "http://hl7.org/fhir/sid/icd-10-cm", "code": "M17.12", "display": "Worn"}},
		{"a snomed code", parts{ais: "AIS|||609588000^Knee^SCT"}, "serviceType.coding.system", "http://snomed.info/sct"},
		{"a code of the hospital, and its translation", parts{ais: "AIS|||K^Knee^LOCAL^0SRD0J9^^I10P"}, "serviceType", map[string]any{"text": "Knee", "coding": []any{
			map[string]any{"system": systems["LOCAL"], "code": "K", "display": "Knee"}, map[string]any{"system": "http://hl7.org/fhir/sid/icd-10-pcs", "code": "0SRD0J9"}}}},
		{"a code of nobody", parts{ais: "AIS|||K"}, "serviceType.coding", map[string]any{"code": "K"}},
		{"a service that is withdrawn", parts{ais: "AIS|1|D|K^Knee\rAIS|2||L^Left\rAIS|3||M^Mid|||||||Cancelled"}, "serviceType.text", "Left"},
		{"orders, not overwritten", parts{sch: schedule("") + "|O-1^ORDERS|Q-1"}, "basedOn", map[string]any{"type": "ServiceRequest", "identifier": map[string]any{"system": systems["ORDERS"], "value": "O-1"}}},
		{"notes of the booking only", parts{sch: schedule("") + "\rNTE|1||one~two\rNTE|2||three", more: "NTE|1||four\r"}, "comment", "one\ntwo\nthree"},
		{"an explicit nothing", parts{sch: schedule(`""`)}, "status", "booked"},
		{"a person without a known number", parts{more: "AIP|1||S-9^Palewater^Ingrith^^^Dr\r"}, "participant", []any{
			map[string]any{"status": "accepted", "actor": map[string]any{"reference": fullURL(1)}}, map[string]any{"status": "accepted", "actor": map[string]any{"display": "Dr Ingrith Palewater"}}}},
		{"a room without a known number", parts{more: "AIL|1||T2^^^NOBODY^^^^^Theatre two\r"}, "participant", []any{
			map[string]any{"status": "accepted", "actor": map[string]any{"reference": fullURL(1)}}, map[string]any{"status": "accepted", "actor": map[string]any{"display": "Theatre two"}}}},
		{"those who were taken off", parts{more: "AIP|1|D|S-9^Palewater\rAIL|1||T2|||||||||Cancelled\r"}, "participant.actor.reference", fullURL(1)},
		{"who waits has not accepted", parts{sch: schedule("Pending")}, "participant.status", "needs-action"},
		{"the order of the sender", parts{id: "MSG00042"}, "meta", map[string]any{"source": "hl7v2:THEATRE/MEADOWFOLD", "lastUpdated": "2026-10-05T10:15:00-05:00", "versionId": "42"}},
		{"an id that does not count", parts{id: "3F2A-77B1"}, "meta.versionId", nil},
		{"the hour that came twice says nothing", parts{at: "20261101013000"}, "meta.lastUpdated", nil},
		{"and does with an offset", parts{at: "20261101013000.5-0600"}, "meta.lastUpdated", "2026-11-01T01:30:00.5-06:00"},
		{"a name that needs quoting", parts{msh: "A/B C^x|D,E^2.999^ISO|", sch: "SCH||A-1^THEATRE|||||||||^^^20261130073000^20261130093000"}, "meta.source", "hl7v2:A%2FB+C/D%2CE"},
	} {
		t.Run(c.name, func(t *testing.T) {
			require.Equal(t, c.want, get(c.p.mapped(t, "Appointment"), strings.Split(c.path, ".")...))
		})
	}
}

func TestPeopleAndPlaces(t *testing.T) {
	pid := func(s string) parts { return parts{pid: s} }
	for _, c := range []struct {
		name, typ string
		p         parts
		path      string
		want      any
	}{
		{"made where not known", "Patient", parts{}, "request", map[string]any{"method": "POST", "url": "Patient", "ifNoneExist": "identifier=https%3A%2F%2Fregistry.meadowfold.example%2Fperson%7CP-1"}},
		{"known by the first number that is known", "Patient", pid("PID|||X^^^OTHER~P-1^^^REG^MR||Fern"), "request.ifNoneExist", "identifier=https%3A%2F%2Fregistry.meadowfold.example%2Fperson%7CP-1"},
		{"others are kept", "Patient", pid("PID|||X^^^OTHER~P-1^^^REG^MR||Fern"), "identifier", []any{
			map[string]any{"value": "X"}, map[string]any{"system": systems["REG"], "value": "P-1", "type": map[string]any{"coding": []any{map[string]any{"system": "http://terminology.hl7.org/CodeSystem/v2-0203", "code": "MR"}}}}}},
		{"an authority by its OID", "Patient", pid("PID|||P^^^X&2.999.8&ISO||Fern"), "identifier.system", "urn:oid:2.999.8"},
		{"name", "Patient", pid("PID|||P-1^^^REG||Fern&van^Ada^May^Jr^Dr"), "name", map[string]any{"family": "Fern", "given": []any{"Ada", "May"}, "suffix": []any{"Jr"}, "prefix": []any{"Dr"}}},
		{"a birth in a month", "Patient", pid("PID|||P-1^^^REG||Fern||195103"), "birthDate", "1951-03"},
		{"a birth in a year", "Patient", pid("PID|||P-1^^^REG||Fern||1951"), "birthDate", "1951"},
		{"a birth at an hour", "Patient", pid("PID|||P-1^^^REG||Fern||195103022350"), "birthDate", "1951-03-02"},
		{"no birth", "Patient", pid("PID|||P-1^^^REG||Fern"), "birthDate", nil},
		{"sex", "Patient", pid("PID|||P-1^^^REG||Fern|||m"), "gender", "male"},
		{"another sex", "Patient", pid("PID|||P-1^^^REG||Fern|||A"), "gender", "other"},
		{"a sex of no table", "Patient", pid("PID|||P-1^^^REG||Fern|||X"), "gender", nil},
		{"telephones", "Patient", pid("PID|||P-1^^^REG||Fern||||||||555-0142~^^^fern@example.example~^^^^^^^^^^^555-0143"), "telecom", []any{
			map[string]any{"system": "phone", "value": "555-0142"}, map[string]any{"system": "email", "value": "fern@example.example"}, map[string]any{"system": "phone", "value": "555-0143"}}},
		{"language", "Patient", pid("PID|||P-1^^^REG||Fern||||||||||ES^Spanish"), "communication", map[string]any{"preferred": true, "language": map[string]any{
			"text": "Spanish", "coding": []any{map[string]any{"system": "urn:ietf:bcp:47", "code": "es"}}}}},
		{"a language of another table", "Patient", pid("PID|||P-1^^^REG||Fern||||||||||SPA^Spanish^L"), "communication.language.coding", map[string]any{"code": "SPA", "display": "Spanish"}},
		{"who operates", "Practitioner", parts{more: "AIP|1||S-9^Palewater^Ingrith^^^Dr^^^STAFF\r"}, "name", map[string]any{"family": "Palewater", "given": []any{"Ingrith"}, "prefix": []any{"Dr"}}},
		{"where", "Location", parts{more: "AIL|1||W^T2^^MEADOWFOLD\r"}, "request.ifNoneExist", "identifier=https%3A%2F%2Ftheatre.meadowfold.example%2Froom%7CW-T2"},
		{"where, in words", "Location", parts{more: "AIL|1||W^T2^^MEADOWFOLD\r"}, "name", "W T2"},
	} {
		t.Run(c.name, func(t *testing.T) {
			require.Equal(t, c.want, get(c.p.mapped(t, c.typ), strings.Split(c.path, ".")...))
		})
	}
	twice, err := Map(parts{more: "AIP|1||S-9^P^^^^^^^STAFF\rAIP|2||S-9^P^^^^^^^STAFF\r"}.message(t), options(t))
	require.NoError(t, err)
	require.Len(t, twice.entries, 3, "one resource, named twice")
}

// A refusal of the transaction is traced back to the segment and field.
func TestAt(t *testing.T) {
	b, err := Map(parts{more: "AIP|1||X^Y\rAIP|2||S-9^P^^^^^^^STAFF\r"}.message(t), options(t))
	require.NoError(t, err)
	for _, c := range []struct {
		entry         int
		element, want string
	}{
		{0, "identifier", "PID-3"}, {0, "birthDate", "PID-7"}, {0, "", "PID-3"}, {1, "name", "AIP[2]-3"}, {2, "start", "SCH-11"},
		{2, "identifier", "SCH-2"}, {2, "status", "SCH-25"}, {2, "serviceType", "AIS-3"}, {2, "participant", "AIP"}, {3, "", ""}, {-1, "", ""},
	} {
		require.Equal(t, c.want, b.At(c.entry, c.element).String())
	}
}

func TestEvent(t *testing.T) {
	require.Equal(t, "S26", Event(parts{event: "S26"}.message(t)))
	require.Equal(t, "other", Event(parts{event: "canary"}.message(t)))
	require.Equal(t, "other", Event(nil))
	require.Empty(t, Source(nil))
}
