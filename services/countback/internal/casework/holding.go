package casework

import (
	"encoding/json"
	"slices"
	"strings"

	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/store"
	"example.org/countback/services/countback/internal/translate"
)

// holdings are the cases of the people of one delivery, read once for each.
type holdings map[string][]store.Case

// heldBy tells the sender of a record which open holds rest on it: it learns of
// them nowhere else. It is said as often as the record is sent, and not only when
// the hold is raised.
func (r *receipt) heldBy(s store.Stored, known holdings) (string, error) {
	if !strings.HasPrefix(s.Patient, "Patient/") || s.Type == "Patient" {
		return "", nil
	}
	cases, read := known[s.Patient]
	if !read {
		var err error
		if cases, err = r.tx.CasesOf(s.Patient); err != nil {
			return "", err
		}
		known[s.Patient] = cases
	}
	var out []string
	for n := range cases {
		var d caseData
		if err := json.Unmarshal(cases[n].Data, &d); err != nil {
			return "", err
		}
		for _, row := range d.Holds {
			if row.Ended.IsZero() && slices.ContainsFunc(row.Records, func(record string) bool {
				return record == s.Type+"/"+s.ID || strings.HasPrefix(record, s.Type+"/"+s.ID+"#")
			}) {
				out = append(out, r.holds(d.Day, row))
			}
		}
	}
	return strings.Join(out, "; "), nil
}

func (r *receipt) holds(day string, row translate.HoldRow) string {
	kind := r.protocol.Kind(row.Kind)
	out := "it holds " + caseOn(day) + " (" + strings.ToLower(kind.Display) + ")"
	if row.Kind != readiness.KindNoDate {
		out += " until a named person releases it"
	}
	return out
}

// caseOn names a case by its day of surgery, as it is written: 2027-01-11.
func caseOn(day string) string {
	if day == "" {
		return "the case that has no date"
	}
	return "the case of " + day
}

// joined is what a sender is told of one resource, in one line.
func joined(parts ...string) string {
	return strings.Join(slices.DeleteFunc(parts, func(s string) bool { return s == "" }), "; ")
}
