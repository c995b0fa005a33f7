package subscription

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/event"
)

const base = "https://plans.larkspindle.example/fhir"

// events are one event of the case and one of its Tasks.
func events(t *testing.T) (held, late event.Event) {
	t.Helper()
	o := event.Options{ID: "e-1", Facility: "main", Name: event.CaseHeld, Time: time.Unix(1800000000, 0), CaseSequence: 4}
	held, err := event.NewCase(o, event.CaseData{
		CarePlan: "case-1", Version: 3, State: "held", Protocol: "http://countback.example/fhir/PlanDefinition/x|1",
		Holds: []event.HoldRef{{ID: "flag-1", Version: 1, Category: "clinical"}},
	})
	require.NoError(t, err)
	o.Name = event.TasksLate
	late, err = event.NewTasks(o, event.TasksData{CarePlan: "case-1", Tasks: []event.TaskData{
		{ID: "case-1-1", Version: 2, Step: "first-step", State: "late"}, {ID: "case-1-2", Version: 2, Step: "second-step", State: "late"},
	}})
	require.NoError(t, err)
	return held, late
}

// A filter lets through what it names, and nothing else; several must all agree.
func TestMatch(t *testing.T) {
	held, late := events(t)
	both := []string{"Task/case-1-1", "Task/case-1-2"}
	for _, c := range []struct {
		name, topic string
		filters     []string
		held, late  []string // what is told beside the case; nil: nothing is told
	}{
		{"the plan", "plan-changed", nil, []string{"Flag/flag-1"}, nil},
		{"holds", "hold-changed", nil, []string{"Flag/flag-1"}, nil},
		{"Tasks", "task-changed", nil, nil, both},
		{"the person", "plan-changed", []string{"CarePlan?subject=Patient/p-1"}, []string{"Flag/flag-1"}, nil},
		{"the person by id", "task-changed", []string{"Task?patient=p-1"}, nil, both},
		{"the person by our address", "task-changed", []string{"CarePlan?patient=" + base + "/Patient/p-1"}, nil, both},
		{"one of two persons", "plan-changed", []string{"CarePlan?subject=Patient/p-2,Patient/p-1"}, []string{"Flag/flag-1"}, nil},
		{"another person", "plan-changed", []string{"CarePlan?subject=Patient/p-2"}, nil, nil},
		{"both of two persons", "plan-changed", []string{"CarePlan?subject=p-1", "CarePlan?subject=p-2"}, nil, nil},
		{"the case", "plan-changed", []string{"CarePlan?_id=case-1"}, []string{"Flag/flag-1"}, nil},
		{"another case", "plan-changed", []string{"CarePlan?_id=case-2"}, nil, nil},
		{"the event", "plan-changed", []string{"CarePlan?event=case.opened,case.held"}, []string{"Flag/flag-1"}, nil},
		{"another event", "plan-changed", []string{"CarePlan?event=case.opened"}, nil, nil},
		{"a step", "task-changed", []string{"Task?code=second-step"}, nil, both[1:]},
		{"a step with its system", "task-changed", []string{"Task?code=http://countback.example/fhir/CodeSystem/step%7Csecond-step"}, nil, both[1:]},
		{"another step", "task-changed", []string{"Task?code=third-step"}, nil, nil},
		{"two steps that must both be it", "task-changed", []string{"Task?code=first-step&code=second-step"}, nil, nil},
		{"a step, of the plan", "plan-changed", []string{"Task?code=second-step"}, nil, nil},
		{"a step and a person", "task-changed", []string{"Task?code=first-step&patient=p-1"}, nil, both[:1]},
	} {
		t.Run(c.name, func(t *testing.T) {
			topic, ok := topicOf(topicBase + c.topic)
			require.True(t, ok)
			s := &Subscription{Topic: topic}
			for _, f := range c.filters {
				fs, fault := parseFilters(f, base)
				require.Empty(t, fault)
				s.filters = append(s.filters, fs...)
			}
			for _, one := range []struct {
				e    event.Event
				want []string
			}{{held, c.held}, {late, c.late}} {
				n, ok, err := s.Match(one.e, "Patient/p-1")
				require.NoError(t, err)
				require.Equal(t, one.want != nil, ok)
				if ok {
					require.Equal(t, News{Name: one.e.Name(), Focus: "CarePlan/case-1", Context: one.want}, n)
				}
			}
		})
	}
}

// What is not understood is no filter: it would let too much or too little through.
func TestNoFilter(t *testing.T) {
	for _, text := range []string{
		"", "CarePlan", "CarePlan?", "CarePlan?status=active", "Patient?_id=1", "CarePlan?subject:missing=true", "CarePlan?subject=",
		"CarePlan?subject=Group/1", "CarePlan?subject=Patient/1/_history/2", "CarePlan?subject=https://elsewhere.example/fhir/Patient/1",
		"CarePlan?_id=a b", "CarePlan?_id=a/_history/1", "CarePlan?_id=", "CarePlan?event=case.lost", "Task?code=http://elsewhere.example|x", "Task?code=Some Text", "CarePlan?%zz",
	} {
		_, fault := parseFilters(text, base)
		require.NotEmpty(t, fault, text)
	}
}

// Every event of the service is told by a topic.
func TestTopicsHoldEveryEvent(t *testing.T) {
	seen := map[string]bool{}
	for _, topic := range Topics() {
		for _, name := range topic.Names {
			seen[name] = true
		}
	}
	require.Len(t, seen, len(event.CaseNames())+len(event.TasksNames()))
}
