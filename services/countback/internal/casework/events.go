package casework

import (
	"encoding/json"

	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/event"
	"example.org/countback/services/countback/internal/store"
)

// events enqueues what changed, in the transaction that changed it: one event
// for the case for each meaning, then one for the Tasks for each meaning.
func (w *writing) events(carePlan store.Stored, oldState string) error {
	var rows []store.OutboxRow
	add := func(name string, build func(o event.Options) (event.Event, error)) error {
		w.c.Sequence++
		e, err := build(event.Options{
			ID: w.tx.NewID(), Facility: w.office.token, Name: name, CaseSequence: w.c.Sequence,
			Time: w.tx.Now.In(w.office.facility.Calendar.Zone()),
		})
		if err != nil {
			return err
		}
		body, err := event.Encode(e)
		if err != nil {
			return err
		}
		subject, err := event.Subject(w.office.token, name)
		if err != nil {
			return err
		}
		rows = append(rows, store.OutboxRow{
			ID: e.ID, CaseID: w.c.ID, CaseSequence: w.c.Sequence, Subject: subject, Body: body, CreatedAt: w.tx.Now,
		})
		return nil
	}
	data := event.CaseData{
		CarePlan: w.c.ID, Version: carePlan.Version, State: string(w.plan.State),
		Protocol: w.protocol.Canonical(), SurgeryDate: w.plan.Day.String(), Booking: w.b.Primary,
		EarliestSafeDate: w.safe,
	}
	for _, name := range w.caseEvents(readiness.CaseState(oldState)) {
		d := data
		if name == event.CaseHeld || name == event.CaseReleased {
			d.Holds = w.holdRefs
		}
		if name == event.CaseRedated {
			d.PreviousSurgeryDate = w.oldDay()
		}
		if err := add(name, func(o event.Options) (event.Event, error) { return event.NewCase(o, d) }); err != nil {
			return err
		}
	}
	for _, group := range w.taskEvents() {
		if err := add(group.name, func(o event.Options) (event.Event, error) {
			return event.NewTasks(o, event.TasksData{CarePlan: w.c.ID, Tasks: group.tasks})
		}); err != nil {
			return err
		}
	}
	if len(rows) == 0 {
		return nil
	}
	return w.tx.Enqueue(rows)
}

func (w *writing) oldDay() string {
	var d caseData
	if w.dataBefore == nil || json.Unmarshal(w.dataBefore, &d) != nil {
		return ""
	}
	return d.Day
}

// entering is the event of coming into a state.
var entering = map[readiness.CaseState]string{
	readiness.CaseCancelled:  event.CaseCancelled,
	readiness.CaseClosed:     event.CaseClosed,
	readiness.CaseHome:       event.CaseDischarged,
	readiness.CaseArrived:    event.CaseArrived,
	readiness.CaseHeld:       event.CaseHeld,
	readiness.CaseInfeasible: event.CaseInfeasible,
	readiness.CaseBehind:     event.CaseBehind,
	readiness.CaseReady:      event.CaseReady,
	readiness.CaseOnTrack:    event.CaseOnTrack,
}

// leaving is the event of coming out of a state into one that is not final.
var leaving = map[readiness.CaseState]string{
	readiness.CaseHeld:       event.CaseReleased,
	readiness.CaseInfeasible: event.CaseFeasible,
	readiness.CaseReady:      event.CaseUnready,
}

// caseEvents lists the meanings of the change of the case as a whole.
func (w *writing) caseEvents(old readiness.CaseState) []string {
	now := w.plan.State
	if w.fresh {
		out := []string{event.CaseOpened}
		if now == readiness.CaseInfeasible || now == readiness.CaseHeld {
			out = append(out, entering[now])
		}
		return out
	}
	var out []string
	if day := w.plan.Day.String(); day != w.oldDay() && day != "" && w.oldDay() != "" {
		out = append(out, event.CaseRedated)
	}
	if old == now {
		if now == readiness.CaseHeld && w.raisedAnew() {
			out = append(out, event.CaseHeld) // one more hold
		}
		return out
	}
	over := now == readiness.CaseCancelled || now == readiness.CaseClosed || now == readiness.CaseHome || now == readiness.CaseArrived
	left := leaving[old]
	if left != "" && !over {
		out = append(out, left)
	}
	if now == readiness.CaseOnTrack && left != "" {
		return out
	}
	return append(out, entering[now])
}

type taskGroup struct {
	name  string
	tasks []event.TaskData
}

// taskEvents groups the changed items by what their change means, in a fixed
// order of meanings.
func (w *writing) taskEvents() []taskGroup {
	version := make(map[string]int64, len(w.saved))
	for _, it := range w.saved {
		version[it.TaskID()] = it.Version
	}
	var groups []taskGroup
	place := map[string]int{}
	told := map[string]bool{}
	put := func(name string, key readiness.Key) {
		id := w.taskID(key)
		if version[id] == 0 || told[id] {
			return
		}
		told[id] = true
		n, ok := place[name]
		if !ok {
			n = len(groups)
			place[name] = n
			groups = append(groups, taskGroup{name: name})
		}
		r := w.written[key]
		groups[n].tasks = append(groups[n].tasks, event.TaskData{
			ID: id, Version: version[id], Step: r.Step, State: string(r.State),
			Opens: r.Opens, Due: r.Due, Last: r.Last,
		})
	}
	for _, ch := range w.changes {
		if ch.New != nil {
			put(meaning(ch), ch.New.Key)
		} else {
			put(event.TasksCancelled, ch.Old.Key)
		}
	}
	// So is another text or source of the step, and what people wrote without
	// moving anything (a note, an owner).
	for _, key := range w.reworded {
		put(event.TasksChanged, key)
	}
	for id := range w.why.work {
		for key := range w.number {
			if w.taskID(key) == id {
				put(event.TasksChanged, key)
			}
		}
	}
	for _, it := range w.saved { // and what a hold that stands rests on
		key := readiness.Key{Step: it.Step, Repeat: it.Repeat, Round: it.Round}
		if was := w.rows[key]; was != nil && was.Raised != w.written[key].Raised {
			put(event.TasksChanged, key)
		}
	}
	return groups
}

// meaning names a change of one item.
func meaning(ch readiness.Change) string {
	switch ch.Kind {
	case readiness.Added:
		return event.TasksOpened
	case readiness.Reopened:
		return event.TasksReopened
	}
	was, now := ch.Old.State, ch.New.State
	if was == now {
		return event.TasksChanged
	}
	settled := was == readiness.StateDone || was == readiness.StateWaived || was == readiness.Missed || was == readiness.Needless
	switch now {
	case readiness.StateDone:
		return event.TasksDone
	case readiness.Expired:
		return event.TasksExpired
	case readiness.StateWaived:
		return event.TasksWaived
	case readiness.Needless:
		return event.TasksCancelled
	case readiness.Missed:
		return event.TasksMissed
	case readiness.Paused:
		return event.TasksPaused
	}
	switch {
	case was == readiness.Paused:
		return event.TasksResumed
	case settled:
		return event.TasksReopened
	case ch.Kind == readiness.Moved:
		return event.TasksChanged
	case now == readiness.Late:
		return event.TasksLate
	case now == readiness.Due:
		return event.TasksDue
	case now == readiness.Open:
		return event.TasksOpened
	}
	return event.TasksChanged
}
