package translate

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// The day of surgery of these bookings; others are near it, or are not.
const (
	opDay   = "2026-11-30"
	nearDay = "2026-12-07" // seven days on: the tolerance of the default protocol
	farDay  = "2026-12-08"
)

func performed(day string) object { return object{"performedDateTime": day} }

// Every rule links by itself, and tells by what it linked.
func TestLinkingRules(t *testing.T) {
	p, f := defaultProtocol(t), chicago(t)
	visit := func(more ...object) *Record {
		return encounter(t, "e", append(more, object{"appointment": refs("Appointment/a")})...)
	}
	for _, r := range []struct {
		name    string
		records []*Record
		members string
		rule    string
	}{
		{"1 shared order, which is here", []*Record{appointment(t, "a", opDay, based("ServiceRequest/s")), procedure(t, "p", hip, based("ServiceRequest/s")), order(t, "s")},
			"Appointment/a Procedure/p ServiceRequest/s", LinkOrder},
		{"1 shared order, which is not here", []*Record{appointment(t, "a", opDay, based("ServiceRequest/s")), procedure(t, "p", hip, based("ServiceRequest/s"))},
			"Appointment/a Procedure/p", LinkOrder},
		{"1 shared order, by its number", []*Record{appointment(t, "a", opDay, object{"basedOn": []any{byIdentifier("order-s")}}), procedure(t, "p", hip, object{"basedOn": []any{byIdentifier("order-s")}})},
			"Appointment/a Procedure/p", LinkOrder},
		{"1 shared order, one by reference and one by number", []*Record{appointment(t, "a", opDay, object{"basedOn": []any{byIdentifier("order-s")}}), procedure(t, "p", hip, based("ServiceRequest/s")), order(t, "s")},
			"Appointment/a Procedure/p ServiceRequest/s", LinkOrder},
		{"1 references in other forms", []*Record{appointment(t, "a", opDay, based(facilityBase+"/ServiceRequest/s")), procedure(t, "p", hip, based("ServiceRequest/s/_history/3")), order(t, "s")},
			"Appointment/a Procedure/p ServiceRequest/s", LinkOrder},
		{"2 direct reference", []*Record{appointment(t, "a", opDay, object{"reasonReference": refs("Procedure/p")}), procedure(t, "p", hip)},
			"Appointment/a Procedure/p", LinkReason},
		{"3 supporting information, procedure", []*Record{appointment(t, "a", opDay, object{"supportingInformation": refs("Procedure/p")}), procedure(t, "p", hip)},
			"Appointment/a Procedure/p", LinkSupporting},
		{"3 supporting information, its order", []*Record{appointment(t, "a", opDay, object{"supportingInformation": refs("ServiceRequest/s")}), procedure(t, "p", hip, based("ServiceRequest/s")), order(t, "s")},
			"Appointment/a Procedure/p ServiceRequest/s", LinkSupporting},
		{"4 visit, from the procedure", []*Record{appointment(t, "a", opDay), procedure(t, "p", hip, object{"encounter": ref("Encounter/e")}), visit()},
			"Appointment/a Procedure/p Encounter/e", LinkVisit},
		{"4 visit, its reason", []*Record{appointment(t, "a", opDay), procedure(t, "p", hip), visit(object{"reasonReference": refs("Procedure/p")})},
			"Appointment/a Procedure/p Encounter/e", LinkVisit},
		{"4 visit, its diagnosis", []*Record{appointment(t, "a", opDay), procedure(t, "p", hip), visit(object{"diagnosis": []any{object{"condition": ref("Procedure/p")}}})},
			"Appointment/a Procedure/p Encounter/e", LinkVisit},
		{"5 equal number", []*Record{appointment(t, "a", opDay, object{"identifier": identified("case-1")}), procedure(t, "p", hip, object{"identifier": identified("case-1")})},
			"Appointment/a Procedure/p", LinkIdentifier},
		{"5 number of the order", []*Record{appointment(t, "a", opDay, based("ServiceRequest/s")), procedure(t, "p", hip, object{"identifier": identified("order-s")}), order(t, "s")},
			"Appointment/a Procedure/p ServiceRequest/s", LinkIdentifier},
		{"6 same joint, near date", []*Record{appointment(t, "a", opDay, hipService), procedure(t, "p", hip, performed(nearDay))},
			"Appointment/a Procedure/p", LinkInferred},
		{"6 same joint, no date", []*Record{appointment(t, "a", opDay, hipService), procedure(t, "p", hip)},
			"Appointment/a Procedure/p", LinkInferred},
		{"6 orthopaedic surgery on the very day", []*Record{appointment(t, "a", opDay, orthopaedic), procedure(t, "p", hip, performed(opDay))},
			"Appointment/a Procedure/p", LinkInferred},
		{"6 already in progress", []*Record{appointment(t, "a", opDay, hipService), procedure(t, "p", hip, object{"status": "in-progress"})},
			"Appointment/a Procedure/p", LinkInferred},
	} {
		t.Run(r.name, func(t *testing.T) {
			bookings := Bookings(r.records, p, f)
			require.Len(t, bookings, 1)
			require.Equal(t, r.members, memberships(bookings)["Appointment/a"])
			require.Contains(t, linksOf(bookings[0]), "Appointment/a to Procedure/p: "+r.rule)
			require.True(t, bookings[0].Opens, bookings[0].Reason)
		})
	}
}

// What may look alike and does not belong together.
func TestNotLinked(t *testing.T) {
	p, f := defaultProtocol(t), chicago(t)
	for _, r := range []struct {
		name    string
		records []*Record
	}{
		{"another server's order of the same id", []*Record{appointment(t, "a", opDay, based("https://elsewhere.example/fhir/ServiceRequest/s")), procedure(t, "p", hip, based("ServiceRequest/s"), performed(farDay)), order(t, "s")}},
		{"equal value, no system", []*Record{appointment(t, "a", opDay, object{"identifier": []any{object{"value": "1"}}}), procedure(t, "p", hip, object{"identifier": []any{object{"value": "1"}}})}},
		{"equal value, other system", []*Record{appointment(t, "a", opDay, object{"identifier": identified("1")}), procedure(t, "p", hip, object{"identifier": []any{object{"system": "http://other.example", "value": "1"}}})}},
		{"6 another joint", []*Record{appointment(t, "a", opDay, hipService), procedure(t, "p", knee, performed(opDay))}},
		{"6 the other side", []*Record{appointment(t, "a", opDay, object{"serviceType": []any{coded(pcsHL7, "0SRB0JZ")}}), procedure(t, "p", hip, rightSite, performed(opDay))}},
		{"6 too far off", []*Record{appointment(t, "a", opDay, hipService), procedure(t, "p", hip, performed(farDay))}},
		{"6 orthopaedic surgery on the next day", []*Record{appointment(t, "a", opDay, orthopaedic), procedure(t, "p", hip, performed("2026-12-01"))}},
		{"6 an appointment that says nothing", []*Record{appointment(t, "a", opDay), procedure(t, "p", hip, performed(opDay))}},
		{"6 done long ago", []*Record{appointment(t, "a", opDay, hipService), procedure(t, "p", hip, object{"status": "completed"})}},
		{"entered in error, though directly named", []*Record{appointment(t, "a", opDay, object{"reasonReference": refs("Procedure/p")}), procedure(t, "p", hip, object{"status": "entered-in-error"})}},
	} {
		t.Run(r.name, func(t *testing.T) {
			bookings := Bookings(r.records, p, f)
			m := memberships(bookings)
			require.NotContains(t, m["Appointment/a"], "Procedure/p")
			require.Contains(t, m, "Procedure/p", "it stands for itself")
		})
	}
}

// The first rule that links ends the search.
func TestBetterRulesGoFirst(t *testing.T) {
	p, f := defaultProtocol(t), chicago(t)
	records := []*Record{
		appointment(t, "a", opDay, hipService, based("ServiceRequest/s"), object{"reasonReference": refs("Procedure/direct")}),
		procedure(t, "direct", hip), procedure(t, "ordered", hip, based("ServiceRequest/s")), order(t, "s"),
	}
	m := memberships(Bookings(records, p, f))
	require.Equal(t, "Appointment/a Procedure/ordered ServiceRequest/s", m["Appointment/a"])
	require.Equal(t, "Procedure/direct", m["Procedure/direct"])

	t.Run("but what was entered in error ends none", func(t *testing.T) {
		records[2] = procedure(t, "ordered", hip, based("ServiceRequest/s"), object{"status": "entered-in-error"})
		require.Equal(t, "Appointment/a Procedure/direct ServiceRequest/s", memberships(Bookings(records, p, f))["Appointment/a"])
	})
}

// Two candidates: nothing is linked and a person is asked once.
func TestUnclear(t *testing.T) {
	p, f := defaultProtocol(t), chicago(t)
	t.Run("two procedures for one appointment", func(t *testing.T) {
		bookings := Bookings([]*Record{
			appointment(t, "a", opDay, kneeService), procedure(t, "l", knee, leftSite), procedure(t, "r", knee, rightSite),
		}, p, f)
		require.Len(t, bookings, 1, "candidates stand for no booking of their own")
		b := bookings[0]
		require.Equal(t, []string{"Appointment/a"}, b.Members)
		require.Equal(t, []string{"Procedure/l", "Procedure/r"}, b.Candidates)
		require.Empty(t, b.Links)
		require.True(t, b.Opens)
		require.Equal(t, "knee", b.Case.Facts["joint"])
		require.Equal(t, "total", b.Case.Facts["extent"], "in this they agree")
		require.NotContains(t, b.Case.Facts, "side", "in this they do not")
		require.Len(t, b.Case.Raised, 1)
		require.Equal(t, TriggerUnclear, b.Case.Raised[0].Trigger)
		require.Equal(t, "Appointment/a", b.Case.Raised[0].Key)
	})
	t.Run("one procedure for two appointments", func(t *testing.T) {
		bookings := Bookings([]*Record{
			appointment(t, "a", opDay, kneeService), appointment(t, "b", "2026-12-03", kneeService), procedure(t, "p", knee, leftSite),
		}, p, f)
		require.Equal(t, map[string]string{"Appointment/a": "Appointment/a ? Procedure/p", "Appointment/b": "Appointment/b ? Procedure/p"}, memberships(bookings))
		for _, b := range bookings {
			require.Len(t, b.Case.Raised, 1)
			require.Equal(t, "left", b.Case.Facts["side"])
		}
	})
	t.Run("a third of another side is none of them", func(t *testing.T) {
		m := memberships(Bookings([]*Record{
			appointment(t, "a", opDay, object{"serviceType": []any{coded(pcsHL7, "0SRD0JZ")}}),
			procedure(t, "l", knee, leftSite), procedure(t, "r", knee, rightSite),
		}, p, f))
		require.Equal(t, "Appointment/a Procedure/l", m["Appointment/a"])
	})
}

func TestBothKnees(t *testing.T) {
	p, f := defaultProtocol(t), chicago(t)
	t.Run("on one day, one order: one case", func(t *testing.T) {
		bookings := Bookings([]*Record{
			appointment(t, "a", opDay, based("ServiceRequest/s")), order(t, "s", knee),
			procedure(t, "l", knee, leftSite, based("ServiceRequest/s")), procedure(t, "r", knee, rightSite, based("ServiceRequest/s")),
		}, p, f)
		require.Equal(t, map[string]string{"Appointment/a": "Appointment/a Procedure/l Procedure/r ServiceRequest/s"}, memberships(bookings))
		require.Equal(t, "both", bookings[0].Case.Facts["side"])
		require.Equal(t, "both", bookings[0].Case.Details["side"])
	})
	t.Run("on one day, two orders: one case", func(t *testing.T) {
		bookings := Bookings([]*Record{
			appointment(t, "a", opDay, based("ServiceRequest/s", "ServiceRequest/u")), order(t, "s", knee), order(t, "u", knee),
			procedure(t, "l", knee, leftSite, based("ServiceRequest/s")), procedure(t, "r", knee, rightSite, based("ServiceRequest/u")),
		}, p, f)
		require.Equal(t, map[string]string{"Appointment/a": "Appointment/a Procedure/l Procedure/r ServiceRequest/s ServiceRequest/u"}, memberships(bookings))
	})
	t.Run("one of the two is called off: the other goes on", func(t *testing.T) {
		bookings := Bookings([]*Record{
			appointment(t, "a", opDay, based("ServiceRequest/s")), order(t, "s", knee),
			procedure(t, "l", knee, leftSite, based("ServiceRequest/s"), object{"status": "not-done"}),
			procedure(t, "r", knee, rightSite, based("ServiceRequest/s")),
		}, p, f)
		b := bookings[0]
		require.Equal(t, []string{"Appointment/a", "Procedure/r", "ServiceRequest/s"}, b.Members)
		require.True(t, b.Opens, b.Reason)
		require.Equal(t, "right", b.Case.Facts["side"])
		require.NotContains(t, linksOf(b), "Procedure/l")
	})
	t.Run("no appointment yet", func(t *testing.T) {
		bookings := Bookings([]*Record{
			procedure(t, "l", knee, leftSite, performed(opDay)), procedure(t, "r", knee, rightSite, performed(opDay)),
		}, p, f)
		require.Equal(t, map[string]string{"Procedure/l": "Procedure/l Procedure/r"}, memberships(bookings))
		require.Equal(t, "both", bookings[0].Case.Facts["side"])
		require.Equal(t, LinkInferred, bookings[0].Links[0].Rule)
	})
}

func TestStagedKneesAreTwoCases(t *testing.T) {
	p, f := defaultProtocol(t), chicago(t)
	const later = "2027-02-15"
	for name, records := range map[string][]*Record{
		"two orders": {
			appointment(t, "a", opDay, based("ServiceRequest/s")), appointment(t, "b", later, based("ServiceRequest/u")),
			order(t, "s", knee, leftSite), order(t, "u", knee, rightSite),
			procedure(t, "l", knee, leftSite, based("ServiceRequest/s")), procedure(t, "r", knee, rightSite, based("ServiceRequest/u")),
		},
		"one order, the first is done": {
			appointment(t, "a", opDay, based("ServiceRequest/s"), object{"status": "fulfilled"}), appointment(t, "b", later, based("ServiceRequest/s")),
			order(t, "s", knee),
			procedure(t, "l", knee, leftSite, based("ServiceRequest/s"), performed(opDay), object{"status": "completed"}),
			procedure(t, "r", knee, rightSite, based("ServiceRequest/s"), performed(later)),
		},
		"one order, neither is done": {
			appointment(t, "a", opDay, based("ServiceRequest/s")), appointment(t, "b", later, based("ServiceRequest/s")),
			order(t, "s", knee),
			procedure(t, "l", knee, leftSite, based("ServiceRequest/s"), performed(opDay)),
			procedure(t, "r", knee, rightSite, based("ServiceRequest/s"), performed(later)),
		},
		"nothing but dates": {
			appointment(t, "a", opDay, kneeService), appointment(t, "b", later, kneeService),
			procedure(t, "l", knee, leftSite, performed(opDay)), procedure(t, "r", knee, rightSite, performed(later)),
		},
	} {
		t.Run(name, func(t *testing.T) {
			sides := map[string]any{}
			for _, b := range Bookings(records, p, f) {
				sides[b.Primary] = b.Case.Facts["side"]
			}
			require.Equal(t, map[string]any{"Appointment/a": "left", "Appointment/b": "right"}, sides)
		})
	}
}

// The first of two staged operations, long done, stays out of the second.
func TestFirstKneeStaysOutOfTheSecond(t *testing.T) {
	p, f := defaultProtocol(t), chicago(t)
	for _, status := range []string{"completed", "not-done"} {
		m := memberships(Bookings([]*Record{
			appointment(t, "b", "2027-02-15", based("ServiceRequest/s")), order(t, "s", knee),
			procedure(t, "l", knee, leftSite, based("ServiceRequest/s"), performed(opDay), object{"status": status}),
			procedure(t, "r", knee, rightSite, based("ServiceRequest/s")),
		}, p, f))
		require.Equal(t, map[string]string{"Appointment/b": "Appointment/b Procedure/r ServiceRequest/s"}, m, status)
	}
}

// A procedure keeps to its appointment when only the appointment has moved.
func TestAMovedAppointmentKeepsItsProcedure(t *testing.T) {
	p, f := defaultProtocol(t), chicago(t)
	ordered := procedure(t, "p", knee, leftSite, based("ServiceRequest/s"), performed(opDay))
	for name, others := range map[string][]*Record{
		"alone":                          nil,
		"with a visit near the old date": {appointment(t, "b", "2026-11-25")},
		"rebooked after a cancellation":  {appointment(t, "b", opDay, based("ServiceRequest/s"), object{"status": "cancelled"})},
	} {
		t.Run(name, func(t *testing.T) {
			records := append([]*Record{appointment(t, "a", "2027-02-15", based("ServiceRequest/s")), ordered, order(t, "s", knee)}, others...)
			require.Equal(t, "Appointment/a Procedure/p ServiceRequest/s", memberships(Bookings(records, p, f))["Appointment/a"])
		})
	}
}

// The order in which resources arrived means nothing.
func TestOrderOfRecordsMeansNothing(t *testing.T) {
	p, f := defaultProtocol(t), chicago(t)
	records := []*Record{
		appointment(t, "a", opDay, kneeService), appointment(t, "b", "2026-12-03", kneeService),
		appointment(t, "c", "2027-03-01", hipService, based("ServiceRequest/s")),
		procedure(t, "l", knee, leftSite), procedure(t, "r", knee, rightSite, performed("2026-12-04")),
		procedure(t, "h", hip, based("ServiceRequest/s"), object{"encounter": ref("Encounter/e")}),
		procedure(t, "x", hip, performed("2027-05-03")), procedure(t, "y", hip, performed("2027-05-03")),
		order(t, "s", hip), order(t, "u", knee, object{"occurrenceDateTime": "2027-06-07"}),
		encounter(t, "e", object{"appointment": refs("Appointment/c")}),
	}
	want := Bookings(records, p, f)
	rapid.Check(t, func(rt *rapid.T) {
		require.Equal(rt, want, Bookings(rapid.Permutation(slices.Clone(records)).Draw(rt, "order"), p, f))
	})
}
