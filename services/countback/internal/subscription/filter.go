package subscription

import (
	"net/url"
	"slices"
	"strings"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/event"
)

// filter lets an event through that has one of the values.
type filter struct {
	key    string // one of the keys below
	values []string
}

// Keys of filters, by what they look at.
const (
	byPatient = "patient"
	byCase    = "case"
	byEvent   = "event"
	byStep    = "step"
)

// filterKeys are the parameters that can be filtered by, Type?parameter.
var filterKeys = map[string]string{
	"CarePlan?subject": byPatient, "CarePlan?patient": byPatient, "CarePlan?_id": byCase, "CarePlan?event": byEvent,
	"Task?subject": byPatient, "Task?patient": byPatient, "Task?code": byStep, "Task?event": byEvent,
}

const filterHelp = "a filter is CarePlan?subject=, CarePlan?patient=, CarePlan?_id=, CarePlan?event=, Task?patient=, Task?subject=, Task?code= or Task?event=, " +
	"with values joined by commas, and without modifiers; event is the name of an event, such as case.held"

// systemStep is the code system of the steps, see search.SystemStep.
const systemStep = "http://countback.example/fhir/CodeSystem/step"

// parseFilters reads Type?name=value&name=value. The fault is empty when all of
// it was understood: what is not understood would let too much or too little
// through.
func parseFilters(text, base string) (out []filter, fault string) {
	typ, query, ok := strings.Cut(text, "?")
	values, err := url.ParseQuery(query)
	if !ok || err != nil || len(values) == 0 {
		return nil, filterHelp
	}
	for name, all := range values {
		key := filterKeys[typ+"?"+name]
		if key == "" {
			return nil, filterHelp
		}
		for _, joined := range all {
			f := filter{key: key, values: strings.Split(joined, ",")}
			if len(f.values) > maxValues {
				return nil, "a filter has too many values"
			}
			for n, v := range f.values {
				if f.values[n] = filterValue(key, v, base); f.values[n] == "" {
					return nil, "a value of the filter is none that could ever be: " + kindOf[key]
				}
			}
			out = append(out, f)
		}
	}
	return out, ""
}

// kindOf says what the values of each key are.
var kindOf = map[string]string{
	byPatient: "it is Patient/id, or an id",
	byCase:    "it is the id of a CarePlan",
	byEvent:   "it is the name of an event of this service, such as case.held or tasks.late",
	byStep:    "it is the code of a step, or system|code with our code system of steps",
}

// filterValue is a value as events are compared with it; empty for none.
func filterValue(key, v, base string) string {
	switch key {
	case byPatient:
		if !strings.Contains(v, "/") {
			v = "Patient/" + v
		}
		ref, err := fhir.ParseRef(v, base)
		if err != nil || ref.Type != "Patient" || ref.ID == "" || ref.Version != "" {
			return ""
		}
		return "Patient/" + ref.ID
	case byCase:
		if ref, err := fhir.ParseRef("CarePlan/"+v, ""); err != nil || ref.ID != v {
			return ""
		}
	case byEvent:
		if !slices.Contains(event.CaseNames(), v) && !slices.Contains(event.TasksNames(), v) {
			return ""
		}
	case byStep:
		if system, code, ok := strings.Cut(v, "|"); ok {
			if v = code; system != systemStep {
				return ""
			}
		}
		if strings.Trim(v, "abcdefghijklmnopqrstuvwxyz0123456789-") != "" {
			return ""
		}
	}
	return v
}

// News is what one event tells a receiver: references, and nothing else.
type News struct {
	Name    string   `json:"name"`              // of the event
	Focus   string   `json:"focus"`             // CarePlan/id
	Context []string `json:"context,omitempty"` // Task/id or Flag/id
}

// Match reports what an event of the outbox means for the Subscription; false
// when it does not ask for it. patient is whose case it is, Patient/id.
func (s *Subscription) Match(e event.Event, patient string) (News, bool, error) {
	n := News{Name: e.Name(), Focus: "CarePlan/" + e.CaseID()}
	if !slices.Contains(s.Topic.Names, n.Name) {
		return n, false, nil
	}
	steps, stepped := []string(nil), false
	for _, f := range s.filters {
		value := map[string]string{byPatient: patient, byCase: e.CaseID(), byEvent: n.Name}[f.key]
		switch {
		case f.key == byStep && !stepped:
			steps, stepped = f.values, true
		case f.key == byStep: // all of them must let a Task through
			steps = slices.DeleteFunc(slices.Clone(steps), func(v string) bool { return !slices.Contains(f.values, v) })
		case !slices.Contains(f.values, value):
			return n, false, nil
		}
	}
	if !strings.HasPrefix(n.Name, "tasks.") {
		if stepped {
			return n, false, nil // it is about no step
		}
		d, err := e.CaseData()
		for _, h := range d.Holds {
			n.Context = append(n.Context, "Flag/"+h.ID)
		}
		return n, err == nil, err
	}
	d, err := e.TasksData()
	for _, t := range d.Tasks {
		if !stepped || slices.Contains(steps, t.Step) {
			n.Context = append(n.Context, "Task/"+t.ID)
		}
	}
	return n, err == nil && len(n.Context) > 0, err
}
