package casework

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/event"
	"example.org/countback/services/countback/internal/translate"
)

// agreed is an output by which a second person answers.
func agreed(yes bool) res {
	return res{"type": coded(translate.SystemOutput, translate.OutputAgreed), "valueBoolean": yes}
}

func lastDose(day string) res {
	return res{"type": coded(translate.SystemOutput, translate.OutputLastDose), "valueDate": day}
}

// lateSigned is a case with warfarin signed one day later than the rules give:
// Wed 6 January instead of Tue 5 for Mon 2027-01-11 (five whole days without a
// dose, CHEST 2022, secondary).
func (h *house) lateSigned() booked {
	h.t.Helper()
	b := h.onWarfarin()
	h.work(b.plan, "medicine-sign-off", done(""), named("Dr Corvan Stillmarch"), set("output", []res{lastDose("2027-01-06")}), whyText("Local policy."))
	return b
}

// A last dose later than the rules give asks another person to look, in words
// that name what was signed, by whom and why, and the rule with its source; it is
// told, and stands on the morning's list. The prescriber's word stands meanwhile.
func TestAnotherPersonLooks(t *testing.T) {
	h := newHouse(t)
	b := h.onWarfarin()
	mark := h.mark()
	h.work(b.plan, "medicine-sign-off", done(""), named("Dr Corvan Stillmarch"), set("output", []res{lastDose("2027-01-06")}), whyText("Local policy."))
	task := h.get("Task/" + h.step(b.plan, "look-at-late-dose").ID)
	require.Equal(t, []string{"requested", "urgent", "anaesthetist"}, []string{task.String("status"), task.String("priority"), task.Get("performerType").Item(0).String("coding", "code")})
	why := extensionTexts(task, "why")
	for _, says := range []string{
		"For Warfarin the last dose is signed by Wed 6 Jan 2027, the rules give Tue 5 Jan 2027; surgery is on Mon 11 Jan 2027", " The rule: ", " Source: ", "Signed by Dr Corvan Stillmarch: Local policy.",
	} {
		require.Contains(t, why, says)
	}
	require.Contains(t, h.steps(h.after(mark), event.TasksOpened), "look-at-late-dose")
	for _, e := range h.after(mark) {
		require.NotContains(t, string(e.Data), "Stillmarch", "events name nobody")
	}
	require.Equal(t, "open requested 2027-01-06", h.look(b.plan, "medicine-stop"), "the signature stands")

	h.tick("2026-12-16 09:00") // the business day after it was signed
	m, err := h.office.Morning(context.Background(), MorningOptions{Rows: 10})
	require.NoError(t, err)
	var listed []string
	for _, l := range m.Lists {
		for _, i := range l.Items {
			if i.Step.Code == "look-at-late-dose" {
				listed = append(listed, l.Name)
			}
		}
	}
	require.Equal(t, []string{ListDecisions}, listed)

	h.work(b.plan, "look-at-late-dose", done(""), named("Dr Wendeline Thatchmarsh"), set("output", []res{agreed(true)}))
	require.Equal(t, "done", h.step(b.plan, "look-at-late-dose").State)
	require.Equal(t, "done", h.step(b.plan, "medicine-sign-off").State)
	require.Contains(t, h.advice(b.plan, "medicine-sign-off"), "which is later than the rules give, and Dr Wendeline Thatchmarsh looked at that and agreed. The rules say:")
	h.tick("2027-01-06 08:00") // past the day that the rules give
	require.NotContains(t, h.kinds(b.patient), "medicine-timing")
	require.Len(t, h.rounds(b.plan, "look-at-late-dose"), 1)
}

// Who may be the second person, and what they must say.
func TestWhoMayBeTheSecondPerson(t *testing.T) {
	owner := func(ref, display string) edit {
		o := res{}
		if ref != "" {
			o["reference"] = ref
		}
		if display != "" {
			o["display"] = display
		}
		return set("owner", o)
	}
	const same, unknown = "may be, whoever signed", "cannot be told apart"
	for _, r := range []struct {
		name      string
		signs     edit
		looks     []edit
		element   string
		refused   string
		disagrees bool
	}{
		{"another person", named("Dr Corvan Stillmarch"), []edit{named("Dr Wendeline Thatchmarsh"), set("output", []res{agreed(true)})}, "", "", false},
		{"the same person", named("Dr Corvan Stillmarch"), []edit{named("Dr Corvan Stillmarch"), set("output", []res{agreed(true)})}, "Task.owner", same, false},
		{"the same person, written otherwise", named("Dr Corvan Stillmarch"), []edit{named("STILLMARCH, Corvan MD"), set("output", []res{agreed(true)})}, "Task.owner", same, false},
		{"the same person, with an initial", named("Dr Corvan Stillmarch"), []edit{named("C. Stillmarch"), set("output", []res{agreed(true)})}, "Task.owner", same, false},
		{"the same family name alone", named("Dr Corvan Stillmarch"), []edit{named("Dr Stillmarch"), set("output", []res{agreed(true)})}, "Task.owner", same, false},
		{"of the same family", named("Dr Corvan Stillmarch"), []edit{named("Dr Isolde Stillmarch"), set("output", []res{agreed(true)})}, "", "", false},
		{"the same reference", owner("Practitioner/one", ""), []edit{owner("Practitioner/one", "Dr Wendeline Thatchmarsh"), set("output", []res{agreed(true)})}, "Task.owner", same, false},
		{"another reference", owner("Practitioner/one", ""), []edit{owner("Practitioner/two", ""), set("output", []res{agreed(true)})}, "", "", false},
		{"a role and a person, neither with a name", owner("Practitioner/one", ""), []edit{owner("PractitionerRole/two", ""), set("output", []res{agreed(true)})}, "Task.owner", unknown, false},
		{"a reference without a name, and a name", owner("Practitioner/one", ""), []edit{named("Dr Wendeline Thatchmarsh"), set("output", []res{agreed(true)})}, "Task.owner", unknown, false},
		{"nobody", named("Dr Corvan Stillmarch"), []edit{set("output", []res{agreed(true)})}, "Task.owner", "names no person", false},
		{"says nothing", named("Dr Corvan Stillmarch"), []edit{named("Dr Wendeline Thatchmarsh")}, "Task.output", "say whether you agree", false},
		{"says both", named("Dr Corvan Stillmarch"), []edit{named("Dr Wendeline Thatchmarsh"), set("output", []res{agreed(true), agreed(false)})}, "Task.output", "contradicts itself", false},
		{"does not agree, and does not say why", named("Dr Corvan Stillmarch"), []edit{named("Dr Wendeline Thatchmarsh"), set("output", []res{agreed(false)})}, "Task.statusReason.text", "say why you do not agree", false},
		{"does not agree", named("Dr Corvan Stillmarch"), []edit{named("Dr Wendeline Thatchmarsh"), set("output", []res{agreed(false)}), whyText("Spinal planned.")}, "", "", true},
	} {
		t.Run(r.name, func(t *testing.T) {
			h := newHouse(t)
			b := h.onWarfarin()
			h.work(b.plan, "medicine-sign-off", done(""), r.signs, set("output", []res{lastDose("2027-01-06")}), whyText("Local policy."))
			_, err := h.tryWork(h.step(b.plan, "look-at-late-dose").ID, append([]edit{done("")}, r.looks...)...)
			if r.refused == "" {
				require.NoError(t, err)
				require.Equal(t, "done", h.step(b.plan, "look-at-late-dose").State)
				require.Equal(t, r.disagrees, h.step(b.plan, "medicine-sign-off").State != "done")
				return
			}
			var refusal *Refusal
			require.ErrorAs(t, err, &refusal)
			require.Equal(t, r.element, refusal.Issues[0].Expression)
			require.Contains(t, refusal.Issues[0].Text, r.refused)
			require.NotEqual(t, "done", h.step(b.plan, "look-at-late-dose").State)
		})
	}
}

// Not agreed: the signature is asked for again, nothing of it reaches the sheet,
// and another signature later than the rules give asks once more. What was said
// cannot be changed in passing, and can be taken back with a reason.
func TestNotAgreedAsksForTheSignatureAgain(t *testing.T) {
	h := newHouse(t)
	b := h.lateSigned()
	signed := func() (by []string) {
		out, err := h.office.Handout(context.Background(), b.plan)
		require.NoError(t, err)
		for _, l := range out.Lines {
			if l.SignedBy != "" && l.Part == translate.PartMedicine && !l.Item.Due.IsZero() && l.Item.Step.TakesLastDose() {
				by = append(by, l.SignedBy)
			}
		}
		return by
	}
	require.Equal(t, []string{"Dr Corvan Stillmarch"}, signed(), "the sheet prints what is signed")
	look := h.step(b.plan, "look-at-late-dose").ID
	h.work(b.plan, "look-at-late-dose", done(""), named("Dr Wendeline Thatchmarsh"), set("output", []res{agreed(false)}), whyText("Spinal planned."))
	again := h.step(b.plan, "medicine-sign-off")
	require.NotEqual(t, "done", again.State)
	require.Contains(t, h.get("Task/"+again.ID).String("reasonCode", "text"), "a second person did not agree with what was signed")
	require.Empty(t, signed())
	require.Equal(t, "upcoming draft 2027-01-05", h.look(b.plan, "medicine-stop"), "as the rules give it, and not signed")

	_, err := h.tryWork(look, set("output", []res{agreed(true)}))
	require.ErrorContains(t, err, "Task.output is part of what was signed")
	_, err = h.tryWork(look, set("status", "requested"), because("", "wrong person"))
	require.NoError(t, err)
	require.Equal(t, []string{"Dr Corvan Stillmarch"}, signed(), "then it stands again")
	_, err = h.tryWork(look, done(""), named("Dr Wendeline Thatchmarsh"), set("output", []res{agreed(false)}), whyText("Spinal planned."))
	require.NoError(t, err)

	// The same person signs the same once more: another signature.
	h.work(b.plan, "medicine-sign-off", done(""), named("Dr Corvan Stillmarch"), set("output", []res{lastDose("2027-01-06")}), whyText("All the same."))
	require.Len(t, h.rounds(b.plan, "look-at-late-dose"), 2)
	require.Equal(t, "requested", h.step(b.plan, "look-at-late-dose").Status)
	// Signed as advised, nobody needs to look any more.
	sign := h.step(b.plan, "medicine-sign-off").ID
	_, err = h.tryWork(sign, set("status", "requested"), because("", "not meant"))
	require.NoError(t, err)
	require.Equal(t, "cancelled", h.step(b.plan, "look-at-late-dose").Status)
	h.work(b.plan, "medicine-sign-off", done(""), named("Dr Corvan Stillmarch"))
	require.Equal(t, "cancelled", h.step(b.plan, "look-at-late-dose").Status)
	require.Equal(t, []string{"Dr Corvan Stillmarch"}, signed())
}

// Nobody looks until the day is over that the rules give: the case is held, once,
// and looking ends what was wrong, while the hold is a person's to release.
func TestNobodyLooked(t *testing.T) {
	h := newHouse(t)
	b := h.lateSigned()
	h.tick("2027-01-05 23:59:59")
	require.NotContains(t, h.kinds(b.patient), "medicine-timing")
	h.tick("2027-01-06 00:00")
	require.Contains(t, h.kinds(b.patient), "medicine-timing")
	require.Contains(t, h.get("CarePlan/"+b.plan).String("text", "div"), "Warfarin, last dose of a medicine (by Wed 6 Jan 2027): it is signed later than the rules give, or to go on, and nobody else has looked at that")
	require.NotEqual(t, "paused", h.step(b.plan, "medicine-stop").State)
	h.work(b.plan, "look-at-late-dose", done(""), named("Dr Wendeline Thatchmarsh"), set("output", []res{agreed(true)}))
	require.Contains(t, h.kinds(b.patient), "medicine-timing", "only a person releases it")
	h.work(b.plan, "clear-hold", release("Dr Wendeline Thatchmarsh", "Looked at it."))
	require.NotContains(t, h.kinds(b.patient), "medicine-timing")
	h.tick("2027-01-06 08:00")
	require.NotContains(t, h.kinds(b.patient), "medicine-timing")
}

// "Goes on as usual" where the rules give a last dose is the same: it is asked
// whether it is meant, another person looks, and the case is held when nobody
// does. Where the rules leave it to somebody, or give none, nobody else is asked.
func TestGoesOnWhereTheRulesGiveALastDose(t *testing.T) {
	h := newHouse(t)
	b := h.onWarfarin()
	task := h.step(b.plan, "medicine-sign-off")
	act := Act{TaskID: task.ID, Does: ActSign, Signs: SignGoOn, Reason: "Local policy", Owner: "Dr Corvan Stillmarch", By: "A Nurse", Source: "desk"}
	_, err := h.office.Act(context.Background(), act)
	var late *LateDose
	require.ErrorAs(t, err, &late)
	require.Equal(t, "The rules give a last dose: for Warfarin it is signed that it goes on as usual, the rules give Tue 5 Jan 2027; surgery is on Mon 11 Jan 2027 10:00 CST. Another person is asked to look at it.", late.Words)
	require.Equal(t, task.State, h.step(b.plan, "medicine-sign-off").State, "nothing is stored")
	act.Meant = true
	out, err := h.office.Act(context.Background(), act)
	require.NoError(t, err)
	require.Equal(t, late.Words, out.Advice)
	require.Equal(t, "not-needed", h.step(b.plan, "medicine-stop").State)
	why := extensionTexts(h.get("Task/"+h.step(b.plan, "look-at-late-dose").ID), "why")
	require.Contains(t, why, "For Warfarin it is signed that it goes on as usual, the rules give Tue 5 Jan 2027")
	require.Contains(t, why, "Signed by Dr Corvan Stillmarch: Local policy.")
	v, err := h.office.View(context.Background(), b.plan)
	require.NoError(t, err)
	require.Contains(t, v.Why, "The rules give a last dose: for Warfarin it is signed that it goes on as usual, the rules give Tue 5 Jan 2027; surgery is on Mon 11 Jan 2027 10:00 CST.")
	h.tick("2027-01-06 00:00")
	require.Contains(t, h.kinds(b.patient), "medicine-timing")
	require.Contains(t, h.get("CarePlan/"+b.plan).String("text", "div"), "nobody else has looked at that")

	look := h.step(b.plan, "look-at-late-dose").ID
	_, err = h.office.Act(context.Background(), Act{TaskID: look, Does: ActDisagree, Reason: "Bleeds", Owner: "Corvan Stillmarch", By: "A Nurse", Source: "desk"})
	require.ErrorContains(t, err, "may be, whoever signed")
	_, err = h.office.Act(context.Background(), Act{TaskID: look, Does: ActDisagree, Reason: "Bleeds", Owner: "Dr Wendeline Thatchmarsh", By: "A Nurse", Source: "desk"})
	require.NoError(t, err)
	require.NotEqual(t, "not-needed", h.step(b.plan, "medicine-stop").State, "nothing of it is decided any more")
	notes := h.get("Task/" + look).Get("note")
	require.Equal(t, "Looked at, and not agreed. Dr Wendeline Thatchmarsh. Bleeds.", notes.Item(0).String("text"))
}

// The date moves: the signature counts for another date, and the question about
// it goes; the operation begins: so does it.
func TestALookThatIsNotNeededAnyMore(t *testing.T) {
	h := newHouse(t)
	b := h.lateSigned()
	h.move("1", b.patient, "2027-02-15")
	i := h.step(b.plan, "look-at-late-dose")
	require.Equal(t, "cancelled", i.Status)
	require.Contains(t, h.get("Task/"+i.ID).String("statusReason", "text"), "does not stand any more")

	h = newHouse(t)
	b = h.lateSigned()
	h.tick("2027-01-11 09:59:59")
	require.NotEqual(t, "cancelled", h.step(b.plan, "look-at-late-dose").Status)
	h.tick("2027-01-11 10:00")
	require.NotEqual(t, "cancelled", h.step(b.plan, "look-at-late-dose").Status, "the case is held, and nobody has reported that the person came")
	v := stay("1", b.patient, b.appointment, "in-progress", "2027-01-11 06:30", "")
	h.put(by(v), v)
	require.Equal(t, "cancelled", h.step(b.plan, "look-at-late-dose").Status)
	require.Equal(t, string(readiness.Needless), h.step(b.plan, "look-at-late-dose").State)
}
