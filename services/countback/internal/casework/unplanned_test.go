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
