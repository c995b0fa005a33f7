package kitcheck

import (
	"net/http"
	"strings"
)

// subscriptionFaults are wrong in Subscriptions and what is told of them.
var subscriptionFaults = []fault{
	{name: "topics are not told", answer: stated(func(o object) {
		for _, r := range o["rest"].([]any)[0].(object)["resource"].([]any) {
			delete(r.(object), "extension")
		}
	})},
	{name: "a new Subscription is active at once", answer: onSubscription(http.MethodPost, func(o object) {
		if o["status"] == "requested" {
			o["status"] = "active"
		}
	})},
	{name: "a Subscription is active without an answer", answer: onSubscription(http.MethodGet, func(o object) {
		if o["status"] == "requested" || o["status"] == "error" {
			o["status"] = "active"
		}
	})},
	{name: "anything can be subscribed to", answer: func(m *message) {
		if m.of("Subscription") && m.status == 422 {
			m.status = 201
		}
	}},
	{name: "what is wrong with a Subscription is not named", answer: func(m *message) {
		if m.of("Subscription") && m.status == 422 {
			m.edit(func(o object) { o["issue"] = []any{object{"severity": "error", "code": "invalid"}} })
		}
	}},
	{name: "$status is no answer to a question", answer: toldBy("$status", "type", func(p object) { p["valueCode"] = "heartbeat" })},
	{name: "$status tells of all", ask: func(m *message) {
		if m.path() == "Subscription/$status" {
			m.query.Del("id")
		}
	}},
	{name: "$status of nobody is 200", answer: func(m *message) {
		if strings.HasSuffix(m.path(), "/$status") && m.status == 404 {
			m.status = 200
		}
	}},
	{name: "events are not numbered from 1", answer: toldBy("$events", "notification-event", func(p object) {
		p["part"].([]any)[0].(object)["valueString"] = "0"
	})},
	{name: "$events tells of all", ask: func(m *message) {
		if strings.HasSuffix(m.path(), "/$events") && m.query.Get("eventsSinceNumber") != "soon" {
			m.query.Del("eventsSinceNumber")
			m.query.Del("eventsUntilNumber")
		}
	}},
	{name: "filters are lost", ask: subscribed(func(o object) { delete(o, "_criteria") })},
	{name: "resources are sent along", answer: func(m *message) {
		if strings.HasSuffix(m.path(), "/$events") {
			m.edit(func(o object) {
				o["entry"] = append(entries(o), object{"resource": object{"resourceType": "Patient", "name": []any{object{"text": "Osric Thistledown"}}}})
			})
		}
	}},
	{name: "empty names what it is about", ask: subscribed(func(o object) {
		for _, e := range o["channel"].(object)["_payload"].(object)["extension"].([]any) {
			e.(object)["valueCode"] = "id-only"
		}
	})},
	{name: "any word is a number", answer: func(m *message) {
		if strings.HasSuffix(m.path(), "/$events") && m.status == 400 {
			m.status = 200
		}
	}},
	{name: "a Subscription cannot be switched off", ask: func(m *message) {
		if m.of("Subscription") && m.Method == http.MethodPut {
			m.editSent(func(o object) { o["status"] = "requested" })
		}
	}},
	{name: "a deleted Subscription is 200", answer: func(m *message) {
		if m.of("Subscription") && m.status == 410 {
			m.status = 200
		}
	}},
	{name: "Subscriptions are found by no status", ask: func(m *message) {
		if m.path() == "Subscription" {
			m.query.Del("status")
		}
	}},
}

// onSubscription changes the answers to a method that are a Subscription.
func onSubscription(method string, change func(object)) func(*message) {
	return func(m *message) {
		if m.of("Subscription") && m.Method == method {
			m.edit(func(o object) {
				if o["resourceType"] == "Subscription" {
					change(o)
				}
			})
		}
	}
}

// subscribed changes what is subscribed to, on its way in.
func subscribed(change func(object)) func(*message) {
	return func(m *message) {
		if m.path() == "Subscription" && m.Method == http.MethodPost {
			m.editSent(change)
		}
	}
}

// toldBy changes the parameters of a name in the answers of an operation.
func toldBy(operation, name string, change func(object)) func(*message) {
	return func(m *message) {
		if !strings.HasSuffix(m.path(), "/"+operation) || m.status != http.StatusOK {
			return
		}
		m.edit(func(o object) {
			for _, e := range entries(o) {
				parameters, _ := e.(object)["resource"].(object)["parameter"].([]any)
				for _, p := range parameters {
					if p.(object)["name"] == name {
						change(p.(object))
					}
				}
			}
		})
	}
}
