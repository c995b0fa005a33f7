package casework

import (
	"context"
	"net/url"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/search"
	"example.org/countback/services/countback/internal/store"
)

// Plans are the open cases in the order in which they were opened, each as it
// is served.
func TestPlans(t *testing.T) {
	h := newHouse(t)
	one, two, three := h.book("1", "2027-02-01"), h.book("2", surgery), h.book("3", "2026-12-01")
	h.work(two.plan, "first-call", status("accepted"))
	a := appointment("1", one.patient, "2027-02-01")
	h.put(by(a), a.with("status", "pending")) // held is open
	c := appointment("3", three.patient, "2026-12-01")
	h.put(by(c), c.with("status", "cancelled"))

	plans, err := h.office.Plans(context.Background())
	require.NoError(t, err)
	require.Len(t, plans, 2)
	for n, b := range []booked{one, two} {
		require.Equal(t, "CarePlan/"+b.plan, name(plans[n].CarePlan))
		require.Equal(t, string(h.get("CarePlan/"+b.plan).Raw), string(plans[n].CarePlan.Body))
		items := h.items(b.plan)
		require.Len(t, plans[n].Tasks, len(items))
		for k, i := range items {
			require.Equal(t, string(h.get("Task/"+i.ID).Raw), string(plans[n].Tasks[k].Body))
		}
	}
}

func TestNoPlans(t *testing.T) {
	h := newHouse(t)
	plans, err := h.office.Plans(context.Background())
	require.NoError(t, err)
	require.Empty(t, plans)
	list, err := h.office.Unplanned(context.Background())
	require.NoError(t, err)
	require.Empty(t, list)
	counts, err := h.office.Counts(context.Background())
	require.NoError(t, err)
	require.Equal(t, Counts{}, counts)
}

// Each reason why a booking has no open case.
func TestUnplanned(t *testing.T) {
	reason := func(codes ...res) func(res) res {
		return func(a res) res { return a.with("reasonCode", codes) }
	}
	hip := coded(snomed, hipCode)
	for _, row := range []struct {
		name   string
		make   func(h *house, patient string) string // gives the booking
		reason string
	}{
		{"another operation", asBooked(reason(coded(pcs, cholecystCode))), "no code says that it is a hip or knee replacement"},
		{"no code", asBooked(func(a res) res { return a.with("reasonCode", nil) }), "no code says that it is a hip or knee replacement"},
		{"a revision", asBooked(reason(hip, coded(pcs, revisionCode))), "a revision of an earlier joint replacement"},
		{"a broken bone", asBooked(reason(hip, coded("http://hl7.org/fhir/sid/icd-10-cm", fractureCode))), "a replacement for a broken bone"},
		{"an emergency", asBooked(func(a res) res {
			return a.with("appointmentType", coded("http://terminology.hl7.org/CodeSystem/v2-0276", "EMERGENCY"))
		}), "booked as an emergency"},
		{"called off before it was known", asBooked(func(a res) res { return a.with("status", "cancelled") }), "called off: cancelled"},
		{"nobody came", asBooked(func(a res) res { return a.with("status", "noshow") }), "called off: no-show"},
		{"called off afterwards", func(h *house, patient string) string {
			asBooked(func(a res) res { return a })(h, patient)
			return asBooked(func(a res) res { return a.with("status", "cancelled") })(h, patient)
		}, "called off: cancelled"},
		{"no day yet", asBooked(func(a res) res { return a.with("status", "proposed").with("start", nil).with("end", nil) }), "no day of surgery yet"},
		{"an order without a day", func(h *house, patient string) string { return h.store(order("1", patient)) }, "no day of surgery yet"},
		{"an old operation", func(h *house, patient string) string {
			return h.store(procedure("1", patient, rightHip, "2020-03-02").with("status", "completed"))
		}, "the day of surgery had passed when it was first heard of"},
		{"an appointment of last week", func(h *house, patient string) string {
			return h.store(appointment("1", patient, "2026-09-01").with("created", localTime("2026-06-01 09:00")))
		}, "the day of surgery had passed when it was first heard of"},
		{"an operation of today", func(h *house, patient string) string {
			return h.store(procedure("1", patient, rightHip, "2026-09-08").with("status", "completed"))
		}, "already performed, or not active"},
		{"an operation without a number", func(h *house, patient string) string {
			return name(h.put("Procedure", procedure("1", patient, rightHip, surgery).with("identifier", nil)).Stored)
		}, "no appointment yet, and no identifier to know it by"},
	} {
		t.Run(row.name, func(t *testing.T) {
			h := newHouse(t)
			patient := h.newPatient("1")
			ref := row.make(h, patient)
			list, err := h.office.Unplanned(context.Background())
			require.NoError(t, err)
			require.Equal(t, []Unplanned{{Booking: ref, Patient: patient, Reason: row.reason}}, list)
			plans, err := h.office.Plans(context.Background())
			require.NoError(t, err)
			require.Empty(t, plans)
		})
	}
	for what, b := range map[string]func(res) res{
		"planned": func(a res) res { return a },
		"held":    func(a res) res { return a.with("status", "pending") },
	} {
		t.Run(what+" is not listed", func(t *testing.T) {
			h := newHouse(t)
			h.book("1", surgery)
			asBooked(b)(h, name(h.found("Patient")[0]))
			list, err := h.office.Unplanned(context.Background())
			require.NoError(t, err)
			require.Empty(t, list)
		})
	}
}

// The sender of an appointment that opens no case is told so, and why; not the
// sender of anything else, nor of one that does.
func TestNoteToTheSender(t *testing.T) {
	h := newHouse(t)
	patient := h.newPatient("1")
	a := appointment("1", patient, surgery)
	require.Empty(t, h.put(by(a), a).Note)
	require.Equal(t, "it holds the case that has no date (no date)", h.put(by(a), a.with("status", "pending")).Note, "held, and open")
	require.Empty(t, h.put("Procedure", procedure("1", patient, cholecystCode, surgery)).Note)
	for _, row := range []struct {
		sent res
		want string
	}{
		{appointment("2", patient, surgery).with("reasonCode", nil), "no code says that it is a hip or knee replacement"},
		{appointment("3", patient, surgery).with("status", "proposed").with("start", nil).with("end", nil), "no day of surgery yet"},
		{appointment("4", "", surgery).with("participant", []res{{"actor": logical(personSystem, "P-nobody"), "status": "accepted"}}), "it names no patient who is known here"},
	} {
		require.Equal(t, "kept, and no case is opened: "+row.want, h.put(by(row.sent), row.sent).Note)
		before := h.everything()
		delete(before, "received")
		delete(before, "feed")
		for range 2 {
			again := h.put(by(row.sent), row.sent)
			require.False(t, again.Changed)
			require.Equal(t, "kept, and no case is opened: "+row.want, again.Note, "said again")
		}
		after := h.everything()
		delete(after, "received")
		delete(after, "feed")
		require.Equal(t, before, after)
	}
	a = a.with("status", "pending")
	require.Equal(t, "it holds the case that has no date (no date)", h.put(by(a), a).Note, "the same, held and open, said again")
}

func asBooked(change func(res) res) func(*house, string) string {
	return func(h *house, patient string) string { return h.store(change(appointment("1", patient, surgery))) }
}

func TestCounts(t *testing.T) {
	h := newHouse(t)
	h.book("1", surgery)
	h.book("2", surgery)
	b := h.book("3", surgery)
	a := appointment("3", b.patient, surgery)
	h.put(by(a), a.with("status", "cancelled"))
	counts, err := h.office.Counts(context.Background())
	require.NoError(t, err)
	require.Equal(t, []store.StateCount{{State: "cancelled", N: 1}, {State: "on-track", N: 2}}, counts.Cases)
	require.EqualValues(t, len(h.rows()), counts.Waiting)

	var marks []store.Mark
	for _, r := range h.rows() {
		marks = append(marks, store.Mark{Seq: r.Seq, StreamSeq: uint64(r.Seq)})
	}
	require.NoError(t, h.db.MarkPublished(context.Background(), marks))
	counts, err = h.office.Counts(context.Background())
	require.NoError(t, err)
	require.Zero(t, counts.Waiting)
}

// Tasks are found by what the store keeps of them, and come rendered.
func TestSearchOfTasks(t *testing.T) {
	h := newHouse(t)
	one, two := h.book("1", surgery), h.book("2", surgery)
	mine := h.work(one.plan, "first-call", status("accepted"), set("owner", ref("Practitioner/p-1")))
	for _, row := range []struct {
		query string
		want  int
	}{
		{"owner=Practitioner/p-1", 1},
		{"status=accepted", 1},
		{"code=first-call", 2},
		{"code=first-call&patient=" + two.patient, 1},
		{"group-identifier=" + one.plan, len(h.items(one.plan))},
		{"due=2026-09-11&group-identifier=" + one.plan, 3},
		{"status=completed", 0},
	} {
		values, err := url.ParseQuery(row.query)
		require.NoError(t, err)
		q, issues := search.Parse("Task", values, search.Options{Zone: chicago().Calendar.Zone()})
		require.Empty(t, issues)
		page, err := h.office.Search(context.Background(), q)
		require.NoError(t, err)
		require.Equal(t, row.want, page.Total, row.query)
		for _, s := range page.Items {
			require.Equal(t, string(h.get(name(s)).Raw), string(s.Body))
		}
		if row.want == 1 && row.query != "code=first-call&patient="+two.patient {
			require.Equal(t, mine.ID, page.Items[0].ID)
		}
	}
}
