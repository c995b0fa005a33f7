package kitcheck

import (
	"bytes"
	"fmt"
	"net/http"
	"regexp"
	"slices"
	"strings"
	"time"
)

// planFaults are wrong in what a booking leads to, and in what people do.
var planFaults = []fault{
	{name: "plans are always active", answer: of("CarePlan", func(r object) { r["status"] = "active" })},
	{name: "plans are drafts", answer: of("CarePlan", func(r object) { r["status"] = "draft" })},
	{name: "plans do not name their booking", answer: of("CarePlan", func(r object) { delete(r, "supportingInfo") })},
	{name: "plans do not name their protocol", answer: of("CarePlan", func(r object) { delete(r, "instantiatesCanonical") })},
	{name: "plans have no extension", answer: of("CarePlan", func(r object) { delete(r, "extension") })},
	{name: "plans have no text", answer: of("CarePlan", func(r object) { delete(r, "text") })},
	{name: "plans list one Task less", answer: of("CarePlan", func(r object) {
		if list, ok := r["activity"].([]any); ok {
			r["activity"] = list[1:]
		}
	})},
	{name: "a plan is given twice", answer: func(m *message) {
		if m.path() == "CarePlan" {
			m.edit(func(o object) {
				if list := entries(o); len(list) > 0 {
					o["entry"], o["total"] = append(list, list[0]), len(list)+1
				}
			})
		}
	}},
	{name: "dates are a day late", answer: func(m *message) {
		if m.of("Task") || m.of("PlanDefinition") {
			m.out = dated.ReplaceAllFunc(m.out, aDayLater)
		}
	}},
	{name: "Tasks have no state", answer: of("Task", func(r object) { delete(r, "businessStatus") })},
	{name: "Tasks have no rule", answer: of("Task", func(r object) { delete(r, "extension") })},
	{name: "Tasks are always requested", answer: of("Task", func(r object) { r["status"] = "requested" })},
	{name: "Tasks are never requested", answer: of("Task", func(r object) { r["status"] = "draft" })},
	{name: "Tasks forget who and why", answer: of("Task", func(r object) {
		for _, name := range []string{"owner", "note", "statusReason", "executionPeriod"} {
			delete(r, name)
		}
	})},
	{name: "Tasks are asked of nobody", answer: of("Task", func(r object) { delete(r, "performerType") })},
	{name: "each Task is there twice", answer: func(m *message) {
		if m.path() == "Task" {
			m.edit(func(o object) {
				if list := entries(o); len(list) > 0 {
					o["entry"], o["total"] = append(slices.Clone(list), list...), 2*len(list)
				}
			})
		}
	}},
	{name: "moves of a Task are not stored", instead: func(b *broken, m *message) bool {
		if m.Method != http.MethodPut || !m.of("Task") {
			return false
		}
		m.status, m.header, m.out = b.send(http.MethodGet, m.URL.RequestURI(), http.Header{}, nil)
		return true
	}},
	{name: "refused moves are stored as notes", about: "a refusal that is not one", instead: func(b *broken, m *message) bool {
		b.forward(m)
		if m.Method == http.MethodPut && m.of("Task") && m.status == 422 {
			m.status, m.header, m.out = b.send(http.MethodGet, m.URL.RequestURI(), http.Header{}, nil)
		}
		return true
	}},
	{name: "refusals do not say which moves are open", answer: func(m *message) {
		if m.status == 422 {
			m.out = []byte(`{"resourceType":"OperationOutcome","issue":[{"severity":"error","code":"business-rule"}]}`)
		}
	}},
	{name: "a hold raises no Flag", answer: of("Flag", nil)},
	{name: "Flags never end", answer: of("Flag", func(r object) { r["status"] = "active"; delete(r, "period") })},
	{name: "Flags do not say why", answer: of("Flag", func(r object) { delete(r, "code"); delete(r, "extension") })},
	{name: "everybody has a Flag", answer: func(m *message) {
		if m.path() == "Flag" {
			m.edit(func(o object) { o["total"] = 1 })
		}
	}},
	{name: "infections are ignored", ask: func(m *message) { m.body = bytes.ReplaceAll(m.body, []byte("N39.0"), []byte("E11.9")) }},
	{name: "an infection that is over is forgotten", about: "the hold is gone with it", answer: func(m *message) {
		if m.Method == http.MethodPut && bytes.Contains(m.body, []byte("resolved")) {
			m.status = 500
		}
	}},
	{name: "cancellations are ignored", ask: func(m *message) {
		m.body = bytes.ReplaceAll(m.body, []byte(`"cancelled"`), []byte(`"booked"`))
	}},
	{name: "a lost day is ignored", ask: func(m *message) { m.body = bytes.ReplaceAll(m.body, []byte(`"pending"`), []byte(`"booked"`)) }},
	{name: "every Appointment is a knee replacement", ask: func(m *message) {
		m.body = bytes.ReplaceAll(m.body, []byte("80146002"), []byte("609588000"))
	}},
	{name: "the day of a booking never moves", ask: func(m *message) {
		m.body = moved.ReplaceAll(m.body, []byte(`"${1}":"2027-01-26T`))
	}},
	{name: "there is no Provenance", answer: of("Provenance", nil)},
	{name: "one Provenance is enough", answer: func(m *message) {
		if m.path() == "Provenance" {
			m.edit(func(o object) { o["total"] = 1 })
		}
	}},
	{name: "operations give no parameter", answer: func(m *message) {
		if strings.Contains(m.path(), "$") {
			m.edit(func(o object) { delete(o, "parameter") })
		}
	}},
	{name: "the earliest day is today", answer: earliest("2026-11-01")},
	{name: "the earliest day is far away", answer: earliest("2029-01-01")},
	{name: "a plan has another earliest day", answer: func(m *message) {
		if m.of("CarePlan") {
			earliest("2029-01-01")(m)
		}
	}},
	{name: "operations are not served by POST", answer: func(m *message) {
		if strings.Contains(m.path(), "$") && m.Method == http.MethodPost {
			m.status = 405
		}
	}},
	{name: "unknown parameters of an operation are ignored", ask: func(m *message) { m.query.Del("unheardof") }},
	{name: "another day is ignored by $apply", ask: func(m *message) {
		m.query.Del("surgery")
		m.body = bytes.ReplaceAll(m.body, []byte(`"surgery"`), []byte(`"encounter"`))
	}},
	{name: "$apply gives a plan with an id", answer: func(m *message) {
		if strings.HasSuffix(m.path(), "$apply") {
			m.edit(func(o object) { o["id"] = "stored" })
		}
	}},
	{name: "$apply gives no RequestGroup", answer: func(m *message) {
		if strings.HasSuffix(m.path(), "$apply") {
			m.edit(func(o object) { delete(o, "contained") })
		}
	}},
	{name: "$apply of anything is that of the protocol", ask: func(m *message) {
		if strings.HasSuffix(m.path(), "$apply") {
			m.URL.Path = "/fhir/PlanDefinition/hip-or-knee-replacement/$apply"
		}
	}},
	{name: "an operation on nothing is 200", answer: func(m *message) {
		if strings.Contains(m.path(), "$") && m.status == 404 {
			m.status = 200
		}
	}},
	{name: "$apply needs no subject", answer: func(m *message) {
		if strings.HasSuffix(m.path(), "$apply") && m.status >= 400 && m.status != 404 {
			m.status = 200
		}
	}},
	{name: "old plans and Tasks are read as they are now", ask: func(m *message) { m.URL.Path, _, _ = strings.Cut(m.URL.Path, "/_history/") }},
	{name: "a worklist has a Task twice", answer: func(m *message) {
		if m.path() == "Task" && m.query.Get("_count") == "200" {
			m.edit(func(o object) {
				if list := entries(o); len(list) > 0 {
					o["entry"] = append(list, list[0])
				}
			})
		}
	}},
	{name: "a booking is moved once and for all", ask: func(m *message) {
		m.body = moved.ReplaceAll(m.body, []byte(`"${1}":"2027-02-16T`))
	}},
	{name: "questionnaires are empty", answer: of("Questionnaire", func(r object) { delete(r, "item") })},
	{name: "the protocol has no actions", answer: of("PlanDefinition", func(r object) { delete(r, "action") })},
}

// of changes each resource of a type; nil takes all of them away.
func of(typ string, change func(object)) func(*message) {
	return func(m *message) {
		if !m.of(typ) {
			return
		}
		m.edit(func(o object) {
			switch {
			case change != nil:
				each(o, func(r object) {
					if r["resourceType"] == typ {
						change(r)
					}
				})
			case o["entry"] != nil:
				delete(o, "entry")
				o["total"] = 0
			}
		})
	}
}

var (
	dated = regexp.MustCompile(`"20\d\d-\d\d-\d\d`)
	moved = regexp.MustCompile(`"(start|end)":"\d{4}-\d\d-\d\dT`)
)

func aDayLater(b []byte) []byte {
	day, err := time.Parse(`"2006-01-02`, string(b))
	if err != nil {
		return b
	}
	return fmt.Appendf(nil, `"%s`, day.AddDate(0, 0, 1).Format(time.DateOnly))
}

// earliest answers with another day.
func earliest(day string) func(*message) {
	return func(m *message) {
		if !strings.Contains(m.path(), "$earliest-safe-date") {
			return
		}
		m.edit(func(o object) {
			list, _ := o["parameter"].([]any)
			for _, p := range list {
				if one := p.(object); one["name"] == "day" || one["name"] == "not-before" {
					one["valueDate"] = day
				}
			}
		})
	}
}

// statementFaults are wrong in what the server says of itself.
var statementFaults = []fault{
	{name: "another fhirVersion", answer: stated(func(o object) { o["fhirVersion"] = "4.0.0" })},
	{name: "no date", answer: stated(func(o object) { delete(o, "date") })},
	{name: "no formats", answer: stated(func(o object) { o["format"] = []string{"xml"} })},
	{name: "a client's statement", answer: stated(func(o object) {
		for _, r := range o["rest"].([]any) {
			r.(object)["mode"] = "client"
		}
	})},
	{name: "a type is listed twice", answer: stated(func(o object) {
		rest := o["rest"].([]any)[0].(object)
		list := rest["resource"].([]any)
		rest["resource"] = append(list, list[0])
	})},
	{name: "no interactions", answer: stated(func(o object) {
		rest := o["rest"].([]any)[0].(object)
		delete(rest, "interaction")
		for _, r := range rest["resource"].([]any) {
			delete(r.(object), "interaction")
		}
	})},
}

func stated(change func(object)) func(*message) {
	return func(m *message) {
		if m.path() == "metadata" {
			m.edit(change)
		}
	}
}
