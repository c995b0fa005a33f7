package event

// Names of the events. A case event is about the CarePlan as a whole, a tasks
// event about some of its Tasks. They are part of the published contract in
// api/events: a name is never reused with another meaning.
const (
	CaseOpened     = "case.opened"
	CaseRedated    = "case.redated"
	CaseHeld       = "case.held"
	CaseReleased   = "case.released"
	CaseInfeasible = "case.infeasible"
	CaseFeasible   = "case.feasible"
	CaseBehind     = "case.behind"
	CaseOnTrack    = "case.on-track"
	CaseReady      = "case.ready"
	CaseUnready    = "case.unready"
	CaseArrived    = "case.arrived"
	CaseDischarged = "case.discharged"
	CaseClosed     = "case.closed"
	CaseCancelled  = "case.cancelled"

	TasksOpened    = "tasks.opened"
	TasksChanged   = "tasks.changed"
	TasksDue       = "tasks.due"
	TasksLate      = "tasks.late"
	TasksMissed    = "tasks.missed"
	TasksDone      = "tasks.done"
	TasksWaived    = "tasks.waived"
	TasksExpired   = "tasks.expired"
	TasksReopened  = "tasks.reopened"
	TasksPaused    = "tasks.paused"
	TasksResumed   = "tasks.resumed"
	TasksCancelled = "tasks.cancelled"
)

// CaseNames returns the names of the case events, in the order of a case's life.
func CaseNames() []string {
	return []string{
		CaseOpened, CaseRedated, CaseHeld, CaseReleased, CaseInfeasible, CaseFeasible, CaseBehind,
		CaseOnTrack, CaseReady, CaseUnready, CaseArrived, CaseDischarged, CaseClosed, CaseCancelled,
	}
}

// TasksNames returns the names of the tasks events.
func TasksNames() []string {
	return []string{
		TasksOpened, TasksChanged, TasksDue, TasksLate, TasksMissed, TasksDone, TasksWaived,
		TasksExpired, TasksReopened, TasksPaused, TasksResumed, TasksCancelled,
	}
}

var (
	caseNames  = setOf(CaseNames())
	tasksNames = setOf(TasksNames())
)

func setOf(names []string) map[string]bool {
	set := make(map[string]bool, len(names))
	for _, n := range names {
		set[n] = true
	}
	return set
}

func isName(name string) bool { return caseNames[name] || tasksNames[name] }
