package translate

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// What is flagged, at both sides of each limit. Limits: HSS Journal 2022;18(3),
// Table 1, doi 10.1177/15563316211030923 (published; one institution's list).
// That a flag refuses nothing: Clin Orthop Relat Res 2018;476:2301 (published).
func TestRisks(t *testing.T) {
	p, f := defaultProtocol(t), chicago(t)
	figure := func(id, loinc, unit string, v float64, day string) *Record {
		return record(t, object{
			"resourceType": "Observation", "id": id, "status": "final", "subject": ref("Patient/p"), "effectiveDateTime": day,
			"code":          object{"text": "the figure", "coding": []any{object{"system": "http://loinc.org", "code": loinc}}},
			"valueQuantity": object{"value": v, "unit": unit, "system": "http://unitsofmeasure.org", "code": unit},
		})
	}
	smokes := func(id, code, day string) *Record {
		return record(t, object{
			"resourceType": "Observation", "id": id, "status": "final", "subject": ref("Patient/p"), "effectiveDateTime": day,
			"code": coded("http://loinc.org", "72166-2"), "valueCodeableConcept": coded(snomed, code),
		})
	}
	person := func(gender string) *Record {
		return record(t, object{"resourceType": "Patient", "id": "p", "gender": gender})
	}
	const day = "2026-11-02"
	for _, r := range []struct {
		name    string
		records []*Record
		flag    string
	}{
		{"sugar 7.5 %", []*Record{figure("o", "4548-4", "%", 7.5, day)}, "long-term-sugar"},
		{"sugar 7.4 %", []*Record{figure("o", "4548-4", "%", 7.4, day)}, ""},
		{"a woman with 12.0", []*Record{person("female"), figure("o", "718-7", "g/dL", 12.0, day)}, "haemoglobin"},
		{"a woman with 12.1", []*Record{person("female"), figure("o", "718-7", "g/dL", 12.1, day)}, ""},
		{"a man with 13.0", []*Record{person("male"), figure("o", "718-7", "g/dL", 13.0, day)}, "haemoglobin"},
		{"a man with 13.1", []*Record{person("male"), figure("o", "718-7", "g/dL", 13.1, day)}, ""},
		{"a woman with 120 g/L", []*Record{person("female"), figure("o", "718-7", "g/L", 120, day)}, "haemoglobin"},
		{"albumin 3.4", []*Record{figure("o", "1751-7", "g/dL", 3.4, day)}, "albumin"},
		{"albumin 3.5", []*Record{figure("o", "1751-7", "g/dL", 3.5, day)}, ""},
		{"albumin 34 g/L", []*Record{figure("o", "1751-7", "g/L", 34, day)}, "albumin"},
		{"body mass index 40", []*Record{figure("o", "39156-5", "kg/m2", 40, day)}, "weight"},
		{"body mass index 39.9", []*Record{figure("o", "39156-5", "kg/m2", 39.9, day)}, ""},
		{"smokes", []*Record{smokes("o", "77176002", day)}, "smoking"},
		{"smoked, and stopped", []*Record{smokes("o", "77176002", day), smokes("n", "8517006", "2026-11-10")}, ""},
		{"an opioid", []*Record{record(t, object{"resourceType": "MedicationStatement", "id": "m", "status": "active", "subject": ref("Patient/p"), "medicationCodeableConcept": coded(atc, "N02AA05")})}, "opioids"},
		{"an opioid, stopped", []*Record{record(t, object{"resourceType": "MedicationStatement", "id": "m", "status": "stopped", "subject": ref("Patient/p"), "medicationCodeableConcept": coded(atc, "N02AA05")})}, ""},
		{"better since", []*Record{figure("o", "4548-4", "%", 8.1, day), figure("n", "4548-4", "%", 7.1, "2026-11-16")}, ""},
		// By NGSP's master equation, % = 0.09148 x mmol/mol + 2.152 (from memory).
		{"sugar of 58 mmol/mol, which are 7.46 %", []*Record{figure("o", "4548-4", "mmol/mol", 58, day)}, "long-term-sugar"},
		{"sugar of 57 mmol/mol, which are 7.37 %", []*Record{figure("o", "59261-8", "mmol/mol", 57, day)}, ""},
		{"sugar by the code for that unit", []*Record{figure("o", "59261-8", "mmol/mol", 75, day)}, "long-term-sugar"},
		{"in a unit that nobody knows", []*Record{figure("o", "4548-4", "g/L", 70, day)}, ""},
	} {
		t.Run(r.name, func(t *testing.T) {
			b := Booking{Primary: "Appointment/a"}
			out := p.Risks(r.records, &b, f)
			if r.flag == "" {
				require.Empty(t, out)
				return
			}
			require.Len(t, out, 1)
			require.Equal(t, r.flag, out[0].Key)
			require.Contains(t, out[0].Why, "HSS Journal 2022;18(3):418-427, Table 1, doi 10.1177/15563316211030923; published). It refuses nothing.")
			require.True(t, p.Raises(out[0].Trigger))
			require.Empty(t, p.Grounds(r.records, &b, f, date(t, "2026-11-20"))[1:], "nothing is held")
		})
	}
}
