package casework

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/translate"
)

// decides is an output by which a prescriber decides for a medicine.
func decides(code string) res {
	return res{"type": coded(translate.SystemOutput, translate.OutputDecision), "valueCodeableConcept": coded(translate.SystemDecision, code)}
}

func whyText(text string) edit { return set("statusReason", res{"text": text}) }

// onWarfarin is a case in which the list of medicines was made.
func (h *house) onWarfarin() booked {
	h.t.Helper()
	b := h.book("1", surgery)
	m := takes("1", b.patient, "11289", "warfarin")
	h.put(by(m), m)
	h.set("2026-12-15 09:00")
	h.work(b.plan, "medicine-review", done(""))
	return b
}

// A prescriber signs that the medicine goes on: nothing of it is to be stopped,
// confirmed or begun again, the must is met, no hold comes, and the plan and the
// sheet say who signed. For another date it is asked again.
func TestAMedicineGoesOnAsSigned(t *testing.T) {
	h := newHouse(t)
	b := h.onWarfarin()
	h.work(b.plan, "medicine-sign-off", done(""), named("Dr Example Prescriber"), set("output", []res{decides("go-on")}), whyText("Mechanical valve."))
	const says = "Warfarin goes on as usual before surgery, as Dr Example Prescriber signed: Mechanical valve."
	for _, step := range []string{"medicine-stop", "last-dose-confirmed", "medicine-restart"} {
		i := h.step(b.plan, step)
		require.Equal(t, []string{"not-needed", "cancelled"}, []string{i.State, i.Status}, step)
		require.Equal(t, says, h.get("Task/"+i.ID).String("statusReason", "text"), step)
	}
	require.Contains(t, h.advice(b.plan, "medicine-sign-off"), "Warfarin: goes on as usual before surgery, as Dr Example Prescriber signed: Mechanical valve. The rules say:")
	require.Contains(t, h.advice(b.plan, "medicine-review"), "Warfarin: goes on as usual before surgery, as Dr Example Prescriber signed")
	out, err := h.office.Handout(context.Background(), b.plan)
	require.NoError(t, err)
	require.Equal(t, []translate.GoesOn{{Medicine: "Warfarin", SignedBy: "Dr Example Prescriber"}}, out.GoesOn)

	h.work(b.plan, "look-at-late-dose", done(""), named("Dr Wendeline Thatchmarsh"), set("output", []res{agreed(true)}))
	h.tick("2027-01-08 12:00") // past the day of the last dose
	require.NotContains(t, h.kinds(b.patient), "medicine-timing")

	h.move("1", b.patient, "2027-03-15")
	require.NotEqual(t, "done", h.step(b.plan, "medicine-sign-off").State, "it was signed for another date")
	require.NotEqual(t, "not-needed", h.step(b.plan, "medicine-stop").State)
	out, err = h.office.Handout(context.Background(), b.plan)
	require.NoError(t, err)
	require.Empty(t, out.GoesOn)
}

// A reference that names nobody is no name for the sheet.
func TestNoSheetWithoutAName(t *testing.T) {
	h := newHouse(t)
	b := h.onWarfarin()
	h.work(b.plan, "medicine-sign-off", done(""), set("owner", res{"reference": "Practitioner/nobody-here"}), set("output", []res{decides("go-on")}), whyText("Mechanical valve"))
	out, err := h.office.Handout(context.Background(), b.plan)
	require.NoError(t, err)
	require.Empty(t, out.GoesOn)
}

// The last dose was taken before the prescriber signed that it goes on: the
// person is without it, so that the restart is decided all the same, and no
// sheet says to go on.
func TestGoesOnAfterTheLastDose(t *testing.T) {
	h := newHouse(t)
	b := h.onWarfarin()
	h.work(b.plan, "medicine-stop", done("2026-12-15"))
	h.work(b.plan, "medicine-sign-off", done(""), named("Dr Example Prescriber"), set("output", []res{decides("go-on")}), whyText("Mechanical valve"))
	require.NotEqual(t, "not-needed", h.step(b.plan, "medicine-restart").State)
	require.NotEqual(t, "not-needed", h.step(b.plan, "last-dose-confirmed").State)
	out, err := h.office.Handout(context.Background(), b.plan)
	require.NoError(t, err)
	require.Empty(t, out.GoesOn)
}

// The desk signs the same, in words of its own; what it lacks is refused.
func TestTheDeskSigns(t *testing.T) {
	for _, c := range []struct {
		name   string
		act    Act
		refuse string
		stop   string // how the last dose then stands
		note   string
	}{
		{"as advised", Act{Signs: SignAdvised}, "", "open requested 2027-01-05", "Signed: the last dose as advised. Dr Example Prescriber."},
		{"another day", Act{Signs: SignOtherDay, Dose: "2027-01-03", Reason: "Frail."}, "", "open requested 2027-01-03", "Signed: last dose 2027-01-03. Dr Example Prescriber. Frail."},
		{"another day and hour", Act{Signs: SignOtherDay, Dose: "2027-01-03", DoseAt: "20:00", Reason: "Frail"}, "", "open requested 2027-01-03", "Signed: last dose 2027-01-03 20:00. Dr Example Prescriber. Frail."},
		{"another day without a reason", Act{Signs: SignOtherDay, Dose: "2027-01-03"}, "say why another last dose", "", ""},
		{"another day that is none", Act{Signs: SignOtherDay, Dose: "soon", Reason: "Frail"}, "on which day", "", ""},
		{"an hour that is none", Act{Signs: SignOtherDay, Dose: "2027-01-03", DoseAt: "noon", Reason: "Frail"}, "not a time of day", "", ""},
		{"goes on", Act{Signs: SignGoOn, Reason: "Valve"}, "", "not-needed cancelled ", "Signed: goes on as usual. Dr Example Prescriber. Valve."},
		{"goes on without a reason", Act{Signs: SignGoOn}, "say why the medicine goes on", "", ""},
		{"not taken", Act{Signs: SignNotTaken, Reason: "Stopped in June"}, "", "not-needed cancelled ", "Signed: not taken. Dr Example Prescriber. Stopped in June."},
		{"something else", Act{Signs: "perhaps"}, "does not say what was signed", "", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			h := newHouse(t)
			b := h.onWarfarin()
			c.act.TaskID, c.act.Does, c.act.By, c.act.Owner = h.step(b.plan, "medicine-sign-off").ID, ActSign, "Idony Quillfeather", "Dr Example Prescriber"
			c.act.Meant = c.act.Signs == SignGoOn // else it is asked whether it is meant
			_, err := h.office.Act(context.Background(), c.act)
			if c.refuse != "" {
				require.ErrorContains(t, err, c.refuse)
				require.NotEqual(t, "done", h.step(b.plan, "medicine-sign-off").State)
				return
			}
			require.NoError(t, err)
			if i := h.step(b.plan, "medicine-stop"); c.stop == "not-needed cancelled " {
				require.Equal(t, c.stop, i.State+" "+i.Status+" ")
			} else {
				require.Contains(t, h.look(b.plan, "medicine-stop"), c.stop)
			}
			notes := h.get("Task/" + c.act.TaskID).Get("note")
			require.Equal(t, c.note, notes.Item(0).String("text"))
		})
	}
}

// Facts are missing, so that no last dose comes out: the case does not reach its
// day without a hold. Four whole days for dabigatran at the strictest make Wed 6
// January the earliest last dose for Mon 2027-01-11 (CHEST 2022, secondary).
// What others say of the last dose decides nothing.
func TestAnUndecidedMedicineHoldsTheCase(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	m := takes("1", b.patient, "1037042", "dabigatran")
	h.put(by(m), m)
	require.Equal(t, "upcoming draft ", h.look(b.plan, "medicine-stop"))
	stop := h.step(b.plan, "medicine-stop").ID
	_, err := h.tryWork(stop, set("status", "cancelled"), set("statusReason", res{"coding": []res{{"system": translate.SystemReason, "code": "not-needed"}}, "text": "never took it"}))
	require.ErrorContains(t, err, "a prescriber's to sign")
	_, err = h.tryWork(stop, set("status", "requested"))
	require.ErrorContains(t, err, "cannot go from draft to requested")

	h.tick("2027-01-05 23:59:59")
	require.NotContains(t, h.kinds(b.patient), "medicine-timing")
	require.False(t, h.caseRow(b.plan).NextAt.After(at("2027-01-07 00:00")), "the tick finds it")
	h.tick("2027-01-07 00:00")
	require.Contains(t, h.kinds(b.patient), "medicine-timing")
	require.Contains(t, h.get("CarePlan/"+b.plan).String("text", "div"), "Dabigatran, last dose of a medicine: no prescriber has signed what becomes of it before surgery")

	// A signature ends what was wrong; the hold is a person's to release.
	h.work(b.plan, "medicine-sign-off", done(""), named("Dr Example Prescriber"), set("output", []res{decides("go-on")}), whyText("Clot last month"))
	require.Contains(t, h.kinds(b.patient), "medicine-timing")
	require.Contains(t, h.get("CarePlan/"+b.plan).String("text", "div"), "a named person may release it")
}

// A medicine that no rule knows: a prescriber decides, late and missed like any
// must, and an undecided one holds the case. Days by hand for Mon 2027-01-11:
// three business days before D-14 (Mon 28 December) are Tue 22 December,
// Christmas being closed; the last business day before surgery is Fri 8 January.
func TestAMedicineThatNoRuleKnows(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	m := res{
		"resourceType": "MedicationStatement", "identifier": numbered(staySystem, "M-1"), "status": "active",
		"medicationCodeableConcept": res{"text": "grandmother's drops"}, "subject": ref(b.patient),
	}
	h.put(by(m), m)
	require.Equal(t, "upcoming draft 2026-12-22", h.look(b.plan, "medicine-sign-off"))
	require.Equal(t, "upcoming draft ", h.look(b.plan, "medicine-stop"))
	require.Contains(t, h.advice(b.plan, "medicine-sign-off"), "Grandmother's drops: no rule here knows it; a prescriber decides: it goes on, has a last dose on a day, or is not taken.")
	for _, e := range h.after(0) {
		require.NotContains(t, string(e.Data), "drops", "keys and events carry no free text")
	}
	out, err := h.office.Handout(context.Background(), b.plan)
	require.NoError(t, err)
	for _, l := range out.Lines {
		require.Empty(t, l.SignedBy)
		require.False(t, l.Part == translate.PartMedicine && l.Item.Applies == readiness.Yes, "no line of an undecided one")
	}

	h.set("2026-12-10 09:00")
	h.work(b.plan, "medicine-review", done(""))
	h.tick("2026-12-23 09:00")
	require.Equal(t, "late", h.step(b.plan, "medicine-sign-off").State)
	h.tick("2027-01-07 23:59:59")
	require.NotContains(t, h.kinds(b.patient), "medicine-timing")
	h.tick("2027-01-08 00:00")
	require.Contains(t, h.kinds(b.patient), "medicine-timing")
	h.tick("2027-01-11 00:00")
	require.Equal(t, "missed", h.step(b.plan, "medicine-sign-off").State)
}

// Of the three decisions on it, each is signed by a person with a name; without
// one of them nothing is.
func TestDecidedThoughNoRuleKnowsIt(t *testing.T) {
	for _, c := range []struct {
		name, stop string
		out        []res
	}{
		{"it goes on", "not-needed cancelled ", []res{decides("go-on")}},
		{"it is not taken", "not-needed cancelled ", []res{decides("not-taken")}},
		{"a last dose on a day", "open requested 2027-01-04", []res{decides("last-dose"), {"type": coded(translate.SystemOutput, translate.OutputLastDose), "valueDate": "2027-01-04"}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			h := newHouse(t)
			b := h.book("1", surgery)
			m := res{
				"resourceType": "MedicationStatement", "identifier": numbered(staySystem, "M-1"), "status": "active",
				"medicationCodeableConcept": res{"text": "grandmother's drops"}, "subject": ref(b.patient),
			}
			h.put(by(m), m)
			h.set("2026-12-15 09:00")
			h.work(b.plan, "medicine-review", done(""))
			_, err := h.tryWork(h.step(b.plan, "medicine-sign-off").ID, done(""), named("Dr Example Prescriber"))
			require.ErrorContains(t, err, "no last dose is advised")
			h.work(b.plan, "medicine-sign-off", done(""), named("Dr Example Prescriber"), set("output", c.out), whyText("Asked the pharmacist"))
			require.Equal(t, c.stop, h.look(b.plan, "medicine-stop"))
		})
	}
}

// A last dose is recorded that nobody signed: the record stands, and the case is
// held all the same when the day has ended. Dates by hand: see signed.
func TestARecordedLastDoseThatNobodySigned(t *testing.T) {
	h := newHouse(t)
	b := h.onWarfarin()
	h.set("2027-01-05 21:00")
	h.work(b.plan, "medicine-stop", takenOn("2027-01-05 08:00"))
	require.Equal(t, "done", h.step(b.plan, "medicine-stop").State)
	require.NotContains(t, h.kinds(b.patient), "medicine-timing")
	h.tick("2027-01-06 00:00")
	require.Contains(t, h.kinds(b.patient), "medicine-timing")
	require.Contains(t, h.get("CarePlan/"+b.plan).String("text", "div"), "Warfarin, last dose of a medicine (by Tue 5 Jan 2027): it was recorded as taken, and no prescriber has signed it")
	h.work(b.plan, "medicine-sign-off", done(""), named("Dr Example Prescriber"))
	require.Contains(t, h.kinds(b.patient), "medicine-timing", "only a person releases it")
	h.work(b.plan, "clear-hold", release("Dr Example Prescriber", "Taken in time, and right."))
	require.NotContains(t, h.kinds(b.patient), "medicine-timing")
}

// A last dose that is recorded far too early asks the prescriber at once, and
// only once.
func TestALastDoseFarTooEarlyAsksThePrescriber(t *testing.T) {
	h := newHouse(t)
	b := h.signed()
	h.work(b.plan, "medicine-stop", done("2026-12-12"))
	require.Equal(t, "done", h.step(b.plan, "medicine-stop").State)
	ask := h.step(b.plan, "restart-or-bridge")
	task := h.get("Task/" + ask.ID)
	require.Equal(t, []string{"urgent", "prescriber"}, []string{task.String("priority"), task.String("performerType", "coding", "code")})
	require.Contains(t, extensionTexts(task, "why"), "Warfarin: the last dose is recorded for Sat 12 Dec 2026, 24 days before the one that stands (Tue 5 Jan 2027)")
	h.work(b.plan, "restart-or-bridge", done(""), named("Dr Example Prescriber"), whyText("Restart tonight."))
	h.tick("2026-12-20 09:00")
	require.Len(t, h.rounds(b.plan, "restart-or-bridge"), 1, "answered")
}
