package casework

import (
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/event"
)

// However a booking ends: the plan is revoked, what was asked for is cancelled
// with the reason, and what was done stays done.
func TestTheBookingEnds(t *testing.T) {
	const gone = "The booking is no longer one that is planned for here: "
	for _, row := range []struct {
		name   string
		change func(a res) res
		why    string
	}{
		{"cancelled", func(a res) res { return a.with("status", "cancelled") }, "The operation was called off."},
		{"nobody came", func(a res) res { return a.with("status", "noshow") }, "The person did not come."},
		{"entered in error", func(a res) res { return a.with("status", "entered-in-error") }, "The booking had been entered in error."},
		{"it was another operation", func(a res) res { return a.with("reasonCode", []res{coded(pcs, cholecystCode)}) }, gone + "no code says that it is a hip or knee replacement."},
		{"it is a revision", func(a res) res { return a.with("reasonCode", []res{coded(pcs, revisionCode), coded(snomed, hipCode)}) }, gone + "a revision of an earlier joint replacement."},
		{"it is for a broken bone", func(a res) res {
			return a.with("reasonCode", []res{coded("http://hl7.org/fhir/sid/icd-10-cm", fractureCode), coded(snomed, hipCode)})
		}, gone + "a replacement for a broken bone."},
		{"it is an emergency", func(a res) res {
			return a.with("appointmentType", coded("http://terminology.hl7.org/CodeSystem/v2-0276", "EMERGENCY"))
		}, gone + "booked as an emergency."},
	} {
		t.Run(row.name, func(t *testing.T) {
			h := newHouse(t)
			b := h.worked()
			before, mark := byID(h.items(b.plan)), h.mark()
			a := row.change(appointment("1", b.patient, surgery))
			h.put(by(a), a)

			c := h.onlyCase(b.patient)
			require.Equal(t, "cancelled", c.State)
			require.False(t, c.Open)
			plan := h.get("CarePlan/" + b.plan)
			require.Equal(t, "revoked", plan.String("status"))
			require.Contains(t, plan.String("text", "div"), row.why)

			finished := 0
			for _, i := range h.items(b.plan) {
				was, there := before[i.ID]
				switch {
				case i.Step == tellStep:
					require.Equal(t, "requested", i.Status, "the person has to hear of it")
				case !there: // of evidence that cannot be said to count any longer
					require.Equal(t, "not-needed", i.State, i.Step)
				case was.Status == "completed":
					finished++
					require.Equal(t, "completed", i.Status, i.Step)
				default:
					require.Equal(t, []string{"not-needed", "cancelled"}, []string{i.State, i.Status}, i.Step)
					require.Equal(t, row.why, h.get("Task/"+i.ID).String("statusReason", "text"), i.Step)
				}
			}
			require.Equal(t, 5, finished)

			events := h.after(mark)
			require.Equal(t, event.CaseCancelled, events[0].Name())
			require.Equal(t, "cancelled", h.caseData(events, event.CaseCancelled).State)
			require.Contains(t, h.steps(events, event.TasksCancelled), "medical-evaluation")
			require.NotContains(t, h.steps(events, event.TasksCancelled), "first-call")
			var ends []string
			for _, p := range h.found("Provenance") {
				if r := parse(t, p.Body); r.String("activity", "coding", "code") == "CANCEL" {
					ends = append(ends, r.String("entity", "what", "reference"))
				}
			}
			require.Equal(t, []string{b.appointment + "/_history/2"}, ends)

			if row.name != "nobody came" { // who did not come is told of nothing that they do not know
				h.work(b.plan, tellStep, done(""), owner("Idony Quillwright"))
			}
			require.True(t, h.onlyCase(b.patient).NextAt.IsZero(), "nothing more happens with time")
		})
	}
}

// The same appointment is booked again: the same case goes on, with the work
// that still counts.
func TestBookedAgain(t *testing.T) {
	for what, day := range map[string]string{"for the same day": surgery, "for another day": "2027-02-08"} {
		t.Run(what, func(t *testing.T) {
			h := newHouse(t)
			b := h.worked()
			a := appointment("1", b.patient, surgery)
			h.put(by(a), a.with("status", "cancelled"))
			mark := h.mark()
			h.move("1", b.patient, day)

			c := h.onlyCase(b.patient)
			require.Equal(t, b.plan, c.ID)
			require.True(t, c.Open)
			require.Equal(t, "on-track", c.State)
			require.Equal(t, "active", h.get("CarePlan/"+b.plan).String("status"))
			require.Equal(t, "done", h.step(b.plan, "first-call").State)
			require.Equal(t, "requested", h.step(b.plan, "name-coach").Status)
			require.Contains(t, h.steps(h.after(mark), event.TasksReopened), "name-coach")
			ride := h.rounds(b.plan, "ride-home")
			if day == surgery {
				require.Equal(t, []string{event.CaseOnTrack, event.TasksReopened, event.TasksChanged}, names(h.after(mark)))
				require.Equal(t, []string{tellStep}, h.steps(h.after(mark), event.TasksChanged))
				require.Len(t, ride, 1)
				require.Equal(t, "done", ride[0].State)
			} else {
				require.Contains(t, names(h.after(mark)), event.CaseRedated)
				require.Len(t, ride, 2)
				require.Equal(t, ride[0].ID, ride[1].Replaces)
			}
		})
	}
}

// The codes are corrected twice: to no joint replacement, and back.
func TestCodesCorrectedAndBack(t *testing.T) {
	h := newHouse(t)
	b := h.worked()
	a := appointment("1", b.patient, surgery)
	h.put(by(a), a.with("reasonCode", nil))
	require.Equal(t, "cancelled", h.onlyCase(b.patient).State)
	h.put(by(a), a.with("reasonCode", []res{coded(snomed, kneeCode)}))
	c := h.onlyCase(b.patient)
	require.Equal(t, b.plan, c.ID)
	require.Equal(t, "on-track", c.State)
	require.Contains(t, h.get("CarePlan/"+b.plan).String("text", "div"), "knee replacement")
}

// A booking that was filed under the wrong person moves to the right one: the
// wrong one's case ends, the right one's opens; the other way round as well.
func TestTheBookingOfSomebodyElse(t *testing.T) {
	h := newHouse(t)
	b := h.worked()
	h.work(b.plan, "surgical-consent", done("")) // which another operation would void
	other := name(h.put("Patient", person("2")).Stored)
	mark, windows := h.mark(), h.windows(b.plan)
	h.move("1", other, surgery)

	old, fresh := h.onlyCase(b.patient), h.onlyCase(other)
	require.Equal(t, []string{"cancelled", "on-track"}, []string{old.State, fresh.State})
	require.Equal(t, []bool{false, true}, []bool{old.Open, fresh.Open})
	require.Equal(t, b.plan, old.ID)
	require.Equal(t, b.patient, h.get("CarePlan/"+old.ID).String("subject", "reference"))
	require.Equal(t, other, h.get("CarePlan/"+fresh.ID).String("subject", "reference"))
	require.Equal(t, "revoked", h.get("CarePlan/"+old.ID).String("status"))
	require.Contains(t, h.get("CarePlan/"+old.ID).String("text", "div"), "The booking now belongs to another plan or another person.")
	require.Equal(t, "requested", h.step(fresh.ID, "first-call").Status, "nobody has called this person")
	for _, step := range []string{"ride-home", "surgical-consent"} {
		require.Equal(t, "done", h.step(old.ID, step).State, "what was done was done")
	}
	stands := h.windows(old.ID)
	delete(stands, tellStep)
	require.Equal(t, windows, stands, "the plan that ended says what it said")
	for _, i := range h.items(old.ID) {
		if i.Step == tellStep { // who was called about it is told
			require.Equal(t, "requested", i.Status)
			continue
		}
		require.Contains(t, []string{"completed", "cancelled"}, i.Status, i.Step)
		require.Equal(t, b.patient, h.get("Task/"+i.ID).String("for", "reference"))
	}
	events := h.after(mark)
	require.Contains(t, names(events), event.CaseOpened)
	require.Equal(t, old.ID, h.caseData(events, event.CaseCancelled).CarePlan)
	require.Equal(t, fresh.ID, h.caseData(events, event.CaseOpened).CarePlan)

	h.move("1", b.patient, surgery)
	require.Equal(t, "on-track", h.onlyCase(b.patient).State)
	require.Equal(t, "cancelled", h.onlyCase(other).State)
	require.Equal(t, "done", h.step(b.plan, "ride-home").State)
}

// Nobody's appointment belongs to nobody's case; one that had a person and has
// none ends that person's.
func TestTheBookingOfNobody(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	a := appointment("1", b.patient, surgery).with("participant", []res{{"actor": res{"display": "to be named"}, "status": "accepted"}})
	h.put(by(a), a)
	require.Equal(t, "cancelled", h.onlyCase(b.patient).State)
}

// Work on the Tasks of a case that ended is still recorded: a note is a note.
func TestWorkAfterTheEnd(t *testing.T) {
	for what, end := range map[string]func(h *house, b booked){
		"cancelled": func(h *house, b booked) {
			a := appointment("1", b.patient, surgery)
			h.put(by(a), a.with("status", "cancelled"))
		},
		"moved to another person": func(h *house, _ booked) {
			h.move("1", name(h.put("Patient", person("2")).Stored), surgery)
		},
	} {
		t.Run(what, func(t *testing.T) {
			h := newHouse(t)
			b := h.worked()
			end(h, b)
			was := h.step(b.plan, "medical-evaluation")
			now := h.work(b.plan, "medical-evaluation", set("note", []res{{"text": "the clinic was told"}}))
			require.Equal(t, was.Version+1, now.Version)
			require.Equal(t, "cancelled", now.Status)
			require.Equal(t, "the clinic was told", h.get("Task/"+now.ID).String("note", "text"))
		})
	}
}

// Postponed without a date: held; what needs a date is a draft, what must wait
// is paused, and the rest is still asked for.
func TestNoDateForNow(t *testing.T) {
	for _, status := range []string{"proposed", "pending", "waitlist"} {
		t.Run(status, func(t *testing.T) {
			h := newHouse(t)
			b := h.worked()
			mark := h.mark()
			a := appointment("1", b.patient, surgery)
			h.put(by(a), a.with("status", status))

			require.Equal(t, "held", h.onlyCase(b.patient).State)
			plan := h.get("CarePlan/" + b.plan)
			require.Equal(t, "on-hold", plan.String("status"))
			require.Contains(t, plan.String("text", "div"), "Held: no date (the booking has no confirmed date).")
			for _, row := range []struct{ step, state, status string }{
				{"first-call", "done", "completed"},
				{"ride-home", "done", "completed"}, // there is no other date that it would not be for
				{"medical-evaluation", "upcoming", "draft"},
				{"arrival-call", "paused", "on-hold"},
				{"stop-clear-fluids", "paused", "on-hold"},
				{"long-interval-medicine-screen", "due", "requested"},
			} {
				i := h.step(b.plan, row.step)
				require.Equal(t, []string{row.state, row.status}, []string{i.State, i.Status}, row.step)
			}
			require.Empty(t, h.step(b.plan, "medical-evaluation").Due)
			events := h.after(mark)
			held := h.caseData(events, event.CaseHeld)
			require.Equal(t, "held", held.State)
			require.Empty(t, held.SurgeryDate)
			require.Contains(t, h.steps(events, event.TasksPaused), "arrival-call")

			// What is paused cannot be worked.
			_, err := h.tryWork(h.step(b.plan, "arrival-call").ID, done(""))
			require.ErrorIs(t, err, ErrInvalid)

			mark = h.mark()
			h.move("1", b.patient, "2027-02-08")
			events = h.after(mark)
			require.Equal(t, event.CaseReleased, events[0].Name())
			require.Equal(t, "2027-02-08", h.caseData(events, event.CaseReleased).SurgeryDate)
			require.Contains(t, h.steps(events, event.TasksResumed), "arrival-call")
			require.Equal(t, "upcoming", h.step(b.plan, "arrival-call").State)
			require.Len(t, h.rounds(b.plan, "ride-home"), 2)
		})
	}
}

// The order is put on hold: the date stays, and nothing that counts from it may
// be started; held it is until the order is active again.
func TestOrderOnHold(t *testing.T) {
	h := newHouse(t)
	patient := h.newPatient("1")
	o := h.store(order("1", patient))
	h.store(appointment("1", patient, surgery).with("basedOn", []res{ref(o)}))
	plan := h.onlyCase(patient).ID
	before, mark := h.windows(plan), h.mark()
	h.store(order("1", patient).with("status", "on-hold"))
	require.Equal(t, "held", h.onlyCase(patient).State)
	require.Equal(t, surgery, h.caseData(h.after(mark), event.CaseHeld).SurgeryDate)
	after := h.windows(plan)
	delete(after, "clear-hold")
	require.Equal(t, before, after)
	require.Equal(t, "open", h.step(plan, "clear-hold").State)
	require.Equal(t, "paused", h.step(plan, "arrival-call").State)
	require.Equal(t, "due", h.step(plan, "first-call").State)
	mark = h.mark()
	h.store(order("1", patient))
	require.Equal(t, []string{event.CaseReleased, event.TasksResumed, event.TasksCancelled}, names(h.after(mark)))
}

// A booking that begins without a date opens no case until it has one.
func TestNoDateYet(t *testing.T) {
	h := newHouse(t)
	patient := name(h.put("Patient", person("1")).Stored)
	a := appointment("1", patient, surgery).with("start", nil).with("end", nil).with("status", "proposed")
	h.put(by(a), a)
	require.Empty(t, h.cases(patient))
	h.move("1", patient, surgery)
	require.Equal(t, []string{event.CaseOpened, event.TasksOpened}, names(h.after(0)))
	h.onlyCase(patient)
}
