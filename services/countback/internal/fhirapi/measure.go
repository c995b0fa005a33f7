package fhirapi

import (
	"context"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/casework"
)

// Types of report that are given: R4 names "population" to ask for one that is of
// type "summary". The others of R4 name persons.
const (
	summaryReport    = "summary"
	populationReport = "population"
)

// measureParameters are the parameters of $evaluate-measure that have a meaning
// here.
//
// Source: HL7 FHIR R4 (4.0.1), OperationDefinition Measure-evaluate-measure.
var measureParameters = map[string]parameter{
	"periodStart": {values: []string{"valueDate"}},
	"periodEnd":   {values: []string{"valueDate"}},
	"reportType":  {values: []string{"valueCode"}},
}

// measure counts a measure over the days of surgery from one to another, both
// included.
func (s *server) measure(ctx context.Context, _, id string, list []given) ([]byte, error) {
	q := casework.Period{At: map[string]string{}}
	into := map[string]*string{"periodStart": &q.Start, "periodEnd": &q.End}
	for _, g := range list {
		q.At[g.name] = g.at
		if field := into[g.name]; field != nil {
			*field = g.text
		} else if g.text != summaryReport && g.text != populationReport {
			return nil, g.refuse(casework.ErrInvalid, fhir.CodeNotSupported, "only summary (population) is given: the other types name persons")
		}
	}
	return s.Office.EvaluateMeasure(ctx, id, q)
}
