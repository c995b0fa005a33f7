package kitcheck

import (
	"net/http"
	"strings"
)

// measureFaults are wrong in what a measure counts, and for whom.
var measureFaults = []fault{
	{name: "a report is no MeasureReport", answer: reported(func(o object) { o["resourceType"] = "Measure" })},
	{name: "a report covers the year, whatever was asked", answer: reported(func(o object) {
		o["period"] = object{"start": "2026-01-01", "end": "2026-12-31"}
	})},
	{name: "a year is its first day", ask: func(m *message) {
		for _, name := range []string{"periodStart", "periodEnd"} {
			switch text := m.query.Get(name); len(text) {
			case len("2006"):
				m.query.Set(name, text+"-01-01")
			case len("2006-01"):
				m.query.Set(name, text+"-01")
			}
		}
	}},
	{name: "nobody is counted", answer: counts(func(_ object, p object) { p["count"] = 0 })},
	{name: "nobody is ever cancelled", answer: counts(func(_ object, p object) {
		if at := p["code"].(object)["coding"].([]any)[0].(object); at["code"] == "numerator" {
			p["count"] = 0
		}
	})},
	{name: "a score is a percentage", answer: counts(func(g, _ object) { g["measureScore"] = object{"value": 55} })},
	{name: "a report names somebody", answer: reported(func(o object) { o["subject"] = object{"reference": "Patient/1"} })},
	{name: "population is no type of report", answer: func(m *message) {
		if m.query.Get("reportType") == "population" {
			m.status = 422
		}
	}},
	{name: "every type of report is a summary", ask: func(m *message) { m.query.Del("reportType") }},
	{name: "a period may lack an end", ask: func(m *message) {
		if !strings.HasSuffix(m.path(), "$evaluate-measure") || m.Method != http.MethodGet {
			return
		}
		for _, name := range []string{"periodStart", "periodEnd"} {
			if m.query.Get(name) == "" {
				m.query.Set(name, today)
			}
		}
	}},
	{name: "a period that ends before it starts is turned round", ask: func(m *message) {
		if from, to := m.query.Get("periodStart"), m.query.Get("periodEnd"); from > to {
			m.query.Set("periodStart", to)
			m.query.Set("periodEnd", from)
		}
	}},
	{name: "every measure is the same", ask: func(m *message) {
		if strings.HasSuffix(m.path(), "$evaluate-measure") {
			m.URL.Path = "/fhir/Measure/class-attendance/$evaluate-measure"
		}
	}},
	{name: "an operation is not declared", answer: stated(func(o object) {
		for _, r := range o["rest"].([]any)[0].(object)["resource"].([]any) {
			delete(r.(object), "operation")
		}
	})},
}

// reported changes the answer to $evaluate-measure.
func reported(change func(object)) func(*message) {
	return func(m *message) {
		if strings.HasSuffix(m.path(), "$evaluate-measure") && m.status == http.StatusOK {
			m.edit(change)
		}
	}
}

// counts changes each count of a report, with its group.
func counts(change func(group, population object)) func(*message) {
	return reported(func(o object) {
		for _, g := range o["group"].([]any) {
			for _, p := range g.(object)["population"].([]any) {
				change(g.(object), p.(object))
			}
		}
	})
}
