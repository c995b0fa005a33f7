package casework

import (
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/event"
	"example.org/countback/services/countback/internal/translate"
)

// meant names the record that is meant.
func meant(ref string) edit {
	return answering(set("output", []res{{"type": coded(translate.SystemOutput, translate.OutputMeant), "valueReference": res{"reference": ref}}}))
}

// answering is the edit, by a person with a name.
func answering(e edit) edit {
	return func(task res) {
		e(task)
		named("Idony Larkmead")(task)
	}
}

func noneMeant() edit {
	return answering(set("output", []res{{"type": coded(translate.SystemOutput, translate.OutputNone), "valueBoolean": true}}))
}

// twoKnees books a knee without its side, of which two operations may be it.
func (h *house) twoKnees() (patient, appointment, plan, left, right string) {
	h.t.Helper()
	patient = h.newPatient("1")
	a := knee(patient, surgery)
	appointment, plan = h.store(a), h.onlyCase(patient).ID
	one, two := procedure("1", patient, leftKnee, surgery), procedure("2", patient, rightKnee, surgery)
	refs := h.send(transaction(entry{target: by(one), resource: one}, entry{target: by(two), resource: two}))
	return patient, appointment, plan, refs[0], refs[1]
}

func knee(patient, day string) res {
	return appointment("1", patient, day).with("reasonCode", []res{coded(snomed, kneeCode)})
}

// The question which record is meant is done by naming one of those that are asked
// about, or by saying that it is none of them and why; all else is refused, with
// the element named.
func TestAnAnswerNamesWhatIsMeant(t *testing.T) {
	h := newHouse(t)
	_, appointment, plan, left, right := h.twoKnees()
	id := h.step(plan, "link-booking").ID
	var asked []string
	for _, in := range h.get("Task/" + id).Get("input").Items() {
		if in.String("type", "coding", "code") == translate.InputChoice {
			asked = append(asked, in.String("valueReference", "reference"))
		}
	}
	require.ElementsMatch(t, []string{left, right}, asked)
	for name, row := range map[string]struct {
		at    string
		edits []edit
	}{
		"nothing":             {"Task.output", []edit{answering(done(""))}},
		"nobody":              {"Task.owner", []edit{done(""), meant(left), set("owner", nil)}},
		"no name":             {"Task.owner", []edit{done(""), meant(left), named("the coordinator")}},
		"another record":      {"Task.output", []edit{done(""), meant(appointment)}},
		"an unknown one":      {"Task.output", []edit{done(""), meant("Procedure/nobody")}},
		"two at once":         {"Task.output", []edit{answering(done("")), set("output", []res{{"type": coded(translate.SystemOutput, translate.OutputMeant), "valueReference": res{"reference": left}}, {"type": coded(translate.SystemOutput, translate.OutputMeant), "valueReference": res{"reference": right}}})}},
		"none without reason": {"Task.statusReason.text", []edit{done(""), noneMeant()}},
		"on another question": {"", nil},
	} {
		t.Run(name, func(t *testing.T) {
			step := id
			if row.edits == nil {
				step, row.at, row.edits = h.step(plan, "first-call").ID, "Task.output", []edit{done(""), meant(left)}
			}
			before := h.everything()
			_, err := h.tryWork(step, row.edits...)
			var r *Refusal
			require.ErrorAs(t, err, &r)
			require.ErrorIs(t, err, ErrInvalid)
			require.Equal(t, row.at, r.Issues[0].Expression)
			require.Equal(t, before, h.everything())
		})
	}
}

// What is named is linked, as if the booking had named it itself, and the other is
// an operation of its own; the answer stays, also when the booking moves.
func TestWhatIsMeantIsLinked(t *testing.T) {
	h := newHouse(t)
	patient, appointment, plan, left, right := h.twoKnees()
	mark := h.mark()
	i := h.work(plan, "link-booking", done(""), meant(left))
	require.Equal(t, []string{"done", "completed"}, []string{i.State, i.Status})
	require.Equal(t, []string{"link-booking"}, h.steps(h.after(mark), event.TasksDone))
	require.Equal(t, left, h.step(plan, "first-call").Focus)
	text := h.get("CarePlan/"+plan).String("text", "div")
	require.Contains(t, text, "left knee replacement")
	require.NotContains(t, text, "none was linked")
	cases := h.cases(patient)
	require.Len(t, cases, 2)
	require.Equal(t, []string{appointment, right}, []string{cases[0].Key, cases[1].Key})

	// The very same as where the booking says it itself.
	other := newHouse(t)
	_, _, theirs, l, _ := other.twoKnees()
	other.store(knee(name(other.found("Patient")[0]), surgery).with("reasonReference", []res{ref(l)}))
	require.Equal(t, other.windows(theirs)["first-call"], h.windows(plan)["first-call"])
	require.Len(t, other.cases(name(other.found("Patient")[0])), 2)

	h.store(knee(patient, "2027-01-12"))
	require.Equal(t, "completed", h.step(plan, "link-booking").Status)
	require.Equal(t, left, h.step(plan, "first-call").Focus)
	require.Len(t, h.rounds(plan, "link-booking"), 1)
	_, err := h.tryWork(i.ID, meant(right))
	require.ErrorContains(t, err, "Task.output is what was answered")
}

// An answer that is taken back links nothing any more, and is asked for again.
func TestAnAnswerIsTakenBack(t *testing.T) {
	h := newHouse(t)
	patient, _, plan, left, right := h.twoKnees()
	h.work(plan, "link-booking", done(""), meant(left))
	i := h.work(plan, "link-booking", status("requested"), because("", "it was the other one"))
	require.Equal(t, "requested", i.Status)
	require.False(t, h.get("Task/"+i.ID).Get("output").Exists())
	require.Empty(t, h.step(plan, "first-call").Focus)
	i = h.work(plan, "link-booking", done(""), meant(right))
	require.Equal(t, "done", i.State)
	require.Equal(t, right, h.step(plan, "first-call").Focus)

	// The one that was meant turns out to be a mistake: it may be the other again,
	// which a person says and nobody infers.
	h.store(procedure("2", patient, rightKnee, surgery).with("status", "entered-in-error"))
	require.NotEqual(t, left, h.step(plan, "first-call").Focus)
	require.Equal(t, "requested", h.step(plan, "link-booking").Status)
	h.work(plan, "link-booking", done(""), meant(left))
	require.Equal(t, left, h.step(plan, "first-call").Focus)
}

// None of them is an answer, too: each is an operation of its own. A third one that
// comes after it is asked about anew only where there is a choice.
func TestNoneIsMeant(t *testing.T) {
	h := newHouse(t)
	patient, _, plan, _, _ := h.twoKnees()
	i := h.work(plan, "link-booking", done(""), noneMeant(), because("", "both were booked by another hospital"))
	require.Equal(t, "done", i.State)
	require.Empty(t, h.step(plan, "first-call").Focus)
	require.NotContains(t, h.get("CarePlan/"+plan).String("text", "div"), "a person is asked")
	three, four := procedure("3", patient, leftKnee, surgery), procedure("4", patient, rightKnee, surgery)
	refs := h.send(transaction(entry{target: by(three), resource: three}, entry{target: by(four), resource: four}))
	asked := h.rounds(plan, "link-booking")
	require.Len(t, asked, 2)
	require.Equal(t, []string{"completed", "requested"}, []string{asked[0].Status, asked[1].Status})
	h.work(plan, "link-booking", done(""), meant(refs[1]))
	require.Equal(t, refs[1], h.step(plan, "first-call").Focus)
	require.Equal(t, []string{"completed", "completed"}, []string{h.rounds(plan, "link-booking")[0].Status, h.step(plan, "link-booking").Status})
}

// Two appointments that name one operation: the one that is meant keeps it, the
// other is asked no more.
func TestWhichAppointmentStands(t *testing.T) {
	h := newHouse(t)
	patient := h.newPatient("1")
	p := h.store(procedure("1", patient, leftKnee, surgery))
	one := h.store(knee(patient, surgery).with("reasonReference", []res{ref(p)}))
	two := h.store(appointment("2", patient, "2027-01-13").with("reasonCode", []res{coded(snomed, kneeCode)}).with("reasonReference", []res{ref(p)}))
	cases := h.cases(patient)
	require.Len(t, cases, 2)
	plans := map[string]string{cases[0].Key: cases[0].ID, cases[1].Key: cases[1].ID}
	require.Equal(t, "requested", h.step(plans[one], "link-booking").Status)
	h.work(plans[one], "link-booking", done(""), meant(two))
	require.Equal(t, "completed", h.step(plans[one], "link-booking").Status)
	require.Equal(t, "cancelled", h.step(plans[two], "link-booking").Status)
	require.Empty(t, h.step(plans[one], "first-call").Focus)
	require.Equal(t, p, h.step(plans[two], "first-call").Focus)
}
