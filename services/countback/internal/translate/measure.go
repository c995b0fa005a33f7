package translate

import (
	"encoding/json"
	"time"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
)

// systemPopulation names the parts of a measure.
//
// Source: HL7 FHIR R4 (4.0.1), code system measure-population.
const systemPopulation = "http://terminology.hl7.org/CodeSystem/measure-population"

// MeasureWords is what a Measure says of what it counts.
type MeasureWords struct {
	Canonical, Title, Description, Usage string
	Denominator, Numerator               string
	By, ByWords                          string // what its groups are made by
}

// ReadMeasure reads one of our Measures.
func ReadMeasure(r *fhir.Resource) MeasureWords {
	m := MeasureWords{
		Canonical: r.String("url") + "|" + r.String("version"), Title: r.String("title"),
		Description: r.String("description"), Usage: r.String("usage"),
		By: r.String("group", "stratifier", "code", "text"), ByWords: r.String("group", "stratifier", "description"),
	}
	for _, p := range r.Get("group", "population").Items() {
		switch p.String("code", "coding", "code") {
		case "denominator":
			m.Denominator = p.String("description")
		case "numerator":
			m.Numerator = p.String("description")
		}
	}
	return m
}

// MeasureReportOptions are what a report is written from.
type MeasureReportOptions struct {
	Measure  MeasureWords
	Counted  readiness.Counted
	From, To calendar.Date // the days of surgery that were counted, both included
	Now      time.Time
}

type population struct {
	Code  countedConcept `json:"code"`
	Count int            `json:"count"`
}

type countedConcept struct {
	Coding []countedCoding `json:"coding,omitempty"`
	Text   string          `json:"text,omitempty"`
}

type countedCoding struct {
	System string `json:"system"`
	Code   string `json:"code"`
}

type stratum struct {
	Value      countedConcept `json:"value"`
	Population []population   `json:"population"`
}

type stratifier struct {
	Code    []countedConcept `json:"code"`
	Stratum []stratum        `json:"stratum"`
}

type score struct {
	Value float64 `json:"value"`
}

type measureGroup struct {
	Population   []population `json:"population"`
	MeasureScore *score       `json:"measureScore,omitempty"`
	Stratifier   []stratifier `json:"stratifier,omitempty"`
}

type countedPeriod struct {
	Start string `json:"start"`
	End   string `json:"end"`
}

type measureReport struct {
	ResourceType string         `json:"resourceType"`
	Status       string         `json:"status"`
	Type         string         `json:"type"`
	Measure      string         `json:"measure"`
	Date         string         `json:"date"`
	Period       countedPeriod  `json:"period"`
	Group        []measureGroup `json:"group"`
}

// MeasureReport writes what was counted as a MeasureReport of type summary.
// Nothing in it names a person.
func (f Facility) MeasureReport(o MeasureReportOptions) ([]byte, error) {
	c := o.Counted
	g := measureGroup{Population: []population{populationOf("denominator", c.Denominator), populationOf("numerator", c.Numerator)}}
	if c.Denominator > 0 {
		share := float64(c.Numerator) * 10000 / float64(c.Denominator)
		g.MeasureScore = &score{float64(int(share+0.5)) / 10000}
	}
	if len(c.Groups) > 0 {
		// A reason is one of those counted above; what became of something, or
		// what was missing, is told of all that were looked at.
		part := "denominator"
		if o.Measure.By == readiness.ByReason {
			part = "numerator"
		}
		s := stratifier{Code: []countedConcept{{Text: o.Measure.By}}}
		for _, group := range c.Groups {
			s.Stratum = append(s.Stratum, stratum{countedConcept{Text: group.Name}, []population{populationOf(part, group.N)}})
		}
		g.Stratifier = []stratifier{s}
	}
	return json.Marshal(measureReport{
		ResourceType: "MeasureReport", Status: "complete", Type: "summary", Measure: o.Measure.Canonical,
		Date:   o.Now.In(f.Calendar.Zone()).Format(time.RFC3339),
		Period: countedPeriod{o.From.String(), o.To.String()}, Group: []measureGroup{g},
	})
}

func populationOf(code string, n int) population {
	return population{countedConcept{Coding: []countedCoding{{systemPopulation, code}}}, n}
}
