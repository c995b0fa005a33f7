package casework

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/store"
	"example.org/countback/services/countback/internal/translate"
)

// askStep is the step of the default protocol by which another day is asked for.
const askStep = "ask-for-another-day"

func (h *house) askMove(b booked, day, seen string) (store.Stored, error) {
	h.t.Helper()
	return h.office.AskMove(context.Background(), MoveAsk{
		CaseID: b.plan, Day: day, Seen: seen, By: "Idony Quillwright", Reason: "the check-up cannot be had before", Source: "test",
	})
}

// A request for another day is a Task for whoever books, and an event; it moves
// nothing. The booking that comes with the day completes it, and it stays so.
func TestAskForAnotherDay(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	h.set("2026-10-05 09:00")
	due := func() map[string]string {
		out := map[string]string{}
		for _, i := range h.items(b.plan) {
			if i.Step != askStep {
				out[i.ID] = i.Opens + " " + i.Due + " " + i.Last
			}
		}
		return out
	}
	before, mark, plan := due(), h.mark(), h.caseRow(b.plan)
	asked, err := h.askMove(b, "2027-01-20", surgery)
	require.NoError(t, err)
	task := parse(t, asked.Body)
	require.Equal(t, []string{"requested", "order", askStep, b.appointment, "scheduling", "Idony Quillwright", b.patient}, []string{
		task.String("status"), task.String("intent"), task.String("code", "coding", "code"), task.String("focus", "reference"),
		task.String("performerType", "coding", "code"), task.String("requester", "display"), task.String("for", "reference"),
	})
	day := ""
	for _, in := range task.Get("input").Items() {
		if in.String("type", "coding", "code") == translate.InputRequestedDay {
			day = in.String("valueDate")
		}
	}
	require.Equal(t, "2027-01-20", day)
	require.Equal(t, b.appointment+"/_history/1", task.String("reasonReference", "reference"), "the booking that stood then")
	require.Contains(t, extensionTexts(task, "why"), "Idony Quillwright asks for Wed 20 Jan 2027 (the booking said Mon 11 Jan 2027 then): the check-up cannot be had before.")
	require.Equal(t, []string{askStep}, h.steps(h.after(mark), "tasks.opened"))
	require.Equal(t, before, due(), "no window moves before the booking does")
	require.Equal(t, plan.Surgery, h.caseRow(b.plan).Surgery)
	id := h.step(b.plan, askStep).ID

	moved := appointment("1", b.patient, "2027-01-20")
	h.set("2026-10-06 09:00")
	mark = h.mark()
	h.put(by(moved), moved)
	task = h.get("Task/" + id)
	require.Equal(t, "completed", task.String("status"))
	record := ""
	for _, e := range task.Get("extension").Items() {
		if e.String("url") == translate.ExtensionBase+"evidence-record" {
			record = e.String("valueReference", "reference")
		}
	}
	require.Equal(t, b.appointment+"/_history/2", record)
	require.Equal(t, "2026-10-06", task.String("executionPeriod", "end"))
	require.Contains(t, h.steps(h.after(mark), "tasks.done"), askStep)
	require.NotEqual(t, before, due())

	again := appointment("1", b.patient, "2027-02-01")
	h.put(by(again), again)
	require.Len(t, h.rounds(b.plan, askStep), 1)
	require.Equal(t, "completed", h.step(b.plan, askStep).Status, "what was met once stays met")
}

// Who is asked may decline, and who asked may take it back; nobody says that it
// is done but the booking.
func TestAskIsClosedByPeople(t *testing.T) {
	for name, c := range map[string]struct {
		edits   []edit
		status  string
		refused bool
	}{
		"declined":            {[]edit{status("failed"), because("", "no theatre that day")}, "failed", false},
		"taken back":          {[]edit{status("cancelled"), because(translate.ReasonWaived, "the check-up was had")}, "cancelled", false},
		"said to be done":     {[]edit{status("completed")}, "requested", true},
		"declined, no reason": {[]edit{status("failed")}, "requested", true},
	} {
		t.Run(name, func(t *testing.T) {
			h := newHouse(t)
			b := h.book("1", surgery)
			_, err := h.askMove(b, "2027-01-20", surgery)
			require.NoError(t, err)
			_, err = h.tryWork(h.step(b.plan, askStep).ID, c.edits...)
			require.Equal(t, c.refused, err != nil, "%v", err)
			require.Equal(t, c.status, h.step(b.plan, askStep).Status)
			if c.refused {
				return
			}
			for _, day := range []string{"2027-02-01", "2027-01-20"} { // not asked again, nor met, by a later booking
				moved := appointment("1", b.patient, day)
				h.put(by(moved), moved)
				require.Len(t, h.rounds(b.plan, askStep), 1, day)
				require.Equal(t, c.status, h.step(b.plan, askStep).Status, day)
			}
			_, err = h.askMove(b, "2027-02-08", "2027-01-20")
			require.NoError(t, err, "it may be asked again")
		})
	}
}

// A day whose hour is past is asked about no more than a day that is past.
func TestTodayWhoseHourIsPastIsNotAskedFor(t *testing.T) {
	for name, c := range map[string]struct {
		now, day string
		refused  bool
	}{
		"before the hour":            {"2026-10-20 09:59", "2026-10-20", false},
		"at the hour":                {"2026-10-20 10:00", "2026-10-20", true},
		"in the afternoon":           {"2026-10-20 15:00", "2026-10-20", true},
		"at an hour that is to come": {"2026-10-20 15:00", "2026-10-20T17:00:00-05:00", false},
		"the next day":               {"2026-10-20 15:00", "2026-10-21", false},
	} {
		t.Run(name, func(t *testing.T) {
			h := newHouse(t)
			b := h.book("1", surgery)
			h.set(c.now)
			before := h.everything()
			_, err := h.office.WhatIf(context.Background(), b.plan, c.day)
			_, asked := h.askMove(b, c.day, surgery)
			if !c.refused {
				require.NoError(t, err)
				require.NoError(t, asked)
				return
			}
			for _, err := range []error{err, asked} {
				require.ErrorIs(t, err, ErrInvalid)
				require.ErrorContains(t, err, "the hour of the operation on that day is past")
			}
			require.Equal(t, before, h.everything())
		})
	}
}

func TestAskIsRefused(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	before := h.everything()
	for name, c := range map[string]struct{ day, seen string }{
		"the day that is booked": {surgery, surgery}, "another day was seen": {"2027-01-20", "2027-01-04"},
		"no day": {"", surgery}, "a day that is past": {"2026-09-01", surgery}, "no date at all": {"soon", surgery},
	} {
		_, err := h.askMove(b, c.day, c.seen)
		require.Error(t, err, name)
	}
	_, err := h.office.AskMove(context.Background(), MoveAsk{CaseID: b.plan, Day: "2027-01-20", Seen: surgery, Reason: "x"})
	require.ErrorIs(t, err, ErrNameless)
	_, err = h.office.AskMove(context.Background(), MoveAsk{CaseID: b.plan, Day: "2027-01-20", Seen: surgery, By: "Idony"})
	require.ErrorIs(t, err, ErrInvalid)
	_, err = h.askMove(booked{plan: "nowhere"}, "2027-01-20", surgery)
	require.ErrorIs(t, err, ErrNotFound)
	require.Equal(t, before, h.everything())

	_, err = h.askMove(b, "2027-01-20", surgery)
	require.NoError(t, err)
	_, err = h.askMove(b, "2027-01-27", surgery)
	require.ErrorIs(t, err, ErrConflict, "one at a time")
}

// Once the operation has begun nobody has to answer any more, and the case can end.
func TestAskEndsWhenTheOperationBegins(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	_, err := h.askMove(b, "2027-01-20", surgery)
	require.NoError(t, err)
	v := stay("1", b.patient, b.appointment, "in-progress", surgery+" 07:00", "")
	h.set(surgery + " 07:00")
	h.put(by(v), v)
	i := h.step(b.plan, askStep)
	require.Equal(t, "cancelled", i.Status)
	require.Equal(t, "The operation began before the booking moved.", h.get("Task/"+i.ID).String("statusReason", "text"))
}

// What becomes of a request is noted in the words of whoever books.
func TestARequestIsDeclinedOrTakenBack(t *testing.T) {
	for does, said := range map[string]string{ActFailed: "Declined. theatre is full.", ActWaive: "Taken back. theatre is full."} {
		t.Run(does, func(t *testing.T) {
			h := newHouse(t)
			b := h.book("1", surgery)
			_, err := h.askMove(b, "2027-01-20", surgery)
			require.NoError(t, err)
			out, err := h.office.Act(context.Background(), Act{TaskID: h.step(b.plan, askStep).ID, Does: does, By: "Idony Quillwright", Reason: "theatre is full"})
			require.NoError(t, err)
			require.Equal(t, said, parse(t, out.Stored.Body).Get("note").Item(0).String("text"))
		})
	}
}
