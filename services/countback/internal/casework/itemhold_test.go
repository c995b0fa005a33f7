package casework

import (
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/event"
)

// signed is a case with warfarin, signed by its prescriber, for Mon 2027-01-11:
// the last dose is on Tue 5 January (5 whole days without a dose: CHEST 2022,
// secondary).
func (h *house) signed() booked {
	h.t.Helper()
	b := h.book("1", surgery)
	m := takes("1", b.patient, "11289", "warfarin")
	h.put(by(m), m)
	h.set("2026-12-15 09:00")
	h.work(b.plan, "medicine-review", done(""))
	h.work(b.plan, "medicine-sign-off", done(""), named("Dr Example Prescriber"))
	return b
}

// takenOn completes the last dose at an instant.
func takenOn(when string) edit {
	return func(task res) {
		task["status"], task["executionPeriod"] = "completed", res{"end": localTime(when)}
	}
}

// kinds are the open holds of a person, in words.
func (h *house) kinds(patient string) []string {
	out := []string{}
	for _, f := range h.flags(patient) {
		if f.String("status") == "active" {
			out = append(out, f.String("code", "coding", "code"))
		}
	}
	return out
}

// A last dose that nobody confirmed by the end of its day holds the case from
// that moment, asks the prescriber, pauses what waits but not the last dose
// itself, and is released by a named person only.
func TestUnconfirmedLastDoseHolds(t *testing.T) {
	h := newHouse(t)
	b := h.signed()
	h.tick("2027-01-05 23:59:59")
	require.Empty(t, h.kinds(b.patient))
	mark := h.mark()
	h.tick("2027-01-06 00:00")
	require.Equal(t, "held", h.caseRow(b.plan).State)
	require.Equal(t, []string{"medicine-timing"}, h.kinds(b.patient))
	flag := h.flags(b.patient)[0]
	require.Equal(t, "drug", flag.String("category", "coding", "code"))
	stop := h.step(b.plan, "medicine-stop")
	require.Contains(t, string(flag.Raw), `"Task/`+stop.ID+`"`, "the Flag names the Task that shows it")
	require.Contains(t, string(flag.Raw), "Warfarin, last dose of a medicine (by Tue 5 Jan 2027): nobody has confirmed that the last dose was taken in time")
	require.Contains(t, names(h.after(mark)), event.CaseHeld)
	require.Equal(t, "missed", stop.State, "it would clear the hold, so that it is not paused")
	require.Equal(t, "paused", h.step(b.plan, "antiseptic-wash-1").State)
	task := h.get("Task/" + h.step(b.plan, "clear-hold").ID)
	require.Equal(t, "prescriber", task.String("performerType", "coding", "code"))
	require.Equal(t, 1, task.Get("performerType").Len())

	// Confirmed now, as taken in time: that makes the hold one that may be
	// released, and releases nothing.
	h.work(b.plan, "medicine-stop", takenOn("2027-01-05 08:00"), because("", "found in her notes"))
	require.Equal(t, "done", h.step(b.plan, "medicine-stop").State)
	require.Equal(t, []string{"medicine-timing"}, h.kinds(b.patient))
	require.Contains(t, h.get("CarePlan/"+b.plan).String("text", "div"), "a named person may release it")
	_, err := h.tryWork(h.step(b.plan, "clear-hold").ID, release("", "it was in time"))
	require.ErrorIs(t, err, ErrInvalid)
	h.work(b.plan, "clear-hold", release("Dr Example Prescriber", "Taken in time."))
	require.Empty(t, h.kinds(b.patient))
	require.Contains(t, string(h.flags(b.patient)[0].Raw), "Released by Dr Example Prescriber: Taken in time.")
	require.Equal(t, "upcoming", h.step(b.plan, "antiseptic-wash-1").State)
}

// The prescriber's word stands for a last dose that nobody confirmed, for the
// day of surgery that it was given for and no other.
func TestReleaseStandsForTheLastDose(t *testing.T) {
	h := newHouse(t)
	b := h.signed()
	h.tick("2027-01-06 09:00")
	h.work(b.plan, "clear-hold", release("Dr Example Prescriber", "Asked by telephone."))
	require.Empty(t, h.kinds(b.patient))
	require.NotContains(t, h.get("CarePlan/"+b.plan).String("text", "div"), "“Last dose of a medicine” can no longer be done in time")

	h.move("1", b.patient, "2027-01-25") // last dose on the 19th
	require.Empty(t, h.kinds(b.patient))
	h.tick("2027-01-20 00:00")
	require.Contains(t, h.kinds(b.patient), "medicine-timing", "another date is another question")
}

// What holds for its timing, and what does not. Days by hand: see signed.
func TestMedicineTiming(t *testing.T) {
	dose := func(h *house, b booked, day string) {
		m := takes("1", b.patient, "11289", "warfarin").with("effectiveDateTime", day)
		h.put(by(m), m)
	}
	for _, r := range []struct {
		name string
		then func(h *house, b booked)
		when string
		held bool
		says string
	}{
		{"taken on the day", func(h *house, b booked) {
			h.set("2027-01-05 21:00")
			h.work(b.plan, "medicine-stop", takenOn("2027-01-05 20:00"))
		}, "2027-01-06 09:00", false, ""},
		{"taken the day after", func(h *house, b booked) {
			h.set("2027-01-06 08:00")
			h.work(b.plan, "medicine-stop", takenOn("2027-01-06 07:00"))
		}, "2027-01-06 09:00", true, "a dose was taken later than the last dose that was planned"},
		{"confirmed, and contradicted by a record", func(h *house, b booked) {
			h.set("2027-01-05 21:00")
			h.work(b.plan, "medicine-stop", takenOn("2027-01-05 20:00"))
			h.set("2027-01-08 08:00")
			dose(h, b, "2027-01-07")
		}, "2027-01-08 09:00", true, "a dose was taken later than the last dose that was planned"},
		{"confirmed, and a record of the same day", func(h *house, b booked) {
			h.set("2027-01-05 21:00")
			h.work(b.plan, "medicine-stop", takenOn("2027-01-05 20:00"))
			dose(h, b, "2027-01-05")
		}, "2027-01-06 09:00", false, ""},
		{"a dose that is still to come holds when its day comes", func(h *house, b booked) {
			h.set("2027-01-05 21:00")
			h.work(b.plan, "medicine-stop", takenOn("2027-01-05 20:00"))
			dose(h, b, "2027-01-08")
		}, "2027-01-08 00:00", true, "a dose was taken later"},
		{"and not before", func(h *house, b booked) {
			h.set("2027-01-05 21:00")
			h.work(b.plan, "medicine-stop", takenOn("2027-01-05 20:00"))
			dose(h, b, "2027-01-08")
		}, "2027-01-07 23:59:59", false, ""},
		{"never signed, so that nobody was told", func(h *house, b booked) {
			h.work(b.plan, "medicine-sign-off", status("requested"), because("", "signed for another person"))
		}, "2027-01-06 09:00", true, "nobody has confirmed"},
		{"entered in error", func(h *house, b booked) {
			h.tick("2027-01-06 08:00")
			m := takes("1", b.patient, "11289", "warfarin").with("status", "entered-in-error")
			h.put(by(m), m)
		}, "2027-01-06 09:00", false, ""},
		{"stopped by somebody else: a person looks", func(h *house, b booked) {
			h.tick("2027-01-06 08:00")
			m := takes("1", b.patient, "11289", "warfarin").with("status", "stopped")
			h.put(by(m), m)
		}, "2027-01-06 09:00", true, "a named person may release it"},
	} {
		t.Run(r.name, func(t *testing.T) {
			h := newHouse(t)
			b := h.signed()
			r.then(h, b)
			h.tick(r.when)
			if !r.held {
				require.Empty(t, h.kinds(b.patient))
				return
			}
			require.Equal(t, []string{"medicine-timing"}, h.kinds(b.patient))
			require.Contains(t, string(h.flags(b.patient)[0].Raw), r.says)
		})
	}
}

// A biologic whose window is over on the day: adalimumab every two weeks, with
// surgery in the third week after the last dose (American College of
// Rheumatology with the American Association of Hip and Knee Surgeons, 2022,
// doi 10.1002/acr.24893, published). For 11 January the dose lies in 22..28
// December; one of the 22nd is still inside, one of the 8th is too old.
func TestBiologicOutsideItsWindow(t *testing.T) {
	for last, held := range map[string]bool{"2026-12-08": true, "2026-12-23": false, "2026-12-29": true} {
		t.Run(last, func(t *testing.T) {
			h := newHouse(t)
			b := h.book("1", surgery)
			m := takes("1", b.patient, "327361", "adalimumab").with("effectiveDateTime", last).
				with("dosage", []res{{"timing": res{"repeat": res{"frequency": 1, "period": 2, "periodUnit": "wk"}}}})
			h.put(by(m), m)
			h.set("2026-12-10 09:00")
			h.work(b.plan, "medicine-review", done(""))
			h.work(b.plan, "medicine-sign-off", done(""), named("Dr Example Prescriber"))
			if last == "2026-12-23" {
				h.set("2026-12-23 12:00")
				h.work(b.plan, "medicine-stop", takenOn("2026-12-23 10:00"))
			}
			h.tick("2027-01-05 09:00")
			if !held {
				require.NotContains(t, h.kinds(b.patient), "medicine-timing")
				return
			}
			require.Contains(t, h.kinds(b.patient), "medicine-timing")
			why := map[string]string{"2026-12-08": "surgery lies after the window that follows the last dose on record", "2026-12-29": "a dose was taken later"}
			require.Contains(t, h.get("CarePlan/"+b.plan).String("text", "div"), why[last])
		})
	}
}

// A must that was missed holds the case until it is done after all, by whoever
// does it; nobody has to release it. One that could never be met from the day on
// which the date became known makes the date infeasible instead.
func TestMissingEvidenceHolds(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	h.tick("2027-01-09 23:59:59")
	require.Empty(t, h.kinds(b.patient))
	mark := h.mark()
	h.tick("2027-01-10 00:00") // implants were to be confirmed by D-2
	require.Equal(t, []string{"evidence-missing"}, h.kinds(b.patient))
	require.Contains(t, names(h.after(mark)), event.CaseHeld)
	require.Contains(t, h.get("CarePlan/"+b.plan).String("text", "div"), "it was not done by its last day")
	require.Equal(t, "pre-op-nurse", h.get("Task/"+h.step(b.plan, "clear-hold").ID).String("performerType", "coding", "code"))

	for _, i := range h.items(b.plan) { // whatever was missed is done after all
		if i.State == "missed" {
			_, err := h.tryWork(i.ID, done(""), named("Maud Fennimore"), because("", "done, and found in the notes"))
			require.NoError(t, err, i.Step)
		}
	}
	require.Empty(t, h.kinds(b.patient))
	require.Contains(t, string(h.flags(b.patient)[0].Raw), "Ended: for the date that stands, nothing that it waited for is missing.")

	other := h.book("2", "2027-01-11") // tomorrow: it could never be met
	require.Empty(t, h.kinds(other.patient))
	require.Equal(t, "infeasible", h.caseRow(other.plan).State)
}

// Evidence that has become too old holds the case once fewer than five business
// days are left to get it again. The date moves from 11 to 25 January: a visit
// of 20 December is then 36 days old, and counts for 30. Business days before
// the 25th: 22, 21, 20, 19 (the 18th is a holiday), so that five are left until
// the end of Friday the 15th, and four from Saturday the 16th on.
func TestExpiredEvidenceHolds(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	h.set("2026-12-20 09:00")
	h.work(b.plan, "medical-evaluation", done("2026-12-20"))
	h.move("1", b.patient, "2027-01-25")
	require.Len(t, h.rounds(b.plan, "medical-evaluation"), 2)
	h.tick("2027-01-15 23:59:59")
	require.Empty(t, h.kinds(b.patient))
	h.tick("2027-01-16 00:00")
	require.Equal(t, []string{"evidence-missing"}, h.kinds(b.patient))
	require.Contains(t, h.get("CarePlan/"+b.plan).String("text", "div"), "it is too old for the day of surgery and has not been done again")
	h.set("2027-01-19 09:00")
	h.work(b.plan, "medical-evaluation", done(""))
	require.Empty(t, h.kinds(b.patient))
}

// A must that somebody could not do is missing too.
func TestAMustThatFailedHolds(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	mark := h.mark()
	i := h.work(b.plan, "first-call", status("failed"), because("", "the number is wrong"))
	require.Equal(t, []string{"missed", "failed"}, []string{i.State, i.Status})
	require.Equal(t, []string{event.CaseHeld, event.TasksMissed, event.TasksPaused, event.TasksOpened}, names(h.after(mark)))
	require.Equal(t, []string{"evidence-missing"}, h.kinds(b.patient))
	flag := string(h.flags(b.patient)[0].Raw)
	require.Contains(t, flag, "it could not be done: the number is wrong")
	require.NotContains(t, flag, "it was not done by its last day", "that is still to come")
	for _, row := range h.rows()[mark:] {
		require.NotContains(t, string(row.Body), "the number is wrong", "what somebody wrote leaves in no event")
	}
}
