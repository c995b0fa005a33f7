package event

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// changed is an instant with a facility's offset (Central Standard Time).
var changed = time.Date(2026, 11, 2, 9, 30, 0, 123_000_000, time.FixedZone("", -6*3600))

func options(name string) Options {
	return Options{ID: "0000000042-7", Facility: "north", Name: name, Time: changed, CaseSequence: 7}
}

func fullCase() CaseData {
	return CaseData{
		CarePlan: "01J.abc-9", Version: 4, State: "held",
		Protocol:    "http://countback.example/fhir/PlanDefinition/hip-or-knee-replacement|1.0.0",
		SurgeryDate: "2026-11-30", PreviousSurgeryDate: "2026-12-07", EarliestSafeDate: "2026-12-03",
		Booking: "Appointment/a-1", Holds: []HoldRef{{ID: "f-1", Version: 1, Category: "clinical"}},
	}
}

func fullTasks() TasksData {
	return TasksData{CarePlan: "01J.abc-9", Tasks: []TaskData{
		{ID: "t-1", Version: 1, Step: "some-step", State: "open", Opens: "2026-10-19", Due: "2026-11-16", Last: "2026-11-29"},
		{ID: "t-2", Version: 2, Step: "some-clock-step", State: "upcoming", Due: "2026-11-30T05:30:00-06:00"},
	}}
}

func TestEventGoesOutAsCloudEvent(t *testing.T) {
	// Required members and their form: CloudEvents 1.0.2 and its JSON format
	// (github.com/cloudevents/spec, cloudevents/formats/json-format.md).
	e, err := NewTasks(options(TasksOpened), fullTasks())
	require.NoError(t, err)
	body, err := Encode(e)
	require.NoError(t, err)
	require.JSONEq(t, `{
		"id": "0000000042-7",
		"source": "http://countback.example/facility/north",
		"specversion": "1.0",
		"type": "example.countback.tasks.opened",
		"subject": "CarePlan/01J.abc-9",
		"time": "2026-11-02T09:30:00.123-06:00",
		"datacontenttype": "application/json",
		"dataschema": "http://countback.example/events/v1/tasks.schema.json",
		"casesequence": 7,
		"data": {"carePlan": "01J.abc-9", "tasks": [
			{"id": "t-1", "version": 1, "step": "some-step", "state": "open", "opens": "2026-10-19", "due": "2026-11-16", "last": "2026-11-29"},
			{"id": "t-2", "version": 2, "step": "some-clock-step", "state": "upcoming", "due": "2026-11-30T05:30:00-06:00"}
		]}}`, string(body))

	back, err := Decode(body)
	require.NoError(t, err)
	require.Equal(t, TasksOpened, back.Name())
	require.Equal(t, "01J.abc-9", back.CaseID())
	require.Equal(t, "2026-11-02T09:30:00.123-06:00", back.Time.Format(time.RFC3339Nano))
	tasks, err := back.TasksData()
	require.NoError(t, err)
	require.Equal(t, fullTasks(), tasks)
	_, err = back.CaseData()
	require.ErrorIs(t, err, ErrInvalid)
}

func TestCaseDataComesBackWhole(t *testing.T) {
	e, err := NewCase(options(CaseHeld), fullCase())
	require.NoError(t, err)
	body, err := Encode(e)
	require.NoError(t, err)
	back, err := Decode(body)
	require.NoError(t, err)
	data, err := back.CaseData()
	require.NoError(t, err)
	require.Equal(t, fullCase(), data)
	_, err = back.TasksData()
	require.ErrorIs(t, err, ErrInvalid)
}

func TestAttributeNamesFollowTheSpecification(t *testing.T) {
	// CloudEvents 1.0.2, naming conventions: a-z and 0-9, at most 20 characters.
	e, err := NewCase(options(CaseOpened), fullCase())
	require.NoError(t, err)
	body, err := Encode(e)
	require.NoError(t, err)
	var members map[string]json.RawMessage
	require.NoError(t, json.Unmarshal(body, &members))
	require.Len(t, members, 10)
	for name := range members {
		require.Regexp(t, `^[a-z0-9]{1,20}$`, name)
	}
}

func TestDataTakesNoFreeText(t *testing.T) {
	const canary = "Zebra Canary"
	caseRow := func(change func(*CaseData)) error {
		d := fullCase()
		change(&d)
		_, err := NewCase(options(CaseHeld), d)
		return err
	}
	tasksRow := func(change func(*TaskData)) error {
		d := fullTasks()
		change(&d.Tasks[1])
		_, err := NewTasks(options(TasksDue), d)
		return err
	}
	for _, row := range []struct {
		member string
		err    error
	}{
		{"carePlan", caseRow(func(d *CaseData) { d.CarePlan = canary })},
		{"version", caseRow(func(d *CaseData) { d.Version = 0 })},
		{"state", caseRow(func(d *CaseData) { d.State = canary })},
		{"state", caseRow(func(d *CaseData) { d.State = "" })},
		{"protocol", caseRow(func(d *CaseData) { d.Protocol = canary })},
		{"protocol", caseRow(func(d *CaseData) { d.Protocol = "http://countback.example/fhir/PlanDefinition/x" })},
		{"surgeryDate", caseRow(func(d *CaseData) { d.SurgeryDate = canary })},
		{"surgeryDate", caseRow(func(d *CaseData) { d.SurgeryDate = "2026-02-30" })},
		{"previousSurgeryDate", caseRow(func(d *CaseData) { d.PreviousSurgeryDate = "2026-11-30T08:00:00Z" })},
		{"earliestSafeDate", caseRow(func(d *CaseData) { d.EarliestSafeDate = canary })},
		{"booking", caseRow(func(d *CaseData) { d.Booking = canary })},
		{"booking", caseRow(func(d *CaseData) { d.Booking = "http://ehr.example/Appointment/1" })},
		{"holds[0].id", caseRow(func(d *CaseData) { d.Holds[0].ID = canary })},
		{"holds[0].version", caseRow(func(d *CaseData) { d.Holds[0].Version = -1 })},
		{"holds[0].category", caseRow(func(d *CaseData) { d.Holds[0].Category = canary })},
		{"tasks[1].id", tasksRow(func(d *TaskData) { d.ID = canary })},
		{"tasks[1].version", tasksRow(func(d *TaskData) { d.Version = 0 })},
		{"tasks[1].step", tasksRow(func(d *TaskData) { d.Step = canary })},
		{"tasks[1].state", tasksRow(func(d *TaskData) { d.State = canary })},
		{"tasks[1].opens", tasksRow(func(d *TaskData) { d.Opens = canary })},
		{"tasks[1].due", tasksRow(func(d *TaskData) { d.Due = "2026-11-30 05:30" })},
		{"tasks[1].last", tasksRow(func(d *TaskData) { d.Last = canary })},
	} {
		t.Run(row.member, func(t *testing.T) {
			require.ErrorIs(t, row.err, ErrData)
			require.True(t, strings.HasSuffix(row.err.Error(), ": "+row.member), row.err.Error())
			require.NotContains(t, row.err.Error(), canary, "the text may be logged")
		})
	}
	_, err := NewTasks(options(TasksDue), TasksData{CarePlan: "c"})
	require.ErrorIs(t, err, ErrData, "a tasks event without tasks")
}

func TestEnvelopeIsCheckedBeforeItIsWritten(t *testing.T) {
	good, err := NewCase(options(CaseHeld), fullCase())
	require.NoError(t, err)
	for _, row := range []struct {
		name   string
		change func(*Event)
	}{
		{"no id", func(e *Event) { e.ID = "" }},
		{"id that breaks a header", func(e *Event) { e.ID = "a\nb" }},
		{"no source", func(e *Event) { e.Source = "" }},
		{"relative source", func(e *Event) { e.Source = "north" }},
		{"other version", func(e *Event) { e.SpecVersion = "0.3" }},
		{"unknown type", func(e *Event) { e.Type = TypePrefix + "case.sold" }},
		{"foreign type", func(e *Event) { e.Type = "case.held" }},
		{"subject is no plan", func(e *Event) { e.Subject = "Patient/1" }},
		{"no time", func(e *Event) { e.Time = time.Time{} }},
		{"other content", func(e *Event) { e.DataContentType = "text/plain" }},
		{"other schema", func(e *Event) { e.DataSchema = "" }},
		{"sequence zero", func(e *Event) { e.CaseSequence = 0 }},
		{"sequence beyond a CloudEvents integer", func(e *Event) { e.CaseSequence = 1 << 31 }},
		{"no data", func(e *Event) { e.Data = nil }},
		{"data is no object", func(e *Event) { e.Data = json.RawMessage(`"held"`) }},
		{"data is cut off", func(e *Event) { e.Data = json.RawMessage(`{"a":`) }},
		{"too long", func(e *Event) { e.Data = json.RawMessage(`{"a":"` + strings.Repeat("x", MaxBody) + `"}`) }},
	} {
		t.Run(row.name, func(t *testing.T) {
			e := good
			row.change(&e)
			_, err := Encode(e)
			require.ErrorIs(t, err, ErrInvalid)
		})
	}
	_, err = NewCase(options(TasksDue), fullCase())
	require.ErrorIs(t, err, ErrInvalid)
	_, err = NewTasks(options(CaseHeld), fullTasks())
	require.ErrorIs(t, err, ErrInvalid)
	bad := options(CaseHeld)
	bad.Facility = "North Wing"
	_, err = NewCase(bad, fullCase())
	require.ErrorIs(t, err, ErrSubject)
}

func TestSixtyTasksStayBelowWhatEveryIntermediaryCarries(t *testing.T) {
	// CloudEvents 1.0.2, size limits: intermediaries must forward 64 KiB.
	data := TasksData{CarePlan: strings.Repeat("c", 64)}
	for range 60 {
		data.Tasks = append(data.Tasks, TaskData{
			ID: strings.Repeat("t", 64), Version: 1 << 30, Step: strings.Repeat("s", 64), State: "not-needed",
			Opens: "2026-11-30T05:30:00-06:00", Due: "2026-11-30T05:30:00-06:00", Last: "2026-11-30T05:30:00-06:00",
		})
	}
	e, err := NewTasks(options(TasksOpened), data)
	require.NoError(t, err)
	body, err := Encode(e)
	require.NoError(t, err)
	require.Less(t, len(body), 64<<10)
}

func TestSubject(t *testing.T) {
	for _, row := range []struct {
		facility, event, want string
	}{
		{"north", CaseOpened, "countback.v1.north.case.opened"},
		{"north-2_b", TasksCancelled, "countback.v1.north-2_b.tasks.cancelled"},
		{"7", CaseOnTrack, "countback.v1.7.case.on-track"},
		{"", CaseOpened, ""},
		{"a.b", CaseOpened, ""},
		{"a b", CaseOpened, ""},
		{"*", CaseOpened, ""},
		{">", CaseOpened, ""},
		{"$JS", CaseOpened, ""},
		{"North", CaseOpened, ""},
		{"nörd", CaseOpened, ""},
		{strings.Repeat("a", 65), CaseOpened, ""},
		{"north", "case.sold", ""},
		{"north", "opened", ""},
		{"north", "", ""},
	} {
		t.Run(row.facility+" "+row.event, func(t *testing.T) {
			got, err := Subject(row.facility, row.event)
			if row.want == "" {
				require.ErrorIs(t, err, ErrSubject)
				return
			}
			require.NoError(t, err)
			require.Equal(t, row.want, got)
			facility, event, err := ParseSubject(got)
			require.NoError(t, err)
			require.Equal(t, row.facility, facility)
			require.Equal(t, row.event, event)
		})
	}
}

func TestParseSubject(t *testing.T) {
	_, name, err := ParseSubject("countback.v1.north.case.newer-than-us")
	require.NoError(t, err)
	require.Equal(t, "case.newer-than-us", name)
	for _, bad := range []string{
		"", "countback.v1.", "countback.v2.north.case.opened", "countback.v1.north", "countback.v1.north.case",
		"countback.v1.north.case.", "countback.v1.north.plan.opened", "countback.v1.north.case.opened.twice",
		"countback.v1.north.case.*", "countback.v1.>", "countback.v1..case.opened",
	} {
		_, _, err := ParseSubject(bad)
		require.ErrorIs(t, err, ErrSubject, bad)
	}
}

func TestFilter(t *testing.T) {
	all, err := Filter("")
	require.NoError(t, err)
	require.Equal(t, "countback.v1.>", all)
	one, err := Filter("north")
	require.NoError(t, err)
	require.Equal(t, "countback.v1.north.>", one)
	_, err = Filter("a.b")
	require.ErrorIs(t, err, ErrSubject)
}
