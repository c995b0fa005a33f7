package casework

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/store"
	"example.org/countback/services/countback/internal/translate"
)

// noted are the bookings that are noted as having no open case.
func (h *house) noted() []store.Unplanned {
	h.t.Helper()
	var out []store.Unplanned
	require.NoError(h.t, h.db.Read(context.Background(), func(tx *store.Tx) (err error) {
		out, err = tx.AllUnplanned()
		return err
	}))
	return out
}

// A booking is noted with what it is and since when, once; it is taken away when
// it opens a case, goes to another person, or is deleted, and comes back when its
// case ends because it is no such operation any more.
func TestABookingWithoutACaseIsNoted(t *testing.T) {
	h := newHouse(t)
	patient, other := h.newPatient("1"), h.newPatient("2")
	revision := []res{coded(snomed, hipCode), coded(pcs, revisionCode)}
	a := appointment("1", patient, surgery).with("reasonCode", revision)
	ref := h.store(a)
	first := store.Unplanned{
		Patient: patient, Booking: ref, Reason: "a revision of an earlier joint replacement", Kind: translate.KeptJoint, Day: surgery, Since: h.clock().UTC(),
	}
	require.Equal(t, []store.Unplanned{first}, h.noted())

	h.setTo(h.clock().Add(24 * time.Hour))
	h.store(a.with("description", "told again"))
	require.Equal(t, []store.Unplanned{first}, h.noted(), "for the same reason it stands there as long as it did")

	h.store(a.with("reasonCode", []res{coded(snomed, hipCode)}))
	require.Empty(t, h.noted(), "it has a case")
	h.onlyCase(patient)

	h.setTo(h.clock().Add(24 * time.Hour))
	h.store(a)
	again := first
	again.Since = h.clock().UTC()
	require.Equal(t, []store.Unplanned{again}, h.noted(), "its case has ended")

	h.setTo(h.clock().Add(24 * time.Hour))
	h.store(a.with("participant", []res{{"actor": map[string]any{"reference": other}, "status": "accepted"}}))
	moved := again
	moved.Patient, moved.Since = other, h.clock().UTC()
	require.Equal(t, []store.Unplanned{moved}, h.noted(), "it is another person's")
}

// What a booking that opens no case is to who looks for one that was missed.
func TestWhatABookingWithoutACaseIs(t *testing.T) {
	hip := []res{coded(snomed, hipCode)}
	for _, row := range []struct {
		name string
		sent func(patient string) res
		kind string
	}{
		{"a revision alone", func(p string) res {
			return appointment("1", p, surgery).with("reasonCode", []res{coded(pcs, revisionCode)})
		}, translate.KeptJoint},
		{"an emergency", func(p string) res {
			return appointment("1", p, surgery).with("appointmentType", coded("http://terminology.hl7.org/CodeSystem/v2-0276", "EMERGENCY"))
		}, translate.KeptJoint},
		{"another operation, an emergency", func(p string) res {
			return appointment("1", p, surgery).with("reasonCode", []res{coded(pcs, cholecystCode)}).
				with("appointmentType", coded("http://terminology.hl7.org/CodeSystem/v2-0276", "EMERGENCY"))
		}, translate.KeptOther},
		{"without a day", func(p string) res { return order("1", p) }, translate.KeptJoint},
		{"some orthopaedic surgery", func(p string) res { return codeless("1", p, surgery) }, translate.KeptUnsaid},
		{"nothing at all", func(p string) res { return codeless("1", p, surgery).with("serviceType", nil) }, translate.KeptUnsaid},
		{"a visit to the clinic", func(p string) res {
			return codeless("1", p, surgery).with("serviceType", []res{coded("http://terminology.hl7.org/CodeSystem/service-type", "124")})
		}, translate.KeptOther},
		{"called off", func(p string) res {
			return appointment("1", p, surgery).with("reasonCode", hip).with("status", "cancelled")
		}, translate.KeptOver},
		{"done", func(p string) res { return procedure("1", p, rightHip, "2026-09-08").with("status", "completed") }, translate.KeptOver},
	} {
		t.Run(row.name, func(t *testing.T) {
			h := newHouse(t)
			h.store(row.sent(h.newPatient("1")))
			require.Len(t, h.noted(), 1)
			require.Equal(t, row.kind, h.noted()[0].Kind)
		})
	}
	t.Run("planned by an appointment", func(t *testing.T) {
		h := newHouse(t)
		b := h.book("1", surgery)
		h.store(order("1", b.patient).with("occurrenceDateTime", "2027-01-12"))
		require.Len(t, h.noted(), 1)
		require.Equal(t, translate.KeptOver, h.noted()[0].Kind)
	})
}

// A database from before is looked through once, and again for another protocol;
// what that plans for opens its case, unless its day is past.
func TestBookingsAreLookedThrough(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	codes := []res{coded(snomed, hipCode), coded(pcs, revisionCode)}
	ahead, past := appointment("2", h.newPatient("2"), "2027-03-01").with("reasonCode", codes), appointment("3", h.newPatient("3"), "2026-09-14").with("reasonCode", codes)
	h.store(ahead)
	h.store(past)
	h.store(appointment("4", h.newPatient("4"), surgery).with("reasonCode", nil))
	noted := h.noted()
	require.Len(t, noted, 3)
	old := func() { // as before there was a list
		require.NoError(t, h.db.Write(context.Background(), func(tx *store.Tx) error {
			for _, u := range noted {
				if err := tx.DeleteUnplanned(u.Patient, u.Booking); err != nil {
					return err
				}
			}
			return tx.SaveUnplanned(store.Unplanned{Patient: b.patient, Booking: b.appointment, Reason: "it was", Kind: translate.KeptJoint, Since: h.clock()})
		}))
	}
	old()
	h.set("2026-09-20 09:00")
	_, err := h.office.CatchUp(context.Background())
	require.NoError(t, err)
	require.Equal(t, noted, h.noted(), "since their messages came, not since they were looked through")
	old()
	_, err = h.office.CatchUp(context.Background())
	require.NoError(t, err)
	require.NotEqual(t, noted, h.noted(), "once is enough")

	h.close()
	h.open(protocolText(t, "1.3.0", `"expression": "!revision"`, `"expression": "!revision || revision"`))
	_, err = h.office.CatchUp(context.Background())
	require.NoError(t, err)
	require.Len(t, h.noted(), 1)
	require.Equal(t, translate.KeptUnsaid, h.noted()[0].Kind)
	require.Len(t, h.found("CarePlan"), 2, "the one to come has a case, the one past has none")
}

// The morning lists joint replacements to come that have no case, those that are
// news first, and only counts what may be one or has no day. A page goes on where
// the one before it ended.
func TestTheMorningListsBookingsWithoutACase(t *testing.T) {
	h := newHouse(t)
	revision := func(n, day string) string {
		return h.store(appointment(n, h.newPatient(n), day).with("reasonCode", []res{coded(pcs, revisionCode)}))
	}
	late, near, past := revision("1", "2027-03-01"), revision("2", "2026-12-01"), revision("3", "2026-09-09")
	h.set("2026-09-15 08:00")
	fresh := revision("4", "2027-02-01")
	h.store(codeless("5", h.newPatient("5"), surgery))
	h.store(order("6", h.newPatient("6")))
	h.store(procedure("7", h.newPatient("7"), cholecystCode, surgery))
	h.store(appointment("8", h.newPatient("8"), surgery).with("status", "cancelled"))

	m, err := h.office.Morning(context.Background(), MorningOptions{Rows: 9, More: 9})
	require.NoError(t, err)
	var listed []string
	for _, l := range m.Without.Lines {
		listed = append(listed, l.Booking)
	}
	require.Equal(t, []string{fresh, near, late}, listed)
	require.Equal(t, []int64{3, 1, 1}, []int64{m.Without.Total, m.Unsaid, m.Undated})
	first := m.Without.Lines[0]
	require.Equal(t, []string{"2027-02-01", "a revision of an earlier joint replacement", "QuillfeatherDiagnosis worn hip"},
		[]string{first.Day.String(), first.Reason, first.Says})

	var paged []string
	q := CaselessQuery{List: CaselessAll, Limit: 3}
	for {
		p, err := h.office.Caseless(context.Background(), q)
		require.NoError(t, err)
		require.EqualValues(t, 8, p.Total)
		for _, l := range p.Lines {
			paged = append(paged, l.Booking)
		}
		if q.After = p.Next; p.Next == (store.UnplannedPlace{}) {
			break
		}
	}
	require.Len(t, paged, 8)
	require.Equal(t, []string{past, near}, paged[1:3], "by day, those without one first")

	named, err := h.office.Caseless(context.Background(), CaselessQuery{List: CaselessAll, Words: "P-3", Limit: 9})
	require.NoError(t, err)
	require.Len(t, named.Lines, 1)
	require.Equal(t, past, named.Lines[0].Booking)
}

// A joint replacement that was booked for somebody who is not known here waits for
// them, and is listed meanwhile; also where it names nobody at all.
func TestABookingOfNobodyKnownIsNoted(t *testing.T) {
	h := newHouse(t)
	a := appointment("1", "", surgery).with("participant", []res{{"actor": logical(personSystem, "P-1"), "status": "accepted"}})
	room := appointment("2", "", surgery).with("participant", []res{{"actor": res{"display": "Theatre 1"}, "status": "accepted"}})
	h.store(codeless("3", "", surgery).with("participant", room["participant"])) // a room that is kept free, as far as one can tell
	waits, none := h.store(a), h.store(room)
	noted := h.noted()
	require.Len(t, noted, 2)
	for n, want := range []string{none, waits} {
		require.Equal(t, []string{want, "it names no patient who is known here", translate.KeptJoint},
			[]string{noted[n].Booking, noted[n].Reason, noted[n].Kind})
	}
	list, err := h.office.Caseless(context.Background(), CaselessQuery{List: CaselessJoint, Limit: 9})
	require.NoError(t, err)
	require.Equal(t, "Nobody who is known here", list.Lines[0].Person.Name)
	patient := h.newPatient("1")
	h.onlyCase(patient)
	require.Len(t, h.noted(), 1)
	h.store(appointment("2", patient, "2027-06-01"))
	require.Empty(t, h.noted())
}
