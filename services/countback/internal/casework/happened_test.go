package casework

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/event"
	"example.org/countback/services/countback/internal/translate"
)

const confirmStep = "confirm-what-happened"

// saysOf completes the Task with outputs: pairs of a code and a value.
func saysOf(outputs ...any) edit {
	return func(task res) {
		var list []res
		for n := 0; n < len(outputs); n += 2 {
			out := res{"type": coded(translate.SystemOutput, outputs[n].(string))}
			switch v := outputs[n+1].(type) {
			case bool:
				out["valueBoolean"] = v
			case string:
				if len(v) == len("2006-01-02") {
					out["valueDate"] = v
				} else {
					out["valueDateTime"] = localTime(v)
				}
			}
			list = append(list, out)
		}
		if task["status"] = "completed"; list != nil {
			task["output"] = list
		}
		task["owner"] = res{"display": "Idony Larkmead"}
	}
}

// byClock is a case that nothing held when its hour came, the day after its planned
// discharge.
func (h *house) byClock() booked {
	h.t.Helper()
	b := h.book("1", surgery)
	h.tick(surgery + " 09:00")
	h.letGo(b.plan)
	h.tick("2027-01-12 11:00")
	return b
}

// asks is how often it was asked what happened.
func (h *house) asks(b booked) (n int) {
	for _, i := range h.items(b.plan) {
		if i.Step == confirmStep {
			n++
		}
	}
	return n
}

func (h *house) sayings(b booked) string { return h.get("CarePlan/"+b.plan).String("text", "div") }

// The clock stands for arrival and discharge, and from the planned discharge on a
// person is asked; of a case that is held, from the hour of the operation on.
func TestNobodySaidWhatHappened(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	h.tick(surgery + " 09:00")
	h.letGo(b.plan)
	h.tick("2027-01-12 10:59")
	require.Zero(t, h.asks(b))
	mark := h.mark()
	h.tick("2027-01-12 11:00") // a Tuesday
	require.Equal(t, "home", h.caseRow(b.plan).State)
	i := h.step(b.plan, confirmStep)
	require.Equal(t, []string{"due", "requested"}, []string{i.State, i.Status})
	require.Equal(t, []string{event.TasksOpened}, h.happenings(b.plan, i.ID, mark))
	task := h.get("Task/" + i.ID)
	require.Equal(t, "coordinator", task.String("performerType", "coding", "code"))
	require.Equal(t, "2027-01-13", task.String("restriction", "period", "end"), "the next business day")
	m, err := h.office.Morning(context.Background(), MorningOptions{Rows: 25})
	require.NoError(t, err)
	var asked []string
	for _, l := range m.Lists {
		for n := range l.Items {
			if l.Items[n].Step.Code == confirmStep {
				asked = append(asked, l.Name)
			}
		}
	}
	require.Equal(t, []string{ListDecisions}, asked)

	held := newHouse(t)
	c := held.book("1", surgery)
	held.tick(surgery + " 09:59")
	require.Zero(t, held.asks(c))
	held.tick(surgery + " 10:00")
	require.Equal(t, "requested", held.step(c.plan, confirmStep).Status)
	require.Contains(t, held.get("Task/"+held.step(c.plan, confirmStep).ID).String("restriction", "period", "end"), "2027-01-12")
	held.tick("2027-01-20 09:00")
	require.Len(t, held.rounds(c.plan, confirmStep), 1, "one question, however long nobody answers")
	require.Equal(t, "late", held.step(c.plan, confirmStep).State)
}

// What a person says of the day is a fact of the case: its state and the weeks at
// home follow from it, and the plan says whose word it is.
func TestWhatAPersonSaysHappened(t *testing.T) {
	h := newHouse(t)
	b := h.byClock()
	h.set("2027-01-14 09:00")
	h.work(b.plan, confirmStep, saysOf("arrived", surgery+" 06:40", "went-home", "2027-01-13 15:00"))
	require.Equal(t, []string{"done", "completed"}, []string{h.step(b.plan, confirmStep).State, h.step(b.plan, confirmStep).Status})
	require.Equal(t, "home", h.caseRow(b.plan).State)
	require.NotContains(t, h.sayings(b), "By the clock alone")
	require.Contains(t, h.sayings(b), "Idony Larkmead reported on Thu 14 Jan 2027 that the person came on Mon 11 Jan 2027, 06:40 and went home on Wed 13 Jan 2027, 15:00; no record has said so.")
	require.Equal(t, "2027-01-15", h.get("Task/"+h.step(b.plan, "discharge-call").ID).String("restriction", "period", "end"), "two business days after the 13th")

	// It is taken back: nobody has said anything.
	h.work(b.plan, confirmStep, func(task res) {
		task["status"], task["statusReason"] = "requested", res{"text": "It was another person."}
	})
	require.Contains(t, h.sayings(b), "By the clock alone")
	require.NotContains(t, h.sayings(b), "Idony Larkmead")
	require.NotContains(t, string(h.get("Task/"+h.step(b.plan, confirmStep).ID).Raw), `"went-home"`)
}

// A case that is held: the report ends what only waited for evidence, and a person
// who came and is still there is asked about again when they would be home.
func TestWhatHappenedToAHeldCase(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	h.tick(surgery + " 12:00")
	require.Equal(t, []string{"evidence-missing"}, h.kinds(b.patient))
	h.work(b.plan, confirmStep, saysOf("arrived", surgery))
	require.Equal(t, "arrived", h.caseRow(b.plan).State)
	require.Empty(t, h.kinds(b.patient))
	h.tick("2027-01-12 10:59")
	require.Len(t, h.rounds(b.plan, confirmStep), 1)
	h.tick("2027-01-12 11:00")
	all := h.rounds(b.plan, confirmStep)
	require.Len(t, all, 2)
	require.Equal(t, "arrived", h.caseRow(b.plan).State)
	h.set("2027-01-13 09:00")
	_, err := h.tryWork(all[1].ID, saysOf("arrived", surgery))
	require.ErrorContains(t, err, "say when they went home, or leave this open")
	_, err = h.tryWork(all[1].ID, saysOf("went-home", "2027-01-12 18:00"))
	require.NoError(t, err)
	require.Equal(t, "home", h.caseRow(b.plan).State)
	require.Contains(t, h.sayings(b), "went home on Tue 12 Jan 2027, 18:00")
	_, err = h.tryWork(all[1].ID, saysOf("went-home", "2027-01-12"))
	require.NoError(t, err)
	require.Contains(t, h.sayings(b), "went home on Tue 12 Jan 2027; no record has said so", "an hour that nobody said is not told")
}

// That it did not take place: nobody is said to be home any more, and the case waits
// for a date until the booking is corrected.
func TestItDidNotTakePlace(t *testing.T) {
	for _, r := range []struct {
		name    string
		correct func(h *house, b booked)
		state   string
		says    string
	}{
		{"it has another day", func(h *house, b booked) { h.move("1", b.patient, "2027-03-08") }, "behind", ""},
		{"the person did not come", func(h *house, b booked) {
			a := appointment("1", b.patient, surgery).with("status", "noshow")
			h.put(by(a), a)
		}, "cancelled", "The person did not come."},
		{"it took place after all", func(h *house, b booked) {
			h.store(stay("1", b.patient, b.appointment, "finished", surgery+" 07:00", "2027-01-12 12:00"))
		}, "home", "Idony Larkmead reported on Wed 13 Jan 2027 that it did not take place, and the record says that it did. The record counts"},
	} {
		t.Run(r.name, func(t *testing.T) {
			h := newHouse(t)
			b := h.byClock()
			h.set("2027-01-13 09:00")
			h.work(b.plan, confirmStep, saysOf("not-operated", true))
			require.Equal(t, "held", h.caseRow(b.plan).State)
			require.Equal(t, []string{"no-date"}, h.kinds(b.patient))
			require.Equal(t, "on-hold", h.get("CarePlan/"+b.plan).String("status"))
			require.Contains(t, h.sayings(b), "Idony Larkmead reported on Wed 13 Jan 2027 that the operation of Mon 11 Jan 2027 did not take place, and the booking still has that day: have it corrected there")
			require.NotContains(t, h.sayings(b), "By the clock alone")
			require.NotContains(t, h.sayings(b), "The hour of the operation has passed")
			require.Contains(t, string(h.flags(b.patient)[len(h.flags(b.patient))-1].Raw), "did not take place, and the booking has no other day yet")
			h.tick("2027-01-20 09:00")
			require.Equal(t, "held", h.caseRow(b.plan).State)
			require.Len(t, h.rounds(b.plan, confirmStep), 1)
			// A message about the day's wound is still sorted, and reaches a person.
			q := filled(t, symptoms, b.patient, "2027-01-20 08:50", no, map[string]any{"chest-pain": yes})
			sent := h.put("QuestionnaireResponse?identifier=https://forms.larkspindle.example/filled|"+symptoms, q)
			require.Contains(t, sent.Advice, "local emergency number")
			require.Equal(t, "-now due requested", h.reports(b.plan))

			r.correct(h, b)
			require.Equal(t, r.state, h.caseRow(b.plan).State)
			require.NotContains(t, h.kinds(b.patient), "no-date")
			require.Contains(t, h.sayings(b), r.says)
		})
	}
}

// What the record system says settles the question, and counts where it says
// otherwise than a person did; then both are said.
func TestTheRecordAnswers(t *testing.T) {
	h := newHouse(t)
	b := h.byClock()
	h.store(stay("1", b.patient, b.appointment, "finished", surgery+" 07:00", "2027-01-12 12:00"))
	i := h.step(b.plan, confirmStep)
	require.Equal(t, []string{"done", "completed"}, []string{i.State, i.Status})
	require.Contains(t, string(h.get("Task/"+i.ID).Raw), `"Encounter/`, "it names what answers")

	h = newHouse(t)
	b = h.byClock()
	h.set("2027-01-14 09:00")
	h.work(b.plan, confirmStep, saysOf("went-home", "2027-01-14"))
	h.store(stay("1", b.patient, b.appointment, "finished", surgery+" 07:00", "2027-01-12 12:00"))
	require.Contains(t, h.sayings(b), "Idony Larkmead reported on Thu 14 Jan 2027 that the person went home on Thu 14 Jan 2027, and the record says Tue 12 Jan 2027. The record counts")
	require.Equal(t, "2027-01-14", h.get("Task/"+h.step(b.plan, "discharge-call").ID).String("restriction", "period", "end"), "two business days after the 12th")

	// A procedure that was done says that it took place, and not when they went home.
	h = newHouse(t)
	b = h.book("1", surgery)
	p := procedure("1", b.patient, rightHip, surgery)
	h.put(by(p), p)
	h.tick(surgery + " 12:00")
	require.Equal(t, []string{"evidence-missing"}, h.kinds(b.patient))
	h.put(by(p), p.with("status", "completed"))
	require.Equal(t, "completed", h.step(b.plan, confirmStep).Status)
	require.Equal(t, "arrived", h.caseRow(b.plan).State)
	require.Empty(t, h.kinds(b.patient))

	// A booking that is moved or called off asks nothing of the old day any more.
	h = newHouse(t)
	b = h.byClock()
	h.move("1", b.patient, "2027-03-08")
	i = h.step(b.plan, confirmStep)
	require.Equal(t, "cancelled", i.Status)
	require.Equal(t, "Nothing is asked about that day any more.", h.get("Task/"+i.ID).String("statusReason", "text"))
	h = newHouse(t)
	b = h.byClock()
	a := appointment("1", b.patient, surgery).with("status", "cancelled")
	h.put(by(a), a)
	require.Equal(t, "cancelled", h.step(b.plan, confirmStep).Status)
}

// What cannot be so is refused, with the element named; so is closing the question
// without an answer.
func TestReportsThatCannotBe(t *testing.T) {
	h := newHouse(t)
	b := h.byClock()
	h.set("2027-01-13 09:00")
	task := h.step(b.plan, confirmStep).ID
	for _, r := range []struct {
		name string
		said []any
		why  string
	}{
		{"nothing", nil, "Task.output is missing"},
		{"it did not happen: false", []any{"not-operated", false}, "Task.output is missing"},
		{"it did not, and they came", []any{"not-operated", true, "arrived", surgery}, "(not-operated), and when the person came or went home beside it"},
		{"tomorrow", []any{"went-home", "2027-01-14"}, "went-home (when they went home) lies in the future"},
		{"in an hour", []any{"went-home", "2027-01-13 10:00"}, "went-home (when they went home) lies in the future"},
		{"before the day", []any{"arrived", "2027-01-10"}, "arrived (when the person came) lies before the day of surgery, Mon 11 Jan 2027"},
		{"home before they came", []any{"arrived", "2027-01-12", "went-home", surgery}, "went-home lies before arrived"},
		{"home an hour before they came", []any{"arrived", surgery + " 09:00", "went-home", surgery + " 08:00"}, "went-home lies before arrived"},
		{"twice", []any{"arrived", surgery, "arrived", surgery + " 07:00"}, "arrived (when the person came) is there more than once"},
		{"no day", []any{"arrived", true}, "arrived (when the person came) must name at least a day"},
	} {
		t.Run(r.name, func(t *testing.T) {
			_, err := h.tryWork(task, saysOf(r.said...))
			require.ErrorIs(t, err, ErrInvalid)
			var refused *Refusal
			require.ErrorAs(t, err, &refused)
			require.Equal(t, "Task.output", refused.Issues[0].Expression)
			require.Contains(t, refused.Issues[0].Text, r.why)
		})
	}
	for _, good := range [][]any{{"arrived", surgery, "went-home", surgery + " 18:00"}, {"went-home", "2027-01-13"}, {"arrived", surgery + " 06:00"}} {
		_, err := h.tryWork(task, saysOf(good...))
		require.NoError(t, err)
		_, err = h.tryWork(task, saysOf("went-home", "2027-02-13")) // what is done is judged again
		require.ErrorIs(t, err, ErrInvalid)
		_, err = h.tryWork(task, func(task res) { task["status"], task["statusReason"] = "requested", res{"text": "again"} })
		require.NoError(t, err)
	}
}
