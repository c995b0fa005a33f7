package demo

import (
	"encoding/json"
	"fmt"
	"io/fs"
	"sort"
	"time"

	"example.org/countback/pkg/fhir"
)

// story is one person's file.
type story struct {
	Person   string    `json:"person"`
	Story    string    `json:"story"`
	Messages []message `json:"messages"`

	kept string // why the service opened no case for the last booking
}

// message is something that was sent, or something that a person recorded.
type message struct {
	At     time.Time       `json:"at"`
	Method string          `json:"method"`
	Path   string          `json:"path"`
	Body   json.RawMessage `json:"body"`
	Work   *work           `json:"work"`

	story *story
}

// work is a person's entry on the Task of a step.
type work struct {
	Step    string `json:"step"`
	Booking string `json:"booking"` // identifier value of the Appointment, where a person has several
	Status  string `json:"status"`
	On      string `json:"on"`
	Note    string `json:"note"`
	Reason  string `json:"reason"`
	Text    string `json:"text"`
	Owner   string `json:"owner"` // who did it, where that must be said
	Dose    string `json:"dose"`  // of a signature: another dose, in the prescriber's words for the person
}

// stories reads the files of the corpus, and all messages in time order.
func stories(corpus fs.FS) ([]*story, []message, error) {
	names, err := fs.Glob(corpus, "demo/*.json")
	if err != nil {
		return nil, nil, err
	}
	var all []*story
	var messages []message
	for _, name := range names {
		b, err := fs.ReadFile(corpus, name)
		if err != nil {
			return nil, nil, err
		}
		s := &story{}
		if err := json.Unmarshal(b, s); err != nil {
			return nil, nil, fmt.Errorf("%s: %w", name, err)
		}
		all = append(all, s)
		for _, m := range s.Messages {
			m.story = s
			messages = append(messages, m)
		}
	}
	sort.SliceStable(messages, func(i, j int) bool { return messages[i].At.Before(messages[j].At) })
	return all, messages, nil
}

// patient finds the business identifier of the story's person in its messages.
func (s *story) patient() (fhir.Identifier, bool) {
	for _, m := range s.Messages {
		if m.Body == nil {
			continue
		}
		r, issues := fhir.Parse(m.Body, len(m.Body)+1)
		if len(issues) > 0 {
			continue
		}
		for _, res := range inside(r) {
			if res.String("resourceType") == "Patient" {
				id := res.Get("identifier").Item(0)
				return fhir.Identifier{System: id.String("system"), Value: id.String("value")}, id.Exists()
			}
		}
	}
	return fhir.Identifier{}, false
}

// inside lists a resource, or the resources of a bundle.
func inside(r *fhir.Resource) []*fhir.Node {
	if r.Type != "Bundle" {
		return []*fhir.Node{r.Root()}
	}
	var out []*fhir.Node
	for _, e := range r.Get("entry").Items() {
		if res := e.Get("resource"); res.Exists() {
			out = append(out, res)
		}
	}
	return out
}
